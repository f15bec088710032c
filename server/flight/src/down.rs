//! The way down under whatever is out, by height slices, and seeing the ground.
//!
//! [`Fall`] goes from a moment at or after apogee to the ground with the planned descent states, or a case of them:
//! vertical speed towards the terminal speed sqrt(g / (k rho/rho0)) by the closed form for quadratic drag, sideways
//! with the wind once the body's own speed has decayed. Spread of drag area (half of it goes into time) and of the wind
//! are carried along, fully correlated over one state, which is wide rather than narrow.

use libm::{exp, sqrt, tanh};

use crate::filter::Filter;
use crate::model::Model;
use crate::motion::WIND_SCALE_M;
use crate::output::{Case, EventKind, Phase};
use crate::plan::{DescentState, MAX_CUES, Trigger};
use crate::predict::Hit;
use crate::state::{Blob, E, H, LNK, VE};

/// Descent states that a fall keeps apart.
const STATES: usize = 8;

/// ln k within which what has just opened counts as what was planned.
const NEAR_PLAN: f64 = 1.5;

/// A body falling ahead of the data.
pub(crate) struct Fall<'a> {
    m: &'a Model,
    body: usize,
    case: Case,
    apogee_s: f64,
    liftoff_s: f64,
    burnout_s: f64,
    acted: [Option<f64>; MAX_CUES],
    /// ln k when nothing is out, and its spread.
    bare_ln_k: f64,
    bare_sd: f64,
    /// Slot that was out by plan at the start, and ln k and its spread as the belief has learnt them.
    learnt: Option<(usize, f64, f64)>,
    pub(crate) t_s: f64,
    pub(crate) height_m: f64,
    /// Downwards, m/s.
    pub(crate) speed_mps: f64,
    /// Over the air, sideways.
    pub(crate) side: [f64; 2],
    /// Moved since the start.
    pub(crate) drift: [f64; 2],
    /// Time that the start's sideways speed acts for, s.
    pub(crate) side_s: f64,
    wind_off: [f64; 2],
    wind_var: f64,
    start_height: f64,
    start_s: f64,
    spent: [f64; STATES],
    drift_in: [[f64; 2]; STATES],
    sd_in: [f64; STATES],
    wind_sd_s: f64,
    pub(crate) t_var: f64,
    pub(crate) ln_area_sd: f64,
}

impl<'a> Fall<'a> {
    /// From a hit at `t_s` (apogee or later).
    pub(crate) fn from(m: &'a Model, f: &Filter, hit: &Hit, t_s: f64) -> Self {
        let at = |k: EventKind| f.marked(k).map(|x| x.t_s);
        let body = f.body.min(m.bare_ln_k.len() - 1);
        let (w, _) = m.wind.at(hit.height_m);
        let told = m.plan.bodies.get(f.body).map_or(0.25, |b| {
            (b.bare_drag_area_m2.sd / b.bare_drag_area_m2.value.max(1e-9)).clamp(0.05, 1.0)
        });

        Self {
            m,
            body: f.body,
            case: Case::Planned,
            apogee_s: at(EventKind::Apogee).unwrap_or(t_s),
            liftoff_s: at(EventKind::Liftoff).unwrap_or(f.t_s),
            burnout_s: at(EventKind::Burnout).unwrap_or(t_s),
            acted: f.cue_s,
            bare_ln_k: m.bare_ln_k[body],
            bare_sd: told,
            learnt: None,
            t_s,
            height_m: hit.height_m,
            speed_mps: -hit.velocity[2],
            side: [hit.air[0], hit.air[1]],
            drift: [0.0; 2],
            side_s: 0.0,
            wind_off: [hit.velocity[0] - hit.air[0] - w[0], hit.velocity[1] - hit.air[1] - w[1]],
            wind_var: (hit.velocity_cov[0][0] + hit.air_cov[0][0]).min(25.0),
            start_height: hit.height_m,
            start_s: t_s,
            spent: [0.0; STATES],
            drift_in: [[0.0; 2]; STATES],
            sd_in: [0.0; STATES],
            wind_sd_s: 0.0,
            t_var: 0.0,
            ln_area_sd: told,
        }
    }

    /// Another case than the planned one.
    #[must_use]
    pub(crate) fn in_case(mut self, case: Case) -> Self {
        self.case = case;
        self
    }

    /// What the belief has learnt about what is out: until the next planned device it falls as it falls, whatever was told.
    #[must_use]
    pub(crate) fn learning(mut self, f: &Filter, b: &Blob) -> Self {
        // While something may be opening the plan says more than the belief.
        let opening = f.canopy.is_some_and(|c| f.t_s < c.planned_s);
        if f.phase == Phase::Descending && f.top.is_some() && !opening {
            self.act();
            let (slot, told, _) = self.out_now();
            // An opening disturbs what is measured: for a while it counts as the planned one where it is near it.
            if f.t_s < f.open_until_s && (b.x[LNK] - told).abs() < NEAR_PLAN {
                return self;
            }
            self.learnt = Some((slot, b.x[LNK], sqrt(b.p[LNK][LNK]).clamp(0.05, 1.0)));
        }
        self
    }

    fn act(&mut self) {
        for (i, cue) in self.m.plan.cues.iter().enumerate().take(MAX_CUES) {
            if self.acted[i].is_some() {
                continue;
            }
            let due = match cue.trigger {
                Trigger::ClimbRateBelow(_) | Trigger::BeforeApogee(_) => Some(self.apogee_s.min(self.t_s)),
                Trigger::AfterApogee(s) => Some(self.apogee_s + s),
                Trigger::HeightBelow(z) => (self.height_m < z && self.speed_mps > 0.0).then_some(self.t_s),
                Trigger::AfterLiftoff(s) => Some(self.liftoff_s + s),
                Trigger::AfterBurnout(s) => Some(self.burnout_s + s),
                Trigger::AfterCue(c, s) => self.acted.get(c).copied().flatten().map(|t| t + s),
            };
            self.acted[i] = due.filter(|t| *t <= self.t_s).map(|t| t + cue.delay_s.value);
        }
    }

    /// Slot, ln k and ln spread of what is out now.
    fn out_now(&self) -> (usize, f64, f64) {
        let nothing = (0, self.bare_ln_k, self.bare_sd);
        let Some(body) = self.m.plan.bodies.get(self.body) else { return nothing };
        if self.case == Case::Ballistic {
            return nothing;
        }
        if self.case == Case::Tumbling {
            let told = body.descents.iter().find(|d| d.state == DescentState::Tumbling);
            return told.map_or((1, self.bare_ln_k + 1.4, 0.4), |d| {
                (1, self.m.ln_k_under(body, d.drag_area_m2.value), spread(&d.drag_area_m2))
            });
        }
        let mut found = nothing;
        for (i, d) in body.descents.iter().enumerate() {
            let mut acts = self.acted.get(d.cue).copied().flatten().is_some_and(|t| t <= self.t_s);
            match self.case {
                Case::MainAtApogee if d.state == DescentState::Main => {
                    acts |= self.t_s >= self.apogee_s + 1.0;
                }
                Case::DrogueOnly if d.state == DescentState::Main => acts = false,
                _ => {}
            }
            if acts {
                found = (
                    (i + 1).min(STATES - 1),
                    self.m.ln_k_under(body, d.drag_area_m2.value),
                    spread(&d.drag_area_m2),
                );
            }
        }
        match self.learnt {
            Some((slot, ln_k, sd)) if slot == found.0 => (slot, ln_k, sd),
            _ => found,
        }
    }

    fn slice(&mut self, stop_m: f64) {
        self.act();
        let (slot, ln_k, sd) = self.out_now();
        let (rho, _) = self.m.air.density_ratio(self.height_m);
        let g = self.m.gravity(self.height_m);
        let k = exp(ln_k) * rho;
        let terminal = sqrt(g / k.max(1e-9));
        let side2 = self.side[0] * self.side[0] + self.side[1] * self.side[1];
        // Fine while speeds change, coarse under a steady chute.
        let settled = (self.speed_mps - terminal).abs() < 0.05 * terminal && side2 < 1.0;
        let mut dt =
            if settled { (0.02 * self.start_height.max(50.0) / terminal).clamp(0.2, 20.0) } else { 0.1 };
        let to_go = self.height_m - stop_m;
        if settled {
            dt = dt.min((to_go / terminal).max(0.02));
        }
        let v0 = self.speed_mps;
        self.speed_mps = if v0 < terminal {
            let x = (v0 / terminal).clamp(-20.0, 0.999_999);
            if x < 0.0 {
                v0 + (g + k * v0 * v0) * dt
            } else {
                terminal * tanh(g * dt / terminal + 0.5 * libm::log((1.0 + x) / (1.0 - x)))
            }
        } else {
            terminal + (v0 - terminal) * exp(-g * (1.0 + v0 / terminal) / terminal * dt)
        };
        let v = 0.5 * (v0 + self.speed_mps);
        if v > 0.0 && v * dt > to_go {
            dt = (to_go / v).max(1e-3);
        }
        let speed = sqrt(v * v + side2);
        let decay = exp(-k * speed * dt);
        let mid = self.height_m - 0.5 * v * dt;
        let (w, _) = self.m.wind.at(mid);
        let rho_w = exp(-(self.start_height - mid).abs() / WIND_SCALE_M - (self.t_s - self.start_s) / 300.0);
        for i in 0..2 {
            let moved = (w[i] + rho_w * self.wind_off[i] + 0.5 * self.side[i] * (1.0 + decay)) * dt;
            self.drift[i] += moved;
            self.drift_in[slot][i] += (w[i] + rho_w * self.wind_off[i]) * dt;
            self.side[i] *= decay;
        }
        self.side_s += dt * exp(-k * speed * (self.t_s - self.start_s).min(1e3)).min(1.0);
        let sigma = self.m.wind.sd_mps(mid);
        self.wind_sd_s += dt * sqrt(sigma * sigma * (1.0 - rho_w * rho_w) + rho_w * rho_w * self.wind_var);
        self.spent[slot] += dt;
        self.sd_in[slot] = sd;
        self.ln_area_sd = sd;
        self.height_m -= v * dt;
        self.t_s += dt;
    }

    fn finish(&mut self) {
        self.t_var = 0.04;
        for i in 0..STATES {
            let d = 0.5 * self.sd_in[i] * self.spent[i];
            self.t_var += d * d;
        }
    }

    /// Down to a height.
    pub(crate) fn planned_until(&mut self, stop_m: f64) {
        for _ in 0..3000 {
            if self.height_m <= stop_m + 0.01 {
                break;
            }
            self.slice(stop_m);
        }
        self.act();
        self.finish();
    }

    /// Down until a time, or the ground.
    pub(crate) fn until_time(&mut self, t_s: f64) {
        for _ in 0..3000 {
            if self.t_s >= t_s || self.height_m <= 0.01 {
                break;
            }
            self.slice(0.0);
        }
    }

    /// Way that the wind does, m.
    pub(crate) fn carried_by_wind(&self) -> [f64; 2] {
        self.drift_in.iter().fold([0.0; 2], |sum, d| [sum[0] + d[0], sum[1] + d[1]])
    }

    /// Covariance that the fall adds to the place: drag area along the drift, wind in every direction.
    pub(crate) fn place_cov(&self) -> [[f64; 2]; 2] {
        let wind = self.wind_sd_s * self.wind_sd_s;
        let mut c = [[wind, 0.0], [0.0, wind]];
        for i in 0..STATES {
            let d = [0.5 * self.sd_in[i] * self.drift_in[i][0], 0.5 * self.sd_in[i] * self.drift_in[i][1]];
            for a in 0..2 {
                for b in 0..2 {
                    c[a][b] += d[a] * d[b];
                }
            }
        }
        c
    }
}

fn spread(t: &crate::plan::Told) -> f64 {
    (t.sd / t.value.max(1e-9)).clamp(0.02, 1.0)
}

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
        self.mark(EventKind::Landing, at, sd);
        self.phase = Phase::Down;
        for b in self.blobs.iter_mut() {
            for i in VE..VE + 3 {
                b.x[i] = 0.0;
                b.reopen(i, 1e-4);
            }
            b.x[H] = level;
            b.reopen(H, 1.0 + noise_m * noise_m);
            b.reopen(LNK, b.p[LNK][LNK]);
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
            self.mark(EventKind::Landing, self.t_s - (-h) / v, (sd + 5.0) / v);
            self.phase = Phase::Down;
            for b in self.blobs.iter_mut() {
                for i in VE..VE + 3 {
                    b.x[i] = 0.0;
                    b.reopen(i, 1e-4);
                }
                b.x[H] = 0.0;
                b.reopen(H, 100.0);
            }
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
