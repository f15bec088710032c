//! Mic-E: the latitude is in the destination's six characters, the rest in eight bytes (APRS Protocol Reference 1.0.1,
//! chapter 10).

use super::{KNOT, Report, STEP_MIN};

pub(super) fn report(destination: &str, rest: &[u8]) -> Option<Report> {
    let name = destination.split('-').next()?.as_bytes();
    if name.len() != 6 || rest.len() < 8 {
        return None;
    }
    let mut open = None;
    let mut digits = [0.0; 6];
    for (at, (digit, letter)) in digits.iter_mut().zip(name).enumerate() {
        // Digits as they are; A to J and P to Y the same with a bit set; K, L and Z for one kept back.
        *digit = match letter {
            b'0'..=b'9' if open.is_none() => f64::from(letter - b'0'),
            b'A'..=b'J' if at < 3 && open.is_none() => f64::from(letter - b'A'),
            b'P'..=b'Y' if open.is_none() => f64::from(letter - b'P'),
            b'K' | b'L' | b'Z' if at >= 2 && (*letter != b'K' || at < 3) => {
                open = open.or(Some([60.0, 10.0, 1.0, 0.1][at - 2]));
                0.0
            }
            _ => return None,
        };
    }
    let minutes = digits[2] * 10.0 + digits[3] + digits[4] * 0.1 + digits[5] * 0.01;
    let half = open.map_or(0.0, |open: f64| open / 2.0);
    let latitude = digits[0] * 10.0 + digits[1] + (minutes + half) / 60.0;
    // The upper half of the alphabet: north, a hundred degrees more, west.
    let upper = |at: usize| name[at] >= b'P';
    let (d, m, h) = (rest[0].checked_sub(28)?, rest[1].checked_sub(28)?, rest[2].checked_sub(28)?);
    let mut degrees = u16::from(d) + if upper(4) { 100 } else { 0 };
    match degrees {
        180..=189 => degrees -= 80,
        190..=199 => degrees -= 190,
        _ => {}
    }
    let minute = if m >= 60 { m - 60 } else { m };
    if latitude > 90.0 || minutes >= 60.0 || degrees > 180 || minute >= 60 || h >= 100 {
        return None;
    }
    let longitude = f64::from(degrees) + (f64::from(minute) + f64::from(h) / 100.0) / 60.0;
    let (sp, dc, se) = (
        u16::from(rest[3].checked_sub(28)?),
        u16::from(rest[4].checked_sub(28)?),
        u16::from(rest[5].checked_sub(28)?),
    );
    let speed = sp * 10 + dc / 10;
    let speed = if speed >= 800 { speed - 800 } else { speed };
    let course = dc % 10 * 100 + se;
    let course = if course >= 400 { course - 400 } else { course };
    Some(Report {
        latitude_deg: if upper(3) { latitude } else { -latitude },
        longitude_deg: if upper(5) { -longitude } else { longitude },
        open_min: Some(open.unwrap_or(STEP_MIN)),
        height_m: height(&rest[8..]),
        course_deg: (1..=360).contains(&course).then(|| f64::from(course % 360)),
        speed_mps: Some(f64::from(speed) * KNOT),
    })
}

/// Three characters of base 91 before `}`: metres above 10 km below the sea.
fn height(status: &[u8]) -> Option<f64> {
    let end = status.iter().position(|byte| *byte == b'}')?;
    let digits = &status[end.checked_sub(3)?..end];
    let sum = digits.iter().try_fold(0_i32, |sum, digit| {
        matches!(digit, b'!'..=b'{').then(|| sum * 91 + i32::from(digit - b'!'))
    })?;
    Some(f64::from(sum - 10_000))
}
