//! What a layout says about the extent of its packets, so that one can be found in the midst of other bytes.

use serde::{Deserialize, Serialize};

use super::{Field, Form, Layout, binary};

/// The shape of a layout's packets: what is needed to tell whether some bytes are one of them, from the first to the
/// last. Names, units and meanings are not in it, so that a change of those changes no stream.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Packet {
    form: Form,
    least: usize,
    /// None if the packets themselves say where they end.
    most: Option<usize>,
}

impl Packet {
    /// The shape of a layout's packets; none if any bytes may be one, as of lines that begin with no told word.
    pub fn of(layout: &Layout) -> Option<Self> {
        let form = bare(&layout.form);
        let (least, most) = extent(&form)?;
        Some(Self { form, least, most })
    }

    /// Whether packets can have this many bytes.
    pub(crate) fn may_have(&self, bytes: usize) -> bool {
        bytes >= self.least && self.most.is_none_or(|most| bytes <= most)
    }

    /// Whether the payload is one packet and nothing else.
    pub(crate) fn is(&self, payload: &[u8]) -> bool {
        self.may_have(payload.len()) && self.form.matches(payload) && ends_with(&self.form, payload)
    }

    /// Whether the layout takes the payload, though more may stand behind its fields.
    pub(crate) fn takes(&self, payload: &[u8]) -> bool {
        self.form.matches(payload)
    }
}

/// Least and greatest length of the packets of a form.
fn extent(form: &Form) -> Option<(usize, Option<usize>)> {
    match form {
        Form::Binary { length: Some(length), .. } => Some((*length, Some(*length))),
        Form::Binary { fields, .. } => Some((binary::least(fields), Some(binary::most(fields)))),
        Form::Text { starts_with, .. } => {
            starts_with.as_deref().filter(|start| !start.is_empty()).map(|start| (start.len(), None))
        }
        // An envelope is head enough for what has none of its own.
        Form::In { .. } | Form::Keyed { .. } | Form::Nmea { .. } | Form::Aprs { .. } => Some((1, None)),
    }
}

/// Whether the last field ends with the payload, of which is known that it matches.
fn ends_with(form: &Form, payload: &[u8]) -> bool {
    match form {
        Form::Binary { length: None, big_endian, fields } => {
            binary::end(*big_endian, fields, payload) == Some(payload.len())
        }
        Form::In { envelope, form } => {
            envelope.open(payload).is_some_and(|opened| ends_with(form, opened.content))
        }
        _ => true,
    }
}

/// A form with no more than its shape.
fn bare(form: &Form) -> Form {
    let fields = |fields: &[Field]| fields.iter().map(shape).collect();
    match form {
        Form::Text { separator, starts_with, fields: of } => {
            Form::Text { separator: separator.clone(), starts_with: starts_with.clone(), fields: fields(of) }
        }
        Form::Binary { big_endian, length, fields: of } => {
            Form::Binary { big_endian: *big_endian, length: *length, fields: fields(of) }
        }
        Form::Keyed { encoding, fields: of } => {
            let keyed = |field| Field { key: Some(Field::key(field).to_owned()), ..shape(field) };
            Form::Keyed { encoding: *encoding, fields: of.iter().map(keyed).collect() }
        }
        Form::Nmea { position_from, velocity_from, .. } => {
            Form::Nmea { position_from: *position_from, velocity_from: *velocity_from, fields: Vec::new() }
        }
        Form::Aprs { envelope, .. } => Form::Aprs { envelope: envelope.clone(), fields: Vec::new() },
        Form::In { envelope, form } => Form::In { envelope: envelope.clone(), form: Box::new(bare(form)) },
    }
}

fn shape(field: &Field) -> Field {
    Field {
        is: field.is,
        is_text: field.is_text.clone(),
        big_endian: field.big_endian,
        repeat: field.repeat.clone(),
        ..Field::new("", field.stored)
    }
}

#[cfg(test)]
#[path = "packet/tests.rs"]
mod tests;
