//! Growing pauses between attempts: 0.5 s, then 1.6 times longer each time, at most 10 s (common practice, no source).

use std::time::Duration;

const FIRST: Duration = Duration::from_millis(500);
const LONGEST: Duration = Duration::from_secs(10);

/// The pause before the next attempt.
#[derive(Debug)]
pub(super) struct Pause(Duration);

impl Pause {
    pub(super) const fn new() -> Self {
        Self(FIRST)
    }

    /// After a success the next pause is the first one again.
    pub(super) const fn reset(&mut self) {
        self.0 = FIRST;
    }

    /// Takes the next pause.
    pub(super) fn next(&mut self) -> Duration {
        let pause = self.0;
        self.0 = self.0.mul_f64(1.6).min(LONGEST);
        pause
    }

    /// Waits for the next pause.
    pub(super) async fn wait(&mut self) {
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
