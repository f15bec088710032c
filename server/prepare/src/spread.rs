//! A distribution by five quantiles of a sample.

use serde::Serialize;
use ts_rs::TS;

/// Five quantiles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, TS)]
#[ts(rename = "Spread5")]
pub struct Spread {
    /// 5 %.
    pub p05: f64,
    /// 25 %.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// 75 %.
    pub p75: f64,
    /// 95 %.
    pub p95: f64,
}

impl Spread {
    /// Of the finite values; `None` without any.
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let mut all: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
        all.sort_by(f64::total_cmp);
        Some(Self {
            p05: quantile(&all, 0.05)?,
            p25: quantile(&all, 0.25)?,
            p50: quantile(&all, 0.5)?,
            p75: quantile(&all, 0.75)?,
            p95: quantile(&all, 0.95)?,
        })
    }
}

/// A quantile of sorted values, by straight lines between them (Hyndman and Fan 1996, type 7).
pub(crate) fn quantile(sorted: &[f64], p: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = p.clamp(0.0, 1.0) * last as f64;
    let below = (at as usize).min(last);
    let above = (below + 1).min(last);
    Some(sorted[below] + (sorted[above] - sorted[below]) * (at - below as f64))
}

/// The quantile of the standard normal distribution, by halving its cumulative one.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        let below = 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2);
        if below < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy.stats.norm.ppf of 0.0005, 0.05, 0.5, 0.95.
    #[test]
    fn quantiles_of_the_normal_distribution_are_those_of_scipy() {
        for (p, z) in [
            (0.0005, -3.290_526_731_491_895),
            (0.05, -1.644_853_626_951_472),
            (0.5, 0.0),
            (0.95, 1.644_853_626_951_472),
        ] {
            assert!((normal_quantile(p) - z).abs() < 1e-12, "{p}: {}", normal_quantile(p));
        }
    }

    /// numpy.quantile([1, 2, 4, 8, 16], [.05, .25, .5, .75, .95]) is [1.2, 2, 4, 8, 14.4].
    #[test]
    fn quantiles_are_those_of_numpy() {
        let s = Spread::of([16.0, 1.0, f64::NAN, 4.0, 2.0, 8.0]).unwrap();
        assert_eq!((s.p05, s.p25, s.p50, s.p75), (1.2, 2.0, 4.0, 8.0));
        assert!((s.p95 - 14.4).abs() < 1e-12);
        assert_eq!(Spread::of([f64::NAN]), None);
    }
}
