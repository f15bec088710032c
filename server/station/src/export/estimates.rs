//! Table of estimates: one row for each body and instant that was shown live.

use axum::body::Body;
use futures_util::TryStreamExt as _;
use loftwatch_engine::Said;
use loftwatch_flight::Quantiles;
use sqlx::SqlitePool;

use super::cells::{self, Cut, Table, number, rounded, seconds, text, utc};
use crate::hub::word;
use crate::playback::Flight;
use crate::store::derived::output;

/// Columns with an interval: five each.
const INTERVALS: [&str; 6] = [
    "height_above_pad_m",
    "climb_mps",
    "airspeed_through_air_mps",
    "ground_speed_over_ground_mps",
    "lean_through_air_from_vertical_rad",
    "drag_k_per_m",
];

fn header() -> Vec<String> {
    let mut names: Vec<String> =
        ["utc", "station_time_s", "since_liftoff_s", "body", "phase", "descent", "carried_s"]
            .map(String::from)
            .to_vec();
    for name in INTERVALS {
        names.extend([
            name.to_owned(),
            format!("{name}_p05"),
            format!("{name}_p25"),
            format!("{name}_p75"),
            format!("{name}_p95"),
        ]);
    }
    names.extend(
        [
            "east_of_pad_m",
            "north_of_pad_m",
            "position_radius_p90_m",
            "east_over_ground_mps",
            "north_over_ground_mps",
            "mach",
            "dynamic_pressure_pa",
        ]
        .map(String::from),
    );
    names
}

/// The table of a flight.
pub(crate) fn stream(readers: SqlitePool, flight: &Flight, epoch_ns: i64) -> Body {
    let flight = flight.clone();
    cells::body(move |table| fill(table, readers, flight, epoch_ns))
}

async fn fill(mut table: Table, readers: SqlitePool, flight: Flight, epoch_ns: i64) -> Result<Table, Cut> {
    table.row(header()).await?;
    let mut rows = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE flight = ? AND kind = 'estimate' ORDER BY seq",
    )
    .bind(flight.number)
    .fetch(&readers);
    while let Some(row) = rows.try_next().await? {
        let output = output(&row)?;
        let Said::Estimate { body, estimate: e } = &output.what else { continue };
        // The figures hold at the estimate's own instant, which may lie a little before the output's.
        let t_ns = epoch_ns + (e.t_s * 1e9).round() as i64;
        let name = flight.setup.plan.bodies.get(*body).map_or("", |body| body.name.as_str());
        let mut cells = vec![
            utc(t_ns + output.utc_offset_ns),
            seconds(t_ns),
            flight.liftoff_ns.map(|liftoff_ns| seconds_signed(t_ns - liftoff_ns)).unwrap_or_default(),
            text(name),
            word(&e.phase),
            e.descent.map(|descent| word(&descent)).unwrap_or_default(),
            rounded(e.carried_s, 3),
        ];
        interval(&mut cells, Some(&e.height_m), 2);
        interval(&mut cells, Some(&e.climb_mps), 3);
        interval(&mut cells, Some(&e.airspeed_mps), 3);
        interval(&mut cells, Some(&e.ground_speed_mps), 3);
        interval(&mut cells, e.lean_rad.as_ref(), 5);
        interval(&mut cells, Some(&e.drag_k_per_m), 9);
        let pair = |pair: Option<[f64; 2]>, decimals| match pair {
            Some(pair) => pair.map(|value| rounded(value, decimals)),
            None => [String::new(), String::new()],
        };
        cells.extend(pair(e.east_north_m, 2));
        cells.push(e.position_radius_m.map(|radius| rounded(radius, 2)).unwrap_or_default());
        cells.extend(pair(e.east_north_mps, 3));
        cells.push(number(e.mach));
        cells.push(rounded(e.dynamic_pressure_pa, 2));
        table.row(cells).await?;
    }
    drop(rows);
    Ok(table)
}

fn interval(cells: &mut Vec<String>, q: Option<&Quantiles>, decimals: usize) {
    match q {
        Some(q) => cells.extend([q.p50, q.p05, q.p25, q.p75, q.p95].map(|value| rounded(value, decimals))),
        None => cells.extend([const { String::new() }; 5]),
    }
}

fn seconds_signed(t_ns: i64) -> String {
    let sign = if t_ns < 0 { "-" } else { "" };
    format!("{sign}{}", seconds(t_ns.abs()))
}
