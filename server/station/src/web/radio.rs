//! The newest frames as they came: their bytes, the fields on them, and what is wrong with the others. With a text for the
//! setup file they are cut and decoded as that text says, which changes nothing.
//!
//! Limits: the last 256 KiB of each link among the newest 200,000 inputs are looked at. A frame that began before is left
//! out.

use std::collections::{BTreeMap, VecDeque};
use std::fmt::Write as _;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use loftwatch_engine::Setup;
use loftwatch_engine::setup::Link;
use loftwatch_export::Units;
use loftwatch_export::table::unit_of;
use loftwatch_radio::{Complaint, Frame, Hints, Layout, Meaning, Quantity, Splitter, Stored, Sums, Value};
use sqlx::{Row as _, SqlitePool};

use super::about::rounded_s;
use super::actor::Member;
use super::problem::{Refusal, wrong_body};
use super::setup::{file, in_background, unreadable};
use crate::guess::{self, Look};
use crate::messages::{
    FrameField, FramingGuess, RadioFrame, RadioFrames, RadioGuess, RadioGuesses, RadioTried, RadioTry,
};
use crate::setup::Text;
use crate::shared::Shared;

/// Frames of a link.
const FRAMES: usize = 100;
/// Bytes of a link that are cut again.
const TAIL_BYTES: usize = 256 * 1024;
/// Inputs that are looked back over.
const TAIL_INPUTS: i64 = 200_000;
/// Bytes of a frame that are shown.
const SHOWN_BYTES: usize = 512;

/// Pieces of bytes with their station time, by link.
type Tails = BTreeMap<String, VecDeque<(i64, Vec<u8>)>>;

/// `GET /api/radio/frames`
pub(super) async fn frames(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let told = Arc::clone(&shared.setup.borrow());
    let tails = tails(&shared.inputs_readers, &told.setup).await.map_err(|error| unread(&error))?;
    let frames = tokio::task::spawn_blocking(move || decode(&told.setup, &tails))
        .await
        .map_err(|error| unreadable(&error.to_string()))?;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(RadioFrames { frames })))
}

/// `GET /api/radio/guess`
pub(super) async fn guesses(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let told = Arc::clone(&shared.setup.borrow());
    let tails = tails(&shared.inputs_readers, &told.setup).await.map_err(|error| unread(&error))?;
    let links = tokio::task::spawn_blocking(move || {
        told.setup.links.iter().filter_map(|link| Some(look(link, tails.get(&link.name)?))).collect()
    });
    let links = links.await.map_err(|error| unreadable(&error.to_string()))?;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(RadioGuesses { links })))
}

fn look(link: &Link, tail: &VecDeque<(i64, Vec<u8>)>) -> RadioGuess {
    let bytes: Vec<u8> = tail.iter().flat_map(|(_, bytes)| bytes.iter().copied()).collect();
    let look = Look::at(&bytes, guess::baud(link));
    let framings = look.offers.into_iter().map(|offer| FramingGuess { words: offer.words, keys: offer.keys });
    RadioGuess {
        link: link.name.clone(),
        bytes: bytes.len().min(guess::LOOKED_AT) as u32,
        framings: framings.collect(),
        rate: look.rate,
    }
}

/// `POST /api/radio/try`: changes nothing.
pub(super) async fn attempt(
    State(shared): State<Arc<Shared>>,
    _: Member,
    wanted: Result<Json<RadioTry>, JsonRejection>,
) -> Result<Json<RadioTried>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, "{\"text\": \"...\"}"))?;
    let told = Arc::clone(&shared.setup.borrow());
    let tails = tails(&shared.inputs_readers, &told.setup).await.map_err(|error| unread(&error))?;
    let tried = in_background(file(&shared)?, move |file| {
        Ok::<_, String>(match Text::read(file)?.check(file, &wanted.text) {
            Ok(setup) => RadioTried { mistakes: Vec::new(), frames: decode(&setup, &tails) },
            Err(mistakes) => RadioTried { mistakes, frames: Vec::new() },
        })
    });
    Ok(Json(tried.await?.map_err(|why| unreadable(&why))?))
}

fn unread(error: &sqlx::Error) -> Refusal {
    tracing::warn!("the newest bytes cannot be read: {error}");
    Refusal::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "The newest bytes cannot be read from the store.",
        "Nothing was changed.",
        "Try again in a moment.",
    )
}

/// The newest pieces of each link, in the order in which they came.
async fn tails(pool: &SqlitePool, told: &Setup) -> Result<Tails, sqlx::Error> {
    let mut tails: Tails = told.links.iter().map(|link| (link.name.clone(), VecDeque::new())).collect();
    let mut bytes: BTreeMap<String, usize> = BTreeMap::new();
    let newest: i64 =
        sqlx::query_scalar("SELECT coalesce(max(number), 0) FROM input").fetch_one(pool).await?;
    let mut before = newest + 1;
    while before > 1 && before > newest - TAIL_INPUTS {
        let rows = sqlx::query(
            "SELECT number, t_ns, kind, link, data FROM input WHERE number < ? AND number >= ? ORDER BY number DESC",
        )
        .bind(before)
        .bind(before - 2_000)
        .fetch_all(pool)
        .await?;
        for row in &rows {
            let (Some(link), "bytes") = (row.try_get::<Option<String>, _>("link")?, row.try_get("kind")?)
            else {
                continue;
            };
            let taken = bytes.entry(link.clone()).or_default();
            let Some(tail) = tails.get_mut(&link).filter(|_| *taken < TAIL_BYTES) else { continue };
            let data: Vec<u8> = row.try_get("data")?;
            *taken += data.len();
            tail.push_front((row.try_get("t_ns")?, data));
        }
        before -= 2_000;
        if tails.keys().all(|link| bytes.get(link).is_some_and(|taken| *taken >= TAIL_BYTES)) {
            break;
        }
    }
    Ok(tails)
}

/// Cuts and decodes the newest frames of each link, the newest first.
fn decode(setup: &Setup, tails: &Tails) -> Vec<RadioFrame> {
    let mut all: Vec<(i64, RadioFrame)> = Vec::new();
    for link in &setup.links {
        let Some(tail) = tails.get(&link.name) else { continue };
        let layouts = || link.layouts.iter().filter_map(|index| setup.layouts.get(*index));
        let mut splitter = Splitter::with_hints(&link.framing, Hints::of(layouts()));
        let mut sums = Sums::default();
        let mut frames: VecDeque<(i64, RadioFrame)> = VecDeque::new();
        for (t_ns, bytes) in tail {
            let mut take = |frame: Frame<'_>| {
                // The first bytes may be the end of a frame that began before them.
                if frame.offset == 0 && frame.payload.is_err() {
                    return;
                }
                if frames.len() == FRAMES {
                    frames.pop_front();
                }
                frames.push_back((frame.t_ns, one(setup, link, &mut sums, &frame)));
            };
            splitter.push(bytes, *t_ns, &mut take);
            if link.is_in_datagrams() {
                splitter.end_piece(&mut take);
            }
        }
        all.extend(frames);
    }
    all.sort_by_key(|(t_ns, _)| std::cmp::Reverse(*t_ns));
    all.into_iter().map(|(_, frame)| frame).collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().take(SHOWN_BYTES).fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn one(setup: &Setup, link: &Link, sums: &mut Sums, frame: &Frame<'_>) -> RadioFrame {
    let said = |bytes: &[u8], wrong: Option<String>| RadioFrame {
        link: link.name.clone(),
        t_s: rounded_s(frame.t_ns),
        hex: hex(bytes),
        length: bytes.len() as u32,
        layout: None,
        wrong,
        fields: Vec::new(),
        complaints: Vec::new(),
    };
    let payload = match &frame.payload {
        Err(wrong) => return said(frame.raw, Some(wrong.to_string())),
        Ok(payload) => *payload,
    };
    let layouts = || link.layouts.iter().filter_map(|index| setup.layouts.get(*index));
    let (layout, decoded) = match loftwatch_radio::take(layouts(), payload) {
        Ok((at, decoded)) => match layouts().nth(at) {
            Some(layout) => (layout, decoded),
            None => return said(payload, None),
        },
        Err(misfit) => return said(payload, Some(misfit.to_string())),
    };
    if !sums.note(&link.framing, &layout.name, frame.checked) {
        let wrong = Some(Sums::MISSING.to_owned());
        return RadioFrame { layout: Some(layout.name.clone()), ..said(payload, wrong) };
    }
    RadioFrame {
        layout: Some(layout.name.clone()),
        fields: fields(layout, payload, &decoded),
        complaints: decoded.complaints.iter().map(Complaint::to_string).collect(),
        ..said(payload, None)
    }
}

/// Every value with its place; fields that say no value, or are passed over, with their place alone.
fn fields(layout: &Layout, payload: &[u8], decoded: &loftwatch_radio::Decoded) -> Vec<FrameField> {
    let places = layout.places(payload);
    let named = |name: &str, field: u16, item: u16| {
        let repeated = layout.fields().get(usize::from(field)).is_some_and(|field| field.repeat.is_some());
        if repeated { format!("{name}[{item}]") } else { name.to_owned() }
    };
    let mut shown: Vec<FrameField> = Vec::new();
    for entry in &decoded.values {
        let Some(spec) = layout.spec(entry) else { continue };
        let value = match (&entry.value, layout.value_name(entry)) {
            (_, Some(name)) => name.to_owned(),
            (Value::Text(text), _) => text.clone(),
            (Value::Flag(flag), _) => if *flag { "yes" } else { "no" }.to_owned(),
            (Value::Named { raw, .. }, _) => raw.to_string(),
            (Value::Number(number), _) => {
                let free = spec.meaning == Meaning::Free;
                let (number, unit) = match spec.meaning.quantity() {
                    // Nobody knows their pad in radians.
                    Quantity::Angle if !free => (number.to_degrees(), "deg"),
                    _ => (*number, if free { spec.unit } else { unit_of(spec.meaning).symbol(Units::Si) }),
                };
                format!("{} {unit}", figure(number)).trim_end().to_owned()
            }
        };
        let place = places.iter().find(|place| place.field == entry.field && place.item == entry.item);
        shown.push(FrameField {
            name: named(spec.name, entry.field, entry.item),
            value,
            from: place.map(|place| place.from as u32),
            to: place.map(|place| place.to as u32),
        });
    }
    for place in &places {
        let there = |entry: &loftwatch_radio::Entry| entry.field == place.field && entry.item == place.item;
        if decoded.values.iter().any(there) {
            continue;
        }
        let Some(field) = layout.fields().get(usize::from(place.field)) else { continue };
        let value = if matches!(field.stored, Stored::Skip(_)) { "" } else { "no value" };
        shown.push(FrameField {
            name: named(&field.name, place.field, place.item),
            value: value.to_owned(),
            from: Some(place.from as u32),
            to: Some(place.to as u32),
        });
    }
    shown.sort_by_key(|field| field.from);
    shown
}

/// At most nine digits: what a page can show.
fn figure(number: f64) -> String {
    let rounded: f64 = format!("{number:.8e}").parse().unwrap_or(number);
    rounded.to_string()
}
