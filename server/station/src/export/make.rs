//! Makes one file: three stages that work side by side (the store is read, lines become columns, columns become the file),
//! each a few blocks ahead of the next, so that memory stays the same however long a day was.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path as FilePath;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use loftwatch_export::block::Block;
use loftwatch_export::rate::Resampler;
use loftwatch_export::wanted::about;
use loftwatch_export::{
    ExportError, Filler, Flight, How, Stored, Table, TableFile, What, captions, geojson, gpx, kml,
};
use serde_json::json;
use tokio::sync::mpsc;

use super::audits::Drawn;
use super::frames::FrameBytes;
use super::pages::{Page, Pages};
use super::source::{self, Chosen, Source};
use crate::store::inputs;

/// Rows of a block, and of a row group in Parquet: 46 columns of doubles are 6 MB.
const BLOCK_ROWS: usize = 16_384;
/// Pages and blocks that wait for the next stage.
const AHEAD: usize = 1;

/// Why a file could not be made.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Trouble {
    /// There is no such flight.
    #[error("there is no {0}")]
    NoFlight(String),
    /// What was asked for cannot be.
    #[error("{0}")]
    Wanted(String),
    /// The store could not be read.
    #[error("the store could not be read: {0}")]
    Store(sqlx::Error),
    /// The disk took no more.
    #[error("the file could not be written: {0}")]
    Disk(#[from] std::io::Error),
    /// Anything else.
    #[error("{0}")]
    Other(String),
}

/// SQLite's own number of "database or disk is full" (its result codes, `SQLITE_FULL`).
const SQLITE_FULL: &str = "13";

impl From<sqlx::Error> for Trouble {
    fn from(error: sqlx::Error) -> Self {
        // Only what is written can be full: the store itself is read here.
        let code = error.as_database_error().and_then(sqlx::error::DatabaseError::code);
        if code.as_deref() == Some(SQLITE_FULL) {
            return Self::Disk(std::io::Error::new(std::io::ErrorKind::StorageFull, "no space left"));
        }
        Self::Store(error)
    }
}

impl From<ExportError> for Trouble {
    fn from(error: ExportError) -> Self {
        match error {
            ExportError::Wanted(why) | ExportError::Log(why) => Self::Wanted(why),
            ExportError::Io(error) => Self::Disk(error),
            other => Self::Other(other.to_string()),
        }
    }
}

impl Trouble {
    /// What a person can do about it.
    pub(crate) fn hint(&self) -> &'static str {
        match self {
            Self::NoFlight(_) => "`loftwatch flights --data DIR` and the page Flights list what is stored.",
            Self::Wanted(_) => "Change what is asked for.",
            Self::Store(_) => "`loftwatch check --data DIR` reads the store whole.",
            Self::Disk(error) if error.kind() == std::io::ErrorKind::StorageFull => {
                "The disk is full: make room, or write to another one."
            }
            Self::Disk(_) => "Look at the folder that it was to be written to.",
            Self::Other(_) => "Please keep the data folder and report it.",
        }
    }
}

/// How far a file is.
#[derive(Debug, Default)]
pub(crate) struct Progress {
    /// Rows done.
    pub(crate) done: AtomicU64,
    /// Rows in all; grows while a bundle finds out what it holds.
    pub(crate) total: AtomicU64,
}

impl Progress {
    fn more(&self, rows: u64) {
        self.done.fetch_add(rows, Ordering::Relaxed);
    }

    /// So much is to be done.
    pub(crate) fn expect(&self, rows: u64) {
        self.total.fetch_add(rows, Ordering::Relaxed);
    }
}

/// Writes a file to `to`, which is left behind half only if this fails: who calls removes it then.
pub(crate) async fn write(
    source: &Source,
    chosen: &[Chosen],
    what: What,
    how: &How,
    to: &FilePath,
    progress: &Arc<Progress>,
) -> Result<(), Trouble> {
    if how.rate_hz.is_some()
        && !matches!(what, What::Table(Table::Estimates | Table::Smoothed, _) | What::Bundle)
    {
        return Err(Trouble::Wanted(format!(
            "only estimates and smoothed can be had at a rate, `{}` is handed out as it was received",
            what.name()
        )));
    }
    if !how.columns.is_empty() && !matches!(what, What::Table(..)) {
        return Err(Trouble::Wanted(format!("`{}` has no columns to choose from", what.name())));
    }
    match what {
        What::Table(table, form) => {
            let flights: Vec<Flight> = chosen.iter().map(|one| one.flight.clone()).collect();
            if table == Table::Smoothed && !chosen.iter().any(|one| one.hindsight) {
                return Err(no_hindsight(chosen));
            }
            let filler = Arc::new(Filler::new(table, flights.clone()));
            // What is wrong with the wish is said before the file is begun.
            how.choose(filler.columns())?;
            let mut blocks = blocks(source, chosen, table, how, &filler, progress);
            let (columns, about) = (filler.columns().to_vec(), about(table, &flights, how));
            let (to, how) = (to.to_owned(), how.clone());
            blocking(move || {
                let mut file =
                    TableFile::new(BufWriter::new(File::create(to)?), form, &columns, &how, &about)?;
                while let Some(block) = blocks.blocking_recv() {
                    file.block(&block?)?;
                }
                file.finish()?;
                Ok(())
            })
            .await
        }
        What::Sqlite => super::sqlite::write(source, chosen, how, to, progress).await,
        What::Recording => recording(source, chosen, to, progress).await,
        What::Bundle => super::bundle::write(source, chosen, how, to, progress).await,
        What::Setup => {
            let setups: Vec<_> = chosen
                .iter()
                .map(|one| json!({ "flight": one.flight.number, "setup": one.flight.setup }))
                .collect();
            let text =
                serde_json::to_vec_pretty(&setups).map_err(|error| Trouble::Other(error.to_string()))?;
            std::fs::write(to, text)?;
            Ok(())
        }
        What::Kml | What::Gpx | What::GeoJson | What::WebVtt | What::Srt => {
            let mut paths = Vec::new();
            for one in chosen {
                // A body has at most 60,000 points, so a day's paths fit into memory one flight at a time only for captions.
                paths.push(source.path(one).await?);
            }
            let (to, how) = (to.to_owned(), how.clone());
            blocking(move || {
                let mut file = BufWriter::new(File::create(to)?);
                match what {
                    What::Kml => kml::write(&mut file, &paths, how.units)?,
                    What::Gpx => gpx::write(&mut file, &paths)?,
                    What::GeoJson => geojson::write(&mut file, &paths)?,
                    _ => {
                        let [path] = &paths[..] else {
                            return Err(Trouble::Wanted(
                                "captions are of one flight; ask for them by its number".to_owned(),
                            ));
                        };
                        let form =
                            if what == What::Srt { captions::Form::Srt } else { captions::Form::WebVtt };
                        captions::write(&mut file, path, &how, form)?;
                    }
                }
                file.flush()?;
                Ok(())
            })
            .await
        }
        What::Audits => {
            let mut all = Vec::new();
            for one in chosen {
                all.push(super::audits::audits(source, one).await?);
            }
            // One flight is an object, a day an array of them.
            let text = match &all[..] {
                [one] => serde_json::to_vec(one),
                many => serde_json::to_vec(many),
            };
            std::fs::write(to, text.map_err(ExportError::from)?)?;
            Ok(())
        }
        What::SheetPdf | What::SheetHtml => {
            let [one] = chosen else {
                return Err(Trouble::Wanted("a sheet is of one flight; ask for it by its number".to_owned()));
            };
            let drawn = Drawn::read(source, one, how).await?;
            let (to, how) = (to.to_owned(), how.clone());
            blocking(move || {
                let sheet = drawn.sheet(&how);
                let bytes = if what == What::SheetPdf { sheet.pdf()? } else { sheet.html().into_bytes() };
                std::fs::write(to, bytes)?;
                Ok(())
            })
            .await
        }
    }
}

fn no_hindsight(chosen: &[Chosen]) -> Trouble {
    let which: Vec<String> = chosen.iter().map(|one| one.flight.number.to_string()).collect();
    Trouble::Wanted(format!(
        "flight {} has not been gone over with hindsight: it has not ended, or has no liftoff",
        which.join(", ")
    ))
}

/// Work that waits for a disk or computes, away from the threads that serve.
pub(crate) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(error) => Err(Trouble::Other(format!("the work broke off: {error}"))),
    }
}

/// A table of all flights, block by block.
pub(super) fn blocks(
    source: &Source,
    chosen: &[Chosen],
    table: Table,
    how: &How,
    filler: &Arc<Filler>,
    progress: &Arc<Progress>,
) -> mpsc::Receiver<Result<Block, Trouble>> {
    if table == Table::Remarks {
        return remarks(filler, progress);
    }
    let (lines_in, mut lines) = mpsc::channel::<Result<(usize, Page), Trouble>>(AHEAD + 1);
    let (blocks_in, blocks) = mpsc::channel(AHEAD);
    let (source, reading, progress) = (source.clone(), chosen.to_vec(), Arc::clone(progress));
    tokio::spawn(async move {
        if let Err(trouble) = read(&source, &reading, table, &lines_in, &progress).await {
            let _ = lines_in.send(Err(trouble)).await;
        }
    });
    let (filler, how) = (Arc::clone(filler), how.clone());
    tokio::task::spawn_blocking(move || {
        if let Err(trouble) = fill(table, &how, &filler, &mut lines, &blocks_in) {
            let _ = blocks_in.blocking_send(Err(trouble));
        }
    });
    blocks
}

/// What the crew wrote: a few rows, which came with the flights.
fn remarks(filler: &Filler, progress: &Progress) -> mpsc::Receiver<Result<Block, Trouble>> {
    let mut block = Block::new(filler.columns());
    filler.flights().iter().for_each(|flight| Filler::remarks(flight, &mut block));
    progress.expect(block.rows() as u64);
    progress.more(block.rows() as u64);
    let (blocks_in, blocks) = mpsc::channel(1);
    if !block.is_empty() {
        // There is room for the one.
        let _ = blocks_in.try_send(Ok(block));
    }
    blocks
}

async fn read(
    source: &Source,
    chosen: &[Chosen],
    table: Table,
    lines: &mpsc::Sender<Result<(usize, Page), Trouble>>,
    progress: &Progress,
) -> Result<(), Trouble> {
    for one in chosen {
        progress.expect(Pages::new(source.clone(), table, one.flight.number).count().await?);
    }
    for (index, one) in chosen.iter().enumerate() {
        let mut pages = Pages::new(source.clone(), table, one.flight.number);
        let mut frames = match table {
            Table::Frames => Some(FrameBytes::new(source, one).await?),
            _ => None,
        };
        while let Some(page) = pages.next().await? {
            progress.more(page.rows);
            let page = match &mut frames {
                Some(frames) => Page::joined(with_bytes(page.text()?, frames).await?, page.rows),
                None => page,
            };
            if lines.send(Ok((index, page))).await.is_err() {
                return Ok(());
            }
        }
    }
    Ok(())
}

/// Lines of frames with their bytes in front, in hexadecimal, or `-`.
async fn with_bytes(text: &str, frames: &mut FrameBytes) -> Result<String, Trouble> {
    let mut with = String::with_capacity(text.len() * 2);
    for line in text.split('\n') {
        let data = line.splitn(4, ' ').nth(3).unwrap_or_default();
        let bytes = match serde_json::from_str(data).map_err(ExportError::from)? {
            loftwatch_engine::Said::Frame(frame) => {
                frames.of(&frame.link, frame.offset, frame.length).await?
            }
            _ => None,
        };
        if !with.is_empty() {
            with.push('\n');
        }
        with.push_str(&bytes.map_or_else(|| "-".to_owned(), |bytes| source::hex(&bytes)));
        with.push(' ');
        with.push_str(line);
    }
    Ok(with)
}

fn fill(
    table: Table,
    how: &How,
    filler: &Filler,
    lines: &mut mpsc::Receiver<Result<(usize, Page), Trouble>>,
    blocks: &mpsc::Sender<Result<Block, Trouble>>,
) -> Result<(), Trouble> {
    let mut block = Block::new(filler.columns());
    let mut resampler: Option<(usize, Resampler)> = None;
    while let Some(page) = lines.blocking_recv() {
        let (index, page) = page?;
        let flight = &filler.flights()[index];
        for line in page.text()?.split('\n') {
            if matches!(table, Table::Estimates | Table::Smoothed) {
                let Some((offset_ns, row)) = source::row(table, line)? else { continue };
                match how.rate_hz {
                    None => filler.estimate(flight.number, offset_ns, &row, &mut block),
                    Some(rate_hz) => {
                        if resampler.as_ref().is_none_or(|(of, _)| *of != index) {
                            let zero_s = flight
                                .liftoff_s()
                                .unwrap_or((flight.opened_ns - flight.epoch_ns) as f64 / 1e9);
                            resampler = Some((index, Resampler::new(rate_hz, zero_s)));
                        }
                        if let Some((_, resampler)) = &mut resampler {
                            resampler.take(&row, |row| {
                                filler.estimate(flight.number, offset_ns, row, &mut block);
                            });
                        }
                    }
                }
            } else {
                let (bytes, line) = match table {
                    Table::Frames => line.split_once(' ').unwrap_or(("-", line)),
                    _ => ("-", line),
                };
                let bytes = (bytes != "-").then(|| unhex(bytes));
                if let Some(stored) = stored(flight.number, line, bytes.as_deref()) {
                    filler.push(&stored, &mut block)?;
                }
            }
            if block.rows() >= BLOCK_ROWS {
                let full = std::mem::replace(&mut block, Block::new(filler.columns()));
                if blocks.blocking_send(Ok(full)).is_err() {
                    return Ok(());
                }
            }
        }
    }
    if !block.is_empty() {
        let _ = blocks.blocking_send(Ok(block));
    }
    Ok(())
}

fn stored<'a>(flight: u32, line: &'a str, bytes: Option<&'a [u8]>) -> Option<Stored<'a>> {
    let mut parts = line.splitn(4, ' ');
    let mut number = || parts.next()?.parse::<i64>().ok();
    let (t_ns, t_receive_ns, utc_offset_ns) = (number()?, number()?, number()?);
    Some(Stored { flight, t_ns, t_receive_ns, utc_offset_ns, data: parts.next()?, bytes })
}

fn unhex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text.bytes().map(|digit| (digit as char).to_digit(16).unwrap_or(0) as u8).collect();
    digits.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect()
}

/// The bytes of all links as they came, in the form that `loftwatch rerun` reads.
async fn recording(
    source: &Source,
    chosen: &[Chosen],
    to: &FilePath,
    progress: &Arc<Progress>,
) -> Result<(), Trouble> {
    use base64::Engine as _;
    use loftwatch_engine::{RelayNews, What as Input};
    const AT_ONCE: u32 = 500;
    let mut file = BufWriter::new(File::create(to)?);
    for one in chosen {
        progress.expect((one.last_input - one.first_input).max(0) as u64);
    }
    for one in chosen {
        let mut done = (one.first_input - 1).max(0) as u64;
        loop {
            let some = inputs::read(&source.inputs, done, one.last_input as u64, AT_ONCE).await?;
            let Some(last) = some.last() else { break };
            progress.more(last.number - done);
            done = last.number;
            for input in some {
                let (link, bytes, t_ns) = match input.what {
                    Input::Bytes { link, bytes } => (link, bytes, input.t_ns),
                    Input::Relayed { link, stamp, news: RelayNews::Bytes(bytes) } => {
                        (link, bytes, stamp.heard_ns)
                    }
                    _ => continue,
                };
                let utc_ns = input.utc_ns - (input.t_ns - t_ns);
                let seconds =
                    |ns: i64| format!("{}.{:09}", ns.div_euclid(1_000_000_000), ns.rem_euclid(1_000_000_000));
                let link = serde_json::to_string(&link).map_err(ExportError::from)?;
                writeln!(
                    file,
                    "{{\"t_receive\":{},\"t_mono\":{},\"link\":{link},\"bytes\":\"{}\"}}",
                    seconds(utc_ns),
                    seconds(t_ns),
                    base64::engine::general_purpose::STANDARD.encode(bytes)
                )?;
            }
        }
    }
    file.flush()?;
    Ok(())
}
