//! `GET /api/flights/N/messages?from_s=&to_s=`: a part of a flight as the messages that a page would have got, a JSON line
//! each, as fast as the store gives them. For whoever draws it in a time of their own: an overlay for a film, a script.
//!
//! A `story` and a `picture` stand before the `now` that they belong to; a `now` comes every 50 ms of the flight.

use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde::Deserialize;
use tokio::sync::{Semaphore, SemaphorePermit};

use super::flights;
use super::problem::Refusal;
use crate::playback::Playback;
use crate::shared::Shared;

/// Flight time between two messages `now`, and so many of them from one `picture` to the next.
const STEP: Duration = Duration::from_millis(50);
const PICTURE_EVERY: u32 = 4;
/// The longest part of a flight in one answer, s.
const LONGEST_S: f64 = 3600.0;
/// Answers at once: each reads the store as fast as it can.
static AT_ONCE: Semaphore = Semaphore::const_new(3);

/// Which part.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(super) struct Part {
    from_s: f64,
    to_s: f64,
}

/// Answers.
pub(super) async fn messages(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    Query(part): Query<Part>,
) -> Result<Response, Refusal> {
    let flight = flights::find(&shared, &number).await?;
    if !(0.0..=LONGEST_S).contains(&(part.to_s - part.from_s)) {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "That part of the flight cannot be told: it ends before it begins, or is longer than an hour.",
            "Nothing was changed.",
            "Give `from_s` and `to_s` in seconds of station time, such as the `liftoff_s` of the flight.",
        ));
    }
    let Ok(permit) = AT_ONCE.try_acquire() else {
        return Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "Other overlays are being made: the station does no more at once.",
            "Nothing was changed.",
            "Try again when one of them is done.",
        ));
    };
    let mut playback =
        Playback::open(shared.readers.clone(), &shared.inputs_readers, shared.epoch_ns, flight).await?;
    let ns = |t_s: f64| (t_s * 1e9) as i64;
    playback.seek(ns(part.from_s)).await?;
    playback.play(1.0).await?;
    let telling = Telling { shared, playback, to_ns: ns(part.to_s), told: 0, done: false, _permit: permit };
    let lines = stream::try_unfold(telling, async |mut telling| {
        let lines = telling.next().await?;
        Ok::<_, sqlx::Error>(lines.map(|lines| (Bytes::from(lines), telling)))
    });
    let headers = [(header::CONTENT_TYPE, "application/x-ndjson"), (header::CACHE_CONTROL, "no-store")];
    Ok((headers, Body::from_stream(lines)).into_response())
}

struct Telling {
    shared: Arc<Shared>,
    playback: Playback,
    to_ns: i64,
    told: u32,
    done: bool,
    _permit: SemaphorePermit<'static>,
}

impl Telling {
    async fn next(&mut self) -> Result<Option<String>, sqlx::Error> {
        if self.done {
            return Ok(None);
        }
        let story = if self.told == 0 { true } else { self.playback.pass(STEP).await?.story };
        let mut lines = String::new();
        if story {
            lines.push_str(&self.playback.story());
            lines.push('\n');
        }
        if self.told.is_multiple_of(PICTURE_EVERY) {
            lines.push_str(&self.playback.picture());
            lines.push('\n');
        }
        lines.push_str(&self.playback.now(self.shared.clock.now_ns()));
        lines.push('\n');
        self.told += 1;
        self.done = self.playback.at_ns() >= self.to_ns || !self.playback.plays();
        Ok(Some(lines))
    }
}
