//! The told wind by height, and how far it may be off.
//!
//! A power law with exponent 1/7 (common practice for neutral air over open ground) through the told figure, up
//! to 600 m and constant above. The spread adds the told one, carried up the same law, to what a forecast-free crew
//! does not know about higher winds: 2 m/s per km, at most 15 m/s (common practice, no source).

use libm::{cos, exp, log, sin, sqrt};

use crate::plan::Weather;

/// Exponent of the profile.
const EXPONENT: f64 = 1.0 / 7.0;
/// Height up to which the law is used, m.
const LAW_TOP_M: f64 = 600.0;
/// Spacing of the table, m; straight lines between are within 1 % above 2 m.
const STEP_M: f64 = 2.0;
/// Growth of what is not known with height, 1/s. Larger: landing areas swell; smaller: they miss under shear.
const UNKNOWN_PER_M: f64 = 0.002;
/// Where that growth ends, m/s.
const UNKNOWN_MOST_MPS: f64 = 15.0;

/// Height over which the wind's departure from the told profile changes, m, what it grows by per metre of height (a jet is some
/// thousands of metres deep), and the time over which it changes, s (common practice, no source).
const SCALE_M: f64 = 1200.0;
const SCALE_PER_M: f64 = 0.3;
const SCALE_S: f64 = 300.0;

/// Share of the wind's departure from the told profile that is left after `dt_s` at this climb rate, m/s.
pub(crate) fn kept(climb_mps: f64, height_m: f64, dt_s: f64) -> f64 {
    let scale_m = SCALE_M + SCALE_PER_M * height_m.max(0.0);
    exp(-(climb_mps.abs() / scale_m + 1.0 / SCALE_S) * dt_s)
}

/// Upright gusts over the wind 20 ft above ground, one standard deviation, and that height in metres: MIL-HDBK-1797B, low
/// altitude model (cited from memory).
const GUST_SHARE: f64 = 0.1;
const GUST_TOLD_AT_M: f64 = 6.1;
/// Their length in the same models: the height above ground up to 1000 ft, and 1750 ft, which is from 2000 ft on there and here
/// already above 1000 ft.
const GUST_LOW_M: f64 = 305.0;
const GUST_HIGH_M: f64 = 533.0;

/// Length of upright gusts at a height above ground, m.
pub(crate) fn gust_length_m(height_m: f64) -> f64 {
    if height_m < GUST_LOW_M { height_m.max(3.0) } else { GUST_HIGH_M }
}

/// The told wind.
#[derive(Clone, Debug)]
pub(crate) struct Wind {
    /// Velocity of the air at the told height, east and north, m/s (towards where it blows).
    towards_mps: [f64; 2],
    sd_mps: f64,
    /// Wind at a height over wind at the told height, every [`STEP_M`].
    ratio: Vec<f64>,
}

impl Wind {
    /// From what was told.
    pub(crate) fn told(weather: &Weather) -> Self {
        let v = weather.wind_mps.value;
        Self {
            towards_mps: [-v * sin(weather.wind_from_rad), -v * cos(weather.wind_from_rad)],
            sd_mps: weather.wind_mps.sd,
            ratio: (0..=(LAW_TOP_M / STEP_M) as usize)
                .map(|i| {
                    let h = (STEP_M * i as f64).max(2.0);
                    exp(EXPONENT * log(h / weather.wind_height_m.clamp(1.0, LAW_TOP_M)))
                })
                .collect(),
        }
    }

    /// Wind at a height over wind at the told height, and its slope per metre.
    fn ratio(&self, height_m: f64) -> (f64, f64) {
        let last = self.ratio.len() - 1;
        if !(height_m > 0.0) {
            return (self.ratio[0], 0.0);
        }
        let at = height_m / STEP_M;
        if at >= last as f64 {
            return (self.ratio[last], 0.0);
        }
        let i = (at as usize).min(last - 1);
        let rise = self.ratio[i + 1] - self.ratio[i];
        (self.ratio[i] + rise * (at - i as f64), rise / STEP_M)
    }

    /// Velocity of the air, east and north, m/s, and its slope per metre of height.
    pub(crate) fn at(&self, height_m: f64) -> ([f64; 2], [f64; 2]) {
        let (r, s) = self.ratio(height_m);
        let [e, n] = self.towards_mps;
        ([e * r, n * r], [e * s, n * s])
    }

    /// One standard deviation of upright gusts, m/s.
    pub(crate) fn gust_mps(&self) -> f64 {
        let (r, _) = self.ratio(GUST_TOLD_AT_M);
        let [e, n] = self.towards_mps;
        GUST_SHARE * r * sqrt(e * e + n * n + self.sd_mps * self.sd_mps)
    }

    /// One standard deviation of each component at a height, m/s.
    pub(crate) fn sd_mps(&self, height_m: f64) -> f64 {
        let (r, _) = self.ratio(height_m);
        let (told, rest) = (self.sd_mps * r, rest_sd_mps(height_m));
        sqrt(told * told + rest * rest)
    }

    /// Its part that is the told figure's, at the height that this was told for, m/s; and wind at a height over wind there.
    pub(crate) fn told_sd_mps(&self) -> f64 {
        self.sd_mps
    }

    pub(crate) fn over_told(&self, height_m: f64) -> f64 {
        self.ratio(height_m).0
    }
}

/// The part of [`Wind::sd_mps`] that is not the told figure's, at a height, m/s.
pub(crate) fn rest_sd_mps(height_m: f64) -> f64 {
    let aloft = (UNKNOWN_PER_M * height_m.max(0.0)).min(UNKNOWN_MOST_MPS);
    sqrt(aloft * aloft + 0.25)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Told;

    #[test]
    fn a_westerly_blows_east_and_grows_with_height() {
        let w = Wind::told(&Weather {
            pressure_pa: 1e5,
            temperature_k: 288.0,
            temperature_sd_k: 0.0,
            wind_mps: Told { value: 4.0, sd: 1.0 },
            wind_from_rad: 1.5 * core::f64::consts::PI,
            wind_height_m: 10.0,
        });
        let ([e, n], _) = w.at(10.0);
        assert!((e - 4.0).abs() < 1e-9 && n.abs() < 1e-9);
        // 10^(1/7) = 1.3895: one decade up.
        let ([e, _], _) = w.at(100.0);
        assert!((e / 4.0 - 1.389_495).abs() < 1e-4);
        assert_eq!(w.at(700.0).0, w.at(9000.0).0);
        assert!(w.sd_mps(3000.0) > w.sd_mps(10.0));
        // A tenth of 4.12 m/s (told, with its spread) brought from 10 to 6.1 m: 0.412 * 0.61^(1/7) = 0.384.
        assert!((w.gust_mps() - 0.384).abs() < 0.001, "{}", w.gust_mps());
    }
}
