//! CBOR (RFC 8949), read in place: is it well formed, and what stands at a path.
//!
//! Keys may be text or integers; a step of a path that is a whole number is an integer key of a map, an index of an
//! array. Tags are passed over. Of a key that is there twice the first counts (the RFC leaves it open). Limits: a map or
//! an array at the top, at most [`DEEPEST`] deep; numbers are those of major types 0, 1 and 7, no bignums and decimal
//! fractions.

use std::borrow::Cow;

use super::binary::half;
use super::keyed::{DEEPEST, Scalar};

/// What begins a data item (RFC 8949, 3).
#[derive(Clone, Copy)]
struct Head {
    major: u8,
    /// The additional information's value; none where the length is indefinite.
    value: Option<u64>,
    /// Additional information as it stands.
    info: u8,
    /// One past the head.
    end: usize,
}

/// Ends an item of indefinite length.
const BREAK: u8 = 0xff;

fn head(bytes: &[u8], at: usize) -> Option<Head> {
    let first = *bytes.get(at)?;
    let (major, info) = (first >> 5, first & 0x1f);
    let wide = |count: usize| {
        let stored = bytes.get(at + 1..at + 1 + count)?;
        Some(stored.iter().fold(0, |value, byte| value << 8 | u64::from(*byte)))
    };
    let (value, more) = match info {
        0..=23 => (Some(u64::from(info)), 0),
        24 => (Some(wide(1)?), 1),
        25 => (Some(wide(2)?), 2),
        26 => (Some(wide(4)?), 4),
        27 => (Some(wide(8)?), 8),
        31 if matches!(major, 2..=5) => (None, 0),
        _ => return None,
    };
    // A simple value below 32 must not take a second byte (3.3).
    if major == 7 && info == 24 && value < Some(32) {
        return None;
    }
    Some(Head { major, value, info, end: at + 1 + more })
}

/// One past the item that begins here.
fn skip(bytes: &[u8], at: usize, depth: usize) -> Option<usize> {
    if depth > DEEPEST {
        return None;
    }
    let head = head(bytes, at)?;
    match (head.major, head.value) {
        (0 | 1 | 7, _) => Some(head.end),
        (2 | 3, Some(length)) => {
            let end = head.end.checked_add(usize::try_from(length).ok()?)?;
            let inside = bytes.get(head.end..end)?;
            (head.major == 2 || std::str::from_utf8(inside).is_ok()).then_some(end)
        }
        (2 | 3, None) => {
            // Pieces of the same type, each of a definite length (3.2.3).
            let mut at = head.end;
            while *bytes.get(at)? != BREAK {
                let piece = self::head(bytes, at)?;
                (piece.major == head.major && piece.value.is_some()).then_some(())?;
                at = skip(bytes, at, depth + 1)?;
            }
            Some(at + 1)
        }
        (6, _) => skip(bytes, head.end, depth + 1),
        (major, count) => {
            let items = if major == 5 { 2 } else { 1 };
            let mut at = head.end;
            let mut left = match count {
                // Each item takes a byte: more than there are bytes cannot be true.
                Some(count) => {
                    let all = usize::try_from(count).ok()?.checked_mul(items)?;
                    if all > bytes.len() - at {
                        return None;
                    }
                    Some(all)
                }
                None => None,
            };
            let mut taken = 0_usize;
            loop {
                match &mut left {
                    Some(0) => return Some(at),
                    Some(left) => *left -= 1,
                    None if *bytes.get(at)? == BREAK => {
                        return taken.is_multiple_of(items).then_some(at + 1);
                    }
                    None => {}
                }
                at = skip(bytes, at, depth + 1)?;
                taken += 1;
            }
        }
    }
}

/// Past tags, where there are some.
fn untagged(bytes: &[u8], mut at: usize) -> Option<usize> {
    for _ in 0..DEEPEST {
        let head = head(bytes, at)?;
        if head.major != 6 {
            return Some(at);
        }
        at = head.end;
    }
    None
}

/// Whether the bytes are one map or array and nothing else.
pub(super) fn is_well_formed(bytes: &[u8]) -> bool {
    let top = untagged(bytes, 0).and_then(|at| head(bytes, at));
    top.is_some_and(|top| matches!(top.major, 4 | 5)) && skip(bytes, 0, 0) == Some(bytes.len())
}

/// The value at a path of keys and indices; then, if so wanted, an element of the array that stands there.
pub(super) fn find<'a>(bytes: &'a [u8], path: &str, item: Option<u16>) -> Option<Scalar<'a>> {
    let mut at = untagged(bytes, 0)?;
    for step in path.split('.') {
        at = untagged(bytes, enter(bytes, at, step)?)?;
    }
    if let Some(item) = item {
        at = untagged(bytes, element(bytes, at, u64::from(item))?)?;
    }
    scalar(bytes, at)
}

fn enter(bytes: &[u8], at: usize, step: &str) -> Option<usize> {
    let map = head(bytes, at)?;
    if map.major == 4 {
        return element(bytes, at, step.parse().ok()?);
    }
    if map.major != 5 {
        return None;
    }
    let number: Option<f64> = step.parse::<i64>().ok().map(|number| number as f64);
    let mut at = map.end;
    let mut seen = 0;
    while map.value.is_none_or(|count| seen < count) && *bytes.get(at)? != BREAK {
        let here = match scalar(bytes, untagged(bytes, at)?)? {
            Scalar::Text(text) => text == step,
            Scalar::Number(key) => number == Some(key),
            _ => false,
        };
        at = skip(bytes, at, 1)?;
        if here {
            return Some(at);
        }
        at = skip(bytes, at, 1)?;
        seen += 1;
    }
    None
}

fn element(bytes: &[u8], at: usize, index: u64) -> Option<usize> {
    let array = head(bytes, at)?;
    if array.major != 4 || array.value.is_some_and(|count| index >= count) {
        return None;
    }
    let mut at = array.end;
    for _ in 0..index {
        if *bytes.get(at)? == BREAK {
            return None;
        }
        at = skip(bytes, at, 1)?;
    }
    (*bytes.get(at)? != BREAK || array.value.is_some()).then_some(at)
}

fn scalar(bytes: &[u8], at: usize) -> Option<Scalar<'_>> {
    let head = head(bytes, at)?;
    Some(match (head.major, head.value) {
        (0, Some(value)) => Scalar::Number(value as f64),
        (1, Some(value)) => Scalar::Number((-1 - i128::from(value)) as f64),
        (2, _) => Scalar::Other("a string of bytes"),
        (3, Some(length)) => {
            let end = head.end.checked_add(usize::try_from(length).ok()?)?;
            Scalar::Text(Cow::Borrowed(std::str::from_utf8(bytes.get(head.end..end)?).ok()?))
        }
        (3, None) => {
            let mut text = String::new();
            let mut at = head.end;
            while *bytes.get(at)? != BREAK {
                let Scalar::Text(piece) = scalar(bytes, at)? else { return None };
                text.push_str(&piece);
                at = skip(bytes, at, 1)?;
            }
            Scalar::Text(Cow::Owned(text))
        }
        (4, _) => Scalar::Other("an array"),
        (5, _) => Scalar::Other("a map"),
        (7, Some(value)) => match head.info {
            20 => Scalar::Flag(false),
            21 => Scalar::Flag(true),
            22 | 23 => Scalar::Null,
            25 => Scalar::Number(half(value as u16)),
            26 => Scalar::Number(f64::from(f32::from_bits(value as u32))),
            27 => Scalar::Number(f64::from_bits(value)),
            _ => Scalar::Other("a simple value"),
        },
        _ => return None,
    })
}

#[cfg(test)]
#[path = "cbor/tests.rs"]
mod tests;
