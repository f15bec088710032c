//! A reference of a link's packets for people: Markdown, one table a layout.

use std::fmt::Write as _;

use super::Packets;
use crate::layout::end_of_group;
use crate::{CrcCovers, Cut, Encoding, Field, Form, Layout, LengthCounts, LengthField, LineChecksum, Stored};

/// Writes the sheet.
pub fn sheet(packets: &Packets<'_>) -> String {
    let mut out = format!("# Packets of {}\n\n{}\n", text(packets.link), framing(packets));
    for layout in &packets.layouts {
        let _ = writeln!(out, "\n## {}\n\n{}\n", text(&layout.name), form(layout));
        out.push_str("| where | name | stored as | value | means |\n|---|---|---|---|---|\n");
        let fields = layout.fields();
        let mut at = Some(0);
        let mut index = 0;
        while index < fields.len() {
            let end = end_of_group(fields, index);
            for field in &fields[index..end] {
                row(&mut out, layout, field, index, at);
            }
            at = after(at, &fields[index..end]);
            index = end;
        }
    }
    out
}

/// Text that cannot end a cell or begin markup.
fn text(words: &str) -> String {
    let plain: String = words.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.replace('&', "&amp;").replace('<', "&lt;").replace('|', "\\|").replace('`', "'")
}

/// The byte after a run of fields; not known behind one that the packet counts.
fn after(at: Option<usize>, run: &[Field]) -> Option<usize> {
    let counted =
        run.iter().any(|field| field.repeat.as_ref().is_some_and(|repeat| repeat.count_from.is_some()));
    at.filter(|_| !counted).map(|at| at + crate::least(run))
}

fn framing(packets: &Packets<'_>) -> String {
    let hex = |sync: &[u8]| sync.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ");
    let covers = |covers: CrcCovers| match covers {
        CrcCovers::Payload => "the payload",
        CrcCovers::LengthAndPayload => "length and payload",
        CrcCovers::All => "everything before it",
    };
    let mut over = "the payload";
    let mut said = match &packets.framing.cut {
        Cut::Lines { checksum } => {
            over = "what stands between a leading `$` and `*`";
            match checksum {
                LineChecksum::None => "Lines that end in CR and LF.".to_owned(),
                _ => "Lines: `$`, columns, `*`, checksum in hexadecimal digits, CR and LF. Without a CRC the checksum is the \
                      exclusive or of what stands between `$` and `*`."
                    .to_owned(),
            }
        }
        Cut::Cobs => "COBS (Cheshire and Baker 1999): payload and CRC coded, then a zero byte.".to_owned(),
        Cut::Slip => "SLIP (RFC 1055): payload and CRC, between C0 bytes.".to_owned(),
        Cut::Kiss => "KISS: a zero byte and the payload, escaped as in SLIP, between C0 bytes.".to_owned(),
        Cut::Sync { sync, length, counts, crc_covers } => {
            over = covers(*crc_covers);
            let length = match length {
                LengthField::U8 => "one byte",
                LengthField::U16Le => "two bytes, least significant first",
                LengthField::U16Be => "two bytes, most significant first",
            };
            let counts = match counts {
                LengthCounts::Payload => "the payload",
                LengthCounts::PayloadAndCrc => "payload and CRC",
                LengthCounts::Whole => "the whole frame",
            };
            format!("Sync word {}, length ({length}, counts {counts}), payload, CRC.", hex(sync))
        }
        Cut::Fixed { length, sync, crc_covers } => {
            over = covers(*crc_covers);
            let front = if sync.is_empty() { String::new() } else { format!("sync word {}, ", hex(sync)) };
            format!("Frames of {length} bytes: {front}payload, CRC.")
        }
    };
    match &packets.framing.crc {
        None => said.push_str(" No CRC."),
        Some(crc) => {
            let first = if crc.big_endian { "most" } else { "least" };
            let _ = write!(said, " CRC: {} over {over}, {first} significant byte first.", crc.name);
        }
    }
    said
}

fn form(layout: &Layout) -> String {
    let rate = layout.rate_hz.map_or_else(String::new, |rate| format!(" {rate} packets a second."));
    let what = match layout.form.inner() {
        Form::Binary { big_endian, length, .. } => {
            let order = if *big_endian { "most" } else { "least" };
            let length = length.map_or_else(String::new, |length| format!(", {length} bytes"));
            format!("Binary{length}, {order} significant byte first where nothing else is said.")
        }
        Form::Text { separator, starts_with, .. } => {
            let start = starts_with
                .as_ref()
                .map_or_else(String::new, |start| format!(" The first column is `{}`.", text(start)));
            format!("Columns with `{}` between them.{start}", text(separator))
        }
        Form::Keyed { encoding: Encoding::Json, .. } => "A JSON object.".to_owned(),
        Form::Keyed { encoding: Encoding::Cbor, .. } => "A CBOR map.".to_owned(),
        Form::Nmea { .. } => "NMEA 0183 sentences.".to_owned(),
        Form::Aprs { .. } | Form::In { .. } => "APRS position reports.".to_owned(),
    };
    let envelope = if let Form::In { envelope, .. } = &layout.form {
        let from = envelope.from.as_ref().map_or_else(String::new, |from| format!(" from {}", text(from)));
        format!(
            " Inside an {} envelope{from}.",
            if envelope.carrier == crate::Carrier::Ax25 { "AX.25" } else { "monitor line's" }
        )
    } else {
        String::new()
    };
    format!("{what}{envelope}{rate}")
}

fn row(out: &mut String, layout: &Layout, field: &Field, index: usize, at: Option<usize>) {
    let place = match layout.form.inner() {
        Form::Binary { .. } => at.map_or_else(|| "after that".to_owned(), |at| format!("byte {at}")),
        Form::Text { starts_with, .. } => {
            format!("column {}", index + 1 + usize::from(starts_with.is_some()))
        }
        Form::Keyed { .. } => format!("`{}`", text(field.key())),
        _ => String::new(),
    };
    let _ = writeln!(
        out,
        "| {place} | {} | {} | {} | {} |",
        text(&field.name),
        stored(field),
        value(field),
        meaning(field)
    );
    for bits in &field.bits {
        let width = u16::from(bits.width);
        let last = u16::from(bits.bit) + width.max(1) - 1;
        let which =
            if width > 1 { format!("bits {} to {last}", bits.bit) } else { format!("bit {}", bits.bit) };
        let unit = if width == 1 { "bit" } else { "bits" };
        let sign = if bits.signed { ", signed" } else { "" };
        let scaled = scaled(bits.scale, bits.offset, &bits.unit);
        let meaning = if bits.meaning.name() == "free" { "" } else { bits.meaning.name() };
        let channel =
            bits.channel.as_ref().map_or_else(String::new, |channel| format!(" of {}", text(channel)));
        let _ = writeln!(
            out,
            "| {place}, {which} | {} | {width} {unit}{sign} | {scaled}{} | {meaning}{channel} |",
            text(&bits.name),
            named(&bits.values)
        );
    }
}

fn stored(field: &Field) -> String {
    let of = |stored: Stored| match stored {
        Stored::Unsigned(bytes) if bytes > 8 => format!("{bytes} bytes of bits"),
        Stored::Unsigned(bytes) => format!("u{}", 8 * u16::from(bytes)),
        Stored::Signed(bytes) => format!("i{}", 8 * u16::from(bytes)),
        Stored::Float(bytes) => format!("f{}", 8 * u16::from(bytes)),
        Stored::Skip(bytes) => format!("{bytes} bytes passed over"),
        Stored::Chars(bytes) => format!("text of {bytes} bytes"),
        Stored::Number => "number".to_owned(),
        Stored::Text => "text".to_owned(),
    };
    let mut said = of(field.stored);
    match field.big_endian {
        Some(true) => said.push_str(", most significant byte first"),
        Some(false) => said.push_str(", least significant byte first"),
        None => {}
    }
    if let Some(repeat) = &field.repeat {
        let _ = match repeat.count_from {
            Some(_) => write!(said, ", up to {} times, as counted before", repeat.count),
            None => write!(said, ", {} times", repeat.count),
        };
        if let Some(group) = &repeat.group {
            let _ = write!(said, " in turns with group {}", text(group));
        }
        if let Some(delta) = repeat.delta {
            let _ = write!(said, "; from the second on differences as {}", of(delta));
        }
        if let Some(every_s) = repeat.every_s {
            let end = if repeat.timed_last { "last" } else { "first" };
            let _ = write!(said, "; {every_s} s apart, the {end} at the packet's time");
        }
    }
    said
}

fn scaled(scale: f64, offset: f64, unit: &str) -> String {
    let mut said = String::new();
    if scale != 1.0 || offset != 0.0 {
        said.push_str("stored");
        if scale != 1.0 {
            let _ = write!(said, " × {scale}");
        }
        if offset != 0.0 {
            let _ = write!(said, " + {offset}");
        }
    }
    if !unit.is_empty() {
        let space = if said.is_empty() { "" } else { " " };
        let _ = write!(said, "{space}{}", text(unit));
    }
    said
}

fn named(values: &[(i64, String)]) -> String {
    let all: Vec<String> = values.iter().map(|(value, name)| format!("{value} {}", text(name))).collect();
    if all.is_empty() { String::new() } else { format!(" ({})", all.join(", ")) }
}

fn value(field: &Field) -> String {
    let mut said = scaled(field.scale, field.offset, &field.unit);
    said.push_str(&named(&field.values));
    if let Some(is) = field.is {
        let _ = write!(said, " always {is}");
    }
    if let Some(is) = &field.is_text {
        let _ = write!(said, " always {}", text(is));
    }
    if let Some(missing) = field.missing {
        let _ = write!(said, " ({missing} is no value)");
    }
    said.trim().to_owned()
}

fn meaning(field: &Field) -> String {
    let name = if field.meaning.name() == "free" { "" } else { field.meaning.name() };
    let channel = field.channel.as_ref().map_or_else(String::new, |channel| format!(" of {}", text(channel)));
    format!("{name}{channel}")
}
