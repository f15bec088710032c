//! Plays a recording piece by piece at its own pace, or faster.

use std::io::{BufRead, BufReader};
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use flate2::read::GzDecoder;
use serde::Deserialize;

use super::embedded::Embedded;
use super::terminals::Terminals;
use crate::failure::Failure;

/// A piece of bytes as a receiver handed it over.
#[derive(Debug)]
pub(super) struct Piece {
    /// Since the first piece.
    at: Duration,
    /// The link that carried it.
    pub(super) link: String,
    bytes: Vec<u8>,
}

#[derive(Deserialize)]
struct Row {
    t_receive: f64,
    link: String,
    bytes: String,
}

/// Reads a demo's recording.
pub(super) fn read(demo: &Embedded) -> Result<Vec<Piece>, Failure> {
    let wrong = |error: &dyn std::fmt::Display| {
        Failure::other(format!("the recording of the demo flight `{}` cannot be read: {error}", demo.name))
    };
    let mut pieces = Vec::new();
    let mut first_s = None;
    for line in BufReader::new(GzDecoder::new(demo.recording)).lines() {
        let line = line.map_err(|error| wrong(&error))?;
        let row: Row = serde_json::from_str(&line).map_err(|error| wrong(&error))?;
        let since_s = row.t_receive - *first_s.get_or_insert(row.t_receive);
        let bytes = STANDARD.decode(&row.bytes).map_err(|error| wrong(&error))?;
        pieces.push(Piece { at: Duration::from_secs_f64(since_s.max(0.0)), link: row.link, bytes });
    }
    Ok(pieces)
}

/// Plays all pieces once.
pub(super) async fn play(terminals: &mut Terminals, pieces: &[Piece], speed: f64) {
    let started = Instant::now();
    for piece in pieces {
        let due = started + piece.at.div_f64(speed);
        tokio::time::sleep_until(due.into()).await;
        terminals.write(&piece.link, &piece.bytes);
    }
}
