//! What is stored is what the inputs lead to, to the bit: live with every wake-up delayed at random, ended and killed at random
//! cuts and gone on from a snapshot, and computed again.

use std::path::Path;
use std::sync::Arc;

use loftwatch_engine::{Input, Setup, What};
use sqlx::{Row, SqliteConnection};

use super::*;
use crate::store::kept::Kept;
use crate::store::{Folder, outputs};

/// Numbers that are the same every time (after Park and Miller, 1988).
struct Noise(u64);

impl Noise {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0 * 48_271 % 0x7fff_ffff;
        self.0 % n
    }
}

/// A recorded flight of the demo as a station would have taken it in: its setup, then its bytes, and what crew pressed.
pub(crate) fn recorded(name: &str) -> (Setup, Vec<Input>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data").join(name);
    let setup = crate::setup::read(&folder.join("setup.toml")).unwrap();
    let text = std::fs::read_to_string(folder.join("flight.jsonl")).unwrap();
    let mut reader = loftwatch_engine::Recording::new(&setup);
    let pieces: Vec<Input> = text.lines().filter_map(|line| reader.line(line).unwrap()).collect();
    let mut all =
        vec![(pieces[0].t_ns, What::SetupChange(Box::new(setup.clone()))), (pieces[0].t_ns, What::Started)];
    let middle = pieces.len() / 2;
    for (n, piece) in pieces.into_iter().enumerate() {
        let t_ns = piece.t_ns;
        all.push((t_ns, piece.what));
        if n == middle {
            all.push((t_ns, What::NameFlight { name: "by the book".into(), who: "Mo".into() }));
            all.push((t_ns, What::Mark { label: "seen".into(), at_ns: t_ns, who: "Mo".into() }));
        }
    }
    let number = |(n, (t_ns, what))| Input { number: n as u64 + 1, t_ns, utc_ns: t_ns, what };
    (setup, all.into_iter().enumerate().map(number).collect())
}

/// Every stored output, as it stands.
async fn rows(connection: &mut SqliteConnection) -> Vec<(i64, String)> {
    let rows = sqlx::query(
        "SELECT seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output ORDER BY seq",
    )
    .fetch_all(connection)
    .await
    .unwrap();
    let row = |row: &sqlx::sqlite::SqliteRow| {
        let number = |name: &str| row.get::<i64, _>(name);
        let (input, t, receive, offset, flight) = (
            number("input"),
            number("t_ns"),
            number("t_receive_ns"),
            number("utc_offset_ns"),
            number("flight"),
        );
        (number("seq"), text(input, t, receive, offset, flight, row.get("data")))
    };
    rows.iter().map(row).collect()
}

fn text(input: i64, t_ns: i64, t_receive_ns: i64, utc_offset_ns: i64, flight: i64, data: &str) -> String {
    format!("{input} {t_ns} {t_receive_ns} {utc_offset_ns} {flight} {data}")
}

/// What a rerun of all inputs comes to, in the same form.
fn rerun(setup: &Setup, all: &[Input], until_ns: i64) -> Vec<(i64, String)> {
    let mut engine = Engine::new(setup.clone(), all[0].t_ns);
    let mut out = Vec::new();
    for input in all {
        engine.step(input, &mut out);
    }
    engine.advance(until_ns, &mut out);
    let mut kept = Kept::default();
    let mut rows = Vec::new();
    for (seq, output) in (1..).zip(&out) {
        if kept.keep(output) {
            let data = serde_json::to_string(&output.what).unwrap();
            let Output { input, t_ns, t_receive_ns, utc_offset_ns, flight, .. } = *output;
            rows.push((seq, text(input as i64, t_ns, t_receive_ns, utc_offset_ns, i64::from(flight), &data)));
        }
    }
    rows
}

/// A station's engine from one start to the next: takes groups of inputs of any size, with watermarks as late as they may
/// be, then ends properly or is killed.
async fn one_run(folder: &Folder, all: &[Input], from: u64, to: u64, killed: bool, noise: &mut Noise) -> u64 {
    let mut kept = derived::open(folder).await.unwrap();
    let snapshot = derived::newest_snapshot(&mut kept, from).await.unwrap();
    let (after, next_seq) = snapshot.as_ref().map_or((0, 1), |found| (found.input, found.next_seq));
    derived::cut(&mut kept, after, next_seq).await.unwrap();
    let before = outputs::before(&mut kept).await.unwrap();
    let status = watch::Sender::new(Status::default());
    let (keeper, keeping) = outputs::start(kept, folder.derived(), &before, status.clone());
    let store = inputs::readers(&folder.inputs());
    let around = Around { shared: None, keeper, store: store.clone(), inputs_file: folder.inputs(), status };
    let mut runner = Runner::new(snapshot, &all[0], around).unwrap();
    runner.catch_up(from).await;
    let mut done = from as usize;
    while done < to as usize {
        let group = (1 + noise.below(40) as usize).min(to as usize - done);
        let inputs: Arc<[Input]> = all[done..done + group].into();
        done += group;
        let last_ns = all[done - 1].t_ns;
        // Later inputs come after it: it may say so at once, late, or only with them.
        let next_ns = all.get(done).map_or(last_ns + 1, |next| next.t_ns);
        let room = (next_ns - last_ns).max(1) as u64;
        let watermark_ns = if noise.below(3) == 0 { last_ns - 1 } else { last_ns + noise.below(room) as i64 };
        // Some are not handed over: they are found in the store by the gap.
        let inputs = if noise.below(12) == 0 { Arc::from([]) } else { inputs };
        runner
            .take(&Taken { inputs, watermark_ns: watermark_ns.min(next_ns - 1), newest: done as u64 })
            .await;
    }
    if !killed {
        runner.freeze(all[done - 1].t_ns);
    }
    drop(runner);
    keeping.await.unwrap();
    store.close().await;
    done as u64
}

async fn live(seed: u64, cuts: usize) {
    let (setup, all) = recorded("straight");
    let place = tempfile::tempdir().unwrap();
    let folder = Folder::take(place.path()).unwrap();
    let mut store = inputs::open(&folder.inputs()).await.unwrap();
    inputs::write(&mut store, &all).await.unwrap();
    let mut noise = Noise(seed);
    let mut ends: Vec<u64> = (0..cuts).map(|_| 1 + noise.below(all.len() as u64 - 1)).collect();
    ends.sort_unstable();
    ends.push(all.len() as u64);
    let mut done = 0;
    for end in &ends {
        let killed = noise.below(2) == 0 && *end != all.len() as u64;
        done = one_run(&folder, &all, done, *end, killed, &mut noise).await;
    }
    let mut kept = derived::connect(&folder.derived()).await.unwrap();
    let stored = rows(&mut kept).await;
    let again = rerun(&setup, &all, i64::MIN);
    assert!(stored.len() > 2_000, "{}", stored.len());
    // Deadlines after the last input may or may not have come: that is no difference.
    let shorter = stored.len().min(again.len());
    assert!(
        stored.len() - shorter < 40 && again.len() - shorter < 40,
        "{} and {}",
        stored.len(),
        again.len()
    );
    for (found, expected) in stored.iter().zip(&again) {
        assert_eq!(found, expected, "seed {seed}, cuts {ends:?}");
    }
}

/// An engine is large: an unoptimised test moves it over a stack of its own.
pub(crate) fn on_a_large_stack<F: Future<Output = ()>>(work: impl FnOnce() -> F + Send + 'static) {
    let run = move || {
        tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(work());
    };
    std::thread::Builder::new().stack_size(crate::threads::ENGINE_STACK).spawn(run).unwrap().join().unwrap();
}

#[test]
fn stored_outputs_rerun_and_snapshot_with_tail_are_the_same_to_the_bit() {
    for (seed, cuts) in [(7, 0), (20_261, 3), (99_991, 6)] {
        on_a_large_stack(move || live(seed, cuts));
    }
}
