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
    Bits { bit, width, name: name.to_owned(), meaning: Meaning::Free, channel: None, values: Vec::new() }
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
