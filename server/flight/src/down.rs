//! The way down under whatever is out, by height slices.
//!
//! [`Fall`] goes from a moment at or after apogee to the ground with the planned descent states, or a case of them:
//! vertical speed towards the terminal speed sqrt(g / (k rho/rho0)) by the closed form for quadratic drag, sideways
//! with the wind once the body's own speed has decayed. A device fills on its way, and cues by height act at their height.
//! Carried along are the spreads of drag area and mass (one figure for the whole of a state; half of it goes into time), of
//! upright gusts, of when and how high a device opens, and of the wind, whose departure from the told profile forgets
//! itself with height and time as the filter's does.

use libm::{exp, sqrt, tanh};

use crate::blown::Blown;
use crate::canopy::canopy_fill_s;
use crate::filter::Filter;
use crate::model::Model;
use crate::output::{Case, EventKind, Phase};
use crate::plan::{DescentState, MAX_CUES, Trigger};
use crate::predict::{Ahead, Hit};
use crate::state::{Blob, LNK};
use crate::wind::gust_length_m;

/// Descent states that a fall keeps apart.
const STATES: usize = 8;

/// By how much a vehicle's own height is off when a cue acts by it, m and share of the height (common practice, no source).
const CUE_HEIGHT_SD_M: f64 = 4.0;
const CUE_HEIGHT_SHARE: f64 = 0.02;
/// Spread of ln k by air that is denser or thinner than told (10 K off are 3.5 %; common practice, no source).
const AIR_SD: f64 = 0.03;

/// Height within which a cue's height is reached, m.
const REACHED_M: f64 = 0.05;

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
    /// What is out: its slot, when it came out, how long it takes to fill, k before.
    slot: usize,
    opened_s: f64,
    fill_s: f64,
    shut_k: f64,
    /// k of the slice before.
    k_before: f64,
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
    /// The wind's departure from the told profile.
    blown: Blown,
    /// Variance of the time that upright gusts cost, s2, and its covariance with the gust as a share of the speed, s.
    gust_var: f64,
    gust_with: f64,
    start_height: f64,
    start_s: f64,
    spent: [f64; STATES],
    drift_in: [[f64; 2]; STATES],
    sd_in: [f64; STATES],
    mass_sd: f64,
    /// Variance of the time by when devices open, s2.
    open_var: f64,
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
            slot: usize::MAX,
            opened_s: t_s,
            fill_s: 0.0,
            shut_k: 0.0,
            k_before: 0.0,
            t_s,
            height_m: hit.height_m,
            speed_mps: -hit.velocity[2],
            side: [hit.air[0], hit.air[1]],
            drift: [0.0; 2],
            side_s: 0.0,
            blown: Blown::from(
                &m.wind,
                hit.height_m,
                [hit.velocity[0] - hit.air[0] - w[0], hit.velocity[1] - hit.air[1] - w[1]],
                hit.velocity_cov[0][0] + hit.air_cov[0][0],
            ),
            gust_var: 0.0,
            gust_with: 0.0,
            start_height: hit.height_m,
            start_s: t_s,
            spent: [0.0; STATES],
            drift_in: [[0.0; 2]; STATES],
            sd_in: [0.0; STATES],
            mass_sd: m.plan.bodies.get(f.body).map_or(0.0, |b| spread(&b.mass_kg)),
            open_var: 0.0,
            t_var: 0.0,
            ln_area_sd: told,
        }
    }

    /// What has opened on the way up is out from the start.
    #[must_use]
    pub(crate) fn after(mut self, ahead: &Ahead<'_>) -> Self {
        if let Some((cue, t_s)) = ahead.opened
            && let Some(acted) = self.acted.get_mut(cue)
        {
            *acted = Some(t_s.min(self.t_s));
        }
        self
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
                Trigger::HeightBelow(z) => {
                    (self.height_m < z + REACHED_M && self.speed_mps > 0.0).then_some(self.t_s)
                }
                Trigger::AfterLiftoff(s) => Some(self.liftoff_s + s),
                Trigger::AfterBurnout(s) => Some(self.burnout_s + s),
                Trigger::AfterCue(c, s) => self.acted.get(c).copied().flatten().map(|t| t + s),
            };
            self.acted[i] = due.filter(|t| *t <= self.t_s).map(|t| t + cue.delay_s.value);
        }
    }

    /// Slot, ln k and ln spread of what is out now: as learnt, or as told with what mass and air add.
    fn out_now(&self) -> (usize, f64, f64) {
        let (slot, ln_k, sd) = self.told_now();
        match self.learnt {
            Some(learnt) if learnt.0 == slot => learnt,
            _ => (slot, ln_k, sqrt(sd * sd + self.mass_sd * self.mass_sd + AIR_SD * AIR_SD)),
        }
    }

    fn told_now(&self) -> (usize, f64, f64) {
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
        found
    }

    /// What comes next that ends a slice: the height at which it acts, m, and when, s.
    fn next_act(&self, stop_m: f64, stop_s: f64) -> (f64, f64) {
        let (mut height_m, mut t_s) = (stop_m, stop_s);
        for (cue, acted) in self.m.plan.cues.iter().zip(&self.acted) {
            match (acted, cue.trigger) {
                (None, Trigger::HeightBelow(z)) if z + REACHED_M < self.height_m => {
                    height_m = height_m.max(z);
                }
                (Some(t), _) if *t > self.t_s => t_s = t_s.min(*t),
                _ => {}
            }
        }
        (height_m, t_s)
    }

    /// Notes that something else is out, and how far off the moment may be.
    fn open(&mut self, slot: usize, k: f64) {
        if self.slot != usize::MAX {
            let body = self.m.plan.bodies.get(self.body);
            let d = slot.checked_sub(1).and_then(|i| body?.descents.get(i));
            self.shut_k = self.k_before;
            self.opened_s = self.t_s;
            self.fill_s = d.map_or(0.0, |d| match d.state {
                DescentState::Tumbling | DescentState::Ballistic => 0.0,
                _ => canopy_fill_s(d.drag_area_m2.value, self.speed_mps),
            });
            if let Some(cue) = d.and_then(|d| self.m.plan.cues.get(d.cue)) {
                let late = self.speed_mps * cue.delay_s.sd;
                let off = match cue.trigger {
                    Trigger::HeightBelow(z) => CUE_HEIGHT_SD_M + CUE_HEIGHT_SHARE * z,
                    _ => 0.0,
                };
                // Every metre further down at the old speed is one less at the new.
                let g = self.m.gravity(self.height_m);
                let (rho, _) = self.m.air.density_ratio(self.height_m);
                let slower = sqrt(k * rho / g) - 1.0 / self.speed_mps.max(1.0);
                self.open_var += (late * late + off * off) * slower * slower;
            }
        }
        self.slot = slot;
    }

    /// On by at most to a height or a time.
    fn slice(&mut self, stop_m: f64, stop_s: f64) {
        self.act();
        let (slot, ln_k, sd) = self.out_now();
        let open_k = exp(ln_k);
        if slot != self.slot {
            self.open(slot, open_k);
        }
        let g = self.m.gravity(self.height_m);
        let filled =
            if self.fill_s > 0.0 { ((self.t_s - self.opened_s) / self.fill_s).min(1.0) } else { 1.0 };
        let k0 = self.shut_k + (open_k - self.shut_k) * filled * filled;
        self.k_before = k0;
        let terminal_at = |height_m: f64| {
            let k = k0 * self.m.air.density_ratio(height_m).0;
            (k, sqrt(g / k.max(1e-9)))
        };
        let (_, terminal) = terminal_at(self.height_m);
        let side2 = self.side[0] * self.side[0] + self.side[1] * self.side[1];
        // Fine while speeds change (a step of the closed form is exact in air of one density), coarse under a steady chute.
        let settled = filled >= 1.0 && (self.speed_mps - terminal).abs() < 0.05 * terminal && side2 < 1.0;
        let mut dt = if settled {
            (0.02 * self.start_height.max(50.0) / terminal).clamp(0.2, 20.0)
        } else if filled < 1.0 {
            0.1
        } else {
            (0.05 * terminal / g).clamp(0.1, 1.0)
        };
        let (next_m, next_s) = self.next_act(stop_m, stop_s);
        let to_go = self.height_m - next_m;
        if settled {
            dt = dt.min((to_go / terminal).max(0.02));
        }
        dt = dt.min((next_s - self.t_s).max(1e-3));
        let v0 = self.speed_mps;
        // The air half way down the slice.
        let (k, terminal) =
            terminal_at((self.height_m - 0.5 * v0.max(0.0) * dt).max(next_m.min(self.height_m)));
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
        // Under a steady canopy a long slice is at the speed of its middle.
        let v = if settled { terminal } else { 0.5 * (v0 + self.speed_mps) };
        if v > 0.0 && v * dt > to_go {
            dt = (to_go / v).max(1e-3);
        }
        let speed = sqrt(v * v + side2);
        let decay = exp(-k * speed * dt);
        let mid = self.height_m - 0.5 * v * dt;
        let (w, _) = self.m.wind.at(mid);
        let off = self.blown.over(&self.m.wind, mid, v, dt);
        for i in 0..2 {
            let blows = w[i] + off[i];
            self.drift[i] += (blows + 0.5 * self.side[i] * (1.0 + decay)) * dt;
            self.drift_in[slot][i] += blows * dt;
            self.side[i] *= decay;
        }
        self.side_s += dt * exp(-k * speed * (self.t_s - self.start_s).min(1e3)).min(1.0);
        self.gust(mid, v, dt);
        self.spent[slot] += dt;
        self.sd_in[slot] = sd;
        self.ln_area_sd = sd;
        self.height_m -= v * dt;
        self.t_s += dt;
    }

    /// Upright gusts over a slice, a first-order process along the way.
    fn gust(&mut self, height_m: f64, speed_mps: f64, dt: f64) {
        // Gusts as a share of the speed are what they cost in time.
        let speed = speed_mps.abs().max(1.0);
        let tau = gust_length_m(height_m) / speed;
        let share = self.m.wind.gust_mps() / speed;
        let fade = exp(-dt / tau);
        let held = tau * (1.0 - fade);
        self.gust_var += 2.0 * self.gust_with * held + 2.0 * share * share * tau * (dt - held);
        self.gust_with = fade * self.gust_with + share * share * held;
    }

    fn finish(&mut self) {
        self.t_var = 0.04 + self.open_var + self.gust_var;
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
            self.slice(stop_m, f64::INFINITY);
        }
        self.act();
        self.finish();
    }

    /// Down until a time, or the ground.
    pub(crate) fn until_time(&mut self, t_s: f64) {
        for _ in 0..3000 {
            if self.t_s >= t_s - 1e-6 || self.height_m <= 0.01 {
                break;
            }
            self.slice(0.0, t_s);
        }
    }

    /// Way that the wind does, m.
    pub(crate) fn carried_by_wind(&self) -> [f64; 2] {
        self.drift_in.iter().fold([0.0; 2], |sum, d| [sum[0] + d[0], sum[1] + d[1]])
    }

    /// Covariance that the fall adds to the place: drag area along the drift, wind in every direction.
    pub(crate) fn place_cov(&self) -> [[f64; 2]; 2] {
        let wind = self.blown.way_var;
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

#[cfg(test)]
mod tests;
