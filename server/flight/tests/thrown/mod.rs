//! A made-up flight: a plain vertical or leaning throw with drag, stepped here. It need not be a good one.
#![allow(dead_code, reason = "each file of tests takes what it needs")]

use loftwatch_flight::{Cue, CueKind, Fix, Plan, Sample, Told, Tracker, Trigger, Velocity};

pub(crate) const PLAN: &str = include_str!("../../../../tests/flights/straight/1/plan.json");
/// Liftoff on the tests' axis, s.
pub(crate) const LIFTOFF_S: f64 = 12.0;
pub(crate) const STEP_S: f64 = 0.1;
/// Metres of latitude and of longitude at the pad are told by the earth's mean radius: good enough for a made-up fix.
pub(crate) const EARTH_M: f64 = 6_371_000.0;

pub(crate) fn plan() -> Plan {
    serde_json::from_str(PLAN).expect("a committed plan")
}

/// The same with a motor of level thrust.
pub(crate) fn plan_of_level_thrust(burn_s: f64, mean_mps2: f64) -> Plan {
    let mut plan = plan();
    let mass = plan.vehicle.liftoff_mass_kg.value;
    let motor = &mut plan.motors[0];
    (motor.burn_time_s, motor.impulse_ns.value) = (burn_s, burn_s * mean_mps2 * mass);
    motor.curve.clear();
    plan
}

/// Told so many times as much drag.
pub(crate) fn with_more_drag(mut plan: Plan, by: f64) -> Plan {
    let motors = plan.motors.iter_mut().map(|m| &mut m.drag_coefficient);
    for told in motors.chain([&mut plan.vehicle.drag_coefficient]) {
        (told.value, told.sd) = (by * told.value, by * told.sd);
    }
    plan
}

/// A cue of something of 2 kg, without a limit.
pub(crate) fn cue(name: &str, kind: CueKind, body: usize, trigger: Trigger, delay_sd_s: f64) -> Cue {
    Cue {
        name: name.into(),
        kind,
        body,
        trigger,
        delay_s: Told { value: 0.0, sd: delay_sd_s },
        limit: None,
        mass_kg: 2.0,
    }
}

/// A fix so far east of the pad and above it, m.
pub(crate) fn fix(plan: &Plan, east_m: f64, up_m: f64) -> Fix {
    let cos = libm::cos(plan.site.latitude_rad);
    Fix {
        latitude_rad: plan.site.latitude_rad,
        longitude_rad: plan.site.longitude_rad + east_m / (EARTH_M * cos),
        height_amsl_m: Some(plan.site.elevation_m + up_m),
        horizontal_sd_m: None,
        vertical_sd_m: None,
    }
}

pub(crate) fn nothing(t_s: f64) -> Sample {
    Sample {
        body: 0,
        t_s,
        t_sd_s: 0.01,
        t_receive_s: t_s + 0.05,
        boot: 0,
        pressure_pa: None,
        axial_mps2: None,
        lateral_mps2: None,
        fix: None,
        velocity: None,
        tilt_rad: None,
        own_height_m: None,
        own_climb_mps: None,
    }
}

/// A flight's samples every 0.1 s: 12 s on the pad, 2 s of power, coast; `east_mps2` pushes it aside under power.
pub(crate) fn flight(plan: &Plan, seconds: f64, east_mps2: f64, gnss: bool) -> Vec<Sample> {
    let thrust = |since: f64| if (0.0..2.0).contains(&since) { 62.0 } else { 0.0 };
    flight_under(plan, seconds, east_mps2, gnss, 4e-4, thrust)
}

/// The same with any drag over speed squared (1/m) and under any thrust (m/s2, by seconds since liftoff).
pub(crate) fn flight_under(
    plan: &Plan,
    seconds: f64,
    east_mps2: f64,
    gnss: bool,
    drag_per_m: f64,
    thrust_at: impl Fn(f64) -> f64,
) -> Vec<Sample> {
    let (mut h, mut v, mut e, mut ve) = (0.0f64, 0.0f64, 0.0f64, 0.0f64);
    let mut samples = Vec::new();
    let count = (seconds / STEP_S) as usize;
    for i in 0..count {
        let t = i as f64 * STEP_S;
        let since = t - LIFTOFF_S;
        let thrust = thrust_at(since);
        let drag = drag_per_m * v * v.abs();
        if since >= 0.0 {
            let a = thrust - drag - 9.8;
            h += v * STEP_S + 0.5 * a * STEP_S * STEP_S;
            v += a * STEP_S;
            ve += if thrust > 0.0 { east_mps2 * STEP_S } else { -0.004 * ve * STEP_S };
            e += ve * STEP_S;
        }
        // A little made-up noise: the last bits of the sample's number.
        let noise = |k: u64| ((i as u64 * 7919 + k * 104_729) % 1000) as f64 / 1000.0 - 0.5;
        let mut s = nothing(t);
        s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-h / 8300.0) + 4.0 * noise(1));
        s.axial_mps2 = Some(if since < 0.0 { 9.8 } else { thrust - drag } + 0.4 * noise(2));
        if gnss && i % 2 == 0 {
            s.fix = Some(fix(plan, e + noise(3), h + noise(4)));
            s.velocity = Some(Velocity { horizontal_mps: Some([ve + 0.2 * noise(5), 0.0]), up_mps: Some(v) });
        }
        samples.push(s);
    }
    samples
}

pub(crate) fn fly(plan: &Plan, samples: &[Sample]) -> Tracker {
    let mut tracker = Tracker::new(plan, 0.0);
    for s in samples {
        tracker.take(s);
    }
    tracker
}

/// Climb rate of the made-up flight at an instant, by the same steps as its samples. (Its height by pressure is that of a
/// plainer air than the estimator's, so that heights would compare airs.)
pub(crate) fn true_climb(t_s: f64) -> f64 {
    climb_under(t_s, 4e-4, |since| if since < 2.0 { 62.0 } else { 0.0 })
}

pub(crate) fn climb_under(t_s: f64, drag_per_m: f64, thrust: impl Fn(f64) -> f64) -> f64 {
    let mut v = 0.0f64;
    let count = (t_s / STEP_S) as usize + 1;
    for i in 0..count {
        let since = i as f64 * STEP_S - LIFTOFF_S;
        if since >= 0.0 {
            v += (thrust(since) - drag_per_m * v * v.abs() - 9.8) * STEP_S;
        }
    }
    v
}

/// Height of the made-up flight at an instant, by the same steps as its samples.
pub(crate) fn true_height(t_s: f64) -> f64 {
    let count = (t_s / STEP_S) as usize;
    (0..count).map(|i| true_climb(i as f64 * STEP_S) * STEP_S).sum()
}

/// Height that the newest made-up pressure shows.
pub(crate) fn shown_height(plan: &Plan, samples: &[Sample]) -> f64 {
    let newest = samples.iter().rev().find_map(|s| s.pressure_pa).expect("a pressure");
    -8300.0 * libm::log(newest / plan.weather.pressure_pa)
}
