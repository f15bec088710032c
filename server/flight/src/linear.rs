//! Small dense linear algebra of the smoother.

use libm::sqrt;

use crate::state::N;

/// A square matrix over the state.
pub(crate) type Matrix = [[f64; N]; N];

const HALF: usize = N * (N + 1) / 2;
/// Least pivot of a matrix scaled to a unit diagonal: what lies below is rounding.
const LEAST_PIVOT: f64 = 1e-10;

/// A symmetric matrix by its lower half.
#[derive(Clone)]
pub(crate) struct Packed([f64; HALF]);

impl Packed {
    pub(crate) const fn zero() -> Self {
        Self([0.0; HALF])
    }

    pub(crate) fn of(p: &Matrix) -> Self {
        let mut out = Self::zero();
        let mut at = 0;
        for i in 0..N {
            for j in 0..=i {
                out.0[at] = 0.5 * (p[i][j] + p[j][i]);
                at += 1;
            }
        }
        out
    }

    pub(crate) fn full(&self) -> Matrix {
        let mut p = [[0.0; N]; N];
        let mut at = 0;
        for i in 0..N {
            for j in 0..=i {
                p[i][j] = self.0[at];
                p[j][i] = self.0[at];
                at += 1;
            }
        }
        p
    }
}

/// `cross` times the inverse of the symmetric `p`, by Cholesky's decomposition of `p` scaled to a unit diagonal.
pub(crate) fn gain(cross: &Matrix, p: &Matrix) -> Matrix {
    let mut scale = [0.0; N];
    for i in 0..N {
        scale[i] = 1.0 / sqrt(p[i][i].max(1e-300));
    }
    let mut l = [[0.0; N]; N];
    for i in 0..N {
        for j in 0..=i {
            let mut s = p[i][j] * scale[i] * scale[j];
            for k in 0..j {
                s -= l[i][k] * l[j][k];
            }
            l[i][j] = if i == j { sqrt(s.max(LEAST_PIVOT)) } else { s / l[j][j] };
        }
    }
    let mut out = [[0.0; N]; N];
    for (row, c) in out.iter_mut().zip(cross) {
        let mut y = [0.0; N];
        for i in 0..N {
            let s: f64 = (0..i).map(|k| l[i][k] * y[k]).sum();
            y[i] = (c[i] * scale[i] - s) / l[i][i];
        }
        for i in (0..N).rev() {
            let s: f64 = (i + 1..N).map(|k| l[k][i] * row[k]).sum();
            row[i] = (y[i] - s) / l[i][i];
        }
        for (r, s) in row.iter_mut().zip(&scale) {
            *r *= s;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Units of the states differ by orders of magnitude.
    fn unit(i: usize) -> f64 {
        libm::exp10(((i % 7) as f64) - 3.0)
    }

    #[test]
    fn a_gain_times_the_matrix_is_what_was_divided() {
        let mut p = [[0.0; N]; N];
        let mut cross = [[0.0; N]; N];
        for i in 0..N {
            for j in 0..N {
                // Units that differ by twelve orders, and a matrix of full rank: a ridge plus smooth off-diagonals.
                let units = unit(i) * unit(j);
                p[i][j] = units
                    * (f64::from(u8::from(i == j))
                        + 1.0 / (1.0 + ((i as f64 - j as f64) * (i as f64 - j as f64))));
                cross[i][j] = units * libm::sin((i * 3 + j * 5) as f64);
            }
        }
        let g = gain(&cross, &p);
        for i in 0..N {
            for j in 0..N {
                let back: f64 = (0..N).map(|k| g[i][k] * p[k][j]).sum();
                assert!(
                    (back - cross[i][j]).abs() < 1e-9 * unit(i) * unit(j),
                    "{i} {j}: {back} {}",
                    cross[i][j]
                );
            }
        }
    }

    #[test]
    fn packing_loses_nothing() {
        let mut p = [[0.0; N]; N];
        for i in 0..N {
            for j in 0..N {
                p[i][j] = (i * j) as f64 + (i + j) as f64;
            }
        }
        assert_eq!(Packed::of(&p).full(), p);
    }
}
