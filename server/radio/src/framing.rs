//! How a stream of bytes is cut into frames.
//!
//! A folder with a file per framing, all of one shape: what the standard says, a look at the bytes not yet cut
//! (`look`), tests with real bytes. The looks are pure; [`Splitter`] carries the bytes from one call to the next, keeps
//! account of those that belong to no frame, and gives the same frames however the stream arrives in pieces.
//! Must not know: what a payload means, clocks, threads.

mod baud;
mod catalogue;
mod check;
mod cobs;
mod crc;
mod fixed;
mod guess;
mod kiss;
mod lines;
mod look;
mod recent;
mod run;
mod search;
mod slip;
mod splitter;
mod sums;
mod sync;
#[cfg(test)]
mod testing;
mod wrong;

use serde::{Deserialize, Serialize};

pub use self::baud::{Rate, rate};
pub use self::check::FramingProblem;
pub(crate) use self::crc::Parameters;
pub use self::crc::UnknownCrc;
pub use self::guess::{Guess, guess};
pub use self::splitter::{Frame, Hints, Splitter};
pub use self::sums::Sums;
pub use self::wrong::Wrong;

/// How frames are cut and checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Framing {
    /// The way of cutting.
    pub cut: Cut,
    /// CRC at the end of the payload: name in the public CRC catalogue and byte order of the stored value.
    pub crc: Option<Crc>,
    /// Longest frame, bytes, delimiters not counted.
    pub max_length: usize,
}

/// A CRC.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Crc {
    /// Catalogue name, e.g. `CRC-16/IBM-3740`.
    pub name: String,
    /// Whether the stored value is big-endian.
    pub big_endian: bool,
}

/// Ways of cutting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cut {
    /// Lines ending in CR, LF or both.
    Lines {
        /// XOR checksum after `*`, two hex digits, over what stands between a leading `$` or `!` (if any) and `*`.
        checksum: LineChecksum,
    },
    /// Consistent overhead byte stuffing, zero-delimited.
    Cobs,
    /// RFC 1055.
    Slip,
    /// Data frames of a terminal node controller: SLIP with a byte for port and command in front.
    Kiss,
    /// Sync word, then a length, then the payload, then the CRC if any.
    Sync {
        /// The sync bytes.
        sync: Vec<u8>,
        /// Width and order of the length.
        length: LengthField,
        /// What the length counts.
        counts: LengthCounts,
        /// What the CRC covers.
        crc_covers: CrcCovers,
    },
    /// Fixed length, optionally beginning with a sync word.
    Fixed {
        /// Whole frame, bytes, sync and CRC included.
        length: usize,
        /// Bytes that must stand at the front; they are part of the payload's front and are taken off it.
        sync: Vec<u8>,
        /// What the CRC covers (`length+payload` does not apply).
        crc_covers: CrcCovers,
    },
}

/// Whether lines carry a checksum.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineChecksum {
    /// Never; `*` is text.
    None,
    /// Checked where present.
    Optional,
    /// Every line must have it.
    Xor,
}

/// Width and byte order of a length field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LengthField {
    /// One byte.
    U8,
    /// Two bytes, little-endian.
    U16Le,
    /// Two bytes, big-endian.
    U16Be,
}

/// What a length field counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LengthCounts {
    /// The payload alone.
    Payload,
    /// Payload and CRC.
    PayloadAndCrc,
    /// The whole frame, sync word and length included.
    Whole,
}

/// What a CRC covers in frames with a sync word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CrcCovers {
    /// The payload alone.
    Payload,
    /// Length field and payload.
    LengthAndPayload,
    /// Everything before the CRC, sync word included.
    All,
}
