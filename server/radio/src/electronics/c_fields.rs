//! Structs and packing of layouts whose fields stand in order: binary and columns of text.

use std::fmt::Write as _;

use super::names::{Names, bytes, comment, number};
use crate::layout::end_of_group;
use crate::{Bits, Field, Form, Meaning, Stored};

/// A part of a packet that the crew fills in.
pub(super) struct Member {
    /// As in C.
    pub(super) name: String,
    pub(super) kind: Kind,
}

/// How a member is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// So many bits, as stored.
    Unsigned(u8),
    /// The same with a sign.
    Signed(u8),
    Float,
    /// Whatever is scaled.
    Double,
    Text(u16),
}

impl Kind {
    fn word(self) -> String {
        let wide = |bits: u8| match bits {
            0..=8 => 8,
            9..=16 => 16,
            17..=32 => 32,
            _ => 64,
        };
        match self {
            Self::Unsigned(bits) => format!("uint{}_t", wide(bits)),
            Self::Signed(bits) => format!("int{}_t", wide(bits)),
            Self::Float => "float".to_owned(),
            Self::Double => "double".to_owned(),
            Self::Text(_) => "char".to_owned(),
        }
    }
}

/// The members of a field: one, or one for each of its bits; none if it always says the same.
pub(super) fn members(field: &Field, names: &mut Names) -> Vec<Member> {
    if matches!(field.stored, Stored::Skip(_)) || field.is.is_some() || field.is_text.is_some() {
        return Vec::new();
    }
    if !field.bits.is_empty() {
        let of = |bits: &Bits, names: &mut Names| Member {
            name: names.unique(&bits.name),
            kind: match bits {
                bits if bits.scale != 1.0 || bits.offset != 0.0 => Kind::Double,
                bits if bits.signed => Kind::Signed(bits.width),
                bits => Kind::Unsigned(bits.width),
            },
        };
        return field.bits.iter().map(|bits| of(bits, names)).collect();
    }
    let scaled = field.scale != 1.0 || field.offset != 0.0;
    let kind = match field.stored {
        Stored::Chars(bytes) => Kind::Text(bytes),
        Stored::Text => Kind::Text(32),
        Stored::Number if !field.values.is_empty() => Kind::Signed(32),
        _ if scaled => Kind::Double,
        Stored::Unsigned(bytes) => Kind::Unsigned(8 * bytes.min(8)),
        Stored::Signed(bytes) => Kind::Signed(8 * bytes.min(8)),
        Stored::Float(2 | 4) => Kind::Float,
        _ => Kind::Double,
    };
    vec![Member { name: names.unique(&field.name), kind }]
}

/// Writes struct and named values; gives the members of each field.
pub(super) fn structure(out: &mut String, name: &str, fields: &[Field]) -> Vec<Vec<Member>> {
    let mut names = Names::default();
    let all: Vec<Vec<Member>> = fields.iter().map(|field| members(field, &mut names)).collect();
    let mut constants = Names::default();
    let upper = name.to_uppercase();
    for (field, members) in fields.iter().zip(&all) {
        let parts = field.bits.iter().map(|bits| (&bits.values, bits.missing));
        let whole = std::iter::once((&field.values, field.missing)).filter(|_| field.bits.is_empty());
        for (member, (values, missing)) in members.iter().zip(whole.chain(parts)) {
            let mut constant = |word: &str, value: String| {
                let constant = constants.unique(&format!("{} {word}", member.name)).to_uppercase();
                let _ = writeln!(out, "#define {upper}_{constant} {value}");
            };
            for (value, word) in values {
                constant(word, format!("({value})"));
            }
            if let Some(missing) = missing.filter(|_| !matches!(member.kind, Kind::Double)) {
                constant("missing", format!("({missing:.0})"));
            }
        }
    }
    let _ = writeln!(out, "typedef struct {{");
    for (field, members) in fields.iter().zip(&all) {
        let times = field.repeat.as_ref().map_or_else(String::new, |repeat| format!("[{}]", repeat.count));
        for (at, member) in members.iter().enumerate() {
            let text = if let Kind::Text(bytes) = member.kind { format!("[{bytes}]") } else { String::new() };
            let said = match field.bits.get(at) {
                Some(bits) => said_of_bits(bits),
                None => said(field),
            };
            let kind = member.kind.word();
            let _ = writeln!(out, "    {kind} {}{times}{text}; /* {} */", member.name, comment(&said));
        }
    }
    if all.iter().all(Vec::is_empty) {
        let _ = writeln!(out, "    char nothing; /* the packet always says the same */");
    }
    let _ = writeln!(out, "}} {name}_t;\n");
    all
}

/// Name, meaning, unit, step and times of a field, in words.
fn said(field: &Field) -> String {
    let scale = (field.scale, field.offset);
    let mut said = field.name.clone();
    say_what(&mut said, field.meaning, field.channel.as_deref(), &field.unit, scale);
    if let Some(missing) = field.missing {
        let no = if scale == PLAIN { format!("{missing}") } else { "NAN".to_owned() };
        let _ = write!(said, ", {no} for no value");
    }
    if let Some(repeat) = &field.repeat {
        if let Some(every_s) = repeat.every_s {
            let end = if repeat.timed_last { "last" } else { "first" };
            let _ = write!(said, ", one every {every_s} s, the {end} at the packet's time");
        }
        if repeat.delta.is_some() {
            said.push_str(", sent as differences");
        }
    }
    said
}

fn said_of_bits(bits: &Bits) -> String {
    let mut said = format!("{}, {} bit{}", bits.name, bits.width, if bits.width == 1 { "" } else { "s" });
    say_what(&mut said, bits.meaning, bits.channel.as_deref(), &bits.unit, (bits.scale, bits.offset));
    said
}

/// Scale and offset of a value that is stored as it is.
const PLAIN: (f64, f64) = (1.0, 0.0);

/// What a stored value means, in words: meaning and channel, unit, steps.
fn say_what(said: &mut String, meaning: Meaning, channel: Option<&str>, unit: &str, scale: (f64, f64)) {
    if meaning.name() != "free" {
        let _ = write!(said, ": {}", meaning.name());
    }
    if let Some(channel) = channel {
        let _ = write!(said, " of {channel}");
    }
    if !unit.is_empty() {
        let _ = write!(said, ", {unit}");
    }
    if scale != PLAIN {
        let _ = write!(said, ", in steps of {} from {}", scale.0, scale.1);
    }
}

/// A member's stored value as an expression: scaled back, rounded, kept within its bits. Always of a type of 64 bits.
fn raw(
    value: &str,
    kind: Kind,
    scale: f64,
    offset: f64,
    missing: Option<f64>,
    bits: u8,
    signed: bool,
) -> String {
    let bits = u32::from(bits.clamp(1, 64));
    let (least, most) = if signed {
        (
            format!("(-INT64_C({}) - 1)", i64::MAX >> (64 - bits)),
            format!("INT64_C({})", i64::MAX >> (64 - bits)),
        )
    } else {
        ("0".to_owned(), format!("UINT64_C({})", u64::MAX >> (64 - bits)))
    };
    match kind {
        Kind::Unsigned(_) if bits == 64 => format!("(uint64_t)({value})"),
        Kind::Unsigned(_) => match missing {
            Some(no) => format!("lw_least_but((uint64_t)({value}), {most}, UINT64_C({no:.0}))"),
            None => format!("lw_least((uint64_t)({value}), {most})"),
        },
        Kind::Signed(_) => match missing {
            Some(no) => format!("lw_clamp_but((int64_t)({value}), {least}, {most}, {})", signed_constant(no)),
            None => format!("lw_clamp((int64_t)({value}), {least}, {most})"),
        },
        _ => {
            let back = format!("(({value}) - {}) / {}", number(offset), number(scale));
            match missing {
                Some(no) if signed => {
                    let no = signed_constant(no);
                    format!("(({value}) != ({value}) ? {no} : lw_signed_but({back}, {least}, {most}, {no}))")
                }
                Some(no) => {
                    let no = format!("UINT64_C({no:.0})");
                    format!("(({value}) != ({value}) ? {no} : lw_unsigned_but({back}, {most}, {no}))")
                }
                None if signed => format!("lw_signed({back}, {least}, {most})"),
                None => format!("lw_unsigned({back}, {most})"),
            }
        }
    }
}

/// A whole number in C. The least of 64 bits cannot be written as one.
fn signed_constant(value: f64) -> String {
    if value <= i64::MIN as f64 { "INT64_MIN".to_owned() } else { format!("INT64_C({value:.0})") }
}

/// Begins the function that packs a packet: what it writes to, and the bytes that every such packet has in front.
pub(super) fn begin(out: &mut String, name: &str, prefix: &[u8]) {
    let _ = writeln!(
        out,
        "/* The payload, without framing: bytes written, 0 if there is no room for it. */\n\
         LW_FUNCTION size_t {name}_pack(const {name}_t *v, uint8_t *to, size_t size) {{\n\
         \x20   lw_out o = {{0, 0, 0, 0}};\n    o.to = to;\n    o.size = size;\n    (void)v;"
    );
    constant(out, prefix);
}

/// Writes what a packet's struct is and how it is packed.
pub(super) fn packet(out: &mut String, name: &str, form: &Form, prefix: &[u8]) {
    let fields = form.fields();
    let members = structure(out, name, fields);
    begin(out, name, prefix);
    for (field, members) in fields.iter().zip(&members) {
        let counter = field.repeat.as_ref().and_then(|repeat| repeat.count_from);
        if let (Some(repeat), Some(of), false) = (&field.repeat, counter, members.is_empty()) {
            let of = &members_name(fields, of);
            let _ = writeln!(
                out,
                "    if ((int64_t)v->{of} != lw_clamp((int64_t)v->{of}, 0, {})) return 0;",
                repeat.count
            );
        }
    }
    match form {
        Form::Binary { big_endian, length, .. } => {
            binary(out, fields, &members, *big_endian, *length, prefix.len());
        }
        Form::Text { separator, starts_with, .. } => {
            columns(out, fields, &members, separator, starts_with.as_deref());
        }
        _ => {}
    }
    let _ = writeln!(out, "    return o.full ? 0 : o.used;\n}}\n");
}

/// Bytes that are always the same.
pub(super) fn constant(out: &mut String, of: &[u8]) {
    if !of.is_empty() {
        let _ = writeln!(
            out,
            "    {{\n        static const uint8_t same[] = {{{}}};\n        lw_bytes(&o, same, sizeof same);\n    }}",
            bytes(of)
        );
    }
}

/// The member's name of a field that counts others.
fn members_name(fields: &[Field], index: u16) -> String {
    let mut names = Names::default();
    let all: Vec<Vec<Member>> = fields.iter().map(|field| members(field, &mut names)).collect();
    all.get(usize::from(index))
        .and_then(|of| of.first())
        .map_or_else(|| "nothing".to_owned(), |one| one.name.clone())
}

/// How often a run of fields stands, as an expression.
fn times(fields: &[Field], index: usize) -> String {
    match &fields[index].repeat {
        Some(repeat) => match repeat.count_from {
            Some(from) => format!("(int)v->{}", members_name(fields, from)),
            None => repeat.count.to_string(),
        },
        None => "1".to_owned(),
    }
}

fn binary(
    out: &mut String,
    fields: &[Field],
    members: &[Vec<Member>],
    big_endian: bool,
    length: Option<usize>,
    before: usize,
) {
    let mut index = 0;
    while index < fields.len() {
        if fields[index].repeat.is_none() {
            place(out, &fields[index], &members[index], big_endian, "", "    ");
            index += 1;
            continue;
        }
        let end = end_of_group(fields, index);
        let _ = writeln!(out, "    {{\n        int i;");
        for at in index..end {
            if fields[at].repeat.as_ref().is_some_and(|repeat| repeat.delta.is_some()) {
                let _ = writeln!(out, "        int64_t run_{at} = 0;");
            }
        }
        let _ = writeln!(out, "        for (i = 0; i < {}; i++) {{", times(fields, index));
        for at in index..end {
            let delta = fields[at].repeat.as_ref().and_then(|repeat| repeat.delta);
            match delta {
                Some(delta) => step(out, at, &fields[at], &members[at], delta, big_endian),
                None => place(out, &fields[at], &members[at], big_endian, "[i]", "            "),
            }
        }
        let _ = writeln!(out, "        }}\n    }}");
        index = end;
    }
    if let Some(length) = length {
        let _ = writeln!(out, "    while (!o.full && o.used < {}) lw_byte(&o, 0);", before + length);
    }
}

const fn order(field: &Field, big_endian: bool) -> u8 {
    let big = match field.big_endian {
        Some(own) => own,
        None => big_endian,
    };
    big as u8
}

/// A value of a series: the first whole, the others as what they differ by.
fn step(out: &mut String, at: usize, field: &Field, members: &[Member], delta: Stored, big_endian: bool) {
    let Some(member) = members.first() else { return };
    let (width, signed) = match field.stored {
        Stored::Signed(bytes) => (bytes, true),
        Stored::Unsigned(bytes) => (bytes, false),
        _ => return,
    };
    let (narrow, least, most) = match delta {
        Stored::Signed(bytes) => {
            let most = i64::MAX >> (64 - 8 * u32::from(bytes.clamp(1, 8)));
            (bytes, format!("(-INT64_C({most}) - 1)"), most)
        }
        Stored::Unsigned(bytes) => {
            (bytes, "0".to_owned(), i64::MAX >> (63 - 8 * u32::from(bytes.clamp(1, 7))))
        }
        _ => return,
    };
    let value = format!("v->{}[i]", member.name);
    let raw = raw(&value, member.kind, field.scale, field.offset, field.missing, 8 * width, signed);
    let order = order(field, big_endian);
    let _ = writeln!(
        out,
        "            {{\n                int64_t now = (int64_t){raw};\n\
         \x20               if (i == 0) {{\n                    lw_integer(&o, (uint64_t)now, {width}, {order});\n                    run_{at} = now;\n\
         \x20               }} else {{\n                    /* A step that does not fit is caught up with later. */\n\
         \x20                   int64_t step = lw_clamp(now - run_{at}, {least}, INT64_C({most}));\n\
         \x20                   lw_integer(&o, (uint64_t)step, {narrow}, {order});\n                    run_{at} += step;\n                }}\n            }}"
    );
}

/// Writes one field into its place.
fn place(out: &mut String, field: &Field, members: &[Member], big_endian: bool, item: &str, pad: &str) {
    let order = order(field, big_endian);
    if let Some(is) = &field.is_text {
        let count = field.stored.bytes();
        let mut same = is.as_bytes().to_vec();
        same.resize(count, 0);
        constant(out, &same);
        return;
    }
    match field.stored {
        Stored::Skip(count) => {
            let _ = writeln!(
                out,
                "{pad}{{\n{pad}    int j;\n{pad}    for (j = 0; j < {count}; j++) lw_byte(&o, 0);\n{pad}}}"
            );
        }
        Stored::Chars(count) => {
            let Some(member) = members.first() else { return };
            let _ = writeln!(
                out,
                "{pad}{{\n{pad}    int j, ended = 0;\n{pad}    for (j = 0; j < {count}; j++) {{\n\
                 {pad}        if (v->{name}{item}[j] == 0) ended = 1;\n\
                 {pad}        lw_byte(&o, ended ? 0u : (unsigned char)v->{name}{item}[j]);\n{pad}    }}\n{pad}}}",
                name = member.name
            );
        }
        Stored::Float(width) => {
            let value = match (field.is, members.first()) {
                (Some(is), _) => number(is),
                (None, Some(member)) if member.kind == Kind::Double => {
                    let name = &member.name;
                    format!("((v->{name}{item} - {}) / {})", number(field.offset), number(field.scale))
                }
                (None, Some(member)) => format!("v->{}{item}", member.name),
                (None, None) => "0.0".to_owned(),
            };
            let bits = match width {
                2 => format!("lw_half_bits((float){value})"),
                4 => format!("lw_float_bits((float){value})"),
                _ => format!("lw_double_bits((double){value})"),
            };
            let bits = match (field.missing, members.first()) {
                (Some(missing), Some(member)) if !missing.is_nan() => {
                    let v = format!("v->{}{item}", member.name);
                    let no = number(missing);
                    let no = match width {
                        2 => format!("lw_half_bits((float){no})"),
                        4 => format!("lw_float_bits((float){no})"),
                        _ => format!("lw_double_bits({no})"),
                    };
                    format!("({v} != {v} ? {no} : {bits})")
                }
                _ => bits,
            };
            let _ = writeln!(out, "{pad}lw_integer(&o, {bits}, {width}, {order});");
        }
        Stored::Unsigned(width) | Stored::Signed(width) => {
            if let Some(is) = field.is {
                let _ = writeln!(out, "{pad}lw_integer(&o, (uint64_t)INT64_C({is:.0}), {width}, {order});");
            } else if field.bits.is_empty() {
                let Some(member) = members.first() else { return };
                let value = format!("v->{}{item}", member.name);
                let signed = matches!(field.stored, Stored::Signed(_));
                let raw =
                    raw(&value, member.kind, field.scale, field.offset, field.missing, 8 * width, signed);
                let _ = writeln!(out, "{pad}lw_integer(&o, (uint64_t){raw}, {width}, {order});");
            } else {
                packed(out, field, members, (width, order), item, pad);
            }
        }
        Stored::Number | Stored::Text => {}
    }
}

/// Bits inside an integer of up to sixteen bytes: two words of 64 bits.
fn packed(
    out: &mut String,
    field: &Field,
    members: &[Member],
    (width, order): (u8, u8),
    item: &str,
    pad: &str,
) {
    let _ = writeln!(out, "{pad}{{\n{pad}    uint64_t low = 0, high = 0, part;\n{pad}    (void)high;");
    for (bits, member) in field.bits.iter().zip(members) {
        let value = format!("v->{}{item}", member.name);
        let raw = raw(&value, member.kind, bits.scale, bits.offset, bits.missing, bits.width, bits.signed);
        let mask = u64::MAX >> (64 - u32::from(bits.width.clamp(1, 63)));
        let (bit, width) = (u32::from(bits.bit), u32::from(bits.width));
        let _ = writeln!(out, "{pad}    part = (uint64_t){raw} & UINT64_C({mask});");
        if bit < 64 {
            let _ = writeln!(out, "{pad}    low |= part << {bit};");
            if bit + width > 64 {
                let _ = writeln!(out, "{pad}    high |= part >> {};", 64 - bit);
            }
        } else {
            let _ = writeln!(out, "{pad}    high |= part << {};", bit - 64);
        }
    }
    let (low, high) = (width.min(8), width.saturating_sub(8));
    let low = format!("{pad}    lw_integer(&o, low, {low}, {order});");
    let high =
        if high > 0 { format!("{pad}    lw_integer(&o, high, {high}, {order});") } else { String::new() };
    let (first, second) = if order == 1 { (high, low) } else { (low, high) };
    for line in [first, second].into_iter().filter(|line| !line.is_empty()) {
        let _ = writeln!(out, "{line}");
    }
    let _ = writeln!(out, "{pad}}}");
}

fn columns(
    out: &mut String,
    fields: &[Field],
    members: &[Vec<Member>],
    separator: &str,
    starts_with: Option<&str>,
) {
    let mut first = true;
    if let Some(start) = starts_with {
        constant(out, start.as_bytes());
        first = false;
    }
    let mut index = 0;
    while index < fields.len() {
        let end = end_of_group(fields, index);
        let repeated = fields[index].repeat.is_some();
        let (item, pad) = if repeated { ("[i]", "            ") } else { ("", "    ") };
        if repeated {
            let _ = writeln!(
                out,
                "    {{\n        int i;\n        for (i = 0; i < {}; i++) {{",
                times(fields, index)
            );
        }
        for at in index..end {
            if first && repeated {
                let _ = writeln!(out, "            if (i > 0 || {}) {{", u8::from(at > index));
                constant(out, separator.as_bytes());
                let _ = writeln!(out, "            }}");
            } else if !first || at > index {
                constant(out, separator.as_bytes());
            }
            // A mark at the front of a line belongs to the line.
            let avoid = avoided(separator, first && at == index);
            column(out, &fields[at], &members[at], &avoid, item, pad);
        }
        if repeated {
            let _ = writeln!(out, "        }}\n    }}");
        }
        first = false;
        index = end;
    }
}

/// Characters that text in a column must not have: those of the separator. Spaces around it do not matter, if it has others.
fn avoided(separator: &str, at_front: bool) -> String {
    let bare = separator.trim();
    let mut avoid = if bare.is_empty() { separator } else { bare }.to_owned();
    if at_front {
        avoid.push_str("$!");
    }
    avoid
}

/// Writes text, with what must not be in it replaced.
pub(super) fn text(out: &mut String, value: &str, most: u16, avoid: &str, pad: &str) {
    // A string of octal escapes, which end after three digits: nothing in it can be mistaken by the compiler.
    let avoid: String = avoid.bytes().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "\\{byte:03o}");
        text
    });
    let _ = writeln!(out, "{pad}lw_text(&o, {value}, {most}, \"{avoid}\");");
}

fn column(out: &mut String, field: &Field, members: &[Member], avoid: &str, item: &str, pad: &str) {
    if let Some(is) = &field.is_text {
        constant(out, is.as_bytes());
    } else if let Some(is) = field.is {
        let _ = writeln!(out, "{pad}lw_decimal(&o, {});", number(is));
    } else if !field.bits.is_empty() {
        let _ = writeln!(out, "{pad}{{\n{pad}    uint64_t low = 0;");
        for (bits, member) in field.bits.iter().zip(members) {
            let value = format!("v->{}{item}", member.name);
            let raw =
                raw(&value, member.kind, bits.scale, bits.offset, bits.missing, bits.width, bits.signed);
            let mask = u64::MAX >> (64 - u32::from(bits.width.clamp(1, 63)));
            let _ = writeln!(out, "{pad}    low |= ((uint64_t){raw} & UINT64_C({mask})) << {};", bits.bit);
        }
        let _ = writeln!(out, "{pad}    lw_digits(&o, low);\n{pad}}}");
    } else if let Some(member) = members.first() {
        let value = format!("v->{}{item}", member.name);
        match member.kind {
            Kind::Text(most) => text(out, &value, most, avoid, pad),
            Kind::Signed(_) | Kind::Unsigned(_) => {
                let _ = writeln!(out, "{pad}lw_whole(&o, (int64_t){value});");
            }
            Kind::Float | Kind::Double => {
                let _ = writeln!(
                    out,
                    "{pad}lw_decimal(&o, ({value} - {}) / {});",
                    number(field.offset),
                    number(field.scale)
                );
            }
        }
    }
}
