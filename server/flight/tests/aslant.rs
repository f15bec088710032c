//! A heavy vehicle that flies aslant under power and leans far over, with a receiver that stays behind and walks back.

use loftwatch_flight::{Fix, Plan, Sample, Told, Tracker, Velocity};

const PLAN: &str = include_str!("../../../tests/flights/straight/1/plan.json");
const LIFTOFF_S: f64 = 12.0;
const BURN_S: f64 = 2.2;
const STEP_S: f64 = 0.05;
const FINE: u32 = 20;
const MASS_KG: f64 = 34.0;
const DIAMETER_M: f64 = 0.24;
const DRAG_COEFFICIENT: f64 = 0.8;
const THRUST_MPS2: f64 = 62.0;
/// Angle of the nose to the path between rail and burnout, rad.
const ASLANT_RAD: f64 = 0.18;
/// How fast a receiver that fell behind comes back, s, and when it begins to after burnout, s.
const RETURN_S: f64 = 0.45;
const RETURNS_S: f64 = 1.5;

fn plan() -> Plan {
    let mut plan: Plan = serde_json::from_str(PLAN).expect("a committed plan");
    plan.bodies.truncate(1);
    let cd = Told { value: DRAG_COEFFICIENT, sd: 0.2 * DRAG_COEFFICIENT };
    let v = &mut plan.vehicle;
    v.liftoff_mass_kg = Told { value: MASS_KG, sd: 1.0 };
    v.diameter_m = DIAMETER_M;
    v.drag_coefficient = cd;
    v.rail_length_m = 3.0;
    v.rail_tilt_rad = 0.0;
    v.lean_sd_rad = 0.15;
    // The wind says that it leans to the south; it will lean to the east.
    plan.weather.wind_mps = Told { value: 2.0, sd: 1.5 };
    plan.weather.wind_from_rad = core::f64::consts::PI;
    let motor = &mut plan.motors[0];
    motor.curve.clear();
    motor.propellant_mass_kg = 0.01;
    motor.burn_time_s = BURN_S;
    motor.impulse_ns = Told { value: THRUST_MPS2 * MASS_KG * BURN_S, sd: 300.0 };
    motor.diameter_m = DIAMETER_M;
    motor.drag_coefficient = cd;
    plan
}

/// What is sent.
#[derive(Clone, Copy)]
struct Board {
    across: bool,
    gnss: bool,
}

/// Errors of the median airspeed over the true one from burnout on: at half a second and the largest later, while it climbs.
fn airspeed_errors(board: Board) -> (f64, f64) {
    let plan = plan();
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    let area = 0.25 * core::f64::consts::PI * DIAMETER_M * DIAMETER_M;
    let per_v2 = 0.5 * density * area / MASS_KG;
    let scale_m = 287.053 * plan.weather.temperature_k / 9.8;
    let mut tracker = Tracker::new(&plan, 0.0);
    // East and up.
    let (mut at, mut v) = ([0.0f64; 2], [0.0f64; 2]);
    let (mut left, mut left_v) = ([0.0f64; 2], [0.0f64; 2]);
    let (mut early, mut late) = (0.0f64, 0.0f64);
    for i in 0..500u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let (mut axial, mut across) = (9.8, 0.0);
        if since >= 0.0 {
            for _ in 0..FINE {
                let dt = STEP_S / f64::from(FINE);
                let speed = libm::hypot(v[0], v[1]);
                let q = libm::exp(-at[1] / scale_m) * per_v2 * speed * speed;
                let burns = since < BURN_S;
                let free = at[1] > 3.0;
                let thrust = if burns { THRUST_MPS2 } else { 0.0 };
                let aslant = if burns && free { ASLANT_RAD } else { 0.0 };
                let path = if free { libm::atan2(v[0], v[1]) } else { 0.0 };
                let nose = path + aslant;
                axial = thrust - q * DRAG_COEFFICIENT;
                // The force across pushes to the side that the nose points to.
                across = 10.0 * q * aslant;
                let east = axial * libm::sin(nose) + across * libm::cos(nose);
                let up = axial * libm::cos(nose) - across * libm::sin(nose) - 9.8;
                v[0] += east * dt;
                v[1] += up * dt;
                at[0] += v[0] * dt;
                at[1] += v[1] * dt;
            }
        }
        // Under power the receiver stays where it was; later what it is behind by fades.
        if since > 0.5 && since < BURN_S + RETURNS_S {
            (left, left_v) = (at, v);
        }
        let fades = libm::exp(-(since - BURN_S - RETURNS_S).max(0.0) / RETURN_S);
        let seen = [at[0] - fades * left[0], at[1] - fades * left[1]];
        let seen_v = [v[0] - fades * left_v[0], v[1] - fades * left_v[1]];
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let hears = board.gnss && i % 4 == 0;
        tracker.take(&Sample {
            body: 0,
            t_s: t,
            t_sd_s: 0.003,
            t_receive_s: t + 0.03,
            boot: 0,
            pressure_pa: Some(plan.weather.pressure_pa * libm::exp(-at[1] / scale_m) + 6.0 * noise(1)),
            axial_mps2: Some(axial + 0.4 * noise(2)),
            lateral_mps2: board.across.then(|| [across + 0.4 * noise(3), 0.4 * noise(4)]),
            fix: hears.then(|| Fix {
                latitude_rad: plan.site.latitude_rad + noise(5) / 6.37e6,
                longitude_rad: plan.site.longitude_rad
                    + (seen[0] + noise(6)) / (6.38e6 * libm::cos(plan.site.latitude_rad)),
                height_amsl_m: Some(plan.site.elevation_m + seen[1] + 2.0 * noise(7)),
                horizontal_sd_m: None,
                vertical_sd_m: None,
            }),
            velocity: hears.then(|| Velocity {
                horizontal_mps: Some([seen_v[0] + 0.2 * noise(8), 0.2 * noise(9)]),
                up_mps: Some(seen_v[1] + 0.3 * noise(10)),
            }),
            tilt_rad: None,
            own_height_m: None,
            own_climb_mps: None,
        });
        let true_mps = libm::hypot(v[0], v[1]);
        if since >= BURN_S + 0.5 && v[1] > 5.0 {
            let off = tracker.estimate(0).expect("flying").airspeed_mps.p50 / true_mps - 1.0;
            if since < BURN_S + 0.5 + STEP_S {
                early = off;
            }
            late = late.max(off.abs());
        }
    }
    assert!(early != 0.0 && v[1] < 0.0, "{early} {v:?}");
    (early, late)
}

#[test]
fn the_force_across_tells_what_flying_aslant_costs() {
    let (known, _) = airspeed_errors(Board { across: true, gnss: false });
    let (unknown, _) = airspeed_errors(Board { across: false, gnss: false });
    assert!(unknown > 0.05, "nothing to tell: {unknown}");
    assert!(known.abs() < 0.6 * unknown, "{known} {unknown}");
}

#[test]
fn a_receiver_that_walks_back_does_not_drag_the_airspeed_along() {
    let (_, alone) = airspeed_errors(Board { across: true, gnss: false });
    let (_, returning) = airspeed_errors(Board { across: true, gnss: true });
    assert!(returning < alone + 0.1, "{returning} {alone}");
}
