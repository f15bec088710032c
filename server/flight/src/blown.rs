//! What is not known of the wind on a way down, each axis alike.
//!
//! The told figure's error is one figure for the whole profile, carried up by the same law as the figure itself: who has measured the wind
//! aloft knows it near the ground, too. The rest departs from the profile height by height. Both are first-order processes along the
//! way (exact over a step: for example Brown and Hwang 1997, section 5.3), and the way that they lead is carried with them.

use libm::exp;

use crate::wind::{Wind, kept, rest_sd_mps};

/// How long a mean wind stays, s: it is told as a mean over ten minutes (WMO-No. 8, part I, ch. 5; from memory). Longer: areas are too small
/// where the wind turns; shorter: what was measured aloft is forgotten on the way down.
const TOLD_LASTS_S: f64 = 600.0;

/// See the module.
#[derive(Clone, Debug)]
pub(crate) struct Blown {
    /// What is thought of the told figure's error, east and north, at its own height, and of the rest here, m/s.
    told: [f64; 2],
    rest: [f64; 2],
    /// Variances and covariances of the two and of the way that they lead: (m/s)2, m2/s and m2.
    told_var: f64,
    with: f64,
    rest_var: f64,
    told_with_way: f64,
    rest_with_way: f64,
    /// Variance of the way, m2.
    pub(crate) way_var: f64,
}

impl Blown {
    /// From where the wind departs by `off_mps` from the told profile, known with this variance, (m/s)2.
    pub(crate) fn from(wind: &Wind, height_m: f64, off_mps: [f64; 2], variance: f64) -> Self {
        let (told, rest) = (wind.told_sd_mps(), rest_sd_mps(height_m));
        let (told_var, rest_var, r) = (told * told, rest * rest, wind.over_told(height_m));
        let all = r * r * told_var + rest_var;
        // Each part's share in the departure, and what knowing the sum takes from what is not known.
        let (t, q) = (r * told_var / all, rest_var / all);
        let known = (all - variance).max(0.0);
        Self {
            told: off_mps.map(|off| t * off),
            rest: off_mps.map(|off| q * off),
            told_var: told_var - t * t * known,
            with: -t * q * known,
            rest_var: rest_var - q * q * known,
            told_with_way: 0.0,
            rest_with_way: 0.0,
            way_var: 0.0,
        }
    }

    /// Over a slice about a height; gives the mean departure from the told profile in it, m/s.
    pub(crate) fn over(&mut self, wind: &Wind, height_m: f64, speed_mps: f64, dt: f64) -> [f64; 2] {
        let (r, stays, fades) =
            (wind.over_told(height_m), exp(-dt / TOLD_LASTS_S), kept(speed_mps, height_m, dt));
        let (told, rest) = (wind.told_sd_mps(), rest_sd_mps(height_m));
        self.told = self.told.map(|v| v * stays);
        self.rest = self.rest.map(|v| v * fades);
        self.told_var = stays * stays * self.told_var + told * told * (1.0 - stays * stays);
        self.rest_var = fades * fades * self.rest_var + rest * rest * (1.0 - fades * fades);
        self.with *= stays * fades;
        let told_with = r * self.told_var + self.with;
        let rest_with = r * self.with + self.rest_var;
        let speed_var = r * told_with + rest_with;
        let with_way = r * self.told_with_way + self.rest_with_way;
        self.way_var += (2.0 * with_way + speed_var * dt) * dt;
        self.told_with_way = stays * (self.told_with_way + told_with * dt);
        self.rest_with_way = fades * (self.rest_with_way + rest_with * dt);
        [r * self.told[0] + self.rest[0], r * self.told[1] + self.rest[1]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Model;
    use crate::nominal::tests::plan;

    const HEIGHT_M: f64 = 5000.0;
    const SPEED_MPS: f64 = 20.0;

    fn wind() -> Wind {
        let mut plan = plan();
        plan.weather.wind_mps.sd = 2.0;
        Model::new(&plan).wind
    }

    /// The way of a first-order process that has gone on for ever has variance 2 sigma^2 tau^2 (T/tau - 1 + exp(-T/tau)); the two add.
    #[test]
    fn both_parts_add_up_as_their_closed_form() {
        let wind = wind();
        let way =
            |sigma: f64, tau: f64, t: f64| 2.0 * sigma * sigma * tau * tau * (t / tau - 1.0 + exp(-t / tau));
        let mut blown = Blown::from(&wind, HEIGHT_M, [0.0; 2], f64::INFINITY);
        for _ in 0..600 {
            blown.over(&wind, HEIGHT_M, SPEED_MPS, 0.5);
        }
        let told = way(wind.told_sd_mps() * wind.over_told(HEIGHT_M), TOLD_LASTS_S, 300.0);
        let rest = way(rest_sd_mps(HEIGHT_M), -1.0 / libm::log(kept(SPEED_MPS, HEIGHT_M, 1.0)), 300.0);
        assert!((blown.way_var / (told + rest) - 1.0).abs() < 0.01, "{} {told} {rest}", blown.way_var);
    }

    /// At the start the parts add up to what was seen, and what is not known of their sum is what was not known of it.
    #[test]
    fn what_was_seen_is_shared_out_whole() {
        let wind = wind();
        let (off, variance) = ([3.0, -1.0], 0.7);
        let blown = Blown::from(&wind, HEIGHT_M, off, variance);
        let r = wind.over_told(HEIGHT_M);
        for (axis, off) in off.into_iter().enumerate() {
            assert!((r * blown.told[axis] + blown.rest[axis] - off).abs() < 1e-9);
        }
        let sum = r * r * blown.told_var + 2.0 * r * blown.with + blown.rest_var;
        assert!((sum - variance).abs() < 1e-9, "{sum}");
    }

    /// Near the ground nearly all that is not known is the told figure: who measured it at 400 m is half as far off down there.
    #[test]
    fn a_wind_that_was_measured_aloft_is_known_below() {
        let wind = wind();
        let fall = |variance: f64| {
            let mut blown = Blown::from(&wind, 400.0, [2.0, 0.0], variance);
            let mut height_m: f64 = 400.0;
            let mut last = [0.0; 2];
            while height_m > 0.0 {
                last = blown.over(&wind, height_m, 5.0, 0.5);
                height_m -= 2.5;
            }
            (blown.way_var, last)
        };
        let (measured, blows) = fall(0.05);
        let (guessed, _) = fall(f64::INFINITY);
        assert!(measured < 0.25 * guessed, "{measured} {guessed}");
        assert!(blows[0] > 0.2 && blows[0] < 2.0 && blows[1] == 0.0, "{blows:?}");
    }
}
