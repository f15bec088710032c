//! Station time: the one clock that orders everything.
//!
//! It starts at the wall clock, or just after the newest time in the store if that is later, then runs with the
//! machine's monotonic clock. It never steps and never goes back, also across restarts; the wall clock is
//! recorded beside it. Limit: while the station is off, time passes as the wall clock says.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// A running station clock. Copies run in step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Clock {
    origin_ns: i64,
    started: Instant,
}

impl Clock {
    /// A clock that goes on after `last_ns`, the newest station time known (0 for none).
    pub(crate) fn after(last_ns: i64) -> Self {
        Self { origin_ns: utc_now_ns().max(last_ns.saturating_add(1)), started: Instant::now() }
    }

    /// Station time now, ns.
    pub(crate) fn now_ns(&self) -> i64 {
        let run = self.started.elapsed().as_nanos();
        self.origin_ns.saturating_add(i64::try_from(run).unwrap_or(i64::MAX))
    }

    /// Real time left until the station clock shows `t_ns`; zero if it already does.
    pub(crate) fn until(&self, t_ns: i64) -> Duration {
        Duration::from_nanos(u64::try_from(t_ns.saturating_sub(self.now_ns())).unwrap_or(0))
    }
}

/// The wall clock, UTC ns since 1970; it may step.
pub(crate) fn utc_now_ns() -> i64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |d| i64::try_from(d.as_nanos()).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn goes_on_after_the_newest_stored_time_when_the_wall_clock_was_set_back() {
        let stored = utc_now_ns() + 86_400_000_000_000;
        let clock = Clock::after(stored);
        assert!(clock.now_ns() > stored);
    }

    #[test]
    fn starts_at_the_wall_clock_when_that_is_later() {
        let before = utc_now_ns();
        assert!(Clock::after(before - 1_000_000_000).now_ns() >= before);
    }

    #[test]
    fn never_goes_back() {
        let clock = Clock::after(0);
        let mut last = clock.now_ns();
        for _ in 0..10_000 {
            let now = clock.now_ns();
            assert!(now >= last);
            last = now;
        }
    }
}
