//! The recorder: the only writer of the inputs.
//!
//! It drains the ring, hands the batch to the writing task and waits until it is on the disk before the engine gets it: at
//! most [`PATIENCE`]. While a disk is slower than that, batches go to the engine at once. Writing groups whatever has come
//! in since the last commit, so a group never waits for its own sake.
//!
//! Two things make an input kept. The commit hands it to the system: from there on no death of this program loses it. The syncing
//! task then has the system put it on the disk (`fdatasync` of the write-ahead log): from there on no loss of power does. The
//! two are apart, so that a disk that is slow to sync holds up no commit. Where commits fail or wait, batches pile up, at most
//! [`BACKLOG_BYTES`]; what does not fit is lost and counted.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use loftwatch_engine::{Input, RelayNews, What};
use sqlx::{Connection as _, SqliteConnection};
use tokio::sync::{Notify, mpsc, watch};

use super::error::primary_code;
use super::inputs;
use super::sync::{self, PATIENCE, RETRY, Sync, Syncing, WORTH_SAYING};
use crate::ring::Ring;
use crate::shared::{Disk, Status};

/// How often the write-ahead log is folded into its file. Each time costs two waits for the disk, which commits may feel.
const FOLD: Duration = Duration::from_secs(10);
/// Inputs after which the log begins again: a log of some ten megabytes.
const FOLD_INPUTS: usize = 2_000;
/// Most payload that waits for a slow disk, bytes.
const BACKLOG_BYTES: usize = 64 * 1024 * 1024;
/// Most payload in one transaction, bytes: bounds the time of one commit when catching up.
const COMMIT_BYTES: usize = 4 * 1024 * 1024;
/// Batches that wait for the engine; more than that, and it reads them from the store.
const ENGINE_QUEUE: usize = 1024;

/// Inputs on their way to the engine: committed, or given up waiting for.
#[derive(Debug, Clone)]
pub(crate) struct Taken {
    /// In order; may be empty.
    pub(crate) inputs: Arc<[Input]>,
    /// No later input has a time at or before this one (station ns).
    pub(crate) watermark_ns: i64,
    /// Number of the newest input up to the watermark: one not seen before is found in the store.
    pub(crate) newest: u64,
}

/// The recorder's own end.
#[derive(Debug)]
pub(crate) struct Recorder {
    ring: Arc<Ring>,
    desk: Arc<Desk>,
    kept: watch::Receiver<u64>,
    engine: mpsc::Sender<Taken>,
    status: watch::Sender<Status>,
    newest: u64,
}

/// Where batches wait for the writing task.
#[derive(Debug, Default)]
struct Desk {
    backlog: Mutex<Backlog>,
    filled: Notify,
}

#[derive(Debug, Default)]
struct Backlog {
    batches: VecDeque<Arc<[Input]>>,
    bytes: usize,
    closed: bool,
}

impl Desk {
    fn lock(&self) -> MutexGuard<'_, Backlog> {
        self.backlog.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Starts the recorder on a disk that syncs like this. Returns what the engine reads from, the number of the newest input on
/// the disk, and the handle that ends when all is written.
pub(crate) fn start(
    sync: Sync,
    ring: Arc<Ring>,
    connection: SqliteConnection,
    file: PathBuf,
    last_number: u64,
    status: watch::Sender<Status>,
    ending: watch::Receiver<bool>,
) -> (mpsc::Receiver<Taken>, watch::Receiver<u64>, tokio::task::JoinHandle<()>) {
    let desk = Arc::new(Desk::default());
    let (kept_in, kept) = watch::channel(last_number);
    let (engine, taken) = mpsc::channel(ENGINE_QUEUE);
    let syncing = Syncing::new(&file, kept_in, status.clone());
    let writer = Writer {
        ring: Arc::clone(&ring),
        desk: Arc::clone(&desk),
        connection,
        file: file.clone(),
        syncing: syncing.clone(),
        status: status.clone(),
        since_fold: 0,
    };
    let writing = tokio::spawn(async move {
        let synced = tokio::spawn(syncing.clone().run(sync));
        writer.run().await;
        syncing.end();
        if synced.await.is_err() {
            tracing::error!("the task that syncs the inputs has failed");
        }
    });
    let folding = tokio::spawn(fold_now_and_then(file, ending.clone()));
    let on_disk = kept.clone();
    let recorder = Recorder { ring, desk, kept, engine, status, newest: last_number };
    let done = tokio::spawn(async move {
        recorder.run(ending).await;
        let _ = folding.await;
        if writing.await.is_err() {
            tracing::error!("the task that writes the inputs has failed");
        }
    });
    (taken, on_disk, done)
}

/// Folds the write-ahead log into its file from a connection of its own: the fsync of a big file then holds up no
/// commit. A passive checkpoint waits for nobody.
async fn fold_now_and_then(file: PathBuf, mut ending: watch::Receiver<bool>) {
    let mut connection = match inputs::connect(&file).await {
        Ok(connection) => connection,
        Err(error) => return tracing::warn!("{error}; only the writing task folds the write-ahead log"),
    };
    while tokio::time::timeout(FOLD, ending.wait_for(|end| *end)).await.is_err() {
        if let Err(error) = sqlx::query("PRAGMA wal_checkpoint(PASSIVE)").execute(&mut connection).await {
            tracing::debug!("the write-ahead log was not folded: {error}");
        }
    }
    if let Err(error) = connection.close().await {
        tracing::debug!("the folding connection was not closed cleanly: {error}");
    }
}

impl Recorder {
    async fn run(mut self, mut ending: watch::Receiver<bool>) {
        // The last watermark did not reach the engine: it is told again even if nothing more comes in.
        let mut untold = false;
        loop {
            let end = tokio::select! {
                () = self.ring.filled() => false,
                () = tokio::time::sleep(RETRY), if untold => false,
                _ = ending.wait_for(|end| *end) => true,
            };
            let batch = self.ring.drain();
            let inputs: Arc<[Input]> = batch.inputs.into();
            if let (Some(first), Some(last)) = (inputs.first(), inputs.last()) {
                let behind = self.status.borrow().not_kept_since_ns.is_some();
                self.newest = last.number;
                let first_ns = first.t_ns;
                if self.offer(&inputs) && !behind {
                    let newest = self.newest;
                    let late = tokio::time::timeout(PATIENCE, self.kept.wait_for(|kept| *kept >= newest))
                        .await
                        .is_err();
                    if late {
                        self.not_kept_since(first_ns, newest);
                    }
                }
            }
            let taken = Taken { inputs, watermark_ns: batch.watermark_ns, newest: self.newest };
            untold = self.engine.try_send(taken).is_err();
            if end {
                self.desk.lock().closed = true;
                self.desk.filled.notify_one();
                return;
            }
        }
    }

    fn offer(&self, inputs: &Arc<[Input]>) -> bool {
        let bytes = inputs.iter().map(payload).sum::<usize>();
        let mut backlog = self.desk.lock();
        // A batch alone always fits: the ring bounds it.
        if backlog.bytes > 0 && backlog.bytes + bytes > BACKLOG_BYTES {
            // What a remote receiver passes on is never lost here: it would be taken for kept when a later one is. It
            // is little, as that one waits for the word that it is kept.
            let (relayed, lost): (Vec<Input>, Vec<Input>) =
                inputs.iter().cloned().partition(|input| matches!(input.what, What::Relayed { .. }));
            if !relayed.is_empty() {
                backlog.bytes += relayed.iter().map(payload).sum::<usize>();
                backlog.batches.push_back(relayed.into());
            }
            drop(backlog);
            self.desk.filled.notify_one();
            self.lose(&lost);
            return false;
        }
        backlog.bytes += bytes;
        backlog.batches.push_back(Arc::clone(inputs));
        self.ring.wait_for_disk(backlog.bytes);
        drop(backlog);
        self.desk.filled.notify_one();
        true
    }

    fn lose(&self, inputs: &[Input]) {
        let bytes = inputs.iter().map(received).sum::<usize>() as u64;
        self.status.send_modify(|status| {
            status.lost_inputs += inputs.len() as u64;
            status.lost_bytes += bytes;
        });
    }

    fn not_kept_since(&self, first_ns: i64, newest: u64) {
        self.status.send_if_modified(|status| {
            // The commit may have come meanwhile, and with it the word that all is well.
            let new = status.not_kept_since_ns.is_none() && *self.kept.borrow() < newest;
            if new {
                status.not_kept_since_ns = Some(first_ns);
                status.disk.get_or_insert(Disk::Slow);
            }
            new
        });
    }
}

/// What an input weighs in the backlog.
fn payload(input: &Input) -> usize {
    128 + match &input.what {
        What::Bytes { .. } | What::Relayed { news: RelayNews::Bytes(_), .. } => received(input),
        _ => 1024,
    }
}

/// Bytes of a radio in it.
fn received(input: &Input) -> usize {
    match &input.what {
        What::Bytes { bytes, .. } | What::Relayed { news: RelayNews::Bytes(bytes), .. } => bytes.len(),
        _ => 0,
    }
}

/// The writing task.
struct Writer {
    ring: Arc<Ring>,
    desk: Arc<Desk>,
    connection: SqliteConnection,
    file: PathBuf,
    syncing: Syncing,
    status: watch::Sender<Status>,
    /// Inputs written since the log began.
    since_fold: usize,
}

impl Writer {
    async fn run(mut self) {
        loop {
            let Some(group) = self.next().await else { return self.close().await };
            let inputs: Vec<Input> = group.iter().flat_map(|batch| batch.iter().cloned()).collect();
            let (Some(first), Some(last)) = (inputs.first(), inputs.last()) else { continue };
            let (first_ns, last) = (first.t_ns, last.number);
            let begun = Instant::now();
            while let Err(error) = inputs::write(&mut self.connection, &inputs).await {
                self.failed(&error);
                if self.desk.lock().closed {
                    // The station is ending and the disk takes nothing: one last try was made.
                    tracing::error!("{} inputs could not be written before the end", inputs.len());
                    return;
                }
                tokio::time::sleep(RETRY).await;
                self.reconnect().await;
            }
            if begun.elapsed() > WORTH_SAYING {
                tracing::warn!("the store took {:.1} s for a commit", begun.elapsed().as_secs_f64());
            }
            let waiting_ns = {
                let mut backlog = self.desk.lock();
                backlog.bytes -= inputs.iter().map(payload).sum::<usize>().min(backlog.bytes);
                self.ring.wait_for_disk(backlog.bytes);
                backlog.batches.front().and_then(|batch| batch.first()).map(|input| input.t_ns)
            };
            self.syncing.written(first_ns, last, waiting_ns);
            if waiting_ns.is_none() {
                self.begin_log_again(inputs.len()).await;
            }
        }
    }

    /// A transaction that SQLite itself has rolled back (a full disk) leaves a connection that begins no other one: a new
    /// one takes its place.
    async fn reconnect(&mut self) {
        match inputs::connect(&self.file).await {
            Ok(fresh) => self.connection = fresh,
            Err(error) => tracing::debug!("{error}"),
        }
    }

    /// While commits go on, a passive checkpoint never catches the very last one, so the log would grow for ever:
    /// now and then, between two commits, what is left (little) is folded and the log begins again.
    async fn begin_log_again(&mut self, inputs: usize) {
        self.since_fold += inputs;
        // Folding waits for the disk, and commits for the folding: not while it is slow.
        if self.since_fold < FOLD_INPUTS || self.syncing.is_behind() {
            return;
        }
        self.since_fold = 0;
        if let Err(error) = sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut self.connection).await
        {
            tracing::debug!("the write-ahead log was not begun again: {error}");
        }
    }

    /// Everything that waits, up to one transaction's worth; `None` at the end.
    async fn next(&self) -> Option<Vec<Arc<[Input]>>> {
        loop {
            {
                let mut backlog = self.desk.lock();
                let mut group = Vec::new();
                let mut bytes = 0;
                while bytes < COMMIT_BYTES
                    && let Some(batch) = backlog.batches.pop_front()
                {
                    bytes += batch.iter().map(payload).sum::<usize>();
                    group.push(batch);
                }
                if !group.is_empty() {
                    return Some(group);
                }
                if backlog.closed {
                    return None;
                }
            }
            self.desk.filled.notified().await;
        }
    }

    fn failed(&self, error: &sqlx::Error) {
        // SQLite's primary codes: 13 full, 10 input/output, 8 read-only, 5 busy.
        let (disk, words) = match primary_code(error) {
            Some(13) => (Disk::Full, "disk full"),
            Some(8) => (Disk::ReadOnly, "disk read-only"),
            Some(5 | 6) => (Disk::Locked, "the store is locked by another program"),
            _ => (Disk::Failing, "disk failing"),
        };
        sync::tell(&self.status, disk, || {
            tracing::error!("{words}: `{}` takes nothing ({error}); trying again", self.file.display());
        });
    }

    async fn close(self) {
        if let Err(error) = self.connection.close().await {
            tracing::warn!("the inputs were not closed cleanly ({error}); nothing is lost by that");
        }
    }
}

#[cfg(test)]
mod tests {
    use sqlx::{AssertSqlSafe, query_scalar};

    use super::super::sync::to_disk;
    use super::*;
    use crate::clock::Clock;
    use crate::shared::Disk;

    /// A recorder on a file of its own, and another program's connection to that file.
    struct Made {
        ring: Arc<Ring>,
        status: watch::Receiver<Status>,
        taken: mpsc::Receiver<Taken>,
        ending: watch::Sender<bool>,
        done: tokio::task::JoinHandle<()>,
        other: SqliteConnection,
        folder: tempfile::TempDir,
    }

    impl Made {
        async fn new() -> Self {
            Self::on(to_disk).await
        }

        /// On a disk that syncs like this.
        async fn on(sync: Sync) -> Self {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join("inputs.db");
            let store = inputs::open(&file).await.unwrap();
            let other = inputs::connect(&file).await.unwrap();
            let ring = Arc::new(Ring::new(Clock::after(0), 1));
            let (status_in, status) = watch::channel(Status::default());
            let (ending, end) = watch::channel(false);
            let (taken, _, done) = start(sync, Arc::clone(&ring), store, file, 0, status_in, end);
            Self { ring, status, taken, ending, done, other, folder }
        }

        async fn behind_its_back(&mut self, sql: &'static str) {
            sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut self.other).await.unwrap();
        }

        async fn until(&mut self, holds: impl FnMut(&Status) -> bool) -> Status {
            self.status.wait_for(holds).await.unwrap().clone()
        }

        /// Ends the recorder; how many inputs are in the file.
        async fn end(mut self) -> i64 {
            self.ending.send_replace(true);
            self.done.await.unwrap();
            query_scalar("SELECT count(*) FROM input").fetch_one(&mut self.other).await.unwrap()
        }
    }

    #[tokio::test]
    async fn a_disk_that_fails_is_told_from_one_that_is_late() {
        let mut made = Made::new().await;
        made.behind_its_back("ALTER TABLE input RENAME TO elsewhere").await;
        assert!(made.ring.push(What::Started));
        let told = made.until(|status| status.disk.is_some() && status.not_kept_since_ns.is_some()).await;
        assert_eq!(told.disk, Some(Disk::Failing));
        let first = made.taken.recv().await.unwrap();
        assert_eq!(told.not_kept_since_ns, Some(first.inputs[0].t_ns), "the engine got it all the same");
        made.behind_its_back("ALTER TABLE elsewhere RENAME TO input").await;
        made.until(|status| *status == Status::default()).await;
        assert_eq!(made.end().await, 1);
    }

    #[tokio::test]
    async fn a_late_commit_is_told_and_caught_up_with() {
        let mut made = Made::new().await;
        made.behind_its_back("BEGIN IMMEDIATE").await;
        assert!(made.ring.push(What::Started));
        let first = made.taken.recv().await.unwrap();
        let told = made.until(|status| status.not_kept_since_ns.is_some()).await;
        assert_eq!(told.not_kept_since_ns, Some(first.inputs[0].t_ns));
        assert!(made.ring.push(What::Started));
        assert_eq!(made.taken.recv().await.unwrap().inputs.len(), 1, "nobody waits for the disk again");
        made.behind_its_back("ROLLBACK").await;
        made.until(|status| *status == Status::default()).await;
        assert_eq!(made.end().await, 2);
    }

    /// A disk that takes its time: as long as there is this folder beside the file.
    fn held_up(log: &std::path::Path) -> std::io::Result<()> {
        while log.with_file_name("slow").exists() {
            std::thread::sleep(Duration::from_millis(5));
        }
        to_disk(log)
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn a_disk_slow_to_sync_holds_up_no_commit() {
        let mut made = Made::on(held_up).await;
        let slow = made.folder.path().join("slow");
        std::fs::create_dir(&slow).unwrap();
        let mut first_ns = None;
        for _ in 0..5 {
            assert!(made.ring.push(What::Started));
            let taken = made.taken.recv().await.unwrap();
            first_ns.get_or_insert(taken.inputs[0].t_ns);
        }
        let told = made.until(|status| status.not_kept_since_ns.is_some()).await;
        assert_eq!((told.not_kept_since_ns, told.disk), (first_ns, Some(Disk::Slow)));
        // Were the program killed now, all of them would be there.
        let mut there = 0;
        while there < 5 {
            there = query_scalar("SELECT count(*) FROM input").fetch_one(&mut made.other).await.unwrap();
        }
        std::fs::remove_dir(&slow).unwrap();
        made.until(|status| *status == Status::default()).await;
        assert_eq!(made.end().await, 5);
    }
}
