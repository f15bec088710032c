//! A log from the vehicle's own memory beside its flight, by `loftwatch log` or from a page. It is looked at first; kept, the file is copied
//! into the data folder, as it is, with its declaration and its place in time, and the smoother hears it from then on.
//!
//! Kept logs lie in `logs`, named after the store's first instant, the flight and the body, so that a folder that was begun
//! afresh does not take those of its predecessor for its own. They are inputs: nothing changes or removes them but a person.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use loftwatch_export::audit::Track;
use loftwatch_export::onboard::{Alignment, Declaration, Log};
use loftwatch_export::{Flight, Table};
use loftwatch_flight::Sample;
use serde::{Deserialize, Serialize};
use sqlx::Connection as _;

use crate::cli;
use crate::export::audits;
use crate::export::make::blocking;
use crate::export::{Selection, Source, Trouble};
use crate::failure::Failure;
use crate::hindsight;
use crate::lists;
use crate::store::{StoreError, derived, folder};

/// Longest log that is taken, bytes.
const MOST_BYTES: u64 = 512 * 1024 * 1024;

/// What stands beside a kept log.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    /// Name of the file that was handed in.
    name: String,
    declaration: Declaration,
    alignment: Alignment,
}

/// A kept log, as far as its measurements go.
#[derive(Debug)]
pub(crate) struct Heard {
    /// In words.
    pub(crate) about: String,
    /// Measurements.
    pub(crate) samples: Vec<Sample>,
}

fn front(data: &Path, epoch_ns: i64, flight: u32) -> PathBuf {
    data.join("logs").join(format!("{epoch_ns}-flight-{flight}-"))
}

/// Declarations of the logs kept of a flight, in order of their names.
fn declarations(data: &Path, epoch_ns: i64, flight: u32) -> Vec<PathBuf> {
    let front = front(data, epoch_ns, flight);
    let begins = front.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let Ok(entries) = std::fs::read_dir(data.join("logs")) else { return Vec::new() };
    let mut found: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| {
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            name.starts_with(&begins) && path.extension().is_some_and(|end| end == "json")
        })
        .collect();
    found.sort();
    found
}

/// Tells one state of a flight's logs from another.
pub(crate) fn state(data: &Path, epoch_ns: i64, flight: u32) -> String {
    declarations(data, epoch_ns, flight)
        .iter()
        .filter_map(|file| std::fs::read_to_string(file).ok())
        .collect::<Vec<_>>()
        .join(" ")
}

/// The logs kept of a flight. One that cannot be read any more is told, and the others are taken.
pub(crate) fn heard(data: &Path, flight: &Flight) -> Vec<Heard> {
    declarations(data, flight.epoch_ns, flight.number)
        .iter()
        .filter_map(|file| match one(file, flight) {
            Ok(heard) => Some(heard),
            Err(why) => {
                tracing::warn!("the log beside `{}` is left out: {why}", file.display());
                None
            }
        })
        .collect()
}

fn one(file: &Path, flight: &Flight) -> Result<Heard, String> {
    let text = std::fs::read_to_string(file).map_err(|error| error.to_string())?;
    let kept: Kept = serde_json::from_str(&text).map_err(|error| error.to_string())?;
    let text = std::fs::read_to_string(file.with_extension("csv")).map_err(|error| error.to_string())?;
    let log = Log::read(&text, &kept.declaration, flight).map_err(|error| error.to_string())?;
    let about = format!(
        "the log `{}` from the memory of {} ({}, correlation {:.3})",
        kept.name,
        flight.body(log.body),
        log.about(),
        kept.alignment.correlation
    );
    Ok(Heard { about, samples: log.samples(flight, kept.alignment.shift_s) })
}

fn failed(trouble: &Trouble) -> Failure {
    let text = format!(
        "{trouble}\nkept: everything that is stored; the log was not taken\nhint: {}",
        trouble.hint()
    );
    match trouble {
        Trouble::Wanted(_) => Failure::usage(text),
        _ => Failure::data(text),
    }
}

/// Does what the command line asks for.
pub(crate) async fn run(wanted: cli::Log) -> Result<(), Failure> {
    let read = |file: &Path| {
        let length = std::fs::metadata(file).map(|about| about.len());
        match length {
            Ok(length) if length > MOST_BYTES => {
                Err(Failure::usage(format!("`{}` is longer than {} MB", file.display(), MOST_BYTES >> 20)))
            }
            _ => std::fs::read_to_string(file)
                .map_err(|error| Failure::usage(format!("`{}` cannot be read: {error}", file.display()))),
        }
    };
    let declaration: Declaration = toml::from_str(&read(&wanted.columns)?)
        .map_err(|error| Failure::usage(format!("`{}`: {error}", wanted.columns.display())))?;
    let text = read(&wanted.file)?;
    let (data, flight) = crate::travel::home(&wanted.data, wanted.flight);
    let source = Source::of_folder(&data).await?;
    let name = wanted.file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let told = Told { name, text, declaration };
    let looked = look(&source, flight, &told).await.map_err(|trouble| failed(&trouble))?;
    let alignment = looked.alignment.map_err(|trouble| failed(&trouble))?;
    let mut said = format!(
        "{}, of {}\n{} rows cannot be used\nfirst rows, on the log's own clock:\n",
        looked.about,
        looked.flight.body(looked.body),
        looked.unusable
    );
    for row in &looked.preview {
        let _ = writeln!(said, "  {row}");
    }
    let _ = writeln!(
        said,
        "liftoff at {:.3} s of its clock; its vertical speed correlates by {:.3} with the flight's (elsewhere by {:.3} at most), its height \
         is off by {:.1} m root mean square",
        looked.flight.liftoff_s().unwrap_or(0.0) - alignment.shift_s,
        alignment.correlation,
        alignment.next_best,
        alignment.height_rms_m
    );
    if !wanted.keep {
        said.push_str("nothing was kept; --keep hands it to the smoother\n");
        return lists::print(&said);
    }
    keep(&data, &looked.flight, looked.body, told, alignment).await.map_err(|trouble| failed(&trouble))?;
    hindsight::compute(&data, &source.derived, &source.inputs, flight).await;
    said.push_str("kept; the path with hindsight has been computed with it\n");
    lists::print(&said)
}

/// A log as it was handed in.
#[derive(Clone, Debug)]
pub(crate) struct Told {
    /// Name of its file.
    pub(crate) name: String,
    /// All of it.
    pub(crate) text: String,
    pub(crate) declaration: Declaration,
}

/// A log beside its flight.
#[derive(Debug)]
pub(crate) struct Looked {
    pub(crate) flight: Flight,
    /// Whose memory it is.
    pub(crate) body: usize,
    /// What it holds, in words.
    pub(crate) about: String,
    /// Rows that cannot be used.
    pub(crate) unusable: usize,
    /// The first rows as understood.
    pub(crate) preview: Vec<String>,
    /// Where it lies, or why it lies nowhere.
    pub(crate) alignment: Result<Alignment, Trouble>,
}

/// Reads a log and lays it over the flight.
pub(crate) async fn look(source: &Source, flight: u32, told: &Told) -> Result<Looked, Trouble> {
    let chosen = source.choose(Selection::Flight(flight)).await?;
    let Some(chosen) = chosen.into_iter().next() else {
        return Err(Trouble::NoFlight(format!("flight {flight}")));
    };
    let (hindsight, flight) = (chosen.hindsight, chosen.flight);
    let (read, told) = (flight.clone(), told.clone());
    // A log may hold a million rows.
    let log = blocking(move || Ok(Log::read(&told.text, &told.declaration, &read)?)).await?;
    // Hindsight lags less than what was shown live.
    let table = if hindsight { Table::Smoothed } else { Table::Estimates };
    let track: Track = audits::track(source, &flight, table).await?;
    blocking(move || {
        Ok(Looked {
            body: log.body,
            about: log.about(),
            unusable: log.unusable,
            preview: log.preview.clone(),
            alignment: log.align(&flight, &track).map_err(Trouble::from),
            flight,
        })
    })
    .await
}

/// Keeps a log with its flight; the path as it was computed without it is forgotten.
pub(crate) async fn keep(
    data: &Path,
    flight: &Flight,
    body: usize,
    told: Told,
    alignment: Alignment,
) -> Result<(), Trouble> {
    let kept = Kept { name: told.name, declaration: told.declaration, alignment };
    write(data, flight, body, &told.text, &kept)?;
    forget_path(data, flight.number).await.map_err(|error| Trouble::Other(error.to_string()))
}

/// Writes the log and then its declaration, each beside its place and renamed: what is half is never read.
fn write(data: &Path, flight: &Flight, body: usize, text: &str, kept: &Kept) -> std::io::Result<()> {
    let front = front(data, flight.epoch_ns, flight.number);
    std::fs::create_dir_all(data.join("logs"))?;
    let place = |end: &str| PathBuf::from(format!("{}{body}.{end}", front.display()));
    let json = serde_json::to_vec_pretty(kept)?;
    for (end, bytes) in [("csv", text.as_bytes()), ("json", &json)] {
        let part = place("part");
        let written = std::fs::write(&part, bytes).and_then(|()| std::fs::rename(&part, place(end)));
        if written.is_err() {
            let _ = std::fs::remove_file(&part);
            return written;
        }
    }
    Ok(())
}

/// The path as it was computed without the log is no longer wanted.
async fn forget_path(data: &Path, flight: u32) -> Result<(), Failure> {
    let file = folder::derived(data);
    let mut connection = derived::connect(&file).await?;
    let wrong = StoreError::sql(&file, "a path was forgotten");
    let forgotten = async {
        let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
        for sql in ["DELETE FROM hindsight WHERE flight = ?", "DELETE FROM smoothed WHERE flight = ?"] {
            sqlx::query(sql).bind(flight).execute(&mut *transaction).await?;
        }
        transaction.commit().await?;
        connection.close().await
    };
    Ok(forgotten.await.map_err(wrong)?)
}
