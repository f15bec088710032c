//! How long the room on the disk lasts, by how fast the data folder grows.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::sync::watch;

use crate::shared::Status;

/// How often it is looked at.
const LOOK: Duration = Duration::from_secs(10);
/// Growth is measured over at most so long, s: the last hour is what the next ones will be like.
const SPAN_S: f64 = 3600.0;
/// Growth over less than this says nothing, s: files grow in steps when their logs are folded.
const LEAST_SPAN_S: f64 = 600.0;
/// The least that is reckoned with, bytes a second: about a gibibyte a day (a choice), so that a nearly full disk is told
/// of before anything is received.
const LEAST_RATE: f64 = 12_500.0;
/// Room for less than this is worth a warning, s.
const WARN_S: f64 = 86_400.0;

/// What is measured: bytes that are free, and bytes that the data folder takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Measured {
    pub(crate) free: u64,
    pub(crate) taken: u64,
}

/// Remembers how the folder grew.
#[derive(Debug, Default)]
struct Room {
    /// When, s, and what it took, oldest first.
    grown: VecDeque<(f64, u64)>,
}

impl Room {
    /// How long the free room lasts, s, if that is less than a day.
    fn take(&mut self, t_s: f64, measured: Measured) -> Option<f64> {
        self.grown.push_back((t_s, measured.taken));
        while self.grown.len() > 1 && self.grown.front().is_some_and(|(since_s, _)| t_s - since_s > SPAN_S) {
            self.grown.pop_front();
        }
        let (since_s, before) = self.grown.front().copied()?;
        let rate = if t_s - since_s < LEAST_SPAN_S {
            0.0
        } else {
            measured.taken.saturating_sub(before) as f64 / (t_s - since_s)
        };
        Some(measured.free as f64 / rate.max(LEAST_RATE)).filter(|lasts_s| *lasts_s < WARN_S)
    }
}

/// Looks at it again and again, and tells the status; `measure` says how it stands, or nothing where that cannot be known.
pub(crate) async fn watch(
    measure: impl Fn() -> Option<Measured> + Send + Clone + 'static,
    status: watch::Sender<Status>,
    mut ending: watch::Receiver<bool>,
) {
    let begun = tokio::time::Instant::now();
    let mut room = Room::default();
    loop {
        // A disk may be slow to say it.
        let measure = measure.clone();
        let measured = tokio::task::spawn_blocking(measure).await.ok().flatten();
        let lasts_s = measured.and_then(|measured| room.take(begun.elapsed().as_secs_f64(), measured));
        status.send_if_modified(|status| {
            let new = status.room_for_s != lasts_s;
            if let (Some(lasts_s), None) = (lasts_s, status.room_for_s) {
                tracing::warn!(
                    "the disk has room for about {:.1} h more at this pace: free some space",
                    lasts_s / 3600.0
                );
            }
            status.room_for_s = lasts_s;
            new
        });
        if tokio::time::timeout(LOOK, ending.wait_for(|end| *end)).await.is_ok() {
            return;
        }
    }
}

/// How a data folder stands.
pub(crate) fn of_folder(folder: PathBuf) -> impl Fn() -> Option<Measured> + Send + Clone + 'static {
    move || measure(&folder).ok()
}

fn measure(folder: &Path) -> std::io::Result<Measured> {
    let about = nix::sys::statvfs::statvfs(folder)?;
    // What the system keeps for itself does not count.
    let free = about.blocks_available() as u64 * about.fragment_size() as u64;
    let mut taken = 0;
    for file in std::fs::read_dir(folder)? {
        taken += file?.metadata()?.len();
    }
    Ok(Measured { free, taken })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU64, Ordering};

    use super::*;

    const GB: u64 = 1_000_000_000;

    #[test]
    fn an_idle_folder_on_a_big_disk_warns_of_nothing_and_on_a_small_one_at_once() {
        assert_eq!(Room::default().take(0.0, Measured { free: 20 * GB, taken: 5 }), None);
        let lasts_s = Room::default().take(0.0, Measured { free: GB / 2, taken: 5 }).unwrap();
        assert!((lasts_s - 40_000.0).abs() < 1.0, "{lasts_s}");
    }

    #[test]
    fn a_folder_that_grows_fast_warns_when_less_than_a_day_of_it_is_free() {
        // A megabyte a second is 86.4 GB a day.
        let mut room = Room::default();
        let mut warned_s = None;
        for step in 0..1_000u64 {
            let grown = step * 10_000_000;
            let lasts_s = room.take(step as f64 * 10.0, Measured { free: 90 * GB - grown, taken: grown });
            if let (Some(lasts_s), None) = (lasts_s, warned_s) {
                warned_s = Some((step as f64 * 10.0, lasts_s));
            }
        }
        let (t_s, lasts_s) = warned_s.unwrap();
        assert!((t_s - 3_600.0).abs() < 20.0 && (lasts_s - 86_400.0).abs() < 20.0, "{t_s} {lasts_s}");
    }

    #[test]
    fn growth_of_hours_ago_counts_no_more() {
        // Sixty gigabytes last a day at 694 kB/s: the hour to step 510 still brought that.
        let mut room = Room::default();
        for step in 0..2_000u64 {
            let grown = step.min(400) * 10_000_000;
            let lasts_s = room.take(step as f64 * 10.0, Measured { free: 60 * GB, taken: grown });
            assert_eq!(lasts_s.is_some(), (60..510).contains(&step), "step {step}: {lasts_s:?}");
        }
    }

    #[tokio::test(start_paused = true)]
    async fn the_status_says_it_and_takes_it_back() {
        let free = Arc::new(AtomicU64::new(500 * GB));
        let (status_in, mut status) = watch::channel(Status::default());
        let (ending_in, ending) = watch::channel(false);
        let there = Arc::clone(&free);
        let measure = move || Some(Measured { free: there.load(Ordering::Relaxed), taken: 0 });
        let watching = tokio::spawn(watch(measure, status_in, ending));
        tokio::time::sleep(LOOK * 3).await;
        assert_eq!(status.borrow().room_for_s, None);
        free.store(GB / 4, Ordering::Relaxed);
        let told = status.wait_for(|status| status.room_for_s.is_some()).await.unwrap().room_for_s;
        assert_eq!(told, Some(20_000.0));
        free.store(500 * GB, Ordering::Relaxed);
        status.wait_for(|status| status.room_for_s.is_none()).await.unwrap();
        ending_in.send_replace(true);
        watching.await.unwrap();
    }

    #[test]
    fn a_real_folder_is_measured() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("a"), [0; 1234]).unwrap();
        let measured = of_folder(folder.path().to_owned())().unwrap();
        assert!(measured.taken == 1234 && measured.free > 0, "{measured:?}");
        assert_eq!(of_folder(folder.path().join("none"))(), None);
    }
}
