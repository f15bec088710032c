//! The memory ring between links (and crew) and the recorder.
//!
//! A push numbers and stamps the input inside one lock, so number order is time order. The ring holds at most
//! [`CAPACITY_BYTES`]; when it is full, bytes of a link are dropped and counted, and as soon as there is room an
//! input of its own says how many. A drain also gives a watermark: every later push gets a later time.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use loftwatch_engine::{Input, RelayNews, What};
use tokio::sync::Notify;

use crate::clock::{Clock, utc_now_ns};

/// Greatest sum of payloads held, bytes. At 1 Mbit/s it bridges about nine minutes without a recorder.
pub(crate) const CAPACITY_BYTES: usize = 64 * 1024 * 1024;
/// What an input costs beside its payload, bytes: keeps a flood of tiny chunks bounded too.
const OVERHEAD_BYTES: usize = 128;
/// What a setup costs, bytes: about what a full one takes.
const SETUP_BYTES: usize = 64 * 1024;

/// The ring. Pushing never waits.
#[derive(Debug)]
pub(crate) struct Ring {
    clock: Clock,
    capacity: usize,
    inner: Mutex<Inner>,
    filled: Notify,
    emptied: Notify,
    /// Bytes that were drained and still wait for the disk: sources that can wait do so for them as well.
    waiting: AtomicUsize,
}

#[derive(Debug)]
struct Inner {
    queue: VecDeque<Input>,
    held: usize,
    next_number: u64,
    last_ns: i64,
    lost: BTreeMap<String, u64>,
}

/// What a drain gives.
#[derive(Debug)]
pub(crate) struct Batch {
    /// Inputs in order of number and time.
    pub(crate) inputs: Vec<Input>,
    /// No later input has a time at or before this one (station ns).
    pub(crate) watermark_ns: i64,
}

impl Ring {
    /// A ring whose first input gets `next_number`.
    pub(crate) fn new(clock: Clock, next_number: u64) -> Self {
        Self::with_capacity(clock, next_number, CAPACITY_BYTES)
    }

    fn with_capacity(clock: Clock, next_number: u64, capacity: usize) -> Self {
        let last_ns = clock.now_ns();
        let inner = Inner { queue: VecDeque::new(), held: 0, next_number, last_ns, lost: BTreeMap::new() };
        Self {
            clock,
            capacity,
            inner: Mutex::new(inner),
            filled: Notify::new(),
            emptied: Notify::new(),
            waiting: AtomicUsize::new(0),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A panic inside the short critical sections below cannot leave them half done.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes one input; `false` if there was no room and it was dropped (bytes are then counted as lost).
    pub(crate) fn push(&self, what: What) -> bool {
        self.push_numbered(what).is_some()
    }

    /// The same; the number that it got.
    pub(crate) fn push_numbered(&self, what: What) -> Option<u64> {
        let mut inner = self.lock();
        let cost = cost(&what);
        if inner.held + cost > self.capacity {
            if let What::Bytes { link, bytes } = what {
                *inner.lost.entry(link).or_default() += bytes.len() as u64;
            }
            return None;
        }
        inner.admit_lost(&self.clock);
        let number = inner.append(&self.clock, what, cost);
        drop(inner);
        self.filled.notify_one();
        Some(number)
    }

    /// Station time.
    pub(crate) const fn clock(&self) -> Clock {
        self.clock
    }

    /// Station time now, ns.
    pub(crate) fn now_ns(&self) -> i64 {
        self.clock.now_ns()
    }

    /// Takes all that is there, with the watermark.
    pub(crate) fn drain(&self) -> Batch {
        let mut inner = self.lock();
        inner.admit_lost(&self.clock);
        inner.held = 0;
        let inputs = std::mem::take(&mut inner.queue).into();
        let watermark_ns = self.clock.now_ns().max(inner.last_ns);
        inner.last_ns = watermark_ns;
        drop(inner);
        self.emptied.notify_waiters();
        Batch { inputs, watermark_ns }
    }

    /// Has the ring drained even if nothing was pushed: somebody needs to know how far time has come.
    pub(crate) fn ask_for_watermark(&self) {
        self.filled.notify_one();
    }

    /// Waits until something was pushed, or a watermark asked for, since the last drain.
    pub(crate) async fn filled(&self) {
        self.filled.notified().await;
    }

    /// How many drained bytes wait for the disk now.
    pub(crate) fn wait_for_disk(&self, bytes: usize) {
        if self.waiting.swap(bytes, Ordering::Relaxed) > bytes {
            self.emptied.notify_waiters();
        }
    }

    /// Waits until the ring, with what waits for the disk, is at most half full: for sources that can wait, such as files.
    pub(crate) async fn room(&self) {
        loop {
            let mut emptied = std::pin::pin!(self.emptied.notified());
            // Heard from here on, so that nothing is missed between the look and the wait.
            emptied.as_mut().enable();
            if (self.lock().held + self.waiting.load(Ordering::Relaxed)) * 2 <= self.capacity {
                return;
            }
            emptied.await;
        }
    }
}

impl Inner {
    fn append(&mut self, clock: &Clock, what: What, cost: usize) -> u64 {
        // Strictly later than all before, so that a time names one input.
        let t_ns = clock.now_ns().max(self.last_ns + 1);
        self.last_ns = t_ns;
        self.queue.push_back(Input { number: self.next_number, t_ns, utc_ns: utc_now_ns(), what });
        self.next_number += 1;
        self.held += cost;
        self.next_number - 1
    }

    fn admit_lost(&mut self, clock: &Clock) {
        for (link, bytes) in std::mem::take(&mut self.lost) {
            let reason = "the memory between the link and the recorder was full".to_owned();
            self.append(clock, What::Lost { link, bytes, reason }, OVERHEAD_BYTES);
        }
    }
}

fn cost(what: &What) -> usize {
    OVERHEAD_BYTES
        + match what {
            What::Bytes { bytes, .. } | What::Relayed { news: RelayNews::Bytes(bytes), .. } => bytes.len(),
            What::SetupChange(_) | What::SetupByCrew { .. } => SETUP_BYTES,
            _ => 0,
        }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(link: &str, n: usize) -> What {
        What::Bytes { link: link.into(), bytes: vec![7; n] }
    }

    #[test]
    fn numbers_have_no_gap_and_times_only_grow() {
        let ring = Ring::new(Clock::after(0), 5);
        let mut seen = Vec::new();
        let mut watermark = i64::MIN;
        for round in 0..50 {
            for _ in 0..round {
                assert!(ring.push(bytes("a", 3)));
            }
            let batch = ring.drain();
            for input in batch.inputs {
                assert!(input.t_ns > watermark, "an input came at or before an earlier watermark");
                seen.push(input);
            }
            watermark = batch.watermark_ns;
        }
        assert!(seen.iter().zip(5u64..).all(|(input, number)| input.number == number));
        assert!(seen.windows(2).all(|w| w[0].t_ns < w[1].t_ns));
    }

    #[test]
    fn many_threads_push_and_number_order_is_time_order() {
        let ring = Ring::new(Clock::after(0), 1);
        std::thread::scope(|scope| {
            for name in ["a", "b", "c", "d"] {
                let ring = &ring;
                scope.spawn(move || (0..2_000).for_each(|_| assert!(ring.push(bytes(name, 1)))));
            }
        });
        let inputs = ring.drain().inputs;
        assert_eq!(inputs.len(), 8_000);
        assert!(inputs.windows(2).all(|w| w[0].number + 1 == w[1].number && w[0].t_ns < w[1].t_ns));
    }

    #[test]
    fn a_full_ring_drops_and_then_says_how_much_of_which_link() {
        let ring = Ring::with_capacity(Clock::after(0), 1, 1_000);
        assert!(ring.push(bytes("a", 600)));
        assert!(!ring.push(bytes("a", 600)));
        assert!(!ring.push(bytes("b", 500)));
        assert!(!ring.push(bytes("b", 400)));
        let inputs = ring.drain().inputs;
        let lost: Vec<_> = inputs
            .iter()
            .filter_map(|input| match &input.what {
                What::Lost { link, bytes, .. } => Some((link.as_str(), *bytes)),
                _ => None,
            })
            .collect();
        assert_eq!(lost, [("a", 600), ("b", 900)]);
        assert!(ring.push(bytes("a", 600)), "there is room again after a drain");
        assert_eq!(ring.drain().inputs.len(), 1, "a loss is told once");
    }
}
