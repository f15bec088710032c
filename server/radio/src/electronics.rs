//! The other end of a layout: what the crew's flight electronics need to send such packets.
//!
//! [`header`] writes a C99 header from a link's framing and layouts: a struct for each packet, a function that packs it
//! and one that frames it, checksum included. It includes nothing but `stdint.h` and `stddef.h`, so that it compiles for
//! a microcontroller as it does for a laptop. [`sheet()`] writes the same as a reference for people. Text from the setup
//! is hostile here: nothing of it can end a comment or a string. Must not know: files, compilers.

mod c_fields;
mod c_frame;
mod c_keyed;
mod names;
mod sheet;

use std::fmt::Write as _;

use crate::{Carrier, Cut, Field, Form, Framing, Layout, LineChecksum};
use names::{Names, comment};

pub use sheet::sheet;

/// A link's packets.
#[derive(Clone, Debug)]
pub struct Packets<'a> {
    /// The link's name.
    pub link: &'a str,
    /// How frames are made.
    pub framing: &'a Framing,
    /// What they hold.
    pub layouts: Vec<&'a Layout>,
}

/// Why there can be no header.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotInC {
    /// No layout.
    #[error("link `{link}` has no layout: nothing to pack")]
    NoLayout {
        /// The link.
        link: String,
    },
    /// A form that is given, not chosen.
    #[error(
        "layout `{layout}` is what {what} sends by itself: there is nothing to pack. Name other layouts in the link's `layouts`"
    )]
    Given {
        /// The layout.
        layout: String,
        /// Who sends it.
        what: &'static str,
    },
    /// A key with dots.
    #[error("layout `{layout}`: the key `{key}` lies inside another one; only flat objects can be packed")]
    Nested {
        /// The layout.
        layout: String,
        /// The key.
        key: String,
    },
    /// A CRC of more than 64 bits.
    #[error("{name} has more than 64 bits: there is no such integer in C")]
    WideCrc {
        /// Its name.
        name: String,
    },
    /// An envelope without a sender.
    #[error("layout `{layout}`: tell `from`, the call sign that the packets are sent with")]
    NoSource {
        /// The layout.
        layout: String,
    },
    /// A layout or framing that the setup would refuse.
    #[error("layout `{layout}` cannot be packed: {why}")]
    Refused {
        /// The layout.
        layout: String,
        /// What is wrong with it.
        why: String,
    },
}

/// Writes the header of a link's packets.
pub fn header(packets: &Packets<'_>) -> Result<String, NotInC> {
    if packets.layouts.is_empty() {
        return Err(NotInC::NoLayout { link: packets.link.to_owned() });
    }
    let mut names = Names::default();
    let link = names.unique(packets.link);
    let guard = format!("LOFTWATCH_{}_H", link.to_uppercase());
    let mut out = format!(
        "/* Packets of link \"{}\", written by loftwatch from its setup file. Do not edit: change the setup and write it again.\n\
         \x20* C99, no library: include it, fill in a struct, call its _frame function, send the bytes.\n\
         \x20* Values are in the units of the comments. What does not fit a field is sent as the nearest that does.\n\
         \x20* Text must be UTF-8; in lines and JSON, characters that would end it (control characters, the separator, a quote) are sent as _. */\n\
         #ifndef {guard}\n#define {guard}\n\n{HELPERS}",
        comment(packets.link)
    );
    c_frame::checksum(&mut out, &link, packets.framing)?;
    for layout in &packets.layouts {
        if let Some((_, problem)) = layout.check().into_iter().next() {
            return Err(NotInC::Refused { layout: layout.name.clone(), why: problem.to_string() });
        }
        let name = names.unique(&layout.name);
        let _ = writeln!(out, "\n/* ---- {} ---- */", comment(&layout.name));
        let (prefix, form) = envelope(layout)?;
        match form {
            Form::Binary { .. } | Form::Text { .. } => c_fields::packet(&mut out, &name, form, &prefix),
            Form::Keyed { encoding, fields } => {
                c_keyed::packet(&mut out, &name, *encoding, fields, &prefix)
                    .map_err(|key| NotInC::Nested { layout: layout.name.clone(), key })?;
            }
            Form::Nmea { .. } => {
                return Err(NotInC::Given { layout: layout.name.clone(), what: "a GNSS receiver" });
            }
            Form::Aprs { .. } | Form::In { .. } => {
                return Err(NotInC::Given { layout: layout.name.clone(), what: "an APRS tracker" });
            }
        }
        let room = room(packets.framing, &prefix, form);
        c_frame::frame(&mut out, &link, &name, packets.framing, room, marks(packets.framing, layout));
    }
    let _ = writeln!(out, "\n#endif /* {guard} */");
    Ok(out)
}

/// Bytes that a payload with its CRC can take: memory is dear on a microcontroller.
fn room(framing: &Framing, prefix: &[u8], form: &Form) -> usize {
    let Form::Binary { length, fields, .. } = form else { return framing.max_length };
    let all = |field: &Field| {
        let times = usize::from(field.repeat.as_ref().map_or(1, |repeat| repeat.count));
        times * field.stored.bytes()
    };
    let payload = fields.iter().map(all).sum::<usize>().max(length.unwrap_or(0));
    let crc = framing.crc.as_ref().and_then(|crc| crc.stored_bytes().ok()).unwrap_or(0);
    // A byte more for the port of KISS.
    (prefix.len() + payload + crc + 1).min(framing.max_length)
}

/// Whether a line begins with `$`: the mark belongs to columns of text, in front of an object it would be in the way.
fn marks(framing: &Framing, layout: &Layout) -> bool {
    matches!(&framing.cut, Cut::Lines { checksum } if *checksum != LineChecksum::None)
        && matches!(layout.form, Form::Text { .. })
}

/// The bytes in front of the payload, and what is inside.
fn envelope(layout: &Layout) -> Result<(Vec<u8>, &Form), NotInC> {
    let Form::In { envelope, form } = &layout.form else { return Ok((Vec::new(), &layout.form)) };
    let source = envelope.from.as_deref().ok_or_else(|| NotInC::NoSource { layout: layout.name.clone() })?;
    let bytes = match envelope.carrier {
        Carrier::Monitor => format!("{}>BEACON:", source.to_ascii_uppercase()).into_bytes(),
        Carrier::Ax25 => {
            let mut bytes = address("BEACON", false);
            bytes.extend(address(&source.to_ascii_uppercase(), true));
            // Unnumbered information, no protocol above.
            bytes.extend([0x03, 0xf0]);
            bytes
        }
    };
    Ok((bytes, form))
}

/// An AX.25 address, see `layout/envelope.rs`.
fn address(name: &str, last: bool) -> Vec<u8> {
    let (call, number) = name.split_once('-').unwrap_or((name, "0"));
    let mut bytes: Vec<u8> = format!("{call:6.6}").bytes().map(|byte| byte << 1).collect();
    bytes.push(0x60 | (number.parse::<u8>().unwrap_or(0) & 0x0f) << 1 | u8::from(last));
    bytes
}

/// What every header needs, once.
const HELPERS: &str = include_str!("electronics/helpers.h");

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Stored;

    #[test]
    fn names_and_comments_from_the_setup_cannot_leave_their_place() {
        let field = Field {
            unit: "\u{b5}*/ int x;".to_owned(),
            values: vec![(1, "a*/b\\\n??/".to_owned())],
            ..Field::new("int */ = \"\n#define", Stored::Unsigned(1))
        };
        let layout = Layout {
            name: "9 */ while".to_owned(),
            form: Form::Binary { big_endian: false, length: None, fields: vec![field] },
            body: None,
            rate_hz: None,
        };
        let framing = Framing { cut: Cut::Cobs, crc: None, max_length: 64 };
        let packets = Packets { link: "*/ #error \"x", framing: &framing, layouts: vec![&layout] };
        let out = header(&packets).unwrap();
        let code: String =
            out.split("/*").map(|part| part.split_once("*/").map_or(part, |(_, after)| after)).collect();
        assert!(!code.contains("#error") && !code.contains("int x;"), "{out}");
        assert_eq!(out.matches("/*").count(), out.matches("*/").count(), "{out}");
        assert!(!out.contains("??") && out.is_ascii(), "{out}");
    }

    #[test]
    fn what_cannot_be_packed_is_told() {
        let framing = Framing { cut: Cut::Cobs, crc: None, max_length: 64 };
        let nmea = Layout {
            name: "gnss".to_owned(),
            form: Form::nmea(crate::PositionFrom::Gga, crate::VelocityFrom::Rmc),
            body: None,
            rate_hz: None,
        };
        let of = |layouts| {
            header(&Packets { link: "l", framing: &framing, layouts }).map_err(|error| error.to_string())
        };
        assert!(of(vec![&nmea]).is_err_and(|error| error.contains("a GNSS receiver sends by itself")));
        assert!(of(Vec::new()).is_err_and(|error| error.contains("nothing to pack")));
    }
}
