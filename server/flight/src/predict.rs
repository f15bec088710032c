//! From the belief to apogee and the cues: each blob is carried on by the same motion, noise included.
//!
//! A moment that is defined by a condition (climb rate zero, height so much) comes earlier or later for every member of a
//! blob: the covariance at the mean's moment is projected along the motion on the condition, which gives spread and
//! correlation of the moment itself. The blobs' Gaussians then add up to quantiles.

use crate::canopy::canopy_fill_s;
use crate::filter::{BLOBS, Filter};
use crate::model::Model;
use crate::motion::{
    Regime, acceleration_of, air_cov, airspeed, heading, longest_step_s, rail_exit_in_s, step,
};
use crate::opening::Opening;
use crate::output::{Phase, Prediction, Quantiles};
use crate::phase::{FELT_S, tail_tau_s};
use crate::quantiles::Spread;
use crate::state::{Blob, D, H, LNK, NEVER_S, PRED, VE, VU};

/// Blobs of less weight are left out of predictions.
pub(crate) const LEAST_WEIGHT: f64 = 4e-3;

/// Spread of the least delay from measurement to receipt, which no clock sees, s: a packet's time on the air and in buffers is
/// between ten and a hundred milliseconds (common practice, no source). Whoever dates samples takes off the middle of that; the
/// rest is common to all samples of a flight, and to what is predicted from them.
pub(crate) const CLOCK_SD_S: f64 = 0.035;

/// Longest step under power, s, or of a long burn one in so many, and speed over gravity in a step of coast: half of any moves
/// 99 of 100 predictions by less than a fortieth of their spread.
const POWERED_STEP_S: f64 = 0.15;
const POWERED_STEPS: f64 = 32.0;
const COAST_STEPS: f64 = 3.0;

/// How long after its ignition a later motor is heard of where force is felt, and where it is not, s (common practice, no source).
const FELT_AFTER_S: f64 = 0.5;
const UNFELT_AFTER_S: f64 = 2.0;

/// Within what a climb rate has been reached, m/s.
const CLIMB_REACHED_MPS: f64 = 0.05;

/// What defines a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Crossing {
    /// Climb rate has this value.
    Climb(f64),
    /// The clock has.
    Time,
}

/// A blob at a moment.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hit {
    pub(crate) t_s: f64,
    pub(crate) t_var: f64,
    pub(crate) height_m: f64,
    pub(crate) height_var: f64,
    /// Position east, north and its covariance.
    pub(crate) place: [f64; 2],
    pub(crate) place_cov: [[f64; 2]; 2],
    pub(crate) velocity: [f64; 3],
    pub(crate) velocity_cov: [[f64; 3]; 3],
    pub(crate) air: [f64; 3],
    pub(crate) air_cov: [[f64; 3]; 3],
}

impl Hit {
    /// Projects a blob near a moment on it.
    pub(crate) fn here(m: &Model, r: &Regime, blob: &Blob, t_s: f64, crossing: Crossing) -> Self {
        let acc = acceleration_of(m, r, blob, t_s);
        let mut x = [0.0; PRED];
        x.copy_from_slice(&blob.x[..PRED]);
        let flow = [x[VE], x[VE + 1], x[VU], acc[0], acc[1], acc[2]];
        let mut p = [[0.0; PRED]; PRED];
        for (to, from) in p.iter_mut().zip(&blob.p) {
            to.copy_from_slice(&from[..PRED]);
        }
        let (mut t, mut t_var) = (t_s, 0.0);
        if let Crossing::Climb(c) = crossing {
            let rate = if acc[2].abs() < 1.0 { -1.0 } else { acc[2] };
            let dt = ((c - x[VU]) / rate).clamp(-2.0, 2.0);
            t += dt;
            for i in 0..3 {
                x[i] += flow[i] * dt + 0.5 * acc[i] * dt * dt;
                x[VE + i] += acc[i] * dt;
            }
            // At the moment itself the climb rate is c.
            t_var = at_climb(&mut p, [flow[0], flow[1], c, acc[0], acc[1], rate]);
        }
        let (air, _) = airspeed(m, &x);
        Self {
            t_s: t,
            t_var: t_var.max(0.0),
            height_m: x[H],
            height_var: p[H][H].max(0.0),
            place: [x[0], x[1]],
            place_cov: [[p[0][0].max(0.0), p[0][1]], [p[1][0], p[1][1].max(0.0)]],
            velocity: [x[VE], x[VE + 1], x[VU]],
            velocity_cov: core::array::from_fn(|i| core::array::from_fn(|j| p[VE + i][VE + j])),
            air,
            air_cov: air_cov(&p),
        }
    }
}

/// The covariance when each member has the climb rate of the mean, in place of that at the mean's moment; gives the variance of the moment,
/// s2. `flow` is how place and velocity go on.
fn at_climb(p: &mut [[f64; PRED]; PRED], flow: [f64; 6]) -> f64 {
    let rate = flow[VU];
    let mut g = [0.0; PRED];
    for (g, flow) in g.iter_mut().zip(flow) {
        *g = flow / rate;
    }
    g[VU] = 1.0;
    let col: [f64; PRED] = core::array::from_fn(|i| p[i][VU]);
    for i in 0..PRED {
        for j in 0..PRED {
            p[i][j] += -g[i] * col[j] - col[i] * g[j] + g[i] * g[j] * col[VU];
        }
    }
    col[VU] / (rate * rate)
}

/// A blob on its way ahead of the data.
#[derive(Clone, Copy)]
pub(crate) struct Ahead<'a> {
    pub(crate) m: &'a Model,
    pub(crate) regime: Regime,
    pub(crate) blob: Blob,
    pub(crate) t_s: f64,
    /// How long after its ignition that is heard of, s.
    heard_within_s: f64,
    /// A later stage and when it lights.
    next: Option<(usize, f64, f64)>,
    /// What the plan opens on the way up.
    opening: Option<Opening>,
    /// Cue of what has opened on this way, and when.
    pub(crate) opened: Option<(usize, f64)>,
    /// Variance of that moment, s2: the members of a blob go on from there as they are then, each in its time.
    opened_var: f64,
}

impl<'a> Ahead<'a> {
    pub(crate) fn from(m: &'a Model, f: &Filter, blob: &Blob) -> Self {
        let opening = Opening::before_apogee(m, f, blob);
        Self { opening, ..Self::shut(m, f, blob) }
    }

    /// The same, and nothing more opens on the way up, whatever is planned.
    pub(crate) fn shut(m: &'a Model, f: &Filter, blob: &Blob) -> Self {
        let mut ahead = Self {
            m,
            regime: f.regime,
            blob: *blob,
            t_s: f.t_s,
            heard_within_s: if f.feels(FELT_S) { FELT_AFTER_S } else { UNFELT_AFTER_S },
            next: None,
            opening: None,
            opened: None,
            opened_var: 0.0,
        };
        if f.regime.burning
            && f.felt.is_some()
            && let Some(stage) = m.stages.get(f.regime.stage)
        {
            stage.leaves(&mut ahead.blob, f.t_s - f.regime.ignition_s, f.regime.thrust_tau_s);
        }
        if matches!(f.phase, Phase::Coasting) {
            let kind = f.regime.burnout();
            let out = f.marked(kind).map_or(f.t_s, |b| b.t_s);
            ahead.wait_for_stage(out);
        }
        ahead
    }

    fn wait_for_stage(&mut self, out_s: f64) {
        let next = self.regime.stage + 1;
        if let Some(s) = self.m.stages.get(next) {
            let due = out_s + s.ignition_after_s;
            // Long overdue: it did not light.
            if due > self.t_s - self.heard_within_s - 3.0 * s.ignition_sd_s {
                self.next = Some((next, due.max(self.t_s), s.ignition_sd_s));
            }
        }
    }

    /// Told burn time of the stage that flies, s.
    fn burn_s(&self) -> f64 {
        self.m.stages.get(self.regime.stage).map_or(0.0, |s| s.burn_s)
    }

    /// How long it burns by the belief that is carried on, s.
    fn lasts_s(&self) -> f64 {
        self.m.stages.get(self.regime.stage).map_or(0.0, |s| s.lasts_s(&self.blob))
    }

    /// Thrust ends, a later stage lights.
    fn turn(&mut self) {
        if self.regime.burning {
            let out = self.regime.ignition_s + self.lasts_s();
            // Past the told end what is felt beyond the told curve fades as a tail does.
            if self.t_s >= out + 1e-6 {
                self.regime.thrust_tau_s = self.regime.thrust_tau_s.min(tail_tau_s(self.m, &self.regime));
            }
            if self.t_s >= out + 1e-6 && self.blob.x[D].abs() < 2.0 {
                if let Some(stage) = self.m.stages.get(self.regime.stage) {
                    let along = heading(self.m, &self.blob);
                    stage.has_spent(&mut self.blob, along);
                }
                self.regime.burning = false;
                self.regime.thrust_sd = 0.0;
                self.regime.coasts();
                self.blob.x[D] = 0.0;
                self.blob.reopen(D, 0.0);
                let at = self.t_s;
                self.wait_for_stage(at);
            }
        } else if let Some((stage, due, sd)) = self.next
            && self.t_s >= due - 1e-6
        {
            self.next = None;
            let before = self.regime.stage;
            let s = &self.m.stages[stage];
            self.regime.stage = stage;
            self.regime.ignition_s = due;
            self.regime.burning = true;
            self.regime.rough = 0.03;
            s.takes_over(&self.m.stages[before], &mut self.blob);
            let dv = 9.8 * sd;
            self.blob.p[VU][VU] += dv * dv;
        }
    }

    /// What the plan opens on the way up comes out when its moment has come.
    fn come_out(&mut self) {
        let Some(mut o) = self.opening else { return };
        if o.due_s.is_none() && !self.power_to_come() {
            let above = self.blob.x[VU] - o.climb_mps;
            if above < CLIMB_REACHED_MPS {
                o.due_s = Some(self.t_s + (above / 9.8).clamp(-0.5, 0.0) + o.after_s);
                self.opening = Some(o);
            }
        }
        if o.due_s.is_none_or(|due| self.t_s < due - 1e-6) {
            return;
        }
        self.opening = None;
        self.opened = Some((o.cue, self.t_s));
        let shut = acceleration_of(self.m, &self.regime, &self.blob, self.t_s);
        if o.by_climb && shut[2] < -1.0 {
            let v = [VE, VE + 1, VU].map(|i| self.blob.x[i]);
            let mut p = self.leading();
            self.opened_var = at_climb(&mut p, [v[0], v[1], v[2], shut[0], shut[1], shut[2]]);
            self.set_leading(&p);
        }
        let (_, v) = airspeed(self.m, &self.blob.x);
        let shut_k = self.blob.k_at(self.t_s).0;
        self.blob.x[LNK] = o.ln_k;
        self.blob.reopen(LNK, o.ln_k_sd * o.ln_k_sd);
        self.blob.opened_s = NEVER_S;
        // Sooner or later by so much is so long under another acceleration.
        let open = acceleration_of(self.m, &self.regime, &self.blob, self.t_s);
        for i in 0..3 {
            for j in 0..3 {
                self.blob.p[VE + i][VE + j] += (open[i] - shut[i]) * (open[j] - shut[j]) * o.sd_s * o.sd_s;
            }
        }
        self.blob.opened_s = self.t_s;
        self.blob.shut_k = shut_k;
        self.blob.fill_s = if o.fills { canopy_fill_s(o.drag_area_m2, v) } else { 0.0 };
    }

    /// Longest time until what opens on the way up has to be looked at, s.
    fn until_opening_s(&self) -> f64 {
        let Some(o) = self.opening else { return f64::INFINITY };
        if let Some(due) = o.due_s {
            return (due - self.t_s).max(1e-4);
        }
        if self.power_to_come() {
            return f64::INFINITY;
        }
        let acc = acceleration_of(self.m, &self.regime, &self.blob, self.t_s)[2].min(-1.0);
        ((self.blob.x[VU] - o.climb_mps) / -acc).max(0.01)
    }

    /// Longest sensible next step.
    fn stride(&self) -> f64 {
        let v = self.blob.x[VU].abs();
        let burn_s = self.burn_s();
        let most = if self.regime.burning {
            POWERED_STEP_S.max(burn_s / POWERED_STEPS)
        } else {
            (v / 9.8 / COAST_STEPS).clamp(0.3, 1.5)
        };
        let mut dt = longest_step_s(self.m, &self.blob, most);
        if self.regime.burning {
            let left = self.regime.ignition_s + self.lasts_s() - self.t_s;
            if left > 1e-6 {
                dt = dt.min(left + 2e-6);
            }
            if let Some(left) = rail_exit_in_s(self.m, &self.regime, &self.blob, self.t_s) {
                dt = dt.min(left + 1e-3);
            }
        }
        if let Some((_, due, _)) = self.next
            && due > self.t_s + 1e-6
        {
            dt = dt.min(due - self.t_s);
        }
        dt
    }

    /// Whether thrust is still to come.
    pub(crate) fn power_to_come(&self) -> bool {
        self.regime.burning || self.next.is_some()
    }

    /// One step of at most `most_s`.
    pub(crate) fn advance(&mut self, most_s: f64) {
        self.turn();
        self.come_out();
        let dt = self.stride().min(most_s).min(self.until_opening_s()).max(1e-4);
        step::<PRED>(self.m, &self.regime, &mut self.blob, self.t_s, dt);
        self.t_s += dt;
    }

    /// To a time.
    pub(crate) fn reach_time(&mut self, t_s: f64) {
        for _ in 0..3000 {
            if self.t_s >= t_s - 1e-6 {
                break;
            }
            self.advance(t_s - self.t_s);
        }
    }

    /// To where the climb rate has fallen to `climb`, after all thrust. Says whether it got there.
    pub(crate) fn reach_climb(&mut self, climb: f64) -> bool {
        for _ in 0..3000 {
            let above = self.blob.x[VU] - climb;
            if self.power_to_come() {
                // Falling before a later stage lights is an apogee all the same.
                if above < -0.5 && !self.regime.burning {
                    return true;
                }
                if above < -1.0 && self.regime.burning && self.t_s > self.regime.ignition_s + 1.5 {
                    return true;
                }
                self.advance(f64::INFINITY);
                continue;
            }
            if above < 0.03 {
                return true;
            }
            let acc = acceleration_of(self.m, &self.regime, &self.blob, self.t_s)[2].min(-1.0);
            self.advance(above / -acc);
        }
        false
    }

    /// Covariance of the states that a prediction needs.
    fn leading(&self) -> [[f64; PRED]; PRED] {
        core::array::from_fn(|i| core::array::from_fn(|j| self.blob.p[i][j]))
    }

    fn set_leading(&mut self, p: &[[f64; PRED]; PRED]) {
        for (to, from) in self.blob.p.iter_mut().zip(p) {
            to[..PRED].copy_from_slice(from);
        }
    }

    /// The blob projected on a moment that it has come near to.
    pub(crate) fn hit(&self, crossing: Crossing) -> Hit {
        if self.opened_var == 0.0 {
            return Hit::here(self.m, &self.regime, &self.blob, self.t_s, crossing);
        }
        let mut ahead = *self;
        if crossing == Crossing::Time {
            // By the clock those who opened later are not so far on.
            let acc = acceleration_of(self.m, &self.regime, &self.blob, self.t_s);
            let v = [VE, VE + 1, VU].map(|i| self.blob.x[i]);
            let flow = [v[0], v[1], v[2], acc[0], acc[1], acc[2]];
            for i in 0..6 {
                for j in 0..6 {
                    ahead.blob.p[i][j] += flow[i] * flow[j] * self.opened_var;
                }
            }
        }
        let mut hit = Hit::here(self.m, &self.regime, &ahead.blob, self.t_s, crossing);
        if crossing != Crossing::Time {
            hit.t_var += self.opened_var;
        }
        hit
    }
}

/// Gathers blobs at apogee.
pub(crate) struct Summit {
    height: Spread,
    time: Spread,
    air: Spread,
    ground: Spread,
}

impl Summit {
    pub(crate) fn new() -> Self {
        Self { height: Spread::new(), time: Spread::new(), air: Spread::new(), ground: Spread::new() }
    }

    pub(crate) fn add(&mut self, w: f64, hit: &Hit) {
        self.height.gauss(w, hit.height_m, hit.height_var);
        self.time.gauss(w, hit.t_s, hit.t_var);
        self.air.length(w, &hit.air, &hit.air_cov);
        self.ground.length(w, &hit.velocity, &hit.velocity_cov);
    }

    /// Everything but the instant and the hand sum.
    pub(crate) fn finish(&mut self) -> Option<Prediction> {
        Some(Prediction {
            t_s: 0.0,
            apogee_height_m: self.height.quantiles()?,
            apogee_t_s: self.time.quantiles()?,
            airspeed_at_apogee_mps: not_below(self.air.quantiles()?, 0.0),
            ground_speed_at_apogee_mps: self.ground.speeds()?,
            hand_height_m: 0.0,
            hand_t_s: 0.0,
        })
    }
}

/// Clips quantiles from below.
pub(crate) fn not_below(q: Quantiles, least: f64) -> Quantiles {
    Quantiles {
        p05: q.p05.max(least),
        p25: q.p25.max(least),
        p50: q.p50.max(least),
        p75: q.p75.max(least),
        p95: q.p95.max(least),
    }
}

/// The lift of a nose that follows its path late is not told, so it is left open in the time and the height still to go; it
/// acts where the path leans, and at the top it always does.
fn leave_lift_open(m: &Model, f: &Filter, b: &Blob, hit: &mut Hit) {
    let to_go_s = (hit.t_s - f.t_s).max(0.0);
    let (air, v) = airspeed(m, &b.x);
    let flat = libm::sqrt(air[0] * air[0] + air[1] * air[1]) / v.max(1.0);
    let share = m.late_lift_sd * 0.5 * (1.0 + flat.min(1.0));
    let (dt, dh) = (share * to_go_s, share * 0.5 * m.gravity(b.x[H]) * to_go_s * to_go_s);
    hit.t_var += dt * dt + CLOCK_SD_S * CLOCK_SD_S;
    hit.height_var += dh * dh;
}

/// Each blob at apogee, where it is worth the way.
pub(crate) type Tops = [Option<Hit>; BLOBS];

/// Each blob of a belief that has not passed apogee, there.
pub(crate) fn tops(m: &Model, f: &Filter) -> Tops {
    let mut tops = [None; BLOBS];
    for ((w, b), top) in f.weights().iter().zip(f.blobs.iter()).zip(&mut tops) {
        if *w >= LEAST_WEIGHT {
            let mut ahead = Ahead::from(m, f, b);
            ahead.reach_climb(0.0);
            *top = Some(ahead.hit(Crossing::Climb(0.0)));
        }
    }
    tops
}

/// Apogee as predicted from a belief that has not passed it, by its blobs there.
pub(crate) fn apogee(m: &Model, f: &Filter, tops: &Tops) -> Option<Prediction> {
    let mut summit = Summit::new();
    let w = f.weights();
    for ((w, b), top) in w.iter().zip(f.blobs.iter()).zip(tops) {
        let Some(mut hit) = *top else { continue };
        leave_lift_open(m, f, b, &mut hit);
        summit.add(*w, &hit);
    }
    let mut p = summit.finish()?;
    // Its height is no surer than the height now: no bound by where the body seems to be.
    p.apogee_t_s = not_below(p.apogee_t_s, f.t_s);
    Some(p)
}
