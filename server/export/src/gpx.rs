//! GPX 1.1 (schema at topografix.com, 2004): a track for each body, events and landings as waypoints. Elevations are above
//! sea level; the told height of the geoid above the ellipsoid stands with the waypoints.

use std::io::Write;

use crate::ExportError;
use crate::path::{Path, Place};
use crate::time::utc;
use crate::xml::{self, Xml, text, within};

fn at(
    xml: &mut Xml<'_>,
    name: &str,
    place: &Place,
    inside: impl FnOnce(&mut Xml<'_>) -> Result<(), ExportError>,
) -> Result<(), ExportError> {
    let (lat, mut lon) = (format!("{:.7}", place.latitude_deg), format!("{:.7}", place.longitude_deg));
    // The schema's longitudes are below 180; that meridian has two names.
    if lon == "180.0000000" {
        lon.insert(0, '-');
    }
    within(xml, name, &[("lat", &lat), ("lon", &lon)], inside)
}

/// Writes it.
pub fn write(to: &mut dyn Write, paths: &[Path]) -> Result<(), ExportError> {
    let pads = paths.iter().map(Path::pad).collect::<Result<Vec<_>, _>>()?;
    let xml = &mut xml::begin(to)?;
    let head = [("version", "1.1"), ("creator", "Loftwatch"), ("xmlns", "http://www.topografix.com/GPX/1/1")];
    within(xml, "gpx", &head, |xml| {
        within(xml, "metadata", &[], |xml| {
            let names: Vec<String> = paths
                .iter()
                .map(|path| format!("flight {}, {}", path.flight.number, path.flight.title()))
                .collect();
            text(xml, "name", &names.join("; "))?;
            let about = paths.first().map_or_else(String::new, Path::about);
            text(xml, "desc", &format!("Elevations above sea level; {about}"))
        })?;
        for (path, pad) in paths.iter().zip(&pads) {
            let flight = &path.flight;
            let geoid = format!("{:.2}", flight.setup.plan.site.geoid_m);
            let mark = |xml: &mut Xml<'_>, t_s, point: &crate::path::Point, name: &str, kind: &str| {
                let place = path.place(pad, point);
                at(xml, "wpt", &place, |xml| {
                    text(xml, "ele", &format!("{:.2}", place.sea_level_m))?;
                    text(xml, "time", &utc(flight.utc_ns(t_s)))?;
                    text(xml, "geoidheight", &geoid)?;
                    text(xml, "name", name)?;
                    text(xml, "desc", &format!("{:.1} m above the pad", point.height_m))?;
                    text(xml, "type", kind)
                })
            };
            for event in &path.events {
                if let Some(point) = path.near(event.body, event.t_s) {
                    let name = format!("{}: {}", flight.body(event.body), event.label);
                    mark(xml, event.t_s, &point, &name, &crate::flight::word(&event.kind))?;
                }
            }
            for landed in path.landed() {
                let how = if landed.down { "down" } else { "last known" };
                let name = format!("{} {how}", flight.body(landed.body));
                mark(xml, landed.point.t_s, &landed.point, &name, how)?;
            }
        }
        for (path, pad) in paths.iter().zip(&pads) {
            for (body, points) in &path.bodies {
                within(xml, "trk", &[], |xml| {
                    text(
                        xml,
                        "name",
                        &format!("flight {}, {}", path.flight.number, path.flight.body(*body)),
                    )?;
                    within(xml, "trkseg", &[], |xml| {
                        points.iter().try_for_each(|point| {
                            let place = path.place(pad, point);
                            at(xml, "trkpt", &place, |xml| {
                                text(xml, "ele", &format!("{:.2}", place.sea_level_m))?;
                                text(xml, "time", &utc(path.flight.utc_ns(point.t_s)))
                            })
                        })
                    })
                })?;
            }
        }
        Ok(())
    })?;
    to.write_all(b"\n")?;
    to.flush()?;
    Ok(())
}
