//! Whether an attached body still moves with its parent: a test on the heights by its own barometer.
//!
//! Attached, a body's barometer reads what its parent's belief expects of one, within bays' pressures, lags and the noise of
//! both. The sum of log likelihood ratios of "five times as far off" against that, never below zero (Page 1954, Biometrika 41,
//! "Continuous inspection schemes"; Gaussian with equal means), says when it has left. Errors last, so that values count by the time
//! since the last one, and a charge's gas passes, so that it must go on for a while.

use libm::{log, sqrt};
use serde::{Deserialize, Serialize};

use crate::filter::Filter;
use crate::model::Model;
use crate::motion::airspeed;
use crate::pad::Zero;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{BB, H, VU};

/// Spread of a body that has left, over that of one that has not.
const FARTHER: f64 = 5.0;
/// Time over which errors of the comparison last, s (common practice, no source).
const LASTS_S: f64 = 0.3;
/// Most that one value may add: a single wild one says nothing.
const MOST: f64 = 4.0;
/// Sum at which a body counts as let go: one false alarm in some million values.
const LEFT: f64 = 15.0;
/// How long the sum must have been rising, s: a charge's gas is gone by then.
const RISES_S: f64 = 1.6;
/// Parts of height, climb rate (lags of both barometers, s) and dynamic pressure (their ports) that the two may differ by.
const OF_HEIGHT: f64 = 0.01;
const OF_CLIMB_S: f64 = 0.15;
const OF_PRESSURE: f64 = 0.03;
/// Difference that is nothing, m.
const LEAST_M: f64 = 3.0;
/// A comparison over a longer time than this would be about the carrying, s.
const NEAR_S: f64 = 0.5;

/// See the module.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Apart {
    sum: f64,
    /// Since when the sum has been above zero, s.
    since_s: f64,
    last_s: f64,
    /// Newest difference, m, and its expected spread.
    off_m: f64,
    sd_m: f64,
}

impl Apart {
    /// Compares a value of the body's own barometer, whose pad is in `own`, with its parent's belief.
    pub(crate) fn compare(&mut self, m: &Model, parent: &Filter, own: &Filter, lift_s: f64, s: &Sample) {
        let dt = s.t_s - parent.t_s;
        let Some(p) = s.pressure_pa.filter(|p| p.is_finite() && *p > 1.0 && *p < 2e5) else { return };
        let h = parent.height();
        let mpp = m.air.metres_per_pascal(h.max(-500.0));
        let noise = mpp * sqrt(own.sensors.variance(Channel::Baro));
        let Some(zero) = own.pad.zero(Zero::Baro, lift_s, noise) else { return };
        if dt.abs() > NEAR_S || s.t_s <= self.last_s {
            return;
        }
        let (mut expected, mut var, mut q) = (0.0, 0.0, 0.0);
        for (w, b) in parent.weights().iter().zip(parent.blobs.iter()) {
            let (_, v) = airspeed(m, &b.x);
            expected += w * (b.x[H] + b.x[BB]);
            var += w * (b.p[H][H] + 2.0 * b.p[H][BB] + b.p[BB][BB]).max(0.0);
            q += w * 0.5 * m.air.density_ratio(b.x[H]).0 * m.air.pad_density() * v * v;
        }
        let climb = parent.moments(VU).0;
        expected += climb * dt + 0.5 * parent.acceleration[2] * dt * dt;
        self.off_m = m.air.height_m(p) - zero.value - expected;
        let parts = [LEAST_M, noise, zero.sd, OF_HEIGHT * h, OF_CLIMB_S * climb, OF_PRESSURE * q * mpp];
        self.sd_m = sqrt(var + parts.iter().map(|x| x * x).sum::<f64>());
        let z2 = (self.off_m / self.sd_m) * (self.off_m / self.sd_m);
        let ratio = 0.5 * z2 * (1.0 - 1.0 / (FARTHER * FARTHER)) - log(FARTHER);
        let share = ((s.t_s - self.last_s) / LASTS_S).clamp(0.0, 1.0);
        self.last_s = s.t_s;
        let before = self.sum;
        self.sum = (before + share * ratio.min(MOST)).max(0.0);
        if before == 0.0 {
            self.since_s = s.t_s;
        }
    }

    /// When the body was let go and its spread, s, once that is clear.
    pub(crate) fn left_s(&self) -> Option<(f64, f64)> {
        let rises_s = self.last_s - self.since_s;
        // It had to fall behind by a spread before the sum could rise: at ten metres a second squared.
        let before_s = sqrt(2.0 * self.sd_m / 10.0);
        (self.sum > LEFT && rises_s > RISES_S).then_some((self.since_s - before_s, 0.5 * before_s + 0.2))
    }

    /// How far it is from its parent, m.
    pub(crate) fn off_m(&self) -> f64 {
        self.off_m
    }
}
