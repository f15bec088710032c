//! What both ends say, inside of the messages.

use loftwatch_engine::RelayNews;
use serde::{Deserialize, Serialize};

/// What is about every message: sent when, and the newest message of the other side, when sent and when it came.
pub(crate) type About = (i64, Option<(i64, i64)>);

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
