//! Why bytes are no good frame: a reason with its figures. A wrong frame is data to keep and count, not an error.

use serde::{Deserialize, Serialize};

/// What is wrong with a frame.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Wrong {
    /// The checksum does not fit the bytes.
    #[error("checksum {found:X} where the bytes give {expected:X}")]
    Checksum {
        /// Computed from the bytes.
        expected: u64,
        /// What the frame says.
        found: u64,
    },
    /// A line without the checksum that it must have, or with something that is none after `*`.
    #[error("no checksum after `*`")]
    NoChecksum,
    /// No end within the greatest length. A long run is reported in parts, each with its own bytes.
    #[error("no end within {limit} bytes ({bytes} bytes passed over)")]
    TooLong {
        /// Greatest length, bytes.
        limit: usize,
        /// Bytes passed over in this report.
        bytes: u64,
    },
    /// Shorter than its own checksum.
    #[error("{length} bytes where at least {least} are needed")]
    TooShort {
        /// Bytes there.
        length: usize,
        /// Bytes needed.
        least: usize,
    },
    /// A length field that cannot be true.
    #[error("a declared length of {declared} where {least} to {most} are possible")]
    BadLength {
        /// What the length field says.
        declared: usize,
        /// Least possible.
        least: usize,
        /// Most possible.
        most: usize,
    },
    /// A frame in which the next one begins.
    #[error("{seen} of {length} bytes, then the next frame")]
    CutShort {
        /// Bytes that it should have.
        length: usize,
        /// Bytes before the next frame.
        seen: usize,
    },
    /// A COBS code that points past the end of the frame.
    #[error("COBS code at byte {at} points past the end")]
    Cobs {
        /// Where, in the frame as received.
        at: usize,
    },
    /// A SLIP escape that is followed by neither of its two partners.
    #[error("SLIP escape at byte {at} is followed by {found:?}")]
    Slip {
        /// Where, in the frame as received.
        at: usize,
        /// What follows, nothing at the end of the frame.
        found: Option<u8>,
    },
    /// A line with a byte that is no text.
    #[error("byte {byte:02X} at {at} is no text")]
    NotText {
        /// Where, in the line as received.
        at: usize,
        /// The byte.
        byte: u8,
    },
    /// Bytes between frames.
    #[error("{bytes} bytes between frames")]
    Garbage {
        /// How many.
        bytes: u64,
    },
    /// The link restarted within a frame.
    #[error("the link restarted after {bytes} bytes of a frame")]
    Partial {
        /// Bytes received of it.
        bytes: u64,
    },
}

impl Wrong {
    /// A short, stable name for counting.
    pub const fn reason(&self) -> &'static str {
        match self {
            Self::Checksum { .. } => "checksum",
            Self::NoChecksum => "no checksum",
            Self::TooLong { .. } => "too long",
            Self::TooShort { .. } => "too short",
            Self::BadLength { .. } => "bad length",
            Self::CutShort { .. } => "cut short",
            Self::Cobs { .. } => "cobs",
            Self::Slip { .. } => "slip",
            Self::NotText { .. } => "not text",
            Self::Garbage { .. } => "garbage",
            Self::Partial { .. } => "partial",
        }
    }
}
