//! Both ends in one process, with real stores and a way between them that breaks again and again.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use loftwatch_engine::setup::{Link, Source};
use loftwatch_engine::{Input, RelayNews, What};
use sqlx::{SqliteConnection, SqlitePool};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

use super::*;
use crate::clock::Clock;
use crate::links::{Desk, Links, Pause};
use crate::ring::Ring;
use crate::shared::{LinkStatus, Status};
use crate::store::{inputs, recorder, sync};

const KEY: &[u8] = b"a key for tests that is long enough";
/// How far the far end's clock is ahead, ns.
const AHEAD_NS: i64 = 3_600_000_000_000;

/// Random enough, and the same every time (constants of Knuth's MMIX generator).
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

/// A far end's store.
struct Far {
    store: SqliteConnection,
    readers: SqlitePool,
    kept_in: watch::Sender<u64>,
    inputs: Vec<Input>,
    board: Board,
    folder: tempfile::TempDir,
}

impl Far {
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("inputs.db");
        let store = inputs::open(&file).await.unwrap();
        let (kept_in, _) = watch::channel(0);
        let board = Board::new(Vec::new());
        Self { store, readers: inputs::readers(&file), kept_in, inputs: Vec::new(), board, folder }
    }

    /// Writes some inputs: bytes of two links, and now and then something else.
    async fn write(&mut self, count: u64, dice: &mut Dice) {
        let first = self.inputs.len() as u64 + 1;
        let now_ns = crate::clock::utc_now_ns() + AHEAD_NS;
        let some: Vec<Input> = (first..first + count)
            .map(|number| {
                let link = if dice.below(4) == 0 { "other" } else { "far radio" }.to_owned();
                let what = match dice.below(20) {
                    0 => What::Started,
                    1 => What::LinkState { link, up: false, reason: "unplugged".into() },
                    2 => What::Lost { link, bytes: 9, reason: "full".into() },
                    _ => What::Bytes { link, bytes: vec![number as u8; dice.below(1500) as usize + 1] },
                };
                Input { number, t_ns: now_ns + number as i64, utc_ns: now_ns, what }
            })
            .collect();
        inputs::write(&mut self.store, &some).await.unwrap();
        self.inputs.extend(some);
        self.kept_in.send_replace(first + count - 1);
    }

    fn caller(&self, to: &str, key: &[u8]) -> Caller {
        self.board.send_replace(vec![Passing::new("far radio", to)]);
        Caller {
            link: "far radio".into(),
            to: to.to_owned(),
            key: key.to_vec(),
            store: 42,
            readers: self.readers.clone(),
            kept: self.kept_in.subscribe(),
            clock: Clock::after(crate::clock::utc_now_ns() + AHEAD_NS),
            pause: Pause::from(Duration::from_millis(2)),
            board: self.board.clone(),
        }
    }

    /// Waits until passing on stands so.
    async fn until(&self, wanted: impl Fn(&Passing) -> bool) -> Passing {
        let mut board = self.board.subscribe();
        let there = board.wait_for(|board| wanted(&board[0]));
        let board = tokio::time::timeout(Duration::from_mins(1), there).await;
        let board = board.unwrap_or_else(|_| panic!("{:?}", self.board.borrow())).unwrap();
        board[0].clone()
    }

    /// Pieces of bytes of the link after an input, and their bytes.
    fn behind(&self, after: u64) -> (u64, u64) {
        let bytes = |input: &Input| match &input.what {
            What::Bytes { link, bytes } if link == "far radio" && input.number > after => {
                Some(bytes.len() as u64)
            }
            _ => None,
        };
        let all: Vec<u64> = self.inputs.iter().filter_map(bytes).collect();
        (all.len() as u64, all.iter().sum())
    }

    /// What the near end must end up with: number, time there, news.
    fn expected(&self) -> Vec<(u64, i64, RelayNews)> {
        let wanted = |what: &What| match what {
            What::Started => Some(RelayNews::Started),
            What::Bytes { link, bytes } if link == "far radio" => Some(RelayNews::Bytes(bytes.clone())),
            What::LinkState { link, up, reason } if link == "far radio" => {
                Some(RelayNews::LinkState { up: *up, reason: reason.clone() })
            }
            What::Lost { link, bytes, reason } if link == "far radio" => {
                Some(RelayNews::Lost { bytes: *bytes, reason: reason.clone() })
            }
            _ => None,
        };
        self.inputs.iter().filter_map(|i| Some((i.number, i.t_ns, wanted(&i.what)?))).collect()
    }
}

/// A near end: ring, recorder and a relay link.
struct Near {
    address: String,
    links: Links,
    board: watch::Receiver<Vec<LinkStatus>>,
    readers: SqlitePool,
    ending: watch::Sender<bool>,
    done: tokio::task::JoinHandle<()>,
    folder: tempfile::TempDir,
}

impl Near {
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap().to_string();
        std::fs::write(folder.path().join("key"), KEY).unwrap();
        Self::open(folder, address).await
    }

    async fn open(folder: tempfile::TempDir, address: String) -> Self {
        let file = folder.path().join("inputs.db");
        let store = inputs::open(&file).await.unwrap();
        let readers = inputs::readers(&file);
        let end = inputs::end(&readers).await.unwrap();
        let ring = Arc::new(Ring::new(Clock::after(end.t_ns), end.number + 1));
        let (ending, end_in) = watch::channel(false);
        let (mut taken, kept, done) = recorder::start(
            sync::to_disk,
            Arc::clone(&ring),
            store,
            file,
            end.number,
            watch::channel(Status::default()).0,
            end_in,
        );
        tokio::spawn(async move { while taken.recv().await.is_some() {} });
        let desk = Desk::new(inputs::relay_ends(&readers).await.unwrap(), kept);
        let mut links = Links::new(ring, BTreeMap::new(), desk);
        let board = links.watch();
        let key_file = folder.path().join("key").display().to_string();
        let cut = loftwatch_radio::Cut::Lines { checksum: loftwatch_radio::LineChecksum::Optional };
        links.apply(&[Link {
            name: "ridge".into(),
            receiver: "ridge".into(),
            source: Source::Relay { address: address.clone(), key_file, datagrams: false },
            framing: loftwatch_radio::Framing { cut, crc: None, max_length: 1024 },
            layouts: Vec::new(),
            delay_s: loftwatch_engine::setup::USUAL_DELAY_S,
        }]);
        Self { address, links, board, readers, ending, done, folder }
    }

    /// Waits until the link's words are as wanted.
    async fn until(&mut self, wanted: &str) -> LinkStatus {
        let there = self.board.wait_for(|board| board.iter().any(|status| status.reason.contains(wanted)));
        let board = tokio::time::timeout(Duration::from_mins(1), there).await.expect(wanted).unwrap();
        board[0].clone()
    }

    async fn relayed(&self) -> Vec<Input> {
        let all = inputs::read(&self.readers, 0, u64::MAX, 1_000_000).await.unwrap();
        all.into_iter().filter(|input| matches!(input.what, What::Relayed { .. })).collect()
    }

    /// Waits until so many inputs are relayed.
    async fn until_relayed(&self, count: usize) -> Vec<Input> {
        let begun = std::time::Instant::now();
        loop {
            let relayed = self.relayed().await;
            if relayed.len() >= count {
                return relayed;
            }
            assert!(begun.elapsed().as_secs() < 60, "{} of {count} after a minute", relayed.len());
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }

    /// Ends it and begins it again on the same store.
    async fn again(self) -> Self {
        let Self { address, links, ending, done, folder, readers, .. } = self;
        drop(links);
        ending.send_replace(true);
        done.await.unwrap();
        readers.close().await;
        // The listener goes with its task, which is aborted but perhaps not yet gone.
        tokio::time::sleep(Duration::from_millis(20)).await;
        Self::open(folder, address).await
    }
}

/// A way to `to` each of whose connections breaks after some bytes.
async fn breaking_way(to: String, mut dice: Dice) -> (String, tokio::task::JoinHandle<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let task = tokio::spawn(async move {
        loop {
            let (mut far, _) = listener.accept().await.unwrap();
            let Ok(mut near) = TcpStream::connect(&to).await else { continue };
            let mut left = 200 + dice.below(12_000) as usize;
            let (mut a, mut b) = (vec![0; 1400], vec![0; 1400]);
            // Whatever it is in the middle of is cut off there.
            while left > 0 {
                tokio::select! {
                    n = far.read(&mut a) => {
                        let n = n.unwrap_or(0).min(left);
                        if n == 0 || near.write_all(&a[..n]).await.is_err() { break }
                        left -= n;
                    }
                    n = near.read(&mut b) => {
                        let n = n.unwrap_or(0).min(left);
                        if n == 0 || far.write_all(&b[..n]).await.is_err() { break }
                        left -= n;
                    }
                }
            }
        }
    });
    (address, task)
}

fn as_passed(inputs: &[Input]) -> Vec<(u64, i64, RelayNews)> {
    let one = |input: &Input| match &input.what {
        What::Relayed { link, stamp, news } => {
            assert_eq!((link.as_str(), stamp.store), ("ridge", 42));
            Some((stamp.number, stamp.far_ns, news.clone()))
        }
        _ => None,
    };
    inputs.iter().filter_map(one).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn over_a_way_that_breaks_again_and_again_each_input_comes_once_and_in_order() {
    for seed in 1..=3 {
        let mut dice = Dice(seed);
        let (mut far, mut near) = (Far::new().await, Near::new().await);
        let (way, breaking) = breaking_way(near.address.clone(), Dice(seed + 100)).await;
        let calling = tokio::spawn(far.caller(&way, KEY).run());
        for round in 0..8 {
            far.write(40, &mut dice).await;
            if round == 4 {
                near = near.again().await;
            }
            tokio::time::sleep(Duration::from_millis(dice.below(40))).await;
        }
        let expected = far.expected();
        near.until_relayed(expected.len()).await;
        // What would come twice has time to.
        tokio::time::sleep(Duration::from_millis(100)).await;
        let relayed = near.relayed().await;
        assert_eq!(as_passed(&relayed), expected, "seed {seed}");
        let heard: Vec<i64> = relayed
            .iter()
            .map(|input| match &input.what {
                What::Relayed { stamp, .. } => {
                    assert!(stamp.heard_ns <= input.t_ns, "heard after it came in here");
                    stamp.heard_ns
                }
                _ => unreachable!("only relayed ones"),
            })
            .collect();
        assert!(heard.is_sorted(), "the order of hearing is that of the numbers");
        // The clock difference is an hour, told to far better than a minute.
        let stamp_of_last = expected.last().unwrap().1;
        assert!((stamp_of_last - heard.last().unwrap() - AHEAD_NS).abs() < 60_000_000_000);
        calling.abort();
        breaking.abort();
        drop(far.folder);
    }
}

#[tokio::test]
async fn another_key_is_refused_and_disturbs_nobody() {
    let (mut far, mut near) = (Far::new().await, Near::new().await);
    let stranger = tokio::spawn(far.caller(&near.address, b"another key that is long enough too").run());
    let status = near.until("MAC does not fit").await;
    assert!(!status.up && status.reason.contains("keys of both ends differ"), "{status:?}");
    let told = far.until(|passing| passing.words.contains("keys of both ends differ")).await;
    assert!(!told.up && told.there.is_none(), "{told:?}");
    let calling = tokio::spawn(far.caller(&near.address, KEY).run());
    let status = near.until("passes on").await;
    assert!(status.up && status.reason.contains("s ahead, at most"), "{status:?}");
    far.write(50, &mut Dice(9)).await;
    let expected = far.expected();
    assert_eq!(as_passed(&near.until_relayed(expected.len()).await), expected);
    stranger.abort();
    calling.abort();
}

#[tokio::test]
async fn the_far_end_says_how_it_stands_and_how_much_is_not_passed_on() {
    let (mut far, near) = (Far::new().await, Near::new().await);
    far.write(60, &mut Dice(5)).await;
    let calling = tokio::spawn(far.caller(&near.address, KEY).run());
    let counting = tokio::spawn(count(far.board.clone(), far.readers.clone(), far.kept_in.subscribe()));
    let told =
        far.until(|passing| passing.behind == Some((0, 0)) && passing.words.contains("its clock is")).await;
    assert!(told.up && told.words.contains("s behind, at most"), "{told:?}");
    let Near { links, .. } = near;
    drop(links);
    far.until(|passing| !passing.up).await;
    let newest = far.inputs.len() as u64;
    far.write(70, &mut Dice(6)).await;
    let behind = far.behind(newest);
    assert!(behind.0 > 20);
    let told = far.until(|passing| passing.behind == Some(behind)).await;
    assert!(told.words.contains("all of it is kept"), "{told:?}");
    calling.abort();
    counting.abort();
}

/// Everything that was once said on a connection is said again on another one.
#[tokio::test]
async fn what_was_recorded_from_a_connection_is_refused_on_another() {
    let (mut far, near) = (Far::new().await, Near::new().await);
    far.write(20, &mut Dice(3)).await;
    // A way that keeps what the far end says.
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let calling = tokio::spawn(far.caller(&listener.local_addr().unwrap().to_string(), KEY).run());
    let (mut caller, _) = listener.accept().await.unwrap();
    let mut real = TcpStream::connect(&near.address).await.unwrap();
    let mut recorded = Vec::new();
    let (mut a, mut b) = (vec![0; 4096], vec![0; 4096]);
    let expected = far.expected();
    while near.relayed().await.len() < expected.len() {
        tokio::select! {
            n = caller.read(&mut a) => {
                let n = n.unwrap();
                recorded.extend_from_slice(&a[..n]);
                real.write_all(&a[..n]).await.unwrap();
            }
            n = real.read(&mut b) => {
                let n = n.unwrap();
                caller.write_all(&b[..n]).await.unwrap();
            }
            () = tokio::time::sleep(Duration::from_millis(50)) => {}
        }
    }
    calling.abort();
    let mut replay = TcpStream::connect(&near.address).await.unwrap();
    // It may be hung up on while this is written.
    let _ = replay.write_all(&recorded).await;
    let mut rest = Vec::new();
    let _ = replay.read_to_end(&mut rest).await;
    assert_eq!(rest.len(), 8 + 32, "nothing but the greeting is ever said to one who has not the key");
    assert_eq!(as_passed(&near.relayed().await), expected);
}

/// How fast a far end passes on what it kept while the way was broken: pieces of 60 bytes, sealed, opened and committed.
/// Run by `cargo measure`; by hand: `cargo test --release -p loftwatch-station passing_on -- --ignored --nocapture`.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "a measurement: cargo measure runs it"]
async fn passing_on() {
    const PIECES: u64 = 200_000;
    let (mut far, near) = (Far::new().await, Near::new().await);
    let now_ns = crate::clock::utc_now_ns() + AHEAD_NS;
    for first in (1..=PIECES).step_by(2_000) {
        let what = || What::Bytes { link: "far radio".into(), bytes: vec![0x5a; 60] };
        let some: Vec<Input> = (first..first + 2_000)
            .map(|number| Input { number, t_ns: now_ns + number as i64, utc_ns: now_ns, what: what() })
            .collect();
        inputs::write(&mut far.store, &some).await.unwrap();
    }
    far.kept_in.send_replace(PIECES);
    let begun = std::time::Instant::now();
    let calling = tokio::spawn(far.caller(&near.address, KEY).run());
    let taken = || async {
        let newest: Option<i64> = sqlx::query_scalar("SELECT max(far_number) FROM input WHERE far_number IS NOT NULL AND link = 'ridge' AND far_store = 42")
            .fetch_one(&near.readers)
            .await
            .unwrap();
        newest.unwrap_or(0) as u64
    };
    while taken().await < PIECES {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let seconds = begun.elapsed().as_secs_f64();
    calling.abort();
    println!(
        "relay, pieces of 60 B over loopback, both ends on this machine: {:.0} pieces/s, {:.1} MB/s of payload",
        PIECES as f64 / seconds,
        PIECES as f64 * 60.0 / seconds / 1e6
    );
}
