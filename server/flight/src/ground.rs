//! Seeing the ground: heights that stay, a fall that must have ended, and fixes of what lies there.

use libm::sqrt;

use crate::filter::Filter;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::state::{E, H, LNK, VE};

impl Filter {
    /// Heights on the way down; still for two and a half seconds is the ground.
    pub(crate) fn watch_ground(&mut self, t_s: f64, z: f64, noise_m: f64) {
        if self.low.last().is_some_and(|l| t_s - l.0 < 0.2) {
            return;
        }
        self.low.roll((t_s, z));
        let n = self.low.len();
        let window = 2.5;
        let since = self.low.iter().position(|p| t_s - p.0 <= window + 0.3).unwrap_or(n);
        let part = &self.low[since..n];
        if part.len() < 4 || t_s - part[0].0 < window - 0.5 {
            return;
        }
        if self.marked(EventKind::Apogee).is_some_and(|a| part[0].0 < a.t_s + 1.5) {
            return;
        }
        let count = part.len() as f64;
        let (mut st, mut sz, mut stt, mut stz) = (0.0, 0.0, 0.0, 0.0);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for &(t, h) in part {
            let t = t - t_s;
            st += t;
            sz += h;
            stt += t * t;
            stz += t * h;
            low = low.min(h);
            high = high.max(h);
        }
        let level = sz / count;
        let slope = (count * stz - st * sz) / (count * stt - st * st).max(1e-9);
        let slope_sd = noise_m / sqrt((stt - st * st / count).max(1e-6));
        if slope.abs() > 0.7 + slope_sd || high - low > 2.0 + 6.0 * noise_m {
            return;
        }
        // Back to the last height that was clearly above, and on from there at the rate of descent.
        let clear = 1.0 + 3.0 * noise_m;
        let mut at = part[0].0;
        let mut sd = 0.6;
        if let Some(i) = self.low.iter().rposition(|p| p.1 > level + clear) {
            let (t0, z0) = self.low[i];
            let next = self.low.get(i + 1).map_or(part[0].0, |p| p.0);
            let rate = if i > 2 {
                let (ta, za) = self.low[i - 3];
                ((za - z0) / (t0 - ta).max(0.05)).max(0.5)
            } else {
                5.0
            };
            at = (t0 + (z0 - level) / rate).clamp(t0, (next + 1.0).max(t0));
            sd = 0.3 + (next - t0).min(5.0) * 0.3;
        } else if let Some(first) = self.low.first() {
            // Already still when first heard.
            sd = 0.5 * (part[0].0 - first.0) + 1.0;
        }
        self.lie(at, sd, level, 1.0 + noise_m * noise_m);
        for b in self.blobs.iter_mut() {
            b.reopen(LNK, b.p[LNK][LNK]);
        }
    }

    /// It has landed and lies at a height.
    fn lie(&mut self, at_s: f64, sd_s: f64, height_m: f64, height_var: f64) {
        self.mark(EventKind::Landing, at_s, sd_s);
        self.phase = Phase::Down;
        for b in self.blobs.iter_mut() {
            for i in VE..VE + 3 {
                b.x[i] = 0.0;
                b.reopen(i, 1e-4);
            }
            b.x[H] = height_m;
            b.reopen(H, height_var);
        }
    }

    /// In silence a fall that must have ended has ended.
    pub(crate) fn ground_by_physics(&mut self) {
        if self.phase != Phase::Descending || self.t_s - self.used_s < 5.0 {
            return;
        }
        let (h, var) = self.moments(H);
        let sd = sqrt(var);
        if h < -5.0 - 2.0 * sd {
            let v = self.climb().abs().max(1.0);
            self.lie(self.t_s - (-h) / v, (sd + 5.0) / v, 0.0, 100.0);
        }
    }

    /// On the ground: fixes go on telling where.
    pub(crate) fn rest(&mut self, m: &Model, s: &crate::sample::Sample) {
        self.t_s = self.t_s.max(s.t_s);
        let Some((e, n, _)) = Self::fix_enu(m, s) else { return };
        let told = s.fix.and_then(|f| f.horizontal_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
        let variance = self.sensors.variance(crate::sensors::Channel::FixFlat).max(told * told) + 4.0;
        let (we, _) = self.moments(E);
        let (wn, pn) = self.moments(E + 1);
        let far = (e - self.zero_gnss_m[0].value - we).abs() + (n - self.zero_gnss_m[1].value - wn).abs();
        if far > 500.0 + 6.0 * sqrt(pn) {
            return;
        }
        for (k, z) in [(0, e - self.zero_gnss_m[0].value), (1, n - self.zero_gnss_m[1].value)] {
            for b in self.blobs.iter_mut() {
                let row = crate::state::Row::new().with(E + k, 1.0);
                // A body being carried or dragged: ten metres an hour of freedom per fix.
                b.p[E + k][E + k] += 0.05;
                let ph = b.times(&row);
                let v = row.dot(&ph) + variance;
                let y = z - b.x[E + k];
                b.update(&ph, y, v);
            }
        }
        self.used_s = self.t_s;
        self.flat_known = true;
    }
}
