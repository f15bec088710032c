//! A remote receiver: a station at the far end of the range that keeps what it receives, like any other, and passes what
//! it has kept on to this one over TCP, however often that breaks.
//!
//! The far end calls (`far.rs`), the near end waits (`links/relay.rs`). After both have shown that they know the key, the
//! near end says the number of the newest input that it has, and the far end goes on behind it, reading from its own
//! store: nothing is passed on that is not on the far end's disk. The near end says what is on its own disk; the far end
//! has at most [`WINDOW_BYTES`] under way beyond that. So a break, a kill of either end or of both costs nothing, and
//! nothing comes twice.

mod difference;
mod far;
mod key;
mod passing;
mod said;
#[cfg(test)]
mod tests;
mod way;
mod wire;

/// Replays the corpus of the fuzz target.
#[cfg(test)]
#[path = "../../../../tests/fuzz/check/relay.rs"]
pub(crate) mod check;

pub(crate) use difference::Estimate;
pub(crate) use far::{Caller, PassOn};
pub(crate) use key::{make, read};
pub(crate) use passing::{Board, Passing, count};
pub(crate) use said::{About, FromFar, FromNear, Passed};
pub(crate) use way::{Way, answer};

/// Most payload that is under way and not yet on the near end's disk, bytes.
pub(crate) const WINDOW_BYTES: usize = 256 * 1024;
