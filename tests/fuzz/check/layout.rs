//! What must hold for any payload: the first byte says which layout, the rest is decoded.

use loftwatch_radio::{
    Bits, Carrier, Decoded, Encoding, Envelope, Field, Form, Layout, PositionFrom, Repeat, Stored, Value,
    VelocityFrom,
};

fn field(name: &str, stored: Stored) -> Field {
    Field { scale: 0.5, offset: 1.0, si_scale: 2.0, si_offset: -1.0, ..Field::new(name, stored) }
}

fn bits(bit: u8, width: u8) -> Bits {
    Bits {
        values: vec![(0, "no".to_owned()), (2, "two".to_owned())],
        ..Bits::new(bit, width, format!("bits {bit}"))
    }
}

fn layouts() -> Vec<Layout> {
    let every = |big_endian| {
        let widths = 0..=9;
        let fields = widths.clone().map(|n| field("unsigned", Stored::Unsigned(n)));
        let fields = fields.chain(widths.clone().map(|n| field("signed", Stored::Signed(n))));
        let fields = fields.chain(widths.map(|n| field("float", Stored::Float(n))));
        Form::Binary { big_endian, length: None, fields: fields.collect() }
    };
    let odd_bits = Field {
        bits: vec![bits(0, 0), bits(3, 2), bits(63, 64), bits(255, 255)],
        ..field("flags", Stored::Unsigned(4))
    };
    let selected = Field { is: Some(33.0), missing: Some(33.0), ..field("id", Stored::Float(4)) };
    let huge = Field { scale: 1e300, si_scale: 1e300, ..field("huge", Stored::Signed(8)) };
    let column_bits = Field { bits: vec![bits(0, 1), bits(40, 30)], ..field("flags", Stored::Number) };
    let column_state = Field { values: vec![(1, "one".to_owned())], ..field("state", Stored::Number) };
    let columns = || {
        vec![
            field("a", Stored::Number),
            field("b", Stored::Text),
            field("c", Stored::Skip(1)),
            column_bits.clone(),
            column_state.clone(),
        ]
    };
    let text = |separator: &str, start: Option<&str>| Form::Text {
        separator: separator.to_owned(),
        starts_with: start.map(str::to_owned),
        fields: columns(),
    };
    let forms = vec![
        every(false),
        every(true),
        Form::Binary { big_endian: false, length: Some(4), fields: vec![odd_bits] },
        Form::Binary { big_endian: true, length: None, fields: vec![selected, huge] },
        text(",", Some("LW1")),
        text("", None),
        text(", ", None),
        text("\u{b5}", Some("")),
        Form::Binary { big_endian: false, length: None, fields: series() },
        Form::Text { separator: ",".to_owned(), starts_with: None, fields: series_of_columns() },
        keyed(Encoding::Json),
        keyed(Encoding::Cbor),
        Form::nmea(PositionFrom::Gga, VelocityFrom::Rmc),
        Form::nmea(PositionFrom::Rmc, VelocityFrom::Vtg),
        Form::aprs(envelope(Carrier::Ax25)),
        Form::aprs(envelope(Carrier::Monitor)),
        Form::In { envelope: envelope(Carrier::Ax25), form: Box::new(keyed(Encoding::Cbor)) },
    ];
    let layout = |form| Layout { name: "fuzz".to_owned(), form, body: None, rate_hz: None };
    forms.into_iter().map(layout).collect()
}

fn envelope(carrier: Carrier) -> Envelope {
    Envelope { carrier, from: None }
}

/// Counted, in turns, as differences, each with its time; half floats, wide bits and text beside.
fn series() -> Vec<Field> {
    let repeat = |delta| Repeat {
        count_from: Some(0),
        group: Some("g".to_owned()),
        delta,
        every_s: Some(0.01),
        timed_last: true,
        ..Repeat::times(20)
    };
    let wide = vec![Bits { signed: true, scale: 0.5, ..Bits::new(90, 12, "wide") }, bits(127, 1)];
    vec![
        Field::new("n", Stored::Unsigned(1)),
        Field { repeat: Some(repeat(Some(Stored::Signed(1)))), ..field("x", Stored::Signed(2)) },
        Field { repeat: Some(repeat(None)), ..field("y", Stored::Float(2)) },
        Field { bits: wide, ..Field::new("packed", Stored::Unsigned(16)) },
        Field { repeat: Some(Repeat::times(2)), ..Field::new("call", Stored::Chars(3)) },
    ]
}

fn series_of_columns() -> Vec<Field> {
    let repeat = Repeat { count_from: Some(0), every_s: Some(0.01), ..Repeat::times(9) };
    vec![Field::new("n", Stored::Number), Field { repeat: Some(repeat), ..field("x", Stored::Number) }]
}

fn keyed(encoding: Encoding) -> Form {
    let with_key = |key: &str, stored| Field { key: Some(key.to_owned()), ..field(key, stored) };
    let fields = vec![
        with_key("a", Stored::Number),
        with_key("b.1", Stored::Text),
        Field { repeat: Some(Repeat::times(5)), ..with_key("b", Stored::Number) },
        Field { bits: vec![bits(0, 1), bits(3, 2)], ..Field::new("flags", Stored::Number) },
        with_key("3", Stored::Number),
    ];
    Form::Keyed { encoding, fields }
}

/// Panics if something does not hold.
pub(crate) fn layout(data: &[u8]) {
    let [which, payload @ ..] = data else { return };
    let mut layouts = layouts();
    let count = layouts.len();
    let layout = layouts.swap_remove(usize::from(*which) % count);
    let _ = layout.check();
    let _ = layout.matches(payload);
    for place in layout.places(payload) {
        assert!(place.from <= place.to && place.to <= payload.len(), "{layout:?} {payload:?} {place:?}");
    }
    let decoded = layout.decode(payload);
    let mut again = Decoded::default();
    layout.decode_into(payload, &mut again);
    layout.decode_into(payload, &mut again);
    assert_eq!(decoded, again);
    for entry in &decoded.values {
        assert!(layout.spec(entry).is_some());
        if let Value::Number(number) = entry.value {
            assert!(number.is_finite(), "{layout:?} {payload:?}");
        }
    }
    let told: usize = layout.instants(&decoded).iter().map(|instant| instant.decoded.values.len()).sum();
    assert_eq!(told, decoded.values.len(), "a value is of no instant, or of two");
    for complaint in &decoded.complaints {
        assert!(complaint.to_string().len() < 300);
    }
}
