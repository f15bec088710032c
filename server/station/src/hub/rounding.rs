//! Figures as they are sent: rounded so that the last digit is still worth sending, never NaN.
//!
//! An interval is rounded to a step of at most a fiftieth of its 90 % width (common practice, no source): the error
//! is far below what the interval itself admits, and a message stays small.

use loftwatch_flight::Quantiles;

use crate::messages::Q;

/// Rounds to so many decimals; a negative zero becomes zero.
pub(crate) fn to(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    // Beyond 2^53 / scale the product has no decimals left to round (and may overflow).
    if rounded.is_finite() { rounded + 0.0 } else { value }
}

/// Rounds a figure; `None` when it is not a number.
pub(crate) fn figure(value: f64, decimals: i32) -> Option<f64> {
    value.is_finite().then(|| to(value, decimals))
}

/// Rounds a place on the ground plan, m.
pub(crate) fn place(point_m: [f64; 2]) -> Option<[f64; 2]> {
    Some([figure(point_m[0], 1)?, figure(point_m[1], 1)?])
}

/// Rounds a distribution, with at most so many decimals, after adding `offset`. `None` when a quantile is unknown.
pub(crate) fn quantiles(q: &Quantiles, offset: f64, most_decimals: i32) -> Option<Q> {
    let all = [q.p05, q.p25, q.p50, q.p75, q.p95];
    if !all.iter().all(|value| value.is_finite()) {
        return None;
    }
    let step = (q.p95 - q.p05).abs() / 50.0;
    let decimals = if step > 0.0 {
        (-step.log10()).ceil().clamp(0.0, f64::from(most_decimals)) as i32
    } else {
        most_decimals
    };
    let [p05, p25, p50, p75, p95] = all.map(|value| to(value + offset, decimals));
    Some(Q { p05, p25, p50, p75, p95 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_keeps_the_digits_it_can_justify() {
        let q = Quantiles { p05: 403.123456, p25: 408.2, p50: 412.04, p75: 416.0, p95: 421.9 };
        // 18.8 m wide: a step of 0.38 m at most, so tenths.
        let sent = quantiles(&q, 0.0, 2).unwrap();
        assert_eq!([sent.p05, sent.p25, sent.p50, sent.p75, sent.p95], [403.1, 408.2, 412.0, 416.0, 421.9]);
        let wide = Quantiles { p05: 0.4, p25: 100.0, p50: 200.4, p75: 300.0, p95: 400.0 };
        assert_eq!(quantiles(&wide, 0.0, 2).unwrap().p50, 200.0);
        let point = Quantiles { p05: 1.23456, p25: 1.23456, p50: 1.23456, p75: 1.23456, p95: 1.23456 };
        assert_eq!(quantiles(&point, 0.0, 3).unwrap().p50, 1.235);
    }

    #[test]
    fn what_is_not_a_number_is_not_sent() {
        let q = Quantiles { p05: f64::NAN, p25: 0.0, p50: 0.0, p75: 0.0, p95: 0.0 };
        assert_eq!(quantiles(&q, 0.0, 2), None);
        let q = Quantiles { p05: 0.0, p25: 0.0, p50: 0.0, p75: 0.0, p95: f64::INFINITY };
        assert_eq!(quantiles(&q, 0.0, 2), None);
        assert_eq!(figure(f64::NAN, 2), None);
        assert_eq!(place([0.0, f64::NEG_INFINITY]), None);
    }

    #[test]
    fn zero_has_no_sign() {
        assert!(to(-0.001, 1).is_sign_positive());
    }
}
