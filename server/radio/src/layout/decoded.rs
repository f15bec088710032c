//! What decoding a frame gives: values that are there, and complaints about those that are not.

use serde::{Deserialize, Serialize};

use super::{Bits, Carrier, Encoding, Field, Form, Layout};
use crate::meaning::Meaning;

/// A value. Numbers are in the SI unit of their meaning; of a free field, in the unit that it is declared in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// Always finite.
    Number(f64),
    /// From a text column.
    Text(String),
    /// One bit.
    Flag(bool),
    /// One of several named states.
    Named {
        /// As stored.
        raw: i64,
        /// Which of the declared names ([`Layout::value_name`]), if it is one of them.
        name: Option<u16>,
    },
}

impl Value {
    /// The value as a number: flags are 0 and 1, named states are as stored. Text has none.
    pub const fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Flag(flag) => Some(if *flag { 1.0 } else { 0.0 }),
            Self::Named { raw, .. } => Some(*raw as f64),
            Self::Text(_) => None,
        }
    }
}

/// A value and the field, or the bits of a field, that it is of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Index of the field in its layout.
    pub field: u16,
    /// Index in the field's bits, if it is of those.
    pub bits: Option<u16>,
    /// Which of the field's values it is, from 0, if the field stands several times.
    pub item: u16,
    /// The value.
    pub value: Value,
}

/// What a layout says about an entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spec<'a> {
    /// Name in the crew's words.
    pub name: &'a str,
    /// What it means.
    pub meaning: Meaning,
    /// Of a per-channel meaning, the channel.
    pub channel: Option<&'a str>,
    /// Unit as declared.
    pub unit: &'a str,
    /// Names of values.
    pub values: &'a [(i64, String)],
}

/// Something that could not be read. Columns count from 1, the column of `starts_with` included.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Complaint {
    /// A column that should be a number and is not.
    #[error("column {column}: `{text}` is no number")]
    NotANumber {
        /// Index of the field.
        field: u16,
        /// Column from 1.
        column: u16,
        /// What stands there, at most 40 characters.
        text: String,
    },
    /// A number that is not finite.
    #[error("field {} is no finite number", field + 1)]
    NotFinite {
        /// Index of the field.
        field: u16,
    },
    /// A state without a name.
    #[error("field {}: value {raw} has no name", field + 1)]
    NoName {
        /// Index of the field.
        field: u16,
        /// Index of the bits.
        bits: Option<u16>,
        /// As stored.
        raw: i64,
    },
    /// A value with a key that should be a number and is not.
    #[error("field {}: `{text}` is no number", field + 1)]
    NoNumber {
        /// Index of the field.
        field: u16,
        /// What stands there, at most 40 characters.
        text: String,
    },
    /// The line ends early.
    #[error("column {} is missing: {found} columns where {expected} are declared", found + 1)]
    MissingColumns {
        /// As declared.
        expected: u16,
        /// There.
        found: u16,
    },
    /// The line goes on.
    #[error("column {} is not declared: {found} columns where {expected} are", expected + 1)]
    ExtraColumns {
        /// As declared.
        expected: u16,
        /// There.
        found: u16,
    },
}

/// What a frame holds. Kept and filled again, it allocates nothing but texts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Decoded {
    /// Values in the layout's order. Fields that say "no value" are left out.
    pub values: Vec<Entry>,
    /// What could not be read.
    pub complaints: Vec<Complaint>,
}

impl Decoded {
    pub(super) fn put(&mut self, field: usize, bits: Option<usize>, item: u16, value: Value) {
        self.values.push(Entry { field: field as u16, bits: bits.map(|bits| bits as u16), item, value });
    }

    /// Adds what an integer field that is not plain holds: its bits or its named state.
    pub(super) fn put_integer(&mut self, index: usize, item: u16, field: &Field, raw: i128) {
        if !field.bits.is_empty() {
            for (at, bits) in field.bits.iter().enumerate() {
                let width = u32::from(bits.width.clamp(1, 63));
                let part = ((raw >> bits.bit.min(127)) & ((1_i128 << width) - 1)) as i64;
                let part = if bits.signed { (part << (64 - width)) >> (64 - width) } else { part };
                self.put_bits(index, at, item, bits, part);
            }
            return;
        }
        self.put_named(index, None, item, &field.values, i64::try_from(raw).unwrap_or(i64::MAX));
    }

    fn put_bits(&mut self, index: usize, at: usize, item: u16, bits: &Bits, part: i64) {
        if bits.missing == Some(part as f64) {
            return;
        }
        if !bits.values.is_empty() {
            self.put_named(index, Some(at), item, &bits.values, part);
        } else if bits.width <= 1 && bits.is_plain() && !bits.signed {
            self.put(index, Some(at), item, Value::Flag(part == 1));
        } else {
            let value = (part as f64 * bits.scale + bits.offset) * bits.si_scale + bits.si_offset;
            if value.is_finite() {
                self.put(index, Some(at), item, Value::Number(value));
            } else {
                self.complaints.push(Complaint::NotFinite { field: index as u16 });
            }
        }
    }

    /// Adds a number as stored.
    #[inline]
    pub(super) fn put_number(&mut self, index: usize, item: u16, field: &Field, raw: f64) {
        let value = (raw * field.scale + field.offset) * field.si_scale + field.si_offset;
        if value.is_finite() {
            self.put(index, None, item, Value::Number(value));
        } else {
            self.complaints.push(Complaint::NotFinite { field: index as u16 });
        }
    }

    /// Adds a number that was written as text, as the field has it: bits and states only of whole numbers.
    pub(super) fn put_written(&mut self, index: usize, item: u16, field: &Field, raw: f64) {
        if field.missing == Some(raw) {
            return;
        }
        let is_integer = raw == libm::trunc(raw) && libm::fabs(raw) < 9.0e15;
        if field.is_plain() || !is_integer {
            self.put_number(index, item, field, raw);
        } else {
            self.put_integer(index, item, field, raw as i128);
        }
    }

    fn put_named(&mut self, field: usize, bits: Option<usize>, item: u16, names: &[(i64, String)], raw: i64) {
        let name = names.iter().position(|(value, _)| *value == raw).map(|at| at as u16);
        if name.is_none() {
            self.complaints.push(Complaint::NoName {
                field: field as u16,
                bits: bits.map(|bits| bits as u16),
                raw,
            });
        }
        self.put(field, bits, item, Value::Named { raw, name });
    }
}

impl Field {
    /// Whether it is a number and nothing more: no bits, no named states.
    #[inline]
    pub(super) const fn is_plain(&self) -> bool {
        self.bits.is_empty() && self.values.is_empty()
    }
}

impl Form {
    /// The fields in order.
    pub fn fields(&self) -> &[Field] {
        match self {
            Self::Text { fields, .. }
            | Self::Binary { fields, .. }
            | Self::Keyed { fields, .. }
            | Self::Nmea { fields, .. }
            | Self::Aprs { fields, .. } => fields,
            Self::In { form, .. } => form.fields(),
        }
    }

    /// Whether its packets are lines of text.
    pub fn is_lines(&self) -> bool {
        match self {
            Self::Text { .. } | Self::Nmea { .. } => true,
            Self::Keyed { encoding, .. } => *encoding == Encoding::Json,
            Self::Binary { .. } => false,
            Self::Aprs { envelope, .. } | Self::In { envelope, .. } => envelope.carrier == Carrier::Monitor,
        }
    }

    /// The layout's form itself, without an envelope around it.
    pub fn inner(&self) -> &Self {
        if let Self::In { form, .. } = self { form.inner() } else { self }
    }

    pub(super) fn matches(&self, payload: &[u8]) -> bool {
        match self {
            Self::Text { separator, starts_with, fields } => {
                super::text::matches(separator, starts_with.as_deref(), fields, payload)
            }
            Self::Binary { big_endian, length, fields } => {
                super::binary::matches(*big_endian, *length, fields, payload)
            }
            Self::Keyed { encoding, fields } => super::keyed::matches(*encoding, fields, payload),
            Self::Nmea { .. } => super::nmea::matches(payload),
            Self::Aprs { envelope, .. } => super::aprs::matches(envelope, payload),
            Self::In { envelope, form } => {
                envelope.open(payload).is_some_and(|opened| form.matches(opened.content))
            }
        }
    }

    fn decode(&self, payload: &[u8], decoded: &mut Decoded) {
        match self {
            Self::Text { separator, starts_with, fields } => {
                super::text::decode(separator, starts_with.is_some(), fields, payload, decoded);
            }
            Self::Binary { big_endian, fields, .. } => {
                super::binary::decode(*big_endian, fields, payload, decoded);
            }
            Self::Keyed { encoding, fields } => super::keyed::decode(*encoding, fields, payload, decoded),
            Self::Nmea { position_from, velocity_from, fields } => {
                super::nmea::decode(*position_from, *velocity_from, fields, payload, decoded);
            }
            Self::Aprs { envelope, fields } => super::aprs::decode(envelope, fields, payload, decoded),
            Self::In { envelope, form } => {
                if let Some(opened) = envelope.open(payload) {
                    form.decode(opened.content, decoded);
                }
            }
        }
    }
}

impl Layout {
    /// The fields in order.
    pub fn fields(&self) -> &[Field] {
        self.form.fields()
    }

    /// Whether a payload is one of this layout.
    pub fn matches(&self, payload: &[u8]) -> bool {
        self.form.matches(payload)
    }

    /// Reads a payload that matches.
    pub fn decode(&self, payload: &[u8]) -> Decoded {
        let mut decoded = Decoded::default();
        self.decode_into(payload, &mut decoded);
        decoded
    }

    /// Reads a payload that matches into a buffer, whatever that held before.
    pub fn decode_into(&self, payload: &[u8], decoded: &mut Decoded) {
        decoded.values.clear();
        decoded.complaints.clear();
        self.form.decode(payload, decoded);
    }

    /// What the layout says about an entry that it gave; nothing about entries of another layout.
    pub fn spec(&self, entry: &Entry) -> Option<Spec<'_>> {
        let field = self.fields().get(usize::from(entry.field))?;
        Some(match entry.bits {
            None => Spec {
                name: &field.name,
                meaning: field.meaning,
                channel: field.channel.as_deref(),
                unit: &field.unit,
                values: &field.values,
            },
            Some(at) => {
                let bits = field.bits.get(usize::from(at))?;
                let channel = bits.channel.as_deref();
                Spec {
                    name: &bits.name,
                    meaning: bits.meaning,
                    channel,
                    unit: &bits.unit,
                    values: &bits.values,
                }
            }
        })
    }

    /// The name of an entry's state, if it has one.
    pub fn value_name(&self, entry: &Entry) -> Option<&str> {
        match entry.value {
            Value::Named { name: Some(at), .. } => Some(&self.spec(entry)?.values.get(usize::from(at))?.1),
            _ => None,
        }
    }

    /// The first number that means this, in SI.
    pub fn number(&self, decoded: &Decoded, meaning: Meaning) -> Option<f64> {
        let meant = |entry: &&Entry| self.spec(entry).is_some_and(|spec| spec.meaning == meaning);
        decoded.values.iter().filter(meant).find_map(|entry| entry.value.number())
    }

    /// After how many counts of its own unit a field that means this begins again, in SI: of an unsigned integer of
    /// `n` bytes, 2^(8n) times its scale. None for text and floating-point numbers, which do not wrap.
    pub fn modulus(&self, meaning: Meaning) -> Option<f64> {
        let field = self.fields().iter().find(|field| field.meaning == meaning)?;
        match field.stored {
            super::Stored::Unsigned(bytes) | super::Stored::Signed(bytes) => {
                Some(libm::exp2(8.0 * f64::from(bytes)) * libm::fabs(field.scale * field.si_scale))
            }
            _ => None,
        }
    }
}
