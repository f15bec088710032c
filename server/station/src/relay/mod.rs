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
#[cfg(test)]
mod tests;
mod way;
mod wire;

use loftwatch_engine::RelayNews;
use serde::{Deserialize, Serialize};

pub(crate) use difference::Estimate;
pub(crate) use far::{Caller, PassOn};
pub(crate) use key::{make, read};
pub(crate) use way::{Way, answer};

/// Most payload that is under way and not yet on the near end's disk, bytes.
pub(crate) const WINDOW_BYTES: usize = 256 * 1024;

/// One input that is passed on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Passed {
    /// Its number in the far end's store.
    pub(crate) number: u64,
    /// Its station time there, ns.
    pub(crate) far_ns: i64,
    /// What it is.
    pub(crate) news: RelayNews,
}

/// What the far end says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) enum FromFar {
    /// First: which store it is.
    Hello {
        /// Station time of its first input, ns.
        store: i64,
    },
    /// Some inputs, in order.
    Inputs(Vec<Passed>),
    /// It is there.
    Tick,
}

/// What the near end says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) enum FromNear {
    /// First: the number of the newest input that it has of this store, 0 for none.
    Welcome {
        /// The number.
        after: u64,
    },
    /// Up to this number all is on its disk.
    Kept {
        /// The number.
        up_to: u64,
    },
    /// It is there.
    Tick,
}
