//! Compass bearings: magnetic declination by the World Magnetic Model 2025 (NOAA/NCEI and BGS, valid to the end of 2029).
//!
//! A compass bearing is the true bearing less the declination, which is positive to the east. The model knows the
//! Earth's core only: iron in the ground, a car or a belt buckle turn a needle further, and nothing here knows of them.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use world_magnetic_model::time::Date;
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::length::meter;
use world_magnetic_model::{GeomagneticField, WarningZone};

use crate::hub::figure;
use crate::messages::CompassNow;

/// What a compass shows at a place (degrees, WGS84, height above the ellipsoid) on the UTC day of an instant (ns since
/// 1970). `None` where the model says nothing: another year than 2025 to 2029, or so near a magnetic pole that a
/// compass is not to be relied on.
pub(crate) fn at(latitude_deg: f64, longitude_deg: f64, ellipsoid_m: f64, utc_ns: i64) -> Option<CompassNow> {
    let day = Timestamp::from_nanosecond(i128::from(utc_ns)).ok()?.to_zoned_datetime(TimeZone::UTC).date();
    // The library also has the model of 2020: its word would be another one.
    if !(2025..2030).contains(&day.year()) {
        return None;
    }
    let date = Date::from_ordinal_date(i32::from(day.year()), day.day_of_year().unsigned_abs()).ok()?;
    let field = GeomagneticField::new(
        Length::new::<meter>(ellipsoid_m as f32),
        Angle::new::<degree>(latitude_deg as f32),
        Angle::new::<degree>(longitude_deg as f32),
        date,
    )
    .ok()?;
    let caution = match field.declination_warning() {
        Some(WarningZone::BlackoutZone) => return None,
        warning => warning.is_some(),
    };
    Some(CompassNow {
        declination_deg: figure(f64::from(field.declination().get::<degree>()), 2)?,
        sd_deg: figure(f64::from(field.declination_uncertainty().get::<degree>()), 2)?,
        caution,
        model: "WMM2025".to_owned(),
        date: day.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc_ns(date: &str) -> i64 {
        let instant: Timestamp = format!("{date}T12:00:00Z").parse().unwrap();
        i64::try_from(instant.as_nanosecond()).unwrap()
    }

    #[test]
    fn declinations_are_those_of_the_published_test_values() {
        // Declination of the twelve test values of WMM2025 (NOAA/NCEI and BGS, The US/UK World Magnetic Model for
        // 2025-2030, table of test values; two decimals). Written from memory, and confirmed with pygeomag 1.1.0, which
        // has a synthesis of its own and the published file of coefficients. 2027.5 is the 2nd of July.
        let published = [
            ("2025-01-01", 0.0, [(80.0, 0.0, 1.28), (0.0, 120.0, -0.16), (-80.0, 240.0, 68.78)]),
            ("2025-01-01", 100.0, [(80.0, 0.0, 0.85), (0.0, 120.0, -0.15), (-80.0, 240.0, 68.21)]),
            ("2027-07-02", 0.0, [(80.0, 0.0, 2.59), (0.0, 120.0, -0.24), (-80.0, 240.0, 68.49)]),
            ("2027-07-02", 100.0, [(80.0, 0.0, 2.16), (0.0, 120.0, -0.23), (-80.0, 240.0, 67.93)]),
        ];
        for (date, km, places) in published {
            for (latitude, longitude, wanted) in places {
                let longitude = if longitude > 180.0 { longitude - 360.0 } else { longitude };
                let found = at(latitude, longitude, km * 1000.0, utc_ns(date)).unwrap().declination_deg;
                assert!(
                    (found - wanted).abs() < 0.011,
                    "{date} {km} km {latitude} {longitude}: {found} {wanted}"
                );
            }
        }
    }

    #[test]
    fn the_day_and_the_doubt_are_told() {
        let compass = at(38.25, -117.35, 1186.0, utc_ns("2026-11-26")).unwrap();
        assert_eq!((compass.model.as_str(), compass.date.as_str()), ("WMM2025", "2026-11-26"));
        // The model's own error: 0.26 degrees and 5417 nT over the horizontal intensity, which is some 22,000 nT there.
        assert!((0.3..0.4).contains(&compass.sd_deg), "{}", compass.sd_deg);
        assert!(!compass.caution);
    }

    #[test]
    fn where_and_when_the_model_says_nothing_there_is_no_compass_bearing() {
        for date in ["2024-12-31", "2030-01-01"] {
            assert_eq!(at(38.25, -117.35, 0.0, utc_ns(date)), None, "{date}");
        }
        // The magnetic pole of 2025 lies near 86 north, 139 east.
        assert_eq!(at(86.0, 139.0, 0.0, utc_ns("2025-06-01")), None);
        assert_eq!(at(f64::NAN, 0.0, 0.0, utc_ns("2025-06-01")), None);
    }
}
