use crate::layout::testing::{named, texts};
use crate::{Complaint, Field, Form, Layout, Meaning, Stored};

fn layout(separator: &str, starts_with: Option<&str>, fields: Vec<Field>) -> Layout {
    let (separator, starts_with) = (separator.to_owned(), starts_with.map(str::to_owned));
    Layout {
        name: "line".to_owned(),
        form: Form::Text { separator, starts_with, fields },
        body: None,
        rate_hz: None,
    }
}

fn abc() -> Vec<Field> {
    vec![Field::new("a", Stored::Number), Field::new("b", Stored::Text), Field::new("c", Stored::Number)]
}

#[test]
fn columns_in_order_with_spaces_around_them() {
    let layout = layout(",", Some("LW1"), abc());
    for line in ["LW1,-1.5e2,hello there,0x10", "$LW1, -150 ,\thello there, 16 "] {
        assert!(layout.matches(line.as_bytes()));
        let decoded = layout.decode(line.as_bytes());
        assert_eq!(texts(&layout, &decoded), ["a -150", "b hello there", "c 16"]);
        assert_eq!(decoded.complaints, []);
    }
    for line in ["LW2,1,b,2", "LW12,1,b,2", "1,b,2", "", " $ LW1,1"] {
        assert!(!layout.matches(line.as_bytes()), "{line}");
    }
    assert!(!layout.matches(b"LW1,\xff,b,2"));
}

#[test]
fn without_a_beginning_the_first_column_is_a_field() {
    let layout = layout(";", None, abc());
    assert_eq!(texts(&layout, &layout.decode(b"$1;x;2")), ["a 1", "b x", "c 2"]);
    let selected = Field { is: Some(7.0), ..Field::new("a", Stored::Number) };
    let layout = super::super::Layout {
        form: Form::Text { separator: ";".to_owned(), starts_with: None, fields: vec![selected] },
        ..layout
    };
    assert!(
        layout.matches(b"7") && layout.matches(b"$7.0;rest") && !layout.matches(b"8") && !layout.matches(b"")
    );
}

#[test]
fn separators_of_several_characters() {
    let layout = layout(" | ", None, abc());
    assert_eq!(texts(&layout, &layout.decode("1 | µ | 2".as_bytes())), ["a 1", "b µ", "c 2"]);
}

#[test]
fn empty_missing_extra_and_unreadable_columns() {
    let layout = layout(",", Some("LW1"), abc());
    let decoded = layout.decode(b"LW1,,,");
    assert_eq!((decoded.values.len(), decoded.complaints.len()), (0, 0));
    let decoded = layout.decode(b"LW1,1,b");
    assert_eq!(decoded.complaints, [Complaint::MissingColumns { expected: 4, found: 3 }]);
    assert_eq!(decoded.complaints[0].to_string(), "column 4 is missing: 3 columns where 4 are declared");
    let decoded = layout.decode(b"LW1,1,b,2,3,4");
    assert_eq!(decoded.complaints, [Complaint::ExtraColumns { expected: 4, found: 6 }]);
    assert_eq!(decoded.complaints[0].to_string(), "column 5 is not declared: 6 columns where 4 are");
    let decoded = layout.decode(b"LW1,none,b,1e999");
    let not_a_number = Complaint::NotANumber { field: 0, column: 2, text: "none".to_owned() };
    assert_eq!(decoded.complaints, [not_a_number, Complaint::NotFinite { field: 2 }]);
    assert_eq!(texts(&layout, &decoded), ["b b"]);
}

#[test]
fn states_units_and_missing_values() {
    let state = Field { values: named(&[(0, "pad"), (1, "up")]), ..Field::new("state", Stored::Number) };
    let height = Field {
        si_scale: 0.3048,
        unit: "ft".to_owned(),
        meaning: Meaning::OwnHeight,
        missing: Some(-999.0),
        ..Field::new("h", Stored::Number)
    };
    let layout = layout(",", None, vec![state, height]);
    let decoded = layout.decode(b"1,1000");
    assert_eq!(texts(&layout, &decoded)[0], "state up");
    assert_eq!(layout.number(&decoded, Meaning::OwnHeight), Some(304.8));
    assert_eq!(layout.decode(b"0,-999.0").values.len(), 1);
    assert_eq!(layout.decode(b"5,1").complaints, [Complaint::NoName { field: 0, bits: None, raw: 5 }]);
}
