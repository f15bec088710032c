//! One open web socket: sends text, reads what the page asks, and finds out when nobody is there any more.
//!
//! Who answers no ping for 30 s is dropped, and so is who takes no byte for that long. A reader that falls behind
//! holds up only its own task: it asks for the next message when the last one has left, and gets the newest.

use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message as Frame, Utf8Bytes, WebSocket, WebSocketUpgrade, close_code};
use tokio::time::{Instant, Interval, MissedTickBehavior, interval, timeout};

use crate::messages::{Ask, Message, Pong};
use crate::shared::Shared;

/// A socket that has sent nothing for so long is dropped.
const DROP_AFTER: Duration = Duration::from_secs(30);
/// How often a ping is sent.
const PING_EVERY: Duration = Duration::from_secs(10);

/// Sets the limits of a socket. A read buffer of 4 KiB instead of 128 saves nearly all of a socket's memory; the
/// write buffer is flushed after each message in any case.
pub(super) fn limits(upgrade: WebSocketUpgrade) -> WebSocketUpgrade {
    upgrade
        .read_buffer_size(4 * 1024)
        .write_buffer_size(0)
        .max_message_size(4 * 1024)
        .max_frame_size(4 * 1024)
}

/// An open socket.
#[derive(Debug)]
pub(super) struct Line {
    socket: WebSocket,
    heard: Instant,
    pings: Interval,
}

/// What happened on a socket.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Heard {
    /// To be sent.
    Answer(Frame),
    /// The page asks for something else than the time.
    Ask(Ask),
    /// Nothing to act on.
    Nothing,
}

/// The socket has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gone;

impl Line {
    /// Takes over an open socket.
    pub(super) fn new(socket: WebSocket) -> Self {
        let mut pings = interval(PING_EVERY);
        pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
        Self { socket, heard: Instant::now(), pings }
    }

    /// Sends one text.
    pub(super) async fn send(&mut self, text: Utf8Bytes) -> Result<(), Gone> {
        self.put(Frame::Text(text)).await
    }

    /// Waits for the page, or for the next ping to be due. Can be dropped while it waits without losing anything.
    pub(super) async fn next(&mut self, shared: &Shared) -> Result<Heard, Gone> {
        let frame = tokio::select! {
            frame = self.socket.recv() => frame,
            _ = self.pings.tick() => {
                if self.heard.elapsed() > DROP_AFTER {
                    return Err(Gone);
                }
                return Ok(Heard::Answer(Frame::Ping(axum::body::Bytes::new())));
            }
        };
        let Some(Ok(frame)) = frame else { return Err(Gone) };
        self.heard = Instant::now();
        let Frame::Text(text) = frame else { return Ok(Heard::Nothing) };
        match serde_json::from_str(&text) {
            Ok(Ask::Ping { id, sent_ms }) => {
                let t_s = (shared.clock.now_ns() as f64 / 1e6).round() / 1e3;
                let pong = Message::Pong(Pong { id, sent_ms, t_s });
                Ok(Heard::Answer(Frame::Text(crate::hub::json_text(&pong).into())))
            }
            Ok(ask) => Ok(Heard::Ask(ask)),
            Err(error) => {
                tracing::debug!(%error, "a socket said what was not understood");
                Ok(Heard::Nothing)
            }
        }
    }

    /// Says that the station ends.
    pub(super) async fn goodbye(mut self) {
        let frame = CloseFrame { code: close_code::AWAY, reason: Utf8Bytes::from_static("the station ends") };
        let _ = timeout(Duration::from_secs(1), self.socket.send(Frame::Close(Some(frame)))).await;
    }

    /// Sends one frame.
    pub(super) async fn put(&mut self, frame: Frame) -> Result<(), Gone> {
        match timeout(DROP_AFTER, self.socket.send(frame)).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(_)) | Err(_) => Err(Gone),
        }
    }
}
