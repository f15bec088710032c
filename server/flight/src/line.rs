//! A straight line through heights over time, by least squares, with how they scatter about it.

use libm::sqrt;

/// See the module.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    /// Mean height, and that of the line at the newest, m.
    pub(crate) level_m: f64,
    pub(crate) newest_m: f64,
    pub(crate) slope_mps: f64,
    /// Sum of squared times about their mean, s2.
    spread_s2: f64,
    /// Lowest to highest, m.
    pub(crate) range_m: f64,
    /// Standard deviation about the line, m.
    pub(crate) scatter_m: f64,
}

impl Line {
    /// Standard deviation of the slope where one height has this one, m.
    pub(crate) fn slope_sd(&self, noise_m: f64) -> f64 {
        noise_m / sqrt(self.spread_s2)
    }
}

/// The line through (time, height) in order of time, four or more of which are not all of one moment.
pub(crate) fn line(part: &[(f64, f64)]) -> Option<Line> {
    let newest = part.last().filter(|_| part.len() >= 4)?.0;
    let count = part.len() as f64;
    let base = part[0].1;
    let (mut st, mut sz, mut stt, mut stz, mut szz) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for &(t, h) in part {
        let (t, z) = (t - newest, h - base);
        st += t;
        sz += z;
        stt += t * t;
        stz += t * z;
        szz += z * z;
        low = low.min(h);
        high = high.max(h);
    }
    let spread_s2 = stt - st * st / count;
    if spread_s2 < 1e-6 {
        return None;
    }
    let slope_mps = (stz - st * sz / count) / spread_s2;
    let left = (szz - sz * sz / count - slope_mps * slope_mps * spread_s2).max(0.0);
    let level_m = base + sz / count;
    Some(Line {
        level_m,
        newest_m: level_m - slope_mps * st / count,
        slope_mps,
        spread_s2,
        range_m: high - low,
        scatter_m: sqrt(left / (count - 2.0)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_with_what_lies_off_it() {
        let at = |off: f64| {
            (0..10).map(move |i| {
                (
                    100.0 + 0.25 * f64::from(i),
                    700.0 - 1.5 * f64::from(i) + if i % 2 == 0 { off } else { -off },
                )
            })
        };
        let exact: Vec<_> = at(0.0).collect();
        let found = line(&exact).expect("ten heights");
        assert!((found.slope_mps + 6.0).abs() < 1e-9 && found.scatter_m < 1e-6);
        assert!((found.newest_m - 686.5).abs() < 1e-9 && (found.range_m - 13.5).abs() < 1e-9);
        let rough: Vec<_> = at(2.0).collect();
        let found = line(&rough).expect("ten heights");
        assert!((found.scatter_m - 2.2).abs() < 0.1, "{}", found.scatter_m);
        assert!(line(&[(1.0, 2.0); 6]).is_none() && line(&exact[..3]).is_none());
    }
}
