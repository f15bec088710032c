use super::*;
use crate::layout::Bits;
use crate::layout::testing::named;

fn binary(length: Option<usize>, fields: Vec<Field>) -> Layout {
    Layout {
        name: "packet".to_owned(),
        form: Form::Binary { big_endian: false, length, fields },
        body: None,
        rate_hz: None,
    }
}

fn told(layout: &Layout) -> Vec<String> {
    layout.check().into_iter().map(|(_, problem)| problem.to_string()).collect()
}

#[test]
fn a_good_layout_has_no_problem() {
    let pressure = Field {
        meaning: Meaning::Pressure,
        unit: "hPa".to_owned(),
        si_scale: 100.0,
        ..Field::new("p", Stored::Unsigned(4))
    };
    let layout = binary(Some(6), vec![pressure, Field::new("x", Stored::Unsigned(2))]);
    assert_eq!(layout.check(), []);
}

#[test]
fn every_mistake_of_fields_is_told_at_once() {
    let fields = vec![
        Field::new("a", Stored::Unsigned(9)),
        Field::new("a", Stored::Float(2)),
        Field::new("t", Stored::Number),
        Field { meaning: Meaning::Pressure, unit: "m".to_owned(), ..Field::new("p", Stored::Unsigned(2)) },
        Field { meaning: Meaning::Pressure, unit: "hPa".to_owned(), ..Field::new("q", Stored::Unsigned(2)) },
        Field { meaning: Meaning::Fired, ..Field::new("f", Stored::Unsigned(1)) },
        Field { scale: 0.0, is: Some(300.0), missing: Some(-1.0), ..Field::new("s", Stored::Unsigned(1)) },
    ];
    let layout = Layout { rate_hz: Some(0.0), ..binary(Some(12), fields) };
    let told = told(&layout);
    for part in [
        "a rate of 0 Hz",
        "`a` has a width of 9 bytes",
        "the name `a` is there twice",
        "`a` has a width of 2 bytes",
        "`t` is stored in a way",
        "`m` does not measure pressure",
        "`pressure` is meant twice",
        "`q` is converted otherwise than its unit `hPa` says",
        "`fired` needs a channel",
        "`s` has a scale of 0",
        "`s` can never be 300",
        "`s` can never be -1",
        "`p` ends at byte 13, past the layout's length of 12",
    ] {
        assert!(told.iter().any(|text| text.contains(part)), "{part}: {told:#?}");
    }
    assert_eq!(binary(None, Vec::new()).check(), [(Place::default(), LayoutProblem::NoFields)]);
}

#[test]
fn every_mistake_of_bits_is_told_with_its_place() {
    let bits = |bit, width, name: &str| Bits {
        bit,
        width,
        name: name.to_owned(),
        meaning: Meaning::Free,
        channel: None,
        values: Vec::new(),
    };
    let several = vec![
        bits(0, 2, "low"),
        bits(1, 1, "over"),
        bits(7, 2, "past"),
        Bits { meaning: Meaning::Pressure, ..bits(3, 1, "p") },
        Bits { values: named(&[(0, "a"), (0, "b")]), ..bits(4, 1, "twice") },
    ];
    let layout = binary(None, vec![Field { bits: several, ..Field::new("flags", Stored::Unsigned(1)) }]);
    let problems = layout.check();
    let at: Vec<Option<usize>> = problems.iter().map(|(place, _)| place.bits).collect();
    assert_eq!(at, [Some(1), Some(2), Some(3), Some(4)]);
    assert_eq!(problems[0].1.to_string(), "`over` takes bits that `low` has taken");
    assert_eq!(problems[1].1.to_string(), "`past` takes bits 7 to 8; `flags` has 0 to 7");
    let float =
        binary(None, vec![Field { bits: vec![bits(0, 1, "b")], ..Field::new("f", Stored::Float(4)) }]);
    assert_eq!(told(&float), ["`f` is no integer: it has no bits"]);
}

#[test]
fn the_same_meaning_is_allowed_once_per_channel() {
    let of = |name: &str, channel: &str| Field {
        meaning: Meaning::Armed,
        channel: Some(channel.to_owned()),
        ..Field::new(name, Stored::Unsigned(1))
    };
    assert_eq!(binary(None, vec![of("a", "drogue"), of("b", "main")]).check(), []);
    assert_eq!(
        told(&binary(None, vec![of("a", "main"), of("b", "main")])),
        ["`armed` is meant twice for `main`"]
    );
}
