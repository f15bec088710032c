//! No sign of the planned descent state, a descent faster than that state allows, and canopies before their time.
//!
//! After the 95 % end of a planned opening the body's fall must approach the state's terminal rate. Terminal means a
//! dynamic pressure of m g / Cd A, whatever the density, so the air at that height is read off the estimate itself. From the
//! fall rate v0 at that moment the planned state gives, at constant density, v = vt tanh(g t / vt + atanh(v0 / vt))
//! from below and v = vt coth(g t / vt + acoth(v0 / vt)) from above (quadratic drag, closed form). Falling clearly
//! faster than that, by measurement and not by carrying, is no sign of it; nor is a flight with next to none of its drag, which shows on
//! the way up too where the opening is planned before apogee. The canopy takes a time to fill, in most of which the body
//! falls freely. States that are no device (tumbling, bare, ballistic) are planned for many flights and are never missed.

use loftwatch_flight::{Body, DescentState, Estimate, Phase, Plan, Told, Trigger, canopy_fill_s};
use serde::{Deserialize, Serialize};

use super::cue::state_name;
use super::view::{View, spoken};
use super::{Level, Verdict};

const GRAVITY_MPS2: f64 = 9.80665;
/// Share of a canopy's filling time in which the body falls as if freely: its area grows with the square of the time. And the least
/// time before an absence is said, s: a barometer must show it. Larger warns late (3 s are allowed), smaller cries wolf.
const FREE_SHARE: f64 = 0.6;
const LEAST_FREE_S: f64 = 0.4;
/// Spreads of the told drag area that the fall rate may be off by: it goes with the root of the area.
const SPREADS: f64 = 2.5;
/// Margin on the expected fall rate for rising and sinking air and the filter, m/s.
const MARGIN_MPS: f64 = 2.5;
/// Share of the terminal rate from which on a canopy's drag is felt (half of gravity and more), and share of the told drag
/// area that says that it is not there, between the 75 % and the 95 % end: an opening that is supposed again and again always holds a
/// twentieth of the belief.
const FELT: f64 = 0.7;
const LEAST_SHARE: f64 = 0.3;
const NEARER_75: f64 = 0.75;
/// An airspeed this much faster than the state's is braked by it: without it that shows at once, so there is time to wait until the
/// charge's gas and the opening's jolt are over, s.
const BRAKES: f64 = 1.3;
const BRAKED_S: f64 = 0.6;
/// Specific gas constant of dry air, J/(kg K) (US Standard Atmosphere 1976, table 2 and eq. 3).
const GAS_CONSTANT: f64 = 287.053;
/// Climb rate below which a canopy is out at apogee and not before, m/s: half a second.
const STILL_CLIMBS_MPS: f64 = 5.0;
/// Factor and addition, m/s, on the terminal rate, for a state that is there and too fast.
const FAST: (f64, f64) = (1.25, 1.5);
/// Seconds after the opening before the rate is judged against the terminal one.
const SETTLED_S: f64 = 5.0;
/// Seconds before its moment at which a main chute that is out is out too early. Larger misses it low down, where it hardly matters.
const EARLY_S: f64 = 10.0;
/// A carried state says nothing about a canopy. Older than this, s, and the verdict stays as it was.
pub(super) const FRESH_S: f64 = 0.7;

/// What is remembered of planned openings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Openings(Vec<Opening>);

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Opening {
    body: usize,
    descent: usize,
    /// 95 % end of the opening, as last predicted before it, s.
    end_s: f64,
    /// How the body moves at that end, once it is past.
    at_end: Option<AtEnd>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct AtEnd {
    /// From when on its fall counts: that end, or the apogee that comes after it.
    falls_s: f64,
    fall_mps: f64,
    airspeed_mps: f64,
}

impl Openings {
    /// Follows the predicted openings of bodies that descend; called with each new state.
    pub(crate) fn follow(view: &View<'_>) -> Self {
        let mut next = view.openings.clone();
        for (body, told) in view.plan.bodies.iter().enumerate() {
            let Some((_, estimate)) = view.flying(body) else { continue };
            for (descent, planned) in told.descents.iter().enumerate() {
                if !planned.state.is_device() {
                    continue;
                }
                let Some(Some(cue)) = view.cue_predictions.get(planned.cue) else { continue };
                let known = next.0.iter().position(|o| o.body == body && o.descent == descent);
                let at = known.unwrap_or_else(|| {
                    next.0.push(Opening { body, descent, end_s: cue.cue_t_s.p95, at_end: None });
                    next.0.len() - 1
                });
                let opening = &mut next.0[at];
                // The end moves with the prediction until it is reached; a cue that went by keeps its own.
                if opening.at_end.is_none() {
                    opening.end_s = cue.cue_t_s.p95;
                }
                let climbs = estimate.phase == Phase::Coasting;
                let comes = opening.at_end.is_none() && estimate.phase == Phase::Descending;
                if view.t_s >= opening.end_s && (climbs || comes) {
                    let fall_mps = (-estimate.climb_mps.p50).max(0.0);
                    let airspeed_mps = opening.at_end.map_or(estimate.airspeed_mps.p50, |a| a.airspeed_mps);
                    opening.at_end = Some(AtEnd { falls_s: view.t_s, fall_mps, airspeed_mps });
                }
            }
        }
        next
    }
}

/// The newest opening of a body that should be past, with the terminal rate of its state here.
fn newest<'a>(view: &'a View<'_>, body: usize) -> Option<(&'a Opening, DescentState, f64)> {
    let (told, estimate) = view.flying(body)?;
    if !matches!(estimate.phase, Phase::Coasting | Phase::Descending) {
        return None;
    }
    let opening =
        view.openings.0.iter().filter(|o| o.body == body && o.at_end.is_some()).max_by_key(|o| o.descent)?;
    let planned = told.descents.get(opening.descent)?;
    Some((opening, planned.state, terminal_mps(view.plan, body, opening.descent, estimate)?))
}

/// Terminal rate in the air at this height, m/s.
fn terminal_mps(plan: &Plan, body: usize, descent: usize, estimate: &Estimate) -> Option<f64> {
    let told = plan.bodies.get(body)?;
    let area_m2 = told.descents.get(descent)?.drag_area_m2.value;
    let v = estimate.airspeed_mps.p50;
    let density = 2.0 * estimate.dynamic_pressure_pa / (v * v);
    let rate = libm::sqrt(2.0 * told.mass_kg.value * GRAVITY_MPS2 / (density * area_m2));
    (v > 2.0 && rate.is_finite() && rate > 0.0).then_some(rate)
}

/// Fall rate `t_s` after the opening, from `v0` towards the terminal rate `vt`, all m/s.
fn expected_mps(v0: f64, vt: f64, t_s: f64) -> f64 {
    let ratio = v0 / vt;
    let s = GRAVITY_MPS2 * t_s.max(0.0) / vt;
    if ratio < 0.999 {
        vt * libm::tanh(s + libm::atanh(ratio.max(0.0)))
    } else if ratio > 1.001 {
        vt / libm::tanh(s + libm::atanh(1.0 / ratio))
    } else {
        vt
    }
}

/// Drag that the body has at most, all but surely, over the told one of this device: k = rho CdA / (2 m) at the pad's density.
fn drag_share(plan: &Plan, body: &Body, area_m2: Told, estimate: &Estimate) -> f64 {
    let density = plan.weather.pressure_pa / (GAS_CONSTANT * plan.weather.temperature_k);
    let k = estimate.drag_k_per_m;
    libm::pow(k.p75, NEARER_75) * libm::pow(k.p95, 1.0 - NEARER_75)
        / (density * area_m2.value / (2.0 * body.mass_kg.value))
}

pub(super) fn no_sign(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    for body in 0..view.bodies.len() {
        let Some((opening, state, terminal)) = newest(view, body) else { continue };
        let Some((told, estimate)) = view.flying(body) else { continue };
        let late_s = view.t_s - opening.end_s;
        let Some(at_end) = opening.at_end else { continue };
        let falls_s = view.t_s - at_end.falls_s;
        let climbs = estimate.phase == Phase::Coasting;
        let area = told.descents[opening.descent].drag_area_m2;
        let free_s = (FREE_SHARE * canopy_fill_s(area.value, at_end.airspeed_mps)).max(LEAST_FREE_S);
        let expected = expected_mps(at_end.fall_mps + GRAVITY_MPS2 * free_s, terminal, falls_s - free_s);
        let limit = (1.0 + SPREADS * area.sd / (2.0 * area.value)) * expected + MARGIN_MPS;
        // An opening is supposed again and again, each time with a small part of the belief: that part alone is no doubt.
        let surely = -0.5 * (estimate.climb_mps.p75 + estimate.climb_mps.p95);
        let fall = (-estimate.climb_mps.p50, surely);
        let other = estimate.descent != Some(state);
        let falls = !climbs && falls_s >= free_s;
        let too_fast = falls && fall.1 > limit && (other || fall.1 > 2.0 * expected);
        let bare = other && drag_share(view.plan, told, area, estimate) < LEAST_SHARE;
        let air = 0.5 * (estimate.airspeed_mps.p05 + estimate.airspeed_mps.p25);
        let undragged = bare && air > FELT * terminal;
        let holds = if estimate.carried_s > FRESH_S || late_s < free_s {
            None
        } else if too_fast || undragged {
            Some(true)
        } else if !other || (falls && !bare && fall.0 < 1.05 * expected + 1.0) {
            Some(false)
        } else {
            None
        };
        verdicts.push(Verdict {
            about: format!("{}:{}", told.name, state_name(state)),
            holds,
            settle_s: if at_end.airspeed_mps.max(at_end.fall_mps) > BRAKES * terminal {
                BRAKED_S
            } else {
                0.0
            },
            level: Level::Act,
            body,
            cue: Some(told.descents[opening.descent].cue),
            mass_kg: told.mass_kg.value,
            figure: if climbs { estimate.airspeed_mps.p50 } else { fall.0 },
            limit: Some(if climbs { terminal } else { limit }),
            unit: "m/s",
            limit_from: format!("told drag area of the {}", state_name(state)),
            words: format!(
                "No sign of {}'s {}, {late_s:.0} s after its time. {}",
                told.name,
                state_name(state),
                if climbs {
                    format!("Not slowed, still climbing, airspeed {} m/s.", spoken(estimate.airspeed_mps.p50))
                } else {
                    format!("Falling at {} m/s.", spoken(fall.0))
                }
            ),
        });
    }
}

pub(super) fn fast(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    for body in 0..view.bodies.len() {
        let Some((opening, state, terminal)) = newest(view, body) else { continue };
        let Some((told, estimate)) = view.flying(body) else { continue };
        // Without a sign of the state the other row speaks.
        if estimate.descent != Some(state) || view.t_s < opening.end_s + SETTLED_S {
            continue;
        }
        let limit = FAST.0 * terminal + FAST.1;
        let holds = if estimate.carried_s > FRESH_S {
            None
        } else if -estimate.climb_mps.p75 > limit {
            Some(true)
        } else if -estimate.climb_mps.p50 < 1.1 * terminal + 1.0 {
            Some(false)
        } else {
            None
        };
        verdicts.push(Verdict {
            about: format!("{}:{}", told.name, state_name(state)),
            holds,
            settle_s: 0.0,
            level: Level::Look,
            body,
            cue: Some(told.descents[opening.descent].cue),
            mass_kg: told.mass_kg.value,
            figure: -estimate.climb_mps.p50,
            limit: Some(terminal),
            unit: "m/s",
            limit_from: format!("told drag area of the {} and the air at this height", state_name(state)),
            words: format!(
                "{} falls at {} m/s under its {}. Planned is {} m/s here.",
                told.name,
                spoken(-estimate.climb_mps.p50),
                state_name(state),
                spoken(terminal)
            ),
        });
    }
}

/// A main chute that is out while its moment is still to come: nothing breaks, but what hangs under it drifts for as long as it takes
/// from there.
pub(super) fn early_main(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    for body in 0..view.bodies.len() {
        let Some((told, estimate)) = view.flying(body) else { continue };
        let Some(descent) = told.descents.iter().position(|d| d.state == DescentState::Main) else {
            continue;
        };
        let cue = told.descents[descent].cue;
        let Some(Some(planned)) = view.cue_predictions.get(cue) else { continue };
        let Some(terminal) = terminal_mps(view.plan, body, descent, estimate) else { continue };
        let hangs = estimate.phase == Phase::Descending
            && estimate.descent == Some(DescentState::Main)
            && -estimate.climb_mps.p05 < FAST.0 * terminal + FAST.1;
        let fall = -estimate.climb_mps.p50;
        // A vehicle that says that it has fired makes the cue a passed one, whatever the plan.
        let is_to_come = match view.plan.cues.get(cue).map(|c| c.trigger) {
            Some(Trigger::HeightBelow(z)) => estimate.height_m.p05 > z + EARLY_S * fall,
            _ => !planned.passed && planned.cue_t_s.p05 > view.t_s + EARLY_S,
        };
        let holds = if estimate.carried_s > FRESH_S { None } else { Some(hangs && is_to_come) };
        let lasts_min = estimate.height_m.p50 / fall.max(1.0) / 60.0;
        verdicts.push(Verdict {
            about: told.name.clone(),
            holds,
            settle_s: 0.0,
            level: Level::Look,
            body,
            cue: Some(cue),
            mass_kg: told.mass_kg.value,
            figure: fall,
            limit: None,
            unit: "m/s",
            limit_from: "told moment of the main chute".into(),
            words: format!(
                "{}'s main is out before its time. Falling at {fall:.0} m/s, {lasts_min:.0} min to go: it drifts.",
                told.name
            ),
        });
    }
}

/// A canopy that is out on the way up though planned for after apogee: it meets whatever speed is left.
pub(super) fn early_canopy(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    for body in 0..view.bodies.len() {
        let Some((told, estimate)) = view.flying(body) else { continue };
        let planned_later = |cue: usize| {
            let trigger = view.plan.cues.get(cue).map(|c| c.trigger);
            matches!(trigger, Some(Trigger::AfterApogee(_) | Trigger::HeightBelow(_)))
        };
        for descent in told.descents.iter().filter(|d| d.state.is_device() && planned_later(d.cue)) {
            let name = state_name(descent.state);
            let climbs = estimate.climb_mps.p05 > STILL_CLIMBS_MPS;
            let is_out =
                estimate.phase == Phase::Coasting && estimate.descent == Some(descent.state) && climbs;
            let air = estimate.airspeed_mps.p50;
            verdicts.push(Verdict {
                about: format!("{}:{name}", told.name),
                holds: (estimate.carried_s <= FRESH_S).then_some(is_out),
                settle_s: 0.0,
                level: Level::Act,
                body,
                cue: Some(descent.cue),
                mass_kg: told.mass_kg.value,
                figure: air,
                limit: None,
                unit: "m/s",
                limit_from: format!("told moment of the {name}"),
                words: format!("{}'s {name} is out before apogee, at {} m/s of air.", told.name, spoken(air)),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against a fine-stepped integration of dv/dt = g (1 - (v/vt)^2), another road to the same answer.
    #[test]
    fn fall_under_a_canopy_is_the_integral() {
        for (v0, vt) in [(0.0, 20.0), (12.0, 6.0), (60.0, 6.0), (25.0, 25.0), (1.0, 90.0)] {
            let (mut v, dt) = (v0, 1e-4);
            for step in 0..60_000 {
                if step % 10_000 == 0 {
                    let exact = expected_mps(v0, vt, f64::from(step) * dt);
                    assert!((exact - v).abs() < 0.02 * vt.max(1.0), "{v0} {vt} at {step}: {exact} {v}");
                }
                v += dt * GRAVITY_MPS2 * (1.0 - v * v / (vt * vt));
            }
        }
    }
}
