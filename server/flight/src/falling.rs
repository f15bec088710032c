//! What a falling body cannot do, and what an ejection charge does to a barometer.
//!
//! After apogee nothing pushes: a body falls no faster than free fall since apogee allows, climbs no faster than an
//! updraft, and its drag is at most that of its largest device. Each Gaussian is cut at such a bound (moments of a truncated
//! normal distribution, Johnson, Kotz and Balakrishnan 1994, vol. 1, ch. 13.10; the other states follow by regression) and
//! weighs what lay inside. A charge's gas raises the pressure for a moment; when such a surprise has been put aside, the
//! barometer is listened to again when its tail has died away.

use libm::{exp, log, sqrt};

use crate::filter::Filter;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::state::{Blob, LNK, N, VU};

/// Fastest updraft that carries a body under a canopy, m/s (common practice, no source).
const UPDRAFT_MPS: f64 = 5.0;
/// Margin on free fall for what was wrong about apogee, m/s.
const FALL_MARGIN_MPS: f64 = 4.0;
/// ln drag area by which a device may be larger than told.
const LARGER: f64 = 1.0;
/// Least time after apogee from which the bounds hold, s: apogee itself has a spread.
const SETTLED_S: f64 = 0.5;
/// Least surprise, Pa, that is a charge's; smaller ones are noise.
const CHARGE_PA: f64 = 60.0;
/// How long a charge's gas may press on the barometer, s (common practice, no source). Larger: slower to find out that the belief is the
/// one that is wrong.
pub(crate) const CHARGE_LASTS_S: f64 = 1.5;
/// Time in which a charge's gas leaves the bay: to a third, s (common practice, no source).
pub(crate) const VENT_S: f64 = 0.3;

/// What parting does to a piece's barometer at first, Pa, either way: the charge's gas, and ports that no longer lie behind a nose (common
/// practice, no source). Smaller: a piece's drag is found in its own gas.
const PARTING_PA: f64 = 400.0;

/// A charge's pressure in the barometer's bay.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Puff {
    pub(crate) t_s: f64,
    pub(crate) pa: f64,
}

impl Filter {
    /// A pressure was put aside that was too high by this, Pa; too low where what is let go draws on the bay. On the way up what stays as
    /// far off as it was is no gas, and is not noticed again.
    pub(crate) fn notice_puff(&mut self, over_pa: f64) {
        let known_pa = match self.puff {
            Some(p) if self.phase == Phase::Coasting && self.puffed_within(CHARGE_LASTS_S) => p.pa,
            _ => self.puff_pa(),
        };
        if over_pa.abs() > CHARGE_PA.max(known_pa.abs()) {
            self.puff = Some(Puff { t_s: self.t_s, pa: over_pa });
        }
    }

    /// Whether a charge's pressure was noticed this short a time ago.
    pub(crate) fn puffed_within(&self, within_s: f64) -> bool {
        self.puff.is_some_and(|p| self.t_s - p.t_s < within_s)
    }

    /// What may be left of a charge's pressure, Pa.
    pub(crate) fn puff_pa(&self) -> f64 {
        self.puff.map_or(0.0, |p| p.pa * exp(-(self.t_s - p.t_s).max(0.0) / VENT_S))
    }

    /// What may be left of the pressure at a piece's parting, Pa, either way.
    pub(crate) fn parting_pa(&self) -> f64 {
        // Only a piece has that mark.
        self.marked(EventKind::Freed)
            .map_or(0.0, |p| PARTING_PA * exp(-(self.t_s - p.t_s - p.sd_s).max(0.0) / VENT_S))
    }

    /// Cuts the belief at what a falling body cannot do.
    pub(crate) fn bound_fall(&mut self, m: &Model) {
        let Some(top) = self.marked(EventKind::Apogee) else { return };
        let since_s = self.t_s - top.t_s;
        if self.phase != Phase::Descending || since_s < SETTLED_S + top.sd_s || self.apogee_is_early(m) {
            return;
        }
        let fastest = m.gravity(0.0) * (since_s + 2.0 * top.sd_s) + FALL_MARGIN_MPS;
        let devices = m
            .plan
            .bodies
            .get(self.body)
            .into_iter()
            .flat_map(|b| b.descents.iter().map(|d| m.ln_k_under(b, d.drag_area_m2.value)));
        let most = devices.fold(f64::NEG_INFINITY, f64::max) + LARGER;
        for b in self.blobs.iter_mut() {
            cut(b, VU, UPDRAFT_MPS, 1.0);
            cut(b, VU, -fastest, -1.0);
            if most.is_finite() {
                cut(b, LNK, most, 1.0);
            }
        }
    }
}

/// Cuts a Gaussian where `side` times state `i` exceeds `side` times `bound`.
fn cut(b: &mut Blob, i: usize, bound: f64, side: f64) {
    let sd = sqrt(b.p[i][i]);
    let room = side * (bound - b.x[i]) / sd;
    if room > 3.0 {
        return;
    }
    let inside = 0.5 * libm::erfc(-room / core::f64::consts::SQRT_2);
    // Far outside the tail's share is nothing in numbers: what is left lies at the bound.
    let (shift, left) = if inside > 1e-9 {
        let hazard = exp(-0.5 * room * room) / (sqrt(core::f64::consts::TAU) * inside);
        (hazard, (1.0 - hazard * (hazard + room)).clamp(0.01, 1.0))
    } else {
        (-room, 0.01)
    };
    b.ln_w += log(inside.max(1e-9));
    let row: [f64; N] = core::array::from_fn(|j| b.p[i][j] / sd);
    for j in 0..N {
        b.x[j] -= side * shift * row[j];
        for k in 0..N {
            b.p[j][k] -= (1.0 - left) * row[j] * row[k];
        }
    }
    b.hold();
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the moments of a truncated normal distribution summed on a fine grid.
    #[test]
    fn a_cut_gaussian_has_the_moments_of_what_is_left() {
        for (mean, sd, bound) in [(0.0, 1.0, 0.5), (3.0, 2.0, 1.0), (-4.0, 3.0, -4.0), (8.0, 2.0, 3.0)] {
            let mut b = Blob::zero();
            for i in 0..N {
                b.p[i][i] = 1.0;
            }
            b.x[VU] = mean;
            b.p[VU][VU] = sd * sd;
            b.p[VU][LNK] = 0.3 * sd;
            b.p[LNK][VU] = 0.3 * sd;
            b.x[LNK] = -3.0;
            cut(&mut b, VU, bound, 1.0);
            let (mut w, mut s, mut q) = (0.0, 0.0, 0.0);
            for k in 0..400_000 {
                let x = bound - 1e-4 * f64::from(k) * sd;
                let z = (x - mean) / sd;
                let p = exp(-0.5 * z * z);
                w += p;
                s += p * x;
                q += p * x * x;
            }
            let (m, v) = (s / w, q / w - (s / w) * (s / w));
            let share = w * 1e-4 / sqrt(core::f64::consts::TAU);
            assert!((b.x[VU] - m).abs() < 2e-3 * sd, "{} {m}", b.x[VU]);
            assert!((b.p[VU][VU] / v - 1.0).abs() < 5e-3, "{} {v}", b.p[VU][VU]);
            assert!((b.ln_w - log(share)).abs() < 1e-3, "{} {share}", b.ln_w);
            assert!((b.x[LNK] - (-3.0 + 0.3 / sd * (m - mean))).abs() < 2e-3);
        }
    }

    #[test]
    fn what_lies_inside_is_left_alone() {
        let mut b = Blob::zero();
        for i in 0..N {
            b.p[i][i] = 1.0;
        }
        let before = b;
        cut(&mut b, VU, 4.0, 1.0);
        cut(&mut b, VU, -4.0, -1.0);
        assert_eq!(before.x, b.x);
        assert_eq!(before.p, b.p);
    }
}
