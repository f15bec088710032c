//! Frames per second on one core, beside a floor written by hand for exactly these bytes.
//!
//! Binary: COBS, 60 bytes with a CRC-16, 15 fields. Text: lines of 12 numbers with an XOR checksum. Each figure is the
//! best of five rounds. Run with `cargo bench -p loftwatch-radio`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]
#![expect(clippy::disallowed_methods, reason = "a benchmark measures time")]

use std::hint::black_box;
use std::time::Instant;

use loftwatch_radio::{
    Crc, Cut, Decoded, Field, Form, Framing, Layout, LineChecksum, Meaning, Splitter, Stored, Unit,
};

const FRAMES: usize = 200_000;
/// What one read of a link brings at high rates.
const CHUNK: usize = 4096;

fn main() {
    let binary = binary_stream();
    let text = text_stream();
    report(
        "binary, COBS + CRC-16, 60 B, 15 fields",
        &|| splitter(&binary_framing(), &binary_layout(), &binary),
        &|| binary_floor(&binary),
    );
    report("text, XOR checksum, 12 numbers", &|| splitter(&text_framing(), &text_layout(), &text), &|| {
        text_floor(&text)
    });
}

fn report(name: &str, ours: &dyn Fn() -> f64, floor: &dyn Fn() -> f64) {
    let (ours_sum, ours_rate) = best(ours);
    let (floor_sum, floor_rate) = best(floor);
    assert!((ours_sum / floor_sum - 1.0).abs() < 1e-9, "{name}: {ours_sum} and {floor_sum}");
    println!("{name}: {ours_rate:.0} frames/s; floor {floor_rate:.0}; {:.2} of it", ours_rate / floor_rate);
}

fn best(work: &dyn Fn() -> f64) -> (f64, f64) {
    let mut rate: f64 = 0.0;
    let mut sum = 0.0;
    for _ in 0..5 {
        let start = Instant::now();
        sum = black_box(work());
        rate = rate.max(FRAMES as f64 / start.elapsed().as_secs_f64());
    }
    (sum, rate)
}

/// The crate's way: cut, match, decode, and add all numbers up.
fn splitter(framing: &Framing, layout: &Layout, stream: &[u8]) -> f64 {
    let mut splitter = Splitter::new(framing);
    let mut decoded = Decoded::default();
    let (mut sum, mut frames) = (0.0, 0);
    for chunk in stream.chunks(CHUNK) {
        splitter.push(chunk, 0, &mut |frame| {
            if let Ok(payload) = frame.payload
                && layout.matches(payload)
            {
                layout.decode_into(payload, &mut decoded);
                sum += decoded.values.iter().filter_map(|entry| entry.value.number()).sum::<f64>();
                frames += 1;
            }
        });
    }
    assert_eq!(frames, FRAMES);
    sum
}

fn field(name: &str, stored: Stored, meaning: Meaning, unit: &str) -> Field {
    let si = Unit::conversion(meaning, unit).expect("the benchmark's own units are right");
    Field {
        unit: unit.to_owned(),
        si_scale: si.scale,
        si_offset: si.offset,
        meaning,
        ..Field::new(name, stored)
    }
}

fn binary_framing() -> Framing {
    Framing {
        cut: Cut::Cobs,
        crc: Some(Crc { name: "CRC-16/IBM-3740".to_owned(), big_endian: false }),
        max_length: 1024,
    }
}

/// 1 + 1 + 2 + 4 + 4 + 2 * 6 + 4 * 3 + 8 + 14 = 58 bytes, 60 with the CRC.
fn binary_layout() -> Layout {
    let id = Field { is: Some(33.0), ..field("id", Stored::Unsigned(1), Meaning::Free, "") };
    let mut fields = vec![
        id,
        field("tx", Stored::Unsigned(1), Meaning::Transmitter, ""),
        field("seq", Stored::Unsigned(2), Meaning::Sequence, ""),
        field("ms", Stored::Unsigned(4), Meaning::OnboardTime, "ms"),
        field("p", Stored::Unsigned(4), Meaning::Pressure, "Pa"),
    ];
    for (name, meaning, unit) in [
        ("ax", Meaning::AxialSpecificForce, "mg"),
        ("ay", Meaning::LateralSpecificForceY, "mg"),
        ("az", Meaning::LateralSpecificForceZ, "mg"),
        ("rx", Meaning::RollRate, "deg/s"),
        ("ry", Meaning::PitchRate, "deg/s"),
        ("rz", Meaning::YawRate, "deg/s"),
    ] {
        fields.push(field(name, Stored::Signed(2), meaning, unit));
    }
    fields.push(field("lat", Stored::Float(4), Meaning::Latitude, "deg"));
    fields.push(field("lon", Stored::Float(4), Meaning::Longitude, "deg"));
    fields.push(field("h", Stored::Float(4), Meaning::HeightAmsl, "m"));
    fields.push(field("v", Stored::Float(8), Meaning::BatteryVoltage, "V"));
    fields.push(field("spare", Stored::Skip(14), Meaning::Free, ""));
    Layout {
        name: "bench".to_owned(),
        form: Form::Binary { big_endian: false, length: Some(58), fields },
        body: None,
        rate_hz: None,
    }
}

fn binary_stream() -> Vec<u8> {
    let crc = crc::Crc::<u16, crc::Table<16>>::new(&crc::CRC_16_IBM_3740);
    let mut stream = Vec::new();
    let mut buffer = [0; 128];
    for number in 0..FRAMES as u32 {
        let mut body = vec![33, 1];
        body.extend((number as u16).to_le_bytes());
        body.extend((number * 50).to_le_bytes());
        body.extend((87_600 - number % 5000).to_le_bytes());
        for axis in 0..6_i16 {
            body.extend(((number % 3000) as i16 - 1500 + axis).to_le_bytes());
        }
        for angle in [38.25_f32, -117.35, 1210.5] {
            body.extend((angle + number as f32 * 1e-6).to_le_bytes());
        }
        body.extend(7.4_f64.to_le_bytes());
        body.extend([0xee; 14]);
        body.extend(crc.checksum(&body).to_le_bytes());
        assert_eq!(body.len(), 60);
        let length = corncobs::encode_buf(&body, &mut buffer);
        stream.extend_from_slice(&buffer[..length]);
    }
    stream
}

/// The same bytes with everything known beforehand.
fn binary_floor(stream: &[u8]) -> f64 {
    const DEG: f64 = core::f64::consts::PI / 180.0;
    let crc = crc::Crc::<u16, crc::Table<16>>::new(&crc::CRC_16_IBM_3740);
    let mut buffer = [0; 128];
    let (mut sum, mut at) = (0.0, 0);
    while let Some(end) = memchr::memchr(0, &stream[at..]) {
        let length = corncobs::decode_buf(&stream[at..=at + end], &mut buffer).expect("good frames");
        at += end + 1;
        let (b, stored) = buffer[..length].split_at(58);
        assert_eq!(crc.checksum(b).to_le_bytes(), stored);
        let i16_at = |i: usize| f64::from(i16::from_le_bytes([b[i], b[i + 1]]));
        let u32_at = |i: usize| f64::from(u32::from_le_bytes([b[i], b[i + 1], b[i + 2], b[i + 3]]));
        let f32_at = |i: usize| f64::from(f32::from_le_bytes([b[i], b[i + 1], b[i + 2], b[i + 3]]));
        sum += f64::from(b[0]) + f64::from(b[1]) + f64::from(u16::from_le_bytes([b[2], b[3]]));
        sum += u32_at(4) * 1e-3 + u32_at(8);
        sum += (i16_at(12) + i16_at(14) + i16_at(16)) * (1e-3 * 9.80665);
        sum += (i16_at(18) + i16_at(20) + i16_at(22)) * DEG;
        sum += f32_at(24) * DEG + f32_at(28) * DEG + f32_at(32);
        sum += f64::from_le_bytes([b[36], b[37], b[38], b[39], b[40], b[41], b[42], b[43]]);
    }
    sum
}

fn text_framing() -> Framing {
    Framing { cut: Cut::Lines { checksum: LineChecksum::Xor }, crc: None, max_length: 1024 }
}

fn text_layout() -> Layout {
    let fields = (0..12).map(|at| field(&format!("c{at}"), Stored::Number, Meaning::Free, "")).collect();
    let form = Form::Text { separator: ",".to_owned(), starts_with: Some("LW1".to_owned()), fields };
    Layout { name: "bench".to_owned(), form, body: None, rate_hz: None }
}

fn text_stream() -> Vec<u8> {
    let mut stream = Vec::new();
    for number in 0..FRAMES {
        let n = number as f64;
        let text = format!(
            "LW1,{number},{},{:.2},{:.1},{:.3},{:.3},{:.3},{:.6},{:.6},{:.1},{:.2},{}",
            number * 50,
            876.0 + n * 1e-3,
            24.5,
            n * 1e-4,
            -0.125,
            1.004,
            38.25 + n * 1e-6,
            -117.35 - n * 1e-6,
            1210.5,
            7.41,
            -87
        );
        let checksum = text.bytes().fold(0, |sum, byte| sum ^ byte);
        stream.extend_from_slice(format!("${text}*{checksum:02X}\r\n").as_bytes());
    }
    stream
}

/// The same lines with everything known beforehand, numbers read by the standard library.
fn text_floor(stream: &[u8]) -> f64 {
    let (mut sum, mut at) = (0.0, 0);
    while let Some(end) = memchr::memchr(b'\n', &stream[at..]) {
        let line = &stream[at + 1..at + end - 1];
        at += end + 1;
        let (text, digits) = line.split_at(line.len() - 3);
        let checksum = text.iter().fold(0_u8, |sum, byte| sum ^ byte);
        let digits = std::str::from_utf8(&digits[1..]).expect("good lines");
        assert_eq!(u8::from_str_radix(digits, 16), Ok(checksum));
        let text = std::str::from_utf8(text).expect("good lines");
        sum += text.split(',').skip(1).map(|column| column.parse::<f64>().expect("good lines")).sum::<f64>();
    }
    sum
}
