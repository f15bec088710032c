//! What can be wrong with a framing as told, before a byte comes in.

use super::{Crc, CrcCovers, Cut, Framing, UnknownCrc};

/// A mistake in a framing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FramingProblem {
    /// The CRC's name is not in the catalogue.
    #[error(transparent)]
    Crc(#[from] UnknownCrc),
    /// The greatest length leaves no room for a payload.
    #[error("a greatest length of {max_length} bytes leaves no room: {least} are needed")]
    NoRoom {
        /// As told.
        max_length: usize,
        /// Least that makes sense.
        least: usize,
    },
    /// The greatest length is more than a frame can need.
    #[error("a greatest length of {max_length} bytes; at most {most} are allowed")]
    TooLarge {
        /// As told.
        max_length: usize,
        /// Most allowed.
        most: usize,
    },
    /// A sync framing without a sync word.
    #[error("a sync word is needed, such as `A5 5A`")]
    NoSync,
    /// A sync word that is too long.
    #[error("a sync word of {bytes} bytes; at most 16 are allowed")]
    LongSync {
        /// As told.
        bytes: usize,
    },
    /// A fixed length that does not hold its own sync word, CRC and one byte.
    #[error(
        "a fixed length of {length} bytes does not hold sync word, CRC and a payload: {least} are needed"
    )]
    FixedTooShort {
        /// As told.
        length: usize,
        /// Least that makes sense.
        least: usize,
    },
    /// The CRC of a fixed frame cannot cover a length that it does not have.
    #[error("a fixed frame has no length field for the CRC to cover")]
    NoLengthField,
}

/// Most that a frame may have, bytes: above the 64 KiB that a two-byte length can say, and little enough for memory.
const MOST: usize = 128 * 1024;

impl Framing {
    /// All mistakes, none if it can be used.
    pub fn check(&self) -> Vec<FramingProblem> {
        let mut problems = Vec::new();
        let stored = match self.crc.as_ref().map(Crc::stored_bytes) {
            None => 0,
            Some(Ok(bytes)) => bytes,
            Some(Err(unknown)) => {
                problems.push(unknown.into());
                0
            }
        };
        let least = match &self.cut {
            Cut::Lines { .. } => 1,
            Cut::Cobs | Cut::Kiss => stored + 2,
            Cut::Slip => stored + 1,
            Cut::Sync { sync, length, .. } => {
                check_sync(sync, &mut problems);
                if sync.is_empty() {
                    problems.push(FramingProblem::NoSync);
                }
                sync.len() + length.bytes() + stored + 1
            }
            Cut::Fixed { length, sync, crc_covers } => {
                check_sync(sync, &mut problems);
                let least = sync.len() + stored + 1;
                if *length < least {
                    problems.push(FramingProblem::FixedTooShort { length: *length, least });
                }
                if *crc_covers == CrcCovers::LengthAndPayload {
                    problems.push(FramingProblem::NoLengthField);
                }
                (*length).clamp(1, MOST)
            }
        };
        if self.max_length < least {
            problems.push(FramingProblem::NoRoom { max_length: self.max_length, least });
        }
        if self.max_length > MOST {
            problems.push(FramingProblem::TooLarge { max_length: self.max_length, most: MOST });
        }
        problems
    }
}

fn check_sync(sync: &[u8], problems: &mut Vec<FramingProblem>) {
    if sync.len() > 16 {
        problems.push(FramingProblem::LongSync { bytes: sync.len() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn framing(cut: Cut, crc: Option<&str>, max_length: usize) -> Framing {
        Framing { cut, crc: crc.map(|name| Crc { name: name.to_owned(), big_endian: false }), max_length }
    }

    #[test]
    fn good_framings_have_no_problem() {
        assert_eq!(framing(Cut::Cobs, Some("CRC-16/IBM-3740"), 1024).check(), []);
        assert_eq!(
            framing(Cut::Fixed { length: 32, sync: vec![0xa5], crc_covers: CrcCovers::All }, None, 32)
                .check(),
            []
        );
    }

    #[test]
    fn every_mistake_is_told_at_once() {
        let fixed = Cut::Fixed { length: 4, sync: vec![0xa5, 0x5a], crc_covers: CrcCovers::LengthAndPayload };
        let problems = framing(fixed, Some("CRC-16/XMODEN"), 2).check();
        assert_eq!(problems.len(), 3, "{problems:?}");
        assert!(problems[0].to_string().contains("did you mean \"CRC-16/XMODEM\""));
        let fixed = Cut::Fixed { length: 4, sync: vec![0xa5, 0x5a], crc_covers: CrcCovers::All };
        assert_eq!(
            framing(fixed, Some("CRC-16/XMODEM"), 99).check(),
            [FramingProblem::FixedTooShort { length: 4, least: 5 }]
        );
    }
}
