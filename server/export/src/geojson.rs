//! GeoJSON (RFC 7946): a line for each body, events and landings as points. The third number of a position is metres above
//! the WGS84 ellipsoid, as section 3.1.1 has it; height above the pad and above sea level stand among the properties.

use std::io::Write;

use serde_json::{Value, json};

use crate::ExportError;
use crate::flight::word;
use crate::path::{Path, Place};
use crate::time::utc;

fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}

fn position(place: &Place) -> Value {
    json!([rounded(place.longitude_deg, 7), rounded(place.latitude_deg, 7), rounded(place.ellipsoid_m, 2)])
}

/// Writes it, a feature a line.
pub fn write(to: &mut dyn Write, paths: &[Path]) -> Result<(), ExportError> {
    let pads = paths.iter().map(Path::pad).collect::<Result<Vec<_>, _>>()?;
    to.write_all(b"{\"type\":\"FeatureCollection\",\"features\":[\n")?;
    let mut first = true;
    let mut feature = |to: &mut dyn Write, geometry: Value, properties: Value| {
        if !std::mem::replace(&mut first, false) {
            to.write_all(b",\n")?;
        }
        let feature = json!({ "type": "Feature", "geometry": geometry, "properties": properties });
        serde_json::to_writer(to, &feature)?;
        Ok::<_, ExportError>(())
    };
    for (path, pad) in paths.iter().zip(&pads) {
        let flight = &path.flight;
        let site = &flight.setup.plan.site;
        let about = json!({
            "kind": "pad", "flight": flight.number, "name": flight.title(), "site": flight.site,
            "elevation_above_sea_level_m": site.elevation_m, "geoid_above_ellipsoid_m": site.geoid_m,
            "vertical_datum": "positions: WGS84 ellipsoid", "about": path.about(),
        });
        let here = Place {
            latitude_deg: site.latitude_rad.to_degrees(),
            longitude_deg: site.longitude_rad.to_degrees(),
            sea_level_m: site.elevation_m,
            ellipsoid_m: site.elevation_m + site.geoid_m,
        };
        feature(to, json!({ "type": "Point", "coordinates": position(&here) }), about)?;
        for (body, points) in &path.bodies {
            // A line needs two positions (section 3.1.4).
            if points.len() < 2 {
                continue;
            }
            let places: Vec<Place> = points.iter().map(|point| path.place(pad, point)).collect();
            let properties = json!({
                "kind": "path", "flight": flight.number, "body": flight.body(*body),
                "times_utc": points.iter().map(|point| utc(flight.utc_ns(point.t_s))).collect::<Vec<_>>(),
                "height_above_pad_m": points.iter().map(|point| rounded(point.height_m, 2)).collect::<Vec<_>>(),
                "place_known": points.iter().any(|point| point.east_north_m.is_some()),
            });
            let coordinates: Vec<Value> = places.iter().map(position).collect();
            feature(to, json!({ "type": "LineString", "coordinates": coordinates }), properties)?;
        }
        for event in &path.events {
            let Some(point) = path.near(event.body, event.t_s) else { continue };
            let place = path.place(pad, &point);
            let properties = json!({
                "kind": "event", "flight": flight.number, "body": flight.body(event.body), "event": word(&event.kind),
                "label": event.label, "origin": word(&event.origin), "time_utc": utc(flight.utc_ns(event.t_s)),
                "time_sd_s": rounded(event.sd_s, 3), "height_above_pad_m": rounded(point.height_m, 2),
            });
            feature(to, json!({ "type": "Point", "coordinates": position(&place) }), properties)?;
        }
        for landed in path.landed() {
            let place = path.place(pad, &landed.point);
            let properties = json!({
                "kind": if landed.down { "landing" } else { "last known" }, "flight": flight.number,
                "body": flight.body(landed.body), "time_utc": utc(flight.utc_ns(landed.point.t_s)),
                "height_above_sea_level_m": rounded(place.sea_level_m, 2),
            });
            feature(to, json!({ "type": "Point", "coordinates": position(&place) }), properties)?;
        }
    }
    to.write_all(b"\n]}\n")?;
    to.flush()?;
    Ok(())
}
