//! A sync word, a length, the payload, then the CRC if there is one.
//!
//! Common practice, no source. A frame that does not hold is passed over one byte at a time from its first, so that a
//! false sync word or a corrupt length never swallows a good frame: the search goes on inside it. A corrupt length
//! delays what follows by at most the greatest frame length, which is therefore worth setting close.

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
    pub(super) const fn bytes(self) -> usize {
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
        return Look::Drop(
            1,
            Some(Suspect { why: Wrong::BadLength { declared, least, most }, length: None }),
        );
    }
    let total = declared + uncounted;
    if bytes.len() < total {
        return wait(bytes, around);
    }
    let end = total - stored;
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
