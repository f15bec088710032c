//! Frames of one fixed length, with a sync word at the front or not, and a CRC at the end or not.
//!
//! Common practice, no source. With a sync word the search is that of `sync.rs`. Without one the CRC alone finds the
//! frames: a byte at a time until it holds. A frame in step that does not hold is first taken to be damaged and not
//! shifted, if the next one holds where it should: sliding through it would give it `length` more chances to pass.
//! Without either, frames are counted off from the start of the link, and one lost byte shifts all that follow.

use super::look::{Around, Look, Payload, Suspect};
use super::sync::{Whole, cut_short, is_cut_short};
use super::{CrcCovers, Wrong};

/// Looks at the bytes not yet cut.
pub(super) fn look(length: usize, sync: &[u8], covers: CrcCovers, bytes: &[u8], around: &Around<'_>) -> Look {
    if let Some(noise) = super::sync::before_sync(sync, bytes, around.ended) {
        return noise;
    }
    let stored = around.check.map_or(0, |check| check.stored);
    let length = length.max(sync.len() + stored).max(1);
    if bytes.len() < length {
        return super::sync::wait(bytes, around);
    }
    if around.check.is_none() {
        match is_cut_short(sync, bytes, length, around.ended, |_| Some(Some(length))) {
            Whole::Yes => {}
            Whole::Unknown => return Look::More,
            Whole::CutAt(seen) => return cut_short(length, seen),
        }
    }
    let end = length - stored;
    let covered_from = if covers == CrcCovers::All { 0 } else { sync.len() };
    let holds = |at: usize| -> Result<(), Wrong> {
        let frame = &bytes[at..at + length];
        around.check.map_or(Ok(()), |check| check.verify(&frame[covered_from..end], &frame[end..]))
    };
    let why = match holds(0) {
        Ok(()) => {
            return Look::Frame { raw: 0..length, used: length, payload: Ok(Payload::Raw(sync.len()..end)) };
        }
        Err(why) => why,
    };
    if sync.is_empty() && around.in_step {
        if bytes.len() < 2 * length && !around.ended {
            return Look::More;
        }
        if bytes.len() >= 2 * length && holds(length).is_ok() {
            return Look::Frame { raw: 0..length, used: length, payload: Err(why) };
        }
    }
    if !sync.is_empty() || !around.torn {
        return Look::Drop(1, Some(Suspect { why, length: Some(length) }));
    }
    // In the midst of noise no place is more of a frame than another: on to the next where the CRC holds.
    let places = 1..=bytes.len() - length;
    Look::Drop(places.clone().find(|at| holds(*at).is_ok()).unwrap_or(bytes.len() - length + 1), None)
}

#[cfg(test)]
#[path = "fixed/tests.rs"]
mod tests;
