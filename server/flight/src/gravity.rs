//! Normal gravity of WGS84 on the ellipsoid (Somigliana) and its fall with height.
//!
//! Source: NIMA TR8350.2 (2000), equations 4-1 and 4-3 with the constants of table 3.4. Beyond the second order
//! term with height nothing is modelled: at 30 km the error is below 1e-6 of g.

use libm::{sin, sqrt};

/// Equatorial normal gravity, m/s2.
const GAMMA_E: f64 = 9.780_325_335_9;
/// Somigliana constant.
const K: f64 = 0.001_931_852_652_41;
/// First eccentricity squared.
const E2: f64 = 0.006_694_379_990_14;
/// Semi-major axis, m.
const A: f64 = 6_378_137.0;
/// Flattening.
const F: f64 = 1.0 / 298.257_223_563;
/// m = omega^2 a^2 b / GM.
const M: f64 = 0.003_449_786_506_84;

/// Normal gravity on the ellipsoid at a latitude, m/s2.
pub fn on_ellipsoid(latitude_rad: f64) -> f64 {
    let s2 = sin(latitude_rad) * sin(latitude_rad);
    GAMMA_E * (1.0 + K * s2) / sqrt(1.0 - E2 * s2)
}

/// Normal gravity at a height above the ellipsoid, m/s2.
pub fn at_height(latitude_rad: f64, height_m: f64) -> f64 {
    let s2 = sin(latitude_rad) * sin(latitude_rad);
    let x = height_m / A;
    on_ellipsoid(latitude_rad) * (1.0 - 2.0 * (1.0 + F + M - 2.0 * F * s2) * x + 3.0 * x * x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wgs84_figures() {
        // NIMA TR8350.2, table 3.4: equator and pole.
        assert!((on_ellipsoid(0.0) - 9.780_325_335_9).abs() < 1e-10);
        assert!((on_ellipsoid(core::f64::consts::FRAC_PI_2) - 9.832_184_937_8).abs() < 1e-8);
    }

    #[test]
    fn falls_like_the_inverse_square() {
        // Inverse square about a sphere of mean radius is right to 1e-4 at 30 km.
        let g = at_height(0.7, 30_000.0) / at_height(0.7, 0.0);
        let r = 6_371_000.0 / (6_371_000.0 + 30_000.0);
        assert!((g - r * r).abs() < 1e-4, "{g}");
    }
}
