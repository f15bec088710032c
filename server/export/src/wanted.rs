//! What somebody wants, from an address or a command line: one place for both.

use std::io::Write;

use crate::ExportError;
use crate::block::{Block, Column};
use crate::csv::Csv;
use crate::flight::Flight;
use crate::jsonl::JsonLines;
use crate::parquet::Parquet;
use crate::table::{TABLES, Table};
use crate::units::Units;

/// Forms of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// `.csv`
    Csv,
    /// `.parquet`
    Parquet,
    /// `.jsonl`
    JsonLines,
}

/// One file that can be handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A table.
    Table(Table, Form),
    /// `track.kml`
    Kml,
    /// `track.gpx`
    Gpx,
    /// `track.geojson`
    GeoJson,
    /// `captions.vtt`
    WebVtt,
    /// `captions.srt`
    Srt,
    /// `recording.jsonl`: bytes as they came, for `loftwatch rerun`.
    Recording,
    /// `flights.sqlite`
    Sqlite,
    /// `audits.json`
    Audits,
    /// `sheet.pdf`
    SheetPdf,
    /// `sheet.html`
    SheetHtml,
    /// `setup.json`
    Setup,
    /// `bundle.zip`
    Bundle,
}

impl What {
    /// By its file name.
    pub fn named(name: &str) -> Option<Self> {
        Some(match name {
            "track.kml" => Self::Kml,
            "track.gpx" => Self::Gpx,
            "track.geojson" => Self::GeoJson,
            "captions.vtt" => Self::WebVtt,
            "captions.srt" => Self::Srt,
            "recording.jsonl" => Self::Recording,
            "flights.sqlite" => Self::Sqlite,
            "audits.json" => Self::Audits,
            "sheet.pdf" => Self::SheetPdf,
            "sheet.html" => Self::SheetHtml,
            "setup.json" => Self::Setup,
            "bundle.zip" => Self::Bundle,
            name => {
                let (table, form) = name.rsplit_once('.')?;
                let form = match form {
                    "csv" => Form::Csv,
                    "parquet" => Form::Parquet,
                    "jsonl" => Form::JsonLines,
                    _ => return None,
                };
                Self::Table(Table::named(table)?, form)
            }
        })
    }

    /// Its file name.
    pub fn name(self) -> String {
        match self {
            Self::Table(table, Form::Csv) => format!("{}.csv", table.name()),
            Self::Table(table, Form::Parquet) => format!("{}.parquet", table.name()),
            Self::Table(table, Form::JsonLines) => format!("{}.jsonl", table.name()),
            Self::Kml => "track.kml".to_owned(),
            Self::Gpx => "track.gpx".to_owned(),
            Self::GeoJson => "track.geojson".to_owned(),
            Self::WebVtt => "captions.vtt".to_owned(),
            Self::Srt => "captions.srt".to_owned(),
            Self::Recording => "recording.jsonl".to_owned(),
            Self::Sqlite => "flights.sqlite".to_owned(),
            Self::Audits => "audits.json".to_owned(),
            Self::SheetPdf => "sheet.pdf".to_owned(),
            Self::SheetHtml => "sheet.html".to_owned(),
            Self::Setup => "setup.json".to_owned(),
            Self::Bundle => "bundle.zip".to_owned(),
        }
    }

    /// Every file name there is, for a message.
    pub fn names() -> String {
        let tables: Vec<&str> = TABLES.iter().map(|table| table.name()).collect();
        format!(
            "{} (each .csv, .parquet or .jsonl), track.kml, track.gpx, track.geojson, captions.vtt, captions.srt, \
             recording.jsonl, flights.sqlite, audits.json, sheet.pdf, sheet.html, setup.json, bundle.zip",
            tables.join(", ")
        )
    }

    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Table(_, Form::Csv) => "text/csv; charset=utf-8; header=present",
            Self::Table(_, Form::Parquet) => "application/vnd.apache.parquet",
            Self::Table(_, Form::JsonLines) | Self::Recording => "application/jsonl; charset=utf-8",
            Self::Kml => "application/vnd.google-earth.kml+xml",
            Self::Gpx => "application/gpx+xml",
            Self::GeoJson => "application/geo+json",
            Self::WebVtt => "text/vtt; charset=utf-8",
            Self::Srt => "application/x-subrip; charset=utf-8",
            Self::Sqlite => "application/vnd.sqlite3",
            Self::Audits | Self::Setup => "application/json",
            Self::SheetPdf => "application/pdf",
            Self::SheetHtml => "text/html; charset=utf-8",
            Self::Bundle => "application/zip",
        }
    }
}

/// Paper of the flight sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

/// How it is wanted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct How {
    /// Units.
    pub units: Units,
    /// Names of columns; empty for all.
    pub columns: Vec<String>,
    /// Rows a second, instead of as they are.
    pub rate_hz: Option<f64>,
    /// Of captions: flight time (seconds since liftoff) at the footage's zero.
    pub starts_s: f64,
    /// Of captions: seconds of footage for a second of flight, as a camera's clock runs; 1 for one that runs right.
    pub clock_rate: f64,
    /// Of the flight sheet.
    pub paper: Paper,
}

impl How {
    /// As it is if nothing is told.
    pub fn usual() -> Self {
        Self { clock_rate: 1.0, ..Self::default() }
    }

    /// Takes one parameter.
    pub fn take(&mut self, key: &str, value: &str) -> Result<(), ExportError> {
        let wrong = |what: &str| ExportError::Wanted(format!("`{key}`: expected {what}, found `{value}`"));
        let figure = |least: f64, most: f64, what: &str| {
            value.parse().ok().filter(|v: &f64| (least..=most).contains(v)).ok_or_else(|| wrong(what))
        };
        match key {
            "units" => self.units = Units::parse(value).ok_or_else(|| wrong("`si` or `imperial`"))?,
            "columns" => {
                self.columns = value
                    .split(',')
                    .map(str::trim)
                    .filter(|name| !name.is_empty())
                    .map(str::to_owned)
                    .collect();
            }
            "rate_hz" => self.rate_hz = Some(figure(0.01, 1000.0, "a rate from 0.01 to 1000")?),
            "starts_s" => self.starts_s = figure(-1e5, 1e5, "seconds since liftoff")?,
            "clock_rate" => self.clock_rate = figure(0.05, 20.0, "a rate from 0.05 to 20")?,
            "paper" => {
                self.paper = match value {
                    "a4" | "A4" => Paper::A4,
                    "letter" | "Letter" => Paper::Letter,
                    _ => return Err(wrong("`a4` or `letter`")),
                }
            }
            _ => {
                return Err(ExportError::Wanted(format!(
                    "`{key}` is no parameter: expected units, columns, rate_hz, starts_s, clock_rate, paper"
                )));
            }
        }
        Ok(())
    }

    /// The columns that are wanted, as indices, in the order in which they were asked for.
    pub fn choose(&self, columns: &[Column]) -> Result<Vec<usize>, ExportError> {
        if self.columns.is_empty() {
            return Ok((0..columns.len()).collect());
        }
        let mut chosen = Vec::new();
        for wanted in &self.columns {
            let fits = |column: &Column| {
                column.name == *wanted
                    || column.header(Units::Si) == *wanted
                    || column.header(Units::Imperial) == *wanted
            };
            let found: Vec<usize> = (0..columns.len())
                .filter(|index| fits(&columns[*index]) && !chosen.contains(index))
                .collect();
            if found.is_empty() && !columns.iter().any(fits) {
                let mut names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
                names.dedup();
                return Err(ExportError::Wanted(format!(
                    "there is no column `{wanted}`: expected one of {}",
                    names.join(", ")
                )));
            }
            chosen.extend(found);
        }
        Ok(chosen)
    }
}

/// What stands in the file about itself.
pub fn about(table: Table, flights: &[Flight], how: &How) -> Vec<(String, String)> {
    let mut about = vec![
        ("table".to_owned(), format!("{}: {}", table.name(), table.about())),
        ("made_by".to_owned(), format!("loftwatch {}, engine {}", env!("CARGO_PKG_VERSION"), loftwatch_engine::ENGINE_VERSION)),
        ("units".to_owned(), how.units.name().to_owned()),
        (
            "heights".to_owned(),
            "above the pad unless the name says otherwise; above sea level is the pad's told elevation and the height above it"
                .to_owned(),
        ),
        (
            "speeds".to_owned(),
            "airspeed is through the air, ground speed over the ground; climb is vertical, up positive".to_owned(),
        ),
        (
            "intervals".to_owned(),
            "a plain name is the median; _p25 to _p75 is the 50 % interval, _p05 to _p95 the 90 % interval".to_owned(),
        ),
        ("sampling".to_owned(), how.rate_hz.map_or_else(|| "as received".to_owned(), crate::rate::method)),
    ];
    for flight in flights {
        let number = flight.number;
        let site = &flight.setup.plan.site;
        about.push((format!("flight_{number}"), flight.title().to_owned()));
        if let Some(notes) = flight.notes() {
            about.push((format!("flight_{number}_notes"), notes.to_owned()));
        }
        if let Some(liftoff_ns) = flight.liftoff_ns {
            about.push((
                format!("flight_{number}_liftoff"),
                crate::time::utc(liftoff_ns + flight.utc_offset_ns),
            ));
        }
        about.push((
            format!("flight_{number}_pad"),
            format!(
                "{:.7}, {:.7} degrees (WGS84), {} m above sea level, geoid {} m above the ellipsoid",
                site.latitude_rad.to_degrees(),
                site.longitude_rad.to_degrees(),
                site.elevation_m,
                site.geoid_m
            ),
        ));
        if let Ok(setup) = serde_json::to_string(&flight.setup) {
            about.push((format!("flight_{number}_setup"), setup));
        }
    }
    about
}

/// A table's file in any form.
pub enum TableFile<W: Write + Send> {
    /// See [`Csv`].
    Csv(Csv<W>),
    /// See [`Parquet`].
    Parquet(Box<Parquet<W>>),
    /// See [`JsonLines`].
    JsonLines(JsonLines<W>),
}

impl<W: Write + Send> TableFile<W> {
    /// Begins one.
    pub fn new(
        to: W,
        form: Form,
        columns: &[Column],
        how: &How,
        about: &[(String, String)],
    ) -> Result<Self, ExportError> {
        let chosen = how.choose(columns)?;
        Ok(match form {
            Form::Csv => Self::Csv(Csv::new(to, columns, &chosen, how.units)),
            Form::Parquet => Self::Parquet(Box::new(Parquet::new(to, columns, &chosen, how.units, about)?)),
            Form::JsonLines => Self::JsonLines(JsonLines::new(to, columns, &chosen, how.units, about)?),
        })
    }

    /// Adds rows.
    pub fn block(&mut self, block: &Block) -> Result<(), ExportError> {
        match self {
            Self::Csv(file) => file.block(block),
            Self::Parquet(file) => file.block(block),
            Self::JsonLines(file) => file.block(block),
        }
    }

    /// Ends it.
    pub fn finish(self) -> Result<(), ExportError> {
        match self {
            Self::Csv(file) => file.finish(),
            Self::Parquet(file) => file.finish(),
            Self::JsonLines(file) => file.finish(),
        }
    }
}
