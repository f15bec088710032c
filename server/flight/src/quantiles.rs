//! Five quantiles of a weighted sum of Gaussians, or of lengths of Gaussian vectors.
//!
//! Each Gaussian is stood for by a few nodes with the probability of their cells; the nodes are sorted and the
//! distribution read off by straight lines. A single Gaussian is exact. With the nodes used, quantiles of a sum are
//! within 2 % of its spread.

use libm::sqrt;

use crate::output::Quantiles;

/// Nodes of a unit Gaussian and the probability of their cells.
const NODES: [(f64, f64); 13] = [
    (-2.6, 0.0107),
    (-2.0, 0.0294),
    (-1.5, 0.0611),
    (-1.05, 0.0924),
    (-0.68, 0.1132),
    (-0.33, 0.1277),
    (0.0, 0.1310),
    (0.33, 0.1277),
    (0.68, 0.1132),
    (1.05, 0.0924),
    (1.5, 0.0611),
    (2.0, 0.0294),
    (2.6, 0.0107),
];
/// Radii of a unit Gaussian in the plane and the probability of their rings.
const RADII: [(f64, f64); 6] =
    [(0.352, 0.12), (0.705, 0.20), (1.069, 0.23), (1.459, 0.21), (1.898, 0.15), (2.490, 0.09)];
/// Directions on each ring, turned from ring to ring.
const DIRECTIONS: usize = 6;
/// Room for nodes.
const ROOM: usize = 900;

/// Area of a disc over the least ring's for which the disc is taken. Larger: wider than need be; smaller: holes that are the
/// nodes' spacing.
const NO_HOLE: f64 = 1.12;

/// z of the quantiles.
const Z: [f64; 5] = [-1.644_853_627, -0.674_489_750_2, 0.0, 0.674_489_750_2, 1.644_853_627];

/// A distribution under construction.
pub(crate) struct Spread {
    nodes: [(f64, f64); ROOM],
    len: usize,
    single: Option<(f64, f64)>,
    parts: usize,
}

impl Spread {
    pub(crate) fn new() -> Self {
        Self { nodes: [(0.0, 0.0); ROOM], len: 0, single: None, parts: 0 }
    }

    fn push(&mut self, value: f64, weight: f64) {
        if self.len < ROOM && value.is_finite() && weight > 0.0 {
            self.nodes[self.len] = (value, weight);
            self.len += 1;
        }
    }

    /// A Gaussian.
    pub(crate) fn gauss(&mut self, weight: f64, mean: f64, variance: f64) {
        let sd = sqrt(variance.max(0.0));
        self.parts += 1;
        self.single = if self.parts == 1 { Some((mean, sd)) } else { None };
        for (z, w) in NODES {
            self.push(mean + z * sd, w * weight);
        }
    }

    /// Length of a Gaussian vector (three axes; the third may be certain).
    pub(crate) fn length(&mut self, weight: f64, mean: &[f64; 3], cov: &[[f64; 3]; 3]) {
        let len2 = mean[0] * mean[0] + mean[1] * mean[1] + mean[2] * mean[2];
        let trace = cov[0][0] + cov[1][1] + cov[2][2];
        if len2 > 16.0 * trace.max(0.0) {
            let len = sqrt(len2);
            let u = [mean[0] / len, mean[1] / len, mean[2] / len];
            let mut along = 0.0;
            for i in 0..3 {
                for j in 0..3 {
                    along += u[i] * cov[i][j] * u[j];
                }
            }
            self.gauss(weight, len + 0.5 * (trace - along).max(0.0) / len, along);
            return;
        }
        self.parts += 2;
        self.single = None;
        // Cholesky of the flat part; the third axis follows by regression, its rest is added in square.
        let l00 = sqrt(cov[0][0].max(1e-12));
        let l10 = cov[1][0] / l00;
        let l11 = sqrt((cov[1][1] - l10 * l10).max(1e-12));
        let l20 = cov[2][0] / l00;
        let l21 = (cov[2][1] - l20 * l10) / l11;
        let rest = (cov[2][2] - l20 * l20 - l21 * l21).max(0.0);
        for (ring, (r, w)) in RADII.into_iter().enumerate() {
            for k in 0..DIRECTIONS {
                let turn = core::f64::consts::TAU * (k as f64 + 0.5 * (ring % 2) as f64) / DIRECTIONS as f64;
                let (za, zb) = (r * libm::cos(turn), r * libm::sin(turn));
                let x = mean[0] + l00 * za;
                let y = mean[1] + l10 * za + l11 * zb;
                let z = mean[2] + l20 * za + l21 * zb;
                self.push(sqrt(x * x + y * y + z * z + rest), w / DIRECTIONS as f64 * weight);
            }
        }
    }

    /// Each node through a function that keeps order.
    pub(crate) fn map(&mut self, f: impl Fn(f64) -> f64) {
        self.single = None;
        for n in &mut self.nodes[..self.len] {
            n.0 = f(n.0);
        }
    }

    /// The quantiles; `None` when nothing was added.
    pub(crate) fn quantiles(&mut self) -> Option<Quantiles> {
        if let Some((m, sd)) = self.single {
            return m.is_finite().then(|| Quantiles {
                p05: m + Z[0] * sd,
                p25: m + Z[1] * sd,
                p50: m,
                p75: m + Z[3] * sd,
                p95: m + Z[4] * sd,
            });
        }
        if self.len == 0 {
            return None;
        }
        let total = self.sort();
        let nodes = &self.nodes[..self.len];
        let read = |p: f64| read(nodes, p * total);
        Some(Quantiles { p05: read(0.05), p25: read(0.25), p50: read(0.5), p75: read(0.75), p95: read(0.95) })
    }

    /// For lengths in the plane whose direction is not known: the bounds of the rings of least area that hold 90 % (`p05`,
    /// `p95`) and 50 % (`p25`, `p75`) of the weight, and the median. Where the middle is as likely a spot as any the inner bound
    /// is zero: equal tails would leave a hole there (highest density region, Hyndman 1996).
    pub(crate) fn rings(&mut self) -> Option<Quantiles> {
        if self.len == 0 {
            return None;
        }
        let total = self.sort();
        let nodes = &self.nodes[..self.len];
        let cell = nodes.chunk_by(alike).next()?;
        let (first, at) = (cell[0].0.max(0.0), 0.5 * cell.iter().map(|n| n.1).sum::<f64>());
        let read = |p: f64| {
            let target = p * total;
            // Within the first node's cell every spot is alike.
            if target < at { first * sqrt(target / at) } else { read(nodes, target) }
        };
        let least = |share: f64| {
            let steps = 20;
            let ring = |k: u32| {
                let skipped = (1.0 - share) * f64::from(k) / f64::from(steps);
                let (inner, outer) = (read(skipped), read(skipped + share));
                (inner, outer, outer * outer - inner * inner)
            };
            let disc = ring(0);
            let best = (1..=steps).map(ring).min_by(|a, b| a.2.total_cmp(&b.2)).unwrap_or(disc);
            // A hole that saves next to nothing is none.
            if disc.2 <= NO_HOLE * best.2 { (0.0, disc.1) } else { (best.0, best.1) }
        };
        let ((p05, p95), (p25, p75), p50) = (least(0.9), least(0.5), read(0.5));
        Some(Quantiles {
            p05,
            p25: p25.clamp(p05, p50.max(p05)),
            p50,
            p75: p75.clamp(p50, p95.max(p50)),
            p95,
        })
    }

    /// Sorts the nodes and sums their weight.
    fn sort(&mut self) -> f64 {
        let nodes = &mut self.nodes[..self.len];
        nodes.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        nodes.iter().map(|n| n.1).sum()
    }

    /// Share of the weight above a value.
    pub(crate) fn above(&self, value: f64) -> f64 {
        let total: f64 = self.nodes[..self.len].iter().map(|n| n.1).sum();
        if total <= 0.0 {
            return 0.0;
        }
        if let Some((m, sd)) = self.single {
            return 0.5 * libm::erfc((value - m) / (sd.max(1e-9) * core::f64::consts::SQRT_2));
        }
        self.nodes[..self.len].iter().filter(|n| n.0 > value).map(|n| n.1).sum::<f64>() / total
    }
}

/// Whether two nodes have one value.
fn alike(a: &(f64, f64), b: &(f64, f64)) -> bool {
    b.0 - a.0 <= 1e-9 * a.0.abs()
}

/// The value below which this much of the weight of sorted nodes lies; nodes of one value are one cell.
fn read(nodes: &[(f64, f64)], target: f64) -> f64 {
    let mut sum = 0.0;
    let mut before: Option<(f64, f64)> = None;
    for cell in nodes.chunk_by(alike) {
        let v = cell[0].0;
        let w: f64 = cell.iter().map(|n| n.1).sum();
        let at = sum + 0.5 * w;
        if at >= target {
            return before.map_or(
                v,
                |(v0, at0)| {
                    if at > at0 { v0 + (v - v0) * (target - at0) / (at - at0) } else { v }
                },
            );
        }
        before = Some((v, at));
        sum += w;
    }
    nodes.last().map_or(f64::NAN, |n| n.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_gaussian_is_exact() {
        let mut s = Spread::new();
        s.gauss(1.0, 10.0, 4.0);
        let q = s.quantiles().unwrap();
        assert!((q.p05 - (10.0 - 2.0 * 1.644_853_627)).abs() < 1e-12 && q.p50 == 10.0);
    }

    #[test]
    fn a_split_gaussian_is_the_whole_one() {
        // The unit Gaussian as a sum of three with the same first two moments of the sum.
        let mut s = Spread::new();
        for (w, m) in [(1.0 / 6.0, -1.2247), (2.0 / 3.0, 0.0), (1.0 / 6.0, 1.2247)] {
            s.gauss(w, m, 0.5);
        }
        let q = s.quantiles().unwrap();
        assert!((q.p95 - 1.645).abs() < 0.06, "{q:?}");
        assert!((q.p75 - 0.674).abs() < 0.06, "{q:?}");
    }

    #[test]
    fn length_about_nothing_is_rayleigh() {
        let mut s = Spread::new();
        s.length(1.0, &[0.0; 3], &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]);
        let q = s.quantiles().unwrap();
        // Rayleigh: median 1.177, 95 % 2.448.
        assert!((q.p50 - 1.177).abs() < 0.13 && (q.p95 - 2.448).abs() < 0.15, "{q:?}");
    }

    /// About nothing every direction is alike and the middle the likeliest spot: discs, of the radii within which 90 % and
    /// 50 % of a Rayleigh distribution lie (2.146 and 1.177). Far from the middle they are rings of about equal tails.
    #[test]
    fn rings_of_least_area_leave_no_hole_in_the_middle() {
        let mut s = Spread::new();
        s.length(1.0, &[0.0; 3], &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]);
        let q = s.rings().unwrap();
        assert!(q.p05 == 0.0 && q.p25 == 0.0, "{q:?}");
        assert!((q.p95 - 2.146).abs() < 0.15 && (q.p75 - 1.177).abs() < 0.15, "{q:?}");
        let mut s = Spread::new();
        s.length(1.0, &[100.0, 0.0, 0.0], &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]);
        let q = s.rings().unwrap();
        assert!((q.p05 - 98.355).abs() < 0.4 && (q.p95 - 101.645).abs() < 0.5, "{q:?}");
    }
}
