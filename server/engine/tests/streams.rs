//! From bytes to readings: copies, late and foreign packets, garbage, restarts, places in the stream.

mod fake;

use fake::{START_NS, Story, after, inputs, numbered, run, setup};
use loftwatch_engine::output::{Frame, Reading};
use loftwatch_engine::setup::Source;
use loftwatch_engine::{Engine, Input, Output, RelayNews, RelayStamp, Said, Setup, What};

fn readings(out: &[Output]) -> Vec<&Reading> {
    out.iter().filter_map(|o| if let Said::Reading(r) = &o.what { Some(r) } else { None }).collect()
}

fn frames(out: &[Output]) -> Vec<&Frame> {
    out.iter().filter_map(|o| if let Said::Frame(f) = &o.what { Some(f) } else { None }).collect()
}

fn waiting() -> Vec<Input> {
    inputs(Story { liftoff: false, ..Story::default() })
}

fn bytes(link: &str, text: &str) -> What {
    What::Bytes { link: link.into(), bytes: text.as_bytes().to_vec() }
}

fn checked(text: &str) -> String {
    format!("{text}*{:02X}\n", text.bytes().fold(0, |x, b| x ^ b))
}

#[test]
fn a_packet_through_two_receivers_counts_once() {
    let all = waiting();
    let (_, out) = run(setup(), &all, after(&all, 1.0));
    let read = readings(&out);
    let body: Vec<_> = read.iter().filter(|r| r.body == 0).collect();
    let copies = body.iter().filter(|r| r.again).count();
    assert_eq!(copies * 2, body.len(), "each of the body's packets came twice");
    assert!(body.iter().all(|r| r.again == (r.receiver == "Table")), "the mast hears first");
    assert!(read.iter().filter(|r| r.body == 1).all(|r| !r.again));
    // What the copies say changes nothing: without them the flight is told alike.
    let mast: Vec<_> = all
        .iter()
        .filter(|i| matches!(&i.what, What::Bytes { link, .. } if link == "mast"))
        .cloned()
        .collect();
    let (_, alone) = run(setup(), &mast, after(&all, 1.0));
    let flight = |out: &[Output]| {
        let told = out.iter().filter(|o| {
            matches!(o.what, Said::Estimate { .. } | Said::Prediction { .. } | Said::Event { .. })
        });
        told.map(|o| o.what.clone()).collect::<Vec<_>>()
    };
    assert_eq!(flight(&out), flight(&alone));
}

#[test]
fn frames_lie_where_they_say_in_the_stream() {
    let all = waiting();
    let mut stream = Vec::new();
    for input in &all {
        if let What::Bytes { link, bytes } = &input.what
            && link == "mast"
        {
            stream.extend_from_slice(bytes);
        }
    }
    let (_, out) = run(setup(), &all, after(&all, 0.0));
    let cut: Vec<_> = frames(&out).into_iter().filter(|f| f.link == "mast").collect();
    assert!(cut.len() > 100);
    for frame in cut {
        let from = frame.offset as usize;
        let raw = &stream[from..from + frame.length as usize];
        assert!(raw.starts_with(b"LW1,") && raw[raw.len() - 3] == b'*', "{:?}", String::from_utf8_lossy(raw));
    }
}

#[test]
fn half_a_frame_is_void_after_a_restart_and_offsets_go_on() {
    let good = checked("LW1,1,7,1000,87600,9.8,0,,,,,0");
    let (head, tail) = good.split_at(10);
    for break_ in [
        What::Started,
        What::LinkState { link: "mast".into(), up: false, reason: "unplugged".into() },
        What::Lost { link: "mast".into(), bytes: 100, reason: "memory full".into() },
    ] {
        let lost = if matches!(break_, What::Lost { .. }) { 100 } else { 0 };
        let all = numbered([
            (START_NS + 1, bytes("mast", head)),
            (START_NS + 2, break_),
            (START_NS + 3, bytes("mast", tail)),
            (START_NS + 4, bytes("mast", &good)),
        ]);
        let (_, out) = run(setup(), &all, START_NS + 5);
        assert_eq!(readings(&out).len(), 1, "the halves do not join");
        let last = frames(&out).into_iter().find(|f| f.wrong.is_none()).unwrap();
        assert_eq!(last.offset, good.len() as u64 + lost);
        assert!(frames(&out).iter().any(|f| f.wrong_kind.as_deref() == Some("partial")));
    }
}

/// What came over the air is dated before its receipt, by a time that lies between a hundredth and a tenth of a second. With a
/// clock aboard a packet that took longer than the rest is dated with them; without one nothing tells it.
#[test]
fn what_is_measured_is_older_than_its_receipt() {
    let second = 1_000_000_000;
    let late_ns = 300_000_000;
    let heard = |number: u64| START_NS + number as i64 * second + if number == 4 { late_ns } else { 0 };
    for has_clock in [true, false] {
        let line = |number: u64| {
            let clock = if has_clock { (number * 1000).to_string() } else { String::new() };
            checked(&format!("LW1,1,{number},{clock},87600,9.8,0,,,,,0"))
        };
        let all = numbered((1..6).map(|number| (heard(number), bytes("mast", &line(number)))));
        let (_, out) = run(setup(), &all, START_NS + 7 * second);
        let ages: Vec<i64> =
            readings(&out).iter().zip(1..).map(|(r, number)| heard(number) - r.t_measured_ns).collect();
        assert_eq!(ages.len(), 5);
        for (age_ns, number) in ages.iter().zip(1..) {
            let way_ns = age_ns - if has_clock && number == 4 { late_ns } else { 0 };
            assert!((10_000_000..100_000_000).contains(&way_ns), "packet {number}: {ages:?}");
        }
    }
}

fn relayed(number: u64, heard_ns: i64, news: RelayNews) -> What {
    let stamp = RelayStamp { store: 1, number, far_ns: heard_ns + 777, heard_ns };
    What::Relayed { link: "mast".into(), stamp, news }
}

/// The setup with its mast at the far end of the range.
fn relay_setup() -> Setup {
    let mut told = setup();
    let key_file = "key".into();
    told.links[0].source = Source::Relay { address: "127.0.0.1:9100".into(), key_file, datagrams: false };
    assert_eq!(told.links[0].name, "mast");
    told
}

#[test]
fn a_frame_goes_on_over_a_broken_relay_and_not_over_a_broken_radio() {
    let good = checked("LW1,1,7,1000,87600,9.8,0,,,,,0");
    let (head, tail) = good.split_at(10);
    let down = || What::LinkState { link: "mast".into(), up: false, reason: "broken".into() };
    let there = |news: RelayNews| relayed(2, START_NS, news);
    for (between, whole) in [
        (down(), true),
        (What::Started, true),
        (there(RelayNews::LinkState { up: true, reason: "back".into() }), true),
        (there(RelayNews::LinkState { up: false, reason: "unplugged".into() }), false),
        (there(RelayNews::Started), false),
        (there(RelayNews::Lost { bytes: 5, reason: "full".into() }), false),
    ] {
        let all = numbered([
            (START_NS + 1, relayed(1, START_NS, RelayNews::Bytes(head.as_bytes().to_vec()))),
            (START_NS + 2, between.clone()),
            (START_NS + 3, relayed(3, START_NS, RelayNews::Bytes(tail.as_bytes().to_vec()))),
        ]);
        let (_, out) = run(relay_setup(), &all, START_NS + 5);
        assert_eq!(readings(&out).len(), usize::from(whole), "{between:?}");
    }
}

/// What is passed on late was received when the far end received it, and ends no silence of now.
#[test]
fn a_relayed_packet_was_received_when_the_far_end_heard_it() {
    let second = 1_000_000_000;
    let packet = |number: u64, heard_ns: i64| {
        let line = checked(&format!("LW1,1,{number},{},87600,9.8,0,,,,,0", number * 1000));
        relayed(number, heard_ns, RelayNews::Bytes(line.into_bytes()))
    };
    // Heard a second apart; the second and third wait for the way to come back, a minute.
    let all = numbered([
        (START_NS + second, packet(1, START_NS + second)),
        (START_NS + 60 * second, packet(2, START_NS + 2 * second)),
        (START_NS + 60 * second + 1, packet(3, START_NS + 3 * second)),
    ]);
    let (_, out) = run(relay_setup(), &all, START_NS + 61 * second);
    let heard: Vec<i64> = out
        .iter()
        .filter(|o| matches!(o.what, Said::Reading(_)))
        .map(|o| (o.t_receive_ns - START_NS) / second)
        .collect();
    assert_eq!(heard, [1, 2, 3]);
    let measured: Vec<i64> = readings(&out).iter().map(|r| r.t_measured_ns).collect();
    for pair in measured.windows(2) {
        assert!(((pair[1] - pair[0]) - second).abs() < second / 100, "{measured:?}");
    }
    let silences: Vec<bool> = out
        .iter()
        .filter_map(|o| match o.what {
            Said::Silence { since_ns } => Some(since_ns.is_some()),
            _ => None,
        })
        .collect();
    assert_eq!(silences, [true], "silent once, and not heard again by old news");
}

/// The end of a datagram ends a frame, here and at the far end of a relay, if the setup says that they are datagrams.
#[test]
fn a_datagram_without_an_end_mark_is_a_frame() {
    let packet = |n: u8| checked(&format!("LW1,1,{n},{n}000,87600,9.8,0,,,,,0")).trim_end().to_owned();
    let here = |n: u8| bytes("mast", &packet(n));
    let there = |n: u8| relayed(n.into(), START_NS, RelayNews::Bytes(packet(n).into_bytes()));
    let udp = |datagrams| Source::Udp { address: "127.0.0.1:9".into(), datagrams };
    let relay = |datagrams| Source::Relay { address: "127.0.0.1:9".into(), key_file: "k".into(), datagrams };
    for (source, wanted) in [(udp(true), 3), (udp(false), 0), (relay(true), 3), (relay(false), 0)] {
        let what = |n| if matches!(source, Source::Udp { .. }) { here(n) } else { there(n) };
        let all = numbered((1..=3).map(|n| (START_NS + i64::from(n) * 100_000_000, what(n))));
        let mut told = setup();
        told.links[0].source = source;
        let (_, out) = run(told.clone(), &all, START_NS + 500_000_000);
        assert_eq!(readings(&out).len(), wanted, "{:?}", told.links[0].source);
    }
    // What was told of a link before there was such a choice.
    let old: Source = serde_json::from_str(r#"{"udp": {"address": "127.0.0.1:9"}}"#).unwrap();
    assert_eq!(old, udp(true));
    let old: Source =
        serde_json::from_str(r#"{"relay": {"address": "127.0.0.1:9", "key_file": "k"}}"#).unwrap();
    assert_eq!(old, relay(false));
}

/// What a link's packets take at least is taken off their receipt: a slow radio's are of the same instants as a quick one's.
#[test]
fn what_is_received_late_was_measured_as_much_sooner() {
    let packet = |n: i64| checked(&format!("LW1,1,{n},{},87600,9.8,0,,,,,0", n * 100));
    let measured = |delay_s: f64| {
        let mut told = setup();
        told.links[0].delay_s = delay_s;
        let late_ns = (delay_s * 1e9) as i64;
        let at = |n: i64| START_NS + n * 100_000_000 + late_ns;
        let all = numbered((1..=30).map(|n| (at(n), bytes("mast", &packet(n)))));
        let (_, out) = run(told, &all, at(31));
        readings(&out).iter().map(|r| r.t_measured_ns).collect::<Vec<_>>()
    };
    let quick = measured(0.02);
    assert_eq!(quick.len(), 30);
    assert_eq!(quick[29], START_NS + 3_000_000_000);
    assert_eq!(measured(0.3), quick);
}

#[test]
fn bytes_of_which_no_frame_ends_are_told_and_a_frame_ends_that() {
    let mut all: Vec<(i64, What)> =
        (1..=8).map(|s| (START_NS + s * 1_000_000_000, bytes("mast", "no end "))).collect();
    let stands = |all: &[(i64, What)]| {
        let inputs = numbered(all.iter().cloned());
        let (engine, _) = run(setup(), &inputs, all[all.len() - 1].0);
        let link = engine.links().into_iter().find(|link| link.link == "mast").unwrap();
        (link.bytes, link.no_frame)
    };
    assert_eq!(stands(&all[..4]), (28, false), "a frame may take its time");
    assert_eq!(stands(&all), (56, true));
    all.push((START_NS + 9_000_000_000, bytes("mast", "\n")));
    assert_eq!(stands(&all), (57, false), "a wrong frame is one, too: it is counted and said");
}

#[test]
fn a_foreign_transmitter_is_named_and_not_used() {
    let all = numbered([(START_NS + 1, bytes("mast", &checked("LW1,9,7,1000,87600,9.8,0,,,,,0")))]);
    let (_, out) = run(setup(), &all, START_NS + 2);
    let cut = frames(&out);
    assert_eq!(cut.len(), 1);
    assert_eq!(cut[0].wrong_kind.as_deref(), Some("unknown_transmitter"));
    assert_eq!(cut[0].wrong.as_deref(), Some("transmitter 9 is none of the setup's (1, 2)"));
    assert_eq!(cut[0].layout.as_deref(), Some("text packet"));
    assert!(readings(&out).is_empty());
    assert!(!out.iter().any(|o| matches!(o.what, Said::Flight(_))), "and opens no flight");
}

#[test]
fn wrong_frames_say_why() {
    let all = numbered([
        (START_NS + 1, bytes("mast", "LW1,1,7,1000,87600,9.8,0,,,,,0*00\n")),
        (START_NS + 2, bytes("mast", &checked("XYZ,1"))),
    ]);
    let (_, out) = run(setup(), &all, START_NS + 3);
    let kinds: Vec<_> = frames(&out).iter().map(|f| f.wrong_kind.clone().unwrap()).collect();
    assert_eq!(kinds, ["checksum", "no_layout"]);
    let Some(Said::Radio(lines)) = run(setup(), &all, START_NS + 1_000_000_000)
        .1
        .into_iter()
        .rev()
        .find_map(|o| matches!(o.what, Said::Radio(_)).then_some(o.what))
    else {
        panic!("radio statistics");
    };
    assert_eq!(lines.len(), 4, "two receivers, two transmitters");
    assert_eq!(lines.iter().find(|l| l.receiver == "Mast").unwrap().wrong, 2);
}

#[test]
fn a_line_without_the_checksum_that_its_layout_has_shown_is_damaged() {
    let mut optional = setup();
    let checksum = loftwatch_radio::LineChecksum::Optional;
    optional.links[0].framing.cut = loftwatch_radio::Cut::Lines { checksum };
    let line = |n: i64| format!("LW1,1,{n},{},87600,9.8,0,,,,,0", 1000 + n);
    // Cut within the last column that a value stands in, and within the checksum's own place.
    let cut = |n: i64| format!("{}\n", line(n));
    let short = |n: i64| format!("LW1,1,{n},{},87600,9.8\n", 1000 + n);
    let sent = (1..9).map(|n| checked(&line(n))).chain([cut(9), short(10), checked(&line(11))]);
    let all = sent.zip(1..).map(|(text, n)| (START_NS + n, bytes("mast", &text)));
    let (_, out) = run(optional, &numbered(all), START_NS + 20);
    let wrong: Vec<_> =
        frames(&out).iter().skip(8).map(|f| (f.wrong_kind.clone(), f.wrong.clone())).collect();
    let told = |kind: &str, words: &str| (Some(kind.to_owned()), Some(words.to_owned()));
    assert_eq!(
        wrong,
        [
            told("no_checksum", "no checksum, where the lines before had one"),
            told("missing_column", "column 7 is missing: 6 columns where 12 are declared"),
            (None, None),
        ]
    );
    assert_eq!(readings(&out).len(), 9);
}

#[test]
fn a_packet_of_somebody_else_is_not_counted_as_wrong() {
    let mut heard = setup();
    let carrier = loftwatch_radio::Carrier::Monitor;
    let envelope = loftwatch_radio::Envelope { carrier, from: Some("N0CALL-11".into()) };
    let form = Box::new(heard.layouts[0].form.clone());
    heard.layouts[0].form = loftwatch_radio::Form::In { envelope, form };
    let line = "LW1,1,7,1000,87600,9.8,0,,,,,0";
    let all = numbered([
        (START_NS + 1, bytes("mast", &checked(&format!("OTHER-3>APRS:{line}")))),
        (START_NS + 2, bytes("mast", &checked(&format!("N0CALL-11>APRS:{line}")))),
    ]);
    let (_, out) = run(heard, &all, START_NS + 1_000_000_000);
    let said: Vec<_> = frames(&out).iter().map(|f| f.wrong.as_deref()).collect();
    assert_eq!(said, [Some("from OTHER-3, not taken"), None]);
    let lines =
        out.iter().rev().find_map(|o| if let Said::Radio(lines) = &o.what { Some(lines) } else { None });
    let mast = lines.and_then(|lines| lines.iter().find(|l| l.receiver == "Mast"));
    let counted = mast.map(|l| (l.wrong, l.wrong_by.get("not_taken").copied()));
    assert_eq!(counted, Some((0, Some(1))));
}

#[test]
fn a_setup_change_mends_a_layout_at_once() {
    let mut broken = setup();
    broken.layouts[0].name = "old".into();
    broken.links[0].layouts.clear();
    let good = checked("LW1,1,7,1000,87600,9.8,0,,,,,0");
    let all = numbered([
        (START_NS + 1, bytes("mast", &good)),
        (START_NS + 2, What::SetupChange(Box::new(setup()))),
        (START_NS + 3, bytes("mast", &good)),
    ]);
    let (_, out) = run(broken, &all, START_NS + 4);
    let cut = frames(&out);
    assert_eq!(cut[0].wrong_kind.as_deref(), Some("no_layout"));
    assert_eq!(cut[1].layout.as_deref(), Some("text packet"));
    assert_eq!(cut[1].offset, good.len() as u64);
}

#[test]
fn silence_is_declared_in_time_and_ends_with_the_next_packet() {
    let all = waiting();
    let last_ns = all.last().unwrap().t_ns;
    let mut engine = Engine::new(setup(), START_NS);
    let mut out = Vec::new();
    for input in &all {
        engine.step(input, &mut out);
    }
    out.clear();
    engine.advance(last_ns + 1_150_000_000, &mut out);
    assert!(!out.iter().any(|o| matches!(o.what, Said::Silence { .. })));
    engine.advance(last_ns + 1_250_000_000, &mut out);
    let silence = out.iter().find(|o| matches!(o.what, Said::Silence { .. })).unwrap();
    assert_eq!(silence.what, Said::Silence { since_ns: Some(last_ns) });
    assert_eq!(silence.t_ns, last_ns + 1_200_000_000, "two packets at 10 Hz and a second");
    out.clear();
    let again = Input { number: 100_000, t_ns: last_ns + 9_000_000_000, ..all[0].clone() };
    engine.step(&again, &mut out);
    assert!(out.iter().any(|o| o.what == Said::Silence { since_ns: None }));
}
