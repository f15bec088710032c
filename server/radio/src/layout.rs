//! The declaration that says how a frame's bytes become values.
//!
//! A layout is checked once ([`Layout::check`]), then decodes frames without a thought: values in SI units, and a list
//! of complaints about what could not be read. Must not know: where the bytes come from, what the values are for.

mod aprs;
mod binary;
mod cbor;
mod check;
mod decoded;
mod envelope;
mod json;
mod keyed;
mod nmea;
mod number;
mod packet;
mod places;
mod series;
mod slots;
mod taken;
#[cfg(test)]
mod testing;
mod text;
mod unit;

use serde::{Deserialize, Serialize};

pub use self::binary::least;
pub use self::check::{LayoutProblem, Place};
pub use self::decoded::{Complaint, Decoded, Entry, Spec, Value};
pub use self::envelope::{Carrier, Envelope};
pub use self::nmea::{PositionFrom, VelocityFrom};
pub use self::packet::Packet;
pub use self::places::Placed;
pub use self::series::Instant;
pub(crate) use self::slots::end_of_group;
pub use self::taken::{Misfit, NOT_TAKEN, take};
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
    /// Values with keys, in any order.
    Keyed {
        /// How they are written.
        encoding: Encoding,
        /// What is read; the rest is passed over.
        fields: Vec<Field>,
    },
    /// NMEA 0183 sentences of a GNSS receiver. The fields are those of [`Form::nmea`].
    Nmea {
        /// The sentence whose position is used.
        position_from: PositionFrom,
        /// The sentence whose velocity is used.
        velocity_from: VelocityFrom,
        /// Fields in the order of [`Form::nmea`].
        fields: Vec<Field>,
    },
    /// APRS position reports. The fields are those of [`Form::aprs`].
    Aprs {
        /// What they come in.
        envelope: Envelope,
        /// Fields in the order of [`Form::aprs`].
        fields: Vec<Field>,
    },
    /// Another form inside an envelope.
    In {
        /// What is around it.
        envelope: Envelope,
        /// What is in it.
        form: Box<Form>,
    },
}

/// How values with keys are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Encoding {
    /// RFC 8259.
    Json,
    /// RFC 8949.
    Cbor,
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
    /// The layout only fits if the text is this.
    #[serde(default)]
    pub is_text: Option<String>,
    /// Of values with keys: where it stands, keys and array indices with dots between. Its name, if not told.
    #[serde(default)]
    pub key: Option<String>,
    /// If it stands several times in a row.
    #[serde(default)]
    pub repeat: Option<Repeat>,
}

/// A field that stands several times: an array, or samples of several instants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repeat {
    /// How often; the most, where the packet says it.
    pub count: u16,
    /// Index of the earlier field that says how often.
    pub count_from: Option<u16>,
    /// Neighbours of one group take turns: all first values, then all second ones.
    pub group: Option<String>,
    /// How the second value and later ones are stored, as differences from the one before; sums wrap at the field's own
    /// width.
    pub delta: Option<Stored>,
    /// Time from one value to the next, s, if they are of several instants.
    pub every_s: Option<f64>,
    /// Whether the packet's own time is that of the last value, else of the first.
    pub timed_last: bool,
}

impl Repeat {
    /// An array of so many.
    pub const fn times(count: u16) -> Self {
        Self { count, count_from: None, group: None, delta: None, every_s: None, timed_last: false }
    }
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
            is_text: None,
            key: None,
            repeat: None,
        }
    }

    /// A field of a form that is fixed: its unit and meaning are the form's.
    fn fixed(name: &str, stored: Stored, unit: &str, meaning: Meaning) -> Self {
        Self { unit: unit.to_owned(), meaning, ..Self::new(name, stored) }
    }

    /// The key path, see [`Field::key`].
    pub fn key(&self) -> &str {
        self.key.as_deref().unwrap_or(&self.name)
    }
}

/// How a field is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stored {
    /// Unsigned integer of so many bytes (1 to 8; up to 16 where it only holds bits).
    Unsigned(u8),
    /// Two's complement integer of so many bytes (1 to 8).
    Signed(u8),
    /// IEEE 754 of 2, 4 or 8 bytes.
    Float(u8),
    /// So many bytes passed over.
    Skip(u16),
    /// A decimal (or 0x) number in a text column.
    Number,
    /// Text in a text column.
    Text,
    /// UTF-8 text of so many bytes in a binary layout, filled up with zero bytes or spaces.
    Chars(u16),
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
    /// Whether they are a two's complement number.
    #[serde(default)]
    pub signed: bool,
    /// value = raw * scale + offset, in the declared unit.
    #[serde(default = "one")]
    pub scale: f64,
    /// See `scale`.
    #[serde(default)]
    pub offset: f64,
    /// Declared unit as written, empty if none.
    #[serde(default)]
    pub unit: String,
    /// SI = value * si_scale + si_offset; worked out from unit and meaning.
    #[serde(default = "one")]
    pub si_scale: f64,
    /// See `si_scale`.
    #[serde(default)]
    pub si_offset: f64,
    /// Raw value that says "no value".
    #[serde(default)]
    pub missing: Option<f64>,
}

/// For setups that were stored before bits had a scale.
const fn one() -> f64 {
    1.0
}

impl Bits {
    /// Bits without scale, unit or meaning.
    pub fn new(bit: u8, width: u8, name: impl Into<String>) -> Self {
        Self {
            bit,
            width,
            name: name.into(),
            meaning: Meaning::Free,
            channel: None,
            values: Vec::new(),
            signed: false,
            scale: 1.0,
            offset: 0.0,
            unit: String::new(),
            si_scale: 1.0,
            si_offset: 0.0,
            missing: None,
        }
    }

    /// Whether they are a number as stored: no scale, no unit.
    pub(crate) fn is_plain(&self) -> bool {
        self.scale == 1.0 && self.offset == 0.0 && self.si_scale == 1.0 && self.si_offset == 0.0
    }
}
