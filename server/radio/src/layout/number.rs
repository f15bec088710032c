//! Numbers in text: decimal, with an exponent, or hexadecimal after `0x`.
//!
//! Up to 15 digits and a power of ten up to 22 the quotient of two exact numbers is correctly rounded (Clinger 1990,
//! "How to read floating point numbers accurately"); everything else goes to the standard library, which is exact too.

/// Powers of ten that an `f64` holds exactly.
const TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Reads a number; none if it is none. The words for infinity and not-a-number are none, a number too large is infinite.
pub(super) fn parse(text: &str) -> Option<f64> {
    quick(text.as_bytes()).or_else(|| slow(text))
}

fn quick(text: &[u8]) -> Option<f64> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    };
    if digits.is_empty() || digits.len() > 16 {
        return None;
    }
    let mut whole = 0_u64;
    let mut point = None;
    for (at, byte) in digits.iter().enumerate() {
        match byte {
            b'0'..=b'9' => whole = whole * 10 + u64::from(byte - b'0'),
            b'.' if point.is_none() => point = Some(at),
            _ => return None,
        }
    }
    let count = digits.len() - usize::from(point.is_some());
    if count == 0 || count > 15 {
        return None;
    }
    let decimals = point.map_or(0, |at| digits.len() - at - 1);
    let value = whole as f64 / TEN[decimals];
    Some(if negative { -value } else { value })
}

fn slow(text: &str) -> Option<f64> {
    let (sign, bare) = match text.as_bytes().first()? {
        b'-' => (-1.0, &text[1..]),
        b'+' => (1.0, &text[1..]),
        _ => (1.0, text),
    };
    if let Some(hex) = bare.strip_prefix("0x").or_else(|| bare.strip_prefix("0X")) {
        let plain = hex.bytes().all(|byte| byte.is_ascii_hexdigit());
        return if plain { u64::from_str_radix(hex, 16).ok().map(|value| sign * value as f64) } else { None };
    }
    let decimal = bare.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'.' | b'e' | b'E' | b'+' | b'-'));
    if decimal && bare.bytes().next().is_some_and(|byte| byte.is_ascii_digit() || byte == b'.') {
        bare.parse::<f64>().ok().map(|value| sign * value)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn forms_that_are_numbers() {
        for (text, value) in [
            ("0", 0.0),
            ("-0.5", -0.5),
            ("+12", 12.0),
            (".25", 0.25),
            ("7.", 7.0),
            ("1e3", 1000.0),
            ("-1.5E-2", -0.015),
            ("0x1F", 31.0),
            ("-0x10", -16.0),
            ("0XffFFffFF", 4294967295.0),
            ("101325.000000000000001", 101325.0),
        ] {
            assert_eq!(parse(text), Some(value), "{text}");
        }
    }

    #[test]
    fn forms_that_are_none() {
        for text in [
            "",
            "-",
            "+",
            ".",
            "nan",
            "NaN",
            "inf",
            "-Infinity",
            "1,5",
            "1.2.3",
            "--1",
            "0x",
            "0x1G",
            "0x+1",
            "1e",
            "e5",
            "12 3",
            "٣",
        ] {
            assert_eq!(parse(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn the_quick_way_agrees_with_the_standard_library(text in "[+-]?[0-9]{0,9}(\\.[0-9]{0,9})?") {
            prop_assert_eq!(quick(text.as_bytes()).map(f64::to_bits).or_else(|| slow(&text).map(f64::to_bits)), slow(&text).map(f64::to_bits));
        }

        #[test]
        fn what_is_printed_is_read_back(value: f64) {
            let text = format!("{value}");
            prop_assert_eq!(parse(&text), value.is_finite().then_some(value));
            prop_assert_eq!(parse(&format!("{value:e}")), value.is_finite().then_some(value));
        }

        #[test]
        fn no_text_panics(text: String) {
            let _ = parse(&text);
        }
    }
}
