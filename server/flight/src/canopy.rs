//! Canopies: their opening is supposed, and seen.
//!
//! ln k jumps by five or six when a parachute opens, which no wandering follows. While one may open a copy of the belief
//! under the told drag is held against the belief that it has not; what is measured next decides.

use libm::sqrt;

use crate::filter::{Canopy, Filter};
use crate::output::{EventKind, Phase};
use crate::state::{LNK, VU};

/// How late a canopy may open and still be expected, s; how often its opening is supposed, s; with what weight after its
/// time (an opening once in a few seconds; larger: false openings under gusts; smaller: real ones are seen later); and how
/// often canopies fail to open when they should (common practice, no source).
pub(crate) const CANOPY_LATE_S: f64 = 10.0;
const CANOPY_EVERY_S: f64 = 0.25;
const CANOPY_SHARE: f64 = 0.05;
const CANOPY_FAILS: f64 = 0.1;
/// Least weight of a Gaussian whose canopy is supposed to open.
const CANOPY_LEAST: f64 = 0.02;
/// ln k by which drag may be below the told one and still be the canopy's, and how long its opening takes to be seen, s.
const CANOPY_NEAR: f64 = 1.0;
const CANOPY_SEEN_S: f64 = 0.5;
/// Spread of a dated opening, s.
const CANOPY_DATED_S: f64 = 0.35;

impl Filter {
    /// While a canopy may open, its opening just now is held against the belief that it has not: copies
    /// under the told drag, which either win by what is measured next or are dropped.
    pub(crate) fn suppose_canopy(&mut self) {
        let Some(mut c) = self.canopy else { return };
        if self.phase != Phase::Descending || self.t_s < c.from_s || self.t_s < c.tried_s + CANOPY_EVERY_S {
            return;
        }
        if self.t_s > c.until_s {
            self.canopy = None;
            return;
        }
        c.tried_s = self.t_s;
        self.canopy = Some(c);
        // All suppositions at its time together have the odds of an opening.
        let share = if self.t_s < c.planned_s {
            let tries = (c.planned_s - c.from_s) / CANOPY_EVERY_S;
            1.0 - libm::pow(CANOPY_FAILS, 1.0 / tries.max(1.0))
        } else {
            CANOPY_SHARE
        };
        let weights = self.weights();
        for (i, weight) in weights.iter().enumerate().take(self.blobs.len()) {
            let shut = self.blobs[i];
            if *weight < CANOPY_LEAST || shut.x[LNK] > c.ln_k - 3.0 * c.sd {
                continue;
            }
            let mut open = shut;
            open.ln_w += libm::log(share);
            open.x[LNK] = c.ln_k;
            open.opened_s = self.t_s - 0.5 * CANOPY_EVERY_S;
            open.reopen(LNK, c.sd * c.sd);
            // It may have opened at any moment since the last time it was supposed.
            let slowed = 0.3 * shut.x[VU];
            open.p[VU][VU] += slowed * slowed;
            if self.blobs.push(open) {
                self.blobs[i].ln_w += libm::log1p(-share);
            }
        }
    }

    /// Sees an opening: the belief is under the told drag, give or take a factor, and sure of it.
    pub(crate) fn see_canopy(&mut self) {
        let Some(c) = self.canopy else { return };
        if self.phase != Phase::Descending || !c.device || self.t_s < c.from_s {
            return;
        }
        let (ln_k, var) = self.moments(LNK);
        if ln_k - 1.6 * sqrt(var) < c.ln_k - CANOPY_NEAR {
            return;
        }
        // A belief that was this wide from the start has seen nothing yet.
        if var > CANOPY_NEAR * CANOPY_NEAR {
            return;
        }
        let kind = if c.main { EventKind::MainChute } else { EventKind::FirstChute };
        if self.marked(kind).is_none() {
            let (at, sd) = self.opened_at(&c);
            self.mark(kind, at, sd);
        }
        self.canopy = None;
    }

    /// When it opened by the blobs that say so, and the spread; half a second before now where it crept in.
    fn opened_at(&self, c: &Canopy) -> (f64, f64) {
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for (w, b) in self.weights().iter().zip(self.blobs.iter()) {
            if b.opened_s >= c.from_s - 1.0 {
                let ago = self.t_s - b.opened_s;
                sum += w;
                mean += w * ago;
                square += w * ago * ago;
            }
        }
        if sum < 0.5 {
            return (self.t_s - CANOPY_SEEN_S, 2.0 * CANOPY_SEEN_S);
        }
        let ago = mean / sum;
        let spread = (square / sum - ago * ago).max(0.0);
        // Filling takes a while, and the told drag is not the true one: a canopy larger than told seems to open later.
        (self.t_s - ago, sqrt(spread + CANOPY_DATED_S * CANOPY_DATED_S))
    }
}
