//! Canopies: their opening is supposed, and seen.
//!
//! ln k jumps by five or six when a parachute opens, which no wandering follows. While one may open a light copy of the belief
//! under the told drag is held against the belief that it has not; what is measured next decides.

use libm::sqrt;

use crate::filter::{Canopy, Filter};
use crate::output::{EventKind, Phase};
use crate::state::{LNK, VU};

/// How late a canopy may open and still be expected, s; how often its opening is supposed, s; and with what weight (an
/// opening once in a few seconds). Larger weight: false openings under gusts; smaller: real ones are seen later.
pub(crate) const CANOPY_LATE_S: f64 = 10.0;
const CANOPY_EVERY_S: f64 = 0.25;
const CANOPY_SHARE: f64 = 0.05;
/// ln k by which drag may be below the told one and still be the canopy's, and how long its opening takes to be seen, s.
const CANOPY_NEAR: f64 = 1.0;
const CANOPY_SEEN_S: f64 = 0.5;
/// Spread of a dated opening, s.
const CANOPY_DATED_S: f64 = 0.35;

impl Filter {
    /// While a canopy may open, its opening just now is held against the belief that it has not: a copy of the likeliest
    /// blob under the told drag, light, which either wins by what is measured next or is dropped.
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
        let Some(best) = self.likeliest() else { return };
        if best.x[LNK] > c.ln_k - 3.0 * c.sd {
            return;
        }
        let mut open = best;
        open.ln_w += libm::log(CANOPY_SHARE);
        open.x[LNK] = c.ln_k;
        open.opened_s = self.t_s - 0.5 * CANOPY_EVERY_S;
        open.reopen(LNK, c.sd * c.sd);
        // It may have opened at any moment since the last time it was supposed.
        let slowed = 0.3 * best.x[VU];
        open.p[VU][VU] += slowed * slowed;
        self.blobs.push(open);
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
