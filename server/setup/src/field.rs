//! Fields of a layout, and the bits inside them.

use loftwatch_radio::{Bits, Conversion, Field as Meant, Layout, Meaning, Repeat, Stored, Unit};

use crate::mistake::clean;
use crate::notes::{Notes, no_guess, want};
use crate::told;
use crate::tree::{At, Count, Field, Is};

/// Greatest magnitude of a scale, offset or raw value.
const ANY: f64 = 1.0e18;

const ORDERS: &[(&str, bool)] = &[("little", false), ("big", true)];

/// Most times that a field may stand in a row.
const MOST_REPEATS: i64 = 1024;

/// How binary fields are stored; `bits`, `text` and `skip` take their width from `bytes`.
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
    ("f16", Stored::Float(2)),
    ("f32", Stored::Float(4)),
    ("f64", Stored::Float(8)),
    ("bits", Stored::Unsigned(0)),
    ("text", Stored::Chars(1)),
    ("skip", Stored::Skip(1)),
];

/// How text columns are stored.
const TEXT: &[(&str, Stored)] =
    &[("number", Stored::Number), ("text", Stored::Text), ("skip", Stored::Skip(1))];

/// How values with keys are read.
const KEYED: &[(&str, Stored)] = &[("number", Stored::Number), ("text", Stored::Text)];

/// How differences are stored.
const DELTAS: &[(&str, Stored)] = &[
    ("i8", Stored::Signed(1)),
    ("u8", Stored::Unsigned(1)),
    ("i16", Stored::Signed(2)),
    ("u16", Stored::Unsigned(2)),
    ("i24", Stored::Signed(3)),
    ("i32", Stored::Signed(4)),
];

/// What kind of layout fields stand in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Within {
    Binary,
    Text,
    Keyed,
}

impl Within {
    const fn word(self) -> &'static str {
        match self {
            Self::Binary => "a binary layout",
            Self::Text => "a text layout",
            Self::Keyed => "a layout of values with keys",
        }
    }
}

/// Checks the fields of a layout that stand after others.
pub(crate) fn mean(
    told: &[At<told::LayoutField>],
    within: Within,
    earlier: &[Meant],
    notes: &mut Notes,
) -> Vec<Meant> {
    let mut all = earlier.to_vec();
    for field in told {
        let meant = one(field, within, &all, notes);
        all.push(meant);
    }
    all.split_off(earlier.len())
}

/// All meanings of a layout, those of bits included.
pub(crate) fn all(layout: &Layout) -> impl Iterator<Item = Meaning> {
    layout
        .fields()
        .iter()
        .flat_map(|field| std::iter::once(field.meaning).chain(field.bits.iter().map(|bits| bits.meaning)))
}

/// Refuses a key that this kind of layout has no use for.
fn astray<T>(field: &Field<T>, whose: &str, within: Within, notes: &mut Notes) -> bool {
    if let Field::Is(at) = field {
        notes.refuse(&at.at, format!("this key only in {whose} layouts"), within.word(), None);
        return true;
    }
    false
}

fn one(told: &At<told::LayoutField>, within: Within, earlier: &[Meant], notes: &mut Notes) -> Meant {
    let told = &told.value;
    let bits: Vec<Bits> = told.bits.list().iter().map(|bits| one_bits(&bits.value, notes)).collect();
    let stored = stored(told, within, &bits, notes);
    let skip = matches!(stored, Stored::Skip(_));
    let name = match &told.name {
        Field::Absent(_) if skip => format!("skip {}", earlier.len() + 1),
        Field::Absent(place) => {
            notes.missing(place, "a name for this field", None);
            String::new()
        }
        field => notes.name(field).unwrap_or_default(),
    };
    let meaning = meaning(&told.means, notes);
    let unit = unit(&told.unit, notes);
    let scale = factor(&told.scale, 1.0, notes);
    let offset = factor(&told.offset, 0.0, notes);
    let text = matches!(stored, Stored::Text | Stored::Chars(_));
    if !skip && !text && told.means.absent() && bits.is_empty() && told.is.absent() {
        notes.default(told.means.place(), "free: kept and shown", ());
    }
    // A unit that does not fit is told by the layout's own check.
    let si = Unit::conversion(meaning, &unit).unwrap_or(Conversion::AS_IS);
    let big_endian = if within == Within::Binary {
        notes.choice(&told.byte_order, ORDERS)
    } else {
        astray(&told.byte_order, "\"binary\"", within, notes);
        None
    };
    let (is, is_text) = is(&told.is, text, notes);
    if within != Within::Keyed {
        astray(&told.key, "\"json\" and \"cbor\"", within, notes);
    }
    let key = if within == Within::Keyed { notes.name(&told.key) } else { None };
    if within == Within::Keyed && told.key.absent() {
        notes.default(told.key.place(), &name, ());
    }
    Meant {
        scale,
        offset,
        unit,
        si_scale: si.scale,
        si_offset: si.offset,
        meaning,
        channel: notes.name(&told.channel),
        is,
        missing: notes.number(&told.missing, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()),
        values: told.values.get().map(|at| at.value.0.clone()).unwrap_or_default(),
        bits,
        big_endian,
        is_text,
        key,
        repeat: repeat(told, within, earlier, notes),
        ..Meant::new(name, stored)
    }
}

/// What the stored value must be: text for a text field, else a number.
pub(crate) fn is(told: &Field<Is>, text: bool, notes: &mut Notes) -> (Option<f64>, Option<String>) {
    let Field::Is(at) = told else { return (None, None) };
    match &at.value {
        Is::Text(is) if text => (None, Some(is.clone())),
        Is::Number(is) if !text => {
            let number = Field::Is(At { value: *is, at: at.at.clone() });
            (notes.number(&number, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()), None)
        }
        Is::Text(is) => {
            let hint = Some("a field of text has type = \"text\"".to_owned());
            notes.refuse(&at.at, "a number, as the field is one", format!("\"{}\"", clean(is, 40)), hint);
            (None, None)
        }
        Is::Number(is) => {
            notes.refuse(&at.at, "text in quotes, as the field is text", is.to_string(), None);
            (None, None)
        }
    }
}

/// A scale or offset. What was refused is harmless from here on, so that it is not told a second time.
fn factor(told: &Field<f64>, default: f64, notes: &mut Notes) -> f64 {
    notes.number(told, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()).unwrap_or(default)
}

fn unit(field: &Field<String>, notes: &mut Notes) -> String {
    match field {
        Field::Is(at) if at.value.is_empty() => String::new(),
        field => notes.name(field).unwrap_or_default(),
    }
}

/// Arrays, and samples of several instants.
fn repeat(told: &told::LayoutField, within: Within, earlier: &[Meant], notes: &mut Notes) -> Option<Repeat> {
    let delta = if within == Within::Binary {
        notes.choice(&told.delta, DELTAS)
    } else {
        astray(&told.delta, "\"binary\"", within, notes);
        None
    };
    let group = if within == Within::Keyed {
        astray(&told.group, "\"binary\" and \"text\"", within, notes);
        None
    } else {
        notes.name(&told.group)
    };
    let every_s = notes.number(&told.every_s, want(1.0e-6, 60.0, "s"), no_guess).filter(|v| v.is_finite());
    let timed_last = notes.choice(&told.timed, &[("first", false), ("last", true)]);
    let at = match &told.count {
        Field::Is(at) => at,
        Field::Wrong(_) => return None,
        Field::Absent(place) => {
            let needless = [&told.delta, &told.group, &told.timed].iter().any(|field| !field.absent());
            if needless || !told.every_s.absent() {
                notes.missing(place, "how often the field stands, such as 8", None);
            }
            return None;
        }
    };
    let (count, count_from) = match &at.value {
        Count::Times(times) => {
            let told = Field::Is(At { value: *times, at: at.at.clone() });
            (notes.whole(&told, 1, MOST_REPEATS, "times")?, None)
        }
        Count::By(name) => {
            let names: Vec<String> = earlier.iter().map(|field| field.name.clone()).collect();
            let from = notes.named(name, &at.at, &names, "field before this one")?;
            let can = match earlier[from].stored {
                Stored::Unsigned(1) => 255,
                _ => MOST_REPEATS,
            };
            let most = notes.whole(&told.most, 1, MOST_REPEATS, "times");
            if told.most.absent() {
                notes.default(told.most.place(), can, ());
            }
            (most.unwrap_or(can), Some(from as u16))
        }
    };
    if let (Field::Is(most), None) = (&told.most, count_from) {
        notes.refuse(&most.at, "this key only where `count` names a field", count.to_string(), None);
    }
    if every_s.is_some() && told.timed.absent() {
        notes.default(told.timed.place(), "first", ());
    }
    Some(Repeat {
        count: count as u16,
        count_from,
        group,
        delta,
        every_s,
        timed_last: timed_last.unwrap_or(false),
    })
}

fn stored(told: &told::LayoutField, within: Within, bits: &[Bits], notes: &mut Notes) -> Stored {
    let bytes = notes.whole(&told.bytes, 1, 65_535, "bytes");
    if within != Within::Binary {
        astray(&told.bytes, "\"binary\"", within, notes);
        let default = ("number", Stored::Number);
        let allowed = if within == Within::Text { TEXT } else { KEYED };
        return match &told.kind {
            Field::Absent(_) => default.1,
            field => notes.choice(field, allowed).unwrap_or(default.1),
        };
    }
    let Some(kind) = notes.choice_required(&told.kind, BINARY) else { return Stored::Unsigned(1) };
    match kind {
        Stored::Skip(_) => Stored::Skip(bytes.unwrap_or(1) as u16),
        Stored::Chars(_) => {
            if told.bytes.absent() {
                notes.missing(told.bytes.place(), "how many bytes the text takes", None);
            }
            Stored::Chars(bytes.unwrap_or(1) as u16)
        }
        Stored::Unsigned(0) => {
            let needed =
                bits.iter().map(|b| u32::from(b.bit) + u32::from(b.width)).max().unwrap_or(1).div_ceil(8);
            let bytes = bytes.unwrap_or_else(|| i64::from(needed));
            if !(1..=16).contains(&bytes) {
                notes.refuse(told.bytes.place(), "1 to 16 bytes of bits", bytes.to_string(), None);
            }
            Stored::Unsigned(bytes.clamp(1, 16) as u8)
        }
        other => {
            if let Field::Is(at) = &told.bytes {
                let expected = "`bytes` only with the types `skip`, `text` and `bits`";
                notes.refuse(&at.at, expected, "another type", None);
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
    let (meaning, unit) = (meaning(&told.means, notes), unit(&told.unit, notes));
    let si = Unit::conversion(meaning, &unit).unwrap_or(Conversion::AS_IS);
    Bits {
        bit: notes.whole(&told.bit, 0, 127, "").unwrap_or_default() as u8,
        width: notes.whole(&told.width, 1, 63, "bits").unwrap_or(1) as u8,
        name,
        meaning,
        channel: notes.name(&told.channel),
        values: told.values.get().map(|at| at.value.0.clone()).unwrap_or_default(),
        signed: told.signed.get().is_some_and(|at| at.value),
        scale: factor(&told.scale, 1.0, notes),
        offset: factor(&told.offset, 0.0, notes),
        unit,
        si_scale: si.scale,
        si_offset: si.offset,
        missing: notes.number(&told.missing, want(-ANY, ANY, ""), no_guess).filter(|v| v.is_finite()),
    }
}

fn meaning(field: &Field<String>, notes: &mut Notes) -> Meaning {
    let allowed: Vec<(&str, Meaning)> = Meaning::ALL.iter().map(|m| (m.name(), *m)).collect();
    notes.choice(field, &allowed).unwrap_or(Meaning::Free)
}
