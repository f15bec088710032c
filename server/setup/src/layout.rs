//! Layouts: what the bytes of a frame say.

use loftwatch_radio::{Form, Layout, LayoutProblem, Meaning, UnitError};

use crate::field;
use crate::mistake::clean;
use crate::nearest::listed;
use crate::notes::{Notes, no_guess, want};
use crate::told;
use crate::tree::{At, Field, Place};

/// The most layouts.
const MOST: usize = 64;

const ORDERS: &[(&str, bool)] = &[("little", false), ("big", true)];

/// Checks the layouts.
pub(crate) fn mean(told: &[At<told::Layout>], body_names: &[String], notes: &mut Notes) -> Vec<Layout> {
    if let Some(extra) = told.get(MOST) {
        notes.refuse(&extra.at, format!("at most {MOST} layouts"), told.len().to_string(), None);
    }
    let names = notes.names(told.iter().map(|layout| &layout.value.name), "layout");
    told.iter().zip(names).map(|(layout, name)| one(layout, name, body_names, notes)).collect()
}

fn one(told: &At<told::Layout>, name: String, body_names: &[String], notes: &mut Notes) -> Layout {
    let At { value: told, at } = told;
    let before = notes.mistakes.len();
    let text = notes.choice_required(&told.kind, &[("binary", false), ("text", true)]);
    let body = notes.reference(&told.body, body_names, "body");
    let rate_hz = notes.number(&told.rate_hz, want(0.001, 10_000.0, "packets a second"), no_guess);
    if rate_hz.is_none() {
        notes.default(told.rate_hz.place(), "not told: loss only from sequence numbers", ());
    }
    let is_text = text.unwrap_or_else(|| !told.separator.absent() || !told.starts_with.absent());
    let fields = field::mean(told.fields.list(), is_text, notes);
    let form = if is_text {
        astray(&told.byte_order, "binary", notes);
        if let Field::Is(length) = &told.length {
            notes.refuse(&length.at, "this key only for \"binary\" layouts", "a text layout", None);
        }
        Form::Text {
            separator: separator(&told.separator, notes),
            starts_with: starts_with(&told.starts_with, notes),
            fields,
        }
    } else {
        astray(&told.separator, "text", notes);
        astray(&told.starts_with, "text", notes);
        let length = notes.whole(&told.length, 1, 65_536, "bytes").map(|bytes| bytes as usize);
        if told.length.absent() {
            let bytes: usize = fields.iter().map(|f| f.stored.bytes()).sum();
            notes.default(told.length.place(), format!("any of {bytes} bytes or more"), ());
        }
        Form::Binary {
            big_endian: notes.choice_or(&told.byte_order, ORDERS, ("little", false)),
            length,
            fields,
        }
    };
    let layout = Layout { name, form, body, rate_hz: rate_hz.filter(|rate| rate.is_finite()) };
    if body.is_none() && told.body.absent() {
        let sent = field::all(&layout).any(|meaning| meaning == Meaning::Transmitter);
        let words = if sent {
            "whose transmitter number the packet holds"
        } else {
            "the vehicle, as the packet holds no transmitter number"
        };
        notes.default(told.body.place(), words, ());
    }
    for (place, problem) in layout.check() {
        let of_field = place.field.and_then(|index| told.fields.list().get(index));
        // What was refused above stands in the layout as something harmless; it is not told a second time.
        let told_already = |at: &Place| notes.mistakes[before..].iter().any(|m| m.key.starts_with(&at.key));
        match of_field {
            Some(of_field) if told_already(&of_field.at) => {}
            Some(of_field) => {
                let bits = place.bits.and_then(|index| of_field.value.bits.list().get(index));
                let at = bits
                    .map_or_else(|| of_problem(&of_field.value, &of_field.at, &problem), |bits| &bits.at)
                    .clone();
                refuse(&at, &problem, notes);
            }
            None if matches!(problem, LayoutProblem::NoFields) && !told.fields.list().is_empty() => {}
            None if matches!(problem, LayoutProblem::NoFields) => {
                let hint = Some("write a [[layout.field]] for each".to_owned());
                if told.fields.absent() || told.fields.get().is_some() {
                    notes.missing(at, "at least one field", hint);
                }
            }
            None if told_already(at) => {}
            None => refuse(at, &problem, notes),
        }
    }
    layout
}

/// The key that a field's problem is about.
fn of_problem<'a>(told: &'a told::LayoutField, whole: &'a Place, problem: &LayoutProblem) -> &'a Place {
    let place = match problem {
        LayoutProblem::Unit(_) | LayoutProblem::Conversion { .. } => told.unit.place(),
        LayoutProblem::SameName { .. } => told.name.place(),
        LayoutProblem::NoChannel { .. } | LayoutProblem::NeedlessChannel { .. } => told.channel.place(),
        LayoutProblem::SameMeaning { .. } => told.means.place(),
        LayoutProblem::Scale { .. } if !told.scale.absent() => told.scale.place(),
        LayoutProblem::Scale { .. } => told.offset.place(),
        LayoutProblem::Never { .. } if !told.is.absent() => told.is.place(),
        LayoutProblem::Never { .. } => told.missing.place(),
        LayoutProblem::BitsOfNoInteger { .. } => told.bits.place(),
        LayoutProblem::ValueTwice { .. } => told.values.place(),
        _ => whole,
    };
    if place.key.is_empty() { whole } else { place }
}

/// Notes a problem that the layout's own check found.
fn refuse(at: &Place, problem: &LayoutProblem, notes: &mut Notes) {
    let near = |names: &[&str]| {
        let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
        (!quoted.is_empty()).then(|| format!("did you mean {}?", quoted.join(" or ")))
    };
    match problem {
        LayoutProblem::NoChannel { .. } => {
            let hint = Some("write `channel = \"...\"`".to_owned());
            notes.missing(at, "the channel: a cue's name, or a word of yours", hint);
        }
        LayoutProblem::Unit(UnitError::Missing { meaning, allowed }) => {
            notes.missing(at, format!("a unit for {meaning}: {}", listed(allowed.iter().copied())), None);
        }
        LayoutProblem::Unit(UnitError::Other { unit, meaning, allowed }) => {
            let expected = format!("a unit for {meaning}: {}", listed(allowed.iter().copied()));
            notes.refuse(at, expected, format!("\"{}\", a unit of something else", clean(unit, 20)), None);
        }
        LayoutProblem::Unit(UnitError::Unknown { unit, meaning, nearest, allowed }) => {
            let expected = format!("a unit for {meaning}: {}", listed(allowed.iter().copied()));
            notes.refuse(at, expected, format!("\"{}\"", clean(unit, 20)), near(nearest));
        }
        other => notes.refuse(at, expected(other), format!("that {other}"), None),
    }
}

/// What was expected instead.
fn expected(problem: &LayoutProblem) -> &'static str {
    match problem {
        LayoutProblem::SameName { .. } => "a name that no other field of the layout has",
        LayoutProblem::SameMeaning { .. } => "each meaning once in a layout",
        LayoutProblem::NeedlessChannel { .. } => "a channel only with continuity, armed, commanded or fired",
        LayoutProblem::PastEnd { .. } => "fields that fit into the layout's `length`",
        LayoutProblem::Never { .. } => "a value that the field can have",
        LayoutProblem::BitsPastEnd { .. } => "bits that the field has",
        LayoutProblem::BitsOverlap { .. } => "each bit once",
        LayoutProblem::BitsMeaning { .. } => "a meaning without a unit",
        LayoutProblem::Scale { .. } => "a scale that is not zero",
        _ => "a layout that can be read",
    }
}

fn astray(field: &Field<String>, kind: &str, notes: &mut Notes) {
    if let Field::Is(at) = field {
        notes.refuse(
            &at.at,
            format!("this key only for \"{kind}\" layouts"),
            "a layout of the other kind",
            None,
        );
    }
}

fn separator(field: &Field<String>, notes: &mut Notes) -> String {
    match field {
        Field::Absent(place) => notes.default(place, "\",\"", ",".to_owned()),
        Field::Is(at) if at.value.is_empty() || at.value.len() > 8 || at.value.contains(['\n', '\r']) => {
            notes.refuse(
                &at.at,
                "1 to 8 characters between columns",
                format!("\"{}\"", clean(&at.value, 20)),
                None,
            );
            ",".to_owned()
        }
        Field::Is(at) => at.value.clone(),
        Field::Wrong(_) => ",".to_owned(),
    }
}

fn starts_with(field: &Field<String>, notes: &mut Notes) -> Option<String> {
    match field {
        Field::Absent(place) => notes.default(place, "nothing: every line may be one", None),
        field => notes.name(field),
    }
}
