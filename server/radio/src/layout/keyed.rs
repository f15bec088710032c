//! Values with keys: JSON objects and CBOR maps.
//!
//! A field says where its value stands: keys and array indices with dots between, `acc.2` or `gps.lat`. What no field
//! names is passed over; a value that is not there, or null, is no value. A packet is one of the layout if it is well
//! formed, holds at least one of the fields, and all that must be of a value are.

use std::borrow::Cow;

use super::decoded::{Complaint, Decoded, Value};
use super::{Encoding, Field, Stored, cbor, json, number};

/// Deepest nesting that is read. What is deeper is not well formed: a board has no use for it.
pub(super) const DEEPEST: usize = 32;
/// Most of a bad value that a complaint quotes, characters.
const QUOTED: usize = 40;

/// A single value.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Scalar<'a> {
    Number(f64),
    Text(Cow<'a, str>),
    Flag(bool),
    Null,
    /// An array, an object, a string of bytes.
    Other(&'static str),
}

fn find<'a>(encoding: Encoding, payload: &'a [u8], field: &Field, item: Option<u16>) -> Option<Scalar<'a>> {
    match encoding {
        Encoding::Json => json::find(payload, field.key(), item),
        Encoding::Cbor => cbor::find(payload, field.key(), item),
    }
}

/// The values of a field: one, or as many as there are of an array.
fn each<'a>(encoding: Encoding, payload: &'a [u8], field: &Field, mut on: impl FnMut(u16, Scalar<'a>)) {
    match &field.repeat {
        None => {
            if let Some(scalar) = find(encoding, payload, field, None) {
                on(0, scalar);
            }
        }
        Some(repeat) => {
            for item in 0..repeat.count {
                let Some(scalar) = find(encoding, payload, field, Some(item)) else { return };
                on(item, scalar);
            }
        }
    }
}

/// Whether it is well formed, and one of the layout.
pub(super) fn matches(encoding: Encoding, fields: &[Field], payload: &[u8]) -> bool {
    let good = match encoding {
        Encoding::Json => json::is_well_formed(payload),
        Encoding::Cbor => cbor::is_well_formed(payload),
    };
    if !good {
        return false;
    }
    let (mut there, mut fits) = (false, true);
    for field in fields {
        let (mut number, mut text) = (field.is.is_none(), field.is_text.is_none());
        each(encoding, payload, field, |_, scalar| {
            there = true;
            number = number || field.is.is_some_and(|is| raw(&scalar) == Some(is));
            text = text
                || matches!((&scalar, &field.is_text), (Scalar::Text(found), Some(is)) if *found == is.as_str());
        });
        fits = fits && number && text;
    }
    there && fits
}

/// A number, or text that is one: some libraries put all values in quotes.
fn raw(scalar: &Scalar<'_>) -> Option<f64> {
    match scalar {
        Scalar::Number(raw) => Some(*raw),
        Scalar::Flag(flag) => Some(f64::from(u8::from(*flag))),
        Scalar::Text(text) => number::parse(text.trim_ascii()),
        Scalar::Null | Scalar::Other(_) => None,
    }
}

/// Reads the fields.
pub(super) fn decode(encoding: Encoding, fields: &[Field], payload: &[u8], decoded: &mut Decoded) {
    for (index, field) in fields.iter().enumerate() {
        each(encoding, payload, field, |item, scalar| match (&scalar, field.stored) {
            (Scalar::Null, _) => {}
            (Scalar::Text(text), Stored::Text) => {
                decoded.put(index, None, item, Value::Text(text.clone().into_owned()));
            }
            (Scalar::Flag(flag), _) if field.is_plain() && field.scale == 1.0 && field.offset == 0.0 => {
                decoded.put(index, None, item, Value::Flag(*flag));
            }
            _ => match raw(&scalar) {
                Some(number) if field.stored == Stored::Text => {
                    decoded.put(index, None, item, Value::Text(number.to_string()));
                }
                Some(number) if number.is_finite() => decoded.put_written(index, item, field, number),
                Some(_) => decoded.complaints.push(Complaint::NotFinite { field: index as u16 }),
                None => {
                    let text = match &scalar {
                        Scalar::Text(text) => text.chars().take(QUOTED).collect(),
                        Scalar::Other(what) => (*what).to_owned(),
                        _ => String::new(),
                    };
                    decoded.complaints.push(Complaint::NoNumber { field: index as u16, text });
                }
            },
        });
    }
}

#[cfg(test)]
#[path = "keyed/tests.rs"]
mod tests;
