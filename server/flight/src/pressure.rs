//! What a barometer makes of the path: the air below it that is not the model's, and its lag.

use libm::exp;

use crate::model::Model;
use crate::motion::{airspeed, fade_state};
use crate::state::{BB, BLAG, BS, Blob, H, N, VE};

/// Spread of height by pressure over true height near the ground: thermometer and lowest layer are not the standard's (1 K off
/// over the column is 0.35 %; common practice, no source); what layers above add is `AIR_PER_M`.
/// Larger: apogee by pressure alone is less certain than it is on a standard day; smaller: GNSS and pressure quarrel on others.
pub(crate) const BARO_SCALE_SD: f64 = 0.007;
/// Variance that the relative error of the air's temperature gains per metre of height: 2.3 % or 6 K over 10 km (common practice,
/// no source). Larger: height by pressure alone is vaguer high up; smaller: what a fix taught about the air below is
/// believed of the air above.
pub(crate) const AIR_PER_M: f64 = 5.5e-8;
/// What is left open of the pressure sensor's own offset, Pa: a hectopascal less what the pad shows (common practice, no source).
pub(crate) const OFFSET_SD_PA: f64 = 50.0;
/// Height of column below which the sensor's own offset is most of the sum, m.
const COLUMN_LEAST_M: f64 = 30.0;
/// Lags that a trail is reckoned with, s.
const LAG_RANGE_S: (f64, f64) = (0.005, 0.5);

/// Lag of a blob's barometer, s, never nothing.
pub(crate) fn baro_lag_s(blob: &Blob) -> f64 {
    blob.x[BLAG].clamp(LAG_RANGE_S.0, LAG_RANGE_S.1)
}

/// Height, m, that the dynamic pressure is worth.
pub(crate) fn dynamic_head_m(m: &Model, x: &[f64]) -> f64 {
    let (_, v) = airspeed(m, x);
    let (rho, _) = m.air.density_ratio(x[H]);
    0.5 * rho * m.air.pad_density() * v * v * m.air.metres_per_pascal(x[H].max(-500.0))
}

/// A first-order lag tau answers a path h by y, y' = (h - y) / tau. With y = h - tau h' + e that is e' = tau h'' - e / tau: what its
/// row leaves out when it takes the path for straight, a metre under power. The port's error trails alike.
pub(crate) fn trail(m: &Model, blob: &mut Blob, from: &[f64; N], dt: f64) {
    let lag_s = baro_lag_s(blob);
    let left = exp(-dt / lag_s);
    let bent = lag_s * (blob.x[VE + 2] - from[VE + 2]) / dt;
    blob.trail_m = blob.trail_m * left + lag_s * bent * (1.0 - left);
    let rises = (dynamic_head_m(m, &blob.x) - dynamic_head_m(m, from)) / dt;
    blob.port_trail_m = blob.port_trail_m * left + lag_s * rises * (1.0 - left);
}

/// What the column below a height, m, may add to height by pressure, m2, and the variance of the scale there: the scale's own
/// spread near the ground, and what layers have added to it.
pub(crate) fn column_variances(m: &Model, height_m: f64) -> (f64, f64) {
    let h = height_m.max(0.0);
    let ground = m.air_scale_sd * m.air_scale_sd;
    (h * h * (ground + AIR_PER_M * h / 3.0), ground + AIR_PER_M * h)
}

/// The air between two heights, whose temperature is not the model's, shifts the height by pressure: on the way up each layer
/// adds its part and the next is a little different; on the way down the same column is passed, of which only the sum is
/// kept. Gives what is left of the offset and the height over which the scale was added to it.
pub(crate) fn pass_air(m: &Model, blob: &mut Blob, from_m: f64) -> (f64, f64) {
    let to_m = blob.x[H];
    let passed = to_m - from_m;
    if passed > 0.0 {
        blob.x[BB] += passed * blob.x[BS];
        for j in 0..N {
            blob.p[BB][j] += passed * blob.p[BS][j];
        }
        for i in 0..N {
            blob.p[i][BB] += passed * blob.p[i][BS];
        }
        blob.p[BS][BS] += AIR_PER_M * passed;
        let at_pad = m.air.metres_per_pascal(0.0);
        let grown = |h: f64| {
            let off = OFFSET_SD_PA * (m.air.metres_per_pascal(h.max(0.0)) - at_pad);
            off * off
        };
        blob.p[BB][BB] += (grown(to_m) - grown(from_m)).max(0.0);
        return (1.0, passed);
    }
    let above = |h: f64| h.max(0.0) + COLUMN_LEAST_M;
    let left = above(to_m) / above(from_m);
    fade_state::<N>(blob, BB, left);
    // A column's mean is the one of the column above with another share of its layers.
    blob.p[BB][BB] += AIR_PER_M / 3.0 * to_m * to_m * -passed;
    (left, 0.0)
}
