//! The pad.

use loftwatch_flight::Site;

use crate::notes::{Notes, no_guess, want};
use crate::standard;
use crate::told;
use crate::tree::{Field, Place};

/// The pad and whether its position was told.
pub(crate) struct Pad {
    pub(crate) name: String,
    pub(crate) site: Site,
    pub(crate) located: bool,
    pub(crate) elevation_told: bool,
    pub(crate) latitude: Place,
}

/// Checks the pad. A told station pressure stands in for an elevation that is not told.
pub(crate) fn mean(told: &told::Site, station_pressure_hpa: Option<f64>, notes: &mut Notes) -> Pad {
    let name = notes.name(&told.name);
    let name = if told.name.absent() {
        notes.default(told.name.place(), "pad", "pad".to_owned())
    } else {
        name.unwrap_or_default()
    };

    let swapped: fn(f64) -> Option<String> = |degrees| {
        (degrees.abs() <= 180.0).then(|| "latitude is north and south; is this the longitude?".to_owned())
    };
    let latitude = notes.number(&told.latitude_deg, want(-90.0, 90.0, "degrees north"), swapped);
    let longitude = notes.number(&told.longitude_deg, want(-180.0, 180.0, "degrees east"), |degrees| {
        (degrees <= 360.0 && degrees > 180.0).then(|| format!("west of Greenwich? then {}", degrees - 360.0))
    });
    if latitude.is_some() != longitude.is_some() {
        let place = if latitude.is_none() { told.latitude_deg.place() } else { told.longitude_deg.place() };
        notes.missing(
            place,
            "latitude and longitude together",
            Some("decimal degrees, WGS84, south and west negative".to_owned()),
        );
    }
    let located = latitude.is_some() && longitude.is_some();
    let latitude_deg = latitude.unwrap_or_else(|| {
        notes.default(told.latitude_deg.place(), "not told: 45 degrees north, for gravity alone", 45.0)
    });
    let longitude_deg = longitude.unwrap_or_else(|| {
        notes.default(told.longitude_deg.place(), "not told: nothing is placed on the globe", 0.0)
    });

    let elevation = notes.number(&told.elevation_m, want(-450.0, 6000.0, "m above mean sea level"), no_guess);
    let elevation_m = elevation.unwrap_or_else(|| match station_pressure_hpa.filter(|p| p.is_finite()) {
        Some(hpa) => {
            let implied = libm::round(standard::elevation_m(hpa * 100.0));
            notes.default(
                told.elevation_m.place(),
                format!("{implied} m, as the station pressure implies"),
                implied,
            )
        }
        None => notes.default(told.elevation_m.place(), "0 m above mean sea level", 0.0),
    });
    let geoid_m = notes.number_or(&told.geoid_above_ellipsoid_m, want(-120.0, 120.0, "m"), no_guess, 0.0);

    Pad {
        name,
        site: Site {
            latitude_rad: latitude_deg.to_radians(),
            longitude_rad: longitude_deg.to_radians(),
            elevation_m,
            geoid_m,
        },
        located,
        elevation_told: matches!(told.elevation_m, Field::Is(_)),
        latitude: told.latitude_deg.place().clone(),
    }
}
