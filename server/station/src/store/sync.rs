//! The syncing task: what has been committed is put on the disk, and is kept from then on.
//!
//! It knows what is under way, so that it can say since when nothing is kept.

use std::collections::VecDeque;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Notify, watch};

use super::check::beside;
use crate::shared::{Disk, Status};

/// How long the engine waits for an input to be on the disk; a sync that takes longer is slow.
pub(super) const PATIENCE: Duration = Duration::from_millis(50);
/// A slow disk that lasts longer than this is also logged; the pages say it at once.
pub(super) const WORTH_SAYING: Duration = Duration::from_secs(1);
/// Pause after a failed commit or sync.
pub(super) const RETRY: Duration = Duration::from_millis(500);

/// Puts a file on the disk.
pub(crate) type Sync = fn(&Path) -> std::io::Result<()>;

/// The way of every station. A log that is gone has been folded into its file, which was synced for that.
pub(crate) fn to_disk(log: &Path) -> std::io::Result<()> {
    match std::fs::File::open(log) {
        Ok(file) => file.sync_data(),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        Err(error) => Err(error),
    }
}

/// Both ends: the writing task's and the syncing task's own.
#[derive(Debug, Clone)]
pub(super) struct Syncing {
    /// The write-ahead log.
    log: PathBuf,
    way: Arc<Mutex<Way>>,
    filled: Arc<Notify>,
    kept: watch::Sender<u64>,
    status: watch::Sender<Status>,
}

#[derive(Debug, Default)]
struct Way {
    /// Groups committed and not yet on the disk: their last number and their first time, station ns.
    groups: VecDeque<(u64, i64)>,
    /// Time of the oldest input that is not even committed.
    waiting_ns: Option<i64>,
    /// When the oldest sync that has not been caught up with began.
    slow_since: Option<Instant>,
    /// Whether the last sync took long.
    slow: bool,
    ended: bool,
}

impl Syncing {
    pub(super) fn new(file: &Path, kept: watch::Sender<u64>, status: watch::Sender<Status>) -> Self {
        Self { log: beside(file, "-wal"), way: Arc::default(), filled: Arc::default(), kept, status }
    }

    fn lock(&self) -> MutexGuard<'_, Way> {
        self.way.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A group is committed; `waiting_ns` is the time of the oldest input that still waits for that.
    pub(super) fn written(&self, first_ns: i64, last: u64, waiting_ns: Option<i64>) {
        let mut way = self.lock();
        way.groups.push_back((last, first_ns));
        way.waiting_ns = waiting_ns;
        drop(way);
        self.filled.notify_one();
    }

    /// Whether the disk was slow the last time.
    pub(super) fn is_behind(&self) -> bool {
        self.lock().slow
    }

    /// Nothing more will be written.
    pub(super) fn end(&self) {
        self.lock().ended = true;
        self.filled.notify_one();
    }

    pub(super) async fn run(self, sync: Sync) {
        loop {
            let last = {
                let mut way = self.lock();
                let last = way.groups.back().map(|(last, _)| *last);
                if last.is_some() {
                    way.slow_since.get_or_insert_with(Instant::now);
                } else if way.ended {
                    return;
                }
                last
            };
            let Some(last) = last else {
                self.filled.notified().await;
                continue;
            };
            let begun = Instant::now();
            let log = self.log.clone();
            // A task that waits for a disk may not hold up others.
            let done = tokio::task::spawn_blocking(move || sync(&log)).await;
            let took = begun.elapsed();
            self.lock().slow = took > PATIENCE;
            match done.unwrap_or_else(|error| Err(std::io::Error::other(error))) {
                Ok(()) => {
                    if took > WORTH_SAYING {
                        tracing::warn!("the disk took {:.1} s for a sync", took.as_secs_f64());
                    }
                    self.synced(last);
                }
                Err(error) => {
                    self.failed(&error);
                    if self.lock().ended {
                        tracing::error!("the last inputs may not be on the disk");
                        return;
                    }
                    tokio::time::sleep(RETRY).await;
                }
            }
        }
    }

    /// Everything up to this number is on the disk.
    fn synced(&self, last: u64) {
        let (oldest_ns, since) = {
            let mut way = self.lock();
            while way.groups.front().is_some_and(|(number, _)| *number <= last) {
                way.groups.pop_front();
            }
            let oldest_ns = way.groups.front().map(|(_, first_ns)| *first_ns).or(way.waiting_ns);
            (oldest_ns, if oldest_ns.is_none() { way.slow_since.take() } else { None })
        };
        self.kept.send_replace(last);
        self.status.send_if_modified(|status| {
            let was = status.not_kept_since_ns.is_some() || status.disk.is_some();
            if !was {
                return false;
            }
            if let Some(oldest_ns) = oldest_ns {
                // More is under way: what is not kept is no older than that, and the disk at worst slow.
                let behind = status.not_kept_since_ns.is_some();
                if behind {
                    status.not_kept_since_ns = Some(oldest_ns);
                    status.disk = Some(Disk::Slow);
                }
                return behind;
            }
            if let Some(since) = since.filter(|since| since.elapsed() > WORTH_SAYING) {
                tracing::info!(
                    "the disk has caught up after {:.1} s: everything is kept again, {} inputs were lost in all",
                    since.elapsed().as_secs_f64(),
                    status.lost_inputs
                );
            }
            status.not_kept_since_ns = None;
            status.disk = None;
            true
        });
    }

    fn failed(&self, error: &std::io::Error) {
        let (disk, words) = match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => (Disk::Full, "disk full"),
            _ => (Disk::Failing, "disk failing"),
        };
        tell(&self.status, disk, || {
            tracing::error!("{words}: `{}` was not synced ({error}); trying again", self.log.display());
        });
    }
}

/// Shows what ails the disk, and says it where that is new.
pub(super) fn tell(status: &watch::Sender<Status>, disk: Disk, say: impl FnOnce()) {
    status.send_if_modified(|status| {
        let new = status.disk != Some(disk);
        if new {
            say();
            status.disk = Some(disk);
        }
        new
    });
}
