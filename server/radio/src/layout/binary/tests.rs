use crate::layout::testing::{named, texts};
use crate::{Bits, Complaint, Field, Form, Layout, Meaning, Stored, Value};

fn layout(big_endian: bool, length: Option<usize>, fields: Vec<Field>) -> Layout {
    Layout {
        name: "packet".to_owned(),
        form: Form::Binary { big_endian, length, fields },
        body: None,
        rate_hz: None,
    }
}

fn bits(bit: u8, width: u8, name: &str) -> Bits {
    Bits::new(bit, width, name)
}

#[test]
fn every_type_in_both_orders() {
    let all = [
        (Stored::Unsigned(1), vec![0xfe], 254.0),
        (Stored::Signed(1), vec![0xfe], -2.0),
        (Stored::Unsigned(2), vec![0x34, 0x12], 4660.0),
        (Stored::Signed(2), vec![0xff, 0xff], -1.0),
        (Stored::Unsigned(3), vec![0x56, 0x34, 0x12], 1193046.0),
        (Stored::Signed(3), vec![0x00, 0x00, 0x80], -8388608.0),
        (Stored::Unsigned(4), vec![0x78, 0x56, 0x34, 0x12], 305419896.0),
        (Stored::Signed(4), vec![0xfe, 0xff, 0xff, 0xff], -2.0),
        (Stored::Unsigned(8), vec![0, 0, 0, 0, 0, 0, 0, 0x80], 9223372036854775808.0),
        (Stored::Signed(8), vec![0xff; 8], -1.0),
        (Stored::Float(4), vec![0x00, 0x00, 0xc0, 0xbf], -1.5),
        (Stored::Float(8), vec![0, 0, 0, 0, 0, 0, 0xf8, 0x3f], 1.5),
    ];
    let fields: Vec<Field> = all.iter().map(|(stored, ..)| Field::new("value", *stored)).collect();
    let little: Vec<u8> = all.iter().flat_map(|(_, bytes, _)| bytes.clone()).collect();
    let big: Vec<u8> =
        all.iter().flat_map(|(_, bytes, _)| bytes.iter().rev().copied().collect::<Vec<_>>()).collect();
    let expected: Vec<f64> = all.iter().map(|(.., value)| *value).collect();
    for (layout, bytes) in [(layout(false, None, fields.clone()), little), (layout(true, None, fields), big)]
    {
        let decoded = layout.decode(&bytes);
        let numbers: Vec<f64> = decoded.values.iter().filter_map(|entry| entry.value.number()).collect();
        assert_eq!(numbers, expected);
        assert_eq!(decoded.complaints, []);
    }
}

#[test]
fn scale_offset_unit_and_a_field_of_the_other_order() {
    let pressure = Field {
        scale: 0.01,
        offset: 500.0,
        unit: "hPa".to_owned(),
        si_scale: 100.0,
        meaning: Meaning::Pressure,
        big_endian: Some(true),
        ..Field::new("p", Stored::Unsigned(4))
    };
    let layout = layout(false, None, vec![Field::new("skipped", Stored::Skip(2)), pressure]);
    // (37600 * 0.01 + 500) hPa = 876 hPa = 87600 Pa.
    let decoded = layout.decode(&[9, 9, 0, 0, 0x92, 0xe0]);
    assert_eq!(layout.number(&decoded, Meaning::Pressure), Some(87600.0));
}

#[test]
fn flags_and_enumerations_share_a_field() {
    let mode = Bits { values: named(&[(0, "pad"), (1, "up"), (2, "down")]), ..bits(3, 2, "mode") };
    let armed =
        Bits { meaning: Meaning::Armed, channel: Some("drogue out".to_owned()), ..bits(1, 1, "armed") };
    let flags = Field {
        bits: vec![bits(0, 1, "first"), armed, mode, bits(5, 3, "rest")],
        ..Field::new("flags", Stored::Unsigned(1))
    };
    let layout = layout(false, None, vec![flags]);
    let decoded = layout.decode(&[0b1011_0010]);
    assert_eq!(texts(&layout, &decoded), ["first false", "armed true", "mode down", "rest 5"]);
    assert_eq!(layout.spec(&decoded.values[1]).unwrap().channel, Some("drogue out"));
    let decoded = layout.decode(&[0b0001_1000]);
    assert_eq!(decoded.values[2].value, Value::Named { raw: 3, name: None });
    assert_eq!(decoded.complaints, [Complaint::NoName { field: 0, bits: Some(2), raw: 3 }]);
}

#[test]
fn a_layout_fits_by_length_and_by_selector() {
    let id = Field { is: Some(33.0), ..Field::new("id", Stored::Unsigned(1)) };
    let exact = layout(false, Some(3), vec![id.clone(), Field::new("v", Stored::Unsigned(1))]);
    assert!(exact.matches(&[33, 1, 2]));
    assert!(!exact.matches(&[33, 1]));
    assert!(!exact.matches(&[33, 1, 2, 3]));
    assert!(!exact.matches(&[34, 1, 2]));
    let least = layout(false, None, vec![id, Field::new("v", Stored::Unsigned(1))]);
    assert!(
        least.matches(&[33, 1])
            && least.matches(&[33, 1, 2, 3])
            && !least.matches(&[33])
            && !least.matches(&[])
    );
}

#[test]
fn missing_values_are_left_out_and_infinite_ones_complained_of() {
    let missing = Field { missing: Some(-32768.0), ..Field::new("t", Stored::Signed(2)) };
    let layout = layout(
        false,
        None,
        vec![missing, Field::new("f", Stored::Float(4)), Field::new("d", Stored::Float(8))],
    );
    let mut bytes = vec![0x00, 0x80];
    bytes.extend(f32::NAN.to_le_bytes());
    bytes.extend(f64::NEG_INFINITY.to_le_bytes());
    let decoded = layout.decode(&bytes);
    assert_eq!(decoded.values, []);
    assert_eq!(decoded.complaints, [Complaint::NotFinite { field: 1 }, Complaint::NotFinite { field: 2 }]);
}

#[test]
fn the_modulus_of_an_onboard_clock() {
    let clock =
        Field { si_scale: 0.001, meaning: Meaning::OnboardTime, ..Field::new("ms", Stored::Unsigned(2)) };
    assert_eq!(layout(false, None, vec![clock]).modulus(Meaning::OnboardTime), Some(65.536));
}

#[test]
fn what_is_kept_and_filled_again_is_the_same() {
    let layout = layout(false, None, vec![Field::new("a", Stored::Unsigned(1))]);
    let mut decoded = layout.decode(&[1]);
    layout.decode_into(&[2], &mut decoded);
    assert_eq!(decoded, layout.decode(&[2]));
    layout.decode_into(&[], &mut decoded);
    assert_eq!(decoded.values, []);
}

#[test]
fn half_floats() {
    // IEEE 754-2008 binary16, and RFC 8949 appendix A for the same values (both from memory).
    for (bits, value) in [
        (0x3c00_u16, 1.0),
        (0xc400, -4.0),
        (0x7bff, 65504.0),
        (0x0001, 5.960_464_477_539_063e-8),
        (0x0400, 0.000_061_035_156_25),
        (0x3555, 0.333_251_953_125),
        (0x8000, 0.0),
    ] {
        let layout = layout(true, None, vec![Field::new("h", Stored::Float(2))]);
        assert_eq!(layout.decode(&bits.to_be_bytes()).values[0].value, Value::Number(value), "{bits:04x}");
    }
    // Every pattern, by the bits of the wider format: exponent moved from a bias of 15 to one of 1023.
    for bits in 0..=u16::MAX {
        let (sign, exponent, fraction) =
            (u64::from(bits >> 15), u64::from(bits >> 10 & 0x1f), u64::from(bits & 0x3ff));
        let wide = match (exponent, fraction) {
            (0, 0) => 0,
            // The smallest ones are moved up until their first bit is the one that is not written.
            (0, _) => {
                let up = u64::from(fraction.leading_zeros() - 53);
                (1023 - 14 - up) << 52 | (fraction << up & 0x3ff) << 42
            }
            (31, _) => 0x7ff << 52 | fraction << 42,
            _ => (exponent + 1023 - 15) << 52 | fraction << 42,
        };
        let expected = f64::from_bits(sign << 63 | wide);
        let found = super::half(bits);
        assert!(
            found.to_bits() == expected.to_bits() || (found.is_nan() && expected.is_nan()),
            "{bits:04x} {found}"
        );
    }
}

#[test]
fn bits_of_sixteen_bytes_with_scale_sign_and_unit() {
    let angle = Bits {
        signed: true,
        scale: 0.1,
        unit: "deg/s".to_owned(),
        si_scale: std::f64::consts::PI / 180.0,
        meaning: Meaning::RollRate,
        missing: Some(-1024.0),
        ..Bits::new(60, 11, "rate")
    };
    let top = Bits::new(120, 8, "top");
    let field = Field { bits: vec![angle, top], ..Field::new("packed", Stored::Unsigned(16)) };
    let layout = layout(false, None, vec![field]);
    assert_eq!(layout.check(), []);
    let bytes = |rate: i16| (u128::from(rate as u16 & 0x7ff) << 60 | 0xab << 120).to_le_bytes();
    let decoded = layout.decode(&bytes(-300));
    let rate = layout.number(&decoded, Meaning::RollRate).unwrap();
    assert!((rate - (-30.0_f64).to_radians()).abs() < 1e-12, "{rate}");
    assert_eq!(decoded.values[1].value, Value::Number(171.0));
    assert_eq!(layout.decode(&bytes(-1024)).values.len(), 1);
}

#[test]
fn text_of_fixed_length() {
    let call = Field { is_text: Some("N0CALL".to_owned()), ..Field::new("call", Stored::Chars(8)) };
    let layout = layout(false, None, vec![call]);
    assert_eq!(layout.check(), []);
    assert!(layout.matches(b"N0CALL\0\0") && layout.matches(b"N0CALL  ") && !layout.matches(b"N0CALM\0\0"));
    assert_eq!(texts(&layout, &layout.decode(b"N0CALL\0 ")), ["call N0CALL"]);
}
