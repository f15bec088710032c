//! What audits and flight sheet are made of, read from the store.

use loftwatch_engine::output::Value;
use loftwatch_engine::{Said, cue_of};
use loftwatch_export::audit::{Audits, Evidence, Track};
use loftwatch_export::path::Path;
use loftwatch_export::sheet::{Piece, Sheet};
use loftwatch_export::{Flight, How, Table};
use loftwatch_flight::{Prediction, Quantiles};
use loftwatch_radio::Meaning;
use sqlx::Row as _;

use super::make::Trouble;
use super::pages::Pages;
use super::source::{self, Chosen, Source};
use crate::hub::{State, word};
use crate::messages::{GroundNow, PieceNow};
use crate::playback;

/// Predictions that are kept: more are thinned evenly.
const MOST_PREDICTIONS: usize = 20_000;

/// When each cue was commanded: the last packet without the command and the first one with it, s.
type Commanded = Vec<Option<(Option<f64>, f64)>>;

/// The audits of a flight.
pub(crate) async fn audits(source: &Source, chosen: &Chosen) -> Result<Audits, Trouble> {
    let flight = &chosen.flight;
    let events = source.events(flight.number).await?;
    let live = track(source, flight, Table::Estimates).await?;
    let track = if chosen.hindsight { track(source, flight, Table::Smoothed).await? } else { live.clone() };
    let predictions = predictions(source, flight).await?;
    let opening_loads = opening_loads(source, flight).await?;
    let commanded = commanded(source, flight).await?;
    let logs: Vec<String> = if chosen.hindsight {
        crate::onboard::heard(&source.folder, flight).into_iter().map(|heard| heard.about).collect()
    } else {
        Vec::new()
    };
    let logs = logs.join(", and ");
    let evidence = Evidence {
        flight,
        track: &track,
        live: &live,
        events: &events,
        predictions: &predictions,
        opening_loads: &opening_loads,
        commanded: &commanded,
        log: (!logs.is_empty()).then_some(&logs[..]),
    };
    Ok(evidence.audits())
}

/// The states of a flight's bodies from a second before liftoff on.
pub(crate) async fn track(source: &Source, flight: &Flight, table: Table) -> Result<Track, Trouble> {
    let mut track = Track::new(table == Table::Smoothed);
    let from_s = flight.liftoff_s().map_or(f64::NEG_INFINITY, |liftoff_s| liftoff_s - 1.0);
    let mut pages = Pages::new(source.clone(), table, flight.number);
    while let Some(page) = pages.next().await? {
        for line in page.text()?.split('\n') {
            if let Some((_, row)) = source::row(table, line)?
                && row.t_s >= from_s
            {
                track.take(&row);
            }
        }
    }
    Ok(track)
}

async fn predictions(source: &Source, flight: &Flight) -> Result<Vec<Prediction>, Trouble> {
    let Some(liftoff_ns) = flight.liftoff_ns else { return Ok(Vec::new()) };
    let rows: Vec<String> = sqlx::query_scalar(
        "SELECT data FROM output WHERE flight = ? AND kind = 'prediction' AND t_ns >= ? AND body = 0 ORDER BY t_ns, seq LIMIT ?",
    )
    .bind(flight.number)
    .bind(liftoff_ns)
    .bind(MOST_PREDICTIONS as i64)
    .fetch_all(&source.derived)
    .await?;
    let mut all = Vec::new();
    for row in rows {
        if let Said::Prediction { prediction, .. } = said(&row)? {
            all.push(prediction);
        }
    }
    Ok(all)
}

fn said(data: &str) -> Result<Said, Trouble> {
    Ok(serde_json::from_str(data).map_err(loftwatch_export::ExportError::from)?)
}

/// The opening load that was predicted last for each cue before its moment.
async fn opening_loads(source: &Source, flight: &Flight) -> Result<Vec<Option<Quantiles>>, Trouble> {
    let mut loads = Vec::new();
    for cue in 0..flight.setup.plan.cues.len() {
        let row: Option<String> = sqlx::query_scalar(
            "SELECT data FROM output WHERE flight = ?1 AND kind = 'cue' AND json_extract(data, '$.cue.cue') = ?2 \
             AND json_extract(data, '$.cue.passed') = 0 ORDER BY t_ns DESC LIMIT 1",
        )
        .bind(flight.number)
        .bind(cue as i64)
        .fetch_optional(&source.derived)
        .await?;
        loads.push(match row.as_deref().map(said).transpose()? {
            Some(Said::Cue(prediction)) => prediction.opening_load_n,
            _ => None,
        });
    }
    Ok(loads)
}

/// Which cue a field of a layout says was commanded, for a body.
fn commands(flight: &Flight, layout: &str, field: &str, body: usize) -> Option<usize> {
    let layout = flight.setup.layouts.iter().find(|one| one.name == layout)?;
    let channel = layout.fields().iter().find_map(|of| {
        if of.meaning == Meaning::Commanded && of.name == field {
            return of.channel.clone();
        }
        of.bits
            .iter()
            .find(|bits| bits.meaning == Meaning::Commanded && bits.name == field)
            .and_then(|bits| bits.channel.clone())
    })?;
    cue_of(&flight.setup.plan, body, &channel)
}

async fn commanded(source: &Source, flight: &Flight) -> Result<Commanded, Trouble> {
    let mut commanded: Commanded = vec![None; flight.setup.plan.cues.len()];
    let says = |meaning: Meaning| meaning == Meaning::Commanded;
    let any = flight
        .setup
        .layouts
        .iter()
        .flat_map(loftwatch_radio::Layout::fields)
        .any(|field| says(field.meaning) || field.bits.iter().any(|bits| says(bits.meaning)));
    let Some(liftoff_ns) = flight.liftoff_ns.filter(|_| any) else { return Ok(commanded) };
    let mut down: Vec<Option<f64>> = vec![None; commanded.len()];
    let mut pages = Pages::new(source.clone(), Table::Readings, flight.number);
    while let Some(page) = pages.next().await? {
        for line in page.text()?.split('\n') {
            // A line without the word costs no parsing.
            let Some(data) = line.splitn(4, ' ').nth(3).filter(|data| data.contains("\"commanded\"")) else {
                continue;
            };
            let Said::Reading(reading) = said(data)? else { continue };
            if reading.t_measured_ns < liftoff_ns {
                continue;
            }
            let t_s = (reading.t_measured_ns - flight.epoch_ns) as f64 / 1e9;
            for (field, meaning, value) in &reading.values {
                if meaning != Meaning::Commanded.name() {
                    continue;
                }
                let Some(cue) = commands(flight, &reading.layout, field, reading.body) else { continue };
                let up = match value {
                    Value::Flag(flag) => *flag,
                    Value::Number(number) => *number != 0.0,
                    Value::Text(_) => continue,
                };
                if !up {
                    down[cue] = Some(t_s);
                } else if commanded[cue].is_none_or(|(_, by)| t_s < by) {
                    commanded[cue] = Some((down[cue].filter(|down| *down < t_s), t_s));
                }
            }
        }
    }
    Ok(commanded)
}

/// Everything that the sheet is drawn from.
#[derive(Debug)]
pub(crate) struct Drawn {
    path: Path,
    audits: Audits,
    pieces: Vec<Piece>,
    compass: String,
    setup: Vec<(String, String)>,
}

impl Drawn {
    /// Reads it.
    pub(crate) async fn read(source: &Source, chosen: &Chosen, how: &How) -> Result<Self, Trouble> {
        let path = source.path(chosen).await?;
        let audits = audits(source, chosen).await?;
        let ground = ground(source, &chosen.flight).await?;
        let pieces = ground.pieces.iter().map(|piece| piece_of(piece, &chosen.flight, how)).collect();
        let compass = ground.compass.map_or_else(String::new, |compass| {
            format!(
                "Compass: declination {:+.1}°, give or take {:.1} ({}, {}).",
                compass.declination_deg,
                1.645 * compass.sd_deg,
                compass.model,
                compass.date
            )
        });
        let words = crate::meant::in_words(&chosen.flight.setup, &[]);
        let setup = words
            .lines()
            .take_while(|line| !line.is_empty())
            .filter_map(|line| line.split_once(' '))
            .map(|(about, words)| (about.to_owned(), words.trim().to_owned()))
            .collect();
        Ok(Self { path, audits, pieces, compass, setup })
    }

    /// The sheet.
    pub(crate) fn sheet(&self, how: &How) -> Sheet<'_> {
        Sheet {
            path: &self.path,
            audits: &self.audits,
            pieces: &self.pieces,
            compass: &self.compass,
            setup: &self.setup,
            units: how.units,
            paper: how.paper,
        }
    }
}

/// Where the pieces were at the end of the flight, as the pages show it.
async fn ground(source: &Source, flight: &Flight) -> Result<GroundNow, Trouble> {
    let end_ns: Option<i64> = sqlx::query("SELECT max(t_ns) AS t FROM output WHERE flight = ?")
        .bind(flight.number)
        .fetch_one(&source.derived)
        .await?
        .try_get("t")?;
    let end_ns = end_ns.unwrap_or(flight.opened_ns);
    let outputs = playback::newest(&source.derived, flight.number, i64::MIN, end_ns, &flight.setup).await?;
    let mut state = State::new(source.epoch_ns);
    for output in &outputs {
        state.apply(output);
    }
    Ok(state.story(&flight.setup, end_ns + flight.utc_offset_ns, Vec::new()).ground)
}

fn piece_of(piece: &PieceNow, flight: &Flight, how: &How) -> Piece {
    use loftwatch_export::units::Unit;
    let way = match (&piece.place, piece.carried_by) {
        (Some(place), _) => {
            let m = Unit::Metre.convert(place.distance_m, how.units);
            let compass = place
                .compass_deg
                .map_or_else(String::new, |deg| format!(", {:03.0}° by compass", deg.rem_euclid(360.0)));
            let radius = place.radius_m.map_or_else(String::new, |radius| {
                format!(
                    ", 90 % within {:.0} {}",
                    Unit::Metre.convert(radius, how.units),
                    Unit::Metre.symbol(how.units)
                )
            });
            format!(
                "{m:.0} {} at {:03.0}° true{compass}{radius}",
                Unit::Metre.symbol(how.units),
                place.true_deg.rem_euclid(360.0)
            )
        }
        (None, Some(carrier)) => format!("on {}, as far as is known", flight.body(carrier as usize)),
        (None, None) => "Its place is not known.".to_owned(),
    };
    Piece {
        body: flight.body(piece.body as usize).to_owned(),
        way,
        place: piece.place.as_ref().map(|place| [place.latitude_deg, place.longitude_deg]),
        down: piece.down,
        live: piece
            .charges
            .iter()
            .map(|charge| format!("{} ({})", charge.name, said_of(&word(&charge.said))))
            .collect(),
    }
}

fn said_of(said: &str) -> &str {
    match said {
        "nothing" => "nothing said of it",
        "not_fired" => "not fired",
        other => other,
    }
}
