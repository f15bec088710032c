//! A receiver that lost the sky under power, and what the barometer's vouching for it is worth.

mod thrown;

use loftwatch_flight::{Estimate, Plan, Sample, Tracker, Velocity, smoothed};
use thrown::{EARTH_M, LIFTOFF_S, flight_under, plan_of_level_thrust};

const BURN_S: f64 = 2.0;
/// Aside under power to the east and to the north alike, m/s2.
const ASIDE_MPS2: f64 = 6.0;
/// When the receiver has found itself, seconds since liftoff.
const FOUND_S: f64 = 4.4;

/// A flight to the north-east whose accelerometer feels more than it gets, so that it is thought to lean far more than it does. Its
/// receiver sends one fix a second, and until `FOUND_S` what `lost` makes of it.
fn flight(plan: &Plan, lost: impl Fn(&Sample, &mut Sample)) -> Vec<Sample> {
    let thrust = |since: f64| if (0.0..BURN_S).contains(&since) { 62.0 } else { 0.0 };
    let mut samples = flight_under(plan, LIFTOFF_S + 9.0, ASIDE_MPS2, true, 4e-4, thrust);
    let stands = *samples.iter().rfind(|s| s.t_s < LIFTOFF_S && s.fix.is_some()).expect("a fix on the pad");
    let pad = plan.site;
    for (i, s) in samples.iter_mut().enumerate() {
        let since = s.t_s - LIFTOFF_S;
        if (0.0..BURN_S).contains(&since) {
            s.axial_mps2 = s.axial_mps2.map(|a| a + 7.0);
        }
        if i % 10 != 0 {
            (s.fix, s.velocity) = (None, None);
            continue;
        }
        let cos = libm::cos(pad.latitude_rad);
        if let (Some(fix), Some(velocity)) = (&mut s.fix, &mut s.velocity) {
            let aside_m = (fix.longitude_rad - pad.longitude_rad) * EARTH_M * cos;
            fix.latitude_rad = pad.latitude_rad + aside_m / EARTH_M;
            velocity.horizontal_mps = velocity.horizontal_mps.map(|[e, _]| [e, e]);
        }
        if (0.0..FOUND_S).contains(&since) {
            lost(&stands, s);
        }
    }
    samples
}

/// What is thought so many seconds after liftoff, and how fast over the ground it flies.
fn thought_at(plan: &Plan, samples: &[Sample], since_s: f64) -> (Estimate, f64) {
    let mut tracker = Tracker::new(plan, 0.0);
    let mut truth = 0.0;
    for s in samples.iter().take_while(|s| s.t_s < LIFTOFF_S + since_s) {
        tracker.take(s);
        if let Some(Velocity { horizontal_mps: Some([e, n]), up_mps: Some(up) }) = s.velocity {
            truth = libm::sqrt(e * e + n * n + up * up);
        }
    }
    (tracker.estimate(0).expect("aloft"), truth)
}

/// It goes on with the place and the velocity that it had; then it is right, and a barometer vouches for its heights.
#[test]
fn where_a_receiver_has_found_itself_it_says_how_fast_the_flight_is() {
    let plan = plan_of_level_thrust(BURN_S, 62.0);
    let samples = flight(&plan, |stands, s| (s.fix, s.velocity) = (stands.fix, stands.velocity));
    let (astray, _) = thought_at(&plan, &samples, FOUND_S);
    let (found, truth) = thought_at(&plan, &samples, FOUND_S + 2.0);
    assert!(
        astray.ground_speed_mps.p50 > truth + 20.0,
        "nothing led it astray: {:?}",
        astray.ground_speed_mps
    );
    let speed = found.ground_speed_mps;
    assert!((speed.p50 - truth).abs() < 3.0 && speed.p95 - speed.p05 < 12.0, "{speed:?} of {truth}");
}

/// Its heights are right, and its place and velocity are the pad's: it does not show a flight that goes straight up.
#[test]
fn a_place_beside_a_climb_that_cannot_be_is_not_taken() {
    let plan = plan_of_level_thrust(BURN_S, 62.0);
    let samples = flight(&plan, |stands, s| {
        if let (Some(fix), Some(stood)) = (&mut s.fix, stands.fix) {
            (fix.latitude_rad, fix.longitude_rad) = (stood.latitude_rad, stood.longitude_rad);
        }
        s.velocity = stands.velocity;
    });
    let (lost, _) = thought_at(&plan, &samples, FOUND_S);
    assert_eq!(lost.east_north_mps, None, "where it flies to was not heard");
    let (found, truth) = thought_at(&plan, &samples, FOUND_S + 2.0);
    let speed = found.ground_speed_mps;
    assert!((speed.p50 - truth).abs() < 3.0 && speed.p95 - speed.p05 < 12.0, "{speed:?} of {truth}");
}

/// A flight that leans many times as far as told, whose receiver finds itself after burnout: with hindsight it leant all the way, and its fixes
/// are not put aside for a lean that was not expected.
#[test]
fn hindsight_holds_nobody_upright() {
    const PUSHED_MPS2: f64 = 27.0;
    let mut plan = plan_of_level_thrust(BURN_S, 66.0);
    plan.bodies.truncate(1);
    plan.cues.clear();
    plan.vehicle.lean_sd_rad = 0.05;
    let thrust = |since: f64| if (0.0..BURN_S).contains(&since) { 62.0 } else { 0.0 };
    let mut samples = flight_under(&plan, LIFTOFF_S + 10.5, PUSHED_MPS2, true, 4e-4, thrust);
    for s in &mut samples {
        let since = s.t_s - LIFTOFF_S;
        if (0.0..BURN_S).contains(&since) {
            s.axial_mps2 = s.axial_mps2.map(|a| a + libm::hypot(62.0, PUSHED_MPS2) - 62.0);
        }
        if (0.0..BURN_S + 2.0).contains(&since) {
            (s.fix, s.velocity) = (None, None);
        }
    }
    let path = smoothed(&plan, &samples, &[]);
    let aside = |since: f64| {
        let near = |e: &Estimate| (e.t_s - LIFTOFF_S - since).abs();
        let at = path.iter().map(|(_, e)| *e).min_by(|a, b| near(a).total_cmp(&near(b))).expect("a path");
        at.east_north_mps.map_or(0.0, |[east, north]| libm::hypot(east, north))
    };
    for since in [1.8, 2.5, 4.0, 7.0] {
        let truth = PUSHED_MPS2 * f64::min(since, BURN_S) * libm::exp(-0.004 * (since - BURN_S).max(0.0));
        assert!((aside(since) / truth - 1.0).abs() < 0.15, "{since} s: {} for {truth} m/s", aside(since));
    }
}
