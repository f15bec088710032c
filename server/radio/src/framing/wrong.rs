//! Why bytes are no good frame: a reason with its figures. A wrong frame is data to keep and count, not an error.

use serde::{Deserialize, Serialize};

/// What is wrong with a frame.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Wrong {
    /// The checksum does not fit the bytes.
    #[error("checksum {} where the bytes give {}", hex(*found, *digits), hex(*expected, *digits))]
    Checksum {
        /// Computed from the bytes.
        expected: u64,
        /// What the frame says.
        found: u64,
        /// Hexadecimal digits of the checksum.
        digits: u8,
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
    /// A KISS frame that carries no data, but a setting or nothing known.
    #[error("KISS command {command} carries no data")]
    KissCommand {
        /// The command, 0 to 15.
        command: u8,
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

/// A checksum with all its digits, leading zeros too.
fn hex(value: u64, digits: u8) -> String {
    format!("{value:0digits$X}", digits = usize::from(digits))
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
            Self::KissCommand { .. } => "kiss command",
            Self::NotText { .. } => "not text",
            Self::Garbage { .. } => "garbage",
            Self::Partial { .. } => "partial",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Wrong;

    #[test]
    fn a_checksum_is_written_with_all_its_digits() {
        let said = |expected, found, digits| Wrong::Checksum { expected, found, digits }.to_string();
        assert_eq!(said(0, 0x0a, 2), "checksum 0A where the bytes give 00");
        assert_eq!(said(0x29b1, 0xb1, 4), "checksum 00B1 where the bytes give 29B1");
        assert_eq!(said(0x7, 0x3, 1), "checksum 3 where the bytes give 7");
    }
}
