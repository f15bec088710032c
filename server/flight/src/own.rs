//! What a vehicle's own computer makes of its sensors: its height above its own zero, and its climb rate.
//!
//! Altimeters turn pressure into height by the standard atmosphere, whatever the day (common practice, no source): a day that is
//! thirteen kelvin warmer makes them four and a half per cent short. Their metres are turned into the told air's.

use libm::sqrt;

use crate::atmosphere::{pressure_altitude_m, standard_pressure_pa};
use crate::filter::Filter;
use crate::fuse::Number;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::plan::Told;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{BB, Blob, H, N, Row, VU};

/// How late a vehicle's own height and climb rate are (a filter lags and never leads, and the rate more than the height), and the share
/// by which the standard air's heights are off, one standard deviation; how long heights and climb rates err the same way, s (common
/// practice, no source). Smaller: an altimeter's own filter is believed against the accelerometer, and its lag is taken for time.
const OWN_LAG_S: Told = Told { value: 0.08, sd: 0.25 };
const OWN_CLIMB_LAG_S: Told = Told { value: 0.2, sd: 0.25 };
const OWN_SCALE_SD: f64 = 0.03;
const OWN_LASTS_S: f64 = 1.0;
const OWN_CLIMB_LASTS_S: f64 = 4.0;
/// How long after a restart aloft a vehicle's own filter is still on its way from where it began, s (common practice, no source).
/// Smaller: a climb rate that begins at zero is believed; larger: a short coast is over before it is heard.
const OWN_SETTLES_S: f64 = 2.0;
/// A height that is the expected one to within so many deviations was not zeroed anew, where a chance of that is slight: where
/// that is less than this share of it.
const OWN_KEPT_SD: f64 = 2.5;
const OWN_KEPT_SHARE: f64 = 0.1;
/// Half of the way over which the two airs' metres are compared, m.
const COMPARED_OVER_M: f64 = 20.0;

impl Filter {
    /// The vehicle's own height above its zero, m, where that is known.
    pub(crate) fn own_height(&self, m: &Model, s: &Sample) -> Option<f64> {
        let z = told_height(s)?;
        (self.zero_own_m.sd > 0.0).then(|| from_standard(m, z - self.zero_own_m.value))
    }

    /// A board that restarted aloft has zeroed itself in the air, if it did not keep its zero: what it says from then on is where it was
    /// thought to be, and what was known of that is known of its zero.
    fn own_zero_anew(&mut self, m: &Model, s: &Sample) {
        let Some(z) = told_height(s) else { return };
        if self.zero_own_m.sd > 0.0 || self.about.is_some() {
            return;
        }
        let noise = self.sensors.variance(Channel::OwnHeight) + 4.0;
        let (h, var) = self.moments(H);
        let (off, _) = self.moments(BB);
        let sd = sqrt(var + noise);
        let kept_m = from_standard(m, z - self.zero_own_was_m);
        if (kept_m - h - off).abs() < OWN_KEPT_SD * sd && sd < OWN_KEPT_SHARE * h.abs() {
            self.zero_own_m = Told { value: self.zero_own_was_m, sd: 1.0 };
            return;
        }
        self.zero_own_m = Told { value: z - to_standard(m, h), sd: 1.0 };
        self.regime.zeroed_aloft = true;
        for b in self.blobs.iter_mut() {
            b.x[BB] = h - b.x[H];
            b.reopen(BB, b.p[H][H] + noise);
            for i in (0..N).filter(|i| *i != BB) {
                let with = -b.p[H][i];
                (b.p[BB][i], b.p[i][BB]) = (with, with);
            }
        }
    }

    pub(crate) fn take_own(&mut self, m: &Model, s: &Sample, t_sd: f64, climb: f64) {
        if self.marked(EventKind::Reboot).is_some_and(|r| self.t_s < r.t_s + OWN_SETTLES_S) {
            return;
        }
        self.own_zero_anew(m, s);
        if let Some(value) = self.own_height(m, s)
            && let Some(z) = s.own_height_m
        {
            let h = self.height();
            let noise = sqrt(self.sensors.variance(Channel::OwnHeight));
            if !self.sensors.of(Channel::OwnHeight).frozen(z, h, 5.0 * noise + 10.0) {
                // The vehicle's own filter lags, and its air is not quite the standard's; both err the same way for seconds.
                let off = libm::hypot(OWN_LAG_S.sd * climb, OWN_SCALE_SD * h);
                let since = self.taken_ago_s(Channel::OwnHeight, 0.01);
                let lasts = 1.0 + OWN_LASTS_S / since;
                let variance = noise * noise + 4.0 + off * off * lasts + (t_sd * climb) * (t_sd * climb);
                let view = |b: &Blob| {
                    let lagging = b.x[H] - OWN_LAG_S.value * b.x[VU];
                    (lagging + b.x[BB], Row::new().with(H, 1.0).with(VU, -OWN_LAG_S.value).with(BB, 1.0))
                };
                self.take_number(&Number::after(10, Channel::OwnHeight, value, variance), &view);
                if self.phase == Phase::Descending && self.about.is_none() {
                    let (off, off_var) = self.moments(BB);
                    self.watch_ground(s.t_s, value - off, noise + 0.5, off_var);
                }
            }
        }
        if let Some(z) = s.own_climb_mps.filter(|v| v.is_finite() && v.abs() < 5000.0) {
            let noise = self.sensors.variance(Channel::OwnClimb);
            let z = z * per_standard(m, self.height());
            let off = libm::hypot(OWN_CLIMB_LAG_S.sd * self.acceleration[2], OWN_SCALE_SD * climb);
            let since = self.taken_ago_s(Channel::OwnClimb, 0.01);
            let variance = noise + 4.0 + off * off * (1.0 + OWN_CLIMB_LASTS_S / since);
            let gained = OWN_CLIMB_LAG_S.value * self.acceleration[2];
            let view = |b: &Blob| (b.x[VU] - gained, Row::new().with(VU, 1.0));
            self.take_number(&Number::never(Channel::OwnClimb, z, variance), &view);
        }
    }
}

fn told_height(s: &Sample) -> Option<f64> {
    s.own_height_m.filter(|h| h.is_finite() && h.abs() < 2e5)
}

/// Height above the pad, m, where the standard atmosphere has so many metres over the pad's pressure.
fn from_standard(m: &Model, over_m: f64) -> f64 {
    m.air.height_m(standard_pressure_pa(m.pad_pressure_altitude_m + over_m))
}

/// The other way.
fn to_standard(m: &Model, height_m: f64) -> f64 {
    pressure_altitude_m(m.air.pressure_pa(height_m)) - m.pad_pressure_altitude_m
}

/// Metres of the told air to one of the standard's, at a height above the pad.
fn per_standard(m: &Model, height_m: f64) -> f64 {
    let over = |h: f64| to_standard(m, h);
    let span_m = over(height_m + COMPARED_OVER_M) - over(height_m - COMPARED_OVER_M);
    if span_m > 1.0 { 2.0 * COMPARED_OVER_M / span_m } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn model(temperature_k: f64) -> Model {
        let plan = include_str!("../../../tests/flights/straight/1/plan.json");
        let mut plan: crate::Plan = serde_json::from_str(plan).expect("a committed plan");
        plan.weather.temperature_k = temperature_k;
        Model::new(&plan)
    }

    /// A layer between two pressures is as thick as it is warm (hypsometric equation).
    #[test]
    fn an_altimeter_is_short_on_a_warm_day() {
        let (warm, cold) = (model(303.0), model(273.0));
        for m in [&warm, &cold] {
            for h in [0.0, 100.0, 900.0, 2800.0] {
                let there = from_standard(m, to_standard(m, h));
                assert!((there - h).abs() < 1.0 + 2e-3 * h, "{h} and back: {there}");
            }
        }
        let ratio = from_standard(&warm, 1000.0) / from_standard(&cold, 1000.0);
        assert!((ratio - 303.0 / 273.0).abs() < 0.01, "{ratio}");
        let rate = per_standard(&warm, 500.0) * to_standard(&warm, 1000.0);
        assert!((rate / 1000.0 - 1.0).abs() < 0.01, "{rate}");
    }
}
