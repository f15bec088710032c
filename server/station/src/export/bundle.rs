//! A day or a flight as one zip: every file of every flight, an index page that works without a server, and digests.
//!
//! The same stored state gives the same bytes: entries stand in a fixed order with a fixed date.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufReader, BufWriter, Seek, SeekFrom, Write as _};
use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

use loftwatch_export::remark::Kind;
use loftwatch_export::table::TABLES;
use loftwatch_export::{Flight, Form, How, What};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::make::{self, Progress, Trouble, blocking};
use super::source::{Chosen, Source};
use super::spool::digest;

/// What of each flight is in it.
fn contents() -> Vec<What> {
    let mut all = vec![What::SheetPdf, What::SheetHtml, What::Audits];
    for table in TABLES {
        all.push(What::Table(table, Form::Csv));
    }
    for table in TABLES {
        all.push(What::Table(table, Form::Parquet));
    }
    all.extend([
        What::Kml,
        What::Gpx,
        What::GeoJson,
        What::WebVtt,
        What::Srt,
        What::Recording,
        What::Sqlite,
        What::Setup,
    ]);
    all
}

/// A writer that fails once: the zip writer, given up half way, tries to end its file and would tell of that on standard error.
struct Once<W> {
    inner: W,
    failed: bool,
}

impl<W> Once<W> {
    fn new(inner: W) -> Self {
        Self { inner, failed: false }
    }

    fn after<T>(&mut self, done: std::io::Result<T>) -> std::io::Result<T> {
        self.failed |= done.is_err();
        done
    }
}

impl<W: std::io::Write> std::io::Write for Once<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        if self.failed {
            return Ok(bytes.len());
        }
        let done = self.inner.write(bytes);
        self.after(done)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        if self.failed {
            return Ok(());
        }
        let done = self.inner.flush();
        self.after(done)
    }
}

impl<W: Seek> Seek for Once<W> {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        if self.failed {
            return Ok(0);
        }
        let done = self.inner.seek(to);
        self.after(done)
    }
}

struct Entry {
    flight: u32,
    name: String,
    length: u64,
    digest: String,
}

/// Writes it.
pub(super) async fn write(
    source: &Source,
    chosen: &[Chosen],
    how: &How,
    to: &FilePath,
    progress: &Arc<Progress>,
) -> Result<(), Trouble> {
    let part = to.with_extension("piece");
    let made = pack(source, chosen, how, to, &part, progress).await;
    let _ = std::fs::remove_file(&part);
    made
}

async fn pack(
    source: &Source,
    chosen: &[Chosen],
    how: &How,
    to: &FilePath,
    part: &FilePath,
    progress: &Arc<Progress>,
) -> Result<(), Trouble> {
    let mut zip = ZipWriter::new(Once::new(BufWriter::new(File::create(to)?)));
    let mut entries = Vec::new();
    let mut left_out = Vec::new();
    for one in chosen {
        for what in contents() {
            let sampled = matches!(
                what,
                What::Table(loftwatch_export::Table::Estimates | loftwatch_export::Table::Smoothed, _)
            );
            let how = How { columns: Vec::new(), rate_hz: how.rate_hz.filter(|_| sampled), ..how.clone() };
            match Box::pin(make::write(source, std::slice::from_ref(one), what, &how, part, progress)).await {
                Ok(()) => {}
                // A flight without a place has no track, one that has not ended no hindsight: that is said, not hidden.
                Err(Trouble::Wanted(why)) => {
                    left_out.push((one.flight.number, what.name(), why));
                    continue;
                }
                Err(other) => return Err(other),
            }
            let name = format!("flight-{}/{}", one.flight.number, what.name());
            let (from, path) = (part.to_owned(), name.clone());
            let (back, length, digest) = blocking(move || {
                let (length, digest) = digest(&from)?;
                add(&mut zip, &path, &from)?;
                Ok((zip, length, digest))
            })
            .await?;
            zip = back;
            entries.push(Entry { flight: one.flight.number, name, length, digest });
        }
    }
    let index = index(chosen, &entries, &left_out);
    let digests = entries.iter().fold(String::new(), |mut text, entry| {
        let _ = writeln!(text, "{}  {}", entry.digest, entry.name);
        text
    });
    blocking(move || {
        for (name, text) in [("index.html", index), ("SHA256SUMS", digests)] {
            zip.start_file(name, options()).map_err(zipped)?;
            zip.write_all(text.as_bytes())?;
        }
        zip.finish().map_err(zipped)?.flush()?;
        Ok(())
    })
    .await
}

fn options() -> SimpleFileOptions {
    SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644)
        .large_file(true)
}

fn zipped(error: zip::result::ZipError) -> Trouble {
    match error {
        zip::result::ZipError::Io(error) => Trouble::Disk(error),
        other => Trouble::Other(other.to_string()),
    }
}

fn add(zip: &mut ZipWriter<Once<BufWriter<File>>>, name: &str, from: &PathBuf) -> Result<(), Trouble> {
    zip.start_file(name, options()).map_err(zipped)?;
    std::io::copy(&mut BufReader::new(File::open(from)?), zip)?;
    Ok(())
}

fn escape(text: &str) -> String {
    loftwatch_export::html::escaped(text)
}

/// What the crew wrote, as text.
fn put_written(page: &mut String, flight: &Flight) {
    for one in &flight.written {
        let at = loftwatch_export::time::for_people(one.t_ns + flight.utc_offset_ns);
        let by = one.by();
        let (what, words) = match (one.kind, one.acceptance()) {
            // It is the heading.
            (Kind::Name, _) => continue,
            (Kind::Notes, _) => (format!("Notes{by}, {at}"), one.words.clone()),
            (Kind::Mark, _) => (format!("Marked{by}, {at}"), one.words.clone()),
            (Kind::Acceptance, words) => (format!("Before the flight, {at}"), words.unwrap_or_default()),
        };
        let _ = writeln!(page, "<p>{}:</p>\n<p class=\"words\">{}</p>", escape(&what), escape(&words));
    }
}

fn index(chosen: &[Chosen], entries: &[Entry], left_out: &[(u32, String, String)]) -> String {
    let mut page = String::from(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>Flights</title>\n<style>body{font:17px/1.5 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 16px;\
         background:#fffdf7;color:#15130f}h2{border-top:2px solid;padding-top:6px}table{width:100%;border-collapse:collapse}\
         td{border-top:1px solid #d6cfbf;padding:6px 12px 6px 0}td:last-child{font:14px monospace;word-break:break-all}\
         .words{border-left:4px solid #d6cfbf;padding-left:12px;white-space:pre-wrap;overflow-wrap:anywhere}</style>\n<h1>Flights</h1>\n\
         <p>Advice, not range safety. Charges that are not confirmed fired are to be treated as live. Digests are SHA-256; \
         <code>sha256sum -c SHA256SUMS</code> checks them.</p>\n",
    );
    for one in chosen {
        let f = &one.flight;
        let at = loftwatch_export::time::for_people(f.liftoff_ns.unwrap_or(f.opened_ns) + f.utc_offset_ns);
        let _ = writeln!(
            page,
            "<h2>Flight {}: {}</h2>\n<p>{}, {}, {at}</p>",
            f.number,
            escape(f.title()),
            escape(&f.vehicle),
            escape(&f.site)
        );
        put_written(&mut page, f);
        page.push_str("<table>\n");
        for entry in entries.iter().filter(|entry| entry.flight == f.number) {
            let short = entry.name.rsplit('/').next().unwrap_or_default();
            let _ = writeln!(
                page,
                "<tr><td><a href=\"{}\">{short}</a></td><td>{} bytes</td><td>{}</td></tr>",
                entry.name, entry.length, entry.digest
            );
        }
        page.push_str("</table>\n");
        for (_, name, why) in left_out.iter().filter(|(number, ..)| *number == f.number) {
            let _ = writeln!(page, "<p>Not in here: {name}. {}.</p>", escape(why));
        }
    }
    page.push_str("</html>\n");
    page
}
