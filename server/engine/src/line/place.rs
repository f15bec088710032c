//! A landing area in figures: middle, axes of the 90 % ellipse or the ring's radii, middle as latitude and longitude.

use loftwatch_flight::{Area, Landing, Site};

use super::Line;

/// Mahalanobis distance inside which 90 % of a plane normal distribution lie, sqrt(-2 ln 0.1).
const NINETY: f64 = 2.145_966_026_289_347;
/// WGS84: semi-major axis, m, and squared first eccentricity.
const A_M: f64 = 6_378_137.0;
const E2: f64 = 6.694_379_990_141_317e-3;

pub(super) fn put(line: &mut Line, landing: &Landing, site: &Site) {
    let (Area::Ellipse { centre_m, .. } | Area::Ring { centre_m, .. }) = landing.area;
    line.number("east_m", centre_m[0]);
    line.number("north_m", centre_m[1]);
    let (latitude_rad, longitude_rad) = on_earth(centre_m, site);
    line.number("latitude_deg", latitude_rad.to_degrees());
    line.number("longitude_deg", longitude_rad.to_degrees());
    match landing.area {
        Area::Ellipse { covariance_m2, .. } => {
            let (major_m, minor_m, azimuth_rad) = axes(covariance_m2);
            line.text("area", "ellipse");
            line.number("ellipse_major_m_p90", major_m);
            line.number("ellipse_minor_m_p90", minor_m);
            line.number("ellipse_azimuth_rad", azimuth_rad);
        }
        Area::Ring { radius_m, .. } => {
            line.text("area", "ring");
            line.spread("ring_radius_m", &radius_m);
        }
    }
}

/// Semi-axes of the 90 % ellipse and the azimuth of the longer one from north, clockwise, 0 to pi.
fn axes([xx, xy, yy]: [f64; 3]) -> (f64, f64, f64) {
    let mean = f64::midpoint(xx, yy);
    let half = libm::hypot((xx - yy) / 2.0, xy);
    let azimuth = libm::atan2(2.0 * xy, yy - xx) / 2.0;
    let azimuth = if azimuth < 0.0 { azimuth + std::f64::consts::PI } else { azimuth };
    (NINETY * libm::sqrt((mean + half).max(0.0)), NINETY * libm::sqrt((mean - half).max(0.0)), azimuth)
}

/// Latitude and longitude of a place in the tangent plane, to second order in the radii of curvature (Helmert's
/// series, from memory): good to a metre at 30 km.
fn on_earth([east, north]: [f64; 2], site: &Site) -> (f64, f64) {
    let (sin, cos) = (libm::sin(site.latitude_rad), libm::cos(site.latitude_rad));
    let w = libm::sqrt(1.0 - E2 * sin * sin);
    let across = A_M / w + site.elevation_m;
    let along = A_M * (1.0 - E2) / (w * w * w) + site.elevation_m;
    let tan = sin / cos;
    let latitude = north / along - east * east * tan / (2.0 * across * along);
    let longitude = east / (across * cos) * (1.0 + north * tan / along);
    (site.latitude_rad + latitude, site.longitude_rad + longitude)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_of_a_known_ellipse() {
        let (major, minor, azimuth) = axes([100.0, 0.0, 25.0]);
        assert!((major - NINETY * 10.0).abs() < 1e-9 && (minor - NINETY * 5.0).abs() < 1e-9);
        assert!((azimuth - std::f64::consts::FRAC_PI_2).abs() < 1e-9, "longer towards east");
        // Turned to north-east: variance 100 along (1, 1), 25 across.
        let (major, minor, azimuth) = axes([62.5, 37.5, 62.5]);
        assert!((major - NINETY * 10.0).abs() < 1e-9 && (minor - NINETY * 5.0).abs() < 1e-9);
        assert!((azimuth - std::f64::consts::FRAC_PI_4).abs() < 1e-9);
    }

    #[test]
    fn a_place_on_earth_agrees_with_earth_centred_coordinates() {
        let site = Site { latitude_rad: 0.667, longitude_rad: -2.05, elevation_m: 1210.0, geoid_m: 0.0 };
        for place in [[0.0, 0.0], [3000.0, -2000.0], [-20_000.0, 20_000.0]] {
            let (lat, lon) = on_earth(place, &site);
            let ecef = |lat: f64, lon: f64| {
                let n = A_M / libm::sqrt(1.0 - E2 * libm::sin(lat) * libm::sin(lat));
                let r = (n + site.elevation_m) * libm::cos(lat);
                [r * libm::cos(lon), r * libm::sin(lon), (n * (1.0 - E2) + site.elevation_m) * libm::sin(lat)]
            };
            let (p, o) = (ecef(lat, lon), ecef(site.latitude_rad, site.longitude_rad));
            let d = [p[0] - o[0], p[1] - o[1], p[2] - o[2]];
            let (sl, cl) = libm::sincos(site.longitude_rad);
            let (sp, cp) = libm::sincos(site.latitude_rad);
            let east = -sl * d[0] + cl * d[1];
            let north = -sp * cl * d[0] - sp * sl * d[1] + cp * d[2];
            assert!(
                (east - place[0]).abs() < 1.0 && (north - place[1]).abs() < 1.0,
                "{place:?} {east} {north}"
            );
        }
    }
}
