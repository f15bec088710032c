//! Motion of a point mass through moving air, and how a Gaussian over its state moves with it.
//!
//! Thrust along the rail until the upper guide leaves it, then along the airspeed; drag k (rho/rho0) c(M) V against the
//! airspeed; gravity falling with height and leaning with distance; Coriolis. The mean moves by the classical
//! fourth-order Runge-Kutta rule; the covariance by a second-order expansion of the same equations at the middle of the
//! step, with half of each step's noise put in before and half after it, so that thrust and velocity stay correlated.

use libm::{exp, sqrt};
use serde::{Deserialize, Serialize};

use crate::drag::shape;
use crate::model::{EARTH_RADIUS_M, Model, NORMAL_SLOPE};
use crate::output::EventKind;
use crate::pressure::{pass_air, trail};
use crate::state::{BB, Blob, D, E, GH, H, LNK, N, SHAPE, TAU, VE, WE};
use crate::wind::kept;

/// Wandering of ln k above Mach 0.7, per root second: 10 % over ten seconds of supersonic coast, which is what
/// slender bodies' curves differ by beyond a common rise. Larger: predictions from above Mach 1 are vaguer.
const SHAPE_WANDER: f64 = 0.03;
/// What comes on top of that while Mach 1 is passed, and the spread of it in Mach: where the rise begins and how steep it is differs from
/// body to body (common practice, no source). Smaller: what a steeper rise does to the drag is taken for more speed and more lean.
const RISE_WANDER: f64 = 0.1;
const RISE_WIDTH: f64 = 0.15;
/// How long what is not known of [`Model::late_lift`] lasts in the filter, s.
const LIFT_LASTS_S: f64 = 1.0;
/// Number of motion states: position and velocity.
const M: usize = 6;
/// Number of parameters that act on it: ln k, shape, wind, thrust.
const Q: usize = 6;

/// What acts on the body, apart from its own state.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Regime {
    /// Stage that burns or has burnt.
    pub(crate) stage: usize,
    /// When it lit, s.
    pub(crate) ignition_s: f64,
    /// Whether thrust may act (else only what is left of `D` fades away).
    pub(crate) burning: bool,
    /// When it burnt out, s.
    pub(crate) burnt_out_s: f64,
    /// Standing spread of the thrust's own wandering, m/s2.
    pub(crate) thrust_sd: f64,
    /// Its time constant, s.
    pub(crate) thrust_tau_s: f64,
    /// Wandering of ln k, per root second.
    pub(crate) ln_k_rate: f64,
    /// Unmodelled acceleration over the modelled aerodynamic one.
    pub(crate) rough: f64,
    /// Whether heights are counted from a zero that was taken aloft: how far off that is does not get less on the way down, as what the
    /// column of air is off by does.
    pub(crate) zeroed_aloft: bool,
}

impl Regime {
    /// What the end of this stage's burn is called.
    pub(crate) const fn burnout(&self) -> EventKind {
        EventKind::burnout_of(self.stage)
    }

    /// What the model leaves out in coast: roughness, and a slow wandering of ln k.
    pub(crate) fn coasts(&mut self) {
        self.rough = 0.02;
        self.ln_k_rate = 0.015;
    }
}

/// Acceleration with its slopes.
struct Push {
    a: [f64; 3],
    /// Along the airspeed, or the rail.
    along: f64,
    by_h: [f64; 3],
    by_v: [[f64; 3]; 3],
    /// By ln k, shape, wind east, wind north, tau, D.
    by_q: [[f64; Q]; 3],
}

/// What an accelerometer along the airspeed would read, with its parts.
#[derive(Clone, Copy, Debug)]
pub(crate) struct AxialForce {
    /// Thrust minus drag, m/s2.
    pub(crate) f: f64,
    /// Told thrust part times exp tau, m/s2.
    pub(crate) thrust: f64,
    /// Drag, m/s2.
    pub(crate) drag: f64,
    /// Slope by height.
    pub(crate) by_h: f64,
    /// Slope by velocity.
    pub(crate) by_v: [f64; 3],
    /// Slope by shape.
    pub(crate) by_shape: f64,
}

/// Airspeed vector and its length.
#[inline]
pub(crate) fn airspeed(m: &Model, x: &[f64]) -> ([f64; 3], f64) {
    let (w, _) = m.wind.at(x[H]);
    let a = [x[VE] - w[0] - x[WE], x[VE + 1] - w[1] - x[WE + 1], x[VE + 2]];
    (a, sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2]))
}

/// Unit vector of a blob's airspeed; along its rail where it does not move.
pub(crate) fn heading(m: &Model, blob: &Blob) -> [f64; 3] {
    let (air, v) = airspeed(m, &blob.x);
    if v > 1.0 { air.map(|a| a / v) } else { blob.rail }
}

/// Covariance of the airspeed, from that of velocity and wind.
pub(crate) fn air_cov<const K: usize>(p: &[[f64; K]; K]) -> [[f64; 3]; 3] {
    let mut cov = [[0.0; 3]; 3];
    for (i, row) in cov.iter_mut().enumerate() {
        for (j, c) in row.iter_mut().enumerate() {
            *c = p[VE + i][VE + j];
            if j < 2 {
                *c -= p[VE + i][WE + j];
            }
            if i < 2 {
                *c -= p[WE + i][VE + j];
            }
            if i < 2 && j < 2 {
                *c += p[WE + i][WE + j];
            }
        }
    }
    cov
}

/// What thrust points along: the airspeed with only that share of the wind which turns the nose. Off the rail the wind meets a
/// vehicle that turns slower than it gains speed; a later stage, or a fast one, follows wholly.
#[inline]
pub(crate) fn nose(m: &Model, x: &[f64], share: f64) -> ([f64; 3], f64) {
    let (w, _) = m.wind.at(x[H]);
    let a = [x[VE] - share * (w[0] + x[WE]), x[VE + 1] - share * (w[1] + x[WE + 1]), x[VE + 2]];
    (a, sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2]))
}

fn share_of(m: &Model, r: &Regime) -> f64 {
    if r.stage == 0 { m.turns_with_wind } else { 1.0 }
}

fn on_rail(m: &Model, r: &Regime, blob: &Blob, x: &[f64]) -> bool {
    r.burning && r.stage == 0 && along_rail(blob, x) < m.rail_length_m
}

/// How far up its rail a body is, m.
fn along_rail(blob: &Blob, x: &[f64]) -> f64 {
    x[E] * blob.rail[0] + x[E + 1] * blob.rail[1] + x[H] * blob.rail[2]
}

/// Time to the rail's end at this acceleration, s; none off the rail, and where nothing pushes.
pub(crate) fn rail_exit_in_s(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> Option<f64> {
    if !on_rail(m, r, blob, &blob.x) {
        return None;
    }
    let left = m.rail_length_m - along_rail(blob, &blob.x);
    let push = acceleration_of(m, r, blob, t_s);
    let (mut v, mut a) = (0.0, 0.0);
    for (i, u) in blob.rail.iter().enumerate() {
        v += blob.x[VE + i] * u;
        a += push[i] * u;
    }
    (a > 0.5).then(|| (sqrt(v * v + 2.0 * a * left) - v) / a)
}

/// Specific force along the airspeed.
pub(crate) fn axial_force(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> AxialForce {
    let x = &blob.x;
    let (a, v) = airspeed(m, x);
    let (thrust, mass) = thrust_at(m, r, blob, t_s);
    let (rho, rho_h) = m.air.density_ratio(x[H]);
    let mach_per = 1.0 / m.air.sound_mps(x[H]);
    let c = shape(v * mach_per, x[SHAPE]);
    let k = exp(x[LNK]) / mass;
    let drag = k * rho * c.ratio * v * v;
    let dv = 2.0 * k * rho * c.ratio * v + k * rho * v * v * c.per_mach * mach_per;
    let u = if v > 0.1 { [a[0] / v, a[1] / v, a[2] / v] } else { [0.0; 3] };
    AxialForce {
        f: thrust + x[D] - drag,
        thrust,
        drag,
        by_h: -drag * rho_h / rho.max(1e-9),
        by_v: [-dv * u[0], -dv * u[1], -dv * u[2]],
        by_shape: -k * rho * v * v * c.per_parameter,
    }
}

/// Force across the nose over its angle to the airspeed, m/s2 per radian, off the rail and under power.
pub(crate) fn across_per_rad(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> Option<f64> {
    let stage = m.stages.get(r.stage).filter(|_| !on_rail(m, r, blob, &blob.x))?;
    let (_, v) = airspeed(m, &blob.x);
    let density = m.air.pad_density() * m.air.density_ratio(blob.x[H]).0;
    let mass_kg = told_at(m, r, blob, t_s).1 * stage.burnt_mass_kg();
    Some(0.5 * density * v * v * NORMAL_SLOPE * stage.area_m2 / mass_kg)
}

/// Told thrust acceleration times exp tau, and mass over burnout mass.
fn thrust_at(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> (f64, f64) {
    let (a, mass) = told_at(m, r, blob, t_s);
    (if a > 0.0 { a * exp(blob.x[TAU]) } else { 0.0 }, mass)
}

/// Told thrust acceleration, and mass over burnout mass.
fn told_at(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> (f64, f64) {
    if !r.burning {
        return (0.0, 1.0);
    }
    m.stages.get(r.stage).map_or((0.0, 1.0), |s| {
        let pace = s.pace(blob.x[TAU]);
        let (a, mass) = s.at(t_s - r.ignition_s, blob.stretch * pace);
        (a * pace, mass)
    })
}

/// Acceleration only, for the mean.
pub(crate) fn acceleration(
    m: &Model,
    x: &[f64],
    thrust: f64,
    k: f64,
    share: f64,
    rail: Option<&[f64; 3]>,
) -> [f64; 3] {
    let (a, v) = airspeed(m, x);
    let (rho, _) = m.air.density_ratio(x[H]);
    let c = shape(v / m.air.sound_mps(x[H]), x[SHAPE]).ratio;
    let drag = k * rho * c * v;
    let g = m.gravity(x[H]);
    let spin = coriolis(m, x);
    if let Some(u) = rail {
        let along = thrust - drag * v - g * u[2];
        let along = if x[H] <= 0.5 { along.max(0.0) } else { along };
        return [along * u[0], along * u[1], along * u[2]];
    }
    let (n, vn) = if thrust == 0.0 { (a, v) } else { nose(m, x, share) };
    let per = thrust / (vn + 0.5);
    // Of gravity's part across the path a nose that follows it late holds up a share. `push` leaves out its slopes: a few hundredths.
    let lift = if a[2] > 0.0 && thrust.abs() < 0.5 { m.late_lift * rho * g } else { 0.0 };
    let along = a[2] / (v * v).max(1.0);
    [
        per * n[0] - drag * a[0] - g * x[E] / EARTH_RADIUS_M + spin[0] - lift * along * a[0],
        per * n[1] - drag * a[1] - g * x[E + 1] / EARTH_RADIUS_M + spin[1] - lift * along * a[1],
        per * n[2] - drag * a[2] - g + spin[2] + lift * (1.0 - along * a[2]),
    ]
}

/// Acceleration over ground of a blob's mean.
pub(crate) fn acceleration_of(m: &Model, r: &Regime, blob: &Blob, t_s: f64) -> [f64; 3] {
    let rail_dir = blob.rail;
    let rail = if on_rail(m, r, blob, &blob.x) { Some(&rail_dir) } else { None };
    let (thrust, mass) = thrust_at(m, r, blob, t_s);
    acceleration(m, &blob.x, thrust + blob.x[D], blob.k_at(t_s).0 / mass, share_of(m, r), rail)
}

/// -2 omega x v.
fn coriolis(m: &Model, x: &[f64]) -> [f64; 3] {
    let (wn, wu) = (m.spin_north, m.spin_up);
    let (ve, vn, vu) = (x[VE], x[VE + 1], x[VE + 2]);
    [-2.0 * (wn * vu - wu * vn), -2.0 * wu * ve, 2.0 * wn * ve]
}

/// Slopes of the acceleration at a state.
fn push(m: &Model, x: &[f64], told: f64, thrust: f64, k: f64, share: f64, rail: Option<&[f64; 3]>) -> Push {
    let (a, v) = airspeed(m, x);
    let v = v.max(0.05);
    let (_, w_h) = m.wind.at(x[H]);
    let (rho, rho_h) = m.air.density_ratio(x[H]);
    let per_mach = 1.0 / m.air.sound_mps(x[H]);
    let c = shape(v * per_mach, x[SHAPE]);
    let kr = k * rho;
    let drag = kr * c.ratio * v;
    let u = [a[0] / v, a[1] / v, a[2] / v];
    let mut out = Push { a: [0.0; 3], along: 0.0, by_h: [0.0; 3], by_v: [[0.0; 3]; 3], by_q: [[0.0; Q]; 3] };
    let thin = rho_h / rho.max(1e-12);
    if let Some(r) = rail {
        let dv = 2.0 * drag + kr * v * v * c.per_mach * per_mach;
        let along_w = r[0] * w_h[0] + r[1] * w_h[1];
        for i in 0..3 {
            out.a[i] = (thrust - drag * v) * r[i];
            out.by_h[i] = (-drag * v * thin + dv * along_w) * r[i];
            for j in 0..3 {
                out.by_v[i][j] = -dv * r[i] * u[j];
            }
            out.by_q[i] = [
                -drag * v * r[i],
                -kr * v * v * c.per_parameter * r[i],
                dv * u[0] * r[i],
                dv * u[1] * r[i],
                told * r[i],
                r[i],
            ];
        }
        out.along = out.a[0] * r[0] + out.a[1] * r[1] + out.a[2] * r[2];
        return out;
    }
    // Drag: -kr c V a; thrust: T n / |n|, n the airspeed with a share of the wind.
    let (n, vn) = nose(m, x, share);
    let side = thrust / (vn + 0.5);
    let vn = vn.max(0.05);
    let un = [n[0] / vn, n[1] / vn, n[2] / vn];
    let radial = drag + kr * v * v * c.per_mach * per_mach;
    for i in 0..3 {
        out.a[i] = side * n[i] - drag * a[i];
        out.by_h[i] = -drag * a[i] * thin;
        for j in 0..3 {
            let same = f64::from(u8::from(i == j));
            let held = -(drag * same + radial * u[i] * u[j]);
            let pushed = side * (same - un[i] * un[j]);
            out.by_v[i][j] = held + pushed;
            if j < 2 {
                let by_wind = -(held + share * pushed);
                out.by_q[i][2 + j] = by_wind;
                out.by_h[i] += by_wind * w_h[j];
            }
        }
        out.by_q[i][0] = -drag * a[i];
        out.by_q[i][1] = -kr * v * c.per_parameter * a[i];
        out.by_q[i][4] = told * un[i];
        out.by_q[i][5] = un[i];
    }
    out.along = out.a[0] * u[0] + out.a[1] * u[1] + out.a[2] * u[2];
    out.by_v[0][1] += 2.0 * m.spin_up;
    out.by_v[0][2] -= 2.0 * m.spin_north;
    out.by_v[1][0] -= 2.0 * m.spin_up;
    out.by_v[2][0] += 2.0 * m.spin_north;
    out
}

/// Longest step that keeps the covariance's expansion and the rule for the mean accurate here, s.
pub(crate) fn longest_step_s(m: &Model, blob: &Blob, most_s: f64) -> f64 {
    let (_, v) = airspeed(m, &blob.x);
    let (rho, _) = m.air.density_ratio(blob.x[H]);
    let rate = 2.0 * exp(blob.x[LNK]) * rho * v * 1.5;
    let drag_step = 0.35 / rate.max(1e-3);
    // Gravity turns a slow body quickly.
    let turn_step = 0.35 * (v + 2.0) / 9.8;
    most_s.min(drag_step).min(turn_step.max(0.1)).max(0.004)
}

/// Carries a blob from `t_s` by `span_s`, in steps of at most `most_s`.
pub(crate) fn carry(m: &Model, r: &Regime, blob: &mut Blob, t_s: f64, span_s: f64, most_s: f64) {
    carry_seen(m, r, blob, t_s, span_s, most_s, |_| {});
}

/// The same, with every step's slopes shown to `see`.
pub(crate) fn carry_seen(
    m: &Model,
    r: &Regime,
    blob: &mut Blob,
    t_s: f64,
    span_s: f64,
    most_s: f64,
    mut see: impl FnMut(&Slopes),
) {
    let most_s = if r.burning { most_s.min(0.05) } else { most_s };
    let mut done = 0.0;
    // A bound on the work: beyond it steps grow rather than the loop.
    for round in 0..4000 {
        let left = span_s - done;
        if left <= 1e-9 {
            break;
        }
        let mut dt = longest_step_s(m, blob, most_s);
        if round > 1000 {
            dt = dt.max(left / 1000.0);
        }
        if dt > 0.67 * left {
            dt = if dt >= left { left } else { 0.5 * left };
        }
        see(&step::<N>(m, r, blob, t_s + done, dt));
        done += dt;
    }
}

/// One step, over the leading `K` states (all, or those that a prediction needs).
pub(crate) fn step<const K: usize>(m: &Model, r: &Regime, blob: &mut Blob, t_s: f64, dt: f64) -> Slopes {
    let fade = exp(-dt / r.thrust_tau_s.max(1e-3));
    let thrust_q = r.thrust_sd * r.thrust_sd * (1.0 - fade * fade);
    blob.p[D][D] += 0.5 * thrust_q;
    let wind_sd = m.wind.sd_mps(blob.x[H]);
    let (_, v0) = airspeed(m, &blob.x);
    let wind_fade = kept(blob.x[VE + 2], blob.x[H], dt);
    let wind_q = wind_sd * wind_sd * (1.0 - wind_fade * wind_fade);
    blob.p[WE][WE] += 0.5 * wind_q;
    blob.p[WE + 1][WE + 1] += 0.5 * wind_q;

    let rail_dir = blob.rail;
    let rail = if on_rail(m, r, blob, &blob.x) { Some(&rail_dir) } else { None };
    // Mean of the fading extra thrust over the step.
    let mean_fade = if r.thrust_tau_s > 1e-3 { (1.0 - fade) * r.thrust_tau_s / dt } else { 0.0 };
    let extra = blob.x[D] * mean_fade;
    let (k0, k_slope) = blob.k_at(t_s + 0.5 * dt);
    let ((ta, ma), (tb, mb), (tc, mc)) = if r.burning {
        let off = exp(blob.x[TAU]);
        let at = |s: f64| {
            let (told, mass) = told_at(m, r, blob, t_s + s);
            (told * off, mass)
        };
        (at(0.0), at(0.5 * dt), at(dt))
    } else {
        ((0.0, 1.0), (0.0, 1.0), (0.0, 1.0))
    };

    let share = share_of(m, r);
    let x0 = blob.x;
    let mut x = x0;
    let a1 = acceleration(m, &x, ta + extra, k0 / ma, share, rail);
    for i in 0..3 {
        x[i] = x0[i] + 0.5 * dt * x0[VE + i];
        x[VE + i] = x0[VE + i] + 0.5 * dt * a1[i];
    }
    let a2 = acceleration(m, &x, tb + extra, k0 / mb, share, rail);
    let v2 = [x[VE], x[VE + 1], x[VE + 2]];
    for i in 0..3 {
        x[i] = x0[i] + 0.5 * dt * v2[i];
        x[VE + i] = x0[VE + i] + 0.5 * dt * a2[i];
    }
    let a3 = acceleration(m, &x, tb + extra, k0 / mb, share, rail);
    let v3 = [x[VE], x[VE + 1], x[VE + 2]];
    let middle = x;
    for i in 0..3 {
        x[i] = x0[i] + dt * v3[i];
        x[VE + i] = x0[VE + i] + dt * a3[i];
    }
    let a4 = acceleration(m, &x, tc + extra, k0 / mc, share, rail);
    for i in 0..3 {
        let v4 = x[VE + i];
        blob.x[i] = x0[i] + dt / 6.0 * (x0[VE + i] + 2.0 * (v2[i] + v3[i]) + v4);
        blob.x[VE + i] = x0[VE + i] + dt / 6.0 * (a1[i] + 2.0 * (a2[i] + a3[i]) + a4[i]);
    }

    let mut j = push(m, &middle, tb, tb + extra, k0 / mb, share, rail);
    for by in &mut j.by_q {
        by[0] *= k_slope;
    }
    let phi = transition(&j, dt, mean_fade);
    carry_covariance::<K>(blob, &phi);

    // What the model leaves out: sideways, of the size of a part of the aerodynamic force and thrust, wandering over 0.3 s (lengthwise
    // that is thrust or drag, which have states of their own); plus small turbulence.
    let forced = sqrt(j.a[0] * j.a[0] + j.a[1] * j.a[1] + j.a[2] * j.a[2]);
    let side = r.rough * forced;
    let gust = 0.02 + 0.0004 * v0;
    // A nose that follows the falling path late lifts the body by a share of gravity's part across it that is not known.
    let (air0, _) = airspeed(m, &x0);
    let across = sqrt(air0[0] * air0[0] + air0[1] * air0[1]) / v0.max(1.0);
    let lift = if r.burning { 0.0 } else { m.late_lift_sd * m.gravity(x0[H]) * across.min(1.0) };
    let rough = 2.0 * 0.3 * side * side * dt;
    let q = (gust * gust + 2.0 * LIFT_LASTS_S * lift * lift) * dt + rough;
    let along = j.a.map(|a| a / forced.max(1e-9));
    for i in 0..3 {
        blob.p[VE + i][VE + i] += q;
        for k in 0..3 {
            blob.p[VE + i][VE + k] -= rough * along[i] * along[k];
        }
    }
    let (mut offset_fade, mut climbed_m) = (1.0, 0.0);
    if K == N {
        blob.gained_mps += dt * j.along;
        blob.pushed_mps += dt * ((ta * ma + 4.0 * tb * mb + tc * mc) / 6.0 + extra * mb);
        trail(m, blob, &x0, dt);
        // Over a minute a receiver's height wanders by three metres, a barometer's by half a metre.
        blob.p[GH][GH] += 0.2 * dt;
        blob.p[BB][BB] += 0.006 * dt;
        if !r.zeroed_aloft {
            (offset_fade, climbed_m) = pass_air(m, blob, x0[H]);
        }
    }
    // Around and above Mach 1 one parameter does not hold the whole curve: what it misses wanders through ln k.
    let mach = v0 / m.air.sound_mps(x0[H]);
    let off = (mach - 1.0) / RISE_WIDTH;
    let rate = r.ln_k_rate
        + SHAPE_WANDER * ((mach - 0.7) / 0.2).clamp(0.0, 1.0)
        + RISE_WANDER * exp(-0.5 * off * off);
    blob.p[LNK][LNK] += rate * rate * dt;
    fade_state::<K>(blob, D, fade);
    blob.p[D][D] += 0.5 * thrust_q;
    for i in WE..=WE + 1 {
        fade_state::<K>(blob, i, wind_fade);
        blob.p[i][i] += 0.5 * wind_q;
    }
    if K == N {
        blob.hold();
    }
    Slopes { phi, fade, wind_fade, offset_fade, climbed_m }
}

pub(crate) fn fade_state<const K: usize>(blob: &mut Blob, i: usize, fade: f64) {
    blob.x[i] *= fade;
    for j in 0..K {
        blob.p[i][j] *= fade;
        blob.p[j][i] *= fade;
    }
}

fn times3(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let mut out = [[0.0; 3]; 3];
    for i in 0..3 {
        for k in 0..3 {
            out[i][k] = a[i][0] * b[0][k] + a[i][1] * b[1][k] + a[i][2] * b[2][k];
        }
    }
    out
}

/// Slopes of one step: the motion's by motion and parameters, what is left of extra thrust, of extra wind and of the
/// barometer's offset, and what its scale adds to that.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Slopes {
    pub(crate) phi: [[f64; M + Q]; M],
    pub(crate) fade: f64,
    pub(crate) wind_fade: f64,
    pub(crate) offset_fade: f64,
    pub(crate) climbed_m: f64,
}

fn transition(j: &Push, dt: f64, mean_fade: f64) -> [[f64; M + Q]; M] {
    // F = [0 I 0; h J B]; phi = I + F dt + F^2 dt^2/2 + F^3 dt^3/6 (velocity block only).
    let half = 0.5 * dt * dt;
    let sixth = dt * dt * dt / 6.0;
    let jj = times3(&j.by_v, &j.by_v);
    let jjj = times3(&jj, &j.by_v);
    let mut phi = [[0.0; M + Q]; M];
    for a in 0..3 {
        phi[a][a] = 1.0;
        phi[a][2] += half * j.by_h[a];
        let v = &j.by_v[a];
        let jh = v[0] * j.by_h[0] + v[1] * j.by_h[1] + v[2] * j.by_h[2];
        phi[3 + a][2] = dt * j.by_h[a] + half * jh;
        for b in 0..3 {
            phi[a][3 + b] = half * v[b] + sixth * jj[a][b];
            phi[3 + a][3 + b] = dt * v[b] + half * jj[a][b] + sixth * jjj[a][b];
        }
        phi[a][3 + a] += dt;
        phi[3 + a][3 + a] += 1.0;
        phi[3 + a][5] += half * j.by_h[a];
        for q in 0..Q {
            let scale = if q == 5 { mean_fade } else { 1.0 };
            let (b0, b1, b2) = (j.by_q[0][q], j.by_q[1][q], j.by_q[2][q]);
            let jb = v[0] * b0 + v[1] * b1 + v[2] * b2;
            let jjb = jj[a][0] * b0 + jj[a][1] * b1 + jj[a][2] * b2;
            phi[a][M + q] = (half * j.by_q[a][q] + sixth * jb) * scale;
            phi[3 + a][M + q] = (dt * j.by_q[a][q] + half * jb + sixth * jjb) * scale;
        }
    }
    phi
}

fn carry_covariance<const K: usize>(blob: &mut Blob, phi: &[[f64; M + Q]; M]) {
    let mut t = [[0.0; K]; M];
    for a in 0..M {
        for c in 0..M + Q {
            let f = phi[a][c];
            let row = &blob.p[c];
            for k in 0..K {
                t[a][k] += f * row[k];
            }
        }
    }
    for a in 0..M {
        for b in 0..=a {
            let mut s = 0.0;
            for c in 0..M + Q {
                s += t[a][c] * phi[b][c];
            }
            blob.p[a][b] = s;
            blob.p[b][a] = s;
        }
        for k in M..K {
            blob.p[a][k] = t[a][k];
            blob.p[k][a] = t[a][k];
        }
    }
}

#[cfg(test)]
mod tests;
