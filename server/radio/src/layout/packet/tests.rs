use super::Packet;
use crate::layout::{Encoding, Field, Form, Layout, Repeat, Stored};

fn layout(form: Form) -> Layout {
    Layout { name: "packet".to_owned(), form, body: None, rate_hz: None }
}

fn counted() -> Vec<Field> {
    vec![
        Field { is: Some(199.0), ..Field::new("kind", Stored::Unsigned(1)) },
        Field::new("n", Stored::Unsigned(1)),
        Field {
            repeat: Some(Repeat { count_from: Some(1), ..Repeat::times(6) }),
            ..Field::new("t", Stored::Signed(2))
        },
        Field::new("end", Stored::Unsigned(1)),
    ]
}

#[test]
fn a_count_leads_to_the_very_end() {
    let form = Form::Binary { big_endian: true, length: None, fields: counted() };
    let packet = Packet::of(&layout(form)).unwrap();
    assert_eq!(
        (0..20).filter(|bytes| packet.may_have(*bytes)).collect::<Vec<_>>(),
        (3..=15).collect::<Vec<_>>()
    );
    assert!(packet.is(&[199, 0, 9]));
    assert!(packet.is(&[199, 2, 0, 1, 0, 2, 9]));
    // One byte more or less, another kind, a count past the greatest.
    assert!(!packet.is(&[199, 2, 0, 1, 0, 2, 9, 9]));
    assert!(packet.takes(&[199, 2, 0, 1, 0, 2, 9, 9]));
    assert!(!packet.is(&[199, 2, 0, 1, 0, 2]));
    assert!(!packet.is(&[198, 2, 0, 1, 0, 2, 9]));
    assert!(!packet.is(&[199, 7, 0, 1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 6, 0, 7, 9]));
}

#[test]
fn differences_count_with_their_own_width() {
    let repeat = Repeat { delta: Some(Stored::Signed(1)), ..Repeat::times(8) };
    let fields = vec![Field { repeat: Some(repeat), ..Field::new("ax", Stored::Signed(2)) }];
    let packet = Packet::of(&layout(Form::Binary { big_endian: true, length: None, fields })).unwrap();
    assert_eq!((0..40).filter(|bytes| packet.may_have(*bytes)).collect::<Vec<_>>(), [9]);
}

#[test]
fn a_told_length_is_the_only_one() {
    let fields = vec![Field::new("n", Stored::Unsigned(1))];
    let packet = Packet::of(&layout(Form::Binary { big_endian: true, length: Some(4), fields })).unwrap();
    assert!(packet.is(&[1, 2, 3, 4]) && !packet.is(&[1, 2, 3]));
}

#[test]
fn what_says_its_end_itself_may_have_any_length() {
    let fields = vec![Field { key: Some("a".to_owned()), ..Field::new("value", Stored::Number) }];
    let form = Form::Keyed { encoding: Encoding::Cbor, fields };
    let packet = Packet::of(&layout(form)).unwrap();
    assert!(packet.is(b"\xa1\x61a\x05"));
    assert!(!packet.is(b"\xa1\x61a\x05\x05"));
    assert!(!packet.is(b"\xa1\x61b\x05"));
}

#[test]
fn lines_without_a_told_word_may_be_anything() {
    let text = |starts_with: Option<&str>| {
        let starts_with = starts_with.map(str::to_owned);
        Packet::of(&layout(Form::Text { separator: ",".to_owned(), starts_with, fields: Vec::new() }))
    };
    assert_eq!(text(None), None);
    assert!(text(Some("CAM")).unwrap().is(b"CAM,1,2"));
}
