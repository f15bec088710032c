//! What goes in: everything that was recorded, in the order of its numbers.

use serde::{Deserialize, Serialize};

use crate::output::Accepted;
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
    /// The setup from here on, as its file was changed on the station's machine.
    SetupChange(Box<Setup>),
    /// The setup from here on, as a crew member told it from a page.
    SetupByCrew {
        /// The setup.
        setup: Box<Setup>,
        /// Who.
        who: String,
    },
    /// A crew member marked an event.
    Mark {
        /// Label.
        label: String,
        /// When it happened, station time ns.
        at_ns: i64,
        /// Who.
        who: String,
    },
    /// A crew member corrected a mark: what it is called, and when it happened.
    CorrectMark {
        /// Number of the flight; of another flight than the one that is open, or was the last, nothing is changed.
        flight: u32,
        /// Number of the mark, as its event has it.
        id: u32,
        /// Label.
        label: String,
        /// When it happened, station time ns.
        at_ns: i64,
        /// Who corrected it.
        who: String,
    },
    /// A crew member took a mark back.
    WithdrawMark {
        /// As in `CorrectMark`.
        flight: u32,
        /// Number of the mark.
        id: u32,
        /// Who took it back.
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
    /// A crew member accepted for this flight what is not within limits, or took that back.
    Accept(Box<Accepted>),
    /// A crew member told something about a flight that no figure depends on. The engine passes it over; the station
    /// reads it back.
    Remark {
        /// An instant of the flight, station time ns: its number may be another one when a newer engine counts flights.
        at_ns: i64,
        /// What.
        remark: Remark,
        /// Who.
        who: String,
    },
    /// A setup that was mended afterwards: whenever inputs are computed again, it stands in place of those told in the inputs
    /// `of`, which stay as they were written. The station puts it there as it reads them; the engine passes this one over.
    MendSetup {
        /// The setup.
        setup: Box<Setup>,
        /// Numbers of inputs that told a setup.
        of: Vec<u64>,
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
    /// From a remote receiver, which keeps what it receives and passes it on, in order and each piece once.
    Relayed {
        /// Name of the link here.
        link: String,
        /// Where and when it was taken in over there.
        stamp: RelayStamp,
        /// What it is.
        news: RelayNews,
    },
}

/// What is told about a flight beside its figures. The newest of a kind holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Remark {
    /// What it is called.
    Name(String),
    /// Notes.
    Notes(String),
    /// Where each camera's footage stands in time.
    Footage(Vec<Footage>),
    /// It is to be deleted when the station is next started.
    Delete,
    /// It is not to be deleted after all.
    Restore,
}

/// How one camera's footage stands in time. The film itself stays where it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Footage {
    /// What the camera is called.
    pub camera: String,
    /// Name of the file, without its folder.
    pub file: String,
    /// Frames a second as a fraction, such as 30000/1001.
    pub rate: [u32; 2],
    /// One or two moments: seconds of footage and the station time (ns) that they show. Two tell its clock's drift.
    pub moments: Vec<(f64, i64)>,
}

/// What the far end's store says of an input that it passed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RelayStamp {
    /// Station time of the first input of the far end's store, ns of its clock: tells stores apart.
    pub store: i64,
    /// The input's number in that store. Grows; inputs of other links make gaps.
    pub number: u64,
    /// The input's station time there, ns of the far end's clock.
    pub far_ns: i64,
    /// The same instant on this station's clock, by the clock difference known when it came in, ns; never after the
    /// input's own `t_ns`, and never before that of the link's input before it.
    pub heard_ns: i64,
}

/// What a remote receiver passes on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RelayNews {
    /// Bytes as the far end read them in one piece.
    Bytes(Vec<u8>),
    /// The far end's own link came up or went down.
    LinkState {
        /// Whether it is up.
        up: bool,
        /// Why, in words.
        reason: String,
    },
    /// The far end started (again).
    Started,
    /// The far end received bytes and could not keep them.
    Lost {
        /// How many.
        bytes: u64,
        /// Why, in words.
        reason: String,
    },
}

impl What {
    /// The setup that it tells, if it tells one.
    pub fn setup(&self) -> Option<&Setup> {
        match self {
            Self::SetupChange(setup) | Self::SetupByCrew { setup, .. } => Some(setup),
            _ => None,
        }
    }
}
