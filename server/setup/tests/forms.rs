//! Packets of every form, described by a setup file alone, from bytes to readings with their times.

use loftwatch_engine::output::{Reading, Value};
use loftwatch_engine::{Engine, Input, Said, What};
use loftwatch_setup::{Report, read};

const HEAD: &str = "[site]\nlatitude_deg = 49.0\nlongitude_deg = -72.0\nelevation_m = 200\n\
    [vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n\
    [[link]]\nname = \"l\"\nkind = \"stdin\"\n";
const START_NS: i64 = 1_781_298_000_000_000_000;

fn taken(text: &str) -> Result<loftwatch_engine::Setup, Report> {
    read(&format!("{HEAD}{text}"), "setup.toml", &mut |_| Err("no files here".to_owned()))
}

/// What a station with these layouts reads from pieces that come so many milliseconds after its start.
fn readings(text: &str, pieces: &[(i64, &[u8])]) -> Vec<Reading> {
    let setup = taken(text).unwrap_or_else(|report| panic!("{report}"));
    let mut engine = Engine::new(setup, START_NS);
    let mut out = Vec::new();
    for (number, (at_ms, bytes)) in (1..).zip(pieces) {
        let t_ns = START_NS + at_ms * 1_000_000;
        let what = What::Bytes { link: "l".to_owned(), bytes: bytes.to_vec() };
        engine.step(&Input { number, t_ns, utc_ns: t_ns, what }, &mut out);
    }
    out.into_iter()
        .filter_map(|said| if let Said::Reading(reading) = said.what { Some(reading) } else { None })
        .collect()
}

fn number(reading: &Reading, name: &str) -> f64 {
    match reading.values.iter().find(|(known, ..)| known == name) {
        Some((_, _, Value::Number(number))) => *number,
        other => panic!("{name}: {other:?}"),
    }
}

fn ms(reading: &Reading) -> f64 {
    (reading.t_measured_ns - START_NS) as f64 / 1e6
}

/// How long a packet is taken to be on its way, ms.
const WAY_MS: f64 = 45.0;

/// COBS of a short packet: every zero byte is replaced by the way to the next one.
fn cobs(packet: &[u8]) -> Vec<u8> {
    let mut coded = Vec::new();
    for part in packet.split(|byte| *byte == 0) {
        coded.push(part.len() as u8 + 1);
        coded.extend(part);
    }
    coded.push(0);
    coded
}

/// The layout with cases that the README prints.
fn of_the_readme() -> String {
    let readme = include_str!("../../../README.md");
    let blocks = readme.split("```toml\n").skip(1).filter_map(|rest| rest.split("```").next());
    blocks.filter(|block| block.contains("case_of")).map(str::to_owned).next().unwrap_or_default()
}

#[test]
fn samples_of_one_packet_each_have_their_own_time() {
    let layout = of_the_readme();
    let fast = |t_ms: u32| {
        let mut packet = vec![1];
        packet.extend(t_ms.to_le_bytes());
        packet.extend(981_i16.to_le_bytes());
        packet.extend([1, 2, 3, 0xff, 0xfe, 0xfd, 0]);
        cobs(&packet)
    };
    let (first, second) = (fast(5000), fast(5040));
    let all = readings(&layout, &[(1000, &first), (1040, &second)]);
    assert_eq!(all.len(), 16);
    // The last sample is of the packet's own time, which is that of receipt but for its way; seven are before it.
    for (packet, receipt) in all.chunks(8).zip([1000.0, 1040.0]) {
        for (at, reading) in packet.iter().enumerate() {
            let expected = receipt - WAY_MS - 5.0 * (7.0 - at as f64);
            assert!((ms(reading) - expected).abs() < 0.01, "{} where {expected} is expected", ms(reading));
        }
        assert!(packet.iter().map(|reading| reading.instant).eq(0..8), "each says which of them it is");
        let values: Vec<f64> = packet.iter().map(|reading| (number(reading, "ax") * 100.0).round()).collect();
        assert_eq!(values, [981.0, 982.0, 984.0, 987.0, 986.0, 984.0, 981.0, 981.0]);
    }
    assert!(all.iter().all(|reading| reading.layout == "flight: fast"));
    // Only the packet's own instant has its clock.
    assert_eq!(all.iter().filter(|reading| reading.values.iter().any(|(name, ..)| name == "t")).count(), 2);
}

#[test]
fn a_clock_that_wraps_within_a_packet_of_samples() {
    let layout = "[[layout]]\nname = \"p\"\nkind = \"binary\"\n\
        [[layout.field]]\nname = \"t\"\ntype = \"u16\"\nunit = \"ms\"\nmeans = \"onboard time\"\n\
        [[layout.field]]\nname = \"x\"\ntype = \"u8\"\ncount = 4\nevery_s = 0.01\n";
    // The first sample is of the packet's time: 65530 ms, then 30 ms later past the wrap at 65536.
    let packets: Vec<Vec<u8>> = [0xffd2_u16, 0xfffa, 0x0022]
        .iter()
        .map(|t| cobs(&[&t.to_le_bytes()[..], &[1, 2, 3, 4]].concat()))
        .collect();
    let pieces: Vec<(i64, &[u8])> =
        (0..).zip(&packets).map(|(at, packet)| (1000 + 40 * at, &packet[..])).collect();
    let all = readings(layout, &pieces);
    let times: Vec<f64> = all.iter().map(|reading| (ms(reading) + WAY_MS).round()).collect();
    assert_eq!(
        times,
        [970.0, 980.0, 990.0, 1000.0, 1010.0, 1020.0, 1030.0, 1040.0, 1050.0, 1060.0, 1070.0, 1080.0]
    );
}

#[test]
fn sentences_of_a_receiver_need_no_fields() {
    let layout = "[[layout]]\nname = \"gnss\"\nkind = \"nmea\"\n";
    let all = readings(
        layout,
        &[(0, b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n$GPGSV,1*5C\r\n")],
    );
    assert_eq!(all.len(), 1, "the second has a wrong checksum");
    assert!((number(&all[0], "latitude").to_degrees() - 48.1173).abs() < 1e-9);
    let free = HEAD.replace("latitude_deg = 49.0\nlongitude_deg = -72.0\n", "");
    let report =
        read(&format!("{free}{layout}"), "setup.toml", &mut |_| Err(String::new())).expect_err("no pad");
    assert!(report.to_string().contains("the pad's position"), "{report}");
}

#[test]
fn a_tracker_behind_a_controller_is_framed_by_kiss() {
    let layout = "[[layout]]\nname = \"aprs\"\nkind = \"aprs\"\nfrom = \"N7LEM\"\n";
    let frame = |source: u8| {
        let mut frame = vec![0xc0, 0x00, 0x9c, 0x94, 0x6e, 0xa0, 0x40, 0x40, 0xe0];
        frame.extend([source, 0x6e, 0x98, 0x8a, 0x9a, 0x40, 0x61, 0x03, 0xf0]);
        frame.extend(b"!4903.50N/07201.75W>088/036/A=001234");
        frame.push(0xc0);
        frame
    };
    let all = readings(layout, &[(0, &frame(0x9c)), (500, &frame(0x98))]);
    assert_eq!(all.len(), 1, "the other is somebody else's");
    assert!((number(&all[0], "height") - 1234.0 * 0.3048).abs() < 1e-9);
    assert!((number(&all[0], "course").to_degrees() - 88.0).abs() < 1e-9);
}

#[test]
fn objects_and_maps_by_their_keys() {
    let fields = "[[layout.field]]\nname = \"p\"\nkey = \"baro.0\"\nunit = \"hPa\"\nmeans = \"pressure\"\n\
        [[layout.field]]\nname = \"kind\"\ntype = \"text\"\nis = \"b\"\n\
        [[layout.field]]\nname = \"cells\"\ncount = 3\nunit = \"V\"\n";
    let json = format!("[[layout]]\nname = \"j\"\nkind = \"json\"\n{fields}");
    let line =
        b"noise{\"kind\":\"b\",\"baro\":[876.5,{}],\"cells\":[4.1,4]}\n{\"kind\":\"c\",\"baro\":[1]}\n";
    let all = readings(&json, &[(0, line)]);
    assert_eq!(all.len(), 1);
    assert_eq!(number(&all[0], "p").to_bits(), 87650.0_f64.to_bits());
    assert_eq!(number(&all[0], "cells[1]").to_bits(), 4.0_f64.to_bits());
    let cbor = format!("[[layout]]\nname = \"c\"\nkind = \"cbor\"\n{fields}");
    let map = b"\x1a\xa3\x64kind\x61b\x64baro\x81\xf9\x63\x0a\x65cells\x82\xf9\x44\x01";
    let all = readings(&cbor, &[(0, &[&map[..], b"\x0a\x00"].concat())]);
    assert!(all.is_empty(), "cut short");
    let item = [&b"\xa2\x64kind\x61b\x64baro\x81\xf9\x63"[..], &[0x0a]].concat();
    let coded = [&[item.len() as u8 + 1], &item[..], &[0]].concat();
    let all = readings(&cbor, &[(0, &coded)]);
    assert_eq!(number(&all[0], "p").to_bits(), 90_100.0_f64.to_bits());
}

#[test]
fn what_is_wrong_with_repeats_and_cases_is_told_with_its_place() {
    let told = |text: &str| {
        let report = taken(text).expect_err("refused");
        report
            .mistakes
            .iter()
            .map(|mistake| format!("{}: {}, found {}", mistake.key, mistake.expected, mistake.found))
            .collect::<Vec<_>>()
            .join("\n")
    };
    let binary = |more: &str| {
        told(&format!(
            "[[layout]]\nname = \"p\"\nkind = \"binary\"\n[[layout.field]]\nname = \"n\"\ntype = \"u8\"\n[[layout.field]]\nname = \"x\"\ntype = \"i16\"\n{more}"
        ))
    };
    for (more, part) in [
        ("count = \"m\"", "layout[p].field[x].count: the name of a field before this one: `n`"),
        ("count = 0", "layout[p].field[x].count: a whole number, 1 to 1024 times, found 0"),
        ("delta = \"i8\"", "layout[p].field[x].count: how often the field stands"),
        ("count = 3\ndelta = \"i32\"", "layout[p].field[x].delta: integers"),
        (
            "count = 3\nmeans = \"axial specific force\"\nunit = \"mg\"",
            "layout[p].field[x].every_s: the time from one value",
        ),
        (
            "count = 3\nevery_s = 0.1\nmeans = \"sequence\"",
            "layout[p].field[x].count: a field that stands once",
        ),
        ("count = 3\nmost = 9", "layout[p].field[x].most: this key only where `count` names a field"),
        ("is = \"a\"", "layout[p].field[x].is: a number, as the field is one"),
        ("key = \"a\"", "layout[p].field[x].key: this key only in \"json\" and \"cbor\" layouts"),
        ("[[layout.case]]\nname = \"a\"\nis = 1", "layout[p].case_of: the name of the field that chooses"),
    ] {
        let found = binary(more);
        assert!(found.contains(part) && found.lines().count() == 1, "{more}: {found}");
    }
    let cases = |of: &str, more: &str| {
        told(&format!(
            "[[layout]]
name = \"p\"
kind = \"binary\"
case_of = \"{of}\"
\
             [[layout.field]]
name = \"n\"
type = \"u8\"
{more}"
        ))
    };
    let found = cases(
        "k",
        "[[layout.case]]\nname = \"a\"\nis = 1\n[[layout.case.field]]\nname = \"n\"\ntype = \"u8\"\n",
    );
    assert!(found.contains("layout[p].case_of: the name of a field of the layout: `n`"), "{found}");
    assert!(found.contains("layout[p].case[a].field[n].name: a name that no other field"), "{found}");
    let found = told("[[layout]]\nname = \"p\"\nkind = \"nmea\"\n[[layout.field]]\nname = \"n\"\n");
    assert!(found.contains("layout[p].field: this key not here: this kind brings its own fields"), "{found}");
    let found = told("[[layout]]\nname = \"p\"\nkind = \"aprs\"\nenvelope = \"none\"\nstarts_with = \"x\"\n");
    assert_eq!(found.lines().count(), 2, "{found}");
}

#[test]
fn a_receiver_adds_its_signal_by_its_own_part() {
    let text = HEAD.replace("[[link]]\nname = \"l\"\nkind = \"stdin\"\n", "")
        + "[[link]]\nname = \"mast\"\nkind = \"stdin\"\nadded_at = \"front\"\n[[link.added]]\nname = \"signal\"\ntype = \"i8\"\nunit = \"dBm\"\nmeans = \"rssi\"\n\
        [[link]]\nname = \"truck\"\nkind = \"udp\"\nlisten = \"127.0.0.1:9000\"\n[[link.added]]\nname = \"noise\"\ntype = \"i8\"\nscale = 0.25\nunit = \"dB\"\nmeans = \"snr\"\n\
        [[link]]\nname = \"bare\"\nkind = \"udp\"\nlisten = \"127.0.0.1:9001\"\n\
        [[layout]]\nname = \"p\"\nkind = \"binary\"\nlength = 3\n[[layout.field]]\nname = \"seq\"\ntype = \"u8\"\nmeans = \"sequence\"\n\
        [[layout.field]]\nname = \"v\"\ntype = \"u16\"\n";
    let setup =
        read(&text, "setup.toml", &mut |_| Err(String::new())).unwrap_or_else(|report| panic!("{report}"));
    let mut engine = Engine::new(setup, START_NS);
    let mut out = Vec::new();
    let pieces =
        [("mast", cobs(&[0xa0, 7, 1, 2])), ("truck", cobs(&[7, 1, 2, 40])), ("bare", cobs(&[7, 1, 2]))];
    for (number, (link, bytes)) in (1..).zip(pieces) {
        let t_ns = START_NS + number as i64 * 1_000_000;
        let what = What::Bytes { link: link.to_owned(), bytes };
        engine.step(&Input { number, t_ns, utc_ns: t_ns, what }, &mut out);
    }
    let all: Vec<Reading> = out
        .into_iter()
        .filter_map(|said| if let Said::Reading(reading) = said.what { Some(reading) } else { None })
        .collect();
    let layouts: Vec<&str> = all.iter().map(|reading| reading.layout.as_str()).collect();
    assert_eq!(layouts, ["p (mast)", "p (truck)", "p"]);
    assert_eq!(all.iter().map(|reading| reading.again).collect::<Vec<_>>(), [false, true, true]);
    assert_eq!((number(&all[0], "signal"), number(&all[1], "noise")), (-96.0, 10.0));
    assert!(all.iter().all(|reading| (number(reading, "v") - 513.0).abs() < 1e-9));

    let wrong = text
        .replace("means = \"rssi\"", "means = \"altitude\"")
        .replace("means = \"snr\"", "means = \"battery voltage\"")
        .replace("\"dB\"", "\"V\"");
    let report = read(&wrong, "setup.toml", &mut |_| Err(String::new())).expect_err("refused");
    assert!(report.to_string().contains("`rssi`, `snr` or a `skip`, once"), "{report}");
}
