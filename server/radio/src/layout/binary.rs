//! Packed fields in order: integers of one to eight bytes, IEEE 754 numbers, text, bytes passed over; arrays of them, and
//! series whose later values are stored as differences.

use super::decoded::{Decoded, Value};
use super::{Field, Placed, Stored, slots};
use crate::layout::Complaint;

impl Stored {
    /// Bytes that it takes in a binary layout.
    pub const fn bytes(self) -> usize {
        match self {
            Self::Unsigned(bytes) | Self::Signed(bytes) | Self::Float(bytes) => bytes as usize,
            Self::Skip(bytes) | Self::Chars(bytes) => bytes as usize,
            Self::Number | Self::Text => 0,
        }
    }
}

/// A number as stored.
#[derive(Clone, Copy)]
enum Raw {
    Unsigned(u64),
    Signed(i64),
    Float(f64),
    /// Wider than 64 bits: only bits are taken from it.
    Wide,
}

impl Raw {
    fn is(self, value: f64) -> bool {
        match self {
            Self::Unsigned(raw) => raw as f64 == value,
            Self::Signed(raw) => raw as f64 == value,
            Self::Wide => false,
            Self::Float(raw) => raw == value || (raw.is_nan() && value.is_nan()),
        }
    }
}

/// Bytes that the fields take at least: what a packet counts itself may be there no time at all.
pub fn least(fields: &[Field]) -> usize {
    let of = |field: &Field| match &field.repeat {
        None => field.stored.bytes(),
        Some(repeat) if repeat.count_from.is_some() || repeat.count == 0 => 0,
        Some(repeat) => {
            let later = repeat.delta.unwrap_or(field.stored).bytes();
            field.stored.bytes() + usize::from(repeat.count - 1) * later
        }
    };
    fields.iter().map(of).sum()
}

/// Bytes that the fields take at most: what a packet counts itself stands there as often as it may.
pub(super) fn most(fields: &[Field]) -> usize {
    let of = |field: &Field| {
        let later = field.repeat.as_ref().map_or(0, |repeat| {
            usize::from(repeat.count.saturating_sub(1)) * repeat.delta.unwrap_or(field.stored).bytes()
        });
        field.stored.bytes() + later
    };
    fields.iter().map(of).sum()
}

/// One past the last field's last byte, in a payload that holds them all.
pub(super) fn end(big_endian: bool, fields: &[Field], payload: &[u8]) -> Option<usize> {
    let mut end = 0;
    let whole = walk(big_endian, fields, payload, |_, _, _, _, bytes| {
        end += bytes.len();
        true
    });
    whole.then_some(end)
}

/// Whether the length and all `is` fields fit.
pub(super) fn matches(big_endian: bool, length: Option<usize>, fields: &[Field], payload: &[u8]) -> bool {
    if length.is_some_and(|length| length != payload.len()) {
        return false;
    }
    let fits = |field: &Field, raw: Option<Raw>, bytes: &[u8]| {
        field.is.is_none_or(|is| raw.is_some_and(|raw| raw.is(is)))
            && field.is_text.as_deref().is_none_or(|is| chars(bytes) == is)
    };
    if has_repeats(fields) {
        return walk(big_endian, fields, payload, |_, _, field, raw, bytes| fits(field, raw, bytes));
    }
    let mut rest = payload;
    fields.iter().all(|field| {
        let Some((bytes, after)) = rest.split_at_checked(field.stored.bytes()) else { return false };
        rest = after;
        (field.is.is_none() && field.is_text.is_none())
            || fits(field, read(field, field.stored, big_endian, bytes), bytes)
    })
}

/// Whether the way of most packets, each field once, is not enough.
#[inline]
fn has_repeats(fields: &[Field]) -> bool {
    fields.iter().any(|field| field.repeat.is_some())
}

/// Reads the fields. Those past the end are left out.
pub(super) fn decode(big_endian: bool, fields: &[Field], payload: &[u8], decoded: &mut Decoded) {
    if has_repeats(fields) {
        walk(big_endian, fields, payload, |index, item, field, raw, bytes| {
            take(index, item, field, raw, (bytes, big_endian), decoded);
            true
        });
        return;
    }
    let mut rest = payload;
    for (index, field) in fields.iter().enumerate() {
        let Some((bytes, after)) = rest.split_at_checked(field.stored.bytes()) else { return };
        rest = after;
        take(index, 0, field, read(field, field.stored, big_endian, bytes), (bytes, big_endian), decoded);
    }
}

/// Where the fields stand.
pub(super) fn places(big_endian: bool, fields: &[Field], payload: &[u8]) -> Vec<Placed> {
    let mut places = Vec::new();
    let mut from = 0;
    walk(big_endian, fields, payload, |index, item, _, _, bytes| {
        places.push(Placed { field: index as u16, item, from, to: from + bytes.len() });
        from += bytes.len();
        true
    });
    places
}

/// Adds what stands in a place.
#[inline]
fn take(
    index: usize,
    item: u16,
    field: &Field,
    raw: Option<Raw>,
    (bytes, big_endian): (&[u8], bool),
    decoded: &mut Decoded,
) {
    let Some(raw) = raw else {
        if let Stored::Chars(_) = field.stored {
            decoded.put(index, None, item, Value::Text(chars(bytes).into_owned()));
        }
        return;
    };
    if field.missing.is_some_and(|missing| raw.is(missing)) {
        return;
    }
    match raw {
        Raw::Unsigned(raw) if field.is_plain() => decoded.put_number(index, item, field, raw as f64),
        Raw::Unsigned(raw) => decoded.put_integer(index, item, field, raw.into()),
        Raw::Signed(raw) if field.is_plain() => decoded.put_number(index, item, field, raw as f64),
        Raw::Signed(raw) => decoded.put_integer(index, item, field, raw.into()),
        Raw::Wide => {
            let raw = wide(bytes, field.big_endian.unwrap_or(big_endian));
            decoded.put_integer(index, item, field, raw as i128);
        }
        Raw::Float(raw) if raw.is_finite() => decoded.put_number(index, item, field, raw),
        Raw::Float(_) => decoded.complaints.push(Complaint::NotFinite { field: index as u16 }),
    }
}

/// Goes through the payload; `on` says whether to go on. True if all fields are in it.
fn walk(
    big_endian: bool,
    fields: &[Field],
    payload: &[u8],
    mut on: impl FnMut(usize, u16, &Field, Option<Raw>, &[u8]) -> bool,
) -> bool {
    let mut rest = payload;
    let mut sums = Sums::default();
    slots::each(fields, |index, item| {
        let field = &fields[index];
        let delta = field.repeat.as_ref().and_then(|repeat| repeat.delta);
        let stored = delta.filter(|_| item > 0).unwrap_or(field.stored);
        let (bytes, after) = rest.split_at_checked(stored.bytes())?;
        rest = after;
        let mut raw = read(field, stored, big_endian, bytes);
        if delta.is_some() {
            raw = raw.map(|raw| sums.add(index, item, field.stored, raw));
        }
        let count = if let Some(Raw::Unsigned(raw)) = raw { Some(raw) } else { None };
        on(index, item, field, raw, bytes).then_some(count)
    })
}

/// Running values of fields stored as differences.
#[derive(Default)]
struct Sums {
    running: [Option<(usize, u64)>; slots::MOST_IN_GROUP],
}

impl Sums {
    /// The value that a first value or a difference leads to.
    fn add(&mut self, index: usize, item: u16, stored: Stored, raw: Raw) -> Raw {
        let raw = match raw {
            Raw::Unsigned(raw) => raw,
            Raw::Signed(raw) => raw as u64,
            other => return other,
        };
        if item == 0 {
            // A new group: the sums of the one before are done with.
            self.running
                .iter_mut()
                .filter(|sum| sum.is_some_and(|(of, _)| of == index))
                .for_each(|sum| *sum = None);
        }
        let known = self.running.iter().position(|sum| sum.is_some_and(|(of, _)| of == index));
        let sum = known.and_then(|at| self.running[at]).map_or(raw, |(_, sum)| sum.wrapping_add(raw));
        let at = known
            .or_else(|| self.running.iter().position(Option::is_none))
            .unwrap_or(index % slots::MOST_IN_GROUP);
        self.running[at] = Some((index, sum));
        let unused = 64 - 8 * (stored.bytes() as u32).clamp(1, 8);
        match stored {
            Stored::Signed(_) => Raw::Signed((sum << unused) as i64 >> unused),
            _ => Raw::Unsigned((sum << unused) >> unused),
        }
    }
}

/// Text without what fills it up. Bytes that are no text are shown as U+FFFD.
fn chars(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    let end = bytes.iter().rposition(|byte| !matches!(byte, 0 | b' ')).map_or(0, |at| at + 1);
    String::from_utf8_lossy(&bytes[..end])
}

#[inline]
fn read(field: &Field, stored: Stored, big_endian: bool, bytes: &[u8]) -> Option<Raw> {
    let big = field.big_endian.unwrap_or(big_endian);
    Some(match stored {
        Stored::Unsigned(1..=8) => Raw::Unsigned(unsigned(bytes, big)),
        Stored::Signed(width @ 1..=8) => {
            let unused = 64 - 8 * u32::from(width);
            Raw::Signed((unsigned(bytes, big) << unused) as i64 >> unused)
        }
        Stored::Unsigned(9..=16) => Raw::Wide,
        Stored::Float(2) => Raw::Float(half(unsigned(bytes, big) as u16)),
        Stored::Float(4) => Raw::Float(f64::from(f32::from_bits(unsigned(bytes, big) as u32))),
        Stored::Float(8) => Raw::Float(f64::from_bits(unsigned(bytes, big))),
        _ => return None,
    })
}

/// An integer of more than eight bytes.
#[cold]
fn wide(bytes: &[u8], big: bool) -> u128 {
    let add = |value: u128, byte: &u8| value << 8 | u128::from(*byte);
    if big { bytes.iter().fold(0, add) } else { bytes.iter().rev().fold(0, add) }
}

/// IEEE 754 binary16: 1 sign bit, 5 of the exponent with a bias of 15, 10 of the fraction (IEEE 754-2008, 3.6).
pub(super) fn half(bits: u16) -> f64 {
    let fraction = f64::from(bits & 0x3ff);
    let magnitude = match i32::from(bits >> 10 & 0x1f) {
        0 => libm::ldexp(fraction, -24),
        31 if fraction == 0.0 => f64::INFINITY,
        31 => f64::NAN,
        exponent => libm::ldexp(fraction + 1024.0, exponent - 25),
    };
    if bits >> 15 == 1 { -magnitude } else { magnitude }
}

/// The usual widths as the processor loads them, the others a byte at a time.
#[inline]
fn unsigned(bytes: &[u8], big: bool) -> u64 {
    match *bytes {
        [a] => u64::from(a),
        [a, b] => u64::from(if big { u16::from_be_bytes([a, b]) } else { u16::from_le_bytes([a, b]) }),
        [a, b, c, d] => {
            let four = [a, b, c, d];
            u64::from(if big { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) })
        }
        [a, b, c, d, e, f, g, h] => {
            let eight = [a, b, c, d, e, f, g, h];
            if big { u64::from_be_bytes(eight) } else { u64::from_le_bytes(eight) }
        }
        _ => {
            let add = |value: u64, byte: &u8| value << 8 | u64::from(*byte);
            if big { bytes.iter().fold(0, add) } else { bytes.iter().rev().fold(0, add) }
        }
    }
}

#[cfg(test)]
#[path = "binary/tests.rs"]
mod tests;
