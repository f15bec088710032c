//! Canopies: their opening is supposed, and seen.
//!
//! ln k jumps by five or six when a parachute opens, which no wandering follows. While one may open a copy of the belief
//! under the told drag is held against the belief that it has not; what is measured next decides.

use libm::sqrt;

use crate::filter::{Canopy, Filter};
use crate::model::Model;
use crate::motion::airspeed;
use crate::output::{EventKind, Phase};
use crate::sensors::Channel;
use crate::state::{H, LNK, VE, VN, VU};

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
/// Height below which nothing that is stopped is taken for a canopy that opens, m: a barometer is off by so much after a flight (common
/// practice, no source).
const OPENS_ABOVE_M: f64 = 5.0;
/// How long a body hangs at one angle, s; how long after its time an opening is felt for, s; spread of what is felt beyond noise, m/s2, and
/// of the pull, a share of it; and how often a spin feels like anything within so many m/s2 (common practice, no source).
/// Longer: a failure is said later; shorter: what hangs across its pull is no canopy.
const PULL_LASTS_S: f64 = 0.5;
const PULL_FOR_S: f64 = 1.0;
const PULL_SD_MPS2: f64 = 0.5;
const PULL_SHARE: f64 = 0.25;
const SPINS: f64 = 0.1;
const SPUN_MPS2: f64 = 100.0;
/// Least force beyond what is expected that a canopy's pull is taken from, m/s2, and spreads of that; and how long ago its charge fired then, s (common
/// practice, no source). Smaller: knocks are taken for canopies; larger: slow flights are stopped unseen.
const PULLED_MPS2: f64 = 8.0;
const PULLED_SPREADS: f64 = 4.0;
const PULLED_SINCE_S: f64 = 0.2;
/// How long such a canopy is supposed to be opening, and how long after a cue what it does is felt, s (common practice, no source).
const PULLS_FOR_S: f64 = 2.0;
const KNOCKS_FOR_S: f64 = 1.5;
/// Spread of a dated opening, s.
const CANOPY_DATED_S: f64 = 0.35;
/// Diameters of the way on which a canopy fills (Knacke 1992, ch. 5, from memory: 8 for solid flat circular ones), and the
/// drag coefficient of its nominal area (the same: 0.75 to 0.8).
const FILL_DIAMETERS: f64 = 8.0;
const FILL_CD: f64 = 0.75;
/// Least speed that a canopy fills at, m/s, and the longest time it takes, s: wind and its own fall see to that (common practice,
/// no source). Time of one that springs open, s.
const FILLS_AT_MPS: f64 = 5.0;
const MOST_FILL_S: f64 = 2.5;
const SPRINGS_S: f64 = 0.1;
/// Time within which a charge's gas in the barometer's bay says that a canopy is on its way, s (common practice, no source).
const CHARGE_OPENS_S: f64 = 1.0;
/// How long after it was seen an opening is in what a receiver says of the climb, s: its lag, and the rest of the filling.
const OPENING_HEARD_S: f64 = 1.0;

/// How long a canopy of this drag area, m2, takes to fill at an airspeed, m/s: between a tenth of a second and 2.5 s.
#[must_use]
pub fn canopy_fill_s(drag_area_m2: f64, airspeed_mps: f64) -> f64 {
    let diameter_m = sqrt(4.0 * drag_area_m2.max(0.0) / (core::f64::consts::PI * FILL_CD));
    (FILL_DIAMETERS * diameter_m / airspeed_mps.max(FILLS_AT_MPS)).clamp(SPRINGS_S, MOST_FILL_S)
}

impl Filter {
    /// While a canopy may open, its opening just now is held against the belief that it has not: copies
    /// under the told drag, which either win by what is measured next or are dropped.
    pub(crate) fn suppose_canopy(&mut self) {
        let Some(mut c) = self.canopy else { return };
        if !self.may_hang() || self.t_s < c.from_s || self.t_s < c.tried_s + CANOPY_EVERY_S {
            return;
        }
        if self.t_s > c.until_s {
            self.canopy = None;
            if self.phase == Phase::Coasting {
                self.regime.coasts();
            }
            return;
        }
        c.tried_s = self.t_s;
        self.canopy = Some(c);
        // All suppositions at its time together have the odds of an opening.
        let open_within = |s: f64| 1.0 - libm::pow(CANOPY_FAILS, 1.0 / (s / CANOPY_EVERY_S).max(1.0));
        let share = if self.t_s < c.planned_s {
            open_within(c.planned_s - c.from_s)
        } else if c.device && self.puffed_within(CHARGE_OPENS_S) {
            open_within(CHARGE_OPENS_S)
        } else {
            CANOPY_SHARE
        };
        let slowly = c.device && (self.t_s - c.from_s) / CANOPY_EVERY_S % 2.0 < 1.0;
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
            // It may spring open, or fill on its way: one try each in turn.
            let v = libm::hypot(libm::hypot(shut.x[VE], shut.x[VN]), shut.x[VU]);
            open.shut_k = shut.k_at(self.t_s).0;
            open.fill_s = if slowly { canopy_fill_s(c.drag_area_m2, v) } else { SPRINGS_S };
            open.reopen(LNK, c.sd * c.sd);
            // It may have opened at any moment since the last time it was supposed.
            let slowed = if open.fill_s > CANOPY_EVERY_S { 0.05 } else { 0.3 } * shut.x[VU];
            open.p[VU][VU] += slowed * slowed;
            if self.blobs.push(open) {
                self.blobs[i].ln_w += libm::log1p(-share);
            }
        }
    }

    /// What is felt along the nose while something may be opening: a canopy pulls with all of the drag, at whatever angle to the nose the
    /// body hangs, and without one there is next to none. It only weighs: how it hangs says nothing of how fast it falls.
    pub(crate) fn feel_pull(&mut self, m: &Model, z: f64) {
        let Some(c) = self.canopy else { return };
        if !c.device || self.about.is_some() || self.t_s < c.from_s || self.t_s > c.planned_s + PULL_FOR_S {
            return;
        }
        let since_s = (self.t_s - self.sensors.get(Channel::Axial).taken_s).clamp(0.0, PULL_LASTS_S);
        let felt = self.unbiased(z);
        let own_sd = libm::hypot(sqrt(self.sensors.variance(Channel::Axial)), PULL_SD_MPS2);
        for b in self.blobs.iter_mut() {
            let (_, v) = airspeed(m, &b.x);
            let drag = b.k_at(self.t_s).0 * m.air.density_ratio(b.x[H]).0 * v * v;
            let sd = libm::hypot(own_sd, PULL_SHARE * drag);
            let below = |x: f64| 0.5 * libm::erfc(-x / (sd * core::f64::consts::SQRT_2));
            let most = drag.max(0.1 * sd);
            let anyhow = (below(felt + most) - below(felt - most)) / (2.0 * most);
            let density = (1.0 - SPINS) * anyhow + SPINS / SPUN_MPS2;
            b.ln_w += since_s / PULL_LASTS_S * libm::log(density);
        }
        self.sensors.of(Channel::Axial).taken_s = self.t_s;
    }

    /// On the way up, with nothing left to burn and nothing due, a second force in a row that is not drag is what pulls when a canopy opens
    /// too soon: the next one in the plan is supposed to.
    pub(crate) fn pulls_unplanned(&mut self, m: &Model, beyond_mps2: f64) -> bool {
        let again = self.sensors.get(Channel::Axial).rejects > 0;
        let coasts = self.phase == Phase::Coasting && m.stages.get(self.regime.stage + 1).is_none();
        let by_plan = self.cue_s.iter().flatten().any(|t| (t - self.t_s).abs() < KNOCKS_FOR_S);
        if !again || !coasts || by_plan || self.about.is_some() {
            return false;
        }
        if beyond_mps2.abs() < PULLED_MPS2 + PULLED_SPREADS * self.force_spread(m) {
            return false;
        }
        let descents = m.plan.bodies.get(self.body).map_or(&[][..], |b| &b.descents);
        let next = descents.iter().find(|d| self.cue_s.get(d.cue).is_some_and(Option::is_none));
        let Some(cue) = next.filter(|d| d.state.is_device()).map(|d| d.cue) else { return false };
        self.cue_acts(m, cue, self.t_s - PULLED_SINCE_S, 0.5 * PULLED_SINCE_S);
        // Nobody planned it: the odds are those of an opening after its time.
        if let Some(c) = self.canopy.as_mut() {
            (c.planned_s, c.until_s) = (c.from_s, self.t_s + PULLS_FOR_S);
        }
        true
    }

    /// Sees an opening: the belief is under the told drag, give or take a factor, and sure of it.
    pub(crate) fn see_canopy(&mut self) {
        let Some(c) = self.canopy else { return };
        if !self.may_hang() || !c.device || self.t_s < c.from_s {
            return;
        }
        let (ln_k, var) = self.moments(LNK);
        if ln_k - 1.6 * sqrt(var) < c.ln_k - CANOPY_NEAR {
            return;
        }
        // The ground stops as a canopy does.
        let (height_m, height_var) = self.moments(H);
        if height_m - 2.0 * sqrt(height_var) < OPENS_ABOVE_M {
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
        self.canopy_seen_s = self.t_s;
    }

    /// Whether a canopy may be opening, or has just done so.
    pub(crate) fn is_opening(&self) -> bool {
        let supposed = self.canopy.is_some_and(|c| c.device && self.t_s >= c.from_s);
        self.may_hang() && (supposed || self.t_s < self.canopy_seen_s + OPENING_HEARD_S)
    }

    /// Whether what holds it back is out or may be, on the way up too: it falls, or a cue before apogee has opened something. It does not
    /// fly along its nose then.
    pub(crate) fn may_hang(&self) -> bool {
        let seen = |k| self.marked(k).is_some_and(|k| k.t_s <= self.t_s);
        match self.phase {
            Phase::Descending => true,
            Phase::Coasting => {
                self.canopy.is_some_and(|c| self.t_s >= c.from_s)
                    || seen(EventKind::FirstChute)
                    || seen(EventKind::MainChute)
            }
            _ => false,
        }
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
