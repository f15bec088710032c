//! The prediction audit: what was predicted of apogee and when, against what it was; and what the flight taught about drag,
//! mass and impulse.
//!
//! A coast shows rho0 Cd A / (2 m), never the drag coefficient or the mass alone; a burn shows impulse over mass. What they come
//! to is said with the other one as it was told.

use loftwatch_flight::atmosphere::Air;
use loftwatch_flight::{EventKind, Prediction, gravity};
use serde::Serialize;
use ts_rs::TS;

use super::path::Of;
use super::{Evidence, Figure, tidy};
use crate::flight::Flight;

/// Predictions that the fan keeps.
const FAN: usize = 240;

/// Apogee as it was.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "AuditApogee")]
pub struct Apogee {
    /// s since liftoff.
    pub t_s: f64,
    /// Height above the pad, m.
    pub height_m: Figure,
    /// Speed through the air there, m/s.
    pub airspeed_mps: Option<Figure>,
    /// Speed over the ground there, m/s.
    pub ground_speed_mps: Option<Figure>,
}

/// What was predicted over time: columns of equal length. Times are s since liftoff, heights m above the pad.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
#[ts(rename = "PredictionFan")]
pub struct Fan {
    /// When it was predicted.
    pub t_s: Vec<f64>,
    /// Median.
    pub p50: Vec<f64>,
    /// 5 %.
    pub p05: Vec<f64>,
    /// 25 %.
    pub p25: Vec<f64>,
    /// 75 %.
    pub p75: Vec<f64>,
    /// 95 %.
    pub p95: Vec<f64>,
    /// The drag-free sum, done by hand.
    pub hand: Vec<f64>,
}

/// One prediction against what came.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "CheckedPrediction")]
pub struct Checked {
    /// Which: `at burnout`, `half of the coast`, `1 s before apogee`.
    pub instant: String,
    /// When, s since liftoff.
    pub t_s: f64,
    /// Predicted height, m.
    pub height_m: Figure,
    /// Predicted minus true height, m.
    pub error_m: f64,
    /// The same of the drag-free sum, m.
    pub hand_error_m: f64,
    /// Predicted minus true time, s.
    pub time_error_s: f64,
    /// Predicted minus true airspeed at apogee, m/s.
    pub airspeed_error_mps: Option<f64>,
    /// Whether the true height lies in the 90 % interval.
    pub held_90: bool,
    /// In the 50 % interval.
    pub held_50: bool,
}

/// What the coast taught about drag.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "LearnedDrag")]
pub struct Drag {
    /// Told rho0 Cd A / (2 m), 1/m.
    pub told_k_per_m: f64,
    /// Learned, 1/m.
    pub learned_k_per_m: Figure,
    /// Told drag coefficient.
    pub told_cd: f64,
    /// The one to tell next time, with mass and diameter as told.
    pub cd: Figure,
    /// What has to be said of it.
    pub words: String,
}

/// What the burn taught about impulse over mass.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "LearnedImpulse")]
pub struct Impulse {
    /// Speed that thrust gave, m/s, as told: impulse over the falling mass.
    pub told_mps: f64,
    /// As flown.
    pub flown_mps: f64,
    /// Total impulse that it comes to with the mass as told, N s.
    pub impulse_ns: f64,
    /// Liftoff mass that it comes to with the impulse as told, kg.
    pub mass_kg: f64,
    /// That the two cannot be told apart, in words.
    pub words: String,
}

/// The audit.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct PredictionAudit {
    /// What it is held against.
    pub apogee: Apogee,
    /// Predictions over time.
    pub fan: Fan,
    /// At three instants.
    pub checked: Vec<Checked>,
    /// Share of the time from burnout to apogee in which the true height lay in the 90 % interval; it should be 0.9 over
    /// many flights, and says little about one.
    pub held_90: Option<f64>,
    /// In the 50 % interval.
    pub held_50: Option<f64>,
    /// `null` where the coast was not seen.
    pub drag: Option<Drag>,
    /// `null` where the burn was not seen.
    pub impulse: Option<Impulse>,
    /// Why one of them is missing.
    pub remarks: Vec<String>,
}

/// The air over the pad as it was told.
pub(super) fn air(flight: &Flight) -> Air {
    let plan = &flight.setup.plan;
    Air::over(
        plan.site.elevation_m,
        plan.weather.pressure_pa,
        plan.weather.temperature_k,
        gravity::at_height(plan.site.latitude_rad, plan.site.elevation_m),
    )
}

/// The highest point of the vehicle's path, by a parabola through the three states about it.
pub(super) fn apogee(evidence: &Evidence<'_>) -> Option<Apogee> {
    let rows = evidence.track.rows(0);
    let height = |index: usize| rows[index].figures[1];
    let liftoff_s = evidence.flight.liftoff_s()?;
    let flown: Vec<usize> =
        (0..rows.len()).filter(|index| rows[*index].t_s >= liftoff_s && height(*index).is_finite()).collect();
    let top = *flown.iter().max_by(|a, b| height(**a).total_cmp(&height(**b)))?;
    // A path that ends on its way up has no apogee.
    if rows.get(top + 1).is_none_or(|row| !(row.figures[1] < height(top))) || top == 0 {
        return None;
    }
    let [t0, t1, t2] = [top - 1, top, top + 1].map(|index| rows[index].t_s);
    let [h0, h1, h2] = [top - 1, top, top + 1].map(height);
    let (d01, d12) = ((h1 - h0) / (t1 - t0), (h2 - h1) / (t2 - t1));
    let bend = (d12 - d01) / (t2 - t0);
    let t_s = if bend < 0.0 { f64::midpoint(t0, t1) - d01 / (2.0 * bend) } else { t1 };
    let t_s = t_s.clamp(t0, t2);
    let value = h0 + d01 * (t_s - t0) + bend * (t_s - t0) * (t_s - t1);
    let row = &rows[top];
    let about = |of: Of| {
        let [value, low, high] = evidence.track.at(&[0], of, t_s)?;
        Figure::new(value, low, high)
    };
    Some(Apogee {
        t_s: tidy(t_s - liftoff_s),
        height_m: Figure::new(value, value - (h1 - row.figures[2]), value + (row.figures[5] - h1))?,
        airspeed_mps: about(Of::Airspeed),
        ground_speed_mps: about(Of::GroundSpeed),
    })
}

pub(super) fn audit(evidence: &Evidence<'_>, apogee: Apogee) -> PredictionAudit {
    let liftoff_s = evidence.liftoff_s();
    let apogee_s = liftoff_s + apogee.t_s;
    let burnout_s = evidence
        .events
        .iter()
        .filter(|event| event.body == 0 && EventKind::BURNOUTS.contains(&event.kind))
        .map(|event| event.t_s)
        .fold(None, |last: Option<f64>, t_s| Some(last.map_or(t_s, |last| last.max(t_s))));
    let before: Vec<&Prediction> =
        evidence.predictions.iter().filter(|p| p.t_s >= liftoff_s && p.t_s <= apogee_s).collect();
    let mut remarks = Vec::new();
    let mut checked = Vec::new();
    let mut check = |instant: &str, t_s: f64| {
        if let Some(p) = before.iter().rev().find(|p| p.t_s <= t_s).filter(|p| t_s - p.t_s < 2.0) {
            checked.extend(check(instant, p, &apogee, liftoff_s));
        }
    };
    if let Some(burnout_s) = burnout_s.filter(|t_s| *t_s < apogee_s) {
        // The detection itself comes a moment later than what it dates.
        check("0.5 s after burnout", burnout_s + 0.5);
        check("half of the coast", f64::midpoint(burnout_s, apogee_s));
    } else {
        remarks.push("No burnout is known, so the coast has no beginning.".to_owned());
    }
    check("1 s before apogee", apogee_s - 1.0);
    let from_s = burnout_s.unwrap_or(liftoff_s);
    let held = |low: fn(&Prediction) -> f64, high: fn(&Prediction) -> f64| {
        let coast: Vec<&&Prediction> = before.iter().filter(|p| p.t_s >= from_s).collect();
        let (mut inside_s, mut all_s) = (0.0, 0.0);
        for pair in coast.windows(2) {
            let dt_s = (pair[1].t_s - pair[0].t_s).min(1.0);
            all_s += dt_s;
            if (low(pair[0])..=high(pair[0])).contains(&apogee.height_m.value) {
                inside_s += dt_s;
            }
        }
        (all_s > 0.0).then(|| tidy(inside_s / all_s))
    };
    let drag = drag(evidence, burnout_s, apogee_s);
    if drag.is_none() {
        remarks.push("The drag cannot be told: the coast was not seen well enough.".to_owned());
    }
    let impulse = match impulse(evidence) {
        Ok(impulse) => Some(impulse),
        Err(why) => {
            remarks.push(why.to_owned());
            None
        }
    };
    PredictionAudit {
        apogee,
        fan: fan(&before, liftoff_s),
        checked,
        held_90: held(|p| p.apogee_height_m.p05, |p| p.apogee_height_m.p95),
        held_50: held(|p| p.apogee_height_m.p25, |p| p.apogee_height_m.p75),
        drag,
        impulse,
        remarks,
    }
}

fn check(instant: &str, p: &Prediction, apogee: &Apogee, liftoff_s: f64) -> Option<Checked> {
    let (q, truth) = (&p.apogee_height_m, apogee.height_m.value);
    Some(Checked {
        instant: instant.to_owned(),
        t_s: tidy(p.t_s - liftoff_s),
        height_m: Figure::of(q)?,
        error_m: tidy(q.p50 - truth),
        hand_error_m: tidy(p.hand_height_m - truth),
        time_error_s: tidy(p.apogee_t_s.p50 - liftoff_s - apogee.t_s),
        airspeed_error_mps: apogee.airspeed_mps.map(|truth| tidy(p.airspeed_at_apogee_mps.p50 - truth.value)),
        held_90: (q.p05..=q.p95).contains(&truth),
        held_50: (q.p25..=q.p75).contains(&truth),
    })
}

fn fan(before: &[&Prediction], liftoff_s: f64) -> Fan {
    let every = before.len().div_ceil(FAN).max(1);
    let mut fan = Fan::default();
    for p in before.iter().step_by(every) {
        let q = &p.apogee_height_m;
        fan.t_s.push(tidy(p.t_s - liftoff_s));
        for (column, value) in [
            (&mut fan.p50, q.p50),
            (&mut fan.p05, q.p05),
            (&mut fan.p25, q.p25),
            (&mut fan.p75, q.p75),
            (&mut fan.p95, q.p95),
            (&mut fan.hand, p.hand_height_m),
        ] {
            column.push(tidy(value));
        }
    }
    fan
}

/// Mass of the vehicle when its last motor has burned out, kg, as told.
fn coast_mass_kg(evidence: &Evidence<'_>) -> f64 {
    let plan = &evidence.flight.setup.plan;
    plan.motors.iter().fold(plan.vehicle.liftoff_mass_kg.value, |kg, motor| {
        kg - motor.propellant_mass_kg - motor.dropped_mass_kg
    })
}

fn drag(evidence: &Evidence<'_>, burnout_s: Option<f64>, apogee_s: f64) -> Option<Drag> {
    let plan = &evidence.flight.setup.plan;
    let later = plan.motors.len() > 1;
    let last = plan.motors.last();
    let (cd, diameter_m) = match last {
        Some(motor) if later => (motor.drag_coefficient.value, motor.diameter_m),
        _ => (plan.vehicle.drag_coefficient.value, plan.vehicle.diameter_m),
    };
    // Where most is known: shortly before apogee, and before anything is let go.
    let from_s = burnout_s?;
    let freed_s = evidence
        .events
        .iter()
        .filter(|event| matches!(event.kind, EventKind::Freed | EventKind::FirstChute | EventKind::MainChute))
        .map(|event| event.t_s)
        .fold(f64::INFINITY, f64::min);
    let t_s = (apogee_s.min(freed_s) - 0.1).max(from_s);
    let learned = evidence.track.at(&[0], Of::Drag, t_s)?;
    let learned = Figure::new(learned[0], learned[1], learned[2])?;
    let area_m2 = std::f64::consts::PI / 4.0 * diameter_m * diameter_m;
    let kg = coast_mass_kg(evidence);
    let rho0 = air(evidence.flight).pad_density();
    let cd_of = |k: f64| 2.0 * kg * k / (rho0 * area_m2);
    let spread = 100.0 * (learned.high - learned.low) / 2.0 / learned.value;
    let words = if spread > 20.0 {
        format!("The coast tells the drag to {spread:.0} % only: heavy and slow vehicles show little of it.")
    } else {
        format!(
            "With {kg:.2} kg after burnout and {diameter_m} m as told; a mass that is 1 % more makes it 1 % more."
        )
    };
    Some(Drag {
        told_k_per_m: tidy(rho0 * cd * area_m2 / (2.0 * kg)),
        learned_k_per_m: learned,
        told_cd: cd,
        cd: Figure::new(cd_of(learned.value), cd_of(learned.low), cd_of(learned.high))?,
        words,
    })
}

/// The speed that thrust gave, from the path: what it has at burnout, what drag took and what gravity took; against the
/// rocket equation with impulse and mass as told.
fn impulse(evidence: &Evidence<'_>) -> Result<Impulse, &'static str> {
    let plan = &evidence.flight.setup.plan;
    let [motor] = &plan.motors[..] else {
        return Err(
            "With several motors impulse and mass are not told: what one burn leaves is what the next begins with.",
        );
    };
    let unseen = "Impulse over mass cannot be told: the burn was not seen well enough.";
    let liftoff_s = evidence.flight.liftoff_s().ok_or(unseen)?;
    let burnout_s = evidence.event(0, EventKind::Burnout).ok_or(unseen)?.t_s;
    let track = evidence.track;
    let k = track.at(&[0], Of::Drag, burnout_s + 0.2).ok_or(unseen)?[0];
    let (m0, mp, burn_s) =
        (plan.vehicle.liftoff_mass_kg.value, motor.propellant_mass_kg, burnout_s - liftoff_s);
    if !(mp > 0.0 && mp < m0 && burn_s > 0.0) {
        return Err(unseen);
    }
    let air = air(evidence.flight);
    let latitude_rad = plan.site.latitude_rad;
    let g = gravity::at_height(latitude_rad, plan.site.elevation_m);
    let after_kg = m0 - mp;
    let (mut lost_mps, steps) = (0.0, 200);
    for step in 0..steps {
        let share = (f64::from(step) + 0.5) / f64::from(steps);
        let t_s = liftoff_s + share * burn_s;
        let read = |of: Of| track.at(&[0], of, t_s).map(|value| value[0]);
        let (height, climb, speed) = (
            read(Of::Height).ok_or(unseen)?,
            read(Of::Climb).ok_or(unseen)?,
            read(Of::Airspeed).ok_or(unseen)?,
        );
        let kg = m0 - share * mp;
        let drag = k * air.density_ratio(height).0 * speed * speed * after_kg / kg;
        // On the rail and just off it the climb is all the speed over the ground there is.
        let upright = if speed > 5.0 { (climb / speed).clamp(0.0, 1.0) } else { 1.0 };
        lost_mps += (drag + g * upright) * burn_s / f64::from(steps);
    }
    let gained = |t_s: f64| {
        let climb = track.at(&[0], Of::Climb, t_s)?[0];
        let ground = track.at(&[0], Of::GroundSpeed, t_s)?[0];
        Some(libm::hypot(climb, 0.0).max(ground))
    };
    let flown_mps = gained(burnout_s).ok_or(unseen)? + lost_mps;
    let told_mps = motor.impulse_ns.value / mp * libm::log(m0 / after_kg);
    // Mass with the impulse as told: the rocket equation solved for the mass at liftoff.
    let ratio = libm::exp(flown_mps * mp / motor.impulse_ns.value);
    let mass_kg = mp * ratio / (ratio - 1.0);
    let impulse_ns = motor.impulse_ns.value * flown_mps / told_mps;
    Ok(Impulse {
        told_mps: tidy(told_mps),
        flown_mps: tidy(flown_mps),
        impulse_ns: tidy(impulse_ns),
        mass_kg: tidy(mass_kg),
        words: format!(
            "Impulse and mass cannot be told apart by the path: thrust gave {:.1} % {} speed than what was told comes to. Either the impulse was \
             {impulse_ns:.0} N s with the mass as told, or the mass {mass_kg:.2} kg with the impulse as told, or some of both.",
            100.0 * (flown_mps / told_mps - 1.0).abs(),
            if flown_mps < told_mps { "less" } else { "more" }
        ),
    })
}
