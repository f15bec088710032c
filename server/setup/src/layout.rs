//! Layouts: what the bytes of a frame say.

use loftwatch_radio::{
    Carrier, Encoding, Envelope, Field as Meant, Form, Layout, LayoutProblem, Meaning, PositionFrom, Stored,
    UnitError, VelocityFrom,
};

use crate::field::{self, Within};
use crate::mistake::clean;
use crate::nearest::listed;
use crate::notes::{Notes, no_guess, want};
use crate::told;
use crate::tree::{At, Field, Place};

/// The most layouts.
const MOST: usize = 64;

const ORDERS: &[(&str, bool)] = &[("little", false), ("big", true)];

const CARRIERS: &[(&str, Option<Carrier>)] =
    &[("none", None), ("ax25", Some(Carrier::Ax25)), ("monitor", Some(Carrier::Monitor))];

const POSITIONS: &[(&str, PositionFrom)] = &[
    ("GGA", PositionFrom::Gga),
    ("GNS", PositionFrom::Gns),
    ("RMC", PositionFrom::Rmc),
    ("GLL", PositionFrom::Gll),
];

const VELOCITIES: &[(&str, VelocityFrom)] = &[("RMC", VelocityFrom::Rmc), ("VTG", VelocityFrom::Vtg)];

/// Kinds of layout.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Binary,
    Text,
    Json,
    Cbor,
    Nmea,
    Aprs,
}

const KINDS: &[(&str, Kind)] = &[
    ("binary", Kind::Binary),
    ("text", Kind::Text),
    ("json", Kind::Json),
    ("cbor", Kind::Cbor),
    ("nmea", Kind::Nmea),
    ("aprs", Kind::Aprs),
];

impl Kind {
    fn word(self) -> &'static str {
        KINDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }

    /// How its fields are told; the last two kinds bring their own.
    const fn within(self) -> Option<Within> {
        match self {
            Self::Binary => Some(Within::Binary),
            Self::Text => Some(Within::Text),
            Self::Json | Self::Cbor => Some(Within::Keyed),
            Self::Nmea | Self::Aprs => None,
        }
    }
}

/// Checks the layouts. A layout with cases becomes one for each, all with the index of the one that was told.
pub(crate) fn mean(
    told: &[At<told::Layout>],
    body_names: &[String],
    notes: &mut Notes,
) -> (Vec<Layout>, Vec<usize>) {
    if let Some(extra) = told.get(MOST) {
        notes.refuse(&extra.at, format!("at most {MOST} layouts"), told.len().to_string(), None);
    }
    let names = notes.names(told.iter().map(|layout| &layout.value.name), "layout");
    let (mut all, mut of) = (Vec::new(), Vec::new());
    for (index, (layout, name)) in told.iter().zip(names).enumerate() {
        let meant = one(layout, name, body_names, notes);
        of.extend(meant.iter().map(|_| index));
        all.extend(meant);
    }
    (all, of)
}

fn one(told: &At<told::Layout>, name: String, body_names: &[String], notes: &mut Notes) -> Vec<Layout> {
    let At { value: told, at } = told;
    let before = notes.mistakes.len();
    let kind = notes.choice_required(&told.kind, KINDS);
    let body = notes.reference(&told.body, body_names, "body");
    let rate_hz = notes.number(&told.rate_hz, want(0.001, 10_000.0, "packets a second"), no_guess);
    if rate_hz.is_none() {
        notes.default(told.rate_hz.place(), "not told: loss only from sequence numbers", ());
    }
    let guessed =
        if told.separator.absent() && told.starts_with.absent() { Kind::Binary } else { Kind::Text };
    let kind = kind.unwrap_or(guessed);
    astray(told, kind, notes);
    let common = match kind.within() {
        Some(within) => field::mean(told.fields.list(), within, &[], notes),
        None => Vec::new(),
    };
    let length = length(&told.length, &common, kind, notes);
    let shape = shape(told, kind, notes);
    let envelope = envelope(told, kind, notes);
    let layout = |name: String, length: Option<usize>, fields: Vec<Meant>| {
        let form = shape.form(length, fields, envelope.clone());
        Layout { name, form, body, rate_hz: rate_hz.filter(|rate| rate.is_finite()) }
    };
    let cases = told.cases.list();
    let mut meant = Vec::new();
    if cases.is_empty() {
        if let Field::Is(at) = &told.case_of {
            notes.refuse(&at.at, "a [[layout.case]] for each value", "none", None);
        }
        let layout = layout(name, length, common);
        check(&layout, told, at, None, before, notes);
        meant.push(layout);
    } else if let Some(within) = kind.within() {
        let names: Vec<String> = common.iter().map(|field| field.name.clone()).collect();
        if told.case_of.absent() {
            notes.missing(told.case_of.place(), "the name of the field that chooses the case", None);
        }
        let chooser = notes.reference(&told.case_of, &names, "field of the layout");
        let case_names = notes.names(cases.iter().map(|case| &case.value.name), "case");
        for (case, case_name) in cases.iter().zip(case_names) {
            if case.value.is.absent() {
                notes.missing(case.value.is.place(), "the value of the field that chooses", None);
            }
            let mut fields = common.clone();
            if let Some(field) = chooser.and_then(|index| fields.get_mut(index)) {
                let text = matches!(field.stored, Stored::Text | Stored::Chars(_));
                (field.is, field.is_text) = field::is(&case.value.is, text, notes);
            }
            let own = field::mean(case.value.fields.list(), within, &fields, notes);
            fields.extend(own);
            let own_length = self::length(&case.value.length, &fields, kind, notes);
            let layout = layout(format!("{name}: {case_name}"), own_length.or(length), fields);
            if let Some(index) = chooser
                && let Some(first) = meant.iter().find(|first| hides(first, &layout, index, common.len()))
            {
                let found = format!("the value of \"{}\", which takes all its packets", first.name);
                notes.refuse(case.value.is.place(), "a value that no case before it has", found, None);
            }
            check(&layout, told, at, Some(case), before, notes);
            meant.push(layout);
        }
    }
    if body.is_none() && told.body.absent() {
        let sent = meant.iter().any(|one| field::all(one).any(|meaning| meaning == Meaning::Transmitter));
        let words = if sent {
            "whose transmitter number the packet holds"
        } else {
            "the vehicle, as the packet holds no transmitter number"
        };
        notes.default(told.body.place(), words, ());
    }
    meant
}

/// Whether one case takes whatever a later one would: the same value chooses them, and nothing else tells them apart.
fn hides(first: &Layout, later: &Layout, chooser: usize, common: usize) -> bool {
    let value = |layout: &Layout| layout.fields().get(chooser).map(|field| (field.is, field.is_text.clone()));
    let told = value(first).filter(|(is, text)| is.is_some() || text.is_some());
    let own = first.fields().iter().skip(common).any(|field| field.is.is_some() || field.is_text.is_some());
    if told.is_none() || told != value(later) || own {
        return false;
    }
    match (first.form.inner(), later.form.inner()) {
        (Form::Binary { length: None, fields, .. }, Form::Binary { length, fields: of_later, .. }) => {
            loftwatch_radio::least(fields) <= length.unwrap_or_else(|| loftwatch_radio::least(of_later))
        }
        (Form::Binary { length, .. }, Form::Binary { length: of_later, .. }) => length == of_later,
        _ => true,
    }
}

/// The exact length of a binary layout, if told.
fn length(told: &Field<i64>, fields: &[Meant], kind: Kind, notes: &mut Notes) -> Option<usize> {
    if kind != Kind::Binary {
        if let Field::Is(at) = told {
            let found = format!("a layout of kind \"{}\"", kind.word());
            notes.refuse(&at.at, "this key only for \"binary\" layouts", found, None);
        }
        return None;
    }
    if told.absent() {
        let bytes = loftwatch_radio::least(fields);
        notes.default(told.place(), format!("any of {bytes} bytes or more"), ());
    }
    notes.whole(told, 1, 65_536, "bytes").map(|bytes| bytes as usize)
}

/// What a layout's own kind says besides the fields.
enum Shape {
    Text { separator: String, starts_with: Option<String> },
    Binary { big_endian: bool },
    Keyed(Encoding),
    Nmea(PositionFrom, VelocityFrom),
    Aprs,
}

impl Shape {
    fn form(&self, length: Option<usize>, fields: Vec<Meant>, envelope: Option<Envelope>) -> Form {
        let form = match self {
            Self::Text { separator, starts_with } => {
                Form::Text { separator: separator.clone(), starts_with: starts_with.clone(), fields }
            }
            Self::Binary { big_endian } => Form::Binary { big_endian: *big_endian, length, fields },
            Self::Keyed(encoding) => Form::Keyed { encoding: *encoding, fields },
            Self::Nmea(position, velocity) => Form::nmea(*position, *velocity),
            Self::Aprs => {
                let bare = Envelope { carrier: Carrier::Ax25, from: None };
                return Form::aprs(envelope.unwrap_or(bare));
            }
        };
        match envelope {
            Some(envelope) => Form::In { envelope, form: Box::new(form) },
            None => form,
        }
    }
}

fn shape(told: &told::Layout, kind: Kind, notes: &mut Notes) -> Shape {
    match kind {
        Kind::Text => Shape::Text {
            separator: separator(&told.separator, notes),
            starts_with: starts_with(&told.starts_with, notes),
        },
        Kind::Binary => {
            Shape::Binary { big_endian: notes.choice_or(&told.byte_order, ORDERS, ("little", false)) }
        }
        Kind::Json => Shape::Keyed(Encoding::Json),
        Kind::Cbor => Shape::Keyed(Encoding::Cbor),
        Kind::Nmea => Shape::Nmea(
            notes.choice_or(&told.position_from, POSITIONS, ("GGA", PositionFrom::Gga)),
            notes.choice_or(&told.velocity_from, VELOCITIES, ("RMC", VelocityFrom::Rmc)),
        ),
        Kind::Aprs => Shape::Aprs,
    }
}

/// What is around the payload.
fn envelope(told: &told::Layout, kind: Kind, notes: &mut Notes) -> Option<Envelope> {
    let default = if kind == Kind::Aprs { ("ax25", Some(Carrier::Ax25)) } else { ("none", None) };
    let mut carrier = notes.choice_or(&told.envelope, CARRIERS, default);
    if kind == Kind::Aprs && carrier.is_none() {
        let expected = "\"ax25\" or \"monitor\": who sent it is part of the report";
        notes.refuse(told.envelope.place(), expected, "\"none\"", None);
        carrier = Some(Carrier::Ax25);
    }
    let from = notes.name(&told.from);
    if carrier.is_none()
        && let Field::Is(at) = &told.from
    {
        notes.refuse(&at.at, "this key only with an `envelope`", "none", None);
    }
    if carrier.is_some() && told.from.absent() {
        notes.default(told.from.place(), "any source", ());
    }
    carrier.map(|carrier| Envelope { carrier, from })
}

/// Notes what the layout's own check finds. With a case, its fields stand behind the layout's.
fn check(
    layout: &Layout,
    told: &told::Layout,
    at: &Place,
    case: Option<&At<told::Case>>,
    before: usize,
    notes: &mut Notes,
) {
    let common = told.fields.list();
    let own = case.map_or(&[][..], |case| case.value.fields.list());
    for (place, problem) in layout.check() {
        let of_field = place.field.and_then(|index| common.iter().chain(own).nth(index));
        // What was refused above stands in the layout as something harmless; it is not told a second time.
        let told_already = |at: &Place| notes.mistakes[before..].iter().any(|m| m.key.starts_with(&at.key));
        match of_field {
            Some(of_field) if told_already(&of_field.at) => {}
            Some(of_field) => {
                let bits = place.bits.and_then(|index| of_field.value.bits.list().get(index));
                let at = bits
                    .map_or_else(|| of_problem(&of_field.value, &of_field.at, &problem), |bits| &bits.at)
                    .clone();
                // The value of the field that chooses is told by the case.
                let is = place.field.and_then(|index| layout.fields().get(index)?.is);
                let of_case = case.filter(|_| {
                    matches!(problem, LayoutProblem::Never { value, .. } if is == Some(value))
                        && of_field.value.is.absent()
                });
                let at = of_case.map_or(at, |case| case.value.is.place().clone());
                refuse(&at, &problem, notes);
            }
            None if matches!(problem, LayoutProblem::NoFields) && !common.is_empty() => {}
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
        LayoutProblem::Count { .. }
        | LayoutProblem::CountFrom { .. }
        | LayoutProblem::OnceOnly { .. }
        | LayoutProblem::RepeatForm { .. } => told.count.place(),
        LayoutProblem::Group { .. } => told.group.place(),
        LayoutProblem::Delta { .. } => told.delta.place(),
        LayoutProblem::NoEvery { .. } | LayoutProblem::Every { .. } => told.every_s.place(),
        _ => whole,
    };
    if place.key.is_empty() { whole } else { place }
}

/// Notes a problem that the layout's own check found.
pub(crate) fn refuse(at: &Place, problem: &LayoutProblem, notes: &mut Notes) {
    let near = |names: &[&str]| {
        let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
        (!quoted.is_empty()).then(|| format!("did you mean {}?", quoted.join(" or ")))
    };
    match problem {
        LayoutProblem::NoChannel { .. } => {
            let hint = Some("write `channel = \"...\"`".to_owned());
            notes.missing(at, "the channel: a cue's name, or a word of yours", hint);
        }
        LayoutProblem::NoEvery { .. } => {
            let hint = Some("`every_s = 0.005` for 200 values a second".to_owned());
            notes.missing(at, "the time from one value to the next, s", hint);
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
        LayoutProblem::Count { .. } | LayoutProblem::RepeatForm { .. } => "a count that can be read",
        LayoutProblem::CountFrom { .. } => "the name of an earlier unsigned integer without scale or unit",
        LayoutProblem::OnceOnly { .. } => "a field that stands once",
        LayoutProblem::Group { .. } => "neighbours that stand equally often",
        LayoutProblem::Delta { .. } => "integers, the differences no wider than the field",
        LayoutProblem::Every { .. } => "a time from one value to the next",
        LayoutProblem::Scale { .. } => "a scale that is not zero",
        _ => "a layout that can be read",
    }
}

/// Keys of another kind of layout.
fn astray(told: &told::Layout, kind: Kind, notes: &mut Notes) {
    let found = format!("a layout of kind \"{}\"", kind.word());
    let text = |field: &Field<String>| field.get().map(|at| at.at.clone());
    let own = kind.within().is_some();
    let fields = told.fields.get().map(|at| at.at.clone()).filter(|_| !told.fields.list().is_empty());
    let cases = told.cases.get().map(|at| at.at.clone()).filter(|_| !told.cases.list().is_empty());
    for (place, fits, whose) in [
        (text(&told.byte_order), kind == Kind::Binary, "only for \"binary\" layouts"),
        (text(&told.separator), kind == Kind::Text, "only for \"text\" layouts"),
        (text(&told.starts_with), kind == Kind::Text, "only for \"text\" layouts"),
        (text(&told.position_from), kind == Kind::Nmea, "only for \"nmea\" layouts"),
        (text(&told.velocity_from), kind == Kind::Nmea, "only for \"nmea\" layouts"),
        (text(&told.case_of), own, "not here: this kind brings its own fields"),
        (fields, own, "not here: this kind brings its own fields"),
        (cases, own, "not here: this kind brings its own fields"),
    ] {
        if let Some(place) = place.filter(|_| !fits) {
            notes.refuse(&place, format!("this key {whose}"), found.clone(), None);
        }
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
