//! Account of a run of bytes that belong to no frame.
//!
//! A run is reported when it ends: at the next frame or delimiter. A run without an end would never be spoken of, so
//! that parts of it are reported at set lengths: at the greatest frame length, then at 1 MiB and each doubling. A
//! line of 1 GB gives a dozen reports, whatever the pieces it comes in.

use serde::{Deserialize, Serialize};

use super::Wrong;

/// First length after the greatest frame length at which a part is reported, bytes. Common practice, no source: at
/// 115200 baud it is a minute and a half of noise.
const FIRST_PART: u64 = 1 << 20;

/// Bytes passed over since the last frame.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Run {
    /// First bytes of the part not yet reported, at most the greatest frame length.
    head: Vec<u8>,
    /// Bytes of the part not yet reported.
    bytes: u64,
    /// Bytes of the whole run.
    total: u64,
    /// What the first frame that did not hold was, if it was one.
    why: Option<Wrong>,
    /// Bytes of this part that belong to it; the part ends there.
    ends_at: Option<u64>,
    /// Reported for want of an end rather than as noise.
    too_long: bool,
}

/// A finished part of a run.
pub(super) struct Part {
    pub(super) head: Vec<u8>,
    pub(super) bytes: u64,
    pub(super) why: Wrong,
}

impl Run {
    /// Whether bytes have been passed over since the last frame or delimiter, reported or not.
    pub(super) fn is_open(&self) -> bool {
        self.total > 0
    }

    /// A frame that does not hold begins at the next byte. True if the part before it is to be reported first.
    pub(super) fn wants_break(&self) -> bool {
        self.bytes > 0 && self.ends_at.is_none()
    }

    /// Notes why the coming bytes are passed over, unless they belong to an earlier wrong frame.
    pub(super) fn suspect(&mut self, why: Wrong, length: Option<usize>) {
        if self.bytes == 0 {
            self.why = Some(why);
            self.ends_at = length.map(|length| length as u64);
        }
    }

    /// How many of the coming bytes belong to the present part.
    pub(super) fn room(&self, limit: usize) -> u64 {
        let mut mark = limit as u64;
        if self.total >= mark {
            mark = FIRST_PART.max(mark.saturating_add(1));
            while mark <= self.total {
                mark = mark.saturating_mul(2);
            }
        }
        let to_mark = mark - self.total;
        self.ends_at.map_or(to_mark, |end| to_mark.min(end.saturating_sub(self.bytes).max(1)))
    }

    /// Takes bytes, at most [`Self::room`] of them. True if the part is complete.
    pub(super) fn take(&mut self, bytes: &[u8], limit: usize) -> bool {
        let full = bytes.len() as u64 >= self.room(limit);
        let kept = limit.saturating_sub(self.head.len()).min(bytes.len());
        self.head.extend_from_slice(&bytes[..kept]);
        self.bytes += bytes.len() as u64;
        self.total += bytes.len() as u64;
        full
    }

    /// Says that the run is an unfinished frame longer than allowed.
    pub(super) fn mark_too_long(&mut self) {
        self.too_long = true;
    }

    /// Gives the part out, if there is one.
    pub(super) fn part(&mut self, limit: usize) -> Option<Part> {
        if self.bytes == 0 {
            return None;
        }
        let bytes = std::mem::take(&mut self.bytes);
        self.ends_at = None;
        let why = self.why.take().unwrap_or(if self.too_long {
            Wrong::TooLong { limit, bytes }
        } else {
            Wrong::Garbage { bytes }
        });
        // Of half a frame, what has not gone into frames found inside it.
        let why = if matches!(why, Wrong::Partial { .. }) { Wrong::Partial { bytes } } else { why };
        Some(Part { head: std::mem::take(&mut self.head), bytes, why })
    }

    /// The run ends here.
    pub(super) fn close(&mut self) {
        self.total = 0;
        self.too_long = false;
    }
}
