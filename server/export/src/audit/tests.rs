//! Audits of a flight that can be computed by hand: 50 m/s2 for two seconds, then a throw without drag worth the name, with
//! 10 m/s of air across.

use loftwatch_flight::{
    Cue, CueKind, EventKind, Limit, LimitOf, Origin, Plan, Prediction, Quantiles, Told, Trigger,
};

use super::*;
use crate::estimate::{FIGURES, Row};

const LIFTOFF_S: f64 = 50.0;
const G: f64 = 9.81;

fn climb_mps(t_s: f64) -> f64 {
    if t_s < 2.0 { 50.0 * t_s.max(0.0) } else { 100.0 - G * (t_s - 2.0) }
}

fn height_m(t_s: f64) -> f64 {
    let t_s = t_s.max(0.0);
    if t_s < 2.0 {
        25.0 * t_s * t_s
    } else {
        100.0 + 100.0 * (t_s - 2.0) - G / 2.0 * (t_s - 2.0) * (t_s - 2.0)
    }
}

fn about(value: f64, half: f64) -> [f64; 5] {
    [value, value - half, value - 0.4 * half, value + 0.4 * half, value + half]
}

fn quantiles(value: f64, half: f64) -> Quantiles {
    let [p50, p05, p25, p75, p95] = about(value, half);
    Quantiles { p05, p25, p50, p75, p95 }
}

fn track() -> Track {
    let mut track = Track::new(true);
    for step in 0..300 {
        let t_s = 0.05 * f64::from(step);
        let mut figures = [f64::NAN; FIGURES];
        figures[1..6].copy_from_slice(&about(height_m(t_s), 2.0));
        figures[6..11].copy_from_slice(&about(climb_mps(t_s), 0.5));
        figures[11..16].copy_from_slice(&about(libm::hypot(climb_mps(t_s), 10.0), 1.0));
        figures[16..21].copy_from_slice(&about(climb_mps(t_s).abs(), 1.0));
        figures[26..31].copy_from_slice(&about(2e-5, 1e-6));
        track.take(&Row { body: 0, t_s: LIFTOFF_S + t_s, phase: "coasting", descent: None, figures });
    }
    track
}

fn flight() -> Flight {
    let mut plan: Plan =
        serde_json::from_str(include_str!("../../../../tests/flights/leaning/1/plan.json")).unwrap();
    plan.bodies.truncate(2);
    plan.bodies.iter_mut().for_each(|body| body.descents.clear());
    (plan.bodies[1].parent, plan.bodies[1].freed_by) = (Some(0), Some(0));
    plan.motors.truncate(1);
    let cue = |name: &str, trigger: Trigger| Cue {
        name: name.into(),
        kind: CueKind::Release,
        body: 0,
        trigger,
        delay_s: Told { value: 0.1, sd: 0.1 },
        limit: Some(Limit { of: LimitOf::Airspeed, value: 25.0, from: "told".into() }),
        mass_kg: 1.0,
    };
    plan.cues = vec![cue("out", Trigger::ClimbRateBelow(20.0)), cue("never", Trigger::HeightBelow(50.0))];
    let ns = |t_s: f64| (t_s * 1e9) as i64;
    crate::made::flight(3, "Throw", plan, ns(LIFTOFF_S), ns(LIFTOFF_S + 60.0))
}

fn happened(kind: EventKind, body: usize, t_s: f64) -> Happened {
    Happened {
        kind,
        body,
        t_s: LIFTOFF_S + t_s,
        sd_s: 0.02,
        origin: Origin::Reported,
        label: String::new(),
        who: None,
    }
}

fn predicted(t_s: f64, height_m: f64, half_m: f64) -> Prediction {
    Prediction {
        t_s: LIFTOFF_S + t_s,
        apogee_height_m: quantiles(height_m, half_m),
        apogee_t_s: quantiles(LIFTOFF_S + 12.0, 0.5),
        airspeed_at_apogee_mps: quantiles(12.0, 3.0),
        ground_speed_at_apogee_mps: quantiles(0.0, 1.0),
        hand_height_m: 700.0,
        hand_t_s: LIFTOFF_S + 12.5,
    }
}

fn audits(freed_s: Option<f64>) -> Audits {
    let (flight, track) = (flight(), track());
    let mut events = vec![happened(EventKind::Burnout, 0, 2.0)];
    events.extend(freed_s.map(|t_s| happened(EventKind::Freed, 1, t_s)));
    let predictions: Vec<Prediction> = (0..240)
        .map(|step| predicted(0.05 * f64::from(step), if step < 140 { 600.0 } else { 560.0 }, 20.0))
        .collect();
    Evidence {
        flight: &flight,
        track: &track,
        live: &track,
        events: &events,
        predictions: &predictions,
        opening_loads: &[None, None],
        commanded: &[Some((Some(LIFTOFF_S + 10.40), LIFTOFF_S + 10.45)), None],
        log: None,
    }
    .audits()
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} against {b}");
}

/// Climb falls through 20 m/s at 2 + 80 / 9.81 s, and the told delay comes after it.
const WANTED_S: f64 = 2.0 + 80.0 / G + 0.1;

#[test]
fn a_late_cue_is_told_how_late_and_which_threshold_was_right() {
    let audits = audits(Some(WANTED_S + 0.2));
    let cue = &audits.cues[0];
    near(cue.wanted_s.unwrap(), WANTED_S, 1e-3);
    near(cue.late_s.unwrap(), 0.2, 1e-3);
    near(cue.to_apogee_s.unwrap(), 2.0 + 100.0 / G - WANTED_S - 0.2, 2e-3);
    assert_eq!((cue.commanded_after_s, cue.commanded_by_s), (Some(10.4), Some(10.45)));
    // It should have been met 0.2 s earlier, when the climb was 9.81 * 0.2 more.
    near(cue.threshold_value.unwrap(), 20.0 + G * 0.2, 5e-3);
    let climb = climb_mps(WANTED_S + 0.2);
    near(cue.climb_mps.unwrap().value, climb, 0.01);
    let speed = cue.airspeed_mps.unwrap();
    near(speed.value, libm::hypot(climb, 10.0), 0.02);
    // The interval holds the state's own and what the speed does within the moment's own: 1.645 * 0.02 s.
    near(speed.high - speed.value, libm::hypot(1.0, 0.27), 0.03);
    assert_eq!(cue.verdict, Verdict::Within);
    assert_eq!(audits.cues[1].verdict, Verdict::None);
    assert!(audits.cues[1].remark.is_some());
}

#[test]
fn a_limit_is_over_within_or_not_told() {
    let verdict = |t_s: f64| audits(Some(t_s)).cues[0].verdict;
    // The airspeed falls through 25 m/s where the climb is 22.9 m/s.
    let at = 2.0 + (100.0 - 22.913) / G;
    assert_eq!(verdict(at - 0.5), Verdict::Over);
    assert_eq!(verdict(at), Verdict::NotTold);
    assert_eq!(verdict(at + 0.5), Verdict::Within);
    assert_eq!(audits(None).cues[0].verdict, Verdict::None);
}

#[test]
fn predictions_are_held_against_the_apogee_that_was() {
    let audits = audits(None);
    let audit = audits.prediction.unwrap();
    let truth = height_m(2.0 + 100.0 / G);
    near(audit.apogee.height_m.value, truth, 0.02);
    near(audit.apogee.t_s, 2.0 + 100.0 / G, 2e-3);
    let [burnout, half, last] = &audit.checked[..] else { panic!("three instants: {:?}", audit.checked) };
    near(burnout.error_m, 600.0 - truth, 0.05);
    near(burnout.hand_error_m, 700.0 - truth, 0.05);
    assert!(burnout.held_90 && !burnout.held_50);
    near(half.t_s, f64::midpoint(2.0, audit.apogee.t_s), 0.06);
    assert!(!last.held_90, "560 m with 20 m is far from {truth} m");
    // From burnout to 7 s of 2 to 12 s the interval held.
    near(audit.held_90.unwrap(), 5.0 / 9.95, 0.01);
    assert_eq!(audit.fan.t_s.len(), audit.fan.p95.len());
    assert!(audit.fan.t_s.len() <= 240);
}

#[test]
fn drag_and_impulse_are_told_with_mass_as_told() {
    let audit = audits(None).prediction.unwrap();
    let drag = audit.drag.unwrap();
    near(drag.learned_k_per_m.value, 2e-5, 1e-9);
    near(drag.cd.value / drag.told_cd, drag.learned_k_per_m.value / drag.told_k_per_m, 1e-4);
    let impulse = audit.impulse.unwrap();
    // 100 m/s at burnout; gravity along the path, whose cosine under 10 m/s across comes to (sqrt(100^2 + 10^2) - 10) / 50 s over the
    // two seconds; and 0.1 m/s of drag.
    near(impulse.flown_mps, 100.0 + 9.8 * (libm::hypot(100.0, 10.0) - 10.0) / 50.0, 0.3);
    assert!(impulse.words.contains("cannot be told apart"));
}

#[test]
fn a_flight_without_an_apogee_has_no_prediction_audit_and_says_why() {
    let (flight, mut track) = (flight(), Track::new(false));
    let figures = [f64::NAN; FIGURES];
    track.take(&Row { body: 0, t_s: LIFTOFF_S, phase: "powered", descent: None, figures });
    let audits = Evidence {
        flight: &flight,
        track: &track,
        live: &track,
        events: &[],
        predictions: &[],
        opening_loads: &[],
        commanded: &[],
        log: None,
    }
    .audits();
    assert!(audits.prediction.is_none() && !audits.remarks.is_empty());
    assert!(audits.measured_against.contains("no path with hindsight"));
}
