//! A day or a flight as one SQLite file of its own: a table for each of ours, typed, with a description of every column, and
//! views for people. The raw store is another thing: this is for those who want figures.

use std::path::Path as FilePath;
use std::sync::Arc;

use loftwatch_export::block::{Block, Column, Kind, NO_TEXT, NO_WHOLE, Values};
use loftwatch_export::table::TABLES;
use loftwatch_export::time::utc;
use loftwatch_export::wanted::about;
use loftwatch_export::{Filler, Flight, How, Table, Units};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, SqliteConnection};

use super::make::{Progress, Trouble, blocks};
use super::source::{Chosen, Source};

/// Variables of one statement; SQLite takes 32,766.
const VARIABLES: usize = 16_000;

/// The columns of the table of flights: name, unit, meaning.
const FLIGHTS: [(&str, &str, &str); 9] = [
    ("flight", "", "number of the flight"),
    ("name", "", "what the crew called it, empty if nothing"),
    ("vehicle", "", "name of the vehicle"),
    ("site", "", "name of the site"),
    ("opened_utc", "UTC, RFC 3339", "first packet of it"),
    ("liftoff_utc", "UTC, RFC 3339", "first motion"),
    ("ended_utc", "UTC, RFC 3339", "end of it"),
    ("setup", "", "the setup in force, JSON, SI units"),
    ("notes", "", "the crew's notes, empty if there are none; all they wrote is in the table remarks"),
];

/// Views, as SQL with `{m}` and the like for the unit's suffix.
const VIEWS: &str = "
CREATE VIEW latest_events AS
SELECT e.* FROM events e WHERE withdrawn = 0
AND revision = (SELECT max(revision) FROM events n WHERE n.flight = e.flight AND n.id = e.id)
AND NOT EXISTS (SELECT 1 FROM events n WHERE n.flight = e.flight AND n.id = e.id AND n.withdrawn = 1 AND n.revision > e.revision);
CREATE VIEW apogees AS
SELECT flight, body, max(height_above_pad_{m}) AS greatest_height_above_pad_{m}, since_liftoff_s FROM estimates
WHERE phase <> 'waiting' GROUP BY flight, body;
CREATE VIEW last_seen AS
SELECT flight, body, max(since_liftoff_s) AS since_liftoff_s, utc, phase, height_above_pad_{m}, east_of_pad_{m}, north_of_pad_{m}, carried_s
FROM estimates GROUP BY flight, body;
CREATE VIEW heard AS
SELECT flight, body, link, receiver, layout, count(*) FILTER (WHERE instant = 0) AS packets, min(received_since_liftoff_s) AS first_s, max(received_since_liftoff_s) AS last_s
FROM readings GROUP BY flight, body, link, receiver, layout;
";

/// Writes it.
pub(super) async fn write(
    source: &Source,
    chosen: &[Chosen],
    how: &How,
    to: &FilePath,
    progress: &Arc<Progress>,
) -> Result<(), Trouble> {
    // SQLite would go on with a file that is there.
    match std::fs::remove_file(to) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error.into()),
        _ => {}
    }
    let mut connection = SqliteConnectOptions::new()
        .filename(to)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Off)
        .synchronous(SqliteSynchronous::Off)
        .connect()
        .await?;
    let flights: Vec<Flight> = chosen.iter().map(|one| one.flight.clone()).collect();
    sqlx::raw_sql("CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID; \
         CREATE TABLE columns (table_name TEXT NOT NULL, name TEXT NOT NULL, unit TEXT NOT NULL, means TEXT NOT NULL, \
         PRIMARY KEY (table_name, name)) STRICT, WITHOUT ROWID; \
         CREATE TABLE flights (flight INTEGER PRIMARY KEY, name TEXT NOT NULL, vehicle TEXT NOT NULL, site TEXT NOT NULL, \
         opened_utc TEXT NOT NULL, liftoff_utc TEXT, ended_utc TEXT, setup TEXT NOT NULL, notes TEXT NOT NULL) STRICT;")
        .execute(&mut connection)
        .await?;
    let mut transaction = connection.begin().await?;
    for (key, value) in about(Table::Estimates, &flights, how) {
        // Setups and notes stand with their flights.
        if key != "table" && !key.ends_with("_setup") && !key.ends_with("_notes") {
            insert(&mut transaction, "about", &[Some(key), Some(value)]).await?;
        }
    }
    for (name, unit, means) in FLIGHTS {
        let row = ["flights", name, unit, means].map(|text| Some(text.to_owned()));
        insert(&mut transaction, "columns", &row).await?;
    }
    for flight in &flights {
        let at = |t_ns: i64| utc(t_ns + flight.utc_offset_ns);
        let setup =
            serde_json::to_string(&flight.setup).map_err(|error| Trouble::Other(error.to_string()))?;
        let row = [
            Some(flight.number.to_string()),
            Some(flight.name.clone()),
            Some(flight.vehicle.clone()),
            Some(flight.site.clone()),
            Some(at(flight.opened_ns)),
            flight.liftoff_ns.map(at),
            flight.ended_ns.map(at),
            Some(setup),
            Some(flight.notes().unwrap_or_default().to_owned()),
        ];
        insert(&mut transaction, "flights", &row).await?;
    }
    transaction.commit().await?;
    for table in TABLES {
        let filler = Arc::new(Filler::new(table, flights.clone()));
        create(&mut connection, table, filler.columns(), how.units).await?;
        let rate = if matches!(table, Table::Estimates | Table::Smoothed) { how.rate_hz } else { None };
        let how = How { rate_hz: rate, columns: Vec::new(), ..how.clone() };
        let mut blocks = blocks(source, chosen, table, &how, &filler, progress);
        while let Some(block) = blocks.recv().await {
            fill(&mut connection, table, filler.columns(), &block?, how.units).await?;
        }
    }
    let suffix = if how.units == Units::Si { "m" } else { "ft" };
    sqlx::raw_sql(AssertSqlSafe(VIEWS.replace("{m}", suffix))).execute(&mut connection).await?;
    connection.close().await?;
    Ok(())
}

async fn insert(
    connection: &mut SqliteConnection,
    table: &str,
    row: &[Option<String>],
) -> Result<(), Trouble> {
    let places = vec!["?"; row.len()].join(",");
    let mut query = sqlx::query(AssertSqlSafe(format!("INSERT INTO {table} VALUES ({places})")));
    for value in row {
        query = query.bind(value.clone());
    }
    query.execute(connection).await?;
    Ok(())
}

/// A name as SQL takes it; names of the setup's own fields hold anything.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\"").replace('\0', ""))
}

async fn create(
    connection: &mut SqliteConnection,
    table: Table,
    columns: &[Column],
    units: Units,
) -> Result<(), Trouble> {
    let mut taken = std::collections::BTreeSet::new();
    let mut declared = Vec::new();
    for column in columns {
        let mut name = column.header(units);
        // SQLite does not tell upper from lower case.
        while !taken.insert(name.to_lowercase()) {
            name.push('_');
        }
        let kind = match column.kind {
            Kind::Real(..) | Kind::Free | Kind::Ns => "REAL",
            Kind::Whole => "INTEGER",
            Kind::Utc | Kind::Text => "TEXT",
        };
        declared.push(format!("{} {kind}", quoted(&name)));
        let unit = match column.kind {
            Kind::Real(unit, _) => unit.symbol(units),
            Kind::Ns => "s",
            Kind::Utc => "UTC, RFC 3339",
            _ => "",
        };
        let row = [table.name(), &name, unit, column.about].map(|text| Some(text.to_owned()));
        insert(connection, "columns", &row).await?;
    }
    let sql = format!("CREATE TABLE {} ({}) STRICT", table.name(), declared.join(", "));
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(connection).await?;
    Ok(())
}

async fn fill(
    connection: &mut SqliteConnection,
    table: Table,
    columns: &[Column],
    block: &Block,
    units: Units,
) -> Result<(), Trouble> {
    let at_once = (VARIABLES / columns.len()).max(1);
    let row_of = format!("({})", vec!["?"; columns.len()].join(","));
    let mut transaction = connection.begin().await?;
    let mut from = 0;
    while from < block.rows() {
        let to = (from + at_once).min(block.rows());
        let rows = vec![&row_of[..]; to - from].join(",");
        let mut query = sqlx::query(AssertSqlSafe(format!("INSERT INTO {} VALUES {rows}", table.name())));
        for row in from..to {
            for (column, values) in columns.iter().zip(&block.columns) {
                query = match values {
                    Values::Real(of) => {
                        let value = match column.kind {
                            Kind::Real(unit, _) => unit.convert(of[row], units),
                            _ => of[row],
                        };
                        query.bind(value.is_finite().then_some(value))
                    }
                    Values::Whole(of) => {
                        let value = (of[row] != NO_WHOLE).then_some(of[row]);
                        match column.kind {
                            Kind::Utc => query.bind(value.map(utc)),
                            Kind::Ns => query.bind(value.map(|ns| ns as f64 / 1e9)),
                            _ => query.bind(value),
                        }
                    }
                    Values::Text { words, index } => {
                        query.bind((index[row] != NO_TEXT).then(|| words[index[row] as usize].clone()))
                    }
                };
            }
        }
        query.execute(&mut *transaction).await?;
        from = to;
    }
    transaction.commit().await?;
    Ok(())
}
