//! Ended flights with hindsight: the engine goes over a flight's inputs again, from a snapshot before its liftoff, and
//! lets the smoother tell the path. What was told live stays as it was told; this stands beside it, in the tables `smoothed`
//! and `hindsight` of the derived store, which this task alone writes.
//!
//! A flight that ended within the last day is done by itself while nothing is in the air; any other when it is asked for.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use loftwatch_engine::{Engine, ON_THE_PAD_S, Output, Said};
use loftwatch_flight::Estimate;
use sqlx::{Connection, Row, SqliteConnection, SqlitePool};
use tokio::sync::{mpsc, watch};

use crate::clock::Clock;
use crate::store::{StoreError, derived, inputs};

/// How often it is looked whether a flight has ended.
const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Older flights wait until they are asked for, ns.
const BY_ITSELF_NS: i64 = 86_400_000_000_000;
/// Inputs read in one go.
const READ_AT_ONCE: u32 = 500;
/// Station time that passes after the last input, ns: longer than the stillness that ends a flight, so that what
/// hindsight makes of it still comes out.
pub(crate) const AFTER_NS: i64 = 90_000_000_000;
/// Flights that can be asked for at a time; whoever asks asks again.
const MOST_ASKED: usize = 16;

/// The way to ask.
#[derive(Clone, Debug)]
pub(crate) struct Hindsight {
    asked: mpsc::Sender<u32>,
}

impl Hindsight {
    /// Asks for a flight's path; it is in the store a few seconds later. Asking again does no harm.
    pub(crate) fn ask(&self, flight: u32) {
        // A full queue is worked off, and who waits asks again.
        let _ = self.asked.try_send(flight);
    }

    /// A way to ask that nobody answers.
    #[cfg(test)]
    pub(crate) fn unanswered() -> Self {
        Self { asked: mpsc::channel(1).0 }
    }
}

/// What the task needs.
#[derive(Debug)]
pub(crate) struct Around {
    /// The derived file, which it writes to by a connection of its own.
    pub(crate) kept_file: PathBuf,
    /// Read-only connections to it.
    pub(crate) readers: SqlitePool,
    /// The inputs, for reading.
    pub(crate) store: SqlitePool,
    /// Station time.
    pub(crate) clock: Clock,
    /// Turns true when the station ends.
    pub(crate) ending: watch::Receiver<bool>,
}

/// The way to ask, and the task, which ends with the station. It computes for seconds: give it a thread of its own.
pub(crate) fn prepare(around: Around) -> (Hindsight, impl Future<Output = ()> + Send + 'static) {
    let (asked, asks) = mpsc::channel(MOST_ASKED);
    (Hindsight { asked }, run(around, asks))
}

/// For a command: computes a flight's path and keeps it, if the folder can be written. What goes wrong is told and no more:
/// files are then made without it.
pub(crate) async fn compute(folder: &std::path::Path, readers: &SqlitePool, store: &SqlitePool, flight: u32) {
    let around = Around {
        kept_file: crate::store::folder::derived(folder),
        readers: readers.clone(),
        store: store.clone(),
        clock: Clock::after(0),
        ending: watch::channel(false).1,
    };
    if let Err(error) = tell(&around, flight, false).await {
        tracing::warn!(
            "flight {flight} could not be gone over with hindsight: {error}; its files are made without"
        );
    }
}

async fn run(mut around: Around, mut asks: mpsc::Receiver<u32>) {
    let mut failed = std::collections::BTreeSet::new();
    loop {
        let asked = tokio::select! {
            asked = asks.recv() => match asked { Some(flight) => Some(flight), None => break },
            () = tokio::time::sleep(LOOK_EVERY) => None,
            _ = around.ending.wait_for(|ending| *ending) => break,
        };
        let flight = match asked {
            Some(flight) => Ok(Some(flight)),
            None => ended(&around.readers, around.clock.now_ns() - BY_ITSELF_NS).await,
        };
        let flight = match flight {
            Ok(Some(flight)) if asked.is_some() || !failed.contains(&flight) => flight,
            Ok(_) => continue,
            Err(error) => {
                tracing::debug!("flights cannot be looked at: {error}");
                continue;
            }
        };
        match tell(&around, flight, asked.is_none()).await {
            Ok(()) => {}
            Err(error) => {
                failed.insert(flight);
                tracing::warn!(
                    "flight {flight} could not be gone over with hindsight: {error}; what was told live is kept"
                );
            }
        }
    }
}

/// An ended flight of late that has not been done, unless another one is in the air.
async fn ended(readers: &SqlitePool, after_ns: i64) -> Result<Option<u32>, sqlx::Error> {
    if is_one_in_the_air(readers).await? {
        return Ok(None);
    }
    sqlx::query_scalar(
        "SELECT number FROM flight WHERE liftoff_ns IS NOT NULL AND ended_ns > ? \
         AND number NOT IN (SELECT flight FROM hindsight) ORDER BY number DESC LIMIT 1",
    )
    .bind(after_ns)
    .fetch_optional(readers)
    .await
}

async fn is_one_in_the_air(readers: &SqlitePool) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar(
        "SELECT count(*) > 0 FROM flight WHERE number = (SELECT max(number) FROM flight) \
         AND liftoff_ns IS NOT NULL AND ended_ns IS NULL",
    )
    .fetch_one(readers)
    .await
}

/// Computes a flight's path and keeps it. With `yields` it is left for later when a flight takes off meanwhile.
async fn tell(around: &Around, flight: u32, yields: bool) -> Result<(), StoreError> {
    let file = &around.kept_file;
    let wrong = |doing| StoreError::sql(file, doing);
    if states(&around.readers, flight).await.map_err(wrong("being read"))?.is_some() {
        return Ok(());
    }
    let started = Instant::now();
    let mut kept = derived::connect(file).await?;
    let path = path(around, &mut kept, flight, yields).await.map_err(wrong("a flight was read"))?;
    let Some(path) = path else { return Ok(()) };
    let took_s = started.elapsed().as_secs_f64();
    keep(&mut kept, flight, &path, took_s).await.map_err(wrong("a path was kept"))?;
    let _ = kept.close().await;
    tracing::info!("flight {flight} with hindsight: {} states in {took_s:.1} s", path.len());
    Ok(())
}

/// How many states of a flight's path are kept, once it has been computed.
pub(crate) async fn states(readers: &SqlitePool, flight: u32) -> Result<Option<u32>, sqlx::Error> {
    sqlx::query_scalar("SELECT states FROM hindsight WHERE flight = ?")
        .bind(flight)
        .fetch_optional(readers)
        .await
}

/// The path, body by body. `None`: there is no such flight, it has not lifted off or ended, or it has to wait.
async fn path(
    around: &Around,
    kept: &mut SqliteConnection,
    flight: u32,
    yields: bool,
) -> Result<Option<Vec<(usize, Estimate)>>, sqlx::Error> {
    let row = sqlx::query("SELECT liftoff_ns FROM flight WHERE number = ? AND ended_ns IS NOT NULL")
        .bind(flight)
        .fetch_optional(&mut *kept)
        .await?;
    let liftoff_ns: Option<i64> = row.map(|row| row.try_get("liftoff_ns")).transpose()?.flatten();
    let Some(liftoff_ns) = liftoff_ns else { return Ok(None) };
    let before_ns = liftoff_ns - (ON_THE_PAD_S * 1e9) as i64;
    let (mut engine, mut done) = match derived::snapshot_before(kept, before_ns).await? {
        Some(snapshot) => (snapshot.engine, snapshot.input),
        None => match inputs::first_setup(&around.store).await? {
            Some((first, setup)) => (Engine::new(setup, first.t_ns), first.number - 1),
            None => return Ok(None),
        },
    };
    engine.keep_hindsight();
    for heard in from_memory(around, flight, engine.epoch_ns()).await {
        engine.add_to_hindsight(&heard.samples);
    }
    let (mut out, mut path) = (Vec::new(), Vec::new());
    let mut last_ns = liftoff_ns;
    loop {
        let some = inputs::read(&around.store, done, u64::MAX, READ_AT_ONCE).await?;
        let Some(last) = some.last() else { break };
        (done, last_ns) = (last.number, last.t_ns);
        for input in &some {
            engine.step(input, &mut out);
        }
        if take(&mut out, flight, &mut path) {
            return Ok(Some(path));
        }
        if *around.ending.borrow() || (yields && is_one_in_the_air(&around.readers).await?) {
            return Ok(None);
        }
        tokio::task::yield_now().await;
    }
    engine.advance(last_ns.saturating_add(AFTER_NS), &mut out);
    engine.finish(&mut out);
    take(&mut out, flight, &mut path);
    Ok(Some(path))
}

/// What the vehicle's own memory holds of a flight, where a log of it was handed in.
async fn from_memory(around: &Around, flight: u32, epoch_ns: i64) -> Vec<crate::onboard::Heard> {
    let folder = around.kept_file.parent().map(std::path::Path::to_owned).unwrap_or_default();
    let source = crate::export::Source {
        derived: around.readers.clone(),
        inputs: around.store.clone(),
        epoch_ns,
        folder: folder.clone(),
    };
    match source.choose(crate::export::Selection::Flight(flight)).await {
        Ok(chosen) => chosen.iter().flat_map(|one| crate::onboard::heard(&folder, &one.flight)).collect(),
        Err(_) => Vec::new(),
    }
}

/// Takes the states of the flight from what the engine put out. Says whether nothing more of it can come.
fn take(out: &mut Vec<Output>, flight: u32, path: &mut Vec<(usize, Estimate)>) -> bool {
    let mut over = false;
    for output in out.drain(..) {
        match output.what {
            Said::Smoothed { body, estimate } if output.flight == flight => path.push((body, estimate)),
            Said::Flight(state) => {
                over |= state.number > flight || (state.number == flight && state.ended_ns.is_some());
            }
            _ => {}
        }
    }
    over
}

async fn keep(
    connection: &mut SqliteConnection,
    flight: u32,
    path: &[(usize, Estimate)],
    took_s: f64,
) -> Result<(), sqlx::Error> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    sqlx::query("DELETE FROM smoothed WHERE flight = ?").bind(flight).execute(&mut *transaction).await?;
    for (body, estimate) in path {
        let data = serde_json::to_string(estimate).map_err(|error| sqlx::Error::Encode(error.into()))?;
        sqlx::query("INSERT OR REPLACE INTO smoothed (flight, body, t_s, data) VALUES (?, ?, ?, ?)")
            .bind(flight)
            .bind(*body as i64)
            .bind(estimate.t_s)
            .bind(data)
            .execute(&mut *transaction)
            .await?;
    }
    sqlx::query("INSERT OR REPLACE INTO hindsight (flight, states, took_s) VALUES (?, ?, ?)")
        .bind(flight)
        .bind(path.len() as i64)
        .bind(took_s)
        .execute(&mut *transaction)
        .await?;
    transaction.commit().await
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use loftwatch_engine::{Input, Recording, What};

    use super::*;
    use crate::store::Folder;

    /// The straight demo flight as stored inputs, after twenty quiet minutes.
    fn inputs() -> Vec<Input> {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data/straight");
        let setup = crate::setup::read(&demo.join("setup.toml")).unwrap();
        let text = std::fs::read_to_string(demo.join("flight.jsonl")).unwrap();
        let mut reader = Recording::new(&setup);
        let heard: Vec<Input> = text.lines().filter_map(|line| reader.line(line).unwrap()).collect();
        let first = Input {
            number: 1,
            t_ns: heard[0].t_ns - 1_200_000_000_000,
            utc_ns: heard[0].utc_ns - 1_200_000_000_000,
            what: What::SetupChange(Box::new(setup)),
        };
        let rest = heard.into_iter().zip(2..).map(|(input, number)| Input { number, ..input });
        std::iter::once(first).chain(rest).collect()
    }

    #[tokio::test]
    async fn from_a_snapshot_on_hindsight_tells_what_it_tells_from_the_first_input_on() {
        let inputs = inputs();
        let mut engine = Engine::new(inputs[0].what.setup().unwrap().clone(), inputs[0].t_ns);
        engine.keep_hindsight();
        let (mut out, mut whole) = (Vec::new(), Vec::new());
        for input in &inputs {
            engine.step(input, &mut out);
        }
        engine.advance(inputs.last().unwrap().t_ns + AFTER_NS, &mut out);
        assert!(take(&mut out, 1, &mut whole), "the flight has ended");
        assert!(whole.len() > 500, "{} states", whole.len());

        let folder = tempfile::tempdir().unwrap();
        let mut store = inputs::open(&folder.path().join("inputs.db")).await.unwrap();
        for some in inputs.chunks(500) {
            inputs::write(&mut store, some).await.unwrap();
        }
        // What lets the flight end.
        let last = inputs.last().unwrap();
        let later = |ns| Input {
            t_ns: last.t_ns + ns,
            utc_ns: last.utc_ns + ns,
            number: last.number + 1,
            what: What::Started,
        };
        inputs::write(&mut store, &[later(AFTER_NS)]).await.unwrap();
        store.close().await.unwrap();
        crate::rebuild::run(folder.path(), None).await.unwrap();

        let taken = Folder::take(folder.path()).unwrap();
        let around = Around {
            kept_file: taken.derived(),
            readers: derived::readers(&taken.derived()),
            store: inputs::readers(&taken.inputs()),
            clock: Clock::after(0),
            ending: watch::channel(false).1,
        };
        let mut kept = derived::connect(&around.kept_file).await.unwrap();
        let liftoff_ns: i64 =
            sqlx::query_scalar("SELECT liftoff_ns FROM flight").fetch_one(&mut kept).await.unwrap();
        let before_ns = liftoff_ns - (ON_THE_PAD_S * 1e9) as i64;
        assert!(derived::snapshot_before(&mut kept, before_ns).await.unwrap().is_some());
        assert_eq!(ended(&around.readers, i64::MIN).await.unwrap(), Some(1));
        tell(&around, 1, true).await.unwrap();
        assert_eq!(states(&around.readers, 1).await.unwrap(), u32::try_from(whole.len()).ok());
        assert_eq!(ended(&around.readers, i64::MIN).await.unwrap(), None, "it is done once");

        let rows: Vec<(i64, String)> = sqlx::query_as("SELECT body, data FROM smoothed ORDER BY body, t_s")
            .fetch_all(&mut kept)
            .await
            .unwrap();
        whole.sort_by(|a, b| (a.0, a.1.t_s).partial_cmp(&(b.0, b.1.t_s)).unwrap());
        let whole: Vec<(i64, String)> =
            whole.iter().map(|(body, e)| (*body as i64, serde_json::to_string(e).unwrap())).collect();
        assert!(rows == whole, "to the bit");
        // A flight that is not there is no failure.
        tell(&around, 7, false).await.unwrap();
        assert_eq!(states(&around.readers, 7).await.unwrap(), None);
    }
}
