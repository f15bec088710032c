//! `/api/flights/N/socket`: a private replay, steered by the page that opened it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};
use tokio::time::Instant;

use super::flights;
use super::problem::Refusal;
use super::socket::{Gone, Heard, Line, Opening};
use crate::playback::{Playback, Stepper, steps};
use crate::shared::Shared;

/// Opens the socket.
pub(super) async fn open(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    opening: Opening,
) -> Response {
    let played = async {
        let flight = flights::find(&shared, &number).await?;
        Ok::<_, Refusal>(
            Playback::open(shared.readers.clone(), &shared.inputs_readers, shared.epoch_ns, flight).await?,
        )
    };
    match played.await {
        Ok(playback) => opening.open(move |line| replay(line, shared, playback)),
        Err(refusal) => refusal.into_response(),
    }
}

async fn replay(mut line: Line, shared: Arc<Shared>, playback: Playback) {
    let mut ending = shared.ending.clone();
    let ended = tokio::select! {
        result = talk(&mut line, &shared, playback) => result,
        _ = ending.wait_for(|ending| *ending) => Ok(()),
    };
    if ended.is_ok() {
        line.goodbye().await;
    }
}

async fn talk(line: &mut Line, shared: &Shared, mut playback: Playback) -> Result<(), Gone> {
    let mut due = Stepper::fresh();
    let mut steps = steps();
    loop {
        let instant = Instant::now();
        if due.now.take(instant) {
            line.send(&playback.now(shared.clock.now_ns())).await?;
        }
        if due.story.take(instant) {
            line.send(&playback.story()).await?;
        }
        if due.picture.take(instant) {
            line.send(&playback.picture()).await?;
        }
        let done = tokio::select! {
            heard = line.next(shared) => match heard? {
                Heard::Answer(frame) => { line.put(frame).await?; continue; }
                Heard::Nothing => continue,
                Heard::Ask(ask) => {
                    due = Stepper::fresh();
                    playback.obey(&ask).await
                }
            },
            _ = steps.tick() => due.pass(&mut playback).await,
        };
        if let Err(error) = done {
            // The store is being rebuilt, or was set aside: the page reconnects and finds what there is.
            tracing::warn!(%error, "a replay could not read the store");
            return Err(Gone);
        }
    }
}
