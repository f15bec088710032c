//! APRS position reports: plain, compressed, and Mic-E.
//!
//! After the APRS Protocol Reference, version 1.0.1 (2000): plain and compressed positions (chapters 6, 8 and 9), course
//! and speed (7), height as `/A=` in feet (6), Mic-E (10). Objects, items and what is passed on for third parties are
//! somebody else's position and no report of the sender. Limits: the time stamp is not read; `!DAO!` is not; a position
//! with blanked digits is the middle of what they leave open.

use super::decoded::{Decoded, Value};
use super::envelope::{Envelope, Opened};
use super::{Field, Form, Stored};
use crate::meaning::Meaning;

mod mice;

const DEGREE: f64 = core::f64::consts::PI / 180.0;
/// One knot, m/s (a nautical mile of 1852 m an hour).
const KNOT: f64 = 1852.0 / 3600.0;
/// One foot, m.
const FOOT: f64 = 0.3048;
/// A minute of latitude, m: a nautical mile.
const MINUTE_M: f64 = 1852.0;
/// Spread of the receiver aboard itself, one sigma, m. Common practice, no source.
const RECEIVER_M: f64 = 5.0;
/// The step of plain and Mic-E positions, minutes.
const STEP_MIN: f64 = 0.01;

/// A position report.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Report {
    latitude_deg: f64,
    longitude_deg: f64,
    /// What the digits leave open, minutes; none where it is finer than a metre.
    open_min: Option<f64>,
    height_m: Option<f64>,
    course_deg: Option<f64>,
    speed_mps: Option<f64>,
}

impl Form {
    /// The form of APRS position reports: its fields are what such a report may hold.
    pub fn aprs(envelope: Envelope) -> Self {
        let field = Field::fixed;
        let fields = vec![
            field("source", Stored::Text, "", Meaning::Free),
            field("latitude", Stored::Number, "rad", Meaning::Latitude),
            field("longitude", Stored::Number, "rad", Meaning::Longitude),
            field("height", Stored::Number, "m", Meaning::HeightAmsl),
            field("course", Stored::Number, "rad", Meaning::Course),
            field("speed", Stored::Number, "m/s", Meaning::GroundSpeed),
            field("spread", Stored::Number, "m", Meaning::HorizontalSpread),
        ];
        Self::Aprs { envelope, fields }
    }
}

/// Whether there is a position report in it.
pub(super) fn matches(envelope: &Envelope, payload: &[u8]) -> bool {
    envelope.open(payload).is_some_and(|opened| report(&opened).is_some())
}

/// Reads the report. The values come in the order of [`Form::aprs`].
pub(super) fn decode(envelope: &Envelope, fields: &[Field], payload: &[u8], decoded: &mut Decoded) {
    let Some(opened) = envelope.open(payload) else { return };
    let Some(report) = report(&opened) else { return };
    decoded.put(0, None, 0, Value::Text(opened.source));
    // The digits are spread evenly over a step: its width over the square root of 12 is one sigma.
    let spread = report.open_min.map(|open| {
        let rounding = open * MINUTE_M;
        libm::sqrt(RECEIVER_M * RECEIVER_M + rounding * rounding / 12.0)
    });
    let values = [
        Some(report.latitude_deg * DEGREE),
        Some(report.longitude_deg * DEGREE),
        report.height_m,
        report.course_deg.map(|course| course * DEGREE),
        report.speed_mps,
        spread,
    ];
    for (index, value) in (1..).zip(values) {
        if let (Some(value), Some(field)) = (value, fields.get(index)) {
            decoded.put_number(index, 0, field, value);
        }
    }
}

fn report(opened: &Opened<'_>) -> Option<Report> {
    let (kind, rest) = opened.content.split_first()?;
    match kind {
        b'!' | b'=' => position(rest),
        // A time stamp of seven characters comes first.
        b'/' | b'@' => position(rest.get(7..)?),
        b'`' | b'\'' => mice::report(&opened.destination, rest),
        _ => None,
    }
}

fn position(text: &[u8]) -> Option<Report> {
    let mut report =
        if text.first()?.is_ascii_digit() || text[0] == b' ' { plain(text) } else { compressed(text) }?;
    let good = report.latitude_deg.abs() <= 90.0 && report.longitude_deg.abs() <= 180.0;
    if let Some(feet) = height_feet(text) {
        report.height_m = Some(feet * FOOT);
    }
    good.then_some(report)
}

/// `/A=123456`, in feet, anywhere in the comment.
fn height_feet(text: &[u8]) -> Option<f64> {
    let at = text.windows(3).position(|three| three == b"/A=")?;
    let digits = std::str::from_utf8(text.get(at + 3..at + 9)?).ok()?;
    let (sign, digits) = digits.strip_prefix('-').map_or((1.0, digits), |rest| (-1.0, rest));
    let good = digits.bytes().all(|byte| byte.is_ascii_digit());
    good.then(|| digits.parse::<u32>().ok()).flatten().map(|feet| sign * f64::from(feet))
}

/// `4903.50N/07201.75W-` and what follows.
fn plain(text: &[u8]) -> Option<Report> {
    let (latitude, open) = angle(text.get(..8)?, 2, *b"NS")?;
    let (longitude, open_too) = angle(text.get(9..18)?, 3, *b"EW")?;
    text.get(18)?;
    let mut report = Report {
        latitude_deg: latitude,
        longitude_deg: longitude,
        open_min: Some(open.max(open_too)),
        ..Report::default()
    };
    if let Some(extension) = text.get(19..26) {
        let number = |digits: &[u8]| {
            let digits = std::str::from_utf8(digits).ok()?;
            digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse::<u16>().ok()).flatten()
        };
        if extension[3] == b'/'
            && let (Some(course), Some(speed)) = (number(&extension[..3]), number(&extension[4..]))
            && course <= 360
        {
            // 360 is north, 0 is not known.
            report.course_deg = (course > 0).then(|| f64::from(course % 360));
            report.speed_mps = Some(f64::from(speed) * KNOT);
        }
    }
    Some(report)
}

/// Degrees and minutes with a letter for the side; blanks for digits that are kept back. With what they leave open,
/// minutes.
fn angle(text: &[u8], degrees: usize, sides: [u8; 2]) -> Option<(f64, f64)> {
    let (digits, side) = text.split_at(text.len() - 1);
    let negative = match side[0].to_ascii_uppercase() {
        side if side == sides[0] => false,
        side if side == sides[1] => true,
        _ => return None,
    };
    if digits[degrees + 2] != b'.' {
        return None;
    }
    let whole = std::str::from_utf8(&digits[..degrees]).ok()?;
    let whole: u16 = whole.bytes().all(|byte| byte.is_ascii_digit()).then(|| whole.parse().ok()).flatten()?;
    let mut minutes = 0.0;
    let mut open = None;
    for (place, byte) in [
        (10.0, digits[degrees]),
        (1.0, digits[degrees + 1]),
        (0.1, digits[degrees + 3]),
        (0.01, digits[degrees + 4]),
    ] {
        match byte {
            b' ' => {
                // Tens of minutes go to 6, the others to 10.
                open = open.or(Some(if place > 5.0 { 60.0 } else { place * 10.0 }));
            }
            b'0'..=b'9' if open.is_none() => minutes += f64::from(byte - b'0') * place,
            _ => return None,
        }
    }
    if minutes >= 60.0 {
        return None;
    }
    let middle = minutes + open.map_or(0.0, |open: f64| open / 2.0);
    let value = f64::from(whole) + middle / 60.0;
    Some((if negative { -value } else { value }, open.unwrap_or(STEP_MIN)))
}

/// Table, four characters each of latitude and longitude in base 91, symbol, two characters and their type.
fn compressed(text: &[u8]) -> Option<Report> {
    let text = text.get(..13)?;
    let table = text[0];
    if !(matches!(table, b'/' | b'\\' | b'A'..=b'Z' | b'a'..=b'j')) {
        return None;
    }
    let base = |digits: &[u8]| {
        digits.iter().try_fold(0_u32, |sum, digit| {
            matches!(digit, b'!'..=b'{').then(|| sum * 91 + u32::from(digit - b'!'))
        })
    };
    let mut report = Report {
        latitude_deg: 90.0 - f64::from(base(&text[1..5])?) / 380_926.0,
        longitude_deg: -180.0 + f64::from(base(&text[5..9])?) / 190_463.0,
        ..Report::default()
    };
    let (c, s) = (text[10], text[11]);
    if c != b' '
        && let (Some(first), Some(second)) = (base(&[c]), base(&[s]))
    {
        let kind = text[12].wrapping_sub(b'!');
        if kind & 0x18 == 0x10 {
            report.height_m = Some(libm::pow(1.002, f64::from(first * 91 + second)) * FOOT);
        } else if (b'!'..=b'z').contains(&c) {
            report.course_deg = Some(f64::from(first) * 4.0 % 360.0);
            report.speed_mps = Some((libm::pow(1.08, f64::from(second)) - 1.0) * KNOT);
        }
    }
    Some(report)
}

#[cfg(test)]
#[path = "aprs/tests.rs"]
mod tests;
