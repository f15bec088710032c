//! A vehicle that hangs under its drogue from apogee on and a piece that it lets go there, which falls fast: each has its own cues, and
//! the vehicle's radio may be silent.

mod thrown;

use loftwatch_flight::{
    CueKind, CuePrediction, Descent, DescentState, Event, EventKind, Phase, Plan, Report, Told, Tracker,
    Trigger,
};
use thrown::{LIFTOFF_S, cue, nothing, plan};

const STEP_S: f64 = 0.05;
const SCALE_M: f64 = 8300.0;
const BURN_S: f64 = 2.0;
const BARE_PER_M: f64 = 4e-4;
/// Rates under the drogue and of the bare piece, m/s, and where the piece's main comes, m.
const HANGS_MPS: f64 = 8.0;
const FALLS_MPS: f64 = 40.0;
const MAIN_M: f64 = 300.0;
const MAIN_CUE: usize = 3;

/// A piece that its carrier lets go at apogee, with a main of its own.
fn plan_with_a_piece() -> Plan {
    let mut plan = plan();
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    plan.weather.wind_mps = Told { value: 0.5, sd: 0.5 };
    let area = |mass_kg: f64, mps: f64| 2.0 * mass_kg * 9.8 / (density * mps * mps);
    let told = |value: f64| Told { value, sd: 0.1 * value };
    plan.bodies.truncate(1);
    let mut piece = plan.bodies[0].clone();
    let vehicle_kg = plan.bodies[0].mass_kg.value;
    plan.bodies[0].descents.truncate(1);
    plan.bodies[0].descents[0].drag_area_m2 = told(area(vehicle_kg, HANGS_MPS));
    plan.cues.truncate(2);
    plan.cues[0].trigger = Trigger::AfterApogee(0.0);
    plan.cues[0].delay_s = Told { value: 0.0, sd: 0.1 };
    plan.cues.push(cue("piece out", CueKind::Release, 0, Trigger::AfterApogee(0.0), 0.1));
    plan.cues.push(cue("piece main", CueKind::Chute, 1, Trigger::HeightBelow(MAIN_M), 0.1));
    piece.name = "Piece".into();
    piece.parent = Some(0);
    piece.freed_by = Some(2);
    piece.mass_kg = Told { value: 2.0, sd: 0.05 };
    piece.bare_drag_area_m2 = told(area(2.0, FALLS_MPS));
    piece.descents =
        vec![Descent { state: DescentState::Main, cue: MAIN_CUE, drag_area_m2: told(area(2.0, 6.0)) }];
    plan.bodies.push(piece);
    plan
}

/// What was said on the way.
struct Played {
    /// Of the piece's main, three seconds before it is due, and when it comes, s.
    main: Option<CuePrediction>,
    main_s: f64,
    events: Vec<Event>,
    /// Error of the vehicle's height in the midst of the climb, m, and of the piece's a second before its main.
    climbing_off_m: f64,
    falling_off_m: f64,
}

/// Plays it; the vehicle's radio is heard while `hears` says so, by seconds since liftoff.
fn played(hears: impl Fn(f64) -> bool) -> Played {
    let plan = plan_with_a_piece();
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut h, mut v, mut under) = (0.0f64, 0.0f64, [(0.0f64, 0.0f64); 2]);
    let mut apogee = false;
    let mut out = Played { main: None, main_s: 0.0, events: vec![], climbing_off_m: 0.0, falling_off_m: 0.0 };
    let mut heights = Vec::new();
    for i in 0..3000u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let thrust = if (0.0..BURN_S).contains(&since) { 62.0 } else { 0.0 };
        let mut felt = [9.8; 2];
        if since >= 0.0 && !apogee {
            felt = [thrust - BARE_PER_M * v * v.abs(); 2];
            v += (felt[0] - 9.8) * STEP_S;
            h += v * STEP_S;
            apogee = since > BURN_S && v < 0.0;
            under = [(h, v); 2];
        } else if apogee {
            for (k, rate) in [HANGS_MPS, FALLS_MPS].into_iter().enumerate() {
                let (at, speed) = &mut under[k];
                let thin = libm::exp(-*at / SCALE_M);
                felt[k] = 9.8 * thin * (*speed / rate) * (*speed / rate);
                *speed += (felt[k] - 9.8) * STEP_S;
                *at += *speed * STEP_S;
            }
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        for body in 0..2 {
            let pressure = plan.weather.pressure_pa * libm::exp(-under[body].0 / SCALE_M);
            if body == 0 && !hears(since) {
                continue;
            }
            let mut s = nothing(t);
            s.body = body;
            // Another bay: half a hectopascal more on the second board.
            s.pressure_pa = Some(pressure + 50.0 * body as f64 + 4.0 * noise(body as u32));
            s.axial_mps2 = Some(felt[body] + 0.4 * noise(2 + body as u32));
            tracker.take(&s);
        }
        tracker.advance(t + 0.1);
        heights.push((t, under[1].0));
        if out.climbing_off_m == 0.0 && since > 5.0 {
            let said = tracker.estimate(0).expect("flying");
            assert!(matches!(said.phase, Phase::Coasting), "{said:?}");
            out.climbing_off_m = said.height_m.p50 - h;
        }
        let left_s = if apogee { (under[1].0 - MAIN_M) / FALLS_MPS } else { f64::INFINITY };
        if out.main.is_none() && left_s < 3.0 {
            let mut cues = Vec::new();
            tracker.cues(&mut cues);
            out.main = cues.into_iter().find(|c| c.cue == MAIN_CUE);
        }
        if out.falling_off_m == 0.0 && left_s < 1.0 {
            out.falling_off_m = tracker.estimate(1).expect("falling").height_m.p50 - under[1].0;
        }
        if apogee && under[1].0 < MAIN_M {
            out.main_s = t;
            break;
        }
    }
    tracker.drain_events(&mut out.events);
    out
}

fn check(p: &Played, apogee_within_s: f64) {
    let freed = p.events.iter().rfind(|e| e.kind == EventKind::Freed && !e.withdrawn).expect("let go");
    let top = p.events.iter().rfind(|e| e.kind == EventKind::Apogee && e.body == 0).expect("an apogee");
    assert_eq!(freed.body, 1);
    assert!((freed.t_s - top.t_s).abs() < apogee_within_s, "{freed:?} {top:?}");
    let main = p.main.expect("to come");
    let t = main.cue_t_s;
    assert!((t.p50 - p.main_s).abs() < 0.6 && t.p05 < p.main_s && p.main_s < t.p95, "{t:?} for {}", p.main_s);
    // Not that of the vehicle, which hangs at a fifth of the speed.
    assert!((main.airspeed_mps.p50 / FALLS_MPS - 1.0).abs() < 0.2, "{:?}", main.airspeed_mps);
    // The made-up air is plainer than the estimator's.
    assert!(p.climbing_off_m.abs() < 20.0, "{}", p.climbing_off_m);
    assert!(p.falling_off_m.abs() < 20.0, "{}", p.falling_off_m);
}

#[test]
fn a_pieces_own_cue_comes_on_its_own_way_down() {
    check(&played(|_| true), 0.5);
}

#[test]
fn a_carrier_that_falls_silent_is_where_its_piece_says() {
    check(&played(|since| since < 1.0), 0.5);
}

#[test]
fn a_carrier_without_a_radio_flies_all_the_same() {
    check(&played(|_| false), 0.5);
}

/// Both out at once: the main's own cue comes two minutes later and opens nothing.
#[test]
fn a_main_that_came_out_with_the_drogue_is_dated_there() {
    let plan = plan();
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    let body = &plan.bodies[0];
    let canopy_per_m = density * body.descents[1].drag_area_m2.value / (2.0 * body.mass_kg.value);
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut h, mut v, mut apogee_s) = (0.0f64, 0.0f64, None);
    for i in 0..3600u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let thrust = if (0.0..BURN_S).contains(&since) { 82.0 } else { 0.0 };
        let out = apogee_s.is_some_and(|top| t > top + 1.9);
        let thin = libm::exp(-h / SCALE_M);
        let k = thin * if out { canopy_per_m } else { BARE_PER_M };
        let felt = if since < 0.0 { 9.8 } else { thrust - k * v * v.abs() };
        if since >= 0.0 {
            v += (felt - 9.8) * STEP_S;
            h += v * STEP_S;
            if since > BURN_S && v < 0.0 {
                apogee_s.get_or_insert(t);
            }
        }
        if apogee_s.is_some() && h < 60.0 {
            break;
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let mut s = nothing(t);
        s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-h / SCALE_M) + 4.0 * noise(1));
        s.axial_mps2 = Some(felt + 0.4 * noise(2));
        tracker.take(&s);
    }
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    let opened_s = apogee_s.expect("an apogee") + 1.9;
    for kind in [EventKind::FirstChute, EventKind::MainChute] {
        let event = events.iter().rfind(|e| e.kind == kind && !e.withdrawn).expect("seen");
        assert!((event.t_s - opened_s).abs() < 1.0, "{kind:?} {} for {opened_s}", event.t_s);
    }
}

/// A piece that says that it hangs on is not let go by the plan alone; one that says nothing is.
#[test]
fn what_says_that_it_hangs_on_is_not_let_go_by_the_plan() {
    let plan = plan_with_a_piece();
    let freed = |denies: bool, leaves_s: Option<f64>| {
        let mut tracker = Tracker::new(&plan, 0.0);
        for s in thrown::flight(&plan, LIFTOFF_S + 16.0, 0.0, false) {
            let up = leaves_s.is_some_and(|at| s.t_s >= at);
            tracker.take(&s);
            if denies || up {
                tracker.report(&Report {
                    body: 1,
                    event: EventKind::Freed,
                    after_s: up.then_some(s.t_s - 0.1),
                    by_s: s.t_s,
                    t_receive_s: s.t_receive_s,
                    not_yet: !up,
                });
            }
        }
        let mut events = Vec::new();
        tracker.drain_events(&mut events);
        assert!(events.iter().any(|e| e.kind == EventKind::Apogee), "{events:?}");
        events.iter().rfind(|e| e.kind == EventKind::Freed && !e.withdrawn).map(|e| e.t_s)
    };
    let by_plan_s = freed(false, None).expect("let go at apogee");
    assert_eq!(freed(true, None), None);
    let late_s = by_plan_s + 2.0;
    let said_s = freed(true, Some(late_s)).expect("it says so");
    assert!((said_s - late_s).abs() < 0.2, "{said_s} for {late_s}");
}
