//! From first motion to apogee.

use libm::{atan2, exp, hypot, sqrt};

use super::draw::Draws;
use super::{Flown, Point, RailExit};
use crate::lean::{across, leaned};
use crate::model::{Model, TURNS_SD};
use crate::motion::{acceleration, airspeed, nose};
use crate::state::{E, H, LNK, PRED, SHAPE, VE, VN, VU, WE, WN};
use crate::wind::kept;

/// Spread of the burn time over the told one, as the estimator takes it where nothing shows burnout.
const STRETCH_SD: f64 = 0.09;
/// Points of a path are at most so far apart, s.
const APART_S: f64 = 0.05;
/// Step on the rail, under power, and in coast at most, s.
const RAIL_STEP_S: f64 = 0.002;
const POWER_STEP_S: f64 = 0.01;
const COAST_STEP_S: f64 = 0.05;
/// The first motion's thrust is a mean over so long, s (own definition: shorter is the curve's first corner alone).
const FIRST_S: f64 = 0.25;
/// Mach number below which a barometer's height is no longer led astray by the shock's pressure (own figure, with room to
/// the 0.8 where drag begins to rise).
const QUIET_MACH: f64 = 0.7;
/// What `motion` adds to the airspeed that thrust is divided by, m/s.
const SOFT_MPS: f64 = 0.5;

/// The wind's departure from the told profile as it changes along a path, in standard deviations.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gusts {
    z: [f64; 2],
}

impl Gusts {
    pub(super) fn new(draws: &mut Draws) -> Self {
        Self { z: [draws.normal(), draws.normal()] }
    }

    /// Along a step; puts the wind's departure into the state.
    pub(super) fn step(&mut self, m: &Model, draws: &mut Draws, x: &mut [f64; PRED], dt: f64) {
        let fade = kept(x[VU], x[H], dt);
        let fresh = sqrt(1.0 - fade * fade);
        for z in &mut self.z {
            *z = *z * fade + fresh * draws.normal();
        }
        self.put(m, x);
    }

    pub(super) fn put(&self, m: &Model, x: &mut [f64; PRED]) {
        let sd = m.wind.sd_mps(x[H].max(0.0));
        x[WE] = sd * self.z[0];
        x[WN] = sd * self.z[1];
    }
}

/// One Runge-Kutta step with thrust (m/s2) at its ends and middle and specific drag there (1/m).
pub(super) fn step(
    m: &Model,
    x: &mut [f64; PRED],
    thrust: [f64; 3],
    k: [f64; 3],
    share: f64,
    rail: Option<&[f64; 3]>,
    dt: f64,
) {
    let x0 = *x;
    let acceleration = |y: &[f64; PRED], at: usize| {
        // The estimator's direction of thrust is softened at low speed, which takes some of it; here all of it is flown.
        let soft = if rail.is_some() || thrust[at] == 0.0 {
            1.0
        } else {
            1.0 + SOFT_MPS / nose(m, y, share).1.max(1.0)
        };
        acceleration(m, y, thrust[at] * soft, k[at], share, rail)
    };
    let a1 = acceleration(&x0, 0);
    let mut y = x0;
    let go = |y: &mut [f64; PRED], v: [f64; 3], a: [f64; 3], dt: f64| {
        for i in 0..3 {
            y[E + i] = x0[E + i] + dt * v[i];
            y[VE + i] = x0[VE + i] + dt * a[i];
        }
    };
    let v = |y: &[f64; PRED]| [y[VE], y[VN], y[VU]];
    let v1 = v(&x0);
    go(&mut y, v1, a1, 0.5 * dt);
    let (a2, v2) = (acceleration(&y, 1), v(&y));
    go(&mut y, v2, a2, 0.5 * dt);
    let (a3, v3) = (acceleration(&y, 1), v(&y));
    go(&mut y, v3, a3, dt);
    let (a4, v4) = (acceleration(&y, 2), v(&y));
    for i in 0..3 {
        x[E + i] = x0[E + i] + dt / 6.0 * (v1[i] + 2.0 * (v2[i] + v3[i]) + v4[i]);
        x[VE + i] = x0[VE + i] + dt / 6.0 * (a1[i] + 2.0 * (a2[i] + a3[i]) + a4[i]);
    }
}

pub(super) fn point(m: &Model, x: &[f64; PRED], t_s: f64) -> Point {
    let (air_mps, _) = airspeed(m, x);
    Point {
        t_s,
        east_north_m: [x[E], x[E + 1]],
        height_m: x[H],
        velocity_mps: [x[VE], x[VN], x[VU]],
        air_mps,
    }
}

/// The longest step that drag allows, s.
pub(super) fn drag_step_s(m: &Model, x: &[f64; PRED], k: f64) -> f64 {
    let (_, v) = airspeed(m, x);
    let (rho, _) = m.air.density_ratio(x[H]);
    0.3 / (2.0 * k * rho * v * 1.6).max(1e-3)
}

/// Mean thrust over weight, first and over the burn, with thrust drawn as `ln_thrust`.
fn thrust_to_weight(m: &Model, ln_thrust: f64, stretch: f64) -> [f64; 2] {
    let Some(stage) = m.stages.first() else { return [0.0; 2] };
    let g = m.gravity(0.0);
    let factor = exp(ln_thrust) * stage.pace(ln_thrust);
    let burn_s = stage.burn_s * stretch;
    let dt = (burn_s / 2000.0).min(0.002);
    let force = |t: f64| stage.at(t, stretch).0 * factor;
    // Sought in fine steps: a curve's first corner may be narrow.
    let first = (0..4000).map(|i| f64::from(i) * dt).find(|t| force(*t) > g);
    let Some(first) = first else { return [0.0, stage.mean_mps2() * factor / stretch / g] };
    let count = 50_u32;
    let over_s = FIRST_S.min(burn_s);
    let sum: f64 = (0..count).map(|i| force(first + over_s * (f64::from(i) + 0.5) / f64::from(count))).sum();
    let mean = stage.impulse_ns / stage.burn_s * factor / stretch / stage.ignition_mass_kg;
    [sum / f64::from(count) / g, mean / g]
}

/// What happens to the motors.
struct Burn {
    stage: usize,
    ignition_s: f64,
    burning: bool,
    ln_thrust: f64,
    stretch: f64,
    /// When the next one lights.
    next_s: Option<f64>,
}

impl Burn {
    fn light(&mut self, m: &Model, draws: &mut Draws, stage: usize, t_s: f64) {
        let told = &m.stages[stage];
        let ln_thrust = told.ln_thrust_sd * draws.normal();
        *self = Self {
            stage,
            ignition_s: t_s,
            burning: true,
            ln_thrust,
            stretch: (1.0 + STRETCH_SD * draws.normal()).max(0.5) * told.pace(ln_thrust),
            next_s: None,
        };
    }

    /// Thrust, m/s2, and mass over burnout mass.
    fn at(&self, m: &Model, t_s: f64) -> (f64, f64) {
        if !self.burning {
            return (0.0, 1.0);
        }
        let (a, mass) = m.stages[self.stage].at(t_s - self.ignition_s, self.stretch);
        (a * exp(self.ln_thrust) * m.stages[self.stage].pace(self.ln_thrust), mass)
    }

    fn ends_s(&self, m: &Model) -> f64 {
        self.ignition_s + m.stages[self.stage].burn_s * self.stretch
    }
}

/// Flies up. Draws are taken in a fixed order, so that a figure that is told otherwise leaves the others' draws as they were.
pub(super) fn fly(m: &Model, draws: &mut Draws) -> Flown {
    let mut flown = Flown::default();
    if m.stages.is_empty() {
        return flown;
    }
    let mut burn =
        Burn { stage: 0, ignition_s: 0.0, burning: false, ln_thrust: 0.0, stretch: 1.0, next_s: None };
    burn.light(m, draws, 0, 0.0);
    let drag = draws.normal();
    let mut x = [0.0; PRED];
    x[SHAPE] = draws.normal();
    x[LNK] = m.stages[0].ln_k + m.stages[0].ln_k_sd * drag;
    let lean = [draws.normal(), draws.normal()].map(|z| m.lean_off_rail_rad * z);
    let turns = (m.turns_with_wind + TURNS_SD * draws.normal()).clamp(0.0, 1.3);
    let mut gusts = Gusts::new(draws);
    flown.thrust_to_weight = thrust_to_weight(m, burn.ln_thrust, burn.stretch);
    let calm = draws.lean_rad.map(|_| m.calm());
    let m = calm.as_ref().unwrap_or(m);
    gusts.put(m, &mut x);
    let mut t = 0.0;
    let mut kept_s = f64::NEG_INFINITY;
    let mut rail = Some(m.rail);
    let mut moved_s = None;
    // A bound on the work: an hour of coast.
    for _ in 0..200_000 {
        let k0 = exp(x[LNK]);
        let mut dt = match (rail, burn.burning) {
            (Some(_), _) => RAIL_STEP_S,
            (None, true) => POWER_STEP_S,
            (None, false) => COAST_STEP_S,
        };
        dt = dt.min(drag_step_s(m, &x, k0)).max(5e-4);
        if burn.burning {
            dt = dt.min((burn.ends_s(m) - t).max(1e-6));
        } else if let Some(next) = burn.next_s {
            dt = dt.min((next - t).max(1e-6));
        }
        let (a, ma) = burn.at(m, t);
        let (b, mb) = burn.at(m, t + 0.5 * dt);
        let (c, mc) = burn.at(m, t + dt);
        let share = if burn.stage == 0 { turns } else { 1.0 };
        if t - kept_s >= APART_S - 1e-9 && moved_s.is_some() {
            flown.climb.push(point(m, &x, t));
            kept_s = t;
        }
        let before = x;
        step(m, &mut x, [a, b, c], [k0 / ma, k0 / mb, k0 / mc], share, rail.as_ref(), dt);
        t += dt;
        if !x.iter().all(|v| v.is_finite()) {
            return Flown { thrust_to_weight: flown.thrust_to_weight, ..Flown::default() };
        }
        if moved_s.is_none() && x[VU] > 0.0 {
            moved_s = Some(t - dt);
            flown.climb.push(point(m, &before, t - dt));
            kept_s = t - dt;
        }
        gusts.step(m, draws, &mut x, dt);
        if draws.lean_rad.is_some() {
            (x[WE], x[WN]) = (0.0, 0.0);
        }
        let (_, v) = airspeed(m, &x);
        let mach = v / m.air.sound_mps(x[H]);
        flown.greatest_mps = flown.greatest_mps.max(v);
        flown.greatest_mach = flown.greatest_mach.max(mach);
        let push = (0..3).map(|i| (x[VE + i] - before[VE + i]) / dt).collect::<Vec<_>>();
        let felt = hypot(hypot(push[0], push[1]), push[2] + m.gravity(x[H]));
        flown.greatest_mps2 = flown.greatest_mps2.max(felt);
        if mach > QUIET_MACH {
            flown.below_mach_s = Some(t);
        }
        if let Some(u) = rail {
            let along = x[E] * u[0] + x[E + 1] * u[1] + x[H] * u[2];
            if along >= m.rail_length_m && moved_s.is_some() {
                let was = before[E] * u[0] + before[E + 1] * u[1] + before[H] * u[2];
                let back = ((along - m.rail_length_m) / (along - was).max(1e-9)).clamp(0.0, 1.0);
                let mut left = x;
                for i in 0..6 {
                    left[i] -= back * (x[i] - before[i]);
                }
                flown.rail_exit = Some(exit(m, &left, &u, t - back * dt));
                rail = None;
                let speed = sqrt(x[VE] * x[VE] + x[VN] * x[VN] + x[VU] * x[VU]);
                let (p, q) = across(&u);
                let to = match draws.lean_rad {
                    Some(angle) => {
                        let away = m.rail_plane();
                        let (s, c) = (libm::sin(angle), libm::cos(angle));
                        [s * away[0], s * away[1], c]
                    }
                    None => leaned(&u, &p, &q, lean[0], lean[1]),
                };
                for i in 0..3 {
                    x[VE + i] = speed * to[i];
                }
            }
        }
        if burn.burning && t >= burn.ends_s(m) - 1e-9 {
            burn.burning = false;
            if moved_s.is_none() {
                return flown;
            }
            flown.burnouts.push(point(m, &x, t));
            burn.next_s = m
                .stages
                .get(burn.stage + 1)
                .map(|next| t + (next.ignition_after_s + next.ignition_sd_s * draws.normal()).max(0.0));
        } else if burn.next_s.is_some_and(|next| t >= next - 1e-9) && x[VU] > 0.0 {
            let stage = burn.stage + 1;
            let change = m.stages[stage].ln_k - m.stages[burn.stage].ln_k;
            x[LNK] += change + m.stages[stage].ln_k_sd * draws.normal() * 0.5;
            burn.light(m, draws, stage, t);
        }
        if x[VU] <= 0.0 && !burn.burning && moved_s.is_some() {
            let apogee = point(m, &before, t - dt).top_before(&point(m, &x, t));
            flown.climb.push(apogee);
            flown.apogee = Some(apogee);
            flown.lifted = true;
            break;
        }
        if x[H] < -1.0 {
            // It turned over under power: there is no apogee to speak of.
            break;
        }
    }
    shift(&mut flown, moved_s.unwrap_or(0.0));
    flown
}

fn exit(m: &Model, x: &[f64; PRED], rail: &[f64; 3], t_s: f64) -> RailExit {
    let (w, _) = m.wind.at(x[H]);
    let wind = [w[0] + x[WE], w[1] + x[WN]];
    let (air, v) = airspeed(m, x);
    let along = air[0] * rail[0] + air[1] * rail[1] + air[2] * rail[2];
    let side = sqrt((v * v - along * along).max(0.0));
    RailExit {
        t_s,
        speed_mps: sqrt(x[VE] * x[VE] + x[VN] * x[VN] + x[VU] * x[VU]),
        wind_mps: hypot(wind[0], wind[1]),
        attack_rad: atan2(side, along),
    }
}

/// Times from ignition to times from first motion.
fn shift(flown: &mut Flown, by_s: f64) {
    let points = flown.climb.iter_mut().chain(flown.burnouts.iter_mut()).chain(flown.apogee.iter_mut());
    for p in points {
        p.t_s -= by_s;
    }
    if let Some(exit) = &mut flown.rail_exit {
        exit.t_s -= by_s;
    }
    if let Some(t) = &mut flown.below_mach_s {
        *t -= by_s;
    }
}
