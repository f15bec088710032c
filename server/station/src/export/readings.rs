//! Table of readings: one row for each decoded frame, one column for each field that the flight's layouts declare.

use std::collections::BTreeMap;

use axum::body::Body;
use futures_util::TryStreamExt as _;
use loftwatch_engine::output::Value;
use loftwatch_engine::{Said, Setup};
use loftwatch_radio::{Field, Meaning, Quantity};
use sqlx::SqlitePool;

use super::cells::{self, Cut, Table, number, seconds, text, utc};
use crate::playback::Flight;
use crate::store::derived::output;

const FRONT: [&str; 9] = [
    "utc_received",
    "station_time_received_s",
    "station_time_measured_s",
    "link",
    "receiver",
    "layout",
    "body",
    "heard_again",
    "sequence",
];
const BACK: [&str; 2] = ["other_values", "complaints"];

/// Fields by name and meaning, each with its column.
type Columns = BTreeMap<(String, String), usize>;

/// The table of a flight.
pub(crate) fn stream(readers: SqlitePool, flight: &Flight) -> Body {
    let flight = flight.clone();
    cells::body(move |table| fill(table, readers, flight))
}

async fn fill(mut table: Table, readers: SqlitePool, flight: Flight) -> Result<Table, Cut> {
    let (header, columns) = columns(&flight.setup);
    table.row(header).await?;
    let mut rows = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE flight = ? AND kind = 'reading' ORDER BY seq",
    )
    .bind(flight.number)
    .fetch(&readers);
    while let Some(row) = rows.try_next().await? {
        let output = output(&row)?;
        let Said::Reading(reading) = &output.what else { continue };
        let name = flight.setup.plan.bodies.get(reading.body).map_or("", |body| body.name.as_str());
        let mut cells = vec![
            utc(output.t_receive_ns + output.utc_offset_ns),
            seconds(output.t_receive_ns),
            seconds(reading.t_measured_ns),
            text(&reading.link),
            text(&reading.receiver),
            text(&reading.layout),
            text(name),
            u8::from(reading.again).to_string(),
            reading.sequence.map(|sequence| sequence.to_string()).unwrap_or_default(),
        ];
        let front = cells.len();
        cells.resize(front + columns.len(), String::new());
        let mut other = Vec::new();
        for (field, meaning, value) in &reading.values {
            match columns.get(&(field.clone(), meaning.clone())) {
                Some(column) => cells[front + column] = cell(value),
                // Of a layout that came with a later setup, or was changed since.
                None => other.push(format!("{field} ({meaning}) = {}", cell(value))),
            }
        }
        cells.push(text(&other.join("; ")));
        cells.push(text(&reading.complaints.join("; ")));
        table.row(cells).await?;
    }
    drop(rows);
    Ok(table)
}

fn cell(value: &Value) -> String {
    match value {
        Value::Flag(flag) => u8::from(*flag).to_string(),
        Value::Number(value) => number(*value),
        Value::Text(value) => text(value),
    }
}

/// The header, and where each field goes. The same field of two layouts shares a column.
fn columns(told: &Setup) -> (Vec<String>, Columns) {
    let mut header: Vec<String> = FRONT.map(String::from).to_vec();
    let mut columns = Columns::new();
    let mut add = |name: &str, meaning: Meaning, unit: &str, header: &mut Vec<String>| {
        let next = columns.len();
        columns.entry((name.to_owned(), meaning.name().to_owned())).or_insert_with(|| {
            header.push(text(&title(name, meaning, unit)));
            next
        });
    };
    for layout in &told.layouts {
        for field in layout.fields() {
            let Field { name, meaning, unit, bits, repeat, .. } = field;
            // An array has a column for each of its values; samples of several instants have a row for each.
            let items = match repeat {
                Some(repeat) if repeat.every_s.is_none() => (0..repeat.count).map(Some).collect(),
                _ => vec![None],
            };
            for item in items {
                let named =
                    |name: &str| item.map_or_else(|| name.to_owned(), |item| format!("{name}[{item}]"));
                add(&named(name), *meaning, unit, &mut header);
                for bits in bits {
                    add(&named(&bits.name), bits.meaning, &bits.unit, &mut header);
                }
            }
        }
    }
    header.extend(BACK.map(String::from));
    (header, columns)
}

/// The field's name, its meaning and the unit of the column: SI for known meanings, as declared for free ones.
fn title(name: &str, meaning: Meaning, declared_unit: &str) -> String {
    let unit = if meaning == Meaning::Free { declared_unit } else { si_unit(meaning) };
    let over_ground = match meaning {
        Meaning::GroundSpeed
        | Meaning::Course
        | Meaning::VelocityEast
        | Meaning::VelocityNorth
        | Meaning::VelocityUp
        | Meaning::VelocityDown => " over ground",
        Meaning::OwnHeight => " above its own zero",
        _ => "",
    };
    let meaning =
        if meaning == Meaning::Free { String::new() } else { format!(" ({}{over_ground})", meaning.name()) };
    let unit = if unit.is_empty() { String::new() } else { format!(" [{unit}]") };
    format!("{name}{meaning}{unit}")
}

pub(crate) fn si_unit(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::Rssi => return "dBm",
        Meaning::Snr => return "dB",
        _ => {}
    }
    match meaning.quantity() {
        Quantity::Plain => "",
        Quantity::Time => "s",
        Quantity::Pressure => "Pa",
        Quantity::Temperature => "K",
        Quantity::Acceleration => "m/s2",
        Quantity::AngularRate => "rad/s",
        Quantity::Angle => "rad",
        Quantity::Length => "m",
        Quantity::Speed => "m/s",
        Quantity::Voltage => "V",
        Quantity::Decibel => "dB",
    }
}
