//! Named areas on the ground.

use loftwatch_engine::setup::{Area, AreaKind};

use crate::notes::Notes;
use crate::site::Pad;
use crate::told;
use crate::tree::{At, Field};

/// Farther from the pad than this a point is a slip, m.
const FAR_M: f64 = 50_000.0;
/// The most points of one area.
const MOST_POINTS: usize = 500;
/// The most areas.
const MOST_AREAS: usize = 64;

/// What an area can be for.
const KINDS: &[(&str, AreaKind)] = &[
    ("people", AreaKind::People),
    ("cars", AreaKind::Cars),
    ("road", AreaKind::Road),
    ("landing", AreaKind::Landing),
];

/// Checks the areas.
pub(crate) fn mean(told: &[At<told::Area>], pad: &Pad, notes: &mut Notes) -> Vec<Area> {
    let names = notes.names(told.iter().map(|area| &area.value.name), "area");
    if let Some(extra) = told.get(MOST_AREAS) {
        notes.refuse(&extra.at, format!("at most {MOST_AREAS} areas"), told.len().to_string(), None);
    }
    told.iter().zip(names).map(|(area, name)| one(&area.value, name, pad, notes)).collect()
}

fn one(told: &told::Area, name: String, pad: &Pad, notes: &mut Notes) -> Area {
    let kind = notes.choice_required(&told.kind, KINDS).unwrap_or(AreaKind::People);
    let points = match (&told.points_m, &told.points_deg) {
        (Field::Absent(place), Field::Absent(_)) => {
            notes.missing(
                place,
                "points_m = [[east, north], ...] of the pad, or points_deg = [[latitude, longitude], ...]",
                None,
            );
            None
        }
        (Field::Is(_), Field::Is(degrees)) => {
            notes.refuse(&degrees.at, "either `points_m` or `points_deg`", "both", None);
            None
        }
        (Field::Is(metres), _) => {
            for point in metres.value.iter().filter(|p| p.value.iter().any(|m| m.abs() > FAR_M)) {
                let hint = Some("east and north of the pad in metres; degrees go in `points_deg`".to_owned());
                notes.refuse(
                    &point.at,
                    format!("within {} km of the pad", FAR_M / 1000.0),
                    shown(point.value),
                    hint,
                );
            }
            Some(metres.value.iter().map(|p| p.value).collect::<Vec<_>>())
        }
        (_, Field::Is(degrees)) => {
            if !pad.located {
                notes.missing(
                    &pad.latitude,
                    "latitude and longitude of the pad, as an area is told in degrees",
                    None,
                );
            }
            let mut points = Vec::new();
            for point in &degrees.value {
                let placed = east_north_m(point.value, pad);
                if pad.located && placed.iter().any(|m| m.abs() > FAR_M) {
                    let [a, b] = point.value;
                    let turned = east_north_m([b, a], pad);
                    let hint = turned.iter().all(|m| m.abs() <= FAR_M);
                    let hint = hint.then(|| "latitude comes first, then longitude".to_owned());
                    notes.refuse(
                        &point.at,
                        format!("within {} km of the pad", FAR_M / 1000.0),
                        shown(point.value),
                        hint,
                    );
                }
                points.push(placed);
            }
            Some(points)
        }
        _ => None,
    };
    let closed = match &told.closed {
        Field::Is(at) => at.value,
        field => {
            let landing = kind == AreaKind::Landing;
            notes.default(field.place(), landing, landing)
        }
    };
    if let Some(points) = &points {
        let least = if closed { 3 } else { 2 };
        if points.len() < least || points.len() > MOST_POINTS {
            let place = if told.points_m.absent() { told.points_deg.place() } else { told.points_m.place() };
            let what = if closed { "a closed area" } else { "a line" };
            notes.refuse(
                place,
                format!("{least} to {MOST_POINTS} points for {what}"),
                points.len().to_string(),
                None,
            );
        }
    }
    if kind == AreaKind::Landing && !closed {
        notes.refuse(told.closed.place(), "true: a landing area has an inside", "false", None);
    }
    Area { name, kind, points_m: points.unwrap_or_default(), closed }
}

fn shown(point: [f64; 2]) -> String {
    format!("[{}, {}]", point[0], point[1])
}

/// East and north of the pad from latitude and longitude, by the ellipsoid's two radii of curvature at the pad
/// (WGS84). Within 20 km of the pad it is right to about 30 m at middle latitudes, enough for a drawn area.
fn east_north_m([latitude_deg, longitude_deg]: [f64; 2], pad: &Pad) -> [f64; 2] {
    const A_M: f64 = 6_378_137.0;
    const E2: f64 = 0.006_694_379_990_14;
    let (lat, lon) = (pad.site.latitude_rad, pad.site.longitude_rad);
    let w2 = 1.0 - E2 * libm::pow(libm::sin(lat), 2.0);
    let across_m = A_M / libm::sqrt(w2);
    let along_m = across_m * (1.0 - E2) / w2;
    let mut turn_deg = longitude_deg - lon.to_degrees();
    turn_deg -= 360.0 * libm::round(turn_deg / 360.0);
    [
        turn_deg.to_radians() * (across_m + pad.site.elevation_m) * libm::cos(lat),
        (latitude_deg.to_radians() - lat) * (along_m + pad.site.elevation_m),
    ]
}
