//! Against GeographicLib (Karney 2013): `Geodesic.WGS84.Direct` of Python geographiclib 2.x, values written in.

use super::*;
use libm::{cos, sin};

fn rad(deg: f64) -> f64 {
    deg * core::f64::consts::PI / 180.0
}

/// Distance (m), azimuth (deg), end latitude and longitude (deg) from 38.25 N 117.35 W.
const DIRECT: [(f64, f64, f64, f64); 3] = [
    (1_000.0, 30.0, 38.257_801_801_194_88, -117.344_287_287_194_1),
    (5_000.0, 250.0, 38.234_581_564_450_94, -117.403_664_868_446_74),
    (20_000.0, 100.0, 38.218_496_732_385_15, -117.125_083_947_182_74),
];

#[test]
fn geodesics_become_local_offsets() {
    let f = Frame::at(rad(38.25), rad(-117.35), 0.0);
    for (s, azimuth, lat, lon) in DIRECT {
        let [e, n, u] = f.enu_m(rad(lat), rad(lon), 0.0);
        // The chord's horizontal part is shorter than the geodesic by s^3 / (6 R^2): 3 cm at 20 km.
        let tolerance = 0.002 + s * s * s / (5.0 * 6.37e6 * 6.37e6);
        assert!((e - s * sin(rad(azimuth))).abs() < tolerance, "{s}: {e}");
        assert!((n - s * cos(rad(azimuth))).abs() < tolerance, "{s}: {n}");
        assert!((u + s * s / (2.0 * 6.37e6)).abs() < 0.02 + 1e-3 * s * s / 6.37e6, "{s}: {u}");
    }
}

#[test]
fn there_and_back() {
    let f = Frame::at(rad(-33.0), rad(151.0), 1200.0);
    for enu in [[0.0, 0.0, 0.0], [5000.0, -3000.0, 9000.0], [-20_000.0, 100.0, 30_000.0]] {
        let (lat, lon, h) = f.geodetic(enu);
        let back = f.enu_m(lat, lon, h);
        for i in 0..3 {
            assert!((back[i] - enu[i]).abs() < 1e-4, "{enu:?} {back:?}");
        }
    }
}
