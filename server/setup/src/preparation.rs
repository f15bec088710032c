//! What is told for the time before a flight alone: parts, stability, limits, electronics, checklist.

use loftwatch_engine::preparation::{
    Above, BY_CREW, Board, Bound, Ceiling, Limits, MOST_STEPS, Part, Preparation, Step,
};
use loftwatch_flight::Told;

use crate::body::Bodies;
use crate::mixup;
use crate::notes::{Guess, Notes, Want, no_guess, want};
use crate::told;
use crate::tree::{At, Field};

/// Standard gravity, m/s2 (exact).
const G0: f64 = 9.806_65;
/// The most motors that light together.
const MOST_TOGETHER: i64 = 50;

const ABOVE: &[(&str, Above)] = &[("ground", Above::Ground), ("sea level", Above::SeaLevel)];

/// Checks it all.
pub(crate) fn mean(
    told: &told::File,
    vehicle: &told::Vehicle,
    motor: &told::Motor,
    bodies: &Bodies<'_>,
    cues: &[At<told::Cue>],
    notes: &mut Notes,
) -> Preparation {
    let empty = crate::read::section(&told.limits, notes);
    let (limits, ceiling) = empty.map_or_else(|| (Limits::default(), None), |told| limits(&told, notes));
    let cluster = match &motor.cluster {
        Field::Absent(place) => notes.default(place, "1", 1),
        field => notes.whole(field, 1, MOST_TOGETHER, "motors").unwrap_or(1),
    };
    Preparation {
        parts: parts(vehicle.parts.list(), notes),
        centres_m: centres(vehicle, notes),
        cluster: u32::try_from(cluster).unwrap_or(1),
        boards: bodies.told.iter().map(|body| board(&body.value, notes)).collect(),
        lags_s: cues.iter().map(|cue| lag(&cue.value, notes)).collect(),
        limits,
        ceiling,
        checklist: checklist(told.checklist.list(), notes),
    }
}

fn parts(told: &[At<told::Part>], notes: &mut Notes) -> Vec<Part> {
    if let Some(extra) = told.get(MOST_STEPS) {
        notes.refuse(&extra.at, format!("at most {MOST_STEPS} parts"), told.len().to_string(), None);
    }
    let names = notes.names(told.iter().map(|part| &part.value.name), "part");
    told.iter()
        .zip(names)
        .map(|(part, name)| {
            let field = &part.value.mass_kg;
            let mass_kg =
                notes.number_required(field, want(0.0001, 1000.0, "kg"), mixup::mass_kg, "as it was weighed");
            Part { name, mass_kg }
        })
        .collect()
}

fn centres(told: &told::Vehicle, notes: &mut Notes) -> Option<[f64; 2]> {
    let range = want(0.0, 30.0, "m behind the tip of the nose");
    let gravity = notes.number(&told.centre_of_gravity_m, range, mixup::length_m);
    let pressure = notes.number(&told.centre_of_pressure_m, range, mixup::length_m);
    if gravity.is_some() != pressure.is_some() {
        let place = if gravity.is_none() {
            told.centre_of_gravity_m.place()
        } else {
            told.centre_of_pressure_m.place()
        };
        let hint = "leave both out if they are not known: then nothing is said about stability".to_owned();
        notes.missing(place, "both centres, of gravity and of pressure", Some(hint));
    }
    Some([gravity?, pressure?])
}

fn board(told: &told::Body, notes: &mut Notes) -> Board {
    Board {
        battery_least_v: notes.number(&told.battery_least_v, want(0.5, 100.0, "V"), |typed| {
            (typed > 100.0).then(|| format!("in millivolts? then {}", typed / 1000.0))
        }),
        gnss_height_m: notes.number(
            &told.gnss_greatest_height_m,
            want(1000.0, 1.0e6, "m above sea level"),
            |typed| {
                (typed > 0.0 && typed < 1000.0).then(|| format!("in kilometres? then {}", typed * 1000.0))
            },
        ),
        gnss_speed_mps: notes.number(&told.gnss_greatest_speed_mps, want(50.0, 20_000.0, "m/s"), no_guess),
        gnss_acceleration_mps2: notes
            .number(&told.gnss_greatest_acceleration_g, want(0.5, 500.0, "g"), no_guess)
            .map(|g| g * G0),
        gnss_dynamics: notes.name(&told.gnss_dynamics),
    }
}

fn lag(told: &told::Cue, notes: &mut Notes) -> Told {
    let seconds: Guess = |typed| (typed > 30.0).then(|| format!("in milliseconds? then {}", typed / 1000.0));
    Told {
        value: notes.number_or(&told.lag_s, want(0.0, 10.0, "s"), seconds, 0.0),
        sd: notes.number_or(&told.lag_spread_s, want(0.001, 5.0, "s"), seconds, 0.05),
    }
}

fn checklist(told: &[At<told::Step>], notes: &mut Notes) -> Vec<Step> {
    if let Some(extra) = told.get(MOST_STEPS) {
        notes.refuse(&extra.at, format!("at most {MOST_STEPS} steps"), told.len().to_string(), None);
    }
    told.iter()
        .take(MOST_STEPS)
        .map(|At { value: told, .. }| {
            if told.step.absent() {
                notes.missing(told.step.place(), "what to do in this step", None);
            }
            Step {
                step: notes.name(&told.step).unwrap_or_default(),
                who: notes.name(&told.who).unwrap_or_default(),
            }
        })
        .collect()
}

fn limits(told: &told::Limits, notes: &mut Notes) -> (Limits, Option<Ceiling>) {
    let mut limits = Limits::default();
    let percent = mixup::percent;
    let turn = core::f64::consts::PI / 180.0;
    {
        // Told unit over the unit inside.
        let mut bound = |field: &Field<f64>, want: Want, guess: Guess, scale: f64, to: &mut Bound| {
            let usual = libm::round(to.value / scale * 1e4) / 1e4;
            if let Some(value) = notes.number(field, want, guess) {
                *to = Bound { value: value * scale, from: BY_CREW.to_owned() };
            } else {
                notes.default(field.place(), format!("{usual} {} ({})", want.unit, to.from), ());
            }
        };
        let l = &mut limits;
        bound(&told.heard_within_s, want(1.0, 600.0, "s"), no_guess, 1.0, &mut l.heard_within_s);
        bound(&told.satellites_least, want(3.0, 60.0, "satellites"), no_guess, 1.0, &mut l.satellites_least);
        bound(&told.dilution_most, want(0.5, 50.0, ""), no_guess, 1.0, &mut l.dilution_most);
        bound(&told.fix_within_m, want(1.0, 10_000.0, "m"), no_guess, 1.0, &mut l.fix_within_m);
        bound(&told.pressure_within_hpa, want(0.2, 50.0, "hPa"), no_guess, 100.0, &mut l.pressure_within_pa);
        bound(
            &told.upright_within_deg,
            want(1.0, 60.0, "degrees"),
            no_guess,
            turn,
            &mut l.upright_within_rad,
        );
        bound(&told.storage_least_percent, want(0.1, 100.0, "%"), percent, 0.01, &mut l.storage_least);
        bound(&told.steady_for_s, want(1.0, 3600.0, "s"), no_guess, 1.0, &mut l.steady_for_s);
        bound(
            &told.thrust_to_weight_least,
            want(1.0, 50.0, ": 1"),
            no_guess,
            1.0,
            &mut l.thrust_to_weight_least,
        );
        bound(&told.rail_exit_least_mps, want(1.0, 200.0, "m/s"), no_guess, 1.0, &mut l.rail_exit_least_mps);
        bound(
            &told.rail_tilt_most_deg,
            want(1.0, 45.0, "degrees"),
            no_guess,
            turn,
            &mut l.rail_tilt_most_rad,
        );
        bound(&told.wind_most_mps, want(0.5, 40.0, "m/s"), mixup::wind_mps, 1.0, &mut l.wind_most_mps);
        bound(&told.attack_most_deg, want(1.0, 60.0, "degrees"), no_guess, turn, &mut l.attack_most_rad);
        bound(&told.stability_least, want(0.1, 20.0, "diameters"), no_guess, 1.0, &mut l.stability_least);
        bound(&told.drogue_most_mps, want(1.0, 200.0, "m/s"), no_guess, 1.0, &mut l.drogue_most_mps);
        bound(&told.landing_most_mps, want(0.5, 50.0, "m/s"), no_guess, 1.0, &mut l.landing_most_mps);
        bound(&told.landing_most_j, want(0.1, 100_000.0, "J"), no_guess, 1.0, &mut l.landing_most_j);
    }
    (limits, ceiling(told, notes))
}

fn ceiling(told: &told::Limits, notes: &mut Notes) -> Option<Ceiling> {
    let height = notes.number(&told.ceiling_m, want(10.0, 150_000.0, "m"), |typed| {
        (typed > 0.0 && typed < 10.0).then(|| format!("in kilometres? then {}", typed * 1000.0))
    });
    let above = notes.choice(&told.ceiling_above, ABOVE);
    let window = notes.name(&told.ceiling_window).unwrap_or_default();
    let authority = notes.name(&told.ceiling_authority).unwrap_or_default();
    let beside = [&told.ceiling_above, &told.ceiling_window, &told.ceiling_authority];
    let Some(height_m) = height else {
        if beside.into_iter().any(|field| matches!(field, Field::Is(_))) {
            notes.missing(told.ceiling_m.place(), "the ceiling's height, as more is told about it", None);
        }
        notes.default(told.ceiling_m.place(), "none told", ());
        return None;
    };
    if told.ceiling_above.absent() {
        let hint = "a height above the ground at the pad (AGL) or above mean sea level (AMSL)?".to_owned();
        notes.missing(told.ceiling_above.place(), "\"ground\" or \"sea level\"", Some(hint));
    }
    Some(Ceiling { height_m, above: above.unwrap_or(Above::Ground), window, authority })
}
