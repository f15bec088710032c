//! What of the store an export is made of: which flights, and the rows of the outputs.

use std::path::PathBuf;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use loftwatch_export::flight::Flight;
use loftwatch_export::path::{Collector, Events, Happened, Path};
use loftwatch_export::{Table, estimate};
use sha2::{Digest as _, Sha256};
use sqlx::{Row as _, SqlitePool};

use super::make::Trouble;
use crate::failure::Failure;
use crate::store::{StoreError, derived, inputs, remarks};

/// Which flights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Selection {
    /// One.
    Flight(u32),
    /// All of a date where the station stands, but for those that are deleted.
    Day(Date),
}

impl Selection {
    /// How a file of it is called, without what is in it.
    pub(crate) fn name(self) -> String {
        match self {
            Self::Flight(number) => format!("flight-{number}"),
            Self::Day(date) => date.to_string(),
        }
    }
}

/// A stored flight and its place among the inputs.
#[derive(Clone, Debug)]
pub(crate) struct Chosen {
    pub(crate) flight: Flight,
    pub(crate) first_input: i64,
    pub(crate) last_input: i64,
    /// Whether its path with hindsight is stored.
    pub(crate) hindsight: bool,
}

/// The store, for reading.
#[derive(Clone, Debug)]
pub(crate) struct Source {
    /// The derived store.
    pub(crate) derived: SqlitePool,
    /// The inputs.
    pub(crate) inputs: SqlitePool,
    /// Station time of the axis of the times inside outputs, ns.
    pub(crate) epoch_ns: i64,
    /// The data folder: beside the store stand the vehicle's own logs.
    pub(crate) folder: PathBuf,
}

/// The date of a flight where the station stands: of its liftoff, or of its opening if it has none.
pub(crate) fn date(flight: &Flight) -> Option<Date> {
    date_of(flight.liftoff_ns.unwrap_or(flight.opened_ns) + flight.utc_offset_ns)
}

/// The date of an instant where the station stands, UTC ns.
pub(crate) fn date_of(utc_ns: i64) -> Option<Date> {
    let at = Timestamp::from_nanosecond(i128::from(utc_ns)).ok()?;
    Some(at.to_zoned_datetime(TimeZone::system()).date())
}

impl Source {
    /// That of a data folder, for a command.
    pub(crate) async fn of_folder(data: &std::path::Path) -> Result<Self, Failure> {
        let (store, file) = inputs::readers_of_stored(data).await?;
        let first = inputs::first_setup(&store).await.map_err(StoreError::sql(&file, "being read"))?;
        let Some((first, _)) = first else {
            return Err(Failure::data(format!(
                "`{}` holds no setup, so there are no flights",
                file.display()
            )));
        };
        let derived = derived::readers_of_stored(data)?;
        Ok(Self { derived, inputs: store, epoch_ns: first.t_ns, folder: data.to_owned() })
    }

    /// The flights that are meant, in order.
    pub(crate) async fn choose(&self, selection: Selection) -> Result<Vec<Chosen>, Trouble> {
        let mut all = Vec::new();
        let remarks = remarks::read(&self.inputs).await?;
        let number = match selection {
            Selection::Flight(number) => Some(number),
            Selection::Day(_) => None,
        };
        let rows = sqlx::query(
            "SELECT flight.*, (SELECT count(*) FROM hindsight WHERE hindsight.flight = flight.number) AS seen FROM flight \
             WHERE ?1 IS NULL OR number = ?1 ORDER BY number",
        )
        .bind(number)
        .fetch_all(&self.derived)
        .await?;
        for row in rows {
            let setup = serde_json::from_str(row.try_get("setup")?)
                .map_err(|error| sqlx::Error::Decode(error.into()))?;
            let (opened_ns, ended_ns) = (row.try_get("opened_ns")?, row.try_get("ended_ns")?);
            let held = remarks.of_span(opened_ns, ended_ns);
            let mut flight = Flight {
                number: row.try_get("number")?,
                // Files bear the name that the list has.
                name: match &held.name {
                    Some(name) => name.clone(),
                    None => row.try_get("name")?,
                },
                vehicle: row.try_get("vehicle")?,
                site: row.try_get("site")?,
                opened_ns,
                liftoff_ns: row.try_get("liftoff_ns")?,
                ended_ns,
                utc_offset_ns: row.try_get("utc_offset_ns")?,
                epoch_ns: self.epoch_ns,
                setup,
                written: Vec::new(),
            };
            if let Selection::Day(wanted) = selection
                && (date(&flight) != Some(wanted) || held.deleted_ns.is_some())
            {
                continue;
            }
            let (first_input, last_input) = (row.try_get("first_input")?, row.try_get("last_input")?);
            flight.written = super::written::written(self, &flight, &held, [first_input, last_input]).await?;
            all.push(Chosen {
                flight,
                first_input,
                last_input,
                hindsight: row.try_get::<i64, _>("seen")? > 0,
            });
        }
        match selection {
            Selection::Flight(number) if all.is_empty() => Err(Trouble::NoFlight(format!("flight {number}"))),
            Selection::Day(date) if all.is_empty() => Err(Trouble::NoFlight(format!("flight of {date}"))),
            _ => Ok(all),
        }
    }

    /// Tells one state of the stored flights from any other: what is made of the same state is the same, to the byte.
    pub(crate) async fn state(&self, chosen: &[Chosen]) -> Result<String, Trouble> {
        let mut digest = Sha256::new();
        digest.update(env!("CARGO_PKG_VERSION"));
        digest.update(loftwatch_engine::ENGINE_VERSION.to_le_bytes());
        for one in chosen {
            let f = &one.flight;
            let newest: Option<i64> = sqlx::query_scalar("SELECT max(t_ns) FROM output WHERE flight = ?")
                .bind(f.number)
                .fetch_one(&self.derived)
                .await?;
            let of_log = crate::onboard::state(&self.folder, self.epoch_ns, f.number);
            let line = format!(
                "{} {} {:?} {:?} {newest:?} {} {} {} {:?} {of_log}\n",
                f.number,
                f.opened_ns,
                f.liftoff_ns,
                f.ended_ns,
                one.last_input,
                one.hindsight,
                f.name,
                f.written
            );
            digest.update(line);
        }
        Ok(hex(&digest.finalize()))
    }

    /// What happened on a flight.
    pub(crate) async fn events(&self, flight: u32) -> Result<Vec<Happened>, Trouble> {
        let rows: Vec<String> =
            sqlx::query_scalar("SELECT data FROM output WHERE flight = ? AND kind = 'event' ORDER BY seq")
                .bind(flight)
                .fetch_all(&self.derived)
                .await?;
        let mut events = Events::default();
        for row in rows {
            events.take(&row)?;
        }
        Ok(events.all())
    }

    /// The path of a flight: with hindsight where that is stored, else as it was shown live.
    pub(crate) async fn path(&self, chosen: &Chosen) -> Result<Path, Trouble> {
        let number = chosen.flight.number;
        let events = self.events(number).await?;
        let mut collector = Collector::new(chosen.flight.clone(), events, chosen.hindsight);
        let table = if chosen.hindsight { Table::Smoothed } else { Table::Estimates };
        let mut pages = super::pages::Pages::new(self.clone(), table, number);
        while let Some(page) = pages.next().await? {
            for line in page.text()?.split('\n') {
                if let Some(row) = row(table, line)?.map(|(_, row)| row) {
                    collector.take(&row);
                }
            }
        }
        Ok(collector.path())
    }
}

/// A line of a page of estimates: UTC minus station time, and the estimate.
pub(crate) fn row(table: Table, line: &str) -> Result<Option<(i64, estimate::Row)>, Trouble> {
    let Some((offset_ns, rest)) = line.split_once(' ') else { return Ok(None) };
    let offset_ns = offset_ns.parse().unwrap_or(0);
    if table == Table::Smoothed {
        let Some((body, data)) = rest.split_once(' ') else { return Ok(None) };
        return Ok(Some((offset_ns, estimate::read_bare(body.parse().unwrap_or(0), data)?)));
    }
    Ok(estimate::read(rest)?.map(|row| (offset_ns, row)))
}

/// Bytes as text.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
