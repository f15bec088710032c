//! A drogue that the plan opens by climb rate, before apogee, on a flight that leans: it is in what is predicted, it is seen, and it is
//! no surprise.

mod thrown;

use loftwatch_flight::{
    Descent, DescentState, EventKind, Plan, Prediction, Quantiles, Report, Sample, Told, Tracker, Trigger,
    Velocity, canopy_fill_s,
};
use thrown::nothing;

const PLAN: &str = include_str!("../../../tests/flights/straight/1/plan.json");
const LIFTOFF_S: f64 = 12.0;
const STEP_S: f64 = 0.05;
const SCALE_M: f64 = 8300.0;
const BARE_PER_M: f64 = 4e-4;
const DROGUE_M2: f64 = 0.6;
const MASS_KG: f64 = 10.0;
const BURN_S: f64 = 2.0;
const THRUST_MPS2: f64 = 62.0;
const LEAN_RAD: f64 = 0.42;
const OPENS_AT_MPS: f64 = 18.0;
const DELAY_S: f64 = 0.3;

fn plan(trigger: Trigger) -> Plan {
    let mut plan: Plan = serde_json::from_str(PLAN).expect("a committed plan");
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    plan.weather.wind_mps = Told { value: 0.0, sd: 1.0 };
    plan.vehicle.rail_tilt_rad = LEAN_RAD;
    plan.vehicle.lean_sd_rad = 0.1;
    plan.vehicle.liftoff_mass_kg = Told { value: MASS_KG + 1.0, sd: 0.1 };
    let area_m2 = core::f64::consts::FRAC_PI_4 * plan.vehicle.diameter_m * plan.vehicle.diameter_m;
    let cd = BARE_PER_M * 2.0 * MASS_KG / (density * area_m2);
    plan.vehicle.drag_coefficient = Told { value: cd, sd: 0.15 * cd };
    plan.motors.truncate(1);
    let motor = &mut plan.motors[0];
    let impulse = THRUST_MPS2 * BURN_S * (MASS_KG + 0.5);
    motor.impulse_ns = Told { value: impulse, sd: 0.05 * impulse };
    motor.burn_time_s = BURN_S;
    motor.propellant_mass_kg = 1.0;
    motor.curve.clear();
    plan.bodies.truncate(1);
    let body = &mut plan.bodies[0];
    body.mass_kg = Told { value: MASS_KG, sd: 0.1 };
    let cue = body.descents[0].cue;
    body.descents =
        vec![Descent { state: DescentState::Drogue, cue, drag_area_m2: Told { value: DROGUE_M2, sd: 0.08 } }];
    plan.cues[cue].trigger = trigger;
    plan.cues[cue].delay_s = Told { value: DELAY_S, sd: 0.1 };
    plan
}

/// What is true of the flight, s after liftoff and m/s, and the samples of it.
struct Flown {
    half_s: f64,
    opened_s: f64,
    apogee_s: f64,
    airspeed_mps: f64,
    samples: Vec<Sample>,
    /// Away and up, m/s, at each sample.
    velocities: Vec<[f64; 2]>,
}

/// Flies it; `opens` says whether the drogue comes out.
fn flown(plan: &Plan, opens: bool, gnss: bool) -> Flown {
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    let open_per_m = density * DROGUE_M2 / (2.0 * MASS_KG);
    let (mut h, mut x, mut v) = (0.0f64, 0.0f64, [0.0f64; 2]);
    let azimuth = plan.vehicle.rail_azimuth_rad.unwrap_or(0.0);
    let (mut due_s, mut fill, mut apogee_s, mut airspeed_mps) = (None, None, None, 0.0);
    let (mut samples, mut velocities) = (Vec::new(), Vec::new());
    for i in 0..800u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let speed = libm::hypot(v[0], v[1]);
        if since > BURN_S && v[1] <= OPENS_AT_MPS && due_s.is_none() {
            due_s = Some(since + DELAY_S);
        }
        if opens && due_s.is_some_and(|due| since >= due) && fill.is_none() {
            fill = Some((since, canopy_fill_s(DROGUE_M2, speed)));
        }
        let filled = fill.map_or(0.0, |(at, lasts)| f64::min((since - at) / lasts, 1.0));
        let thin = libm::exp(-h / SCALE_M);
        let mut felt = 9.8 * libm::cos(LEAN_RAD);
        if since >= 0.0 {
            for _ in 0..10 {
                let speed = libm::hypot(v[0], v[1]);
                let k = thin * (BARE_PER_M + filled * filled * (open_per_m - BARE_PER_M));
                let thrust = if since < BURN_S { THRUST_MPS2 } else { 0.0 };
                felt = thrust - k * speed * speed;
                // On the rail, which is short, it cannot turn.
                let u = if speed < 12.0 && since < 1.0 {
                    [libm::sin(LEAN_RAD), libm::cos(LEAN_RAD)]
                } else {
                    [v[0] / speed, v[1] / speed]
                };
                let g = if speed < 12.0 && since < 1.0 {
                    let along = 9.8 * u[1];
                    [along * u[0], along * u[1]]
                } else {
                    [0.0, 9.8]
                };
                let dt = STEP_S / 10.0;
                for a in 0..2 {
                    v[a] += (felt * u[a] - g[a]) * dt;
                }
                x += v[0] * dt;
                h += v[1] * dt;
                if v[1] < 0.0 && apogee_s.is_none() && since > 1.0 {
                    apogee_s = Some(since);
                    airspeed_mps = libm::hypot(v[0], v[1]);
                }
            }
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let velocity = (gnss && i % 4 == 0).then(|| Velocity {
            horizontal_mps: Some([
                v[0] * libm::sin(azimuth) + 0.3 * noise(5),
                v[0] * libm::cos(azimuth) + 0.3 * noise(6),
            ]),
            up_mps: Some(v[1] + 0.3 * noise(7)),
        });
        samples.push(Sample {
            t_sd_s: 0.005,
            pressure_pa: Some(plan.weather.pressure_pa * thin + 6.0 * noise(1)),
            axial_mps2: Some(felt + 0.4 * noise(2)),
            velocity,
            ..nothing(t)
        });
        velocities.push(v);
    }
    assert!(x > 50.0, "it leans");
    let apogee_s = apogee_s.expect("it comes down");
    let opened_s = fill.map_or(f64::INFINITY, |f| f.0);
    Flown { half_s: 0.5 * (BURN_S + apogee_s), opened_s, apogee_s, airspeed_mps, samples, velocities }
}

/// Plays it: what is predicted at half of coast, when the drogue's cue comes by that, and when which events are said to have been, s after
/// liftoff.
fn played(plan: &Plan, flown: &Flown) -> (Prediction, f64, Vec<(EventKind, f64)>) {
    let mut tracker = Tracker::new(plan, 0.0);
    let (mut half, mut cues, mut events) = (None, Vec::new(), Vec::new());
    for s in &flown.samples {
        tracker.take(s);
        tracker.advance(s.t_receive_s);
        if half.is_none() && s.t_s >= LIFTOFF_S + flown.half_s {
            half = tracker.foresee(0, &mut cues);
        }
    }
    tracker.drain_events(&mut events);
    let events = events.iter().filter(|e| !e.withdrawn).map(|e| (e.kind, e.t_s - LIFTOFF_S)).collect();
    let cue = cues.iter().find(|c| c.cue == plan.bodies[0].descents[0].cue).expect("planned");
    (half.expect("flying"), cue.cue_t_s.p50 - LIFTOFF_S, events)
}

fn last(events: &[(EventKind, f64)], kind: EventKind) -> Option<f64> {
    events.iter().rev().find(|e| e.0 == kind).map(|e| e.1)
}

#[test]
fn a_drogue_before_apogee_is_foreseen_and_seen() {
    for gnss in [true, false] {
        let plan = plan(Trigger::ClimbRateBelow(OPENS_AT_MPS));
        let flown = flown(&plan, true, gnss);
        let (p, cue_s, events) = played(&plan, &flown);
        assert!((cue_s - flown.opened_s).abs() < 0.25, "{cue_s} {}", flown.opened_s);
        let (t, air) = (p.apogee_t_s, p.airspeed_at_apogee_mps);
        let apogee_s = LIFTOFF_S + flown.apogee_s;
        assert!((t.p50 - apogee_s).abs() < 0.2 && t.p05 < apogee_s && apogee_s < t.p95, "{t:?} {apogee_s}");
        let off = (air.p50 - flown.airspeed_mps).abs();
        assert!(off < if gnss { 2.0 } else { 6.0 }, "{air:?} {}", flown.airspeed_mps);
        assert!(
            air.p05 < flown.airspeed_mps && flown.airspeed_mps < air.p95,
            "{air:?} {}",
            flown.airspeed_mps
        );
        let (chute, top) = (last(&events, EventKind::FirstChute), last(&events, EventKind::Apogee));
        assert!(chute.is_some_and(|t| (t - flown.opened_s).abs() < 0.5), "{chute:?} {}", flown.opened_s);
        assert!(top.is_some_and(|t| (t - flown.apogee_s).abs() < 0.2), "{top:?} {}", flown.apogee_s);
        // Where it opens after apogee the same flight goes on for longer, and flies faster there: that is what is foreseen then.
        let (later, ..) = played(&self::plan(Trigger::AfterApogee(0.0)), &flown);
        assert!(later.apogee_t_s.p50 > t.p50 + 0.3, "{:?} {t:?}", later.apogee_t_s);
        let later = later.airspeed_at_apogee_mps;
        assert!(later.p50 > air.p50 + 4.0, "{later:?} {air:?}");
    }
}

/// Electronics that open so long before apogee reckon with the apogee that would come without the drogue, not with the one that it brings.
#[test]
fn a_drogue_by_time_before_apogee_is_due_by_the_apogee_without_it() {
    let flown = flown(&plan(Trigger::ClimbRateBelow(OPENS_AT_MPS)), true, true);
    let (p, cue_s, _) = played(&plan(Trigger::BeforeApogee(OPENS_AT_MPS / 9.8)), &flown);
    assert!((cue_s - flown.opened_s).abs() < 0.25, "{cue_s} {}", flown.opened_s);
    assert!((p.apogee_t_s.p50 - LIFTOFF_S - flown.apogee_s).abs() < 0.2, "{p:?}");
}

#[test]
fn a_drogue_that_stays_in_is_not_seen() {
    let plan = plan(Trigger::ClimbRateBelow(OPENS_AT_MPS));
    let flown = flown(&plan, false, true);
    let (.., events) = played(&plan, &flown);
    assert_eq!(last(&events, EventKind::FirstChute), None);
    let top = last(&events, EventKind::Apogee);
    assert!(top.is_some_and(|t| (t - flown.apogee_s).abs() < 0.2), "{top:?} {}", flown.apogee_s);
}

/// A charge that fires on the way up against the plan: the vehicle may say so, and heights may be heard or the force alone. What is
/// thought 0.8 s later of the climb and the airspeed, and the true ones, m/s.
fn fired_too_soon(says: bool, heights: bool) -> [(Quantiles, f64); 2] {
    let plan = plan(Trigger::AfterApogee(0.5));
    let flown = flown(&self::plan(Trigger::ClimbRateBelow(OPENS_AT_MPS)), true, false);
    let fired_s = LIFTOFF_S + flown.opened_s;
    let mut tracker = Tracker::new(&plan, 0.0);
    let mut before: Option<f64> = None;
    for (s, v) in flown.samples.iter().zip(&flown.velocities).take_while(|(s, _)| s.t_s < fired_s + 0.8) {
        let pressure_pa = s.pressure_pa.filter(|_| heights || s.t_s < LIFTOFF_S);
        tracker.take(&Sample { pressure_pa, ..*s });
        if says && before.is_some_and(|t| t <= fired_s) && s.t_s > fired_s {
            tracker.report(&Report {
                body: 0,
                event: EventKind::FirstChute,
                after_s: before,
                by_s: s.t_s,
                t_receive_s: s.t_receive_s,
                not_yet: false,
            });
        }
        before = Some(s.t_s);
        if s.t_s > fired_s + 0.74 {
            let e = tracker.estimate(0).expect("flying");
            return [(e.climb_mps, v[1]), (e.airspeed_mps, libm::hypot(v[0], v[1]))];
        }
    }
    unreachable!("it flies on")
}

#[test]
fn a_drogue_that_comes_out_too_soon_is_followed() {
    for (says, heights) in [(true, true), (false, true), (true, false)] {
        let [climb, air] = fired_too_soon(says, heights);
        for (said, truth) in [climb, air] {
            let holds = said.p05 < truth && truth < said.p95;
            assert!(holds, "said {says}, heights {heights}: {said:?} for {truth}");
            assert!((said.p50 - truth).abs() < 6.0, "said {says}, heights {heights}: {said:?} for {truth}");
        }
    }
    // The force alone, and nobody says whose it is: it may be, and nothing absurd is thought.
    let [climb, air] = fired_too_soon(false, false);
    for (said, truth) in [climb, air] {
        assert!(said.p05 < truth + 8.0 && said.p95 < truth + 60.0, "{said:?} for {truth}");
    }
}

/// Packets come late: what a vehicle says of a moment counts from that moment on, whenever it is heard.
#[test]
fn when_it_is_heard_that_a_charge_has_fired_makes_no_difference() {
    let plan = plan(Trigger::AfterApogee(0.5));
    let flown = flown(&self::plan(Trigger::ClimbRateBelow(OPENS_AT_MPS)), true, false);
    let fired_s = LIFTOFF_S + flown.opened_s;
    let heard_after = |late_s: f64| {
        let mut tracker = Tracker::new(&plan, 0.0);
        let mut said = false;
        for s in flown.samples.iter().take_while(|s| s.t_s < fired_s + 2.0) {
            tracker.take(s);
            if !said && s.t_s > fired_s + late_s {
                said = true;
                tracker.report(&Report {
                    body: 0,
                    event: EventKind::FirstChute,
                    after_s: Some(fired_s - 0.02),
                    by_s: fired_s + 0.02,
                    t_receive_s: s.t_receive_s,
                    not_yet: false,
                });
            }
        }
        assert!(said);
        format!("{:?}", tracker.estimate(0).expect("flying"))
    };
    let at_once = heard_after(0.05);
    for late_s in [0.4, 1.1, 1.7] {
        assert_eq!(heard_after(late_s), at_once, "{late_s} s late");
    }
}
