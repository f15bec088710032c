//! One Gaussian over everything that is not known: motion, drag, wind, thrust, and the sensors' own errors.
//!
//! The filter's belief is a weighted sum of a few of these (a Gaussian sum, Sorenson and Alspach 1971), spread over
//! the lean at the rail: without a horizontal measurement the horizontal velocity is a ring, and a ring is a sum
//! of blobs, each of them nearly linear. Motion is Cartesian, so nothing is singular in straight flight.

use serde::{Deserialize, Serialize};

use crate::plan::Told;

/// East, north, up of the pad, m.
pub(crate) const E: usize = 0;
pub(crate) const H: usize = 2;
/// Velocity over ground, m/s.
pub(crate) const VE: usize = 3;
pub(crate) const VN: usize = 4;
pub(crate) const VU: usize = 5;
/// ln of the specific drag at pad density, 1/m.
pub(crate) const LNK: usize = 6;
/// Parameter of the drag curve's rise near Mach 1, standard normal.
pub(crate) const SHAPE: usize = 7;
/// Air velocity beyond the told profile, east and north, m/s.
pub(crate) const WE: usize = 8;
pub(crate) const WN: usize = 9;
/// ln thrust acceleration over the told one.
pub(crate) const TAU: usize = 10;
/// Thrust acceleration beyond that, m/s2.
pub(crate) const D: usize = 11;
/// Leading states that a prediction needs.
pub(crate) const PRED: usize = 12;
/// Height by pressure over true height, m: the sensor's own, and what the column below adds; and what the air at this height
/// adds to it per metre.
pub(crate) const BB: usize = 12;
pub(crate) const BS: usize = 13;
/// Accelerometer: offset, m/s2, and relative scale.
pub(crate) const AB: usize = 14;
pub(crate) const AS: usize = 15;
/// Lag of GNSS, s.
pub(crate) const LAG: usize = 16;
/// Offset of GNSS height, m.
pub(crate) const GH: usize = 17;
/// Error of the static port over the dynamic pressure.
pub(crate) const PORT: usize = 18;
/// Lag of the barometer, s.
pub(crate) const BLAG: usize = 19;
/// How much longer GNSS height lags than place and velocity, s.
pub(crate) const TALL: usize = 20;
/// Number of states.
pub(crate) const N: usize = 21;

/// Least variance of each state: keeps the sum positive whatever is thrown at it.
const FLOOR: [f64; N] = [
    1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-8, 1e-8, 1e-6, 1e-6, 1e-8, 1e-8, 1e-6, 1e-12, 1e-8, 1e-10, 1e-8,
    1e-6, 1e-10, 1e-8, 1e-8,
];
/// Greatest variance of each state.
const CEILING: [f64; N] = [
    1e12, 1e12, 1e12, 1e8, 1e8, 1e8, 16.0, 9.0, 2500.0, 2500.0, 1.0, 1e6, 1e8, 0.01, 100.0, 0.04, 1.0, 1e6,
    0.01, 0.01, 1.0,
];
/// Bounds of each state's mean.
const BOUND: [f64; N] = [
    1e6, 1e6, 2e5, 1e4, 1e4, 1e4, 20.0, 4.0, 150.0, 150.0, 3.0, 5e3, 1e5, 0.3, 50.0, 0.5, 2.0, 1e4, 0.2, 0.5,
    2.0,
];

/// A weighted Gaussian with what its hypothesis fixes.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub(crate) struct Blob {
    /// ln weight.
    pub(crate) ln_w: f64,
    /// Mean.
    pub(crate) x: [f64; N],
    /// Covariance.
    pub(crate) p: [[f64; N]; N],
    /// Burn time over the told one.
    pub(crate) stretch: f64,
    /// Direction of the rail, with this hypothesis' lean.
    pub(crate) rail: [f64; 3],
    /// When a canopy opened by this hypothesis, s; long ago for none.
    pub(crate) opened_s: f64,
    /// How long it takes to fill, s, and k before it opened, 1/m in the pad's air.
    pub(crate) fill_s: f64,
    pub(crate) shut_k: f64,
    /// What its forces along the airspeed have added to the speed since one was felt last, m/s.
    pub(crate) gained_mps: f64,
    /// Impulse that its thrust has given since ignition, over mass at burnout, m/s.
    pub(crate) pushed_mps: f64,
    /// What a lagging barometer shows beyond height less lag times climb, m: it follows a change of climb with its own time constant.
    pub(crate) trail_m: f64,
    /// By how much the dynamic pressure at its ports trails the one now, m for a port error of one.
    pub(crate) port_trail_m: f64,
}

/// No opening.
pub(crate) const NEVER_S: f64 = -1e300;

impl Blob {
    pub(crate) const fn zero() -> Self {
        Self {
            ln_w: 0.0,
            x: [0.0; N],
            p: [[0.0; N]; N],
            stretch: 1.0,
            rail: [0.0, 0.0, 1.0],
            opened_s: NEVER_S,
            fill_s: 0.0,
            shut_k: 0.0,
            gained_mps: 0.0,
            pushed_mps: 0.0,
            trail_m: 0.0,
            port_trail_m: 0.0,
        }
    }

    /// k at a time, 1/m in the pad's air, and its slope over ln k: while a canopy fills its area grows with the square of
    /// the time (Knacke 1992, ch. 5, from memory: between the linear growth of slotted canopies and the later one of solid ones).
    pub(crate) fn k_at(&self, t_s: f64) -> (f64, f64) {
        let open = libm::exp(self.x[LNK]);
        let filled = ((t_s - self.opened_s) / self.fill_s.max(1e-6)).clamp(0.0, 1.0);
        let share = filled * filled;
        let k = self.shut_k + (open - self.shut_k) * share;
        if filled >= 1.0 || k <= 0.0 { (open, 1.0) } else { (k, open * share / k) }
    }

    /// Scalar update with innovation `y`, its variance `s`, and `ph` = covariance times the measurement row.
    pub(crate) fn update(&mut self, ph: &[f64; N], y: f64, s: f64) {
        self.update_but(ph, y, s, &[]);
    }

    /// The same, with some states taken into account but not learnt (consider states, Schmidt 1966).
    pub(crate) fn update_but(&mut self, ph: &[f64; N], y: f64, s: f64, kept: &[usize]) {
        let inv = 1.0 / s;
        let gain = y * inv;
        let (x, p) = (self.x, self.p);
        for i in 0..N {
            self.x[i] += ph[i] * gain;
        }
        for i in 0..N {
            let k = ph[i] * inv;
            for j in 0..N {
                self.p[i][j] -= k * ph[j];
            }
        }
        for &i in kept {
            self.x[i] = x[i];
            for &j in kept {
                self.p[i][j] = p[i][j];
            }
        }
        self.hold();
    }

    /// Keeps mean and variances inside their bounds; a correlation beyond one is cut.
    pub(crate) fn hold(&mut self) {
        for i in 0..N {
            let v = self.p[i][i];
            if !(v >= FLOOR[i]) {
                self.p[i][i] = FLOOR[i];
            } else if v > CEILING[i] {
                let cut = libm::sqrt(CEILING[i] / v);
                for j in 0..N {
                    self.p[i][j] *= cut;
                    self.p[j][i] *= cut;
                }
                self.p[i][i] = CEILING[i];
            }
            let b = BOUND[i];
            self.x[i] = if self.x[i].is_finite() { self.x[i].clamp(-b, b) } else { 0.0 };
        }
        if self.x[LNK] > 2.0 {
            self.x[LNK] = 2.0;
        }
    }

    /// Speed over ground with its spread, m/s.
    pub(crate) fn speed(&self) -> Told {
        let v = [self.x[VE], self.x[VN], self.x[VU]];
        let value = libm::sqrt(v.iter().map(|v| v * v).sum());
        let mut var = 0.0;
        for (i, a) in v.iter().enumerate() {
            for (j, c) in v.iter().enumerate() {
                var += a * c * self.p[VE + i][VE + j];
            }
        }
        Told { value, sd: libm::sqrt(var.max(0.0)) / value.max(1.0) }
    }

    /// Adds a speed gained along `u` at some moment of the last `since_s`, known to one standard deviation.
    pub(crate) fn gain_speed(&mut self, u: [f64; 3], gained_mps: f64, sd_mps: f64, since_s: f64) {
        // Gained early or late in that time it is worth more or less height.
        let apart = (gained_mps * gained_mps + sd_mps * sd_mps) * since_s * since_s / 12.0;
        for i in 0..3 {
            self.x[VE + i] += gained_mps * u[i];
            self.x[E + i] += 0.5 * gained_mps * since_s * u[i];
            for j in 0..3 {
                let both = sd_mps * sd_mps * u[i] * u[j];
                self.p[VE + i][VE + j] += both;
                self.p[E + i][E + j] += 0.25 * since_s * since_s * both + apart * u[i] * u[j];
                self.p[E + i][VE + j] += 0.5 * since_s * both;
                self.p[VE + j][E + i] += 0.5 * since_s * both;
            }
        }
    }

    /// Makes the state independent of the others, with this variance.
    pub(crate) fn reopen(&mut self, i: usize, variance: f64) {
        for j in 0..N {
            self.p[i][j] = 0.0;
            self.p[j][i] = 0.0;
        }
        self.p[i][i] = variance;
    }

    /// Was at a place on an axis (0 east, 1 north, 2 up) and went at a speed, changing by `mps2`, as long ago as a receiver lags. Where it is and
    /// goes now is correlated with the lag, as all later fixes will be: independent of it they would seem to tell it.
    pub(crate) fn was_at(&mut self, axis: usize, place: Told, speed: Told, mps2: f64) {
        let (lag_s, of_lag) = (self.x[LAG], self.p[LAG]);
        let now_mps = speed.value + lag_s * mps2;
        let (at, v) = (E + axis, VE + axis);
        self.x[at] = place.value + lag_s * (speed.value + 0.5 * lag_s * mps2);
        self.x[v] = now_mps;
        for j in (0..N).filter(|j| *j != at && *j != v) {
            (self.p[at][j], self.p[j][at]) = (now_mps * of_lag[j], now_mps * of_lag[j]);
            (self.p[v][j], self.p[j][v]) = (mps2 * of_lag[j], mps2 * of_lag[j]);
        }
        let (place_var, speed_var, lag_var) = (place.sd * place.sd, speed.sd * speed.sd, of_lag[LAG]);
        let both = lag_s * speed_var + now_mps * mps2 * lag_var;
        (self.p[at][v], self.p[v][at]) = (both, both);
        self.p[at][at] = place_var + lag_s * lag_s * speed_var + now_mps * now_mps * lag_var;
        self.p[v][v] = speed_var + mps2 * mps2 * lag_var;
    }

    /// Its deviation is this share of what it was, its correlations stay.
    pub(crate) fn scale(&mut self, i: usize, share: f64) {
        for j in 0..N {
            self.p[i][j] *= share;
            self.p[j][i] *= share;
        }
    }

    /// Covariance times a sparse row.
    #[inline]
    pub(crate) fn times(&self, row: &Row) -> [f64; N] {
        let mut out = [0.0; N];
        for &(i, v) in row.terms() {
            for (o, p) in out.iter_mut().zip(&self.p[i]) {
                *o += v * p;
            }
        }
        out
    }
}

/// A sparse measurement row.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Row {
    terms: [(usize, f64); N],
    len: usize,
    /// Variance of what a straight line leaves out.
    pub(crate) bent: f64,
}

impl Row {
    pub(crate) const fn new() -> Self {
        Self { terms: [(0, 0.0); N], len: 0, bent: 0.0 }
    }
    #[must_use]
    pub(crate) fn with(mut self, i: usize, v: f64) -> Self {
        if self.len < N {
            self.terms[self.len] = (i, v);
            self.len += 1;
        }
        self
    }
    #[must_use]
    pub(crate) fn and_bent(mut self, variance: f64) -> Self {
        self.bent = variance;
        self
    }
    pub(crate) fn terms(&self) -> &[(usize, f64)] {
        &self.terms[..self.len]
    }
    pub(crate) fn dot(&self, v: &[f64; N]) -> f64 {
        self.terms().iter().map(|&(i, c)| c * v[i]).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A fix after a beginning by fixes tells nothing of the lag, and is as surprising as its noise.
    #[test]
    fn what_was_begun_by_a_lagging_receiver_does_not_tell_its_lag() {
        let mut b = Blob::zero();
        (b.x[LAG], b.p[LAG][LAG], b.p[LAG][LNK], b.p[LNK][LAG]) = (0.3, 0.09, 0.01, 0.01);
        b.p[LNK][LNK] = 0.1;
        b.p[VU][H] = 7.0;
        b.p[H][VU] = 7.0;
        let (place, speed, mps2) = (Told { value: 200.0, sd: 3.0 }, Told { value: 90.0, sd: 1.0 }, -15.0);
        for axis in [0, 2] {
            b.was_at(axis, place, speed, mps2);
        }
        // 200 + 0.3 (90 - 0.15 15) and 90 - 0.3 15.
        assert!((b.x[H] - 226.325).abs() < 1e-9 && (b.x[VU] - 85.5).abs() < 1e-9);
        for axis in [0, 2] {
            let lag_s = b.x[LAG];
            let row = Row::new()
                .with(E + axis, 1.0)
                .with(VE + axis, -lag_s)
                .with(LAG, -(b.x[VE + axis] - lag_s * mps2));
            let ph = b.times(&row);
            assert!(ph[LAG].abs() < 1e-9 && ph[LNK].abs() < 1e-9, "{ph:?}");
            assert!((row.dot(&ph) - place.sd * place.sd).abs() < 1e-9);
        }
        assert!(b.p.iter().enumerate().all(|(i, row)| (0..N).all(|j| (row[j] - b.p[j][i]).abs() < 1e-12)));
    }
}
