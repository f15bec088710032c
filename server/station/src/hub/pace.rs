//! How often each message goes out: at once as long as there were few of late, else at the earliest moment allowed.
//!
//! Packets come in clumps (a receiver's USB chip hands over every 16 ms what it has), so what is held is the average, by
//! the generic cell rate algorithm (ITU-T I.371, 2004, annex A, virtual scheduling): a few may follow each other closely
//! if it was quiet before. Pure: time is an argument.

use tokio::time::{Duration, Instant};

/// What can wait goes with the next message, or alone after this long.
const WITH_THE_NEXT: Duration = Duration::from_millis(100);

/// At most one message of a kind in so long, on average.
#[derive(Clone, Debug)]
pub(crate) struct Pace {
    apart: Duration,
    /// So much earlier than its place on the even grid may a message go.
    early: Duration,
    /// A message goes out after this long even if nothing changed.
    most: Option<Duration>,
    last: Option<Instant>,
    /// Place of the next message on the even grid.
    next: Option<Instant>,
    dirty: bool,
    /// Since when something waits that need not go at once.
    waiting: Option<Instant>,
}

impl Pace {
    /// `apart` between two messages, one at least every `most` if given. The first is due at once.
    pub(crate) fn new(apart: Duration, most: Option<Duration>) -> Self {
        Self { apart, early: Duration::ZERO, most, last: None, next: None, dirty: true, waiting: None }
    }

    /// `now`: at most 25 a second (a packet every 50 ms and positions between them), five of them as soon as they come;
    /// at least one a second, so that a page sees that the station lives.
    pub(crate) fn of_now() -> Self {
        let even = Self::new(Duration::from_millis(40), Some(Duration::from_secs(1)));
        Self { early: 4 * even.apart, ..even }
    }

    /// `picture`: at most 5 a second.
    pub(crate) fn of_picture() -> Self {
        Self::new(Duration::from_millis(200), None)
    }

    /// `story`: at most 2 a second.
    pub(crate) fn of_story() -> Self {
        Self::new(Duration::from_millis(500), None)
    }

    /// Something changed (or not).
    pub(crate) fn touch(&mut self, changed: bool) {
        self.dirty |= changed;
    }

    /// Something changed (or not) that can go with the next message: it takes no place from a fresh packet.
    pub(crate) fn touch_lightly(&mut self, changed: bool, now: Instant) {
        if changed {
            self.waiting.get_or_insert(now);
        }
    }

    /// When the next message is due; `None` while there is nothing to say.
    pub(crate) fn due(&self) -> Option<Instant> {
        let (Some(last), Some(next)) = (self.last, self.next) else { return Some(Instant::now()) };
        // `next` is at least `apart` after `last`; the difference to `early` cannot fall before the clock's beginning.
        let allowed = next.checked_sub(self.early).map_or(last, |at| at.max(last));
        match (self.dirty, self.waiting) {
            (true, _) => Some(allowed),
            (false, Some(since)) => Some(allowed.max(since + WITH_THE_NEXT)),
            (false, None) => self.most.map(|most| last + most),
        }
    }

    /// Whether a message is due; if so it counts as sent.
    pub(crate) fn take(&mut self, now: Instant) -> bool {
        let due = self.last.is_none() || self.due().is_some_and(|due| due <= now);
        if due {
            self.last = Some(now);
            self.next = Some(self.next.map_or(now, |next| next.max(now)) + self.apart);
            self.dirty = false;
            self.waiting = None;
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lone_change_goes_out_at_once_and_a_burst_waits_for_the_mark() {
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let mut pace = Pace::of_picture();
        assert!(pace.take(at(0)), "the first");
        assert!(!pace.take(at(10)), "nothing new");
        pace.touch(true);
        assert!(!pace.take(at(199)));
        assert_eq!(pace.due(), Some(at(200)));
        assert!(pace.take(at(200)));
        pace.touch(true);
        assert!(pace.take(at(900)), "the last is long ago");
    }

    #[test]
    fn after_quiet_five_go_at_once_and_then_one_every_40_ms() {
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let mut pace = Pace::of_now();
        let sent = (0..1000).filter(|ms| {
            pace.touch(true);
            pace.take(at(*ms))
        });
        let sent: Vec<u64> = sent.collect();
        pace.dirty = false;
        assert_eq!(sent[..5], [0, 1, 2, 3, 4]);
        assert!(sent[5..].windows(2).all(|two| two[1] - two[0] == 40), "{sent:?}");
        assert!(!pace.take(at(sent[sent.len() - 1] + 999)));
        assert!(pace.take(at(sent[sent.len() - 1] + 1000)), "a sign of life every second");
    }

    #[test]
    fn twenty_packets_a_second_in_clumps_of_16_ms_never_wait() {
        let start = Instant::now();
        let mut pace = Pace::of_now();
        for packet in 0..2_000_u64 {
            let at = start + Duration::from_millis((packet * 50).div_ceil(16) * 16);
            pace.touch(true);
            assert!(pace.take(at), "packet {packet}");
            // What is predicted changes a moment later and takes no place.
            pace.touch_lightly(packet % 4 == 0, at + Duration::from_millis(5));
            assert!(!pace.take(at + Duration::from_millis(20)));
        }
    }

    #[test]
    fn what_can_wait_goes_with_the_next_or_after_a_tenth_of_a_second() {
        let start = Instant::now();
        let at = |ms: u64| start + Duration::from_millis(ms);
        let mut pace = Pace::of_now();
        assert!(pace.take(at(0)));
        pace.touch_lightly(true, at(10));
        pace.touch_lightly(true, at(60));
        assert_eq!(pace.due(), Some(at(110)));
        pace.touch(true);
        assert!(pace.take(at(80)));
        assert_eq!(pace.due(), Some(at(1080)), "it went along");
    }

    #[test]
    fn never_more_than_25_a_second_in_the_long_run() {
        let start = Instant::now();
        let mut pace = Pace::of_now();
        let sent = (0..10_000).filter(|ms| {
            pace.touch(true);
            pace.take(start + Duration::from_millis(*ms))
        });
        assert!((250..=255).contains(&sent.count()));
    }
}
