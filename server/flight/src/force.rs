//! Specific force along the nose: thrust minus drag under power, drag alone in coast.
//!
//! Under power it is followed, whatever the told curve says; a surprise is a step of thrust. At the end of the
//! accelerometer's range it says "at least so much".

use libm::sqrt;

use crate::filter::Filter;
use crate::fuse::Number;
use crate::model::Model;
use crate::motion::{across_per_rad, air_cov, airspeed, axial_force, heading};
use crate::output::Phase;
use crate::phase::FALLS_S;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{AB, AS, Blob, D, H, LNK, Row, SHAPE, TAU, VE, VN, VU, WE, WN};

/// Least spread of a thrust that goes beyond the accelerometer's range, over that range's end: told means say little of how a curve
/// runs (common practice, no source).
const AT_LEAST_SHARE: f64 = 0.1;
/// Standard deviation of a moment that lies anywhere in a gap, over the gap.
const STEP_ANYWHERE: f64 = 0.29;
/// Least force that no drag and no offset of an accelerometer gives in coast, m/s2 (common practice, no source).
const STILL_PUSHED_MPS2: f64 = 6.0;
/// Longest gap that two forces say something of together, s.
const LONGEST_GAP_S: f64 = 2.0;

/// Spread of the angle at which a body flies under power, beforehand, rad, and what is believed at most; errors of the force across:
/// its own, m/s2, and of the axes, a share of the force along the nose (common practice, no source).
const ASLANT_SD_RAD: f64 = 0.15;
const MOST_ASLANT_RAD: f64 = 0.5;
const ACROSS_SD_MPS2: f64 = 1.0;
const ACROSS_SHARE: f64 = 0.02;

impl Filter {
    pub(crate) fn take_axial(&mut self, m: &Model, s: &Sample) {
        let Some(z) = s.axial_mps2.filter(|f| f.is_finite() && f.abs() < 5000.0) else { return };
        if self.phase == Phase::Down {
            return;
        }
        if self.may_hang() {
            self.feel_pull(m, z);
            return;
        }
        if self.may_swing() {
            return;
        }
        // At the end of its range: the greatest value, over 5 g, more than once.
        if z > self.axial_top {
            self.axial_top = z;
            self.axial_top_run = 0;
        } else if z == self.axial_top {
            self.axial_top_run += 1;
        }
        let saturated = (z >= self.axial_top && z > 49.0 && self.axial_top_run >= 1) || full_scale(z);
        self.goes_on(m, z);
        let (mean_f, slack) = self.expected_force(m);
        let noise = self.sensors.variance(Channel::Axial);
        if saturated {
            self.watch_force(m, s.t_s, z);
            let told = at_least(mean_f, self.force_spread(m).max(AT_LEAST_SHARE * z), z);
            if let Some((value, variance)) = told.filter(|_| self.regime.burning) {
                self.open_thrust(m, s.t_s, value, variance);
                self.take_force(m, s.t_s, value, variance);
            } else {
                self.sensors.of(Channel::Axial).taken_s = self.t_s;
            }
            self.has_felt(self.expected_force(m).0);
            self.after_force(m, s.t_s);
            return;
        }
        if self.sensors.of(Channel::Axial).frozen(z, mean_f, 5.0 * sqrt(noise) + 0.5 + 2.0 * slack) {
            return;
        }
        self.watch_force(m, s.t_s, z);
        let burning = self.regime.burning;
        if self.pulls_unplanned(m, z - mean_f) {
            self.feel_pull(m, z);
            return;
        }
        let share = if burning { 0.01 } else { 0.0 };
        // A long body flies a little aslant: part of drag is felt across.
        let slant = 0.02 * mean_f.abs();
        let (aslant, aslant_variance) = self.aslant(m, s, z);
        let z = z - aslant;
        let variance = noise + (share * z) * (share * z) + slant * slant + aslant_variance;
        if burning {
            self.open_thrust(m, s.t_s, z, variance);
        }
        self.take_force(m, s.t_s, z, variance);
        self.has_felt(self.unbiased(z));
        self.after_force(m, s.t_s);
    }

    /// Whether what is felt along the axis may lie any way to the path: a piece that was let go has fins and mass for the whole, swings and
    /// turns over, and an axis that turns through the path would say of drag whatever one likes.
    fn may_swing(&self) -> bool {
        self.body > 0
    }

    /// How much less pushes along the path than along the nose of a body that flies aslant under power, m/s2, and its variance: at an
    /// angle `a` to the airspeed thrust loses `f (1 - cos a)` and the force across brakes with its `sin a`. The force across
    /// tells the angle, against a small one beforehand: just off the rail it says little.
    fn aslant(&self, m: &Model, s: &Sample, z: f64) -> (f64, f64) {
        let Some(across) = s.lateral_mps2.map(|[y, z]| libm::hypot(y, z)).filter(|f| f.is_finite()) else {
            return (0.0, 0.0);
        };
        if !self.regime.burning {
            return (0.0, 0.0);
        }
        let (mut per_rad, mut all) = (0.0, 0.0);
        for (w, b) in self.weights().iter().zip(self.blobs.iter()) {
            if let Some(p) = across_per_rad(m, &self.regime, b, s.t_s) {
                (per_rad, all) = (per_rad + w * p, all + w);
            }
        }
        if all < 0.5 {
            return (0.0, 0.0);
        }
        per_rad /= all;
        let noise = ACROSS_SD_MPS2 * ACROSS_SD_MPS2 + (ACROSS_SHARE * z) * (ACROSS_SHARE * z);
        let before = ASLANT_SD_RAD * ASLANT_SD_RAD;
        let gain = per_rad * before / (per_rad * per_rad * before + noise);
        let angle = (gain * across).min(MOST_ASLANT_RAD);
        let left = before * (1.0 - gain * per_rad);
        let per_square = 0.5 * z.max(0.0) + per_rad;
        (per_square * angle * angle, 4.0 * per_square * per_square * angle * angle * left)
    }

    /// Thrust may do anything. A surprise is a step at some moment since the last value, and so is its end: where in the gap it
    /// came the told curve does not know. Thrust is opened, and the speed gained meanwhile is the one of a step that comes
    /// anywhere in the gap with the same likelihood.
    fn open_thrust(&mut self, m: &Model, t: f64, z: f64, variance: f64) {
        if self.about.is_some() {
            // A smoother's thrust wanders as much before a step as after it.
            return;
        }
        let record = self.sensors.get(Channel::Axial);
        let gap = if record.heard { (self.t_s - record.taken_s).clamp(0.0, LONGEST_GAP_S) } else { 0.0 };
        let ends = self.tally == 1;
        let felt = self.felt.filter(|f| self.t_s - f.0 < LONGEST_GAP_S);
        // Between two values that are known thrust wanders as it does anywhere (a Brownian bridge).
        let r = self.regime;
        let wander = 2.0 * r.thrust_sd * r.thrust_sd / r.thrust_tau_s.max(1e-3);
        for b in self.blobs.iter_mut() {
            let f = axial_force(m, &self.regime, b, t);
            let y = z - (f.f * (1.0 + b.x[AS]) + b.x[AB]);
            let surprise = y * y > 4.0 * (b.p[D][D] + variance);
            if !(surprise || ends && felt.is_some()) {
                continue;
            }
            let along = heading(m, b);
            let step = y * y;
            let Some((then_s, then)) = felt else {
                // Nothing was felt under power before: the belief itself weighs the step against the speed.
                b.p[D][D] += step;
                for i in 0..3 {
                    let with_d = 0.5 * gap * step * along[i];
                    b.p[D][VE + i] += with_d;
                    b.p[VE + i][D] += with_d;
                    for j in 0..3 {
                        b.p[VE + i][VE + j] += step * gap * gap / 3.0 * along[i] * along[j];
                    }
                }
                continue;
            };
            let now = (z - b.x[AB]) / (1.0 + b.x[AS]);
            let since_s = self.t_s - then_s;
            let more = 0.5 * (then + now) * since_s - b.gained_mps;
            // A thrust that takes longer than the gap to change is nearly straight in it.
            let step_sd = (now - then).abs() * STEP_ANYWHERE * since_s * since_s / (since_s + FALLS_S);
            let sd = sqrt(step_sd * step_sd + wander * since_s * since_s * since_s / 12.0);
            b.reopen(D, b.p[D][D] + step);
            b.gain_speed(along, more, sd, since_s);
        }
    }

    /// A burn that was taken to be over in a silence, by its told time, is not where the next force still pushes.
    fn goes_on(&mut self, m: &Model, z: f64) {
        let unfelt = self.felt.is_some_and(|f| self.t_s - f.0 < LONGEST_GAP_S);
        if self.about.is_none()
            && unfelt
            && self.phase == Phase::Coasting
            && !self.regime.burning
            && self.unbiased(z) > STILL_PUSHED_MPS2
        {
            self.keep_burning(m);
        }
    }

    /// Remembers a force under power, and counts the speed gained since it anew.
    fn has_felt(&mut self, f: f64) {
        self.felt = self.regime.burning.then_some((self.t_s, f));
        for b in self.blobs.iter_mut() {
            b.gained_mps = 0.0;
        }
    }

    fn take_force(&mut self, m: &Model, t: f64, z: f64, variance: f64) {
        let regime = self.regime;
        let known = self.about.is_some();
        let view = |b: &Blob| {
            let f = axial_force(m, &regime, b, t);
            // Drag goes with the square of an airspeed whose direction may be anywhere on a ring: its mean over the blob is not
            // that of the blob's mean (second-order filter, Jazwinski 1970, ch. 9; from memory).
            // Under power what is felt is what moves the mean: thrust takes the difference, or the speed would grow by it.
            let (more, bent) = if known || regime.burning { (0.0, 0.0) } else { bend(m, b, f.drag) };
            let g = 1.0 + b.x[AS];
            let row = Row::new()
                .with(H, g * f.by_h)
                .with(VE, g * f.by_v[0])
                .with(VN, g * f.by_v[1])
                .with(VU, g * f.by_v[2])
                .with(LNK, -g * f.drag)
                .with(SHAPE, g * f.by_shape)
                .with(WE, -g * f.by_v[0])
                .with(WN, -g * f.by_v[1])
                .with(TAU, g * f.thrust)
                .with(D, g)
                .with(AB, 1.0)
                .with(AS, f.f);
            (g * (f.f - more) + b.x[AB], row.and_bent(g * g * bent))
        };
        self.take_number(&Number::after(5, Channel::Axial, z, variance), &view);
    }

    /// How far the force may lie from the expected one by what is not known of thrust and drag.
    pub(crate) fn force_spread(&self, m: &Model) -> f64 {
        let variance = self.weights().iter().zip(self.blobs.iter()).fold(0.0, |sum, (w, b)| {
            let f = axial_force(m, &self.regime, b, self.t_s);
            let (thrust, drag) = (f.thrust * f.thrust * b.p[TAU][TAU], f.drag * f.drag * b.p[LNK][LNK]);
            sum + w * (b.p[D][D] + thrust + drag)
        });
        sqrt(variance)
    }

    /// Mean expected axial reading and its spread.
    fn expected_force(&self, m: &Model) -> (f64, f64) {
        let w = self.weights();
        let (mut f, mut d) = (0.0, 0.0);
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            f += w * axial_force(m, &self.regime, b, self.t_s).f;
            d += w * b.p[D][D];
        }
        (f, sqrt(d))
    }
}

/// What the spread of a blob's airspeed adds to its mean drag, m/s2, and the variance of that: drag goes with its square. What that of ln k
/// adds is not in: the value is compared where it leads to, not at the mean.
fn bend(m: &Model, b: &Blob, drag: f64) -> (f64, f64) {
    let (_, v) = airspeed(m, &b.x);
    if v < 1.0 {
        return (0.0, 0.0);
    }
    let cov = air_cov(&b.p);
    let per = drag / (v * v);
    let (mut trace, mut square) = (0.0, 0.0);
    for i in 0..3 {
        trace += cov[i][i];
        for j in 0..3 {
            square += cov[i][j] * cov[i][j];
        }
    }
    (per * trace, 2.0 * per * per * square)
}

/// What a value beyond the end of a range says of a Gaussian: the measurement, and its variance, that leave the mean and the variance of
/// the Gaussian cut off below the end (Johnson, Kotz and Balakrishnan 1994, ch. 13.10, from memory). None where it says next to nothing.
fn at_least(mean: f64, sd: f64, end: f64) -> Option<(f64, f64)> {
    let off = (end - mean) / sd;
    if off < -2.0 {
        return None;
    }
    // Density over what is left above; far out by its asymptote.
    let hazard = if off > 5.0 {
        off + 1.0 / off
    } else {
        0.797_884_560_802_865_4 * libm::exp(-0.5 * off * off)
            / libm::erfc(off * core::f64::consts::FRAC_1_SQRT_2)
    };
    let gone = (hazard * (hazard - off)).clamp(1e-3, 0.999);
    Some((mean + sd * hazard / gone, sd * sd * (1.0 - gone) / gone))
}

/// Whether a value lies at the end of a usual range, to half a per cent: makers' full scales are whole numbers of g.
fn full_scale(z: f64) -> bool {
    [8.0, 16.0, 24.0, 32.0, 50.0, 64.0, 100.0, 200.0].iter().any(|n| (z / (n * 9.806_65) - 1.0).abs() < 0.005)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_beyond_the_range_leaves_the_gaussian_cut_off_below_its_end() {
        for (mean, sd, end) in
            [(200.0, 30.0, 235.0), (235.0, 20.0, 235.0), (260.0, 30.0, 235.0), (100.0, 35.0, 235.0)]
        {
            // The cut Gaussian's moments by summing it up.
            let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
            for i in 0..400_000 {
                let x = end + 5e-4 * sd * (f64::from(i) + 0.5);
                let w = libm::exp(-0.5 * (x - mean) * (x - mean) / (sd * sd));
                (sum, first, second) = (sum + w, first + w * x, second + w * x * x);
            }
            let cut = first / sum;
            let spread = sqrt(second / sum - cut * cut);
            let (value, variance) = at_least(mean, sd, end).expect("says something");
            let gain = sd * sd / (sd * sd + variance);
            let (left, left_sd) = (mean + gain * (value - mean), sd * sqrt(1.0 - gain));
            assert!(
                (left - cut).abs() < 0.02 * sd && (left_sd - spread).abs() < 0.02 * sd,
                "{left} {left_sd}: {cut} {spread}"
            );
        }
        assert_eq!(at_least(300.0, 20.0, 235.0), None, "far above, as was thought");
    }
}
