//! Against other roads to the same answer: SciPy's DOP853, the closed form of vertical coast, differences.

use super::*;
use crate::plan::{Body, Motor, Plan, Site, Told, Vehicle, Weather};
use crate::pressure::BARO_SCALE_SD;
use crate::pressure::{AIR_PER_M, OFFSET_SD_PA, dynamic_head_m};
use crate::state::{BLAG, BS, VN, VU};

fn told(value: f64, sd: f64) -> Told {
    Told { value, sd }
}

fn plan(wind: f64) -> Plan {
    Plan {
        site: Site {
            latitude_rad: core::f64::consts::FRAC_PI_4,
            longitude_rad: 0.2,
            elevation_m: 0.0,
            geoid_m: 0.0,
        },
        weather: Weather {
            pressure_pa: 101_325.0,
            temperature_k: 288.15,
            temperature_sd_k: 0.0,
            wind_mps: told(wind, 1.0),
            wind_from_rad: 4.0,
            wind_height_m: 10.0,
        },
        vehicle: Vehicle {
            liftoff_mass_kg: told(10.0, 0.3),
            diameter_m: 0.1,
            drag_coefficient: told(0.5, 0.1),
            rail_length_m: 2.0,
            rail_tilt_rad: 0.03,
            rail_azimuth_rad: Some(1.0),
            lean_sd_rad: 0.1,
        },
        motors: vec![Motor {
            impulse_ns: told(2000.0, 140.0),
            burn_time_s: 2.0,
            burn_time_ln_sd: 0.0,
            propellant_mass_kg: 1.0,
            curve: vec![],
            ignition_after_burnout_s: told(0.0, 0.0),
            dropped_mass_kg: 0.0,
            drag_coefficient: told(0.5, 0.1),
            diameter_m: 0.1,
        }],
        bodies: vec![Body {
            name: "Body".into(),
            parent: None,
            freed_by: None,
            has_transmitter: true,
            mass_kg: told(9.0, 0.3),
            bare_drag_area_m2: told(0.004, 0.001),
            descents: vec![],
        }],
        cues: vec![],
    }
}

fn coast() -> Regime {
    Regime {
        stage: 0,
        ignition_s: 0.0,
        burning: false,
        burnt_out_s: -1e300,
        thrust_sd: 0.0,
        thrust_tau_s: 0.1,
        ln_k_rate: 0.0,
        rough: 0.0,
        zeroed_aloft: false,
    }
}

/// SciPy 1.17 `solve_ivp(method="DOP853", rtol=1e-12)` on the same equations written in Python (US Standard Atmosphere
/// 1976 below 11 km, Somigliana with height, Coriolis, vertical leaning by x/R, on the way up a lift of 0.019 of gravity's part
/// across the path in the pad's air): start 500 m, (30, 20, 250) m/s, k = 4e-4 per metre, 45 N, no wind. Time, then east,
/// north, up, and their rates.
const DOP853: [(f64, [f64; 6]); 3] = [
    (5.0, [124.070129, 82.825954, 1428.007196, 21.12918, 14.124364, 135.204837]),
    (10.0, [219.634117, 146.763337, 1926.720289, 17.579299, 11.769645, 68.248155]),
    (20.0, [381.571152, 255.172849, 2092.153134, 15.351582, 10.265394, -32.419605]),
];

#[test]
fn the_mean_follows_dop853() {
    let m = Model::new(&plan(0.0));
    let mut b = Blob::zero();
    b.x[H] = 500.0;
    b.x[VE..=VU].copy_from_slice(&[30.0, 20.0, 250.0]);
    b.x[LNK] = libm::log(4e-4);
    let mut t = 0.0;
    for (until, want) in DOP853 {
        carry(&m, &coast(), &mut b, t, until - t, 0.25);
        t = until;
        for i in 0..6 {
            // The table of the air is straight between rows 50 m apart: 2e-5 of the drag.
            assert!((b.x[i] - want[i]).abs() < 0.05, "{until} s, state {i}: {} for {}", b.x[i], want[i]);
        }
    }
}

#[test]
fn vertical_coast_reaches_the_closed_form() {
    // h = ln(1 + k v^2/g) / (2k), t = atan(v sqrt(k/g)) / sqrt(k g), for constant density (science: closed form of
    // quadratic drag). Over the 60 m flown density falls by 0.6 %, which moves h by less than 0.3 %.
    let m = Model::new(&plan(0.0));
    let (k, v, g) = (4e-3, 45.0, m.gravity(0.0));
    let mut b = Blob::zero();
    b.x[VU] = v;
    b.x[LNK] = libm::log(k);
    let h = libm::log(1.0 + k * v * v / g) / (2.0 * k);
    let t = libm::atan(v * sqrt(k / g)) / sqrt(k * g);
    carry(&m, &coast(), &mut b, 0.0, t, 0.25);
    assert!((b.x[H] / h - 1.0).abs() < 3e-3, "{} for {h}", b.x[H]);
    assert!(b.x[VU].abs() < 0.15, "{}", b.x[VU]);
}

#[test]
fn covariance_moves_as_differences_of_the_mean_do() {
    // Columns of the transition by central differences, for coast and for power.
    let m = Model::new(&plan(5.0));
    for burning in [false, true] {
        let regime = Regime { burning, ..coast() };
        let mut start = Blob::zero();
        start.x[H] = 300.0;
        start.x[VE..=VU].copy_from_slice(&[20.0, -15.0, 310.0]);
        start.x[LNK] = libm::log(5e-4);
        let dt = 0.05;
        for i in 3..12 {
            // A covariance of rank one: the carried one is the square of the carried direction.
            let mut b = start;
            b.p[i][i] = 1.0;
            let j_only = |mut c: Blob, e: f64| {
                c.x[i] += e;
                c.p = [[0.0; N]; N];
                step::<N>(&m, &regime, &mut c, 0.5, dt);
                c.x
            };
            let e = 1e-3;
            let (hi, lo) = (j_only(start, e), j_only(start, -e));
            let (_, v0) = airspeed(&m, &start.x);
            step::<N>(&m, &regime, &mut b, 0.5, dt);
            for r in [VE, VN, VU] {
                let slope = (hi[r] - lo[r]) / (2.0 * e);
                let noise = (0.02 + 0.0004 * v0) * (0.02 + 0.0004 * v0) * dt;
                let got = b.p[r][r] - noise;
                let wind = if i == 8 || i == 9 { 0.02 } else { 0.0 };
                assert!(
                    (got - slope * slope).abs() < 2e-3 + 0.02 * slope * slope + wind,
                    "burning {burning}, from {i} to {r}: {got} for {}",
                    slope * slope
                );
            }
        }
    }
}

#[test]
fn mirrored_wind_gives_a_mirrored_coast() {
    // Without the earth's rotation: wind and velocity turned by half a turn turn the track by half a turn.
    let mut here = plan(8.0);
    here.site.latitude_rad = 0.0;
    let mut a = Model::new(&here);
    here.weather.wind_from_rad += core::f64::consts::PI;
    let mut b = Model::new(&here);
    for m in [&mut a, &mut b] {
        m.spin_north = 0.0;
        m.spin_up = 0.0;
    }
    let mut x = Blob::zero();
    x.x[LNK] = -6.5;
    x.x[VE..=VU].copy_from_slice(&[12.0, -7.0, 150.0]);
    let mut y = x;
    y.x[VE] = -12.0;
    y.x[VN] = 7.0;
    carry(&a, &coast(), &mut x, 0.0, 8.0, 0.25);
    carry(&b, &coast(), &mut y, 0.0, 8.0, 0.25);
    assert!((x.x[E] + y.x[E]).abs() < 1e-6 && (x.x[H] - y.x[H]).abs() < 1e-6);
}

/// The offset that a column adds is the integral of a wandering scale: variance s0^2 h^2 + A h^3 / 3 (closed form), and at the
/// ground again nothing of it is left.
#[test]
fn height_by_pressure_gains_the_spread_of_the_column_below() {
    let m = Model::new(&plan(0.0));
    let mut b = Blob::zero();
    b.p[BS][BS] = BARO_SCALE_SD * BARO_SCALE_SD;
    b.x[BS] = 0.01;
    let top = 5000.0;
    let (mut climbed, mut offset) = (0.0, 1.0);
    for step in 0..500 {
        let from = f64::from(step) * top / 500.0;
        b.x[H] = from + top / 500.0;
        let (left, passed) = pass_air(&m, &mut b, from);
        offset *= left;
        climbed += passed;
    }
    let sensor = OFFSET_SD_PA * (m.air.metres_per_pascal(top) - m.air.metres_per_pascal(0.0));
    let column = BARO_SCALE_SD * BARO_SCALE_SD * top * top + AIR_PER_M * top * top * top / 3.0;
    assert!((b.p[BB][BB] / (column + sensor * sensor) - 1.0).abs() < 0.02, "{}", b.p[BB][BB]);
    assert!((b.x[BB] - 0.01 * top).abs() < 1e-6);
    assert!((climbed - top).abs() < 1e-6 && (offset - 1.0).abs() < 1e-12);
    for step in (0..500).rev() {
        let to = f64::from(step) * top / 500.0;
        b.x[H] = to;
        pass_air(&m, &mut b, to + top / 500.0);
    }
    assert!(b.x[BB].abs() < 0.5, "{}", b.x[BB]);
    assert!(b.p[BB][BB] < 4.0, "{}", b.p[BB][BB]);
}

#[test]
fn a_barometer_that_lags_is_seen_as_it_lags() {
    // The lag's own equation y' = (x - y) / tau, step by step in milliseconds, for height and dynamic pressure under a motor and after it.
    let m = Model::new(&plan(0.0));
    for lag_s in [0.03, 0.08, 0.15] {
        let mut coarse = Blob::zero();
        coarse.x[LNK] = libm::log(5e-4);
        coarse.x[BLAG] = lag_s;
        let mut fine = coarse;
        let (mut shown_m, mut shown_head_m, mut straight_m) = (0.0, 0.0, 0.0f64);
        for i in 0..60 {
            let regime = Regime { burning: i < 40, ignition_s: 0.0, ..coast() };
            let t = 0.05 * f64::from(i);
            carry(&m, &regime, &mut coarse, t, 0.05, 0.25);
            for k in 0..50 {
                carry(&m, &regime, &mut fine, t + 0.001 * f64::from(k), 0.001, 0.25);
                let gain = 1.0 - exp(-0.001 / lag_s);
                shown_m += (fine.x[H] - shown_m) * gain;
                shown_head_m += (dynamic_head_m(&m, &fine.x) - shown_head_m) * gain;
            }
            // Below its own height: the paths themselves differ by how their steps meet burnout.
            let below_m = shown_m - fine.x[H];
            let seen_below_m = coarse.trail_m - lag_s * coarse.x[VU];
            let seen_head_m = dynamic_head_m(&m, &coarse.x) - coarse.port_trail_m;
            assert!(
                (seen_below_m - below_m).abs() < 0.15,
                "lag {lag_s}, {t} s: {seen_below_m} for {below_m}"
            );
            // A hundredth or two of this is what a port errs by.
            assert!(
                (seen_head_m - shown_head_m).abs() < 15.0,
                "lag {lag_s}, {t} s: {seen_head_m} for {shown_head_m}"
            );
            straight_m = straight_m.max((-lag_s * coarse.x[VU] - below_m).abs());
        }
        assert!(straight_m > 70.0 * lag_s * lag_s, "a straight path leaves something: {straight_m}");
    }
}
