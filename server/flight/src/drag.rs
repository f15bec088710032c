//! How the drag coefficient goes with Mach number, over its subsonic value, with an uncertain rise near Mach 1.
//!
//! Shape of slender bodies of revolution: flat to Mach 0.8, a smooth rise to a peak at 1.1, a fall after it
//! (Hoerner 1965, Fluid-Dynamic Drag, ch. 16, cited from memory). The height of the rise is one parameter with a standard
//! normal prior: median 0.55 of the subsonic value, a factor 1.6 either way at one standard deviation.

use libm::{exp, sqrt};

/// Start of the rise, Mach.
const RISE_FROM: f64 = 0.8;
/// Peak, Mach.
const PEAK_AT: f64 = 1.1;
/// Median rise over the subsonic coefficient.
const RISE: f64 = 0.55;
/// Spread of ln rise at one standard deviation.
const RISE_LN_SD: f64 = 0.45;

/// How the coefficient falls after the peak, as a power of Mach: wave, base and friction drag all do, so that it is back at its
/// subsonic value by Mach 2.3 and below it after (from memory of published curves of finned sounding rockets, 0.5 to 0.7). Smaller: drag
/// below Mach 1 is taken for less than what was felt above, and apogee for higher.
const FALL: f64 = 0.625;

/// Cd over its subsonic value.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    /// The ratio.
    pub ratio: f64,
    /// Its slope per Mach.
    pub per_mach: f64,
    /// Its slope per unit of the shape parameter.
    pub per_parameter: f64,
}

/// The shape at a Mach number, for a value of the uncertain parameter (clamped to +-4).
#[inline]
pub(crate) fn shape(mach: f64, parameter: f64) -> Shape {
    if mach <= RISE_FROM {
        return Shape { ratio: 1.0, per_mach: 0.0, per_parameter: 0.0 };
    }
    let rise = RISE * exp(RISE_LN_SD * parameter.clamp(-4.0, 4.0));
    if mach > PEAK_AT {
        let left = fallen(mach / PEAK_AT);
        let ratio = (1.0 + rise) * left;
        return Shape { ratio, per_mach: -FALL * ratio / mach, per_parameter: rise * left * RISE_LN_SD };
    }
    let u = (mach - RISE_FROM) / (PEAK_AT - RISE_FROM);
    let (f, df) = (u * u * (3.0 - 2.0 * u), 6.0 * u * (1.0 - u) / (PEAK_AT - RISE_FROM));
    Shape { ratio: 1.0 + rise * f, per_mach: rise * df, per_parameter: rise * f * RISE_LN_SD }
}

/// x to the power of -[`FALL`], five eighths, by square roots, which cost a quarter of a power.
fn fallen(x: f64) -> f64 {
    let half = sqrt(x);
    1.0 / (half * sqrt(sqrt(half)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flat_below_rising_through_falling_after() {
        assert_eq!(shape(0.5, 0.0).ratio, 1.0);
        assert!((shape(1.1, 0.0).ratio - 1.55).abs() < 1e-12);
        assert!(shape(2.5, 0.0).ratio < shape(1.3, 0.0).ratio);
        assert!(shape(1.1, 1.0).ratio > shape(1.1, 0.0).ratio);
    }

    #[test]
    fn slopes_are_those_of_the_curve() {
        for m in [0.85, 0.99, 1.05, 1.2, 2.0] {
            for c in [-1.0, 0.0, 0.7] {
                let d = 1e-6;
                let s = shape(m, c);
                let by_m = (shape(m + d, c).ratio - shape(m - d, c).ratio) / (2.0 * d);
                let by_c = (shape(m, c + d).ratio - shape(m, c - d).ratio) / (2.0 * d);
                assert!((s.per_mach - by_m).abs() < 1e-6 && (s.per_parameter - by_c).abs() < 1e-6);
            }
        }
    }
}
