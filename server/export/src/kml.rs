//! KML 2.2 (OGC 07-147r2, 2008): a line for each body, events and landings as places; and, in the public extension
//! namespace, the same with its times. Heights are above sea level (altitude mode `absolute`).

use std::io::Write;

use crate::ExportError;
use crate::path::{Path, Place};
use crate::time::utc;
use crate::units::Units;
use crate::xml::{self, Xml, text, within};

/// Line colours as KML writes them, `aabbggrr`: Okabe-Ito's blue, green, purple, and black, as on the pages.
const COLOURS: [&str; 4] = ["ff15130f", "ffb27200", "ff739e00", "ff864aaa"];

fn coordinates(place: &Place) -> String {
    format!("{:.7},{:.7},{:.2}", place.longitude_deg, place.latitude_deg, place.sea_level_m)
}

fn height(m: f64, units: Units) -> String {
    match units {
        Units::Si => format!("{m:.1} m"),
        Units::Imperial => format!("{:.0} ft", m / 0.3048),
    }
}

/// Writes it.
pub fn write(to: &mut dyn Write, paths: &[Path], units: Units) -> Result<(), ExportError> {
    // Before the first byte: a file that cannot be whole is not begun.
    for path in paths {
        path.pad()?;
    }
    let xml = &mut xml::begin(to)?;
    let spaces =
        [("xmlns", "http://www.opengis.net/kml/2.2"), ("xmlns:gx", "http://www.google.com/kml/ext/2.2")];
    within(xml, "kml", &spaces, |xml| {
        within(xml, "Document", &[], |xml| {
            text(xml, "name", &title(paths))?;
            for (index, colour) in COLOURS.iter().enumerate() {
                within(xml, "Style", &[("id", &format!("body{index}"))], |xml| {
                    within(xml, "LineStyle", &[], |xml| {
                        text(xml, "color", colour)?;
                        text(xml, "width", "3")
                    })
                })?;
            }
            paths.iter().try_for_each(|path| flight(xml, path, units))
        })
    })?;
    to.write_all(b"\n")?;
    to.flush()?;
    Ok(())
}

fn title(paths: &[Path]) -> String {
    match paths {
        [one] => format!("Flight {}: {}", one.flight.number, one.flight.title()),
        many => format!("{} flights", many.len()),
    }
}

fn flight(xml: &mut Xml<'_>, path: &Path, units: Units) -> Result<(), ExportError> {
    let pad = path.pad()?;
    let flight = &path.flight;
    within(xml, "Folder", &[], |xml| {
        text(xml, "name", &format!("Flight {}: {}", flight.number, flight.title()))?;
        text(xml, "description", &format!("Heights above sea level; {}", path.about()))?;
        let site = &flight.setup.plan.site;
        let here = Place {
            latitude_deg: site.latitude_rad.to_degrees(),
            longitude_deg: site.longitude_rad.to_degrees(),
            sea_level_m: site.elevation_m,
            ellipsoid_m: site.elevation_m + site.geoid_m,
        };
        mark(
            xml,
            "Pad",
            &format!("{}, {} above sea level", flight.site, height(site.elevation_m, units)),
            &here,
            None,
        )?;
        for (body, points) in &path.bodies {
            let style = format!("#body{}", body % COLOURS.len());
            within(xml, "Placemark", &[], |xml| {
                text(xml, "name", flight.body(*body))?;
                text(xml, "styleUrl", &style)?;
                within(xml, "LineString", &[], |xml| {
                    text(xml, "altitudeMode", "absolute")?;
                    let all: Vec<String> =
                        points.iter().map(|point| coordinates(&path.place(&pad, point))).collect();
                    text(xml, "coordinates", &all.join(" "))
                })
            })?;
            within(xml, "Placemark", &[], |xml| {
                text(xml, "name", &format!("{}, with its times", flight.body(*body)))?;
                text(xml, "visibility", "0")?;
                text(xml, "styleUrl", &style)?;
                within(xml, "gx:Track", &[], |xml| {
                    text(xml, "altitudeMode", "absolute")?;
                    points.iter().try_for_each(|point| text(xml, "when", &utc(flight.utc_ns(point.t_s))))?;
                    points.iter().try_for_each(|point| {
                        let place = path.place(&pad, point);
                        let coordinates = format!(
                            "{:.7} {:.7} {:.2}",
                            place.longitude_deg, place.latitude_deg, place.sea_level_m
                        );
                        text(xml, "gx:coord", &coordinates)
                    })
                })
            })?;
        }
        for event in &path.events {
            let Some(point) = path.near(event.body, event.t_s) else { continue };
            let words = format!(
                "{}; {} above the pad; {}",
                flight.body(event.body),
                height(point.height_m, units),
                crate::flight::word(&event.origin)
            );
            mark(xml, &event.label, &words, &path.place(&pad, &point), Some(&utc(flight.utc_ns(event.t_s))))?;
        }
        for landed in path.landed() {
            let name = if landed.down { "down" } else { "last known" };
            mark(
                xml,
                &format!("{} {name}", flight.body(landed.body)),
                "A last position is not a landing; charges not confirmed fired are to be treated as live.",
                &path.place(&pad, &landed.point),
                Some(&utc(flight.utc_ns(landed.point.t_s))),
            )?;
        }
        Ok(())
    })
}

fn mark(
    xml: &mut Xml<'_>,
    name: &str,
    words: &str,
    place: &Place,
    when: Option<&str>,
) -> Result<(), ExportError> {
    within(xml, "Placemark", &[], |xml| {
        text(xml, "name", name)?;
        text(xml, "description", words)?;
        if let Some(when) = when {
            within(xml, "TimeStamp", &[], |xml| text(xml, "when", when))?;
        }
        within(xml, "Point", &[], |xml| {
            text(xml, "altitudeMode", "absolute")?;
            text(xml, "coordinates", &coordinates(place))
        })
    })
}
