//! Flight files written, read, damaged and made up.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::io::Cursor;

use loftwatch_engine::{Footage, Input, RelayNews, RelayStamp, Setup, What};
use loftwatch_parcel::{Head, MAGIC, MOST_SECTION_BYTES, Part, Reader, Told, Writer, Wrong};
use proptest::prelude::*;
use sha2::{Digest as _, Sha256};

const START_NS: i64 = 1_795_600_000_000_000_000;

fn setup() -> Setup {
    let text = include_str!("../../../demo-data/tall-order/setup.toml");
    loftwatch_setup::read(text, "setup.toml", &mut |_: &str| Err("none".to_owned())).unwrap()
}

fn head(inputs: u64) -> Head {
    Head {
        program: "0.1.0".into(),
        engine: 4,
        number: 3,
        label: "second try".into(),
        vehicle: "Tall Order".into(),
        site: "North pad".into(),
        opened_ns: START_NS,
        inputs,
        until_ns: START_NS + 1_000_000_000_000,
        outputs: 17,
        digest: "00ff00ff00ff00ff".into(),
    }
}

fn told() -> Told {
    let moments = vec![(12.5, START_NS), (42.25, START_NS + 30_000_000_000)];
    let footage =
        vec![Footage { camera: "tripod".into(), file: "a.mp4".into(), rate: [30000, 1001], moments }];
    Told { notes: "gusty\nlate drogue".into(), footage }
}

fn inputs() -> Vec<Input> {
    let stamp = RelayStamp { store: START_NS - 9, number: 4, far_ns: START_NS + 5, heard_ns: START_NS + 7 };
    let link = || "mast".to_owned();
    let whats = [
        What::Started,
        What::Bytes { link: link(), bytes: (0..=255).collect() },
        What::LinkState { link: link(), up: true, reason: "it is \"there\"".into() },
        What::Relayed { link: link(), stamp, news: RelayNews::Bytes(vec![0, 1, 2]) },
        What::Relayed { link: link(), stamp, news: RelayNews::Started },
        What::Mark { label: "chute".into(), at_ns: START_NS, who: "Mo".into() },
        What::SetupChange(Box::new(setup())),
        What::Bytes { link: String::new(), bytes: Vec::new() },
    ];
    let input = |(n, what)| Input {
        number: 10 + n as u64 * 3,
        t_ns: START_NS + n as i64 * 1_000_000,
        utc_ns: START_NS,
        what,
    };
    whats.into_iter().enumerate().map(input).collect()
}

fn file() -> Vec<u8> {
    let inputs = inputs();
    let mut writer = Writer::begin(Vec::new(), &head(inputs.len() as u64), &setup()).unwrap();
    for input in &inputs {
        writer.input(input).unwrap();
    }
    writer.end(&told()).unwrap()
}

fn read(file: &[u8]) -> Result<(Head, Setup, Vec<Input>, Told), Wrong> {
    let mut reader = Reader::open(Cursor::new(file))?;
    let mut inputs = Vec::new();
    loop {
        match reader.next_part()? {
            Some(Part::Inputs(some)) => inputs.extend(some),
            Some(Part::Told(told)) => {
                return Ok((reader.head().clone(), reader.setup().clone(), inputs, told));
            }
            None => unreachable!(),
        }
    }
}

#[test]
fn what_is_written_is_read() {
    let (head_read, setup_read, inputs_read, told_read) = read(&file()).unwrap();
    assert_eq!((head_read, setup_read), (head(8), setup()));
    assert_eq!((inputs_read, told_read), (inputs(), told()));
}

#[test]
fn every_damaged_byte_is_found() {
    let whole = file();
    let ends = (0..200).chain(whole.len() - 200..whole.len());
    for at in ends.chain((200..whole.len() - 200).step_by(11)) {
        let mut damaged = whole.clone();
        damaged[at] ^= 0x10;
        assert!(read(&damaged).is_err(), "byte {at} of {}", whole.len());
    }
}

#[test]
fn a_file_that_was_cut_off_or_goes_on_is_refused() {
    let whole = file();
    for length in (0..whole.len()).step_by(7) {
        let wrong = read(&whole[..length]).unwrap_err();
        assert!(matches!(wrong, Wrong::Cut(_)), "{length}: {wrong}");
    }
    let mut more = whole;
    more.push(0);
    assert!(matches!(read(&more), Err(Wrong::More)));
}

#[test]
fn what_is_wrong_is_said() {
    assert!(matches!(read(b"SQLite format 3\0 and so on"), Err(Wrong::Foreign)));
    let text: Vec<u8> = file()
        .iter()
        .flat_map(|byte| if *byte == b'\n' { vec![b'\r', b'\n'] } else { vec![*byte] })
        .collect();
    assert!(matches!(read(&text), Err(Wrong::AsText)));
    let mut newer = file();
    newer[8] = 2;
    assert_eq!(
        read(&newer).unwrap_err().to_string(),
        "the file is of version 2, this program knows 1: a newer Loftwatch wrote it"
    );
    let mut damaged = file();
    let last = damaged.len() - 60 - 32 - 200;
    damaged[last] ^= 1;
    let words = read(&damaged).unwrap_err().to_string();
    assert!(words.contains("section 4 (TOLD)") || words.contains("section 3 (INPT)"), "{words}");
}

/// Sections with the right lengths and digests around any contents; `claim` changes the told length.
fn dressed(sections: &[(&[u8; 4], &[u8])], packing: u8, claim: Option<u64>) -> Vec<u8> {
    let mut file = MAGIC.to_vec();
    file.extend([1, 0, 0, 0, 0, 0, 0, 0]);
    for (name, contents) in sections {
        file.extend(*name);
        file.extend([packing, 0, 0, 0]);
        file.extend(claim.unwrap_or(contents.len() as u64).to_le_bytes());
        file.extend((contents.len() as u64).to_le_bytes());
        file.extend(Sha256::digest(contents));
        file.extend(*contents);
    }
    file
}

#[test]
fn nothing_is_unpacked_beyond_its_told_length_or_the_limits() {
    use std::io::Write as _;
    let mut packer = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(&vec![0; 64 << 20]).unwrap();
    let bomb = packer.finish().unwrap();
    // 64 MiB in some 64 KiB, told as 1 MiB: one byte more is unpacked, and no further.
    let told_small = dressed(&[(b"HEAD", &bomb)], 1, Some(1 << 20));
    assert!(matches!(read(&told_small), Err(Wrong::Packed { .. })));
    let told_large = dressed(&[(b"HEAD", &bomb)], 1, Some(64 << 20));
    let Err(Wrong::TooLarge { found, most, .. }) = read(&told_large) else { panic!() };
    assert_eq!((found, most), (64 << 20, MOST_SECTION_BYTES));
    // A length that lies takes no room: there is nothing behind it.
    let mut lies = dressed(&[(b"HEAD", b"{}")], 0, None);
    lies[24..40].copy_from_slice(&[(4_u64 << 20).to_le_bytes(), (4_u64 << 20).to_le_bytes()].concat());
    assert!(matches!(read(&lies), Err(Wrong::Cut(_))));
    lies[24..40].copy_from_slice(&[u64::MAX.to_le_bytes(), u64::MAX.to_le_bytes()].concat());
    assert!(matches!(read(&lies), Err(Wrong::TooLarge { .. })));
}

/// A file around inputs and a setup that its writer would not have taken.
fn with(change: impl Fn(&mut Vec<Input>, &mut Setup, &mut Head, &mut Told)) -> Result<(), String> {
    let (mut inputs, mut setup, mut head, mut told) = (inputs(), setup(), head(8), told());
    change(&mut inputs, &mut setup, &mut head, &mut told);
    let mut writer = Writer::begin(Vec::new(), &head, &setup).unwrap();
    for input in &inputs {
        writer.input(input).unwrap();
    }
    read(&writer.end(&told).unwrap()).map(|_| ()).map_err(|wrong| wrong.to_string())
}

#[test]
fn what_no_station_records_is_refused() {
    use loftwatch_engine::Remark;
    let remark = What::Remark { at_ns: START_NS, remark: Remark::Delete, who: String::new() };
    assert_eq!(with(|_, _, _, _| {}), Ok(()));
    let cases: Vec<(&str, Result<(), String>)> = vec![
        ("comes before the one in front", with(|i, _, _, _| i[3].number = 1)),
        ("comes before the one in front", with(|i, _, _, _| i[3].t_ns = START_NS - 1)),
        ("out of range", with(|i, _, _, _| i[7].t_ns = i64::MAX)),
        ("out of range", with(|i, _, _, _| i[0].utc_ns = -1)),
        (
            "out of range",
            with(|i, _, _, _| i[5].what = What::Mark { label: String::new(), at_ns: -5, who: String::new() }),
        ),
        ("after the end", with(|_, _, h, _| h.until_ns = START_NS + 5)),
        ("does not travel", with(|i, _, _, _| i[2].what = remark.clone())),
        (
            "more bytes were lost",
            with(|i, _, _, _| {
                i[2].what = What::Lost { link: String::new(), bytes: u64::MAX, reason: String::new() }
            }),
        ),
        ("the head says 9", with(|_, _, h, _| h.inputs = 9)),
        ("expected 1 to 8", with(|_, s, _, _| s.plan.bodies.clear())),
        ("expected 1 to 64", with(|_, s, _, _| s.plan.motors.clear())),
        ("transmitter numbers", with(|_, s, _, _| s.transmitters.clear())),
        ("body `Cam A`", with(|_, s, _, _| s.plan.bodies[1].parent = Some(3))),
        ("body `Body`", with(|_, s, _, _| s.plan.bodies[0].parent = Some(0))),
        ("body `Cam A`", with(|_, s, _, _| s.plan.bodies[1].freed_by = Some(99))),
        ("is of no body", with(|_, s, _, _| s.plan.cues[0].body = 77)),
        (
            "is of no body",
            with(|_, s, _, _| s.plan.cues[0].trigger = loftwatch_flight::Trigger::AfterCue(16, 1.0)),
        ),
        ("not above zero", with(|_, s, _, _| s.plan.vehicle.diameter_m = 0.0)),
        ("out of all proportion", with(|_, s, _, _| s.plan.vehicle.diameter_m = 1e300)),
        ("link `mast serial`", with(|_, s, _, _| s.links[0].layouts = vec![9])),
        ("layout `body packet`", with(|_, s, _, _| s.layouts[0].body = Some(9))),
        ("a text is too long", with(|_, s, _, _| s.wind_source = "x".repeat(5_000))),
        (
            "the setup of input 28",
            with(|i, _, _, _| {
                let mut wrong = setup();
                wrong.plan.bodies.clear();
                i[6].what = What::SetupChange(Box::new(wrong));
            }),
        ),
        ("what the crew told", with(|_, _, _, t| t.footage[0].moments.clear())),
        ("what the crew told", with(|_, _, _, t| t.footage[0].rate = [30, 0])),
    ];
    for (expected, got) in cases {
        let words = got.expect_err(expected);
        assert!(words.contains(expected), "{expected}: {words}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn inputs_of_any_size_come_back(pieces in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..3_000), 0..60)) {
        let all: Vec<Input> = pieces
            .into_iter()
            .enumerate()
            .map(|(n, bytes)| Input {
                number: n as u64 + 1,
                t_ns: START_NS + n as i64,
                utc_ns: START_NS,
                what: What::Bytes { link: "mast".into(), bytes },
            })
            .collect();
        let mut writer = Writer::begin(Vec::new(), &head(all.len() as u64), &setup()).unwrap();
        for input in &all {
            writer.input(input).unwrap();
        }
        let (_, _, got, _) = read(&writer.end(&Told::default()).unwrap()).unwrap();
        prop_assert_eq!(got, all);
    }
}
