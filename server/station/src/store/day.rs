//! Writes the store of a range day for tests/faults/day.py, through the same code as a station: four transmitters at 20 Hz
//! through two receivers for hours, the demo flight flown again and again between. Each packet is an input of its own, as
//! over two serial ports. By hand:
//! `LOFTWATCH_DAY=FOLDER cargo test --release -p loftwatch-station writes_a_range_day -- --ignored --nocapture`.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

use base64::Engine as _;
use loftwatch_engine::{Input, Setup, What};
use loftwatch_radio::{Frame, Splitter};
use tokio::sync::watch;

use super::{Folder, derived, inputs, outputs};
use crate::run::{Around, Runner};
use crate::shared::Status;

/// Station time at which the day begins, ns: some day in 2026, UTC.
const START_NS: i64 = 1_781_254_800_000_000_000;
/// Between two packets of a transmitter on the pad, ns.
const APART_NS: i64 = 50_000_000;
/// How long after the landing the crew ends a flight, ns.
const ENDED_AFTER_NS: i64 = 10_000_000_000;
/// Inputs in one commit.
const GROUP: usize = 2_000;

/// A packet of the demo flight, without its frame.
#[derive(Clone)]
struct Packet {
    t_ns: i64,
    link: String,
    payload: Vec<u8>,
}

impl Packet {
    // Where the demo's two layouts have these.
    fn transmitter(&self) -> u8 {
        self.payload[1]
    }
    fn sequence(&self) -> u16 {
        u16::from_le_bytes([self.payload[2], self.payload[3]])
    }
    /// The same as another one of the row, sent at another time.
    fn again(&self, sequence: u16, sent_ms: u32) -> Vec<u8> {
        let mut payload = self.payload.clone();
        payload[2..4].copy_from_slice(&sequence.to_le_bytes());
        payload[4..8].copy_from_slice(&sent_ms.to_le_bytes());
        framed(&payload)
    }
}

/// COBS with CRC-16/IBM-3740, most significant byte first, as the demo's setup has it.
fn framed(payload: &[u8]) -> Vec<u8> {
    let mut crc = 0xffff_u16;
    for byte in payload {
        crc ^= u16::from(*byte) << 8;
        for _ in 0..8 {
            crc = if crc & 0x8000 == 0 { crc << 1 } else { (crc << 1) ^ 0x1021 };
        }
    }
    let whole = [payload, &crc.to_be_bytes()].concat();
    let mut out = Vec::with_capacity(whole.len() + 2);
    // Shorter than 254 bytes: each run between zeros has its length before it.
    for run in whole.split(|byte| *byte == 0) {
        out.push(run.len() as u8 + 1);
        out.extend_from_slice(run);
    }
    out.push(0);
    out
}

fn packets(setup: &Setup, recording: &str) -> Vec<Packet> {
    let mut all = Vec::new();
    let mut splitters: BTreeMap<String, Splitter> = BTreeMap::new();
    for line in recording.lines() {
        let row: serde_json::Value = serde_json::from_str(line).unwrap();
        let link = row["link"].as_str().unwrap().to_owned();
        let bytes = base64::engine::general_purpose::STANDARD.decode(row["bytes"].as_str().unwrap()).unwrap();
        let t_ns = ((row["t_receive"].as_f64().unwrap() - 1_781_298_420.0) * 1e9) as i64;
        let framing = &setup.links.iter().find(|told| told.name == link).unwrap().framing;
        let splitter = splitters.entry(link.clone()).or_insert_with(|| Splitter::new(framing));
        splitter.push(&bytes, t_ns, &mut |frame: Frame<'_>| {
            if let Ok(payload) = frame.payload {
                all.push(Packet { t_ns, link: link.clone(), payload: payload.to_vec() });
            }
        });
    }
    all
}

/// The day as it comes in.
struct Day {
    number: u64,
    t_ns: i64,
    group: Vec<Input>,
    /// Newest sequence number of each transmitter.
    sequences: BTreeMap<u8, u16>,
    store: sqlx::SqliteConnection,
}

impl Day {
    async fn put(&mut self, t_ns: i64, what: What) {
        self.number += 1;
        self.t_ns = t_ns.max(self.t_ns + 1);
        self.group.push(Input { number: self.number, t_ns: self.t_ns, utc_ns: self.t_ns, what });
        if self.group.len() >= GROUP {
            self.commit().await;
        }
    }

    async fn commit(&mut self) {
        inputs::write(&mut self.store, &self.group).await.unwrap();
        self.group.clear();
    }

    /// Milliseconds since the electronics were switched on.
    fn sent_ms(t_ns: i64) -> u32 {
        ((t_ns - START_NS) / 1_000_000) as u32
    }

    /// On the pad until then: all four at 20 Hz, each packet through both receivers.
    async fn wait(&mut self, until_ns: i64, pad: &BTreeMap<u8, Vec<Packet>>, links: &[String]) {
        let mut t_ns = self.t_ns;
        let mut round = 0;
        while t_ns < until_ns {
            t_ns += APART_NS;
            for (place, (transmitter, row)) in pad.iter().enumerate() {
                let sequence = self.sequences.entry(*transmitter).or_default();
                *sequence = sequence.wrapping_add(1);
                let sent_ns = t_ns + place as i64 * 9_000_000;
                let bytes = row[round % row.len()].again(*sequence, Self::sent_ms(sent_ns));
                for (way, link) in links.iter().enumerate() {
                    let what = What::Bytes { link: link.clone(), bytes: bytes.clone() };
                    self.put(sent_ns + (way as i64 + 4) * 700_000, what).await;
                }
            }
            round += 1;
        }
    }

    /// The demo flight, its losses and all.
    async fn fly(&mut self, flight: &[Packet]) {
        let (begun_ns, first_ns) = (self.t_ns, flight[0].t_ns);
        let mut newest: BTreeMap<u8, u16> = BTreeMap::new();
        for packet in flight {
            let transmitter = packet.transmitter();
            let before = *newest.entry(transmitter).or_insert_with(|| packet.sequence().wrapping_sub(1));
            let step = packet.sequence().wrapping_sub(before);
            let sequence = self.sequences.entry(transmitter).or_default();
            // The second receiver's copy, or one that came late, has a number that was there.
            let number = sequence.wrapping_add(step);
            if step < 0x8000 {
                *sequence = number;
                newest.insert(transmitter, packet.sequence());
            }
            let t_ns = begun_ns + (packet.t_ns - first_ns);
            let offset_ms = packet.t_ns / 1_000_000 - onboard_ms(packet);
            let sent_ms = (i64::from(Self::sent_ms(t_ns)) - offset_ms + flight_offset_ms(flight)) as u32;
            let bytes = packet.again(number, sent_ms);
            self.put(t_ns, What::Bytes { link: packet.link.clone(), bytes }).await;
        }
        self.put(self.t_ns + ENDED_AFTER_NS, What::EndFlight { who: "crew".to_owned() }).await;
    }
}

fn onboard_ms(packet: &Packet) -> i64 {
    let ms = &packet.payload[4..8];
    i64::from(u32::from_le_bytes([ms[0], ms[1], ms[2], ms[3]]))
}

/// By how much receive time runs ahead of the electronics' own in the recording, ms.
fn flight_offset_ms(flight: &[Packet]) -> i64 {
    let vehicle = flight[0].transmitter();
    let ahead = flight.iter().filter(|packet| packet.transmitter() == vehicle);
    ahead.map(|packet| packet.t_ns / 1_000_000 - onboard_ms(packet)).min().unwrap_or(0)
}

fn told(name: &str) -> Option<f64> {
    std::env::var(name).ok().and_then(|text| text.parse().ok())
}

fn resident_kib(key: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(key)).unwrap_or_default();
    line.trim_matches([':', ' ', '\t', 'k', 'B']).parse().unwrap_or(0)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "a measurement: cargo measure runs it"]
async fn writes_a_range_day() {
    let folder = std::env::var("LOFTWATCH_DAY").expect("the folder in LOFTWATCH_DAY");
    let hours = told("LOFTWATCH_DAY_HOURS").unwrap_or(8.0);
    let flights = told("LOFTWATCH_DAY_FLIGHTS").unwrap_or(100.0) as i64;
    let wait_hours = told("LOFTWATCH_DAY_WAIT").unwrap_or(hours / 4.0);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data/tall-order");
    let setup = crate::setup::read(&demo.join("setup.toml")).unwrap();
    let recorded = packets(&setup, &std::fs::read_to_string(demo.join("flight.jsonl")).unwrap());
    let liftoff_ns = 25_610_000_000;
    let links: Vec<String> = setup.links.iter().map(|link| link.name.clone()).collect();
    let mut pad: BTreeMap<u8, Vec<Packet>> = BTreeMap::new();
    for packet in
        recorded.iter().filter(|packet| packet.link == links[0] && packet.t_ns < liftoff_ns - 2_000_000_000)
    {
        pad.entry(packet.transmitter()).or_default().push(packet.clone());
    }
    assert_eq!(pad.len(), 4);
    let in_flight =
        |packet: &&Packet| (liftoff_ns - 1_000_000_000..liftoff_ns + 60_000_000_000).contains(&packet.t_ns);
    let flight: Vec<Packet> = recorded.iter().filter(in_flight).cloned().collect();

    let folder = Folder::take(Path::new(&folder)).unwrap();
    let store = inputs::open(&folder.inputs()).await.unwrap();
    let begun = Instant::now();
    let mut day = Day { number: 0, t_ns: START_NS, group: Vec::new(), sequences: BTreeMap::new(), store };
    day.put(START_NS, What::SetupChange(Box::new(setup))).await;
    day.put(START_NS, What::Started).await;
    let end_ns = START_NS + (hours * 3.6e12) as i64;
    let flying_ns = (end_ns - START_NS - (wait_hours * 3.6e12) as i64) / flights.max(1);
    for nth in 0..flights {
        let next_ns = START_NS + flying_ns * (nth + 1) - 75_000_000_000;
        day.wait(next_ns, &pad, &links).await;
        day.fly(&flight).await;
    }
    day.wait(end_ns, &pad, &links).await;
    day.commit().await;
    let (number, end_ns) = (day.number, day.t_ns);
    println!("{number} inputs written in {:.1} s", begun.elapsed().as_secs_f64());
    drop(day);

    let begun = Instant::now();
    let (pool, file) = inputs::readers_of_stored(folder.path()).await.unwrap();
    let (first, _) = inputs::first_setup(&pool).await.unwrap().unwrap();
    let kept = derived::open(&folder).await.unwrap();
    let status = watch::Sender::new(Status::default());
    let (keeper, keeping) = outputs::start(kept, folder.derived(), &[], status.clone());
    let around = Around { shared: None, keeper, store: pool.clone(), inputs_file: file, status };
    let mut runner = Runner::new(None, &first, around).unwrap();
    // By tenths, to see whether memory grows. The last snapshot is as old as at a kill: none is made at the end.
    for tenth in 1..=10 {
        runner.catch_up(number * tenth / 10).await;
        println!("{tenth}/10: {} MiB resident", resident_kib("VmRSS") / 1024);
    }
    drop(runner);
    keeping.await.unwrap();
    pool.close().await;
    println!(
        "computed in {:.1} s, {:.0} times as fast as it came, at most {} MiB",
        begun.elapsed().as_secs_f64(),
        (end_ns - START_NS) as f64 / 1e9 / begun.elapsed().as_secs_f64(),
        resident_kib("VmHWM") / 1024
    );
}
