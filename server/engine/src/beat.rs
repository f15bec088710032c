//! How unsteadily packets of a board without a clock come: that much their receipt is off from when they were measured.
//!
//! Sent by a timer or a loop, they leave at a beat. Gaps between receipts are whole beats, lost packets or not, and what they
//! are beside that is the difference of two delays. What all delays have in common nobody sees.

use serde::{Deserialize, Serialize};

/// Spread taken until enough gaps have been heard, s (common practice, no source); how many are enough, and how many are kept.
const UNHEARD_SD_S: f64 = 0.05;
const ENOUGH: usize = 12;
const KEPT: usize = 40;
/// Least spread, s: the common delay of radio and port wanders. Smaller: a few steady packets are taken for a clock.
const LEAST_SD_S: f64 = 0.01;
/// Most of it, s: what comes later was kept somewhere, and says nothing of how late it is.
const MOST_SD_S: f64 = 0.5;
/// Gaps of a silence say nothing, s.
const LONGEST_S: f64 = 5.0;
/// Deviations of that share of a beat and more are told from none no longer: they may be whole beats.
const FOLDED: f64 = 0.2;
/// How often the beat is sought among the gaps that are nearest to one, begun too short by the deviations.
const ROUNDS: u32 = 3;
/// Standard deviation of a uniform distribution over its length, and of a normal one over its median deviation.
const UNIFORM_SD: f64 = 0.289;
const NORMAL_SD: f64 = 1.483;

/// Packets of one layout as they come.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Beat {
    newest_ns: Option<i64>,
    gaps_s: Vec<f64>,
    next: usize,
}

impl Beat {
    /// A packet came.
    pub(crate) fn hear(&mut self, t_ns: i64) {
        let before_ns = self.newest_ns.replace(t_ns);
        let Some(gap_s) = before_ns.map(|before| t_ns.saturating_sub(before) as f64 * 1e-9) else { return };
        if !(0.0..LONGEST_S).contains(&gap_s) {
            return;
        }
        if self.gaps_s.len() < KEPT {
            self.gaps_s.push(gap_s);
        } else {
            self.gaps_s[self.next % KEPT] = gap_s;
        }
        self.next = (self.next + 1) % KEPT;
    }

    /// Spread of a receipt about its measurement but for what all have in common, one standard deviation, s.
    pub(crate) fn sd_s(&self) -> f64 {
        if self.gaps_s.len() < ENOUGH {
            return UNHEARD_SD_S;
        }
        let mut gaps = self.gaps_s.clone();
        gaps.sort_unstable_by(f64::total_cmp);
        let at = |share: f64| gaps[(share * gaps.len() as f64) as usize];
        // The pauses between bursts: each of a burst may be as old as the pause before it was long.
        let burst_sd_s = UNIFORM_SD * at(0.9);
        // Lost packets only make gaps longer: the short ones are single beats.
        let single_s = |beat_s: f64| {
            let single = || gaps.iter().filter(|gap| (0.5..1.5).contains(&(*gap / beat_s)));
            single().sum::<f64>() / single().count() as f64
        };
        let beat_s = (0..ROUNDS).fold(at(0.25), |beat_s, _| single_s(beat_s));
        let mut off: Vec<f64> =
            gaps.iter().map(|gap| libm::fabs(gap - beat_s * libm::round(gap / beat_s).max(1.0))).collect();
        off.sort_unstable_by(f64::total_cmp);
        // A gap differs by two delays.
        let sd_s = NORMAL_SD * off[off.len() / 2] * core::f64::consts::FRAC_1_SQRT_2;
        let is_steady = sd_s < FOLDED * beat_s;
        if is_steady { sd_s.max(LEAST_SD_S) } else { burst_sd_s.clamp(UNHEARD_SD_S, MOST_SD_S) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Anything from 0 to 1, the same each time.
    fn chance(i: u32) -> f64 {
        f64::from(i.wrapping_mul(2_654_435_761).rotate_left(13).wrapping_mul(2_246_822_519) >> 16) / 65536.0
    }

    /// Spread after receipts that are so late, s, of a beat of a tenth of a second, where some are lost.
    fn told(late_s: impl Fn(u32) -> f64, lost: impl Fn(u32) -> bool) -> f64 {
        let mut beat = Beat::default();
        for i in (0..200).filter(|i| !lost(*i)) {
            beat.hear(libm::round((0.1 * f64::from(i) + late_s(i)) * 1e9) as i64);
        }
        beat.sd_s()
    }

    #[test]
    fn steady_packets_are_known_in_time_as_well_as_they_are_steady() {
        let jitter = |i: u32| 0.03 * chance(i);
        assert_eq!(told(|_| 0.03, |_| false), LEAST_SD_S);
        // Uniform over 30 ms is 9 ms.
        let sd_s = told(|i| 1.5 * jitter(i), |_| false);
        assert!((0.009..0.02).contains(&sd_s), "{sd_s}");
        let with_losses = told(|i| 1.5 * jitter(i), |i| i % 4 == 1 || i % 7 == 2);
        assert!((0.009..0.02).contains(&with_losses), "{with_losses}");
    }

    #[test]
    fn bursts_are_as_uncertain_as_they_are_long_and_few_packets_as_always() {
        // Six at once, as late as the newest of them is young.
        let sd_s = told(|i| 0.1 * f64::from(5 - i % 6), |_| false);
        assert!((0.1..0.25).contains(&sd_s), "{sd_s}");
        // Up to a beat late now and then is no steadiness either.
        let sd_s = told(|i| 0.1 * chance(i), |_| false);
        assert!(sd_s >= UNHEARD_SD_S, "{sd_s}");
        let mut few = Beat::default();
        (0..5).for_each(|i| few.hear(100_000_000 * i));
        assert_eq!(few.sd_s(), UNHEARD_SD_S);
    }

    #[test]
    fn any_receipts_have_a_spread() {
        for step_ns in [0, 1, 3_000_000, 7_000_000_000, i64::MAX / 64] {
            let mut beat = Beat::default();
            for i in 0..60 {
                beat.hear(step_ns * (i % 50));
                let sd_s = beat.sd_s();
                assert!((LEAST_SD_S..=MOST_SD_S).contains(&sd_s), "{step_ns} {i}: {sd_s}");
            }
        }
    }
}
