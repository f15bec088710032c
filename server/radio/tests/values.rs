//! Properties of layouts: what is packed is unpacked, what is printed is read, and no payload panics or gives a number
//! that is not finite.

use loftwatch_radio::{Decoded, Field, Form, Layout, Stored, Value};
use proptest::prelude::*;

fn field(stored: Stored, big_endian: Option<bool>, scale: f64, offset: f64) -> Field {
    Field { scale, offset, big_endian, ..Field::new("value", stored) }
}

fn layout(form: Form) -> Layout {
    Layout { name: "packet".to_owned(), form, body: None, rate_hz: None }
}

/// A field with the raw value that it is to hold.
fn any_field() -> impl Strategy<Value = (Field, u64)> {
    let stored = prop_oneof![
        (1..=8_u8).prop_map(Stored::Unsigned),
        (1..=8_u8).prop_map(Stored::Signed),
        prop::sample::select(vec![Stored::Float(4), Stored::Float(8)]),
        (0..9_u16).prop_map(Stored::Skip),
    ];
    (stored, any::<Option<bool>>(), any::<u64>(), -8..8_i32, -100..100_i32).prop_map(
        |(stored, big, raw, scale, offset)| {
            (field(stored, big, f64::from(scale) * 0.25 + 0.125, f64::from(offset)), raw)
        },
    )
}

/// Packs a raw value, a byte at a time from its low end.
fn pack(field: &Field, layout_big: bool, raw: u64) -> Vec<u8> {
    let count = field.stored.bytes();
    let mut bytes: Vec<u8> = (0..count).map(|at| (raw >> (8 * at.min(7))) as u8).collect();
    if field.big_endian.unwrap_or(layout_big) {
        bytes.reverse();
    }
    bytes
}

/// What the packed value is, by arithmetic on the bits.
fn meant(field: &Field, raw: u64) -> Option<f64> {
    let raw = match field.stored {
        Stored::Unsigned(8) => raw as f64,
        Stored::Unsigned(bytes) => (raw % (1 << (8 * bytes))) as f64,
        Stored::Signed(bytes) => {
            let wrapped = i128::from(raw) % (1_i128 << (8 * bytes));
            let half = 1_i128 << (8 * bytes - 1);
            (if wrapped >= half { wrapped - 2 * half } else { wrapped }) as f64
        }
        Stored::Float(4) => f64::from(f32::from_bits(raw as u32)),
        Stored::Float(_) => f64::from_bits(raw),
        _ => return None,
    };
    Some(raw * field.scale + field.offset).filter(|value| value.is_finite())
}

proptest! {
    #[test]
    fn what_is_packed_is_unpacked(fields in prop::collection::vec(any_field(), 1..20), big_endian: bool, trailing in 0..3_usize) {
        let mut payload: Vec<u8> = fields.iter().flat_map(|(field, raw)| pack(field, big_endian, *raw)).collect();
        let least = payload.len();
        payload.resize(least + trailing, 0x55);
        let expected: Vec<f64> = fields.iter().filter_map(|(field, raw)| meant(field, *raw)).collect();
        let fields: Vec<Field> = fields.into_iter().map(|(field, _)| field).collect();
        let exact = layout(Form::Binary { big_endian, length: Some(least), fields: fields.clone() });
        prop_assert_eq!(exact.matches(&payload), trailing == 0);
        let open = layout(Form::Binary { big_endian, length: None, fields });
        prop_assert!(open.matches(&payload));
        prop_assert!(least == 0 || !open.matches(&payload[..least - 1]));
        let decoded = open.decode(&payload);
        let numbers: Vec<f64> = decoded.values.iter().filter_map(|entry| entry.value.number()).collect();
        prop_assert_eq!(numbers, expected);
    }

    #[test]
    fn what_is_printed_is_read(values in prop::collection::vec(prop::option::of(-1e12..1e12_f64), 1..20), separator in ",|;|\t|, | \\| ") {
        let columns: Vec<String> = values.iter().map(|value| value.map_or(String::new(), |value| value.to_string())).collect();
        let line = format!("$LW7{separator}{}", columns.join(&separator));
        let fields = values.iter().map(|_| field(Stored::Number, None, 1.0, 0.0)).collect();
        let layout = layout(Form::Text { separator, starts_with: Some("LW7".to_owned()), fields });
        prop_assert!(layout.matches(line.as_bytes()));
        let decoded = layout.decode(line.as_bytes());
        prop_assert_eq!(&decoded.complaints, &[]);
        let expected: Vec<(usize, f64)> = values.iter().enumerate().filter_map(|(at, value)| Some((at, (*value)?))).collect();
        let found: Vec<(usize, f64)> = decoded.values.iter().filter_map(|entry| Some((usize::from(entry.field), entry.value.number()?))).collect();
        prop_assert_eq!(found, expected);
    }

    #[test]
    fn no_payload_panics(fields in prop::collection::vec(any_field(), 0..20), payload in prop::collection::vec(any::<u8>(), 0..100), text: bool) {
        let fields: Vec<Field> = fields.into_iter().map(|(field, _)| field).collect();
        let form = if text {
            Form::Text { separator: ",".to_owned(), starts_with: None, fields }
        } else {
            Form::Binary { big_endian: false, length: None, fields }
        };
        let layout = layout(form);
        let _ = layout.matches(&payload);
        let mut decoded = Decoded::default();
        layout.decode_into(&payload, &mut decoded);
        for entry in &decoded.values {
            prop_assert!(!matches!(entry.value, Value::Number(number) if !number.is_finite()));
        }
    }

    #[test]
    fn a_layout_outlives_being_written_down(fields in prop::collection::vec(any_field(), 0..5), big_endian: bool) {
        let fields = fields.into_iter().map(|(field, _)| field).collect();
        let layout = layout(Form::Binary { big_endian, length: None, fields });
        let again: Layout = serde_json::from_str(&serde_json::to_string(&layout).unwrap()).unwrap();
        prop_assert_eq!(again, layout);
    }
}
