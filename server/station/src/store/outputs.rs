//! The task that keeps what the engine puts out. Its queue is bounded: when it is full, outputs are dropped, the
//! hole is written down, and the next start computes it again. It never holds up the engine.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use loftwatch_engine::{ENGINE_VERSION, Output};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tokio::sync::{mpsc, watch};

use super::flights::Flights;
use super::kept::Kept;
use crate::shared::Status;

/// Most outputs that wait to be written: about ten minutes of a busy flight, some tens of megabytes.
const QUEUE_OUTPUTS: usize = 50_000;
/// Most outputs in one transaction: short enough that a reader of the file hardly notices.
const COMMIT_OUTPUTS: usize = 2_000;
/// Rows in one statement.
const ROWS_A_STATEMENT: usize = 40;
/// Snapshots that are kept of the newest ones; of older ones one in [`SNAPSHOT_APART_NS`] stays.
const SNAPSHOTS: i64 = 3;
/// See [`SNAPSHOTS`].
const SNAPSHOT_APART_NS: i64 = 300_000_000_000;

/// What goes to the task.
#[derive(Debug)]
pub(crate) enum Told {
    /// Outputs with consecutive sequence numbers from `first_seq`.
    Outputs {
        /// Sequence number of the first.
        first_seq: u64,
        /// In order.
        outputs: Vec<Output>,
    },
    /// The engine, frozen.
    Snapshot(Frozen),
    /// The setup in force from here on, as JSON, with the vehicle's and the site's name.
    Setup {
        /// As meant.
        json: Arc<str>,
        /// Name of the vehicle.
        vehicle: String,
        /// Name of the site.
        site: String,
    },
}

/// A frozen engine as it is stored.
#[derive(Debug)]
pub(crate) struct Frozen {
    /// The last input taken.
    pub(crate) input: u64,
    /// Station time up to which its deadlines have fired.
    pub(crate) t_ns: i64,
    /// Sequence number of its next output.
    pub(crate) next_seq: u64,
    /// See [`super::derived::setup_hash`].
    pub(crate) setup_hash: i64,
    /// postcard.
    pub(crate) state: Vec<u8>,
}

/// The engine's end of the queue.
#[derive(Debug)]
pub(crate) struct Keeper {
    queue: mpsc::UnboundedSender<(Told, Option<(u64, u64)>)>,
    waiting: Arc<AtomicUsize>,
    hole: Option<(u64, u64)>,
    status: watch::Sender<Status>,
}

impl Keeper {
    /// Hands something over, or drops it if too much is waiting. Never waits.
    pub(crate) fn tell(&mut self, told: Told) {
        let count = match &told {
            Told::Outputs { outputs, .. } => outputs.len(),
            _ => 0,
        };
        if self.waiting.load(Ordering::Relaxed) + count > QUEUE_OUTPUTS {
            if let Told::Outputs { first_seq, outputs } = &told {
                let end = first_seq + outputs.len() as u64;
                let from = self.hole.map_or(*first_seq, |(from, _)| from);
                self.hole = Some((from, end));
                self.status
                    .send_if_modified(|status| !std::mem::replace(&mut status.outputs_incomplete, true));
            }
            return;
        }
        self.waiting.fetch_add(count, Ordering::Relaxed);
        // A closed queue means that the task is gone, which it has said itself.
        let _ = self.queue.send((told, self.hole.take()));
    }

    /// Whether so much is waiting that somebody who can wait should: recomputation yields to the disk.
    pub(crate) fn is_busy(&self) -> bool {
        self.waiting.load(Ordering::Relaxed) > QUEUE_OUTPUTS / 4
    }
}

/// Starts the task; it ends when the keeper is dropped and all is written. `stored`: what [`before`] gives, for a file
/// that is gone on with.
pub(crate) fn start(
    connection: SqliteConnection,
    file: PathBuf,
    stored: &[Output],
    status: watch::Sender<Status>,
) -> (Keeper, tokio::task::JoinHandle<()>) {
    let (queue, told) = mpsc::unbounded_channel();
    let waiting = Arc::new(AtomicUsize::new(0));
    let keeper = Keeper { queue, waiting: Arc::clone(&waiting), hole: None, status: status.clone() };
    let mut kept = Kept::default();
    for output in stored {
        kept.keep(output);
    }
    let task =
        Task { connection, file, failing: false, told, waiting, status, flights: Flights::default(), kept };
    (keeper, tokio::spawn(task.run()))
}

/// The newest stored outputs, as far back as they bear on which of the next ones are kept, in order.
pub(crate) async fn before(connection: &mut SqliteConnection) -> Result<Vec<Output>, sqlx::Error> {
    let rows = sqlx::query(
        "WITH newest AS (SELECT seq, t_ns FROM output ORDER BY seq DESC LIMIT 1), \
              recent AS (SELECT seq FROM output WHERE seq > (SELECT seq FROM newest) - ?1 \
                         AND t_ns > (SELECT t_ns FROM newest) - ?2), \
              begun AS (SELECT max(seq) FROM output WHERE kind = 'flight' AND seq < (SELECT min(seq) FROM recent)) \
         SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE seq IN recent OR seq IN begun ORDER BY seq",
    )
    .bind(QUEUE_OUTPUTS as i64)
    .bind(2 * super::kept::PATHS_APART_NS)
    .fetch_all(connection)
    .await?;
    rows.iter().map(super::derived::output).collect()
}

struct Task {
    connection: SqliteConnection,
    file: PathBuf,
    /// The last write failed, which has been said.
    failing: bool,
    told: mpsc::UnboundedReceiver<(Told, Option<(u64, u64)>)>,
    waiting: Arc<AtomicUsize>,
    status: watch::Sender<Status>,
    flights: Flights,
    kept: Kept,
}

impl Task {
    async fn run(mut self) {
        if let Err(error) = self.flights.load(&mut self.connection).await {
            tracing::warn!("the list of flights cannot be read: {error}");
        }
        let mut holes: Vec<(u64, u64)> = Vec::new();
        while let Some((first, hole)) = self.told.recv().await {
            holes.extend(hole);
            let mut group = vec![first];
            let mut count = weight(&group[0]);
            while count < COMMIT_OUTPUTS
                && let Ok((told, hole)) = self.told.try_recv()
            {
                holes.extend(hole);
                count += weight(&told);
                group.push(told);
            }
            match self.write(&group, &holes).await {
                Ok(()) => {
                    holes.clear();
                    if std::mem::take(&mut self.failing) {
                        tracing::info!(
                            "outputs are kept again; what is missing is computed at the next start"
                        );
                    }
                }
                Err(error) => {
                    if !std::mem::replace(&mut self.failing, true) {
                        tracing::warn!(
                            "outputs cannot be kept ({error}); they are computed again at the next start"
                        );
                    }
                    // See the recorder's `reconnect`.
                    if let Ok(fresh) = super::derived::connect(&self.file).await {
                        self.connection = fresh;
                    }
                    self.status
                        .send_if_modified(|status| !std::mem::replace(&mut status.outputs_incomplete, true));
                    holes.extend(group.iter().filter_map(|told| match told {
                        Told::Outputs { first_seq, outputs } => {
                            Some((*first_seq, first_seq + outputs.len() as u64))
                        }
                        _ => None,
                    }));
                    // One from the first to the last: only where they begin matters, and a disk may be full for hours.
                    let from = holes.iter().map(|hole| hole.0).min();
                    let to = holes.iter().map(|hole| hole.1).max();
                    holes = from.zip(to).into_iter().collect();
                }
            }
            self.waiting.fetch_sub(count, Ordering::Relaxed);
        }
        if let Err(error) = self.connection.close().await {
            tracing::debug!("the outputs were not closed cleanly: {error}");
        }
    }

    async fn write(&mut self, group: &[Told], holes: &[(u64, u64)]) -> Result<(), sqlx::Error> {
        let mut transaction = self.connection.begin_with("BEGIN IMMEDIATE").await?;
        for (from, to) in holes {
            sqlx::query("INSERT OR REPLACE INTO hole (from_seq, to_seq) VALUES (?, ?)")
                .bind(*from as i64)
                .bind(*to as i64)
                .execute(&mut *transaction)
                .await?;
        }
        let mut rows: Vec<(u64, &Output)> = Vec::new();
        for told in group {
            match told {
                Told::Outputs { first_seq, outputs } => {
                    for (seq, output) in (*first_seq..).zip(outputs) {
                        self.flights.take(output);
                        if self.kept.keep(output) {
                            rows.push((seq, output));
                        }
                    }
                }
                Told::Setup { json, vehicle, site } => self.flights.setup(json, vehicle, site),
                Told::Snapshot(frozen) => {
                    insert_all(&mut transaction, &rows).await?;
                    rows.clear();
                    insert_snapshot(&mut transaction, frozen).await?;
                }
            }
        }
        insert_all(&mut transaction, &rows).await?;
        self.flights.save(&mut transaction).await?;
        transaction.commit().await
    }
}

fn weight(told: &Told) -> usize {
    match told {
        Told::Outputs { outputs, .. } => outputs.len(),
        _ => 0,
    }
}

async fn insert_all(connection: &mut SqliteConnection, rows: &[(u64, &Output)]) -> Result<(), sqlx::Error> {
    for some in rows.chunks(ROWS_A_STATEMENT) {
        let places = vec!["(?,?,?,?,?,?,?,?,?)"; some.len()].join(",");
        let sql = format!(
            "INSERT OR REPLACE INTO output (seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, kind, body, data) VALUES {places}"
        );
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for (seq, output) in some {
            let (kind, body) = super::kept::kind_and_body(&output.what);
            let data =
                serde_json::to_string(&output.what).map_err(|error| sqlx::Error::Encode(error.into()))?;
            query = query
                .bind(*seq as i64)
                .bind(output.input as i64)
                .bind(output.t_ns)
                .bind(output.t_receive_ns)
                .bind(output.utc_offset_ns)
                .bind(output.flight)
                .bind(kind)
                .bind(body.map(|body| body as i64))
                .bind(data);
        }
        query.execute(&mut *connection).await?;
    }
    Ok(())
}

async fn insert_snapshot(connection: &mut SqliteConnection, frozen: &Frozen) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT OR REPLACE INTO snapshot (input, t_ns, next_seq, engine_version, setup_hash, state) VALUES (?, ?, ?, ?, ?, ?)",
    )
    .bind(frozen.input as i64)
    .bind(frozen.t_ns)
    .bind(frozen.next_seq as i64)
    .bind(ENGINE_VERSION)
    .bind(frozen.setup_hash)
    .bind(&frozen.state[..])
    .execute(&mut *connection)
    .await?;
    // Of the older ones those stay that are the first in their stretch of time.
    sqlx::query(
        "DELETE FROM snapshot WHERE input NOT IN (SELECT input FROM snapshot ORDER BY input DESC LIMIT ?) \
         AND input NOT IN (SELECT min(input) FROM snapshot GROUP BY t_ns / ?)",
    )
    .bind(SNAPSHOTS)
    .bind(SNAPSHOT_APART_NS)
    .execute(&mut *connection)
    .await?;
    Ok(())
}
