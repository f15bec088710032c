//! Files that were made, kept for a while so that a download that broke can go on: the same wish of the same stored state is
//! the same file, known by the digest of its bytes.
//!
//! They lie in `handed-out` in the data folder, whose contents may be removed at any time: what is asked for again is made
//! again, to the byte. Of those that are older than the newest [`MOST_FILES`] the longest unused are removed.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use loftwatch_export::{How, What};
use sha2::{Digest as _, Sha256};
use tokio::sync::watch;

use super::make::{Progress, Trouble, blocking};
use super::source::{Selection, Source, hex};

/// Files that are kept.
const MOST_FILES: usize = 24;
/// Files that are made at a time: each takes two threads.
const MOST_AT_ONCE: usize = 2;

/// How a file stands.
#[derive(Clone, Debug)]
pub(crate) enum Stands {
    /// It is being made.
    Making,
    /// It is whole.
    Ready {
        /// Where.
        file: PathBuf,
        /// Bytes.
        length: u64,
        /// SHA-256 of them, in hexadecimal.
        digest: String,
    },
    /// It could not be made.
    Failed(Arc<Trouble>),
}

/// A file that is made or being made.
#[derive(Debug)]
pub(crate) struct Job {
    /// How far it is.
    pub(crate) progress: Arc<Progress>,
    stands: watch::Sender<Stands>,
    used: Mutex<Instant>,
    /// Somebody was told that it failed; the next one begins anew.
    told: AtomicBool,
}

impl Job {
    /// How it stands now.
    pub(crate) fn now(&self) -> Stands {
        self.stands.borrow().clone()
    }

    /// Its failure has been told.
    pub(crate) fn has_been_told(&self) {
        self.told.store(true, Ordering::Relaxed);
    }

    /// Waits until it is made or has failed.
    pub(crate) async fn done(&self) -> Stands {
        let mut stands = self.stands.subscribe();
        match stands.wait_for(|stands| !matches!(stands, Stands::Making)).await {
            Ok(stands) => stands.clone(),
            Err(_) => Stands::Failed(Arc::new(Trouble::Other("the work broke off".to_owned()))),
        }
    }
}

/// All of them.
#[derive(Debug)]
pub(crate) struct Spool {
    folder: PathBuf,
    jobs: Mutex<BTreeMap<String, Arc<Job>>>,
    room: Arc<tokio::sync::Semaphore>,
    /// Since when a flight's path with hindsight is waited for, and how long it is.
    waits: Mutex<BTreeMap<u32, Instant>>,
    wait: Duration,
}

impl Spool {
    /// Files lie in `handed-out` of the data folder; what an earlier run left there is removed. `wait`: how long files wait for
    /// hindsight, which takes seconds.
    pub(crate) fn new(data: &Path, wait: Duration) -> Self {
        let folder = data.join("handed-out");
        match std::fs::remove_dir_all(&folder) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                tracing::warn!("`{}` cannot be emptied: {error}", folder.display());
            }
            _ => {}
        }
        let room = Arc::new(tokio::sync::Semaphore::new(MOST_AT_ONCE));
        Self { folder, jobs: Mutex::default(), room, waits: Mutex::default(), wait }
    }

    /// Whether hindsight of a flight has been waited for long enough: then its files are made without.
    pub(crate) fn waited_enough(&self, flight: u32) -> bool {
        let mut waits = self.waits.lock().unwrap_or_else(PoisonError::into_inner);
        waits.entry(flight).or_insert_with(Instant::now).elapsed() >= self.wait
    }

    /// Hindsight of a flight is computed anew: its files wait for it again.
    pub(crate) fn wait_anew(&self, flight: u32) {
        self.waits.lock().unwrap_or_else(PoisonError::into_inner).remove(&flight);
    }

    /// The file of that wish: made already, being made, or begun now.
    pub(crate) async fn file(
        &self,
        source: &Source,
        selection: Selection,
        what: What,
        how: &How,
    ) -> Result<Arc<Job>, Trouble> {
        let chosen = source.choose(selection).await?;
        let state = source.state(&chosen).await?;
        let wish = format!("{selection:?} {} {how:?} {state}", what.name());
        let key = hex(&Sha256::digest(wish.as_bytes())[..16]);
        let mut jobs = self.jobs.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(job) = jobs.get(&key) {
            let usable = match job.now() {
                Stands::Making => true,
                Stands::Ready { file, .. } => file.exists(),
                // Whoever asked how far it is has to hear of it first.
                Stands::Failed(_) => !job.told.load(Ordering::Relaxed),
            };
            if usable {
                *job.used.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
                return Ok(Arc::clone(job));
            }
        }
        let job = Arc::new(Job {
            progress: Arc::default(),
            stands: watch::Sender::new(Stands::Making),
            used: Mutex::new(Instant::now()),
            told: AtomicBool::new(false),
        });
        jobs.insert(key.clone(), Arc::clone(&job));
        forget_old(&mut jobs);
        drop(jobs);
        let (source, how, made) = (source.clone(), how.clone(), Arc::clone(&job));
        let file = self.folder.join(format!("{key}-{}", what.name()));
        let room = Arc::clone(&self.room);
        tokio::spawn(async move {
            let stands = match make(&source, &chosen, what, &how, &file, &made.progress, &room).await {
                Ok((length, digest)) => Stands::Ready { file, length, digest },
                Err(trouble) => {
                    let _ = std::fs::remove_file(&file);
                    Stands::Failed(Arc::new(trouble))
                }
            };
            made.stands.send_replace(stands);
        });
        Ok(job)
    }
}

async fn make(
    source: &Source,
    chosen: &[super::source::Chosen],
    what: What,
    how: &How,
    file: &Path,
    progress: &Arc<Progress>,
    room: &tokio::sync::Semaphore,
) -> Result<(u64, String), Trouble> {
    let _room = room.acquire().await.map_err(|_| Trouble::Other("the station ends".to_owned()))?;
    if let Some(folder) = file.parent() {
        std::fs::create_dir_all(folder)?;
    }
    super::make::write(source, chosen, what, how, file, progress).await?;
    let file = file.to_owned();
    blocking(move || Ok(digest(&file)?)).await
}

/// Length and SHA-256 of a file.
pub(crate) fn digest(file: &Path) -> std::io::Result<(u64, String)> {
    let mut file = std::fs::File::open(file)?;
    let (mut digest, mut length) = (Sha256::new(), 0);
    let mut piece = vec![0; 1 << 16];
    loop {
        let n = file.read(&mut piece)?;
        if n == 0 {
            return Ok((length, hex(&digest.finalize())));
        }
        length += n as u64;
        digest.update(&piece[..n]);
    }
}

fn forget_old(jobs: &mut BTreeMap<String, Arc<Job>>) {
    while jobs.len() > MOST_FILES {
        let used = |job: &Arc<Job>| *job.used.lock().unwrap_or_else(PoisonError::into_inner);
        let settled = jobs.iter().filter(|(_, job)| !matches!(job.now(), Stands::Making));
        let Some(oldest) = settled.min_by_key(|(_, job)| used(job)).map(|(key, _)| key.clone()) else {
            return;
        };
        if let Some(job) = jobs.remove(&oldest)
            && let Stands::Ready { file, .. } = job.now()
        {
            let _ = std::fs::remove_file(file);
        }
    }
}
