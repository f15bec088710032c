use crate::layout::testing::texts;
use crate::{Complaint, Encoding, Field, Form, Layout, Meaning, Repeat, Stored};

fn layout(encoding: Encoding, fields: Vec<Field>) -> Layout {
    Layout { name: "packet".to_owned(), form: Form::Keyed { encoding, fields }, body: None, rate_hz: None }
}

fn keyed(name: &str, key: &str) -> Field {
    Field { key: Some(key.to_owned()), ..Field::new(name, Stored::Number) }
}

#[test]
fn values_by_their_keys_with_scale_and_unit() {
    let pressure = Field {
        unit: "hPa".to_owned(),
        si_scale: 100.0,
        meaning: Meaning::Pressure,
        missing: Some(-1.0),
        ..keyed("p", "baro.p")
    };
    let mode = Field { values: vec![(2, "coast".to_owned())], ..Field::new("mode", Stored::Number) };
    let cells = Field { repeat: Some(Repeat::times(4)), ..Field::new("cells", Stored::Number) };
    let fields =
        vec![pressure, mode, Field::new("call", Stored::Text), cells, Field::new("armed", Stored::Number)];
    let json = layout(Encoding::Json, fields);
    assert_eq!(json.check(), []);
    let line =
        br#"{"armed":true,"call":"N0","baro":{"t":21,"p":876.5},"mode":2,"cells":[4.1,"4.0",null,3.9]}"#;
    assert!(json.matches(line));
    let decoded = json.decode(line);
    assert_eq!(
        texts(&json, &decoded),
        ["p 87650", "mode coast", "call N0", "cells 4.1", "cells 4", "cells 3.9", "armed true"]
    );
    assert_eq!(decoded.values.iter().map(|entry| entry.item).collect::<Vec<_>>(), [0, 0, 0, 0, 1, 3, 0]);
    assert_eq!(json.decode(br#"{"baro":{"p":-1}}"#).values, []);
    let decoded = json.decode(br#"{"baro":{"p":"low"},"mode":[1]}"#);
    assert_eq!(
        decoded.complaints,
        [
            Complaint::NoNumber { field: 0, text: "low".to_owned() },
            Complaint::NoNumber { field: 1, text: "an array".to_owned() }
        ]
    );
}

#[test]
fn packets_are_told_apart_by_what_must_be_and_by_what_is_there() {
    let kind = Field { is_text: Some("gps".to_owned()), ..Field::new("kind", Stored::Text) };
    let gps = layout(Encoding::Json, vec![kind, Field::new("lat", Stored::Number)]);
    assert!(gps.matches(br#"{"kind":"gps","lat":1}"#));
    assert!(!gps.matches(br#"{"kind":"imu","lat":1}"#) && !gps.matches(br#"{"lat":1}"#));
    let number = Field { is: Some(3.0), ..keyed("kind", "0") };
    let cbor = layout(Encoding::Cbor, vec![number, keyed("v", "1")]);
    assert!(cbor.matches(&[0xa2, 0x00, 0x03, 0x01, 0xf9, 0x3c, 0x00]));
    assert!(!cbor.matches(&[0xa2, 0x00, 0x04, 0x01, 0xf9, 0x3c, 0x00]));
    let bare = layout(Encoding::Json, vec![Field::new("lat", Stored::Number)]);
    assert!(!bare.matches(br#"{"lon":1}"#) && !bare.matches(b"{}") && !bare.matches(br#"{"lat":1"#));
}
