//! The difference between two clocks, from messages that carry the time of their sending and an echo of what was heard
//! last. A message is never faster than nothing: the smallest way here bounds the difference on one side, the smallest way
//! back on the other. The truth lies between; the middle is taken, and half of what lies between is the spread.

use std::collections::VecDeque;

/// Smallest ways are kept for so many stretches of so many ns each: clocks drift, so older ones go.
const STRETCHES: usize = 6;
const STRETCH_NS: i64 = 10_000_000_000;

/// What is known of another clock.
#[derive(Clone, Debug, Default)]
pub(crate) struct Difference {
    here: Least,
    back: Least,
}

/// An estimate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Estimate {
    /// Own clock minus the other, ns.
    pub(crate) own_minus_other_ns: i64,
    /// The truth is at most so far away, ns, as long as neither clock steps.
    pub(crate) spread_ns: i64,
}

impl Estimate {
    /// How the other clock stands.
    pub(crate) fn in_words(self) -> String {
        let seconds = |ns: i64| ns.unsigned_abs() as f64 / 1e9;
        let word = if self.own_minus_other_ns > 0 { "behind" } else { "ahead" };
        format!(
            "its clock is {:.3} s {word}, at most {:.3} s off",
            seconds(self.own_minus_other_ns),
            seconds(self.spread_ns)
        )
    }
}

/// Smallest values of the last stretches of time.
#[derive(Clone, Debug, Default)]
struct Least(VecDeque<(i64, i64)>);

impl Least {
    fn take(&mut self, now_ns: i64, value_ns: i64) {
        let stretch = now_ns.div_euclid(STRETCH_NS);
        match self.0.back_mut() {
            Some((newest, least)) if *newest == stretch => *least = value_ns.min(*least),
            _ => self.0.push_back((stretch, value_ns)),
        }
        if self.0.len() > STRETCHES {
            self.0.pop_front();
        }
    }

    fn least(&self) -> Option<i64> {
        self.0.iter().map(|(_, least)| *least).min()
    }
}

impl Difference {
    /// A message came: when it was sent by the other clock, and now by the own one. `echo`: when a message of ours was
    /// sent by the own clock, and came by the other one.
    pub(crate) fn take(&mut self, sent_ns: i64, now_ns: i64, echo: Option<(i64, i64)>) {
        self.add(sent_ns, now_ns, echo);
        if self.estimate().is_some_and(|estimate| estimate.spread_ns < 0) {
            // No way takes less than nothing: a clock has been stopped or has drifted. What was known holds no more.
            *self = Self::default();
            self.add(sent_ns, now_ns, echo);
        }
    }

    fn add(&mut self, sent_ns: i64, now_ns: i64, echo: Option<(i64, i64)>) {
        self.here.take(now_ns, now_ns.saturating_sub(sent_ns));
        if let Some((ours_ns, theirs_ns)) = echo {
            self.back.take(now_ns, theirs_ns.saturating_sub(ours_ns));
        }
    }

    /// The estimate, once a message has gone both ways.
    pub(crate) fn estimate(&self) -> Option<Estimate> {
        let (here, back) = (i128::from(self.here.least()?), i128::from(self.back.least()?));
        // Both are differences of clocks plus a way; halves fit what the values fit.
        Some(Estimate {
            own_minus_other_ns: ((here - back) / 2) as i64,
            spread_ns: ((here + back).div_euclid(2)) as i64,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Whatever the delays, the truth lies within the spread, and the spread is at most half of the quickest two ways.
        #[test]
        fn the_truth_lies_within_the_spread(
            truth_ns in -1_000_000_000_000_000_000i64..1_000_000_000_000_000_000,
            ways in prop::collection::vec((0i64..2_000_000_000, 0i64..2_000_000_000), 1..40),
        ) {
            let mut difference = Difference::default();
            let mut now_ns = 1_000_000_000;
            for (to_ns, back_ns) in &ways {
                // We send, it comes there, is answered at once, and the answer comes here.
                let arrives_ns = now_ns + to_ns - truth_ns;
                let echo = (now_ns, arrives_ns);
                now_ns += to_ns + back_ns;
                difference.take(arrives_ns, now_ns, Some(echo));
                now_ns += 1_000_000;
            }
            let estimate = difference.estimate().unwrap();
            prop_assert!((estimate.own_minus_other_ns - truth_ns).abs() <= estimate.spread_ns + 1);
            let newest = ways.last().unwrap();
            prop_assert!(estimate.spread_ns <= i64::midpoint(newest.0, newest.1));
        }
    }

    #[test]
    fn one_way_alone_says_nothing() {
        let mut difference = Difference::default();
        difference.take(0, 5, None);
        assert_eq!(difference.estimate(), None);
    }

    #[test]
    fn a_clock_that_was_stopped_is_found_out() {
        let mut difference = Difference::default();
        let ways = |difference: &mut Difference, now_ns: i64, other_ns: i64| {
            difference.take(other_ns, now_ns + 1_000_000, Some((now_ns - 1_000_000, other_ns)));
        };
        ways(&mut difference, 10_000_000_000, 4_000_000_000);
        assert_eq!(difference.estimate().unwrap().own_minus_other_ns, 6_000_000_000);
        ways(&mut difference, 11_000_000_000, 4_500_000_000);
        assert_eq!(difference.estimate().unwrap().own_minus_other_ns, 6_500_000_000);
    }

    #[test]
    fn what_is_a_minute_old_counts_no_more() {
        let mut difference = Difference::default();
        for second in 0..200i64 {
            // The other clock loses a thousandth; each way takes 5 ms.
            let other_ns = second * 999_000_000;
            let now_ns = second * 1_000_000_000;
            difference.take(other_ns, now_ns + 5_000_000, Some((now_ns - 5_000_000, other_ns)));
        }
        let estimate = difference.estimate().unwrap();
        assert!((estimate.own_minus_other_ns - 199_000_000).abs() < 61_000_000, "{estimate:?}");
    }
}
