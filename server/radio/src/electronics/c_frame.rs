//! Checksums and framings in C.

use std::fmt::Write as _;

use super::NotInC;
use super::names::bytes;
use crate::framing::Parameters;
use crate::{Crc, CrcCovers, Cut, Framing, LengthCounts, LengthField, LineChecksum};

/// Writes the CRC of a link, a bit at a time: short, no table.
pub(super) fn checksum(out: &mut String, link: &str, framing: &Framing) -> Result<(), NotInC> {
    let Some(crc) = &framing.crc else { return Ok(()) };
    let Some(Parameters { width, poly, init, refin, refout, xorout }) = crc.parameters() else {
        return Err(NotInC::WideCrc { name: crc.name.clone() });
    };
    let mask = u64::MAX >> (64 - u32::from(width));
    let reflect = |value: u64| value.reverse_bits() >> (64 - u32::from(width));
    let mut body = String::new();
    if refin {
        let _ = write!(
            body,
            "    uint64_t sum = UINT64_C({:#x});\n    size_t i;\n    int bit;\n    for (i = 0; i < count; i++) {{\n        sum ^= from[i];\n\
             \x20       for (bit = 0; bit < 8; bit++) sum = (sum & 1u) ? (sum >> 1) ^ UINT64_C({:#x}) : sum >> 1;\n    }}\n",
            reflect(init),
            reflect(poly)
        );
    } else {
        // The register stands at the upper end, so that widths below 8 bits need no exception.
        let up = 64 - u32::from(width);
        let _ = write!(
            body,
            "    uint64_t sum = UINT64_C({:#x});\n    size_t i;\n    int bit;\n    for (i = 0; i < count; i++) {{\n        sum ^= (uint64_t)from[i] << 56;\n\
             \x20       for (bit = 0; bit < 8; bit++) sum = (sum >> 63) ? (sum << 1) ^ UINT64_C({:#x}) : sum << 1;\n    }}\n    sum >>= {up};\n",
            init << up,
            poly << up
        );
    }
    if refin != refout {
        let _ = write!(
            body,
            "    {{\n        uint64_t turned = 0;\n        for (bit = 0; bit < {width}; bit++) turned |= ((sum >> bit) & 1u) << ({width} - 1 - bit);\n        sum = turned;\n    }}\n"
        );
    }
    let _ = write!(
        out,
        "\n/* {} */\nLW_FUNCTION uint64_t {link}_crc(const uint8_t *from, size_t count) {{\n{body}    return (sum ^ UINT64_C({xorout:#x})) & UINT64_C({mask:#x});\n}}\n",
        crc.name
    );
    Ok(())
}

/// Bytes of the CRC.
fn stored(crc: &Crc) -> usize {
    crc.stored_bytes().unwrap_or(0)
}

/// Writes the function that makes a frame of a packet. `marked`: its lines begin with `$`.
pub(super) fn frame(out: &mut String, link: &str, name: &str, framing: &Framing, most: usize, marked: bool) {
    let _ = writeln!(
        out,
        "/* A whole frame, ready to be sent: bytes written, 0 if there is no room for it. */\n\
         LW_FUNCTION size_t {name}_frame(const {name}_t *v, uint8_t *to, size_t size) {{\n\
         \x20   uint8_t payload[{most}];\n    size_t count = {name}_pack(v, payload, sizeof payload), i;\n\
         \x20   lw_out o = {{0, 0, 0, 0}};\n    o.to = to;\n    o.size = size;\n    (void)i;\n    if (count == 0) return 0;"
    );
    let crc = framing.crc.as_ref().map(|crc| (stored(crc), u8::from(crc.big_endian)));
    // The CRC behind the payload, in the same buffer.
    let behind = |out: &mut String| {
        if let Some((bytes, big)) = crc {
            let _ = writeln!(
                out,
                "    {{\n        lw_out tail = {{0, 0, 0, 0}};\n        tail.to = payload + count;\n        tail.size = sizeof payload - count;\n\
                 \x20       lw_integer(&tail, {link}_crc(payload, count), {bytes}, {big});\n        if (tail.full) return 0;\n        count += tail.used;\n    }}"
            );
        }
    };
    match &framing.cut {
        Cut::Lines { checksum } => lines(out, link, *checksum, crc, marked),
        Cut::Cobs => {
            behind(out);
            out.push_str(COBS);
        }
        Cut::Slip => {
            behind(out);
            out.push_str("    lw_byte(&o, 0xc0);\n");
            out.push_str(SLIP);
        }
        Cut::Kiss => {
            // Port 0, data: the CRC covers it too.
            out.push_str(
                "    if (count >= sizeof payload) return 0;\n    for (i = count; i > 0; i--) payload[i] = payload[i - 1];\n    payload[0] = 0;\n    count++;\n",
            );
            behind(out);
            out.push_str("    lw_byte(&o, 0xc0);\n");
            out.push_str(SLIP);
        }
        Cut::Sync { sync, length, counts, crc_covers } => {
            let width = length.bytes();
            let tail = crc.map_or(0, |(bytes, _)| bytes);
            let counted = match counts {
                LengthCounts::Payload => 0,
                LengthCounts::PayloadAndCrc => tail,
                LengthCounts::Whole => tail + sync.len() + width,
            };
            let limit = if *length == LengthField::U8 { 0xff } else { 0xffff };
            let _ = writeln!(
                out,
                "    static const uint8_t sync[] = {{{}}};\n    if (count + {counted} > {limit}) return 0;\n    lw_bytes(&o, sync, sizeof sync);\n\
                 \x20   lw_integer(&o, count + {counted}, {width}, {});\n    lw_bytes(&o, payload, count);",
                bytes(sync),
                u8::from(*length == LengthField::U16Be)
            );
            let from = match crc_covers {
                CrcCovers::All => 0,
                CrcCovers::LengthAndPayload => sync.len(),
                CrcCovers::Payload => sync.len() + width,
            };
            at_end(out, link, crc, from);
        }
        Cut::Fixed { length, sync, crc_covers } => {
            let tail = crc.map_or(0, |(bytes, _)| bytes);
            let room = length.saturating_sub(tail + sync.len());
            let _ = writeln!(out, "    if (count > {room}) return 0;");
            super::c_fields::constant(out, sync);
            let _ = writeln!(
                out,
                "    lw_bytes(&o, payload, count);\n    for (i = count; i < {room}; i++) lw_byte(&o, 0);"
            );
            at_end(out, link, crc, if *crc_covers == CrcCovers::All { 0 } else { sync.len() });
        }
    }
    out.push_str("    return o.full ? 0 : o.used;\n}\n");
}

/// The CRC over what has been written from a place on.
fn at_end(out: &mut String, link: &str, crc: Option<(usize, u8)>, from: usize) {
    if let Some((bytes, big)) = crc {
        let _ = writeln!(
            out,
            "    if (o.full) return 0;\n    lw_integer(&o, {link}_crc(to + {from}, o.used - {from}), {bytes}, {big});"
        );
    }
}

fn lines(out: &mut String, link: &str, checksum: LineChecksum, crc: Option<(usize, u8)>, marked: bool) {
    if marked {
        out.push_str("    lw_byte(&o, '$');\n");
    }
    out.push_str("    lw_bytes(&o, payload, count);\n");
    if checksum != LineChecksum::None {
        out.push_str("    lw_byte(&o, '*');\n");
        if let Some((bytes, big)) = crc {
            let _ = writeln!(
                out,
                "    {{\n        uint8_t sum[8];\n        lw_out tail = {{0, 0, 0, 0}};\n        tail.to = sum;\n        tail.size = sizeof sum;\n\
                 \x20       lw_integer(&tail, {link}_crc(payload, count), {bytes}, {big});\n        for (i = 0; i < tail.used; i++) lw_hex(&o, sum[i]);\n    }}"
            );
        } else {
            out.push_str(
                "    {\n        unsigned sum = 0;\n        for (i = 0; i < count; i++) sum ^= payload[i];\n        lw_hex(&o, sum);\n    }\n",
            );
        }
    }
    out.push_str("    lw_byte(&o, '\\r');\n    lw_byte(&o, '\\n');\n");
}

const COBS: &str = "    {
        size_t mark = o.used, run = 1;
        lw_byte(&o, 0);
        for (i = 0; i < count; i++) {
            if (payload[i] != 0) {
                lw_byte(&o, payload[i]);
                run++;
            }
            if (payload[i] == 0 || (run == 255 && i + 1 < count)) {
                if (o.full) return 0;
                to[mark] = (uint8_t)run;
                mark = o.used;
                run = 1;
                lw_byte(&o, 0);
            }
        }
        if (o.full) return 0;
        to[mark] = (uint8_t)run;
    }
    lw_byte(&o, 0);
";

const SLIP: &str = "    for (i = 0; i < count; i++) {
        if (payload[i] == 0xc0) lw_byte(&o, 0xdb), lw_byte(&o, 0xdc);
        else if (payload[i] == 0xdb) lw_byte(&o, 0xdb), lw_byte(&o, 0xdd);
        else lw_byte(&o, payload[i]);
    }
    lw_byte(&o, 0xc0);
";
