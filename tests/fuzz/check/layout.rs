//! What must hold for any payload: the first byte says which layout, the rest is decoded.

use loftwatch_radio::{Bits, Decoded, Field, Form, Layout, Meaning, Stored, Value};

fn field(name: &str, stored: Stored) -> Field {
    Field { scale: 0.5, offset: 1.0, si_scale: 2.0, si_offset: -1.0, ..Field::new(name, stored) }
}

fn bits(bit: u8, width: u8) -> Bits {
    let values = vec![(0, "no".to_owned()), (2, "two".to_owned())];
    Bits { bit, width, name: format!("bits {bit}"), meaning: Meaning::Free, channel: None, values }
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
    ];
    let layout = |form| Layout { name: "fuzz".to_owned(), form, body: None, rate_hz: None };
    forms.into_iter().map(layout).collect()
}

/// Panics if something does not hold.
pub(crate) fn layout(data: &[u8]) {
    let [which, payload @ ..] = data else { return };
    let mut layouts = layouts();
    let count = layouts.len();
    let layout = layouts.swap_remove(usize::from(*which) % count);
    let _ = layout.check();
    let _ = layout.matches(payload);
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
    for complaint in &decoded.complaints {
        assert!(complaint.to_string().len() < 300);
    }
}
