//! WGS84 latitude, longitude and height to east, north and up at the pad, and back.
//!
//! Closed forms through earth-centred coordinates; back by Bowring (1976), one step, good to micrometres below
//! 100 km. "Up" here is along the pad's plumb line; [`Frame::height_over_pad_m`] is the difference of ellipsoidal
//! heights, which is what a barometer sees (they differ by the square of the distance over the earth's diameter).

use libm::{atan2, cos, sin, sqrt};

/// Semi-major axis, m.
const A: f64 = 6_378_137.0;
/// Flattening.
const F: f64 = 1.0 / 298.257_223_563;
/// First eccentricity squared.
const E2: f64 = F * (2.0 - F);

/// Earth-centred earth-fixed coordinates, m.
pub fn to_ecef(latitude_rad: f64, longitude_rad: f64, ellipsoid_m: f64) -> [f64; 3] {
    let (sl, cl) = (sin(latitude_rad), cos(latitude_rad));
    let n = A / sqrt(1.0 - E2 * sl * sl);
    [
        (n + ellipsoid_m) * cl * cos(longitude_rad),
        (n + ellipsoid_m) * cl * sin(longitude_rad),
        (n * (1.0 - E2) + ellipsoid_m) * sl,
    ]
}

/// The local frame at the pad.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    origin: [f64; 3],
    ellipsoid_m: f64,
    sin_lat: f64,
    cos_lat: f64,
    sin_lon: f64,
    cos_lon: f64,
}

impl Frame {
    /// A frame at a place; `ellipsoid_m` is its height above the WGS84 ellipsoid.
    pub fn at(latitude_rad: f64, longitude_rad: f64, ellipsoid_m: f64) -> Self {
        Self {
            origin: to_ecef(latitude_rad, longitude_rad, ellipsoid_m),
            ellipsoid_m,
            sin_lat: sin(latitude_rad),
            cos_lat: cos(latitude_rad),
            sin_lon: sin(longitude_rad),
            cos_lon: cos(longitude_rad),
        }
    }

    /// East, north, up of a place, m.
    pub fn enu_m(&self, latitude_rad: f64, longitude_rad: f64, ellipsoid_m: f64) -> [f64; 3] {
        let p = to_ecef(latitude_rad, longitude_rad, ellipsoid_m);
        let d = [p[0] - self.origin[0], p[1] - self.origin[1], p[2] - self.origin[2]];
        let along = self.cos_lon * d[0] + self.sin_lon * d[1];
        [
            -self.sin_lon * d[0] + self.cos_lon * d[1],
            -self.sin_lat * along + self.cos_lat * d[2],
            self.cos_lat * along + self.sin_lat * d[2],
        ]
    }

    /// Difference of ellipsoidal heights, m.
    pub fn height_over_pad_m(&self, ellipsoid_m: f64) -> f64 {
        ellipsoid_m - self.ellipsoid_m
    }

    /// Latitude and longitude (rad) and ellipsoidal height (m) of an east, north, up.
    pub fn geodetic(&self, enu_m: [f64; 3]) -> (f64, f64, f64) {
        let [e, n, u] = enu_m;
        let along = -self.sin_lat * n + self.cos_lat * u;
        let x = self.origin[0] - self.sin_lon * e + self.cos_lon * along;
        let y = self.origin[1] + self.cos_lon * e + self.sin_lon * along;
        let z = self.origin[2] + self.cos_lat * n + self.sin_lat * u;
        let b = A * (1.0 - F);
        let p = sqrt(x * x + y * y);
        let theta = atan2(z * A, p * b);
        let (st, ct) = (sin(theta), cos(theta));
        let ep2 = E2 / (1.0 - E2);
        let lat = atan2(z + ep2 * b * st * st * st, p - E2 * A * ct * ct * ct);
        let sl = sin(lat);
        let r = A / sqrt(1.0 - E2 * sl * sl);
        let h = p * cos(lat) + z * sl - A * A / r;
        (lat, atan2(y, x), h)
    }
}

#[cfg(test)]
mod tests;
