//! Seeing the ground: heights that stay, a fall that must have ended, and fixes of what lies there.

use libm::sqrt;

use crate::filter::Filter;
use crate::line::{Line, line};
use crate::model::Model;
use crate::output::{EventKind, Origin, Phase};
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{BB, E, H, LNK, VE, VN, VU};

/// How long heights must be still to be the ground, s.
const STILL_FOR_S: f64 = 2.5;
/// How many heights that takes at least, and how old the first may be where they come slowly, s.
const LEAST_HEIGHTS: usize = 4;
const LONGEST_STILL_S: f64 = 6.0;
/// What the scatter of so few heights about their line is taken to be at least, m, and how much larger than it shows: a parachute's own
/// surprise must not pass for the barometer's noise, and neither must a charge's gas: that is what it is at most.
const LEAST_SCATTER_M: f64 = 0.3;
const MOST_SCATTER_M: f64 = 3.0;
const SCATTERED: f64 = 1.5;
/// How far above the pad the ground may be that a body comes down on, m, and about how long it falls through that, s (common practice, no
/// source). Larger: the rate of a fall is known less near the ground; smaller: what lies there already is thought to fall on.
const NEAR_M: f64 = 15.0;
const NEAR_FOR_S: f64 = 1.0;
/// A landing is taken back where heights go on falling faster than this, m/s, over so much, m, within so long after it, s: nobody
/// carries it down like that (common practice, no source).
const STILL_FALLS_MPS: f64 = 2.5;
const STILL_FALLS_M: f64 = 8.0;
const TAKEN_BACK_FOR_S: f64 = 60.0;

/// Silence from which on a fall goes on by itself, s.
const SILENT_S: f64 = 5.0;
/// Deviations below the ground at which a silent fall has ended: three in four. A rate that is known badly never gets much further.
const UNDER_SD: f64 = 0.67;

impl Filter {
    /// Keeps a height, five a second at most; the line through those of the last seconds and when it begins, s.
    fn line_with(&mut self, t_s: f64, z: f64) -> Option<(f64, Line)> {
        if self.low.last().is_some_and(|l| t_s - l.0 < 0.2) {
            return None;
        }
        self.low.roll((t_s, z));
        let recent = self.low.iter().position(|p| t_s - p.0 <= STILL_FOR_S + 0.3)?;
        // At a packet a second so few heights are no line yet.
        let few = self.low.len().saturating_sub(LEAST_HEIGHTS);
        let since =
            if t_s - self.low[few.min(recent)].0 <= LONGEST_STILL_S { few.min(recent) } else { recent };
        let part = &self.low[since..];
        let first_s = part[0].0;
        if t_s - first_s < STILL_FOR_S - 0.5 { None } else { Some((first_s, line(part)?)) }
    }

    /// Heights on the way down, and the variance that they have in common; still for two and a half seconds is the ground.
    pub(crate) fn watch_ground(&mut self, t_s: f64, z: f64, noise_m: f64, off_var: f64) {
        let Some((first_s, heights)) = self.line_with(t_s, z) else { return };
        if self.marked(EventKind::Apogee).is_some_and(|a| first_s < a.t_s + 1.5) {
            return;
        }
        // What the channel's noise has grown to may be a canopy that nobody told of.
        let noise_m = noise_m.min((SCATTERED * heights.scatter_m).clamp(LEAST_SCATTER_M, MOST_SCATTER_M));
        let level = heights.level_m;
        let slope_sd = heights.slope_sd(noise_m);
        if heights.slope_mps.abs() > 0.7 + slope_sd || heights.range_m > 2.0 + 6.0 * noise_m {
            return;
        }
        // Back to the last height that was clearly above, and on from there at the rate of descent.
        let clear = 1.0 + 3.0 * noise_m;
        let mut at = first_s;
        let mut sd = 0.6;
        if let Some(i) = self.low.iter().rposition(|p| p.1 > level + clear) {
            let (t0, z0) = self.low[i];
            let next = self.low.get(i + 1).map_or(first_s, |p| p.0);
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
            sd = 0.5 * (first_s - first.0) + 1.0;
        }
        self.lie(at, sd, level, 1.0 + noise_m * noise_m + off_var);
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

    /// What comes down to about the pad's height may be stopped by the ground at any moment: what a pressure shows then is followed, and
    /// not the fall that was. Fixes are late and wander by metres, and would lead the fall with them.
    pub(crate) fn may_touch_ground(&mut self) {
        let by_pressure = self.hears(Channel::Baro) || self.hears(Channel::OwnHeight);
        if self.phase != Phase::Descending || self.about.is_some() || !by_pressure {
            return;
        }
        for b in self.blobs.iter_mut() {
            if b.x[H] < NEAR_M + sqrt(b.p[H][H]) && b.x[VU] < 0.0 {
                let fell_m = b.x[VU] * self.packet_gap_s;
                b.p[VU][VU] += b.x[VU] * fell_m / NEAR_FOR_S;
                b.p[H][H] += fell_m * fell_m;
            }
        }
    }

    /// Whether it falls and nothing has been heard of it for a while.
    pub(crate) fn falls_silently(&self) -> bool {
        self.phase == Phase::Descending && self.t_s - self.used_s >= SILENT_S
    }

    /// In silence a fall that must have ended has ended.
    pub(crate) fn ground_by_physics(&mut self) {
        if !self.falls_silently() {
            return;
        }
        let (h, var) = self.moments(H);
        let sd = sqrt(var);
        if h < -5.0 - UNDER_SD * sd {
            let v = self.climb().abs().max(1.0);
            let at_s = self.t_s - (-h) / v;
            // A rate that is not known spreads the height the longer, the more; what counts is the spread at the ground.
            let sd_s = (sd * share(at_s - self.used_s, self.t_s - self.used_s) + 5.0) / v;
            self.stop_at_ground();
            self.lie(at_s, sd_s, 0.0, 100.0);
            self.mark_as(EventKind::Landing, at_s, sd_s, Origin::Inferred);
        }
    }

    /// What has fallen below the ground in silence lies where it reached it, and its place is as uncertain as it was then.
    pub(crate) fn stop_at_ground(&mut self) {
        if !self.falls_silently() {
            return;
        }
        let (t_s, used_s) = (self.t_s, self.used_s);
        for b in self.blobs.iter_mut() {
            if b.x[H] >= 0.0 {
                continue;
            }
            let below_s = (-b.x[H] / b.x[VU].abs().max(1.0)).min(t_s - used_s);
            b.x[E] -= b.x[VE] * below_s;
            b.x[E + 1] -= b.x[VN] * below_s;
            b.x[H] = 0.0;
            let then = share(t_s - below_s - used_s, t_s - used_s);
            for i in E..=H {
                b.scale(i, then);
            }
        }
    }

    /// A landing that was none: heights go on falling.
    fn goes_on_falling(&mut self, m: &Model, s: &Sample) -> bool {
        let Some(landed) = self.marked(EventKind::Landing).filter(|l| s.t_s - l.t_s < TAKEN_BACK_FOR_S)
        else {
            return false;
        };
        let own = self.own_height(m, s).map(|h| h - self.moments(BB).0);
        let Some(z) = self.height_by_pressure(m, s).or(own) else { return false };
        let Some((_, heights)) = self.line_with(s.t_s, z).filter(|(first_s, _)| *first_s > landed.t_s) else {
            return false;
        };
        let slope_sd = heights.slope_sd(heights.scatter_m.max(LEAST_SCATTER_M));
        let fell_m = self.height() - z;
        if heights.slope_mps + 3.0 * slope_sd > -STILL_FALLS_MPS || fell_m < STILL_FALLS_M {
            return false;
        }
        self.marks[EventKind::Landing as usize] = None;
        self.descends();
        self.open_until_s = s.t_s + 1.5;
        for b in self.blobs.iter_mut() {
            b.x[H] = z;
            b.reopen(H, 4.0 + heights.scatter_m * heights.scatter_m);
            b.x[VU] = heights.slope_mps;
            b.reopen(VU, 4.0 + slope_sd * slope_sd);
            for i in VE..=VN {
                b.reopen(i, 100.0);
            }
            b.reopen(LNK, 1.0);
        }
        true
    }

    /// On the ground: fixes go on telling where, and heights whether it is the ground.
    pub(crate) fn rest(&mut self, m: &Model, s: &Sample) {
        self.t_s = self.t_s.max(s.t_s);
        if self.goes_on_falling(m, s) {
            return;
        }
        let Some((e, n, _)) = Self::fix_enu(m, s) else { return };
        let told = s.fix.and_then(|f| f.horizontal_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
        let variance = self.sensors.variance(Channel::FixFlat).max(told * told) + 4.0;
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

/// How much of a silence had passed.
fn share(part_s: f64, whole_s: f64) -> f64 {
    (part_s / whole_s).clamp(0.1, 1.0)
}
