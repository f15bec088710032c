//! How a state, and what is not known of it, goes over from one instant to the next.

use crate::linear::Matrix;
use crate::motion::Slopes;
use crate::state::{BB, BS, D, N, PRED, WE, WN};

/// Slopes of a state by the one before it: motion and its parameters in full, the rest stays.
#[derive(Clone)]
pub(super) struct Transition {
    motion: [[f64; PRED]; PRED],
    /// What is left of the barometer's offset.
    offset_kept: f64,
    /// What the barometer's scale added to its offset, m.
    climbed_m: f64,
}

impl Transition {
    pub(super) fn none() -> Self {
        let mut motion = [[0.0; PRED]; PRED];
        for (i, row) in motion.iter_mut().enumerate() {
            row[i] = 1.0;
        }
        Self { motion, offset_kept: 1.0, climbed_m: 0.0 }
    }

    pub(super) fn step(&mut self, s: &Slopes) {
        let before = self.motion;
        for (row, phi) in self.motion.iter_mut().zip(&s.phi) {
            *row = [0.0; PRED];
            for (f, old) in phi.iter().zip(&before) {
                for (r, o) in row.iter_mut().zip(old) {
                    *r += f * o;
                }
            }
        }
        for (i, fade) in [(D, s.fade), (WE, s.wind_fade), (WN, s.wind_fade)] {
            for r in &mut self.motion[i] {
                *r *= fade;
            }
        }
        self.offset_kept *= s.offset_fade;
        self.climbed_m = s.offset_fade * self.climbed_m + s.climbed_m;
    }

    /// A state of the motion, or one that acts on it, is independent of what it was.
    pub(super) fn cut(&mut self, i: usize) {
        self.motion[i] = [0.0; PRED];
    }

    pub(super) fn times(&self, x: &[f64; N]) -> [f64; N] {
        let mut out = *x;
        for (out, row) in out.iter_mut().zip(&self.motion) {
            *out = row.iter().zip(x).map(|(f, x)| f * x).sum();
        }
        out[BB] = self.offset_kept * x[BB] + self.climbed_m * x[BS];
        out
    }

    /// P F'.
    pub(super) fn cross(&self, p: &Matrix) -> Matrix {
        let mut out = [[0.0; N]; N];
        for (row, p) in out.iter_mut().zip(p) {
            *row = self.times(p);
        }
        out
    }
}
