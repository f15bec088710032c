//! The bodies that the vehicle comes apart into, and how each comes down.

use loftwatch_flight::{Body, Descent, DescentState, MAX_BODIES, Motor, Told, Vehicle};

use crate::cue::Cues;
use crate::mixup;
use crate::notes::{Notes, want};
use crate::told;
use crate::tree::{At, Field, Place};
use crate::vehicle::spread;

/// Spread of a told drag area of a bare body, percent; common practice, no source.
const BARE_SPREAD_PERCENT: f64 = 30.0;
/// Spread of one that was worked out, percent.
const DEFAULT_BARE_SPREAD_PERCENT: f64 = 50.0;

const STATES: &[(&str, DescentState)] = &[
    ("drogue", DescentState::Drogue),
    ("main", DescentState::Main),
    ("streamer", DescentState::Streamer),
    ("tumbling", DescentState::Tumbling),
    ("bare", DescentState::Bare),
    ("ballistic", DescentState::Ballistic),
];

/// The told bodies, the vehicle first, with their names.
pub(crate) struct Bodies<'a> {
    pub(crate) told: Vec<&'a At<told::Body>>,
    pub(crate) names: Vec<String>,
}

/// Names the bodies and puts the vehicle first.
pub(crate) fn gather<'a>(
    told: &'a [At<told::Body>],
    vehicle_name: &str,
    at: &Place,
    notes: &mut Notes,
) -> Bodies<'a> {
    if let Some(extra) = told.get(MAX_BODIES) {
        notes.refuse(&extra.at, format!("at most {MAX_BODIES} bodies"), told.len().to_string(), None);
    }
    if told.is_empty() {
        let name = notes.default(at, format!("{vehicle_name}, with a transmitter"), vehicle_name);
        return Bodies { told: Vec::new(), names: vec![name.to_owned()] };
    }
    let mut told: Vec<&At<told::Body>> = told.iter().take(MAX_BODIES).collect();
    if let Some(first) = told.iter().position(|body| body.value.parent.absent()) {
        let vehicle = told.remove(first);
        told.insert(0, vehicle);
    } else {
        let place = told[0].value.parent.place();
        notes.refuse(place, "one body without `parent`: the vehicle itself", "a parent for every body", None);
    }
    let names = notes.names(told.iter().map(|body| &body.value.name), "body");
    Bodies { told, names }
}

/// What is known before the bodies are.
pub(crate) struct Flown<'a> {
    pub(crate) vehicle: &'a Vehicle,
    pub(crate) motors: &'a [Motor],
    pub(crate) density_kg_m3: f64,
    pub(crate) gravity_mps2: f64,
}

/// Checks the bodies; gives them with their transmitters' numbers.
pub(crate) fn mean(
    bodies: &Bodies<'_>,
    cues: &Cues<'_>,
    flown: &Flown<'_>,
    notes: &mut Notes,
) -> (Vec<Body>, Vec<Option<i64>>) {
    let percent = 100.0 * flown.vehicle.liftoff_mass_kg.sd / flown.vehicle.liftoff_mass_kg.value;
    let propellant_kg: f64 = flown.motors.iter().map(|m| m.propellant_mass_kg).sum();
    let burnout_kg = flown.vehicle.liftoff_mass_kg.value - propellant_kg;
    let diameter_m = flown.motors.last().map_or(f64::NAN, |m| m.diameter_m);
    let drag = flown.motors.last().map_or(f64::NAN, |m| m.drag_coefficient.value);
    let vehicle_area_m2 = drag * std::f64::consts::FRAC_PI_4 * diameter_m * diameter_m;
    let dropped_kg: f64 = flown.motors.iter().map(|m| m.dropped_mass_kg).sum();
    if bodies.told.is_empty() {
        let body = Body {
            name: bodies.names[0].clone(),
            parent: None,
            freed_by: None,
            has_transmitter: true,
            mass_kg: spread(burnout_kg - dropped_kg, percent),
            bare_drag_area_m2: spread(vehicle_area_m2, DEFAULT_BARE_SPREAD_PERCENT),
            descents: Vec::new(),
        };
        return (vec![body], vec![None]);
    }

    let parents = parents(bodies, notes);
    let masses = masses(bodies, cues, burnout_kg, dropped_kg, notes);
    let transmitters = transmitters(bodies, notes);
    let mut meant = Vec::new();
    for (index, told) in bodies.told.iter().map(|body| &body.value).enumerate() {
        let freed_by = notes.reference(&told.freed_by, &cues.names, "cue");
        if let (Some(cue), Field::Is(at)) = (freed_by, &told.freed_by) {
            if index == 0 {
                notes.refuse(
                    &at.at,
                    "nothing: the vehicle itself is freed by nothing",
                    format!("\"{}\"", cues.names[cue]),
                    None,
                );
            } else if cues.is_chute(cue) {
                let hint =
                    "a chute cue opens a parachute; the cue that lets go is a release, separation or staging";
                notes.refuse(&at.at, "a release, separation or staging", "a chute", Some(hint.to_owned()));
            }
        }
        if index > 0 && told.freed_by.absent() {
            notes.default(told.freed_by.place(), "no cue: free when it says so or moves by itself", ());
        }
        let mass_kg = masses[index];
        let bare = notes.number(&told.drag_area_m2, want(1e-5, 5.0, "m2"), |typed| {
            (typed > 5.0).then(|| format!("in square centimetres? then {}", typed / 10_000.0))
        });
        let bare = bare.map_or_else(
            || {
                // The same shape scaled by mass: area goes with its power of two thirds.
                let share = if index == 0 { 1.0 } else { libm::pow(mass_kg / burnout_kg, 2.0 / 3.0) };
                let area = vehicle_area_m2 * share;
                let words = if index == 0 {
                    "the vehicle's drag coefficient times its area"
                } else {
                    "the vehicle's, scaled by mass"
                };
                notes.default(
                    told.drag_area_m2.place(),
                    format!("{area:.4} m2, {words}"),
                    spread(area, DEFAULT_BARE_SPREAD_PERCENT),
                )
            },
            |area| spread(area, BARE_SPREAD_PERCENT),
        );
        meant.push(Body {
            name: bodies.names[index].clone(),
            parent: parents[index],
            freed_by: freed_by.filter(|_| index > 0),
            has_transmitter: transmitters[index].is_some() || (index == 0 && no_numbers(bodies)),
            mass_kg: spread(mass_kg, percent),
            bare_drag_area_m2: bare,
            descents: descents(told.descents.list(), mass_kg, bare, cues, flown, notes),
        });
    }
    (meant, transmitters)
}

/// With no number told anywhere, the vehicle has the one radio.
fn no_numbers(bodies: &Bodies<'_>) -> bool {
    bodies.told.iter().all(|body| body.value.transmitter.absent())
}

/// Who hangs on whom, without circles.
fn parents(bodies: &Bodies<'_>, notes: &mut Notes) -> Vec<Option<usize>> {
    let mut parents: Vec<Option<usize>> = vec![None];
    for (index, told) in bodies.told.iter().enumerate() {
        let told = &told.value;
        let mut parent = notes.reference(&told.parent, &bodies.names, "body");
        if parent == Some(index) {
            notes.refuse(told.parent.place(), "another body", "the body itself", None);
            parent = None;
        }
        if index == 0 {
            continue;
        }
        if told.parent.absent() {
            parent = notes.default(told.parent.place(), format!("{}, the vehicle", bodies.names[0]), Some(0));
        }
        parents.push(parent);
    }
    for (index, told) in bodies.told.iter().enumerate() {
        let mut at = index;
        for _ in 0..bodies.told.len() {
            match parents[at] {
                Some(up) if up == index => {
                    let expected = "parents that lead to the vehicle";
                    notes.refuse(told.value.parent.place(), expected, "a circle of parents", None);
                    break;
                }
                Some(up) => at = up,
                None => break,
            }
        }
    }
    parents
}

/// Masses on their own, kg. What is not told is what is left, in even shares.
fn masses(
    bodies: &Bodies<'_>,
    cues: &Cues<'_>,
    burnout_kg: f64,
    dropped_kg: f64,
    notes: &mut Notes,
) -> Vec<f64> {
    let told: Vec<Option<f64>> = bodies
        .told
        .iter()
        .map(|body| notes.number(&body.value.mass_kg, want(0.005, 1000.0, "kg"), mixup::mass_kg))
        .collect();
    let sum_told: f64 = told.iter().flatten().sum();
    let open = told.iter().filter(|m| m.is_none()).count();
    // A stage that falls away and is a body of its own is not counted twice.
    let staged: f64 = bodies
        .told
        .iter()
        .zip(&told)
        .filter(|(body, _)| body.value.freed_by.get().is_some_and(|at| cues.drops_a_stage(&at.value)))
        .map(|(_, mass)| mass.unwrap_or(0.0))
        .sum();
    let gone_kg = (dropped_kg - staged).max(0.0);
    let left_kg = burnout_kg - gone_kg - sum_told;
    if (open > 0 && left_kg <= 0.0) || sum_told > 1.1 * burnout_kg {
        let (place, what) = bodies
            .told
            .iter()
            .zip(&told)
            .find(|(_, mass)| mass.is_none())
            .map_or((bodies.told[0].value.mass_kg.place(), "at most"), |(body, _)| {
                (body.value.mass_kg.place(), "less than")
            });
        let and_less =
            if gone_kg > 0.0 { format!(" less {gone_kg:.3} kg of dropped stages") } else { String::new() };
        notes.refuse(
            place,
            format!(
                "bodies of {what} {:.3} kg together, the vehicle after burnout{and_less}",
                burnout_kg - gone_kg
            ),
            format!("{sum_told:.3} kg told"),
            Some("the vehicle's own body is what is left of it once the others are free".to_owned()),
        );
    }
    bodies
        .told
        .iter()
        .zip(told)
        .map(|(body, mass)| {
            mass.unwrap_or_else(|| {
                let share = left_kg / open as f64;
                notes.default(
                    body.value.mass_kg.place(),
                    format!("{share:.3} kg: the burnout mass less the bodies told"),
                    share,
                )
            })
        })
        .collect()
}

/// Numbers of transmitters, no two the same.
fn transmitters(bodies: &Bodies<'_>, notes: &mut Notes) -> Vec<Option<i64>> {
    let mut numbers: Vec<Option<i64>> = Vec::new();
    for told in bodies.told.iter().map(|body| &body.value) {
        let number = notes.whole(&told.transmitter, 0, i64::from(u32::MAX), "");
        if number.is_some() && numbers.contains(&number) {
            let found = format!("{} again", number.unwrap_or_default());
            notes.refuse(told.transmitter.place(), "a number that no other body has", found, None);
        }
        numbers.push(number);
    }
    if no_numbers(bodies) {
        notes.default(
            bodies.told[0].value.transmitter.place(),
            "any number: the one radio is the vehicle's",
            (),
        );
    }
    numbers
}

fn descents(
    told: &[At<told::Descent>],
    mass_kg: f64,
    bare: Told,
    cues: &Cues<'_>,
    flown: &Flown<'_>,
    notes: &mut Notes,
) -> Vec<Descent> {
    let mut meant: Vec<Descent> = Vec::new();
    if let Some(extra) = told.get(8) {
        notes.refuse(&extra.at, "at most 8 descent states for one body", told.len().to_string(), None);
    }
    for At { value: told, at } in told.iter().take(8) {
        let state = notes.choice_required(&told.state, STATES);
        let cue = notes.reference(&told.cue, &cues.names, "cue");
        if told.cue.absent() {
            notes.missing(told.cue.place(), "the name of the cue that starts it", None);
        }
        let area = notes.number(&told.drag_area_m2, want(1e-4, 500.0, "m2"), |typed| {
            (typed <= 0.0).then(|| "a parachute without area brakes nothing".to_owned())
        });
        let rate = notes.number(&told.rate_mps, want(0.5, 200.0, "m/s"), |typed| {
            (typed < 0.0).then(|| format!("the rate of descent is told as a positive figure: {}", -typed))
        });
        if area.is_some() && rate.is_some() {
            notes.refuse(told.rate_mps.place(), "either `drag_area_m2` or `rate_mps`", "both", None);
        }
        let percent = notes.number_or(&told.spread_percent, want(0.5, 100.0, "%"), mixup::percent, 15.0);
        // Terminal velocity: m g = 1/2 rho v^2 Cd A.
        let of_rate = rate.map(|v| 2.0 * mass_kg * flown.gravity_mps2 / (flown.density_kg_m3 * v * v));
        let braked = !matches!(state, Some(DescentState::Bare | DescentState::Ballistic));
        let drag_area = match area.or(of_rate) {
            Some(area) => spread(area, percent),
            None if braked => {
                let hint =
                    Some("drag coefficient times area, or how fast it comes down near the ground".to_owned());
                notes.missing(told.drag_area_m2.place(), "`drag_area_m2` or `rate_mps`", hint);
                spread(f64::NAN, percent)
            }
            None => {
                notes.default(told.drag_area_m2.place(), format!("{:.4} m2, as the body", bare.value), bare)
            }
        };
        let before = meant.last();
        if let (Some(DescentState::Main), Some(drogue)) =
            (state, before.filter(|d| d.state == DescentState::Drogue))
            && drag_area.value <= drogue.drag_area_m2.value
        {
            let expected = format!("a main larger than the drogue's {:.3} m2", drogue.drag_area_m2.value);
            let hint = Some("are drogue and main swapped?".to_owned());
            notes.refuse(at, expected, format!("{:.3} m2", drag_area.value), hint);
        }
        meant.push(Descent {
            state: state.unwrap_or(DescentState::Bare),
            cue: cue.unwrap_or_default(),
            drag_area_m2: drag_area,
        });
    }
    meant
}
