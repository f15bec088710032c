//! Growing pauses between attempts: 0.5 s, then 1.6 times longer each time, at most 10 s (common practice, no source).

use std::time::Duration;

const FIRST: Duration = Duration::from_millis(500);
const LONGEST: Duration = Duration::from_secs(10);

/// The pause before the next attempt.
#[derive(Debug)]
pub(crate) struct Pause {
    next: Duration,
    first: Duration,
}

impl Pause {
    pub(crate) const fn new() -> Self {
        Self::from(FIRST)
    }

    /// Beginning with another pause.
    pub(crate) const fn from(first: Duration) -> Self {
        Self { next: first, first }
    }

    /// After a success the next pause is the first one again.
    pub(crate) const fn reset(&mut self) {
        self.next = self.first;
    }

    /// Takes the next pause.
    pub(crate) fn next(&mut self) -> Duration {
        let pause = self.next;
        self.next = self.next.mul_f64(1.6).min(LONGEST);
        pause
    }

    /// Waits for the next pause.
    pub(crate) async fn wait(&mut self) {
        tokio::time::sleep(self.next()).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grows_from_half_a_second_to_ten_and_starts_over_after_a_success() {
        let mut pause = Pause::new();
        let pauses: Vec<_> = (0..9).map(|_| pause.next()).collect();
        assert_eq!(pauses[0], FIRST);
        assert!(pauses.windows(2).all(|w| w[0] <= w[1]));
        assert_eq!(pauses[8], LONGEST);
        pause.reset();
        assert_eq!(pause.next(), FIRST);
    }
}
