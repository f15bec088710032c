use super::*;
use crate::layout::testing::named;
use crate::layout::{Bits, Repeat};

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
        Field::new("a", Stored::Float(3)),
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
        "`a` has a width of 3 bytes",
        "`t` is stored in a way",
        "`m` does not measure pressure",
        "`pressure` is meant twice",
        "`q` is converted otherwise than its unit `hPa` says",
        "`fired` needs a channel",
        "`s` has a scale of 0",
        "`s` can never be 300",
        "`s` can never be -1",
        "`p` ends at byte 14, past the layout's length of 12",
    ] {
        assert!(told.iter().any(|text| text.contains(part)), "{part}: {told:#?}");
    }
    assert_eq!(binary(None, Vec::new()).check(), [(Place::default(), LayoutProblem::NoFields)]);
}

#[test]
fn every_mistake_of_bits_is_told_with_its_place() {
    let bits = |bit, width, name: &str| Bits::new(bit, width, name);
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

#[test]
fn every_mistake_of_repeats_is_told() {
    let repeated =
        |name: &str, repeat: Repeat| Field { repeat: Some(repeat), ..Field::new(name, Stored::Signed(2)) };
    let meant = |name: &str, meaning, unit: &str, repeat| {
        let si = Unit::conversion(meaning, unit).unwrap();
        Field {
            meaning,
            unit: unit.to_owned(),
            si_scale: si.scale,
            si_offset: si.offset,
            ..repeated(name, repeat)
        }
    };
    let group = |count| Repeat { group: Some("imu".to_owned()), ..Repeat::times(count) };
    let fields = vec![
        Field { scale: 2.0, ..Field::new("n", Stored::Unsigned(1)) },
        repeated("none", Repeat::times(0)),
        repeated("counted", Repeat { count_from: Some(0), ..Repeat::times(4) }),
        repeated("later", Repeat { count_from: Some(7), ..Repeat::times(4) }),
        repeated("wide", Repeat { delta: Some(Stored::Signed(4)), ..Repeat::times(4) }),
        repeated("a", group(3)),
        repeated("b", group(4)),
        meant("ax", Meaning::AxialSpecificForce, "mg", Repeat::times(4)),
        meant("ay", Meaning::LateralSpecificForceY, "mg", Repeat { every_s: Some(-1.0), ..Repeat::times(4) }),
        meant("t", Meaning::OnboardTime, "ms", Repeat { every_s: Some(0.1), ..Repeat::times(4) }),
    ];
    let told = told(&binary(None, fields));
    for part in [
        "`none` stands 0 times",
        "`counted` is counted by something",
        "`later` is counted by something",
        "`wide` and its differences",
        "`b` does not stand as often as its neighbours in group `imu`",
        "`ax` stands several times and means `axial specific force`",
        "`ay`: -1 s from one value to the next",
        "`onboard time` can be there once only",
    ] {
        assert!(told.iter().any(|text| text.contains(part)), "{part}: {told:#?}");
    }
    assert_eq!(told.len(), 8, "{told:#?}");
    let form = Form::Keyed { encoding: crate::Encoding::Json, fields: vec![repeated("a", group(2))] };
    let keyed = Layout { name: "packet".to_owned(), form, body: None, rate_hz: None };
    assert!(self::told(&keyed).iter().any(|text| text.contains("repeated in a way")));
}
