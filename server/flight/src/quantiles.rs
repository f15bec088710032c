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
/// Directions on each ring.
const DIRECTIONS: usize = 6;
const HALF_ROOT_3: f64 = 0.866_025_403_784_438_6;
/// Their cosines and sines; turned by half of their spacing from ring to ring.
const TURNS: [[(f64, f64); DIRECTIONS]; 2] = [
    [
        (1.0, 0.0),
        (0.5, HALF_ROOT_3),
        (-0.5, HALF_ROOT_3),
        (-1.0, 0.0),
        (-0.5, -HALF_ROOT_3),
        (0.5, -HALF_ROOT_3),
    ],
    [
        (HALF_ROOT_3, 0.5),
        (0.0, 1.0),
        (-HALF_ROOT_3, 0.5),
        (-HALF_ROOT_3, -0.5),
        (0.0, -1.0),
        (HALF_ROOT_3, -0.5),
    ],
];
/// Room for nodes.
const ROOM: usize = 900;
/// Equal spans of values that nodes are laid out in before they are sorted, and how many nodes are worth that.
const SPANS: usize = 256;
const WORTH_SPANS: usize = 40;

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

    /// Empty again.
    pub(crate) fn clear(&mut self) {
        (self.len, self.single, self.parts) = (0, None, 0);
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

    /// Length of a Gaussian vector of three axes, of which one may be certain.
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
        // The surest axis last: what is left of it is added in square, which spreads nothing.
        let last = if cov[2][2] > cov[0][0].min(cov[1][1]) { usize::from(cov[1][1] < cov[0][0]) } else { 2 };
        let axes = [(last + 1) % 3, (last + 2) % 3, last];
        let mean = axes.map(|i| mean[i]);
        let cov = axes.map(|i| axes.map(|j| cov[i][j]));
        // Cholesky of the first two; the third axis follows by regression.
        let l00 = sqrt(cov[0][0].max(1e-12));
        let l10 = cov[1][0] / l00;
        let l11 = sqrt((cov[1][1] - l10 * l10).max(1e-12));
        let l20 = cov[2][0] / l00;
        let l21 = (cov[2][1] - l20 * l10) / l11;
        let rest = (cov[2][2] - l20 * l20 - l21 * l21).max(0.0);
        for (ring, (r, w)) in RADII.into_iter().enumerate() {
            for (cos, sin) in TURNS[ring % 2] {
                let (za, zb) = (r * cos, r * sin);
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
    pub(crate) fn quantiles(&self) -> Option<Quantiles> {
        self.exact().or_else(|| Some(self.cells()?.quantiles()))
    }

    /// Those of one Gaussian alone.
    fn exact(&self) -> Option<Quantiles> {
        let (m, sd) = self.single.filter(|(m, _)| m.is_finite())?;
        let [p05, p25, _, p75, p95] = Z.map(|z| m + z * sd);
        Some(Quantiles { p05, p25, p50: m, p75, p95 })
    }

    /// For lengths in the plane whose direction is not known: the bounds of the rings of least area that hold 90 % (`p05`,
    /// `p95`) and 50 % (`p25`, `p75`) of the weight, and the median. Where the middle is as likely a spot as any the inner bound
    /// is zero: equal tails would leave a hole there (highest density region, Hyndman 1996).
    pub(crate) fn rings(&self) -> Option<Quantiles> {
        let cells = self.cells()?;
        let ((p05, p95), (p25, p75), p50) = (cells.least_ring(0.9), cells.least_ring(0.5), cells.within(0.5));
        Some(Quantiles {
            p05,
            p25: p25.clamp(p05, p50.max(p05)),
            p50,
            p75: p75.clamp(p50, p95.max(p50)),
            p95,
        })
    }

    /// For speeds over the ground: the quantiles, but the 90 % interval begins at zero where standing still is as likely as
    /// any other velocity. Equal tails leave that outside, and most flights go nearly straight up. The upper end, by which
    /// one takes care, stays.
    pub(crate) fn speeds(&self) -> Option<Quantiles> {
        let cells = self.cells()?;
        let q = self.exact().unwrap_or_else(|| cells.quantiles());
        let from_rest = cells.least_ring(0.9).0 <= 0.0;
        Some(if from_rest { Quantiles { p05: 0.0, ..q } } else { q })
    }

    /// `None` when nothing was added.
    fn cells(&self) -> Option<Cells> {
        if self.len == 0 {
            return None;
        }
        let nodes = &self.nodes[..self.len];
        let mut ordered = [(0.0, 0.0); ROOM];
        sort(nodes, &mut ordered[..self.len]);
        // Nodes of one value are one cell.
        let (mut len, mut total) = (0, 0.0);
        let mut next = 0;
        while next < self.len {
            let first = ordered[next];
            let alike = ordered[next..self.len].iter().take_while(|n| n.0 - first.0 <= 1e-9 * first.0.abs());
            let (count, weight) = alike.fold((0, 0.0), |(count, sum), n| (count + 1, sum + n.1));
            ordered[len] = (first.0, total + 0.5 * weight);
            len += 1;
            next += count;
            total += weight;
        }
        Some(Cells { all: ordered, len, total })
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

/// Nodes in order, those of one value as one: the value, and the weight up to the middle of its cell.
struct Cells {
    all: [(f64, f64); ROOM],
    len: usize,
    total: f64,
}

impl Cells {
    fn known(&self) -> &[(f64, f64)] {
        &self.all[..self.len]
    }

    fn quantiles(&self) -> Quantiles {
        let read = |p: f64| self.read(p * self.total);
        Quantiles { p05: read(0.05), p25: read(0.25), p50: read(0.5), p75: read(0.75), p95: read(0.95) }
    }

    /// Radius of the disc that holds this share, of lengths in the plane: within the first node's cell every spot is alike.
    fn within(&self, share: f64) -> f64 {
        let target = share * self.total;
        match self.known().first() {
            Some((first, at)) if target < *at => first.max(0.0) * sqrt(target / at),
            _ => self.read(target),
        }
    }

    /// Bounds of the ring of least area that holds this share.
    fn least_ring(&self, share: f64) -> (f64, f64) {
        let steps = 20;
        let ring = |k: u32| {
            let skipped = (1.0 - share) * f64::from(k) / f64::from(steps);
            let (inner, outer) = (self.within(skipped), self.within(skipped + share));
            (inner, outer, outer * outer - inner * inner)
        };
        let disc = ring(0);
        let best = (1..=steps).map(ring).min_by(|a, b| a.2.total_cmp(&b.2)).unwrap_or(disc);
        // A hole that saves next to nothing is none.
        if disc.2 <= NO_HOLE * best.2 { (0.0, disc.1) } else { (best.0, best.1) }
    }

    /// The value below which this much of the weight lies.
    fn read(&self, target: f64) -> f64 {
        let cells = self.known();
        let i = cells.partition_point(|c| c.1 < target);
        let Some((v, at)) = cells.get(i).or(cells.last()).copied() else { return f64::NAN };
        if i == 0 || i == cells.len() {
            return v;
        }
        let (v0, at0) = cells[i - 1];
        v0 + (v - v0) * (target - at0) / (at - at0)
    }
}

/// Writes nodes in order of value, then of weight. They are laid out by equal spans of value first: sorting them as they come is a
/// third of the cost of a prediction.
fn sort(nodes: &[(f64, f64)], ordered: &mut [(f64, f64)]) {
    let by_value = |a: &(f64, f64), b: &(f64, f64)| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1));
    let bounds = |(low, high): (f64, f64), n: &(f64, f64)| (low.min(n.0), high.max(n.0));
    let (low, high) = nodes.iter().fold((f64::INFINITY, f64::NEG_INFINITY), bounds);
    let per = SPANS as f64 / (high - low);
    if nodes.len() < WORTH_SPANS || !per.is_finite() {
        ordered.copy_from_slice(nodes);
        ordered.sort_unstable_by(by_value);
        return;
    }
    let span = |n: &(f64, f64)| (((n.0 - low) * per) as usize).min(SPANS - 1);
    let mut ends = [0usize; SPANS];
    for n in nodes {
        ends[span(n)] += 1;
    }
    let mut before = 0;
    for end in &mut ends {
        (before, *end) = (before + *end, before);
    }
    for n in nodes {
        let end = &mut ends[span(n)];
        ordered[*end] = *n;
        *end += 1;
    }
    let mut from = 0;
    for end in ends {
        if end - from > 1 {
            ordered[from..end].sort_unstable_by(by_value);
        }
        from = end;
    }
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
    fn a_speed_that_may_be_none_begins_at_none_and_its_upper_end_stays() {
        let speed = |aside: f64, sd: f64| {
            let mut s = Spread::new();
            s.length(1.0, &[aside, 0.0, 0.0], &[[sd * sd, 0.0, 0.0], [0.0, sd * sd, 0.0], [0.0; 3]]);
            (s.speeds().unwrap(), s.quantiles().unwrap())
        };
        // Rayleigh's distribution: the 95 % quantile is sd sqrt(2 ln 20).
        let (q, tails) = speed(0.0, 3.0);
        assert!(q.p05 == 0.0 && tails.p05 > 0.5 && (q.p95 - 7.34).abs() < 0.2, "{q:?} {tails:?}");
        assert_eq!(Quantiles { p05: 0.0, ..tails }, q);
        let (q, tails) = speed(9.0, 2.0);
        assert!(q.p05 > 4.0 && q == tails, "{q:?} {tails:?}");
    }

    #[test]
    fn nodes_laid_out_by_spans_come_in_order() {
        let mut seed = 7_u64;
        let mut draw = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        // Evenly, in a cluster with one far off, and in few values.
        for shape in 0..3 {
            let nodes: Vec<(f64, f64)> = (0..500)
                .map(|i| {
                    let v = draw();
                    let value = match shape {
                        0 => v,
                        1 if i == 0 => 1e9,
                        1 => v * 1e-3,
                        _ => (v * 5.0) as i32 as f64,
                    };
                    (value, draw())
                })
                .collect();
            let mut laid = nodes.clone();
            sort(&nodes, &mut laid);
            let mut sorted = nodes;
            sorted.sort_by(|a, b| a.partial_cmp(b).unwrap());
            assert_eq!(laid, sorted);
        }
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

    /// What falls under a canopy is known sideways, and not how fast: the third axis is the one that spreads. Against the lengths of the
    /// sum along it.
    #[test]
    fn a_length_spreads_along_whichever_axis_does() {
        for axis in 0..3 {
            let (mut mean, mut cov) = ([0.0; 3], [[0.0; 3]; 3]);
            mean[axis] = -9.0;
            for (i, row) in cov.iter_mut().enumerate() {
                row[i] = if i == axis { 25.0 } else { 0.2 };
            }
            let mut s = Spread::new();
            s.length(1.0, &mean, &cov);
            let q = s.quantiles().unwrap();
            let exact = |p: f64| {
                let (mut sum, mut at) = (0.0, 0.0);
                while sum < p {
                    at += 1e-3;
                    for z in [(at + 9.0) / 5.0, (-at + 9.0) / 5.0] {
                        sum += 1e-3 / 5.0 * 0.398_942_28 * libm::exp(-0.5 * z * z);
                    }
                }
                at
            };
            for (told, p) in [(q.p05, 0.05), (q.p50, 0.5), (q.p95, 0.95)] {
                assert!((told - exact(p)).abs() < 0.9, "axis {axis}: {q:?}, {p} at {}", exact(p));
            }
        }
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
