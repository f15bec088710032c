//! Pieces that are let go: by themselves they have their own drag, swing, and may have no radio.

mod thrown;

use loftwatch_flight::{CueKind, Descent, DescentState, Event, EventKind, Plan, Told, Tracker, Trigger};
use thrown::{LIFTOFF_S, cue, nothing, plan};

const STEP_S: f64 = 0.05;
const SCALE_M: f64 = 8300.0;
const BURN_S: f64 = 2.0;
const VEHICLE_PER_M: f64 = 4e-4;
/// Drag over speed squared of the bare piece, and under its main, 1/m; its mass, kg.
const PIECE_PER_M: f64 = 4e-3;
const MAIN_PER_M: f64 = 0.3;
const PIECE_KG: f64 = 2.0;
const RELEASE: usize = 0;
const MAIN: usize = 1;

/// A vehicle that lets a piece go at some moment; the piece's main comes so long after that.
fn plan_with_a_piece(release: Trigger, main_after_s: f64) -> Plan {
    let mut plan = plan();
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    plan.weather.wind_mps = Told { value: 0.5, sd: 0.5 };
    let area = |per_m: f64| 2.0 * PIECE_KG * per_m / density;
    let told = |value: f64| Told { value, sd: 0.2 * value };
    plan.cues = vec![
        cue("piece out", CueKind::Release, 0, release, 0.05),
        cue("piece main", CueKind::Chute, 1, Trigger::AfterCue(RELEASE, main_after_s), 0.05),
    ];
    plan.bodies.truncate(1);
    let mut piece = plan.bodies[0].clone();
    plan.bodies[0].descents.clear();
    piece.name = "Piece".into();
    piece.parent = Some(0);
    piece.freed_by = Some(RELEASE);
    piece.mass_kg = Told { value: PIECE_KG, sd: 0.05 };
    piece.bare_drag_area_m2 = told(area(PIECE_PER_M));
    piece.descents =
        vec![Descent { state: DescentState::Main, cue: MAIN, drag_area_m2: told(area(MAIN_PER_M)) }];
    plan.bodies.push(piece);
    plan
}

/// The truth of one instant.
#[derive(Clone, Copy, Debug)]
struct Now {
    t_s: f64,
    /// Heights and climb rates of vehicle and piece.
    h: [f64; 2],
    v: [f64; 2],
    freed_s: Option<f64>,
}

/// Plays it until the piece is down for ten seconds; `frees` says when the piece leaves, `felt` what it feels along its axis when its drag is so
/// much, nothing where it has no radio; `look` is shown each instant.
fn played(
    plan: &Plan,
    main_after_s: f64,
    frees: impl Fn(f64, f64, bool) -> bool,
    felt: Option<&dyn Fn(f64, f64) -> f64>,
    mut look: impl FnMut(&Tracker, Now),
) -> Vec<Event> {
    let mut tracker = Tracker::new(plan, 0.0);
    let mut now = Now { t_s: 0.0, h: [0.0; 2], v: [0.0; 2], freed_s: None };
    let (mut top, mut down_s) = (false, None);
    for i in 0..4000u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        now.t_s = t;
        let mut pulls = [9.8; 2];
        if since >= 0.0 {
            let thrust = if since < BURN_S { 62.0 } else { 0.0 };
            for k in 0..2 {
                let out = now.freed_s.is_some_and(|f| t > f + main_after_s);
                let per_m = match (k, now.freed_s, out) {
                    (1, Some(_), true) => MAIN_PER_M,
                    (1, Some(_), false) => PIECE_PER_M,
                    _ => VEHICLE_PER_M,
                };
                let speed = now.v[k];
                pulls[k] = thrust - per_m * libm::exp(-now.h[k] / SCALE_M) * speed * speed.abs();
                now.v[k] += (pulls[k] - 9.8) * STEP_S;
                now.h[k] += now.v[k] * STEP_S;
            }
            top |= since > BURN_S && now.v[0] < 0.0;
            if now.freed_s.is_none() {
                (now.h[1], now.v[1]) = (now.h[0], now.v[0]);
                now.freed_s = frees(since, now.v[0], top).then_some(t);
            }
            if now.freed_s.is_some() && now.h[1] < 0.0 {
                down_s.get_or_insert(t);
                (now.h[1], now.v[1]) = (0.0, 0.0);
            }
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        for body in 0..2 {
            let mut s = nothing(t);
            s.body = body;
            s.pressure_pa = Some(
                plan.weather.pressure_pa * libm::exp(-now.h[body].max(0.0) / SCALE_M)
                    + 4.0 * noise(body as u32),
            );
            let axial = match (body, felt) {
                (1, Some(felt)) if now.freed_s.is_some() => felt(t, pulls[1]),
                _ => pulls[body],
            };
            s.axial_mps2 = Some(axial + 0.4 * noise(2 + body as u32));
            if body == 0 || felt.is_some() {
                tracker.take(&s);
            }
        }
        tracker.advance(t + 0.1);
        look(&tracker, now);
        if down_s.is_some_and(|down| t > down + 10.0) || now.h[0] < -5.0 {
            break;
        }
    }
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    events
}

/// The piece falls for four seconds before its main comes: what it is by then is a matter of its own drag, told from the way up on.
#[test]
fn the_chute_of_a_piece_that_goes_after_apogee_opens_at_the_pieces_speed() {
    let plan = plan_with_a_piece(Trigger::AfterApogee(1.0), 4.0);
    let (mut said, mut at_main) = (Vec::new(), None);
    let top_s = core::cell::Cell::new(f64::INFINITY);
    let frees = |since: f64, _: f64, top: bool| {
        if top {
            top_s.set(top_s.get().min(since));
        }
        since >= top_s.get() + 1.0
    };
    played(&plan, 4.0, frees, None, |tracker, now| {
        if now.t_s > LIFTOFF_S + 4.0 && now.v[0] > 20.0 {
            let mut cues = Vec::new();
            tracker.cues(&mut cues);
            said.extend(cues.into_iter().filter(|c| c.cue == MAIN));
        }
        if now.freed_s.is_some_and(|f| now.t_s > f + 4.0 - STEP_S) {
            at_main.get_or_insert((now.t_s, -now.v[1]));
        }
    });
    let (main_s, speed) = at_main.expect("a main");
    assert!(!said.is_empty());
    for c in said {
        let (air, t) = (c.airspeed_mps, c.cue_t_s);
        assert!(air.p05 < speed && speed < air.p95, "{air:?} for {speed} m/s");
        assert!((air.p50 / speed - 1.0).abs() < 0.25, "{air:?} for {speed} m/s");
        assert!(t.p05 - 0.3 < main_s && main_s < t.p95 + 0.3, "{t:?} for {main_s}");
    }
}

/// Nobody sees it land.
#[test]
fn what_has_no_radio_is_not_said_to_be_down() {
    let plan = plan_with_a_piece(Trigger::ClimbRateBelow(20.0), 4.0);
    let events = played(&plan, 4.0, |since, v, _| since > BURN_S && v < 20.0, None, |_, _| {});
    let of_piece: Vec<_> = events.iter().filter(|e| e.body == 1).map(|e| e.kind).collect();
    assert!(of_piece.iter().all(|k| *k == EventKind::Freed) && !of_piece.is_empty(), "{of_piece:?}");
}

/// It turns over: along its axis it feels its drag now from one side and now from the other.
#[test]
fn the_apogee_of_a_piece_that_swings_is_foreseen_all_the_same() {
    let plan = plan_with_a_piece(Trigger::AfterBurnout(1.0), 60.0);
    let swings = |t: f64, drag: f64| drag * libm::cos(7.0 * t);
    let mut said = Vec::new();
    let mut top = (0.0f64, 0.0f64);
    let frees = |since: f64, _: f64, _: bool| since > BURN_S + 1.0;
    played(&plan, 60.0, frees, Some(&swings), |tracker, now| {
        if now.h[1] > top.1 {
            top = (now.t_s, now.h[1]);
        }
        if now.freed_s.is_some_and(|f| now.t_s > f + 0.2) && now.v[1] > 10.0 {
            said.push((now.t_s, tracker.prediction(1).expect("a prediction").apogee_t_s));
        }
    });
    assert!(said.len() > 20);
    let held = said.iter().filter(|(_, q)| q.p05 < top.0 && top.0 < q.p95).count();
    assert!(held * 10 >= said.len() * 8, "{held} of {}: {top:?} {said:?}", said.len());
}
