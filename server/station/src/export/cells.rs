//! Cells of a table, and the stream that carries it.

use axum::body::{Body, Bytes};
use csv::{Terminator, Writer, WriterBuilder};
use jiff::Timestamp;
use tokio::sync::mpsc;

/// A piece of the stream, bytes: large enough to be worth a write, small enough to keep nothing waiting.
const PIECE_BYTES: usize = 32 * 1024;
/// Pieces that may wait for a slow reader; then reading the store waits too.
const PIECES_AHEAD: usize = 4;

/// Text as a cell: what a spreadsheet would take for a formula is defused.
pub(super) fn text(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// A figure as a cell, with all its digits; empty when it is none.
pub(super) fn number(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { String::new() }
}

/// A figure rounded to so many decimals.
pub(super) fn rounded(value: f64, decimals: usize) -> String {
    if value.is_finite() { format!("{value:.decimals$}") } else { String::new() }
}

/// UTC as in RFC 3339, to the microsecond.
pub(super) fn utc(utc_ns: i64) -> String {
    Timestamp::from_nanosecond(i128::from(utc_ns)).map(|instant| format!("{instant:.6}")).unwrap_or_default()
}

/// Seconds, to the microsecond, from nanoseconds: exact, unlike a float of this size.
pub(super) fn seconds(t_ns: i64) -> String {
    format!("{}.{:06}", t_ns.div_euclid(1_000_000_000), t_ns.rem_euclid(1_000_000_000) / 1_000)
}

/// Rows on their way to a reader.
#[derive(Debug)]
pub(super) struct Table {
    rows: Writer<Vec<u8>>,
    pieces: mpsc::Sender<std::io::Result<Bytes>>,
}

/// Why a table ends early.
#[derive(Debug)]
pub(super) enum Cut {
    /// The reader has gone.
    ReaderGone,
    /// The store could not be read on.
    Store(sqlx::Error),
}

impl From<sqlx::Error> for Cut {
    fn from(error: sqlx::Error) -> Self {
        Self::Store(error)
    }
}

impl Table {
    /// Adds a row.
    pub(super) async fn row<I: AsRef<[u8]>>(
        &mut self,
        cells: impl IntoIterator<Item = I>,
    ) -> Result<(), Cut> {
        // A Vec takes every byte, and rows of one table have equal lengths.
        self.rows.write_record(cells).map_err(|_| Cut::ReaderGone)?;
        if self.rows.get_ref().len() >= PIECE_BYTES { self.pass_on().await } else { Ok(()) }
    }

    async fn pass_on(&mut self) -> Result<(), Cut> {
        let full = std::mem::replace(&mut self.rows, writer());
        let piece = full.into_inner().map_err(|_| Cut::ReaderGone)?;
        self.pieces.send(Ok(piece.into())).await.map_err(|_| Cut::ReaderGone)
    }
}

/// A body that is filled row by row while it is read. If the store fails in between, the body breaks off, so that a
/// half table is not taken for a whole one.
pub(super) fn body<F>(fill: impl FnOnce(Table) -> F + Send + 'static) -> Body
where
    F: Future<Output = Result<Table, Cut>> + Send + 'static,
{
    let (pieces, received) = mpsc::channel(PIECES_AHEAD);
    let table = Table { rows: writer(), pieces: pieces.clone() };
    let filling = fill(table);
    tokio::spawn(async move {
        let ended = match filling.await {
            Ok(mut table) => table.pass_on().await,
            Err(cut) => Err(cut),
        };
        if let Err(Cut::Store(error)) = ended {
            tracing::warn!(%error, "a table broke off: the store could not be read on");
            let _ = pieces.send(Err(std::io::Error::other("the store could not be read on"))).await;
        }
    });
    Body::from_stream(futures_util::stream::unfold(received, |mut received| async move {
        received.recv().await.map(|piece| (piece, received))
    }))
}

fn writer() -> Writer<Vec<u8>> {
    WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::with_capacity(PIECE_BYTES + 4096))
}
