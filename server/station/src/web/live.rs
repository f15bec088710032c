//! `/api/socket`: what happens, as it happens.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::crowd::{Crowd, Seat};
use super::socket::{Gone, Heard, Line, Opening};
use crate::shared::Shared;

/// Opens the socket.
pub(super) async fn open(State(shared): State<Arc<Shared>>, opening: Opening) -> Response {
    opening.open(move |line| follow(line, shared))
}

async fn follow(mut line: Line, shared: Arc<Shared>) {
    let mut ending = shared.ending.clone();
    let ended = tokio::select! {
        result = talk(&mut line, &shared) => result,
        _ = ending.wait_for(|ending| *ending) => Ok(()),
    };
    if ended.is_ok() {
        line.goodbye().await;
    }
}

async fn talk(line: &mut Line, shared: &Shared) -> Result<(), Gone> {
    match line.seat() {
        Some(seat) => sit(line, &seat, &shared.crowd, shared).await,
        None => follow_alone(line, shared).await,
    }
}

/// Among the crowd: all is written by its thread, but for what somebody does not take at once and what is answered.
pub(super) async fn sit(
    line: &mut Line,
    seat: &Arc<Seat>,
    crowd: &Crowd,
    shared: &Shared,
) -> Result<(), Gone> {
    crowd.join(seat);
    loop {
        while let Some(rest) = crowd.next(seat) {
            line.send_rest(&rest).await?;
        }
        let heard = tokio::select! {
            () = seat.called() => continue,
            heard = line.next(shared) => heard?,
        };
        if let Heard::Answer(frame) = heard {
            if let Some(rest) = seat.take_pen() {
                line.send_rest(&rest).await?;
            }
            line.put(frame).await?;
        }
    }
}

async fn follow_alone(line: &mut Line, shared: &Shared) -> Result<(), Gone> {
    let mut newest = shared.hub.follow();
    newest.now.mark_changed();
    newest.picture.mark_changed();
    newest.story.mark_changed();
    loop {
        // Each message is the newest there is when its turn comes; the quick one goes before the large ones.
        let text = tokio::select! {
            biased;
            Ok(()) = newest.now.changed() => newest.now.borrow_and_update().clone(),
            Ok(()) = newest.story.changed() => newest.story.borrow_and_update().clone(),
            Ok(()) = newest.picture.changed() => newest.picture.borrow_and_update().clone(),
            heard = line.next(shared) => {
                if let Heard::Answer(frame) = heard? {
                    line.put(frame).await?;
                }
                continue;
            }
        };
        line.send(&text).await?;
    }
}
