//! Packing of values with keys: flat objects of JSON and maps of CBOR.

use std::fmt::Write as _;

use super::c_fields::{Kind, Member, begin, constant, structure, text};
use crate::{Encoding, Field};

/// Writes struct and packing; gives a key that lies inside another one back.
pub(super) fn packet(
    out: &mut String,
    name: &str,
    encoding: Encoding,
    fields: &[Field],
    prefix: &[u8],
) -> Result<(), String> {
    if let Some(nested) = fields.iter().find(|field| field.key().contains('.')) {
        return Err(nested.key().to_owned());
    }
    let members = structure(out, name, fields);
    begin(out, name, prefix);
    match encoding {
        Encoding::Json => constant(out, b"{"),
        Encoding::Cbor => {
            let _ = writeln!(out, "    lw_head(&o, 5, {});", fields.len());
        }
    }
    for (at, (field, members)) in fields.iter().zip(&members).enumerate() {
        match encoding {
            Encoding::Json => {
                let key = json_string(field.key());
                let front = if at == 0 { "" } else { "," };
                constant(out, format!("{front}{key}:").as_bytes());
            }
            Encoding::Cbor => match field.key().parse::<i64>() {
                Ok(key) if key < 0 => {
                    let _ = writeln!(out, "    lw_head(&o, 1, UINT64_C({}));", !key as u64);
                }
                Ok(key) => {
                    let _ = writeln!(out, "    lw_head(&o, 0, UINT64_C({key}));");
                }
                Err(_) => {
                    let _ = writeln!(out, "    lw_head(&o, 3, {});", field.key().len());
                    constant(out, field.key().as_bytes());
                }
            },
        }
        let Some(repeat) = &field.repeat else {
            value(out, encoding, field, members, "");
            continue;
        };
        let count = repeat.count;
        match encoding {
            Encoding::Json => constant(out, b"["),
            Encoding::Cbor => {
                let _ = writeln!(out, "    lw_head(&o, 4, {count});");
            }
        }
        let _ = writeln!(out, "    {{\n        int i;\n        for (i = 0; i < {count}; i++) {{");
        if encoding == Encoding::Json {
            let _ = writeln!(out, "            if (i > 0) lw_byte(&o, ',');");
        }
        value(out, encoding, field, members, "[i]");
        let _ = writeln!(out, "        }}\n    }}");
        if encoding == Encoding::Json {
            constant(out, b"]");
        }
    }
    if encoding == Encoding::Json {
        constant(out, b"}");
    }
    let _ = writeln!(out, "    return o.full ? 0 : o.used;\n}}\n");
    Ok(())
}

/// A string of JSON with its quotes; what is not plain is escaped.
fn json_string(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            '\0'..='\u{1f}' | '\u{7f}' => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            _ => out.push(c),
        }
    }
    out.push('"');
    out
}

fn value(out: &mut String, encoding: Encoding, field: &Field, members: &[Member], item: &str) {
    let json = encoding == Encoding::Json;
    if let Some(is) = &field.is_text {
        if json {
            constant(out, json_string(is).as_bytes());
        } else {
            let _ = writeln!(out, "    lw_head(&o, 3, {});", is.len());
            constant(out, is.as_bytes());
        }
        return;
    }
    if let Some(is) = field.is {
        let is = super::names::number(is);
        let _ = if json {
            writeln!(out, "    lw_decimal(&o, {is});")
        } else {
            writeln!(out, "    lw_byte(&o, 0xfb);\n    lw_integer(&o, lw_double_bits({is}), 8, 1);")
        };
        return;
    }
    if !field.bits.is_empty() {
        let _ = writeln!(out, "    {{\n        uint64_t low = 0;");
        for (bits, member) in field.bits.iter().zip(members) {
            let mask = u64::MAX >> (64 - u32::from(bits.width.clamp(1, 63)));
            let value = format!("v->{}{item}", member.name);
            let back = match member.kind {
                Kind::Double => {
                    let (scale, offset) =
                        (super::names::number(bits.scale), super::names::number(bits.offset));
                    format!("lw_signed(({value} - {offset}) / {scale}, INT64_MIN, INT64_MAX)")
                }
                _ => value,
            };
            let _ = writeln!(out, "        low |= ((uint64_t){back} & UINT64_C({mask})) << {};", bits.bit);
        }
        let _ = if json {
            writeln!(out, "        lw_digits(&o, low);\n    }}")
        } else {
            writeln!(out, "        lw_head(&o, 0, low);\n    }}")
        };
        return;
    }
    let Some(member) = members.first() else { return };
    let value = format!("v->{}{item}", member.name);
    match member.kind {
        Kind::Text(most) => {
            if json {
                out.push_str("    lw_byte(&o, '\"');\n");
                text(out, &value, most, "\"\\", "    ");
                out.push_str("    lw_byte(&o, '\"');\n");
                return;
            }
            let _ = write!(
                out,
                "    {{\n        int j, n = 0;\n        while (n < {most} && {value}[n] != 0) n++;\n\
                 \x20       lw_head(&o, 3, (uint64_t)n);\n        for (j = 0; j < n; j++) lw_byte(&o, (unsigned char){value}[j]);\n    }}\n"
            );
        }
        Kind::Signed(_) | Kind::Unsigned(_) => {
            let _ = if json {
                writeln!(out, "    lw_whole(&o, (int64_t){value});")
            } else {
                let negative = format!(
                    "    if ({value} < 0) lw_head(&o, 1, (uint64_t)(-1 - (int64_t){value}));\n    else "
                );
                let front = if matches!(member.kind, Kind::Signed(_)) { negative } else { "    ".to_owned() };
                writeln!(out, "{front}lw_head(&o, 0, (uint64_t){value});")
            };
        }
        Kind::Float | Kind::Double => {
            let (scale, offset) = (super::names::number(field.scale), super::names::number(field.offset));
            let back = format!("({value} - {offset}) / {scale}");
            let null = if json { "lw_bytes(&o, (const uint8_t *)\"null\", 4)" } else { "lw_byte(&o, 0xf6)" };
            let number = if json {
                format!("lw_decimal(&o, {back})")
            } else {
                format!("lw_byte(&o, 0xfb), lw_integer(&o, lw_double_bits({back}), 8, 1)")
            };
            let _ = writeln!(out, "    if ({value} != {value}) {null};\n    else {number};");
        }
    }
}
