//! How often each message goes out: at once when the last one is old enough, else at the earliest moment allowed.
//!
//! Pure: time is an argument.

use tokio::time::{Duration, Instant};

/// At least this long between two messages of a kind.
#[derive(Clone, Debug)]
pub(crate) struct Pace {
    least: Duration,
    /// A message goes out after this long even if nothing changed.
    most: Option<Duration>,
    last: Option<Instant>,
    dirty: bool,
}

impl Pace {
    /// `least` between two messages, one at least every `most` if given. The first is due at once.
    pub(crate) fn new(least: Duration, most: Option<Duration>) -> Self {
        Self { least, most, last: None, dirty: true }
    }

    /// `now`: at most 20 a second, at least one a second, so that a page sees that the station lives.
    pub(crate) fn of_now() -> Self {
        Self::new(Duration::from_millis(50), Some(Duration::from_secs(1)))
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

    /// When the next message is due; `None` while there is nothing to say.
    pub(crate) fn due(&self) -> Option<Instant> {
        match (self.last, self.dirty) {
            (None, _) => Some(Instant::now()),
            (Some(last), true) => Some(last + self.least),
            (Some(last), false) => self.most.map(|most| last + most),
        }
    }

    /// Whether a message is due; if so it counts as sent.
    pub(crate) fn take(&mut self, now: Instant) -> bool {
        let due = self.last.is_none() || self.due().is_some_and(|due| due <= now);
        if due {
            self.last = Some(now);
            self.dirty = false;
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
        let mut pace = Pace::of_now();
        assert!(pace.take(at(0)), "the first");
        assert!(!pace.take(at(10)), "nothing new");
        pace.touch(true);
        assert!(!pace.take(at(49)));
        assert_eq!(pace.due(), Some(at(50)));
        assert!(pace.take(at(50)));
        pace.touch(true);
        assert!(pace.take(at(300)), "the last is long ago");
        assert!(!pace.take(at(1299)));
        assert!(pace.take(at(1300)), "a sign of life every second");
    }

    #[test]
    fn never_more_than_twenty_a_second() {
        let start = Instant::now();
        let mut pace = Pace::of_now();
        let sent = (0..10_000).filter(|ms| {
            pace.touch(true);
            pace.take(start + Duration::from_millis(*ms))
        });
        assert_eq!(sent.count(), 200);
    }
}
