//! Packed fields in order: integers of one to eight bytes, IEEE 754 numbers, bytes passed over.

use super::decoded::Decoded;
use super::{Field, Stored};
use crate::layout::Complaint;

impl Stored {
    /// Bytes that it takes in a binary layout.
    pub const fn bytes(self) -> usize {
        match self {
            Self::Unsigned(bytes) | Self::Signed(bytes) | Self::Float(bytes) => bytes as usize,
            Self::Skip(bytes) => bytes as usize,
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
}

impl Raw {
    fn is(self, value: f64) -> bool {
        match self {
            Self::Unsigned(raw) => raw as f64 == value,
            Self::Signed(raw) => raw as f64 == value,
            Self::Float(raw) => raw == value || (raw.is_nan() && value.is_nan()),
        }
    }
}

/// Whether the length and all `is` fields fit.
pub(super) fn matches(big_endian: bool, length: Option<usize>, fields: &[Field], payload: &[u8]) -> bool {
    let needed: usize = fields.iter().map(|field| field.stored.bytes()).sum();
    if payload.len() < needed || length.is_some_and(|length| length != payload.len()) {
        return false;
    }
    let mut at = 0;
    fields.iter().all(|field| {
        let bytes = &payload[at..at + field.stored.bytes()];
        at += bytes.len();
        field.is.is_none_or(|is| read(field, big_endian, bytes).is_some_and(|raw| raw.is(is)))
    })
}

/// Reads the fields. Those past the end are left out.
pub(super) fn decode(big_endian: bool, fields: &[Field], payload: &[u8], decoded: &mut Decoded) {
    let mut rest = payload;
    for (index, field) in fields.iter().enumerate() {
        let Some((bytes, after)) = rest.split_at_checked(field.stored.bytes()) else { return };
        rest = after;
        let Some(raw) = read(field, big_endian, bytes) else { continue };
        if field.missing.is_some_and(|missing| raw.is(missing)) {
            continue;
        }
        match raw {
            Raw::Unsigned(raw) => {
                if field.is_plain() {
                    decoded.put_number(index, field, raw as f64);
                } else {
                    decoded.put_integer(index, field, raw.into());
                }
            }
            Raw::Signed(raw) => {
                if field.is_plain() {
                    decoded.put_number(index, field, raw as f64);
                } else {
                    decoded.put_integer(index, field, raw.into());
                }
            }
            Raw::Float(raw) if raw.is_finite() => decoded.put_number(index, field, raw),
            Raw::Float(_) => decoded.complaints.push(Complaint::NotFinite { field: index as u16 }),
        }
    }
}

#[inline]
fn read(field: &Field, big_endian: bool, bytes: &[u8]) -> Option<Raw> {
    let big = field.big_endian.unwrap_or(big_endian);
    Some(match field.stored {
        Stored::Unsigned(1..=8) => Raw::Unsigned(unsigned(bytes, big)),
        Stored::Signed(width @ 1..=8) => {
            let unused = 64 - 8 * u32::from(width);
            Raw::Signed((unsigned(bytes, big) << unused) as i64 >> unused)
        }
        Stored::Float(4) => Raw::Float(f64::from(f32::from_bits(unsigned(bytes, big) as u32))),
        Stored::Float(8) => Raw::Float(f64::from_bits(unsigned(bytes, big))),
        _ => return None,
    })
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
