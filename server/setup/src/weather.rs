//! The air at the pad.

use loftwatch_flight::{Told, Weather};

use crate::mixup;
use crate::notes::{Notes, no_guess, want};
use crate::site::Pad;
use crate::standard;
use crate::told;
use crate::tree::Field;

/// How far a station pressure may be from what the elevation implies, hPa. Weather moves it by 25 at most places;
/// a pressure reduced to sea level is off by 12 hPa for each 100 m.
const FAR_HPA: f64 = 30.0;
/// How far the air at a pad is from the standard's at its elevation, one standard deviation, K (common practice, no source).
const UNTOLD_TEMPERATURE_SD_K: f64 = 12.0;

/// The told pressure if it is one at all, hPa: asked for before the site is, as it may stand in for the elevation.
pub(crate) fn station_pressure_hpa(told: &told::Weather) -> Option<f64> {
    told.station_pressure_hpa.get().map(|at| at.value).filter(|hpa| (400.0..=1100.0).contains(hpa))
}

/// Checks the weather; gives it with the words about the wind's source.
pub(crate) fn mean(told: &told::Weather, pad: &Pad, notes: &mut Notes) -> (Weather, String) {
    let elevation_m = pad.site.elevation_m;
    let implied_hpa = standard::pressure_pa(elevation_m) / 100.0;
    let hpa = notes.number(&told.station_pressure_hpa, want(400.0, 1100.0, "hPa"), mixup::pressure_hpa);
    if let Some(hpa) = hpa
        && pad.elevation_told
        && (hpa - implied_hpa).abs() > FAR_HPA
    {
        let guess = if (950.0..=1060.0).contains(&hpa) && hpa > implied_hpa {
            "looks like a sea-level pressure (QNH) from a forecast"
        } else {
            "is the elevation right? is the barometer?"
        };
        notes.refuse(
            told.station_pressure_hpa.place(),
            format!("within {FAR_HPA} hPa of the {implied_hpa:.0} hPa that the elevation implies"),
            format!("{hpa}"),
            Some(format!("{guess}; at {elevation_m} m a barometer reads about {implied_hpa:.0} hPa")),
        );
    }
    let hpa = hpa.unwrap_or_else(|| {
        let standard = libm::round(implied_hpa * 10.0) / 10.0;
        notes.default(
            told.station_pressure_hpa.place(),
            format!("{standard} hPa, standard atmosphere at {elevation_m} m"),
            standard,
        )
    });
    let celsius =
        notes.number(&told.temperature_c, want(-60.0, 60.0, "degrees Celsius"), mixup::temperature_c);
    let temperature_sd_k = if celsius.is_some() { 0.0 } else { UNTOLD_TEMPERATURE_SD_K };
    let celsius = celsius.unwrap_or_else(|| {
        let standard = libm::round((standard::temperature_k(elevation_m) - 273.15) * 10.0) / 10.0;
        notes.default(
            told.temperature_c.place(),
            format!(
                "{standard} degrees Celsius, standard atmosphere at {elevation_m} m, give or take \
                 {UNTOLD_TEMPERATURE_SD_K:.0} K: heights by pressure are that much vaguer"
            ),
            standard,
        )
    });

    let speed = notes.number(&told.wind_mps, want(0.0, 40.0, "m/s"), mixup::wind_mps);
    let spread = notes.number(&told.wind_spread_mps, want(0.1, 20.0, "m/s"), no_guess);
    let wind = match speed {
        Some(value) => Told {
            value,
            sd: spread.unwrap_or_else(|| {
                let sd = 0.3 * value + 1.0;
                notes.default(
                    told.wind_spread_mps.place(),
                    format!("{sd:.1} m/s (30 % of the wind and 1 m/s)"),
                    sd,
                )
            }),
        },
        None => Told {
            value: notes.default(told.wind_mps.place(), "0 m/s, not told", 0.0),
            sd: spread
                .unwrap_or_else(|| notes.default(told.wind_spread_mps.place(), "4 m/s, wind not told", 4.0)),
        },
    };
    let from =
        notes.number(&told.wind_from_deg, want(0.0, 360.0, "degrees true, where it comes from"), |degrees| {
            (-180.0..0.0).contains(&degrees).then(|| format!("{} is the same direction", degrees + 360.0))
        });
    if from.is_none() && wind.value > 0.0 {
        notes.missing(
            told.wind_from_deg.place(),
            "where the wind comes from, true degrees, as `wind_mps` is told",
            Some("leave both out if it is not known".to_owned()),
        );
    }
    let from_deg = from.unwrap_or_else(|| notes.default(told.wind_from_deg.place(), "not told", 0.0));
    let height = notes.number_or(&told.wind_height_m, want(0.3, 200.0, "m above ground"), no_guess, 10.0);

    let source = match &told.wind_source {
        Field::Absent(place) => notes.default(place, "not told", "not told".to_owned()),
        field => notes.name(field).unwrap_or_default(),
    };
    let weather = Weather {
        pressure_pa: hpa * 100.0,
        temperature_k: celsius + 273.15,
        temperature_sd_k,
        wind_mps: wind,
        wind_from_rad: from_deg.to_radians(),
        wind_height_m: height,
    };
    (weather, source)
}
