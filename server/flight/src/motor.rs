//! A motor as told: thrust and mass by time, remaining impulse.
//!
//! The told curve is scaled to the told impulse and resampled once on a fixed grid. Mass falls with impulse spent
//! (science: constant exhaust speed). Without a curve the thrust is flat. Burn time may be stretched by a factor:
//! the impulse stays the same.

use crate::plan::Motor;
use crate::state::{Blob, D, LNK, SHAPE, TAU, VE};

/// Time constant of thrust's tail over the burn, and its ends, s: what is left of a grain goes with its web, as the burn does (tail-offs of
/// usual grains; common practice, no source). Longer: drag is learnt later; shorter: a tail is taken for less drag.
const TAIL_SHARE: f64 = 0.06;
const TAIL_LEAST_S: f64 = 0.05;
const TAIL_MOST_S: f64 = 0.8;

/// Cells of the grid over the burn.
const CELLS: usize = 128;

/// One stage, ready for use.
#[derive(Clone, Debug)]
pub(crate) struct Stage {
    /// Thrust, N, at the grid's nodes.
    thrust: [f64; CELLS + 1],
    /// Fraction of the impulse spent at the nodes.
    spent: [f64; CELLS + 1],
    /// Burn time, s.
    pub burn_s: f64,
    /// Told impulse, N s.
    pub impulse_ns: f64,
    /// Mass at ignition, kg.
    pub ignition_mass_kg: f64,
    /// Propellant, kg.
    pub propellant_kg: f64,
    /// Reference area from its ignition on, m2.
    pub area_m2: f64,
    /// Told drag, ln(rho0 Cd A / (2 m after burnout)).
    pub ln_k: f64,
    /// Spread of it.
    pub ln_k_sd: f64,
    /// Spread of ln thrust acceleration: impulse, mass, and a burn time that nobody told.
    pub ln_thrust_sd: f64,
    /// Share of ln thrust that is a shorter burn of the same impulse (regression of the one on the other).
    sooner: f64,
    /// Variance of the impulse's logarithm that this share leaves out.
    impulse_ln_var: f64,
    /// Ignition after the previous burnout, s, and its spread.
    pub ignition_after_s: f64,
    /// Spread of that.
    pub ignition_sd_s: f64,
    /// Whether a curve was told.
    pub has_curve: bool,
}

/// Least share of the impulse whose rest is reckoned with, and what that rest may be over the told one at least and at most; most that is
/// left open of it (common practice, no source).
const LEAST_LEFT: f64 = 0.03;
const LEFT_SHARE: (f64, f64) = (0.15, 2.5);
const MOST_LEFT_LN_SD: f64 = 0.5;

impl Stage {
    /// From what was told: a motor, the mass at its ignition (kg) and the pad's air density (kg/m3).
    pub(crate) fn new(motor: &Motor, ignition_mass_kg: f64, mass_ln_sd: f64, pad_density: f64) -> Self {
        let from_curve = motor.curve.len() >= 2;
        let burn_s =
            if from_curve { motor.curve.last().map_or(1.0, |p| p.0) } else { motor.burn_time_s }.max(0.02);
        let mut thrust = [1.0; CELLS + 1];
        if from_curve {
            for (i, f) in thrust.iter_mut().enumerate() {
                *f = interpolate(&motor.curve, burn_s * i as f64 / CELLS as f64).max(0.0);
            }
        }
        let mut spent = [0.0; CELLS + 1];
        for i in 0..CELLS {
            spent[i + 1] = spent[i] + 0.5 * (thrust[i] + thrust[i + 1]);
        }
        let total = spent[CELLS].max(1e-9);
        let scale = motor.impulse_ns.value / (total * burn_s / CELLS as f64);
        for f in &mut thrust {
            *f *= scale;
        }
        for s in &mut spent {
            *s /= total;
        }
        let after_kg = (ignition_mass_kg - motor.propellant_mass_kg).max(0.05 * ignition_mass_kg);
        let area = 0.25 * core::f64::consts::PI * motor.diameter_m * motor.diameter_m;
        let cd = motor.drag_coefficient.value.max(1e-3);
        let cd_ln_sd = (motor.drag_coefficient.sd / cd).clamp(0.02, 1.0);
        let burn_ln_sd = motor.burn_time_ln_sd.clamp(0.0, 1.0);
        let impulse_ln_sd = (motor.impulse_ns.sd / motor.impulse_ns.value.max(1e-6)).clamp(0.005, 0.5);
        let push_ln_var = impulse_ln_sd * impulse_ln_sd + mass_ln_sd * mass_ln_sd;
        let sooner = burn_ln_sd * burn_ln_sd / (push_ln_var + burn_ln_sd * burn_ln_sd);
        Self {
            thrust,
            spent,
            burn_s,
            impulse_ns: motor.impulse_ns.value,
            ignition_mass_kg,
            propellant_kg: ignition_mass_kg - after_kg,
            area_m2: area,
            ln_k: libm::log((pad_density * cd * area / (2.0 * after_kg)).max(1e-9)),
            ln_k_sd: libm::sqrt(cd_ln_sd * cd_ln_sd + mass_ln_sd * mass_ln_sd),
            ln_thrust_sd: libm::sqrt(push_ln_var + burn_ln_sd * burn_ln_sd),
            sooner,
            impulse_ln_var: sooner * push_ln_var,
            ignition_after_s: motor.ignition_after_burnout_s.value,
            ignition_sd_s: motor.ignition_after_burnout_s.sd,
            has_curve: from_curve,
        }
    }

    /// Whether somebody told how long it burns.
    pub(crate) fn tells_burn_time(&self) -> bool {
        self.sooner == 0.0
    }

    /// What a burn lasts over the told time where thrust is `exp(ln_thrust)` of the told one: a motor whose burn time nobody told spends
    /// its impulse sooner. Otherwise as long as told.
    #[inline]
    pub(crate) fn pace(&self, ln_thrust: f64) -> f64 {
        if self.tells_burn_time() { 1.0 } else { libm::exp(-self.sooner * ln_thrust) }
    }

    /// End of a blob's burn after ignition, s.
    pub(crate) fn lasts_s(&self, b: &Blob) -> f64 {
        self.burn_s * b.stretch * self.pace(b.x[TAU])
    }

    /// What a blob leaves open of that, s.
    pub(crate) fn lasts_sd_s(&self, b: &Blob) -> f64 {
        self.sooner * self.lasts_s(b) * libm::sqrt(b.p[TAU][TAU])
    }

    /// Thrust over mass (m/s2) and mass over burnout mass, `t_s` after ignition with the burn stretched by `stretch`.
    #[inline]
    pub(crate) fn at(&self, t_s: f64, stretch: f64) -> (f64, f64) {
        let burnt = self.ignition_mass_kg - self.propellant_kg;
        if t_s < 0.0 {
            return (0.0, self.ignition_mass_kg / burnt);
        }
        let x = t_s / (self.burn_s * stretch) * CELLS as f64;
        if x >= CELLS as f64 {
            return (0.0, 1.0);
        }
        let i = (x as usize).min(CELLS - 1);
        let f = x - i as f64;
        let thrust = self.thrust[i] + (self.thrust[i + 1] - self.thrust[i]) * f;
        let spent = self.spent[i] + (self.spent[i + 1] - self.spent[i]) * f;
        let mass = self.ignition_mass_kg - self.propellant_kg * spent;
        (thrust / stretch / mass, mass / burnt)
    }

    /// Time constant of thrust's tail, s, as far as the told burn says.
    pub(crate) fn tail_tau_s(&self) -> f64 {
        (TAIL_SHARE * self.burn_s).clamp(TAIL_LEAST_S, TAIL_MOST_S)
    }

    /// A burn is over as long after ignition as its thrust was weak: what a greater thrust gained it does not gain any longer. `motion` carries
    /// the slope of thrust alone; this is what the end adds to it, along `along`.
    pub(crate) fn has_spent(&self, b: &mut Blob, along: [f64; 3]) {
        if self.sooner == 0.0 {
            return;
        }
        let gained = self.impulse_ns / self.burnt_mass_kg() * libm::exp((1.0 - self.sooner) * b.x[TAU]);
        let by_tau = along.map(|u| -self.sooner * gained * u);
        let with_tau = b.p[TAU];
        for (i, k) in by_tau.into_iter().enumerate() {
            for (p, c) in b.p[VE + i].iter_mut().zip(with_tau) {
                *p += k * c;
            }
        }
        for row in &mut b.p {
            let c = row[TAU];
            for (i, k) in by_tau.into_iter().enumerate() {
                row[VE + i] += k * c;
            }
        }
        // What the impulse itself is off by.
        b.gain_speed(along, 0.0, gained * libm::sqrt(self.impulse_ln_var), 0.0);
    }

    /// This stage flies on where another burnt out: drag and thrust are those of another body, whose curve near Mach 1 is not the
    /// stack's.
    pub(crate) fn takes_over(&self, from: &Self, b: &mut Blob) {
        b.x[LNK] += self.ln_k - from.ln_k;
        b.p[LNK][LNK] += self.ln_k_sd * self.ln_k_sd;
        b.x[SHAPE] = 0.0;
        b.reopen(SHAPE, 1.0);
        b.x[TAU] = 0.0;
        b.reopen(TAU, self.ln_thrust_sd * self.ln_thrust_sd);
        b.pushed_mps = 0.0;
    }

    /// What is left of a burn whose curve nobody told and whose thrust was felt so far: the told impulse less what has been given, and not
    /// the told mean, however strong it began. `tau_s` is how long what is felt beyond the mean goes on.
    pub(crate) fn leaves(&self, b: &mut Blob, since_s: f64, tau_s: f64) {
        if self.has_curve || !self.tells_burn_time() {
            return;
        }
        let lasts_s = self.lasts_s(b);
        let left_s = lasts_s - since_s;
        let whole = self.impulse_ns / self.burnt_mass_kg();
        let rest = whole * left_s / lasts_s;
        if rest < LEAST_LEFT * whole {
            return;
        }
        let (_, mass) = self.at(since_s, b.stretch);
        let fading = b.x[D] * tau_s * (1.0 - libm::exp(-left_s / tau_s.max(1e-3))) * mass;
        let share = ((whole - b.pushed_mps - fading) / rest).clamp(LEFT_SHARE.0, LEFT_SHARE.1);
        b.x[TAU] = libm::log(share);
        let sd = (self.ln_thrust_sd * whole / (share * rest)).min(MOST_LEFT_LN_SD);
        b.reopen(TAU, sd * sd);
    }

    /// Mean thrust over mean mass, m/s2.
    pub(crate) fn mean_mps2(&self) -> f64 {
        self.impulse_ns / self.burn_s / (self.ignition_mass_kg - 0.5 * self.propellant_kg)
    }

    /// Mass after burnout, kg.
    pub(crate) fn burnt_mass_kg(&self) -> f64 {
        self.ignition_mass_kg - self.propellant_kg
    }
}

fn interpolate(curve: &[(f64, f64)], t: f64) -> f64 {
    let mut before = (0.0, 0.0);
    for &(s, f) in curve {
        if s >= t {
            let span = s - before.0;
            return if span <= 0.0 { f } else { before.1 + (f - before.1) * (t - before.0) / span };
        }
        before = (s, f);
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Told;

    fn motor(curve: Vec<(f64, f64)>) -> Motor {
        Motor {
            impulse_ns: Told { value: 1000.0, sd: 70.0 },
            burn_time_s: 2.0,
            burn_time_ln_sd: 0.0,
            propellant_mass_kg: 0.5,
            curve,
            ignition_after_burnout_s: Told { value: 0.0, sd: 0.0 },
            dropped_mass_kg: 0.0,
            drag_coefficient: Told { value: 0.5, sd: 0.125 },
            diameter_m: 0.1,
        }
    }

    #[test]
    fn impulse_is_the_told_one_with_and_without_a_curve() {
        for curve in [vec![], vec![(0.0, 10.0), (0.2, 700.0), (1.5, 400.0), (2.0, 0.0)]] {
            for stretch in [0.8, 1.0, 1.3] {
                let s = Stage::new(&motor(curve.clone()), 5.0, 0.03, 1.2);
                let dt = 1e-4;
                let mut impulse = 0.0;
                for i in 0..40_000 {
                    let (a, m) = s.at((f64::from(i) + 0.5) * dt, stretch);
                    impulse += a * m * s.burnt_mass_kg() * dt;
                }
                assert!((impulse / 1000.0 - 1.0).abs() < 2e-3, "{impulse}");
            }
        }
    }

    #[test]
    fn mass_falls_by_the_propellant() {
        let s = Stage::new(&motor(vec![]), 5.0, 0.03, 1.2);
        assert!((s.at(0.0, 1.0).1 - 5.0 / 4.5).abs() < 1e-12);
        assert!((s.at(1.0, 1.0).1 - 4.75 / 4.5).abs() < 1e-12);
        assert_eq!(s.at(3.0, 1.0), (0.0, 1.0));
    }

    #[test]
    fn a_burn_time_that_nobody_told_adds_nothing_to_what_an_impulse_is_off_by() {
        let mut told = motor(vec![]);
        told.burn_time_ln_sd = 0.4;
        let stage = Stage::new(&told, 5.0, 0.03, 1.2);
        assert!((stage.pace(0.7) * libm::exp(0.7) - 1.0).abs() < 0.05, "as much sooner as stronger, nearly");
        // A speed gained along one direction, known as well as its thrust.
        let (along, gained, var) = ([0.0, 0.6, 0.8], 1000.0 / 4.5, stage.ln_thrust_sd * stage.ln_thrust_sd);
        let mut b = Blob::zero();
        b.p[TAU][TAU] = var;
        for i in 0..3 {
            b.p[VE + i][TAU] = gained * var * along[i];
            b.p[TAU][VE + i] = gained * var * along[i];
            for j in 0..3 {
                b.p[VE + i][VE + j] = gained * gained * var * along[i] * along[j];
            }
        }
        stage.has_spent(&mut b, along);
        let off = libm::sqrt(b.p[VE + 2][VE + 2]) / (gained * along[2]);
        assert!((off - libm::hypot(0.07, 0.03)).abs() < 1e-3, "{off}");
        assert!(b.p[VE][VE].abs() < 1e-9 && (b.p[VE + 1][VE + 2] - b.p[VE + 2][VE + 1]).abs() < 1e-6);
    }
}
