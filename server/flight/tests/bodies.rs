//! A second body with a transmitter of its own: attached until it moves otherwise than its parent.

mod thrown;

use loftwatch_flight::{EventKind, Origin, Plan, Sample, Tracker};
use thrown::nothing;

const PLAN: &str = include_str!("../../../tests/flights/straight/1/plan.json");
const LIFTOFF_S: f64 = 12.0;
const STEP_S: f64 = 0.05;
/// Height over which pressure falls to a part in e, m: good enough for a made-up flight.
const SCALE_M: f64 = 8300.0;

/// The committed plan with a camera that nothing but its own motion can free.
fn plan() -> Plan {
    let mut plan: Plan = serde_json::from_str(PLAN).expect("a committed plan");
    plan.bodies.truncate(1);
    let mut camera = plan.bodies[0].clone();
    camera.name = "Cam A".into();
    camera.parent = Some(0);
    camera.descents.clear();
    plan.bodies.push(camera);
    plan
}

/// What each body's board sends: 12 s on the pad, two seconds of power, coast. `behind` is how far the second one has fallen
/// behind, m, and `extra` what its barometer reads too much, Pa.
fn fly(seconds: f64, behind: impl Fn(f64) -> f64, extra: impl Fn(f64) -> f64) -> (Tracker, Vec<(f64, f64)>) {
    let plan = plan();
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut h, mut v, mut heights) = (0.0f64, 0.0f64, Vec::new());
    for i in 0..(seconds / STEP_S) as u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let thrust = if (0.0..2.0).contains(&since) { 62.0 } else { 0.0 };
        let drag = 4e-4 * v * v.abs();
        if since >= 0.0 {
            let a = thrust - drag - 9.8;
            h += v * STEP_S + 0.5 * a * STEP_S * STEP_S;
            v += a * STEP_S;
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        for body in 0..2 {
            let below = if body == 1 { behind(t) } else { 0.0 };
            let over = if body == 1 { extra(t) } else { 0.0 };
            let pressure = plan.weather.pressure_pa * libm::exp(-(h - below) / SCALE_M);
            tracker.take(&Sample {
                body,
                // Another bay: 60 Pa more on the second board.
                pressure_pa: Some(pressure + over + 60.0 * body as f64 + 4.0 * noise(body as u32)),
                axial_mps2: (body == 0)
                    .then(|| if since < 0.0 { 9.8 } else { thrust - drag } + 0.4 * noise(2)),
                ..nothing(t)
            });
        }
        heights.push((t, h - behind(t)));
    }
    (tracker, heights)
}

fn freed(tracker: &mut Tracker) -> Vec<(f64, Origin)> {
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    events
        .into_iter()
        .filter(|e| e.kind == EventKind::Freed && e.body == 1 && !e.withdrawn)
        .map(|e| (e.t_s, e.origin))
        .collect()
}

/// How far what is lost at 16 s and braked by 8 m/s2 for four seconds has fallen behind, m.
fn lost(t: f64) -> f64 {
    let s = (t - 16.0).max(0.0);
    let braked = s.min(4.0);
    4.0 * braked * braked + 32.0 * (s - braked)
}

#[test]
fn a_body_that_stays_with_its_parent_is_not_freed() {
    let (mut tracker, _) = fly(24.0, |_| 0.0, |_| 0.0);
    assert_eq!(freed(&mut tracker), []);
}

#[test]
fn a_charge_in_one_bay_frees_nothing() {
    let puff = |t: f64| if t > 17.0 { 4000.0 * libm::exp(-(t - 17.0) / 0.25) } else { 0.0 };
    let (mut tracker, _) = fly(24.0, |_| 0.0, puff);
    assert_eq!(freed(&mut tracker), []);
}

#[test]
fn a_body_that_falls_behind_is_freed_by_its_own_motion() {
    let (mut tracker, heights) = fly(24.0, lost, |_| 0.0);
    let events = freed(&mut tracker);
    assert_eq!(events.len(), 1, "{events:?}");
    let (t, origin) = events[0];
    assert!((t - 16.0).abs() < 1.0 && origin == Origin::Detected, "{t} {origin:?}");
    let (_, truth) = heights.last().copied().expect("flown");
    let estimate = tracker.estimate(1).expect("flies by itself");
    assert!((estimate.height_m.p50 - truth).abs() < 15.0, "{:?} {truth}", estimate.height_m);
}

/// A piece that sends nothing is carried on in steps all the way down: what is thought of it does not depend on when it was looked at.
#[test]
fn a_silent_body_is_where_it_is_however_often_one_looks() {
    let looked_at = |every_s: f64| {
        let (mut tracker, _) = fly(20.0, lost, |_| 0.0);
        let mut t = 20.0;
        while t < 47.3 {
            t = f64::min(t + every_s, 47.3);
            tracker.advance(t);
        }
        format!("{:?}", tracker.estimate(1).expect("flies by itself"))
    };
    let often = looked_at(0.03);
    assert_eq!(often, looked_at(2.7));
    assert_eq!(often, looked_at(60.0));
}
