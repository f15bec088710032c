//! Clocks that wrap, begin again, step or are heard in bursts: what a flight comes to does not depend on them.

mod fake;

use fake::{Story, after, inputs, run, setup};
use loftwatch_engine::{Input, Output, Said, Setup, What};
use loftwatch_flight::EventKind;
use loftwatch_radio::{Cut, Field, Form, Stored};

/// The same packets with fields of bytes: the clock in so many, everything else in eight.
fn binary(clock_bytes: u8) -> Setup {
    let mut setup = setup();
    let layout = &mut setup.layouts[0];
    let fields = layout.fields().iter().map(|field| Field {
        stored: if field.name == "ms" { Stored::Unsigned(clock_bytes) } else { Stored::Float(8) },
        ..field.clone()
    });
    layout.form = Form::Binary { big_endian: false, length: None, fields: fields.collect() };
    for link in &mut setup.links {
        link.framing.cut = Cut::Slip;
    }
    setup
}

/// A line of the made-up vehicle as bytes, with `clock` aboard.
fn packed(line: &[u8], clock_bytes: u8, clock: impl Fn(u64) -> u64) -> Vec<u8> {
    let text = std::str::from_utf8(line).expect("a line of text");
    let columns = text.split('*').next().unwrap_or_default().split(',').skip(1);
    let mut payload = Vec::new();
    for (index, column) in columns.enumerate() {
        let number: f64 = column.parse().expect("a number");
        if index == 2 {
            payload.extend(&clock(number as u64).to_le_bytes()[..usize::from(clock_bytes)]);
        } else {
            payload.extend(number.to_le_bytes());
        }
    }
    let mut frame = Vec::new();
    for byte in payload {
        match byte {
            0xc0 => frame.extend([0xdb, 0xdc]),
            0xdb => frame.extend([0xdb, 0xdd]),
            other => frame.push(other),
        }
    }
    frame.push(0xc0);
    frame
}

fn with_clock(all: &[Input], clock_bytes: u8, clock: impl Fn(u64) -> u64) -> Vec<Input> {
    let other = |input: &Input| match &input.what {
        What::Bytes { link, bytes } => {
            let bytes = packed(bytes, clock_bytes, &clock);
            Input { what: What::Bytes { link: link.clone(), bytes }, ..input.clone() }
        }
        _ => input.clone(),
    };
    all.iter().map(other).collect()
}

/// What a flight comes to: the vehicle's apogee, m, and its own events in order.
fn told(out: &[Output]) -> (f64, Vec<EventKind>) {
    let apogee = out.iter().rev().find_map(|output| match &output.what {
        Said::Prediction { body: 0, prediction } => Some(prediction.apogee_height_m.p50),
        _ => None,
    });
    let events = out.iter().filter_map(|output| match &output.what {
        Said::Event { event, .. } if event.body == 0 && event.revision == 0 && !event.withdrawn => {
            Some(event.kind)
        }
        _ => None,
    });
    (apogee.expect("a prediction"), events.collect())
}

#[test]
fn a_clock_that_wraps_in_flight_changes_nothing() {
    let all = inputs(Story::default());
    let until = after(&all, 5.0);
    let (plain, events) = told(&run(binary(8), &with_clock(&all, 8, |ms| ms), until).1);
    assert!(events.contains(&EventKind::Apogee) && !events.contains(&EventKind::Reboot), "{events:?}");
    // 16 bits wrap every 65.536 s. 32 bits are made to wrap at different moments of the climb.
    for (bytes, ahead) in [(2, 0), (2, 48_000), (4, 0xffff_ffff - 14_000), (4, 0xffff_ffff - 17_000)] {
        let wrapping = with_clock(&all, bytes, |ms| ms + ahead);
        let (apogee, other) = told(&run(binary(bytes), &wrapping, until).1);
        // A clock that begins at 49 days rounds otherwise, by nanoseconds: in the apogee centimetres were seen.
        assert!(
            (apogee - plain).abs() < 0.3,
            "{bytes} bytes, {ahead} ahead: {apogee} where {plain} is expected"
        );
        assert_eq!(other, events, "{bytes} bytes, {ahead} ahead");
    }
}

#[test]
fn a_board_that_restarts_in_flight_is_told_and_its_clock_is_followed() {
    let all = inputs(Story::default());
    let until = after(&all, 5.0);
    let (plain, events) = told(&run(binary(8), &with_clock(&all, 8, |ms| ms), until).1);
    // The pad takes the first seconds; the clock begins again in the coast.
    let restart_ms = 5_000 + (Story::default().pad_s * 1e3) as u64 + 6_000;
    for bytes in [2, 4, 8] {
        let restarted = with_clock(&all, bytes, |ms| if ms < restart_ms { ms } else { ms - restart_ms + 20 });
        let (apogee, other) = told(&run(binary(bytes), &restarted, until).1);
        assert_eq!(
            other.iter().filter(|event| **event == EventKind::Reboot).count(),
            1,
            "{bytes}: {other:?}"
        );
        assert!((apogee - plain).abs() < 3.0, "{bytes} bytes: {apogee} where {plain} is expected");
        let rest: Vec<EventKind> = other.into_iter().filter(|event| *event != EventKind::Reboot).collect();
        assert_eq!(rest, events, "{bytes}");
    }
}

#[test]
fn a_laptop_whose_wall_clock_steps_in_flight_tells_the_same_but_for_the_names_of_instants() {
    let all = inputs(Story::default());
    let until = after(&all, 5.0);
    let plain = run(setup(), &all, until).1;
    for step_ns in [3_600_000_000_000_i64, -7_200_000_000_000, 400_000_000] {
        let from = all.len() / 2;
        let stepped: Vec<Input> = (0..)
            .zip(&all)
            .map(|(at, input)| Input {
                utc_ns: input.utc_ns + if at < from { 0 } else { step_ns },
                ..input.clone()
            })
            .collect();
        let mut out = run(setup(), &stepped, until).1;
        assert!(out.iter().any(|output| output.utc_offset_ns == 3_000_000_000 + step_ns));
        for output in &mut out {
            output.utc_offset_ns = 3_000_000_000;
        }
        assert_eq!(out.len(), plain.len());
        assert!(out == plain, "a step of {step_ns} ns changed more than the offset");
    }
}

#[test]
fn a_receiver_that_delivers_in_bursts_costs_delay_and_little_else() {
    let all = inputs(Story::default());
    let until = after(&all, 5.0);
    let (plain, events) = told(&run(setup(), &all, until).1);
    for burst_ns in [300_000_000_i64, 1_000_000_000] {
        // Everything that came within a burst comes at its end, in the order in which it was.
        let mut bursts: Vec<Input> = all
            .iter()
            .map(|input| {
                let t_ns = (input.t_ns / burst_ns + 1) * burst_ns;
                Input { t_ns, utc_ns: t_ns + 3_000_000_000, ..input.clone() }
            })
            .collect();
        bursts.sort_by_key(|input| input.t_ns);
        let (apogee, other) = told(&run(setup(), &bursts, until + burst_ns).1);
        assert!((apogee - plain).abs() < 2.0, "{burst_ns}: {apogee} where {plain} is expected");
        let missing: Vec<&EventKind> = events.iter().filter(|event| !other.contains(event)).collect();
        assert!(missing.is_empty(), "{burst_ns}: {missing:?} of {events:?} are not in {other:?}");
        assert!(!other.contains(&EventKind::Reboot));
    }
}
