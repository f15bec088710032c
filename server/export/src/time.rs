//! Instants as text. Station time is nanoseconds; what people read is UTC.

use std::io::Write as _;

use jiff::Timestamp;

const NS: i64 = 1_000_000_000;

/// UTC as in RFC 3339, to the microsecond.
pub fn utc(utc_ns: i64) -> String {
    let mut out = Vec::new();
    put_utc(&mut out, utc_ns);
    String::from_utf8(out).unwrap_or_default()
}

/// The same, appended. Days to civil date as in Hinnant, "chrono-compatible low-level date algorithms" (2013).
pub fn put_utc(out: &mut Vec<u8>, utc_ns: i64) {
    let (second, ns) = (utc_ns.div_euclid(NS), utc_ns.rem_euclid(NS));
    let (days, of_day) = (second.div_euclid(86_400), second.rem_euclid(86_400));
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let doe = z.rem_euclid(146_097);
    let yoe = (doe - doe / 1_460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let day = doy - (153 * mp + 2) / 5 + 1;
    let month = if mp < 10 { mp + 3 } else { mp - 9 };
    let year = yoe + era * 400 + i64::from(month <= 2);
    put_digits(out, year, 4);
    out.push(b'-');
    put_digits(out, month, 2);
    out.push(b'-');
    put_digits(out, day, 2);
    out.push(b'T');
    put_digits(out, of_day / 3_600, 2);
    out.push(b':');
    put_digits(out, of_day / 60 % 60, 2);
    out.push(b':');
    put_digits(out, of_day % 60, 2);
    out.push(b'.');
    put_digits(out, ns / 1_000, 6);
    out.push(b'Z');
}

fn put_digits(out: &mut Vec<u8>, value: i64, digits: usize) {
    let mut text = [b'0'; 6];
    let mut left = value.max(0);
    for at in (6 - digits..6).rev() {
        text[at] = b'0' + (left % 10) as u8;
        left /= 10;
    }
    out.extend_from_slice(&text[6 - digits..]);
}

/// Seconds to the microsecond, from nanoseconds: exact, unlike a float of this size.
pub fn put_seconds(out: &mut Vec<u8>, t_ns: i64) {
    if t_ns < 0 {
        out.push(b'-');
    }
    let t = t_ns.unsigned_abs();
    let _ = write!(out, "{}.", t / NS as u64);
    put_digits(out, (t % NS as u64 / 1_000) as i64, 6);
}

/// UTC for people: `2026-06-12 21:07:03 UTC`.
pub fn for_people(utc_ns: i64) -> String {
    Timestamp::from_nanosecond(i128::from(utc_ns))
        .map(|at| at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn utc_is_what_the_calendar_library_says(utc_ns in 0_i64..4_000_000_000_000_000_000) {
            let said = Timestamp::from_nanosecond(i128::from(utc_ns / 1_000 * 1_000)).unwrap();
            prop_assert_eq!(utc(utc_ns), format!("{said:.6}"));
        }
    }

    #[test]
    fn seconds_keep_their_sign() {
        let said = |t_ns| {
            let mut out = Vec::new();
            put_seconds(&mut out, t_ns);
            String::from_utf8(out).unwrap()
        };
        assert_eq!(said(-1_500_000_000), "-1.500000");
        assert_eq!(said(-1_000), "-0.000001");
        assert_eq!(said(1_795_600_020_123_456_789), "1795600020.123456");
    }
}
