//! What a framing says after a look at the bytes that are not yet cut.

use std::ops::Range;

use super::Wrong;
use super::crc::Check;
use super::recent::Recent;
use crate::layout::Packet;

/// The outcome of a look. Positions count from the first byte not yet cut.
#[derive(Debug)]
pub(super) enum Look {
    /// More bytes are needed before anything can be said.
    More,
    /// These leading bytes are bare delimiters: nothing to report.
    Delimiter(usize),
    /// These leading bytes belong to no frame.
    Drop(usize, Option<Suspect>),
    /// The bytes up to a delimiter belong to no frame, and the run of such bytes ends with it.
    Void {
        /// Bytes before the delimiter.
        bytes: usize,
        /// With the delimiter.
        used: usize,
    },
    /// A frame, good or wrong.
    Frame {
        /// Its bytes as received; what stands before them belongs to no frame.
        raw: Range<usize>,
        /// Bytes used up, delimiters included.
        used: usize,
        /// What it carries.
        payload: Result<Payload, Wrong>,
    },
}

/// A frame that began but did not hold: its bytes are passed over one at a time, as a good frame may begin in them.
#[derive(Debug)]
pub(super) struct Suspect {
    pub(super) why: Wrong,
    /// How many bytes it would have had, if that is known.
    pub(super) length: Option<usize>,
}

/// Where a payload stands.
#[derive(Debug)]
pub(super) enum Payload {
    /// In the bytes as received.
    Raw(Range<usize>),
    /// At the front of the scratch buffer.
    Scratch(usize),
}

/// What a look may need to know besides the bytes.
pub(super) struct Around<'a> {
    pub(super) check: Option<&'a Check>,
    pub(super) max_length: usize,
    /// The front of the bytes is not the front of a frame: something before was passed over.
    pub(super) torn: bool,
    /// The byte before the front was the last of a good frame.
    pub(super) in_step: bool,
    /// No more bytes will come: the link restarted.
    pub(super) ended: bool,
    /// Lengths of payloads (CRC included) seen in good frames or told.
    pub(super) recent: &'a Recent,
    /// Packets of the link's layouts.
    pub(super) packets: &'a [Packet],
    /// Bytes before the payload that the CRC covers with it.
    pub(super) front: usize,
    /// What every line begins with, if told.
    pub(super) starts: &'a [String],
    pub(super) scratch: &'a mut Vec<u8>,
    /// Bytes at the front known to hold no delimiter.
    pub(super) searched: usize,
}
