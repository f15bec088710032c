use super::take;
use crate::layout::{Carrier, Encoding, Envelope, Field, Form, Layout, Stored};

fn layout(form: Form) -> Layout {
    Layout { name: "packet".to_owned(), form, body: None, rate_hz: None }
}

fn line(starts_with: &str) -> Layout {
    let hpa = Field { unit: "hPa".to_owned(), ..Field::new("p", Stored::Number) };
    let fields = vec![Field::new("n", Stored::Number), hpa, Field::new("note", Stored::Text)];
    layout(Form::Text { separator: ";".to_owned(), starts_with: Some(starts_with.to_owned()), fields })
}

fn object() -> Layout {
    layout(Form::Keyed { encoding: Encoding::Json, fields: vec![Field::new("a", Stored::Number)] })
}

fn why(layouts: &[Layout], payload: &[u8]) -> (String, &'static str) {
    let misfit = take(layouts, payload).unwrap_err();
    (misfit.to_string(), misfit.reason())
}

#[test]
fn a_line_with_a_column_that_is_missing_or_hit_is_damaged() {
    let layouts = [line("LW1")];
    for (text, reason, kind) in [
        ("LW1;1;962.1", "column 4 is missing: 3 columns where 4 are declared", "missing column"),
        ("LW1;1;962,1;hi", "column 3: `962,1` is no number", "no number"),
        ("LW1;1;none;hi", "column 3: `none` is no number", "no number"),
        ("LW1;1;0x20;hi", "column 3: `0x20` is no number", "no number"),
        ("LW1;1;1e999;hi", "field 2 is no finite number", "no number"),
        ("LW2;1;962.1;hi", "no layout fits its 14 bytes", "no layout"),
    ] {
        assert_eq!(why(&layouts, text.as_bytes()), (reason.to_owned(), kind), "{text}");
    }
}

#[test]
fn an_empty_column_and_columns_that_no_field_names_are_no_damage() {
    let layouts = [line("LW2"), line("LW1")];
    for (text, values) in
        [("LW1;;;", 0), ("LW1;nan;-INF;nan", 1), ("LW1;0x20;1e3;hi;more;of it", 3), ("LW1; 7 ; -5 ;hi", 3)]
    {
        let (index, decoded) = take(&layouts, text.as_bytes()).unwrap();
        assert_eq!((index, decoded.values.len()), (1, values), "{text}");
    }
}

#[test]
fn another_layout_may_take_what_one_takes_for_damaged() {
    let short = Form::Text {
        separator: ";".to_owned(),
        starts_with: Some("LW1".to_owned()),
        fields: vec![Field::new("n", Stored::Number)],
    };
    assert_eq!(take(&[line("LW1"), layout(short)], b"LW1;7").unwrap().0, 1);
}

#[test]
fn broken_json_is_told_with_its_place() {
    let only = [object()];
    for (text, reason) in [
        (&b"{\"a\":1,}"[..], "no JSON from byte 7 on of 8"),
        (b"{\"a\":01}", "no JSON from byte 5 on of 8"),
        (b"{\"a\":1", "no JSON from byte 6 on of 6"),
        (b"{\"a\":\"\xff\"}", "no JSON from byte 6 on of 9"),
        (b"hello", "no JSON from byte 0 on of 5"),
    ] {
        assert_eq!(why(&only, text), (reason.to_owned(), "no json"));
    }
    assert_eq!(why(&only, b"{\"b\":1}").1, "no layout");
    // Beside lines of another kind, what begins otherwise is not meant as an object.
    let both = [line("LW1"), object()];
    assert_eq!(why(&both, b"LW2;1").0, "no layout fits its 5 bytes");
    assert_eq!(why(&both, b"{\"a\"").1, "no json");
}

#[test]
fn a_packet_of_somebody_else_is_not_taken() {
    let envelope = Envelope { carrier: Carrier::Monitor, from: Some("N0CALL-11".to_owned()) };
    let layouts = [layout(Form::In { envelope, form: Box::new(line("LW1").form) })];
    assert_eq!(why(&layouts, b"OTHER-3>APRS:LW1;1;2;x"), ("from OTHER-3, not taken".to_owned(), "not taken"));
    assert_eq!(why(&layouts, b"N0CALL-11>APRS:LW1;1").1, "missing column");
    assert_eq!(why(&layouts, b"noise").1, "no layout");
    assert!(take(&layouts, b"n0call-11>APRS:LW1;1;2;x").is_ok());
}
