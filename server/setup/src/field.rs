//! Fields of a layout, and the bits inside them.

use loftwatch_radio::{Bits, Conversion, Field as Meant, Form, Layout, Meaning, Stored, Unit};

use crate::notes::{Notes, no_guess, want};
use crate::told;
use crate::tree::{At, Field};

/// Greatest magnitude of a scale, offset or raw value.
const ANY: f64 = 1.0e18;

const ORDERS: &[(&str, bool)] = &[("little", false), ("big", true)];

/// How binary fields are stored; `bits` and `skip` take their width from `bytes`.
const BINARY: &[(&str, Stored)] = &[
    ("u8", Stored::Unsigned(1)),
    ("i8", Stored::Signed(1)),
    ("u16", Stored::Unsigned(2)),
    ("i16", Stored::Signed(2)),
    ("u24", Stored::Unsigned(3)),
    ("i24", Stored::Signed(3)),
    ("u32", Stored::Unsigned(4)),
    ("i32", Stored::Signed(4)),
    ("u64", Stored::Unsigned(8)),
    ("i64", Stored::Signed(8)),
    ("f32", Stored::Float(4)),
    ("f64", Stored::Float(8)),
    ("bits", Stored::Unsigned(0)),
    ("skip", Stored::Skip(1)),
];

/// How text columns are stored.
const TEXT: &[(&str, Stored)] =
    &[("number", Stored::Number), ("text", Stored::Text), ("skip", Stored::Skip(1))];

/// Checks the fields of a layout.
pub(crate) fn mean(told: &[At<told::LayoutField>], text: bool, notes: &mut Notes) -> Vec<Meant> {
    told.iter().enumerate().map(|(index, field)| one(index, field, text, notes)).collect()
}

/// All meanings of a layout, those of bits included.
pub(crate) fn all(layout: &Layout) -> impl Iterator<Item = Meaning> {
    let (Form::Text { fields, .. } | Form::Binary { fields, .. }) = &layout.form;
    fields
        .iter()
        .flat_map(|field| std::iter::once(field.meaning).chain(field.bits.iter().map(|bits| bits.meaning)))
}

fn one(index: usize, told: &At<told::LayoutField>, text: bool, notes: &mut Notes) -> Meant {
    let told = &told.value;
    let bits: Vec<Bits> = told.bits.list().iter().map(|bits| one_bits(&bits.value, notes)).collect();
    let stored = stored(told, text, &bits, notes);
    let skip = matches!(stored, Stored::Skip(_));
    let name = match &told.name {
        Field::Absent(_) if skip => format!("skip {}", index + 1),
        Field::Absent(place) => {
            notes.missing(place, "a name for this field", None);
            String::new()
        }
        field => notes.name(field).unwrap_or_default(),
    };
    let meaning = meaning(&told.means, notes);
    let unit = match &told.unit {
        Field::Is(at) if at.value.is_empty() => String::new(),
        field => notes.name(field).unwrap_or_default(),
    };
    let scale = notes.number(&told.scale, want(-ANY, ANY, ""), no_guess).unwrap_or(1.0);
    let offset = notes.number(&told.offset, want(-ANY, ANY, ""), no_guess).unwrap_or(0.0);
    if !skip && stored != Stored::Text && told.means.absent() && bits.is_empty() && told.is.absent() {
        notes.default(told.means.place(), "free: kept and shown", ());
    }
    // A unit that does not fit is told by the layout's own check.
    let si = Unit::conversion(meaning, &unit).unwrap_or(Conversion::AS_IS);
    let big_endian = match &told.byte_order {
        Field::Is(at) if text => {
            notes.refuse(&at.at, "this key only in \"binary\" layouts", "a text layout", None);
            None
        }
        field => notes.choice(field, ORDERS),
    };
    Meant {
        name,
        stored,
        scale,
        offset,
        unit,
        si_scale: si.scale,
        si_offset: si.offset,
        meaning,
        channel: notes.name(&told.channel),
        is: notes.number(&told.is, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()),
        missing: notes.number(&told.missing, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()),
        values: told.values.get().map(|at| at.value.0.clone()).unwrap_or_default(),
        bits,
        big_endian,
    }
}

fn stored(told: &told::LayoutField, text: bool, bits: &[Bits], notes: &mut Notes) -> Stored {
    let bytes = notes.whole(&told.bytes, 1, 65_535, "bytes");
    if text {
        if let Field::Is(at) = &told.bytes {
            notes.refuse(&at.at, "this key only in \"binary\" layouts", "a text layout", None);
        }
        let default = ("number", Stored::Number);
        return match &told.kind {
            Field::Absent(_) => default.1,
            field => notes.choice(field, TEXT).unwrap_or(default.1),
        };
    }
    let Some(kind) = notes.choice_required(&told.kind, BINARY) else { return Stored::Unsigned(1) };
    match kind {
        Stored::Skip(_) => Stored::Skip(bytes.unwrap_or(1) as u16),
        Stored::Unsigned(0) => {
            let needed =
                bits.iter().map(|b| u32::from(b.bit) + u32::from(b.width)).max().unwrap_or(1).div_ceil(8);
            let bytes = bytes.unwrap_or_else(|| i64::from(needed));
            if !(1..=8).contains(&bytes) {
                notes.refuse(told.bytes.place(), "1 to 8 bytes of bits", bytes.to_string(), None);
            }
            Stored::Unsigned(bytes.clamp(1, 8) as u8)
        }
        other => {
            if let Field::Is(at) = &told.bytes {
                notes.refuse(&at.at, "`bytes` only with the types `skip` and `bits`", "another type", None);
            }
            other
        }
    }
}

fn one_bits(told: &told::Bits, notes: &mut Notes) -> Bits {
    if told.bit.absent() {
        notes.missing(told.bit.place(), "the lowest bit, from 0", None);
    }
    let name = match &told.name {
        Field::Absent(place) => {
            notes.missing(place, "a name for these bits", None);
            String::new()
        }
        field => notes.name(field).unwrap_or_default(),
    };
    Bits {
        bit: notes.whole(&told.bit, 0, 63, "").unwrap_or_default() as u8,
        width: notes.whole(&told.width, 1, 63, "bits").unwrap_or(1) as u8,
        name,
        meaning: meaning(&told.means, notes),
        channel: notes.name(&told.channel),
        values: told.values.get().map(|at| at.value.0.clone()).unwrap_or_default(),
    }
}

fn meaning(field: &Field<String>, notes: &mut Notes) -> Meaning {
    let allowed: Vec<(&str, Meaning)> = Meaning::ALL.iter().map(|m| (m.name(), *m)).collect();
    notes.choice(field, &allowed).unwrap_or(Meaning::Free)
}
