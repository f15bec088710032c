//! What the header packs and frames in C is what the splitter cuts and the layout decodes: compiled with the system's C
//! compiler, for every framing, checksum and kind of field.

#![expect(clippy::unwrap_used, reason = "a test")]

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::Command;

use loftwatch_radio::electronics::{Packets, header, sheet};
use loftwatch_radio::{
    Bits, Carrier, Crc, CrcCovers, Cut, Encoding, Envelope, Field, Form, Framing, Layout, LengthCounts,
    LengthField, LineChecksum, Meaning, Repeat, Splitter, Stored, Value,
};

/// Values for the members of one packet: the C to fill them in, and what is to be decoded, as (name, item, value).
struct Filled {
    code: String,
    expected: Vec<(String, u16, Told)>,
}

#[derive(Clone, Debug)]
enum Told {
    /// The value and how far the step of the field may take it away.
    Number(f64, f64),
    Text(String),
}

/// A reproducible stream of numbers (xorshift64, Marsaglia 2003).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// Between -1 and 1.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

fn layout(name: &str, form: Form) -> Layout {
    Layout { name: name.to_owned(), form, body: None, rate_hz: Some(10.0) }
}

fn binary(name: &str, big_endian: bool, length: Option<usize>, fields: Vec<Field>) -> Layout {
    layout(name, Form::Binary { big_endian, length, fields })
}

fn scaled(name: &str, stored: Stored, scale: f64, offset: f64) -> Field {
    Field {
        scale,
        offset,
        unit: "hPa".to_owned(),
        si_scale: 100.0,
        meaning: Meaning::Pressure,
        ..Field::new(name, stored)
    }
}

fn repeated(field: Field, repeat: Repeat) -> Field {
    Field { repeat: Some(repeat), ..field }
}

/// Every width of integer and float, plain; flags, wide bits, text, what is always the same, what is passed over.
fn every_type() -> Vec<Field> {
    let mut fields = vec![Field { is: Some(7.0), ..Field::new("kind", Stored::Unsigned(1)) }];
    for bytes in 1..=8 {
        fields.push(Field::new(format!("u{bytes}"), Stored::Unsigned(bytes)));
        fields.push(Field::new(format!("i{bytes}"), Stored::Signed(bytes)));
    }
    fields.push(Field::new("half", Stored::Float(2)));
    fields.push(Field { big_endian: Some(true), ..Field::new("single", Stored::Float(4)) });
    fields.push(Field::new("wide float", Stored::Float(8)));
    fields.push(scaled("pressure", Stored::Unsigned(3), 0.01, 500.0));
    fields.push(Field::new("gap", Stored::Skip(3)));
    fields.push(Field { is_text: Some("LW".to_owned()), ..Field::new("mark", Stored::Chars(4)) });
    fields.push(Field::new("call sign", Stored::Chars(6)));
    let flags = vec![
        Bits::new(0, 1, "armed"),
        Bits {
            values: vec![(0, "pad".to_owned()), (1, "up".to_owned()), (2, "down".to_owned())],
            ..Bits::new(1, 2, "mode")
        },
        Bits { signed: true, ..Bits::new(3, 9, "trim") },
        Bits { signed: true, scale: 0.25, offset: 1.0, ..Bits::new(58, 12, "rate") },
        Bits { missing: Some(15.0), ..Bits::new(124, 4, "top") },
    ];
    fields.push(Field { bits: flags, ..Field::new("packed", Stored::Unsigned(16)) });
    fields
}

/// Samples in turns, one of them as differences; a counted array; single values between.
fn series() -> Vec<Field> {
    let of = |delta| Repeat {
        group: Some("imu".to_owned()),
        delta,
        every_s: Some(0.005),
        timed_last: true,
        ..Repeat::times(6)
    };
    vec![
        Field::new("n", Stored::Unsigned(1)),
        repeated(Field { scale: 0.5, ..Field::new("x", Stored::Signed(2)) }, of(Some(Stored::Signed(1)))),
        repeated(Field::new("y", Stored::Float(2)), of(None)),
        repeated(
            Field::new("cells", Stored::Unsigned(2)),
            Repeat { count_from: Some(0), ..Repeat::times(5) },
        ),
        Field::new("end", Stored::Signed(1)),
    ]
}

fn columns(starts_with: Option<&str>) -> Form {
    let fields = vec![
        Field::new("count", Stored::Number),
        scaled("pressure", Stored::Number, 2.0, -3.0),
        Field::new("words", Stored::Text),
        repeated(Field::new("cells", Stored::Number), Repeat::times(3)),
        Field {
            bits: vec![Bits::new(0, 1, "a"), Bits::new(4, 3, "b")],
            ..Field::new("flags", Stored::Number)
        },
        Field { is: Some(2.0), ..Field::new("kind", Stored::Number) },
        Field { is_text: Some("LW".to_owned()), ..Field::new("mark", Stored::Text) },
    ];
    Form::Text { separator: ";".to_owned(), starts_with: starts_with.map(str::to_owned), fields }
}

fn keyed(encoding: Encoding) -> Form {
    let with_key = |key: &str, field: Field| Field { key: Some(key.to_owned()), ..field };
    let fields = vec![
        with_key("3", Field { is: Some(5.0), ..Field::new("kind", Stored::Number) }),
        scaled("pressure", Stored::Number, 2.0, -3.0),
        with_key("a\"b\\", Field::new("words", Stored::Text)),
        repeated(Field::new("cells", Stored::Number), Repeat::times(3)),
        Field {
            bits: vec![Bits::new(0, 1, "a"), Bits::new(4, 3, "b")],
            ..Field::new("flags", Stored::Number)
        },
        Field {
            values: vec![(-1, "down".to_owned()), (4, "up".to_owned())],
            ..Field::new("state", Stored::Number)
        },
        Field { is_text: Some("LW".to_owned()), ..Field::new("mark", Stored::Text) },
    ];
    Form::Keyed { encoding, fields }
}

/// The name of a member in C: the test's own names are plain.
fn member(name: &str) -> String {
    name.to_lowercase().replace(' ', "_")
}

fn written(value: f64) -> String {
    format!("{value:?}")
}

/// Fills in one value of a field; gives it as it is to be decoded.
fn fill(
    field: &Field,
    at: &str,
    chance: &mut Chance,
    code: &mut String,
    counted: Option<f64>,
) -> Vec<(String, Told)> {
    let name = member(&field.name);
    let si = |value: f64| value * field.si_scale + field.si_offset;
    if !field.bits.is_empty() {
        let mut told = Vec::new();
        for bits in &field.bits {
            let range = 1_i64 << bits.width;
            let mut raw = (chance.next() % range as u64) as i64 - if bits.signed { range / 2 } else { 0 };
            if bits.missing == Some(raw as f64) || (!bits.values.is_empty() && raw > 2) {
                raw = 0;
            }
            let value = raw as f64 * bits.scale + bits.offset;
            let literal = if bits.scale == 1.0 { raw.to_string() } else { written(value) };
            let _ = writeln!(code, "    v.{}{at} = {literal};", member(&bits.name));
            told.push((bits.name.clone(), Told::Number(value, 0.0)));
        }
        return told;
    }
    let plain = field.scale == 1.0 && field.offset == 0.0;
    let (literal, value, within) = match field.stored {
        Stored::Skip(_) => return Vec::new(),
        Stored::Chars(_) | Stored::Text => {
            let text = format!("N{}", chance.next() % 100_000);
            let text = text[..text.len().min(6)].to_owned();
            for (at_byte, byte) in text.bytes().enumerate() {
                let _ = writeln!(code, "    v.{name}{at}[{at_byte}] = {byte};");
            }
            return vec![(field.name.clone(), Told::Text(text))];
        }
        Stored::Unsigned(bytes) if plain => {
            let raw =
                counted.map_or_else(|| chance.next() >> (64 - 8 * u32::from(bytes)), |count| count as u64);
            (format!("UINT64_C({raw})"), raw as f64, 0.0)
        }
        Stored::Signed(bytes) if plain => {
            let raw = (chance.next() as i64) >> (64 - 8 * u32::from(bytes));
            (format!("({raw}LL + 0)"), raw as f64, 0.0)
        }
        // Near one another, so that differences of a byte reach from one to the next.
        Stored::Unsigned(_) | Stored::Signed(_) => {
            let value = (chance.share() * 40.0 + 100.0) * field.scale + field.offset;
            (written(value), si(value), field.scale.abs() * 0.5001 * field.si_scale)
        }
        // Ten bits of a half after the point, one of which may be rounded.
        Stored::Float(2) => {
            let value = chance.share() * 1000.0;
            (format!("(float){}", written(value)), value, value.abs() / 2000.0 + 1e-7)
        }
        Stored::Float(4) => {
            let value = chance.share() as f32;
            (format!("(float){}", written(f64::from(value))), f64::from(value), 0.0)
        }
        Stored::Float(_) => {
            let value = chance.share();
            (written(value), value, 0.0)
        }
        Stored::Number if !field.values.is_empty() => ("-1".to_owned(), -1.0, 0.0),
        Stored::Number => {
            let value = chance.share() * 1e5;
            // Seven decimals of what stands in the column.
            let within = 0.6e-7 * field.scale.abs() * field.si_scale + 1e-9 * value.abs() * field.si_scale;
            (written(value), si(value), within)
        }
    };
    let _ = writeln!(code, "    v.{name}{at} = {literal};");
    vec![(field.name.clone(), Told::Number(value, within))]
}

fn filled(layout: &Layout, chance: &mut Chance) -> Filled {
    let mut code = String::new();
    let mut expected = Vec::new();
    let counted = chance.next() % 6;
    for (index, field) in layout.fields().iter().enumerate() {
        if let Some(is) = field.is {
            expected.push((field.name.clone(), 0, Told::Number(is, 0.0)));
            continue;
        }
        if let Some(is) = &field.is_text {
            expected.push((field.name.clone(), 0, Told::Text(is.clone())));
            continue;
        }
        let counts = layout
            .fields()
            .iter()
            .any(|other| other.repeat.as_ref().is_some_and(|repeat| repeat.count_from == Some(index as u16)));
        let items = field.repeat.as_ref().map_or(1, |repeat| repeat.count);
        let sent = match &field.repeat {
            Some(repeat) if repeat.count_from.is_some() => counted as u16,
            _ => items,
        };
        for item in 0..items {
            let at = if field.repeat.is_some() { format!("[{item}]") } else { String::new() };
            let told = fill(field, &at, chance, &mut code, counts.then_some(counted as f64));
            if item < sent {
                expected.extend(told.into_iter().map(|(name, told)| (name, item, told)));
            }
        }
    }
    Filled { code, expected }
}

fn framings() -> Vec<(&'static str, Framing)> {
    let crc = |name: &str, big_endian| Some(Crc { name: name.to_owned(), big_endian });
    let sync = |length, counts, crc_covers| Cut::Sync { sync: vec![0xa5, 0x5a], length, counts, crc_covers };
    let of = |cut, crc| Framing { cut, crc, max_length: 512 };
    vec![
        ("cobs", of(Cut::Cobs, crc("CRC-16/IBM-3740", false))),
        ("slip", of(Cut::Slip, crc("CRC-32/ISO-HDLC", true))),
        ("kiss", of(Cut::Kiss, None)),
        ("kiss crc", of(Cut::Kiss, crc("CRC-16/KERMIT", false))),
        (
            "sync a",
            of(sync(LengthField::U8, LengthCounts::Payload, CrcCovers::All), crc("CRC-8/MAXIM-DOW", false)),
        ),
        (
            "sync b",
            of(
                sync(LengthField::U16Be, LengthCounts::Whole, CrcCovers::LengthAndPayload),
                crc("CRC-24/OPENPGP", true),
            ),
        ),
        (
            "sync c",
            of(
                sync(LengthField::U16Le, LengthCounts::PayloadAndCrc, CrcCovers::Payload),
                crc("CRC-64/XZ", false),
            ),
        ),
        (
            "fixed",
            of(
                Cut::Fixed { length: 160, sync: vec![0xee, 0x01], crc_covers: CrcCovers::All },
                crc("CRC-16/MODBUS", true),
            ),
        ),
        (
            "fixed b",
            of(
                Cut::Fixed { length: 158, sync: vec![0xee], crc_covers: CrcCovers::Payload },
                crc("CRC-12/UMTS", false),
            ),
        ),
    ]
}

fn lines() -> Vec<(&'static str, Framing)> {
    let of = |checksum, name: Option<&str>| Framing {
        cut: Cut::Lines { checksum },
        crc: name.map(|name| Crc { name: name.to_owned(), big_endian: true }),
        max_length: 512,
    };
    vec![
        ("lines", of(LineChecksum::Xor, None)),
        ("lines bare", of(LineChecksum::None, None)),
        ("lines optional", of(LineChecksum::Optional, None)),
        ("lines crc", of(LineChecksum::Xor, Some("CRC-16/XMODEM"))),
    ]
}

/// Every link of the test: its name, framing and layouts.
fn links() -> Vec<(String, Framing, Vec<Layout>)> {
    let ax25 = |form: Form| Form::In {
        envelope: Envelope { carrier: Carrier::Ax25, from: Some("N0CALL-11".to_owned()) },
        form: Box::new(form),
    };
    let monitor = |form: Form| Form::In {
        envelope: Envelope { carrier: Carrier::Monitor, from: Some("N0CALL-11".to_owned()) },
        form: Box::new(form),
    };
    let mut links = Vec::new();
    for (name, framing) in framings() {
        // A fixed frame has one length: that of its layout, which the header fills up to.
        let length = matches!(framing.cut, Cut::Fixed { .. }).then_some(if name == "fixed" {
            160 - 2 - 2
        } else {
            158 - 1 - 2
        });
        let mut layouts = vec![
            binary("every type", false, length, every_type()),
            binary("big endian", true, length, every_type()),
            binary("series", false, length, series()),
            binary("series big", true, length, series()),
        ];
        if name == "kiss" {
            layouts.push(layout("in ax25", ax25(binary("", false, None, every_type()).form)));
        }
        if name == "cobs" {
            layouts.push(layout("map", keyed(Encoding::Cbor)));
            layouts.push(layout(
                "lengthy",
                binary(
                    "",
                    false,
                    Some(400),
                    vec![
                        Field::new("gap", Stored::Skip(7)),
                        repeated(Field::new("x", Stored::Unsigned(1)), Repeat::times(393)),
                    ],
                )
                .form,
            ));
        }
        links.push((name.to_owned(), framing, layouts));
    }
    for (name, framing) in lines() {
        let mut layouts = vec![
            layout("columns", columns(Some("LW1"))),
            layout("bare columns", columns(None)),
            layout("object", keyed(Encoding::Json)),
        ];
        if name == "lines bare" {
            layouts.push(layout("monitored", monitor(columns(Some("LW1")))));
        }
        links.push((name.to_owned(), framing, layouts));
    }
    links
}

fn compiler() -> Option<String> {
    let named = ["gcc", "cc", "clang"];
    named
        .into_iter()
        .find(|name| Command::new(name).arg("--version").output().is_ok_and(|out| out.status.success()))
        .map(str::to_owned)
}

/// A C compiler and a folder of this name to use it in; says so where there is none.
fn workshop(name: &str) -> Option<(String, PathBuf)> {
    let found = compiler();
    if found.is_none() {
        eprintln!("skipped: there is no C compiler (gcc, cc or clang) on this machine");
    }
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::create_dir_all(&folder).unwrap();
    Some((found?, folder))
}

/// How many packets of each layout.
const PACKETS: usize = 25;

#[test]
fn what_c_packs_is_decoded_to_the_same_values() {
    let Some((compiler, folder)) = workshop("c_header") else { return };
    let mut chance = Chance(0x9e37_79b9_7f4a_7c15);
    let mut compared = 0;
    for (link, framing, layouts) in links() {
        assert_eq!(framing.check(), [], "{link}");
        let packets = Packets { link: &link, framing: &framing, layouts: layouts.iter().collect() };
        let text = header(&packets).unwrap_or_else(|error| panic!("{link}: {error}"));
        let plain = link.replace(' ', "_");
        std::fs::write(folder.join(format!("{plain}.h")), &text).unwrap();
        let mut main = format!("#include \"{plain}.h\"\n#include <stdio.h>\n#include <string.h>\n");
        main.push_str("static void put(const uint8_t *b, size_t n) { size_t i; for (i = 0; i < n; i++) printf(\"%02x\", b[i]); printf(\"\\n\"); }\n");
        let mut body = String::new();
        let mut expected = Vec::new();
        for (at, layout) in layouts.iter().enumerate() {
            let name = member(&layout.name);
            for number in 0..PACKETS {
                let filled = filled(layout, &mut chance);
                let _ = writeln!(
                    main,
                    "static void make_{at}_{number}(void) {{\n    uint8_t to[2048];\n    {name}_t v;\n    memset(&v, 0, sizeof v);\n{}    put(to, {name}_frame(&v, to, sizeof to));\n}}",
                    filled.code
                );
                let _ = writeln!(body, "    make_{at}_{number}();");
                expected.push((layout, filled.expected));
            }
        }
        let _ = writeln!(main, "int main(void) {{\n{body}    return 0;\n}}");
        let said = run((&compiler, &folder), &plain, &main);
        assert_eq!(said.lines().count(), expected.len());
        for (line, (layout, expected)) in said.lines().zip(&expected) {
            let bytes: Vec<u8> = (0..line.len())
                .step_by(2)
                .map(|at| u8::from_str_radix(&line[at..at + 2], 16).unwrap())
                .collect();
            compare(&link, &framing, layout, &bytes, expected);
            compared += 1;
        }
    }
    assert!(compared > 1000, "{compared}");
}

/// Cuts and decodes a frame, and compares.
fn compare(link: &str, framing: &Framing, layout: &Layout, bytes: &[u8], expected: &[(String, u16, Told)]) {
    let what = format!("{link}, {}: {bytes:02x?}", layout.name);
    let mut payloads = Vec::new();
    Splitter::new(framing).push(bytes, 0, &mut |frame| payloads.push(frame.payload.map(<[u8]>::to_vec)));
    assert_eq!(payloads.len(), 1, "{what}");
    let payload = payloads.remove(0).unwrap_or_else(|wrong| panic!("{what}: {wrong}"));
    assert!(layout.matches(&payload), "{what}");
    let decoded = layout.decode(&payload);
    assert_eq!(decoded.complaints, [], "{what}");
    let mut found: Vec<(String, u16, &Value)> = decoded
        .values
        .iter()
        .map(|entry| (layout.spec(entry).unwrap().name.to_owned(), entry.item, &entry.value))
        .collect();
    assert_eq!(found.len(), expected.len(), "{what}\n{found:?}\n{expected:?}");
    for (name, item, told) in expected {
        let at = found.iter().position(|(known, of, _)| known == name && of == item);
        let (_, _, value) = found.remove(at.unwrap_or_else(|| panic!("{what}: no {name}[{item}]")));
        match (told, value) {
            (Told::Text(told), Value::Text(found)) => assert_eq!(found, told, "{what}: {name}"),
            (Told::Number(told, within), value) => {
                let found = value.number().unwrap();
                assert!(
                    libm::fabs(found - told) <= *within,
                    "{what}: {name}[{item}] is {found} where {told} was packed"
                );
            }
            other => panic!("{what}: {name}: {other:?}"),
        }
    }
}

/// What a C program prints that compiles without a warning and ends well.
fn run((compiler, folder): (&str, &std::path::Path), name: &str, text: &str) -> String {
    let (source, program) = (folder.join(format!("{name}.c")), folder.join(name));
    std::fs::write(&source, text).unwrap();
    let built = Command::new(compiler)
        .args(["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror", "-o"])
        .arg(&program)
        .arg(&source)
        .output()
        .unwrap();
    assert!(built.status.success(), "{name}: {}", String::from_utf8_lossy(&built.stderr));
    let ran = Command::new(&program).output().unwrap();
    assert!(ran.status.success(), "{name}");
    String::from_utf8(ran.stdout).unwrap()
}

/// The frames of some packets, by C: layout and how its struct is filled in.
fn packed(
    (compiler, folder): (&str, &std::path::Path),
    framing: &Framing,
    layouts: &[Layout],
    filled: &[(&str, String)],
) -> Vec<Vec<u8>> {
    let text = header(&Packets { link: "l", framing, layouts: layouts.iter().collect() }).unwrap();
    std::fs::write(folder.join("l.h"), text).unwrap();
    let mut main =
        String::from("#include \"l.h\"\n#include <math.h>\n#include <stdio.h>\n#include <string.h>\n");
    main.push_str("int main(void) {\n    uint8_t to[2048];\n    size_t n, i;\n");
    for (name, code) in filled {
        let _ = writeln!(
            main,
            "    {{\n        {name}_t v;\n        memset(&v, 0, sizeof v);\n        {code}\n        n = {name}_frame(&v, to, sizeof to);\n    }}\n\
             \x20   for (i = 0; i < n; i++) printf(\"%02x\", to[i]);\n    printf(\"\\n\");"
        );
    }
    main.push_str("    return 0;\n}\n");
    let said = run((compiler, folder), "l", &main);
    let bytes = |line: &str| -> Vec<u8> {
        (0..line.len()).step_by(2).map(|at| u8::from_str_radix(&line[at..at + 2], 16).unwrap()).collect()
    };
    said.lines().map(bytes).collect()
}

/// What is decoded of a frame, which must be one and good.
fn read(framing: &Framing, layout: &Layout, bytes: &[u8]) -> Vec<(String, Value)> {
    let mut payloads = Vec::new();
    Splitter::new(framing).push(bytes, 0, &mut |frame| payloads.push(frame.payload.map(<[u8]>::to_vec)));
    assert_eq!(payloads.len(), 1, "{}", String::from_utf8_lossy(bytes));
    let payload = payloads.remove(0).unwrap();
    assert!(layout.matches(&payload), "{}", String::from_utf8_lossy(bytes));
    let decoded = layout.decode(&payload);
    assert_eq!(decoded.complaints, [], "{}", String::from_utf8_lossy(bytes));
    let name = |entry| layout.spec(entry).unwrap().name.to_owned();
    decoded.values.iter().map(|entry| (name(entry), entry.value.clone())).collect()
}

#[test]
fn text_that_would_end_its_column_or_line_is_replaced() {
    let Some((compiler, folder)) = workshop("c_text") else { return };
    let framing = lines().remove(0).1;
    let columns = |name: &str, separator: &str, starts_with: Option<&str>| {
        let fields = vec![Field::new("words", Stored::Text), Field::new("n", Stored::Number)];
        let (separator, starts_with) = (separator.to_owned(), starts_with.map(str::to_owned));
        layout(name, Form::Text { separator, starts_with, fields })
    };
    let object = Form::Keyed {
        encoding: Encoding::Json,
        fields: vec![Field::new("words", Stored::Text), Field::new("n", Stored::Number)],
    };
    let layouts = [
        columns("a", ";", Some("LW1")),
        columns("b", " :: ", None),
        columns("c", "\u{a7}", Some("LW1")),
        layout("d", object),
    ];
    let tried = [
        ("a;b", ["a_b", "a;b", "a;b", "a;b"]),
        ("a\nb\rc\td\u{1}e\u{7f}", ["a_b_c_d_e_"; 4]),
        ("$!x:y", ["$!x:y", "__x_y", "$!x:y", "$!x:y"]),
        ("\u{b0}\u{a7}C*41", ["\u{b0}\u{a7}C*41", "\u{b0}\u{a7}C*41", "\u{b0}_C*41", "\u{b0}\u{a7}C*41"]),
        ("\"\\", ["\"\\", "\"\\", "\"\\", "__"]),
        // Cut within a character by the 32 bytes that there are.
        ("0123456789012345678901234567890\u{e9}", ["0123456789012345678901234567890_"; 4]),
    ];
    let mut filled = Vec::new();
    for (text, _) in &tried {
        for name in ["a", "b", "c", "d"] {
            let each = text.bytes().take(32).enumerate();
            let code = each.fold("v.n = 7;".to_owned(), |code, (at, byte)| {
                format!("{code} v.words[{at}] = (char){byte};")
            });
            filled.push((name, code));
        }
    }
    let frames = packed((&compiler, &folder), &framing, &layouts, &filled);
    let expected = tried.iter().flat_map(|(_, each)| layouts.iter().zip(each));
    assert_eq!(frames.len(), filled.len());
    for (frame, (layout, words)) in frames.iter().zip(expected) {
        let found = read(&framing, layout, frame);
        assert_eq!(found[0], ("words".to_owned(), Value::Text((*words).to_owned())), "{}", layout.name);
        assert_eq!(found[1], ("n".to_owned(), Value::Number(7.0)), "{}", layout.name);
    }
}

#[test]
fn a_measured_value_never_becomes_the_one_that_says_no_value() {
    let Some((compiler, folder)) = workshop("c_missing") else { return };
    let framing = framings().remove(0).1;
    let missing = |no: f64, field: Field| Field { missing: Some(no), ..field };
    let tenth = |name: &str, stored| Field { scale: 0.1, ..Field::new(name, stored) };
    let top = Bits { missing: Some(15.0), ..Bits::new(0, 4, "top") };
    let trim = Bits { missing: Some(-8.0), signed: true, ..Bits::new(4, 4, "trim") };
    let fields = vec![
        missing(255.0, tenth("hdop", Stored::Unsigned(1))),
        missing(-32768.0, tenth("temperature", Stored::Signed(2))),
        missing(100.0, tenth("middle", Stored::Unsigned(1))),
        missing(0.0, tenth("bottom", Stored::Unsigned(1))),
        Field { bits: vec![top, trim], ..Field::new("flags", Stored::Unsigned(1)) },
    ];
    let layouts = [binary("p", false, None, fields)];
    let fill = |all: [&str; 6]| {
        let names = ["hdop", "temperature", "middle", "bottom", "top", "trim"];
        let code: Vec<String> = names.iter().zip(all).map(|(name, of)| format!("v.{name} = {of};")).collect();
        ("p", code.join(" "))
    };
    let tried = [
        (fill(["30.0", "-1e6", "9.99", "0.01", "200", "-100"]), vec![25.4, -3276.7, 9.9, 0.1, 14.0, -7.0]),
        (fill(["25.5", "1e6", "10.01", "-5.0", "14", "100"]), vec![25.4, 3276.7, 10.1, 0.1, 14.0, 7.0]),
        (fill(["NAN", "NAN", "NAN", "NAN", "15", "-8"]), vec![]),
    ];
    let filled: Vec<(&str, String)> = tried.iter().map(|(fill, _)| fill.clone()).collect();
    let frames = packed((&compiler, &folder), &framing, &layouts, &filled);
    for (frame, (_, expected)) in frames.iter().zip(&tried) {
        let found = read(&framing, &layouts[0], frame);
        let found: Vec<f64> = found.iter().filter_map(|(_, value)| value.number()).collect();
        assert_eq!(found.len(), expected.len(), "{found:?}");
        for (found, expected) in found.iter().zip(expected) {
            assert!(libm::fabs(found - expected) < 1e-9, "{found} where {expected} is the nearest");
        }
    }
}

#[test]
fn every_crc_of_the_catalogue_is_the_same_in_c() {
    let Some((compiler, folder)) = workshop("c_crc") else { return };
    let layout = binary("p", false, None, vec![Field::new("text", Stored::Chars(9))]);
    let (mut main, mut body, mut names) = (String::from("#include <stdio.h>\n"), String::new(), Vec::new());
    for (at, name) in Crc::names().enumerate() {
        let crc = Crc { name: name.to_owned(), big_endian: true };
        if crc.width_bits().unwrap() > 64 {
            continue;
        }
        let framing = Framing { cut: Cut::Slip, crc: Some(crc), max_length: 64 };
        let link = format!("crc {at}");
        let text = header(&Packets { link: &link, framing: &framing, layouts: vec![&layout] }).unwrap();
        // Only the CRC is wanted of each header: the packet would be there many times.
        let text =
            text.split("\n/* ---- p ---- */").next().unwrap().split_once("#define LOFTWATCH_CRC").unwrap().1;
        let (_, text) = text.split_once('\n').unwrap();
        let _ = writeln!(main, "{text}");
        let _ = writeln!(
            body,
            "    printf(\"%llx\\n\", (unsigned long long)crc_{at}_crc((const uint8_t *)\"123456789\", 9));"
        );
        names.push(name);
    }
    let _ = writeln!(main, "int main(void) {{\n{body}    return 0;\n}}");
    let said = run((&compiler, &folder), "crc", &main);
    assert_eq!(said.lines().count(), names.len());
    for (line, name) in said.lines().zip(names) {
        // The catalogue's check value, by the crate's own way: a frame of the nine digits with this CRC must hold.
        let sum = u64::from_str_radix(line, 16).unwrap();
        let crc = Crc { name: name.to_owned(), big_endian: true };
        let stored = crc.stored_bytes().unwrap();
        let framing = Framing {
            cut: Cut::Fixed { length: 9 + stored, sync: Vec::new(), crc_covers: CrcCovers::All },
            crc: Some(crc),
            max_length: 64,
        };
        let frame = [&b"123456789"[..], &sum.to_be_bytes()[8 - stored..]].concat();
        let mut good = 0;
        Splitter::new(&framing).push(&frame, 0, &mut |frame| good += usize::from(frame.payload.is_ok()));
        assert_eq!(good, 1, "{name}: {line}");
    }
}

#[test]
fn the_sheet_tells_every_field() {
    for (link, framing, layouts) in links() {
        let packets = Packets { link: &link, framing: &framing, layouts: layouts.iter().collect() };
        let text = sheet(&packets);
        for field in layouts.iter().flat_map(Layout::fields) {
            assert!(text.contains(&format!("| {} |", field.name)), "{link}: {}\n{text}", field.name);
        }
    }
    let framing = framings().remove(0).1;
    let layout = binary("a | b\n# c", false, None, series());
    let text = sheet(&Packets { link: "<b>", framing: &framing, layouts: vec![&layout] });
    assert!(text.contains("## a \\| b # c\n") && text.contains("# Packets of &lt;b>"), "{text}");
    assert!(text.contains("| byte 1 | x | i16, 6 times in turns with group imu; from the second on differences as i8; 0.005 s apart, the last at the packet's time | stored × 0.5 |  |"), "{text}");
    assert!(text.contains("| after that | end | i8 |"), "{text}");
}
