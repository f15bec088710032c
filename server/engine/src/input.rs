//! What goes in: everything that was recorded, in the order of its numbers.

use serde::{Deserialize, Serialize};

use crate::setup::Setup;

/// One recorded input.
///
/// `t_ns` is station time: nanoseconds that start near UTC when the station starts, never step and never go back,
/// also across restarts. `utc_ns` is the wall clock beside it, which may step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Input {
    /// Number, from 1, without gaps: the order.
    pub number: u64,
    /// Station time, ns.
    pub t_ns: i64,
    /// Wall clock, UTC ns since 1970.
    pub utc_ns: i64,
    /// What came in.
    pub what: What,
}

/// The kinds of input.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// Bytes from a link, exactly as read in one piece.
    Bytes {
        /// Name of the link.
        link: String,
        /// The bytes.
        bytes: Vec<u8>,
    },
    /// A link came up or went down, with the reason in words.
    LinkState {
        /// Name of the link.
        link: String,
        /// Whether it is up.
        up: bool,
        /// Why.
        reason: String,
    },
    /// The setup from here on.
    SetupChange(Box<Setup>),
    /// A crew member marked an event.
    Mark {
        /// Label.
        label: String,
        /// When it happened, station time ns.
        at_ns: i64,
        /// Who.
        who: String,
    },
    /// A crew member named the flight.
    NameFlight {
        /// Name.
        name: String,
        /// Who.
        who: String,
    },
    /// A crew member ended the flight.
    EndFlight {
        /// Who.
        who: String,
    },
    /// The station started (again): links' half frames are void.
    Started,
    /// Bytes of a link that were received and could not be kept (memory full, disk full too long): the link's
    /// half frame is void, and its byte offsets go on after the gap.
    Lost {
        /// Name of the link.
        link: String,
        /// How many bytes.
        bytes: u64,
        /// Why, in words.
        reason: String,
    },
}
