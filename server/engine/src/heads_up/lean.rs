//! Leaning beyond what was planned, between rail exit and two seconds before apogee.
//!
//! The plan gives the path angle at burnout: the rail's tilt and twice its told spread. After that a horizontal
//! speed stays while the climb is used up, so the angle grows on every flight: the limit is the angle that the
//! planned horizontal speed, and the wind at its 95 % end, make with the climb that there is now. Drag on that
//! horizontal speed is left out, which makes the limit a little late rather than early.

use loftwatch_flight::{Phase, Plan};

use super::view::{View, spoken};
use super::{Level, Verdict};

/// Seconds before apogee from which on airspeed alone is spoken of.
const BEFORE_APOGEE_S: f64 = 2.0;
/// Spreads of the told lean that still count as planned.
const SPREADS: f64 = 2.0;
/// Airspeed below which a path angle through the air means little in any breeze, m/s.
const LEAST_AIRSPEED_MPS: f64 = 15.0;

pub(super) fn judge(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    let Some((body, estimate)) = view.flying(0) else { return };
    let Some(lean) = estimate.lean_rad else { return };
    let late = view.bodies[0].prediction.is_some_and(|p| view.t_s > p.apogee_t_s.p50 - BEFORE_APOGEE_S)
        || view.happened.apogee_s.is_some();
    let on_rail =
        view.happened.rail_exit_s.is_none() && estimate.height_m.p25 < 2.0 * view.plan.vehicle.rail_length_m;
    if late || on_rail || !matches!(estimate.phase, Phase::Powered | Phase::Coasting) {
        return;
    }
    if estimate.airspeed_mps.p50 < LEAST_AIRSPEED_MPS {
        return;
    }
    let reference_mps = match estimate.phase {
        Phase::Powered => estimate.airspeed_mps.p50,
        _ => view.happened.burnout_mps.unwrap_or(estimate.airspeed_mps.p50),
    };
    let limit = planned(view.plan, reference_mps, estimate.climb_mps.p50);
    let holds = if lean.p25 > limit {
        Some(true)
    } else if lean.p50 < 0.9 * limit {
        Some(false)
    } else {
        None
    };
    let vehicle = &view.plan.vehicle;
    verdicts.push(Verdict {
        about: body.name.clone(),
        holds,
        settle_s: 0.0,
        level: if lean.p50 > 2.0 * limit { Level::Act } else { Level::Look },
        body: 0,
        cue: None,
        mass_kg: body.mass_kg.value,
        figure: lean.p50,
        limit: Some(limit),
        unit: "rad",
        limit_from: format!(
            "rail {}° from vertical, twice the told spread of {}°, wind {} m/s",
            spoken(vehicle.rail_tilt_rad.to_degrees()),
            spoken(vehicle.lean_sd_rad.to_degrees()),
            spoken(view.plan.weather.wind_mps.value),
        ),
        words: format!(
            "Leaning {:.0}°. Planned is up to {:.0}° here.",
            lean.p50.to_degrees(),
            limit.to_degrees()
        ),
    });
}

/// The greatest planned path angle through the air at this climb, rad.
fn planned(plan: &Plan, reference_mps: f64, climb_mps: f64) -> f64 {
    let vehicle = &plan.vehicle;
    let angle = (vehicle.rail_tilt_rad + SPREADS * vehicle.lean_sd_rad).clamp(0.0, 1.5);
    let wind = plan.weather.wind_mps;
    let wind_mps = wind.value + 1.645 * wind.sd;
    // While the vehicle is still gaining speed the angle itself is what was told.
    let across_mps = reference_mps * libm::sin(angle);
    let up_mps = climb_mps.max(1.0).min(reference_mps.max(1.0) * libm::cos(angle));
    libm::atan2(across_mps + wind_mps, up_mps)
}
