//! A sync word, a length, the payload, then the CRC if there is one.
//!
//! Common practice, no source. A frame that does not hold is passed over one byte at a time from its first, so that a
//! false sync word or a corrupt length never swallows a good frame: the search goes on inside it. A corrupt length
//! delays what follows by at most the greatest frame length, which is therefore worth setting close. Without a CRC a
//! frame that was cut short looks whole once it has swallowed the next one's front: where a sync word stands inside a
//! frame, what follows decides ([`is_cut_short`]).

use super::look::{Around, Look, Payload, Suspect};
use super::{CrcCovers, LengthCounts, LengthField, Wrong};

/// The framing's own figures.
pub(super) struct Shape<'a> {
    pub(super) sync: &'a [u8],
    pub(super) length: LengthField,
    pub(super) counts: LengthCounts,
    pub(super) covers: CrcCovers,
}

impl LengthField {
    /// Bytes that the field takes.
    pub(crate) const fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::U16Le | Self::U16Be => 2,
        }
    }

    fn read(self, bytes: &[u8]) -> usize {
        match self {
            Self::U8 => usize::from(bytes[0]),
            Self::U16Le => usize::from(u16::from_le_bytes([bytes[0], bytes[1]])),
            Self::U16Be => usize::from(u16::from_be_bytes([bytes[0], bytes[1]])),
        }
    }
}

/// Looks at the bytes not yet cut.
pub(super) fn look(shape: &Shape<'_>, bytes: &[u8], around: &Around<'_>) -> Look {
    if let Some(noise) = before_sync(shape.sync, bytes, around.ended) {
        return noise;
    }
    let header = shape.sync.len() + shape.length.bytes();
    if bytes.len() < header {
        return wait(bytes, around);
    }
    let total = match total(shape, bytes, around) {
        Ok(total) => total,
        Err(why) => return Look::Drop(1, Some(Suspect { why, length: None })),
    };
    if bytes.len() < total {
        return wait(bytes, around);
    }
    if around.check.is_none() {
        let inner =
            |at: usize| (bytes.len() >= at + header).then(|| self::total(shape, &bytes[at..], around).ok());
        match is_cut_short(shape.sync, bytes, total, around.ended, inner) {
            Whole::Yes => {}
            Whole::Unknown => return Look::More,
            Whole::CutAt(seen) => return cut_short(total, seen),
        }
    }
    let end = total - around.check.map_or(0, |check| check.stored);
    let covered_from = match shape.covers {
        CrcCovers::Payload => header,
        CrcCovers::LengthAndPayload => shape.sync.len(),
        CrcCovers::All => 0,
    };
    match around.check.map_or(Ok(()), |check| check.verify(&bytes[covered_from..end], &bytes[end..total])) {
        Ok(()) => Look::Frame { raw: 0..total, used: total, payload: Ok(Payload::Raw(header..end)) },
        Err(why) => Look::Drop(1, Some(Suspect { why, length: Some(total) })),
    }
}

/// How many bytes the frame at the front has by its length field.
fn total(shape: &Shape<'_>, bytes: &[u8], around: &Around<'_>) -> Result<usize, Wrong> {
    let header = shape.sync.len() + shape.length.bytes();
    let declared = shape.length.read(&bytes[shape.sync.len()..]);
    let stored = around.check.map_or(0, |check| check.stored);
    // What the length does not count, and the least that it must count.
    let (uncounted, least) = match shape.counts {
        LengthCounts::Payload => (header + stored, 0),
        LengthCounts::PayloadAndCrc => (header, stored),
        LengthCounts::Whole => (0, header + stored),
    };
    let most = around.max_length.saturating_sub(uncounted);
    if declared < least || declared > most {
        return Err(Wrong::BadLength { declared, least, most });
    }
    Ok(declared + uncounted)
}

/// Whether a frame without a CRC is whole.
#[derive(Debug, PartialEq)]
pub(super) enum Whole {
    Yes,
    /// What follows is needed to tell.
    Unknown,
    /// The next frame begins at this byte of it.
    CutAt(usize),
}

/// Whether a frame was cut short and has swallowed the front of the next one. It is taken for whole unless a sync word
/// stands inside it, none stands after it, and one stands after the frame that would begin inside. A sync word of one
/// byte is in too many payloads to go by. `inner` gives the length of a frame that would begin at a place: nothing if
/// more bytes are needed, `Some(None)` if none can begin there.
pub(super) fn is_cut_short(
    sync: &[u8],
    bytes: &[u8],
    total: usize,
    ended: bool,
    inner: impl Fn(usize) -> Option<Option<usize>>,
) -> Whole {
    if sync.len() < 2 {
        return Whole::Yes;
    }
    let stands_at = |at: usize| match bytes.get(at..at + sync.len()) {
        Some(found) => Some(found == sync),
        None => ended.then_some(false),
    };
    for place in memchr::memmem::find_iter(&bytes[1..total], sync).map(|at| at + 1) {
        match stands_at(total) {
            Some(true) => return Whole::Yes,
            Some(false) => {}
            None => return Whole::Unknown,
        }
        let next = match inner(place) {
            Some(Some(length)) => stands_at(place + length),
            Some(None) => Some(false),
            None => ended.then_some(false),
        };
        match next {
            Some(true) => return Whole::CutAt(place),
            Some(false) => {}
            None => return Whole::Unknown,
        }
    }
    Whole::Yes
}

/// Passes over a frame that was cut short.
pub(super) fn cut_short(length: usize, seen: usize) -> Look {
    Look::Drop(1, Some(Suspect { why: Wrong::CutShort { length, seen }, length: Some(seen) }))
}

/// Passes over what stands before the next sync word; nothing if it stands at the front.
pub(super) fn before_sync(sync: &[u8], bytes: &[u8], ended: bool) -> Option<Look> {
    if bytes.starts_with(sync) {
        return None;
    }
    if let Some(at) = memchr::memmem::find(bytes, sync) {
        return Some(Look::Drop(at, None));
    }
    // The last bytes may be the beginning of a sync word.
    let tail = (1..sync.len().min(bytes.len() + 1)).rev().find(|n| bytes.ends_with(&sync[..*n])).unwrap_or(0);
    let noise = if ended { bytes.len() } else { bytes.len() - tail };
    Some(if noise == 0 { Look::More } else { Look::Drop(noise, None) })
}

/// A frame has begun and is not complete.
pub(super) fn wait(bytes: &[u8], around: &Around<'_>) -> Look {
    if around.ended {
        Look::Drop(
            1,
            Some(Suspect { why: Wrong::Partial { bytes: bytes.len() as u64 }, length: Some(bytes.len()) }),
        )
    } else {
        Look::More
    }
}

#[cfg(test)]
#[path = "sync/tests.rs"]
mod tests;
