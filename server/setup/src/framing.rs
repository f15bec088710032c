//! How a link's bytes are cut into frames.

use loftwatch_radio::{
    Carrier, Crc, CrcCovers, Cut, Form, Framing, FramingProblem, LengthCounts, LengthField, LineChecksum,
};

use crate::mistake::clean;
use crate::notes::Notes;
use crate::told;
use crate::tree::{Field, Length, Place};

/// Longest frame where none is told, bytes.
const MAX_LENGTH: usize = 1024;

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Lines,
    Cobs,
    Slip,
    Kiss,
    Sync,
    Fixed,
}

const KINDS: &[(&str, Kind)] = &[
    ("lines", Kind::Lines),
    ("cobs", Kind::Cobs),
    ("slip", Kind::Slip),
    ("kiss", Kind::Kiss),
    ("sync", Kind::Sync),
    ("fixed", Kind::Fixed),
];
const CHECKSUMS: &[(&str, LineChecksum)] =
    &[("none", LineChecksum::None), ("optional", LineChecksum::Optional), ("xor", LineChecksum::Xor)];
const LENGTHS: &[(&str, LengthField)] =
    &[("u8", LengthField::U8), ("u16le", LengthField::U16Le), ("u16be", LengthField::U16Be)];
const COUNTS: &[(&str, LengthCounts)] = &[
    ("payload", LengthCounts::Payload),
    ("payload+crc", LengthCounts::PayloadAndCrc),
    ("whole", LengthCounts::Whole),
];
const COVERS: &[(&str, CrcCovers)] = &[
    ("payload", CrcCovers::Payload),
    ("length+payload", CrcCovers::LengthAndPayload),
    ("all", CrcCovers::All),
];
const ORDERS: &[(&str, bool)] = &[("little", false), ("big", true)];

/// What is taken where no framing is told, with why in words.
pub(crate) fn natural(forms: &[&Form]) -> (Cut, &'static str) {
    let carried = |form: &Form| match form {
        Form::Aprs { envelope, .. } | Form::In { envelope, .. } => envelope.carrier == Carrier::Ax25,
        _ => false,
    };
    if forms.iter().all(|form| form.is_lines()) {
        (Cut::Lines { checksum: LineChecksum::Optional }, "lines, as the layouts are text")
    } else if forms.iter().all(|form| carried(form)) {
        (Cut::Kiss, "kiss, as the layouts are AX.25 frames")
    } else {
        (Cut::Cobs, "cobs without a CRC, as a layout is binary")
    }
}

/// Checks a framing.
pub(crate) fn mean(
    field: &Field<told::Framing>,
    (cut, words): (Cut, &'static str),
    notes: &mut Notes,
) -> Framing {
    let plain = Framing { cut, crc: None, max_length: MAX_LENGTH };
    let Field::Is(at) = field else {
        return if field.absent() { notes.default(field.place(), words, plain) } else { plain };
    };
    let told = &at.value;
    let before = notes.mistakes.len();
    let Some(kind) = notes.choice_required(&told.kind, KINDS) else {
        kindless(told, notes);
        return plain;
    };
    astray(told, kind, notes);
    let crc = crc(told, notes);
    let cut = match kind {
        Kind::Lines => Cut::Lines {
            checksum: notes.choice_or(&told.checksum, CHECKSUMS, ("optional", LineChecksum::Optional)),
        },
        Kind::Cobs => Cut::Cobs,
        Kind::Slip => Cut::Slip,
        Kind::Kiss => Cut::Kiss,
        Kind::Sync => Cut::Sync {
            sync: sync(told, true, notes),
            length: length_word(&told.length, notes),
            counts: notes.choice_or(&told.length_counts, COUNTS, ("payload", LengthCounts::Payload)),
            crc_covers: covers(told, crc.is_some(), notes),
        },
        Kind::Fixed => Cut::Fixed {
            length: length_bytes(&told.length, notes),
            sync: sync(told, false, notes),
            crc_covers: covers(told, crc.is_some(), notes),
        },
    };
    let fixed_length = if let Cut::Fixed { length, .. } = &cut { *length } else { 0 };
    let max_length = match &told.max_length {
        Field::Absent(place) => {
            let bytes = MAX_LENGTH.max(fixed_length);
            notes.default(place, format!("{bytes} bytes"), bytes)
        }
        field => notes.whole(field, 2, 131_072, "bytes").map_or(MAX_LENGTH, |bytes| bytes as usize),
    };
    let framing = Framing { cut, crc, max_length };
    if notes.mistakes.len() == before {
        for problem in framing.check() {
            let place = match problem {
                FramingProblem::Crc(_) => told.crc.place(),
                FramingProblem::NoRoom { .. } | FramingProblem::TooLarge { .. } => told.max_length.place(),
                FramingProblem::NoSync | FramingProblem::LongSync { .. } => told.sync.place(),
                FramingProblem::FixedTooShort { .. } => told.length.place(),
                FramingProblem::NoLengthField => told.crc_covers.place(),
            };
            notes.refuse(place, "a framing that can be cut", problem.to_string(), None);
        }
    }
    framing
}

/// What can be said of a framing of no known kind: each key by itself.
fn kindless(told: &told::Framing, notes: &mut Notes) {
    crc(told, notes);
    sync(told, false, notes);
    notes.choice(&told.checksum, CHECKSUMS);
    notes.choice(&told.length_counts, COUNTS);
    notes.choice(&told.crc_covers, COVERS);
    notes.whole(&told.max_length, 2, 131_072, "bytes");
    match told.length.get().map(|at| &at.value) {
        Some(Length::Word(_)) => drop(length_word(&told.length, notes)),
        Some(Length::Bytes(_)) => drop(length_bytes(&told.length, notes)),
        None => {}
    }
}

/// Keys of another kind of framing.
fn astray(told: &told::Framing, kind: Kind, notes: &mut Notes) {
    let word = KINDS.iter().find(|(_, k)| *k == kind).map_or("", |(word, _)| word);
    let header = matches!(kind, Kind::Sync | Kind::Fixed);
    let text = |field: &Field<String>| field.get().map(|at| at.at.clone());
    let length = told.length.get().map(|at| at.at.clone());
    for (place, fits, whose) in [
        (text(&told.checksum), kind == Kind::Lines, "\"lines\""),
        (text(&told.sync), header, "\"sync\" and \"fixed\""),
        (length, header, "\"sync\" and \"fixed\""),
        (text(&told.length_counts), kind == Kind::Sync, "\"sync\""),
        (text(&told.crc_covers), header, "\"sync\" and \"fixed\""),
    ] {
        if let Some(place) = place.filter(|_| !fits) {
            notes.refuse(
                &place,
                format!("this key only for {whose}"),
                format!("a framing of kind \"{word}\""),
                None,
            );
        }
    }
}

fn crc(told: &told::Framing, notes: &mut Notes) -> Option<Crc> {
    let big_endian = match &told.crc_order {
        Field::Is(at) if told.crc.absent() => {
            notes.refuse(&at.at, "a `crc` beside its order", "none", None);
            false
        }
        Field::Absent(_) if told.crc.absent() => false,
        field => notes.choice_or(field, ORDERS, ("little", false)),
    };
    let at = match &told.crc {
        Field::Is(at) if at.value.trim().eq_ignore_ascii_case("none") => return None,
        Field::Is(at) => at,
        Field::Absent(place) => {
            notes.default(place, "none", ());
            return None;
        }
        Field::Wrong(_) => return None,
    };
    match Crc::canonical(&at.value) {
        Ok(name) => Some(Crc { name: name.to_owned(), big_endian }),
        Err(unknown) => {
            notes.refuse(
                &at.at,
                "a name of the public CRC catalogue",
                format!("\"{}\"", clean(&at.value, 60)),
                Some(unknown.hint()),
            );
            None
        }
    }
}

fn covers(told: &told::Framing, has_crc: bool, notes: &mut Notes) -> CrcCovers {
    if !has_crc {
        return notes.choice(&told.crc_covers, COVERS).unwrap_or(CrcCovers::Payload);
    }
    notes.choice_or(&told.crc_covers, COVERS, ("payload", CrcCovers::Payload))
}

/// Bytes written in hex: `A5 5A`, `a55a`, `0xA5, 0x5A`.
fn sync(told: &told::Framing, needed: bool, notes: &mut Notes) -> Vec<u8> {
    let expected = "1 to 16 bytes in hex, such as \"A5 5A\"";
    let at = match &told.sync {
        Field::Is(at) => at,
        Field::Absent(place) if needed => {
            notes.missing(place, expected, None);
            return Vec::new();
        }
        _ => return Vec::new(),
    };
    let spelt = at.value.replace("0x", " ").replace("0X", " ");
    let digits: String = spelt.chars().filter(|c| !c.is_whitespace() && *c != ',' && *c != ':').collect();
    let bytes: Option<Vec<u8>> = (digits.is_ascii() && digits.len().is_multiple_of(2))
        .then(|| {
            (0..digits.len()).step_by(2).map(|i| u8::from_str_radix(&digits[i..i + 2], 16).ok()).collect()
        })
        .flatten();
    match bytes {
        Some(bytes) if (1..=16).contains(&bytes.len()) => bytes,
        _ => {
            notes.refuse(&at.at, expected, format!("\"{}\"", clean(&at.value, 60)), None);
            Vec::new()
        }
    }
}

fn length_word(field: &Field<Length>, notes: &mut Notes) -> LengthField {
    let told = match field {
        Field::Is(at) => match &at.value {
            Length::Word(word) => Field::Is(crate::tree::At { value: word.clone(), at: at.at.clone() }),
            Length::Bytes(bytes) => {
                let hint = Some("a fixed length goes with kind = \"fixed\"".to_owned());
                notes.refuse(
                    &at.at,
                    "how the length is stored: \"u8\", \"u16le\" or \"u16be\"",
                    bytes.to_string(),
                    hint,
                );
                return LengthField::U8;
            }
        },
        other => wordless(other.absent(), other.place()),
    };
    notes.choice_required(&told, LENGTHS).unwrap_or(LengthField::U8)
}

fn wordless(absent: bool, place: &Place) -> Field<String> {
    if absent { Field::Absent(place.clone()) } else { Field::Wrong(place.clone()) }
}

fn length_bytes(field: &Field<Length>, notes: &mut Notes) -> usize {
    let expected = "the whole frame's length in bytes, 1 to 65536";
    match field {
        Field::Is(at) => match &at.value {
            Length::Bytes(bytes) if (1..=65_536).contains(bytes) => return *bytes as usize,
            Length::Bytes(bytes) => notes.refuse(&at.at, expected, bytes.to_string(), None),
            Length::Word(word) => notes.refuse(&at.at, expected, format!("\"{}\"", clean(word, 40)), None),
        },
        Field::Absent(place) => notes.missing(place, expected, None),
        Field::Wrong(_) => {}
    }
    1
}
