//! A receiver that is all there is, and is doubted.
//!
//! Fixes that move as a free body does, place by velocity and velocity by gravity and drag, for a while, are where it is. A
//! receiver that has lost the sky stands still, or coasts on with the velocity that it had.

use libm::{exp, sqrt};
use serde::{Deserialize, Serialize};

use crate::filter::Filter;
use crate::model::Model;
use crate::plan::Told;
use crate::sample::Sample;
use crate::state::{H, LNK, VU};

/// How long a fix must move as a free body does before it is believed against everything else, s: with velocities told, and
/// with fixes alone.
const ALONE_S: (f64, f64) = (0.7, 1.2);
/// Fixes that are closer in time than this say nothing of a velocity, s: half a metre of noise at each end is a metre a second.
const APART_S: f64 = 0.6;
/// Least loss of climb, m/s2: less than gravity's, as velocities are smoothed by the receiver.
const LOSES_MPS2: f64 = 7.0;
/// A drag over the told one beyond which a body does not slow down, but a receiver walks back to where it is.
const DRAG_MOST: f64 = 2.5;

/// How old the older one of two fixes may be, s, that a belief begins by, and what share of their climb they leave open, one standard
/// deviation (common practice, no source): they may be on their way back to where they should be.
const FRESH_S: f64 = 4.0;
const UNSURE: f64 = 0.1;
/// How far from what was told such fixes may lie, in standard deviations: beyond it they are still on their way.
const MAY_SD: f64 = 2.5;

/// A fix with its velocity, and since when, from which climb rate on, fixes have moved as a free body does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Seen {
    t_s: f64,
    at_m: [f64; 3],
    /// Told, or over the way from the fix before: then of the instant between them.
    velocity: Option<Moving>,
    since: Option<Moving>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Moving {
    t_s: f64,
    mps: [f64; 3],
}

impl Filter {
    /// Takes a fix of a receiver that is doubted and alone.
    pub(crate) fn gnss_alone(&mut self, m: &Model, s: &Sample, at_m: Option<[f64; 3]>) {
        let Some(at_m) = at_m else { return };
        let told = s.velocity.and_then(|v| v.horizontal_mps.zip(v.up_mps));
        let before = self.gnss_last;
        let dt = before.map_or(f64::INFINITY, |b| self.t_s - b.t_s);
        if told.is_none() && dt < APART_S {
            return;
        }
        let velocity = match (told, before) {
            (Some(([e, n], u)), _) => Some(Moving { t_s: self.t_s, mps: [e, n, u] }),
            (None, Some(b)) if dt < 2.0 => {
                let mps = core::array::from_fn(|i| (at_m[i] - b.at_m[i]) / dt);
                Some(Moving { t_s: self.t_s - 0.5 * dt, mps })
            }
            _ => None,
        };
        self.gnss_last = Some(Seen { t_s: self.t_s, at_m, velocity, since: None });
        let (Some(before), Some(v)) = (before, velocity) else { return };
        let Some(v0) = before.velocity else { return };
        let a = (v.mps[2] - v0.mps[2]) / (v.t_s - v0.t_s);
        let free = if told.is_some() {
            let off = at_m[2] - before.at_m[2] - 0.5 * (v.mps[2] + v0.mps[2]) * dt;
            a < -4.0 && a > -80.0 && off.abs() < 2.0 + 0.15 * (v.mps[2] * dt).abs()
        } else {
            let k = exp(self.moments(LNK).0);
            let slows = 9.8 + DRAG_MOST * k * v.mps.iter().map(|v| v * v).sum::<f64>();
            v.mps[2] > 8.0 && a < 2.0 && a > -slows - 6.0
        };
        if !(0.02..2.0).contains(&dt) || !free {
            return;
        }
        let since = before.since.unwrap_or(v0);
        self.gnss_last = Some(Seen { t_s: self.t_s, at_m, velocity, since: Some(since) });
        let span = v.t_s - since.t_s;
        let slowed = (v.mps[2] - since.mps[2]) / span;
        if span < if told.is_some() { ALONE_S.0 } else { ALONE_S.1 } || slowed > -LOSES_MPS2 {
            return;
        }
        if self.regime.burning {
            self.end_burn(m, self.t_s);
        }
        let a = if told.is_some() { a } else { slowed };
        self.begin_where_it_is(at_m, v, a, told.is_some());
    }

    /// A liftoff that only fixes showed, and that is in coast by now: where the newest are the body is, if it may be there by what was told,
    /// though none was believed of those under power. They have shown no more than that they climb, so that their speed is known less than
    /// it would be. Says whether they are enough.
    pub(crate) fn begin_by_fixes(&mut self, m: &Model, samples: &[Sample]) -> bool {
        // When it came, and where it is.
        let mut newest: Option<(f64, [f64; 3])> = None;
        for s in samples.iter().rev().filter(|s| s.t_s > self.t_s - FRESH_S) {
            let Some((e, n, Some(up))) = Self::fix_enu(m, s) else { continue };
            let at = [e, n, up];
            let at_m: [f64; 3] = core::array::from_fn(|i| at[i] - self.zero_gnss_m[i].value);
            // The same place again is the same fix in another packet: it is of when it came first.
            let Some((last_s, last_m)) = newest.filter(|(_, last_m)| *last_m != at_m) else {
                newest = Some((s.t_s, at_m));
                continue;
            };
            let dt = last_s - s.t_s;
            if dt < APART_S {
                // A quick receiver soon shows whether it moves as a free body does.
                return false;
            }
            let mps = core::array::from_fn(|i| (last_m[i] - at_m[i]) / dt);
            if !self.may_be(H, last_m[2], 0.0) || !self.may_be(VU, mps[2], 0.5 * dt * 9.8) {
                return false;
            }
            let k = exp(self.moments(LNK).0);
            let slows = -9.8 - k * mps.iter().map(|v| v * v).sum::<f64>();
            // It may have come some packets ago.
            let since_s = self.t_s - last_s;
            let now_m = core::array::from_fn(|i| last_m[i] + since_s * mps[i]);
            self.begin_where_it_is(now_m, Moving { t_s: last_s - 0.5 * dt, mps }, slows, false);
            let unsure = UNSURE * libm::fabs(mps[2]);
            for b in self.blobs.iter_mut() {
                b.p[VU][VU] += unsure * unsure;
            }
            return true;
        }
        false
    }

    /// Whether a state may be so, off by so much more or less.
    fn may_be(&self, state: usize, value: f64, by: f64) -> bool {
        let (mean, variance) = self.moments(state);
        libm::fabs(value - mean) < MAY_SD * sqrt(variance) + by
    }

    /// The belief anew from a fix and its velocity.
    fn begin_where_it_is(&mut self, at_m: [f64; 3], v: Moving, a: f64, told: bool) {
        let Some(mut b) = self.likeliest() else { return };
        self.blobs.clear();
        b.ln_w = 0.0;
        let since = self.t_s - v.t_s;
        let mps = [v.mps[0], v.mps[1], v.mps[2] + since * a];
        let speed2 = mps.iter().map(|v| v * v).sum::<f64>();
        // Velocities over the way between fixes are of their noise, and drag goes on falling.
        let rough = if told { 1.0 } else { 9.0 + (0.5 * since * a) * (0.5 * since * a) };
        for i in 0..3 {
            let place = Told { value: at_m[i], sd: 3.0 };
            let speed = Told { value: mps[i], sd: sqrt(rough + 1e-4 * speed2) };
            b.was_at(i, place, speed, if i == 2 { a } else { 0.0 });
        }
        self.blobs.push(b);
        self.gnss_doubted = false;
        self.gnss_last = None;
        self.flat_known = true;
    }
}
