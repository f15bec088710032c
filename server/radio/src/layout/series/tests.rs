use proptest::prelude::*;

use crate::{Complaint, Field, Form, Layout, Meaning, Repeat, Stored};

fn layout(fields: Vec<Field>) -> Layout {
    let form = Form::Binary { big_endian: false, length: None, fields };
    Layout { name: "packet".to_owned(), form, body: None, rate_hz: None }
}

fn series(name: &str, count: u16, delta: Option<Stored>, every_s: f64, timed_last: bool) -> Field {
    let repeat = Repeat {
        group: Some("imu".to_owned()),
        delta,
        every_s: Some(every_s),
        timed_last,
        ..Repeat::times(count)
    };
    Field { repeat: Some(repeat), ..Field::new(name, Stored::Signed(2)) }
}

fn numbers(instant: &crate::Instant) -> Vec<f64> {
    instant.decoded.values.iter().filter_map(|entry| entry.value.number()).collect()
}

#[test]
fn samples_that_take_turns_each_have_their_time() {
    let fields = vec![
        Field { meaning: Meaning::OnboardTime, ..Field::new("t", Stored::Unsigned(1)) },
        series("x", 3, Some(Stored::Signed(1)), 0.005, true),
        series("y", 3, None, 0.005, true),
    ];
    let layout = layout(fields);
    // 9; x 1000, y 1; x +5, y 2; x -10, y 3.
    let bytes = [9, 0xe8, 0x03, 1, 0, 5, 2, 0, 0xf6, 3, 0];
    assert!(layout.matches(&bytes) && !layout.matches(&bytes[..10]));
    let instants = layout.instants(&layout.decode(&bytes));
    assert_eq!(instants.iter().map(|instant| instant.offset_s).collect::<Vec<_>>(), [-0.01, -0.005, 0.0]);
    assert_eq!(
        instants.iter().map(numbers).collect::<Vec<_>>(),
        [vec![1000.0, 1.0], vec![1005.0, 2.0], vec![9.0, 995.0, 3.0]]
    );
}

#[test]
fn a_packet_may_say_how_many_there_are() {
    let counted = Field {
        repeat: Some(Repeat { count_from: Some(0), every_s: Some(0.1), ..Repeat::times(4) }),
        ..Field::new("x", Stored::Unsigned(1))
    };
    let layout =
        layout(vec![Field::new("n", Stored::Unsigned(1)), counted, Field::new("end", Stored::Unsigned(1))]);
    assert_eq!(layout.check(), []);
    let of = |bytes: &[u8]| layout.instants(&layout.decode(bytes)).iter().map(numbers).collect::<Vec<_>>();
    assert_eq!(of(&[2, 10, 11, 99]), [vec![2.0, 10.0, 99.0], vec![11.0]]);
    assert_eq!(of(&[0, 99]), [[0.0, 99.0]]);
    assert!(layout.matches(&[4, 1, 2, 3, 4, 99]));
    assert!(!layout.matches(&[4, 1, 2, 3, 4]) && !layout.matches(&[5, 1, 2, 3, 4, 5, 99]));
}

#[test]
fn complaints_are_told_once() {
    let float = Field {
        repeat: Some(Repeat { every_s: Some(0.1), ..Repeat::times(2) }),
        ..Field::new("x", Stored::Float(2))
    };
    let layout = layout(vec![float]);
    let instants = layout.instants(&layout.decode(&[0x00, 0x7c, 0x00, 0x3c]));
    let complaints: Vec<_> = instants.iter().flat_map(|instant| instant.decoded.complaints.clone()).collect();
    assert_eq!(complaints, [Complaint::NotFinite { field: 0 }]);
}

proptest! {
    #[test]
    fn differences_lead_to_what_they_were_made_from(values in prop::collection::vec(any::<i16>(), 1..40), wide: bool, big_endian: bool) {
        // Differences of one byte only lead to values nearby: those of two bytes wrap to any.
        let near: Vec<i16> = values.iter().scan(values[0], |sum, value| { *sum = sum.wrapping_add(value % 128); Some(*sum) }).collect();
        let values = if wide { values } else { near };
        let (delta, width) = if wide { (Stored::Unsigned(2), 2) } else { (Stored::Signed(1), 1) };
        let mut bytes = if big_endian { values[0].to_be_bytes() } else { values[0].to_le_bytes() }.to_vec();
        for pair in values.windows(2) {
            let step = pair[1].wrapping_sub(pair[0]);
            let stored = if big_endian { step.to_be_bytes() } else { step.to_le_bytes() };
            bytes.extend(if big_endian { &stored[2 - width..] } else { &stored[..width] });
        }
        let repeat = Repeat { delta: Some(delta), every_s: Some(0.01), ..Repeat::times(values.len() as u16) };
        let field = Field { repeat: Some(repeat), ..Field::new("x", Stored::Signed(2)) };
        let form = Form::Binary { big_endian, length: Some(bytes.len()), fields: vec![field] };
        let layout = Layout { name: "packet".to_owned(), form, body: None, rate_hz: None };
        prop_assert_eq!(layout.check(), []);
        prop_assert!(layout.matches(&bytes));
        let decoded = layout.decode(&bytes);
        let found: Vec<f64> = decoded.values.iter().filter_map(|entry| entry.value.number()).collect();
        prop_assert_eq!(found, values.iter().map(|value| f64::from(*value)).collect::<Vec<_>>());
        prop_assert_eq!(layout.instants(&decoded).len(), values.len());
    }
}
