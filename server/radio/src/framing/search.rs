//! An intact frame in the midst of other bytes: noise stands before it, or its neighbour's end byte was hit.
//!
//! It ends with the bytes that were looked at, and may begin at any of them. Each place that is tried with a CRC of n bits
//! lets a damaged frame pass once in 2^n. 32 bits bear to be tried everywhere. 16 bits are asked last, and only about
//! bytes that are, from the first to the last, a packet of one of the link's layouts: its `is` values stand where they
//! should and its counts lead to its very end. Where a layout leaves the length open, lengths of good frames stand in.

use super::Wrong;
use super::look::Around;

/// Most bytes that are decoded for one bad frame: all places of one of 1024 bytes, the usual greatest length.
const WORK: usize = 512 * 1024;

impl Around<'_> {
    /// Whether a CRC is strong enough to be tried at any place.
    fn is_strong(&self) -> bool {
        self.check.is_some_and(|check| check.width >= 32)
    }

    /// Whether a search makes sense.
    fn may_search(&self) -> bool {
        let known = !self.recent.is_empty() || !self.packets.is_empty();
        self.is_strong() || (known && self.check.is_some_and(|check| check.width >= 16))
    }

    /// Whether a frame of so many decoded bytes, CRC included, is to be expected.
    fn expects(&self, length: usize) -> bool {
        let around = self.front + self.check.map_or(0, |check| check.stored);
        let payload = length.checked_sub(around);
        self.recent.holds(length)
            || payload.is_some_and(|bytes| self.packets.iter().any(|packet| packet.may_have(bytes)))
    }

    /// Whether decoded bytes, CRC included, are a packet that may be told from damage by a narrow CRC.
    fn is_packet(&self, decoded: &[u8]) -> bool {
        let stored = self.check.map_or(0, |check| check.stored);
        let Some(payload) = decoded.len().checked_sub(stored).and_then(|end| decoded.get(self.front..end))
        else {
            return false;
        };
        let of_known_length = self.recent.holds(decoded.len());
        (of_known_length && self.packets.is_empty())
            || self
                .packets
                .iter()
                .any(|packet| packet.is(payload) || (of_known_length && packet.takes(payload)))
    }
}

/// Where in a bad frame a good one begins, and its payload's length; the payload is in the scratch buffer then. `lengths`
/// says for each place how many bytes a frame that begins there decodes to, none if none can begin there. `decode` does
/// so, into the scratch buffer. The longest is tried first: the least of what came is given up.
pub(super) fn find(
    around: &mut Around<'_>,
    lengths: &[Option<usize>],
    decode: impl Fn(usize, &mut Vec<u8>) -> Result<usize, Wrong>,
) -> Option<(usize, usize)> {
    if !around.may_search() {
        return None;
    }
    let check = around.check?;
    let strong = around.is_strong();
    let mut work = WORK;
    // With a strong CRC, likely places first: the work for a long frame may end before all are tried.
    for likely in if strong { &[true, false][..] } else { &[true][..] } {
        // The front of all has been tried.
        for (at, length) in lengths.iter().enumerate().skip(1) {
            let Some(length) = *length else { continue };
            if length <= check.stored || around.expects(length) != *likely {
                continue;
            }
            let Some(left) = work.checked_sub(length) else { break };
            work = left;
            let Ok(decoded) = decode(at, around.scratch) else { continue };
            let decoded = &around.scratch[..decoded];
            if (strong || around.is_packet(decoded))
                && let Ok(payload) = check.strip(decoded)
            {
                return Some((at, payload.len()));
            }
        }
    }
    None
}
