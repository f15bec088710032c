//! The declaration that says how a frame's bytes become values.
//!
//! A layout is checked once ([`Layout::check`]), then decodes frames without a thought: values in SI units, and a list
//! of complaints about what could not be read. Must not know: where the bytes come from, what the values are for.

mod binary;
mod check;
mod decoded;
mod number;
#[cfg(test)]
mod testing;
mod text;
mod unit;

use serde::{Deserialize, Serialize};

pub use self::check::{LayoutProblem, Place};
pub use self::decoded::{Complaint, Decoded, Entry, Spec, Value};
pub use self::unit::{Conversion, Unit, UnitError};

use crate::meaning::Meaning;

/// A layout, as meant.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Layout {
    /// Name as the crew says it.
    pub name: String,
    /// Columns of text or fields of bytes.
    pub form: Form,
    /// Fixed body (index), if the layout always belongs to one.
    pub body: Option<usize>,
    /// Expected rate, Hz, if told.
    pub rate_hz: Option<f64>,
}

/// Text or binary.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// Columns.
    Text {
        /// Between columns; one or more characters.
        separator: String,
        /// What the first column must be; it is not a field.
        starts_with: Option<String>,
        /// Columns in order.
        fields: Vec<Field>,
    },
    /// Packed fields in order.
    Binary {
        /// Whether fields are big-endian by default.
        big_endian: bool,
        /// Exact payload length, if told; else the payload must at least hold the fields.
        length: Option<usize>,
        /// Fields in order.
        fields: Vec<Field>,
    },
}

/// One field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// Name in the crew's words.
    pub name: String,
    /// How it is stored. Text columns use `Number` or `Text`.
    pub stored: Stored,
    /// value = raw * scale + offset, in the declared unit.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
    /// Declared unit as written, empty if none.
    pub unit: String,
    /// SI = value * si_scale + si_offset; worked out from unit and meaning.
    pub si_scale: f64,
    /// See `si_scale`.
    pub si_offset: f64,
    /// What it means.
    pub meaning: Meaning,
    /// For per-channel meanings (continuity, armed, commanded, fired): the cue's or channel's name.
    pub channel: Option<String>,
    /// The layout only fits if the raw value is this.
    pub is: Option<f64>,
    /// Raw value that says "no value".
    pub missing: Option<f64>,
    /// Names of raw values (enumerations).
    pub values: Vec<(i64, String)>,
    /// Flags and small enumerations packed into this field.
    pub bits: Vec<Bits>,
    /// Byte order of this field, if it differs from the layout's.
    pub big_endian: Option<bool>,
}

impl Field {
    /// A field without scale, unit or meaning: its raw value is its value. The rest is written over this.
    pub fn new(name: impl Into<String>, stored: Stored) -> Self {
        Self {
            name: name.into(),
            stored,
            scale: 1.0,
            offset: 0.0,
            unit: String::new(),
            si_scale: 1.0,
            si_offset: 0.0,
            meaning: Meaning::Free,
            channel: None,
            is: None,
            missing: None,
            values: Vec::new(),
            bits: Vec::new(),
            big_endian: None,
        }
    }
}

/// How a field is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stored {
    /// Unsigned integer of so many bytes (1 to 8).
    Unsigned(u8),
    /// Two's complement integer of so many bytes (1 to 8).
    Signed(u8),
    /// IEEE 754 of 4 or 8 bytes.
    Float(u8),
    /// So many bytes passed over.
    Skip(u16),
    /// A decimal (or 0x) number in a text column.
    Number,
    /// Text in a text column.
    Text,
}

/// Bits inside an integer field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bits {
    /// Lowest bit, 0 is the least significant.
    pub bit: u8,
    /// How many bits.
    pub width: u8,
    /// Name.
    pub name: String,
    /// What it means.
    pub meaning: Meaning,
    /// See [`Field::channel`].
    pub channel: Option<String>,
    /// Names of values.
    pub values: Vec<(i64, String)>,
}
