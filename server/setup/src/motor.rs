//! The motors, in order of burning.

use loftwatch_flight::{Motor, Told, Vehicle};

use crate::curve;
use crate::mistake::clean;
use crate::mixup;
use crate::notes::{Notes, no_guess, want};
use crate::standard::gravity_mps2;
use crate::told;
use crate::tree::{At, Field};
use crate::vehicle::spread;

/// Specific impulse taken where the propellant mass is not told, s: between the usual composite propellants
/// (about 190 to 220) and less; common practice, no source.
const DEFAULT_SPECIFIC_IMPULSE_S: f64 = 200.0;
/// Thrust to weight taken where the burn time is not told; common practice, no source.
const DEFAULT_THRUST_TO_WEIGHT: f64 = 7.0;
/// Spread of the logarithm of a burn time that is made of that (common practice, no source).
const DEFAULT_BURN_LN_SD: f64 = 0.4;
/// The range that specific impulses of amateur motors have, s: black powder about 80, liquids below 300.
const SPECIFIC_IMPULSE_S: std::ops::RangeInclusive<f64> = 50.0..=300.0;
/// The most later stages.
const MOST_UPPER: usize = 5;

/// What a motor of any stage has.
struct Common<'a> {
    impulse: &'a Field<f64>,
    impulse_spread: &'a Field<f64>,
    burn: &'a Field<f64>,
    propellant: &'a Field<f64>,
    curve: &'a Field<String>,
    points: &'a Field<Vec<At<[f64; 2]>>>,
}

/// Reads a file that the setup names.
pub(crate) type Load<'a> = &'a mut dyn FnMut(&str) -> Result<String, String>;

/// Checks the motors.
pub(crate) fn mean(
    first: &told::Motor,
    upper: &[At<told::UpperMotor>],
    vehicle: &Vehicle,
    notes: &mut Notes,
    load: Load<'_>,
) -> Vec<Motor> {
    if let Some(extra) = upper.get(MOST_UPPER) {
        notes.refuse(&extra.at, format!("at most {MOST_UPPER} later stages"), upper.len().to_string(), None);
    }
    let mut mass_kg = vehicle.liftoff_mass_kg.value;
    let common = Common {
        impulse: &first.total_impulse_ns,
        impulse_spread: &first.impulse_spread_percent,
        burn: &first.burn_time_s,
        propellant: &first.propellant_mass_kg,
        curve: &first.thrust_curve,
        points: &first.thrust_points,
    };
    let mut motors = vec![one(&common, mass_kg, vehicle.drag_coefficient, vehicle.diameter_m, notes, load)];
    for At { value: told, .. } in upper {
        let (before_propellant, before_drag, before_diameter) =
            motors.last().map_or((f64::NAN, vehicle.drag_coefficient, f64::NAN), |m| {
                (m.propellant_mass_kg, m.drag_coefficient, m.diameter_m)
            });
        mass_kg -= before_propellant;
        let dropped = notes.number_or(&told.dropped_mass_kg, want(0.0, 1000.0, "kg"), no_guess, 0.0);
        if dropped >= mass_kg {
            let expected = format!("less than the {mass_kg:.3} kg that are left after the burnout before");
            notes.refuse(
                told.dropped_mass_kg.place(),
                expected,
                format!("{dropped} kg"),
                mixup::mass_kg(dropped),
            );
        }
        mass_kg = if dropped < mass_kg { mass_kg - dropped } else { f64::NAN };
        let drag = notes.number(&told.drag_coefficient, want(0.05, 3.0, ""), no_guess);
        let drag_percent = notes.number(&told.drag_spread_percent, want(0.5, 100.0, "%"), mixup::percent);
        let drag = drag.unwrap_or_else(|| {
            let value = before_drag.value;
            notes.default(told.drag_coefficient.place(), format!("{value}, as before"), value)
        });
        let drag_percent = drag_percent.unwrap_or_else(|| {
            let before = 100.0 * before_drag.sd / before_drag.value;
            notes.default(told.drag_spread_percent.place(), format!("{before:.0} %, as before"), before)
        });
        let diameter =
            notes.number(&told.diameter_m, want(0.01, 1.5, "m"), mixup::length_m).unwrap_or_else(|| {
                notes.default(
                    told.diameter_m.place(),
                    format!("{before_diameter} m, as before"),
                    before_diameter,
                )
            });
        let common = Common {
            impulse: &told.total_impulse_ns,
            impulse_spread: &told.impulse_spread_percent,
            burn: &told.burn_time_s,
            propellant: &told.propellant_mass_kg,
            curve: &told.thrust_curve,
            points: &told.thrust_points,
        };
        let mut motor = one(&common, mass_kg, spread(drag, drag_percent), diameter, notes, load);
        motor.ignition_after_burnout_s = Told {
            value: notes.number_or(&told.ignition_after_burnout_s, want(0.0, 60.0, "s"), no_guess, 1.0),
            sd: notes.number_or(&told.ignition_spread_s, want(0.01, 20.0, "s"), no_guess, 0.3),
        };
        motor.dropped_mass_kg = dropped;
        motors.push(motor);
    }
    motors
}

fn one(
    told: &Common<'_>,
    mass_kg: f64,
    drag: Told,
    diameter_m: f64,
    notes: &mut Notes,
    load: Load<'_>,
) -> Motor {
    let gravity = gravity_mps2(0.8, 0.0);
    let mut curve = match (told.curve, told.points) {
        (Field::Is(_), Field::Is(points)) => {
            notes.refuse(&points.at, "either `thrust_curve` or `thrust_points`", "both", None);
            None
        }
        (_, Field::Is(points)) => drawn(points, notes),
        _ => loaded(told.curve, notes, load),
    };
    let impulse = notes.number(told.impulse, want(0.5, 2.0e6, "N s"), |typed| {
        (typed <= 0.0).then(|| "nothing lifts off without impulse".to_owned())
    });
    let impulse = impulse.unwrap_or_else(|| match (&curve, told.curve) {
        (Some(curve), _) => {
            let area = curve::impulse_ns(curve);
            notes.default(
                told.impulse.place(),
                format!("{area:.1} N s, the area under the thrust curve"),
                area,
            )
        }
        (None, Field::Absent(_)) if told.points.absent() => {
            let hint = "from the motor's data sheet, or give `thrust_points` or `thrust_curve`".to_owned();
            notes.missing(told.impulse.place(), "the motor's total impulse in N s", Some(hint));
            f64::NAN
        }
        _ => f64::NAN,
    });
    let percent = notes.number_or(told.impulse_spread, want(0.5, 50.0, "%"), mixup::percent, 7.0);

    let burn = notes.number(told.burn, want(0.05, 120.0, "s"), |typed| {
        (typed > 120.0 && typed <= 120_000.0).then(|| format!("in milliseconds? then {}", typed / 1000.0))
    });
    let of_curve = curve.as_ref().and_then(|c| c.last()).map(|p| p.0);
    if let (Some(burn), Some(end)) = (burn, of_curve)
        && (burn - end).abs() > 0.25 * end
    {
        let hint = Some("leave it out: the curve says it".to_owned());
        notes.refuse(
            told.burn.place(),
            format!("about {end} s, where the thrust curve ends"),
            format!("{burn}"),
            hint,
        );
    }
    let told_burn = of_curve.or(burn).is_some();
    let burn_time_s = of_curve.or(burn).unwrap_or_else(|| {
        let seconds = (impulse / (DEFAULT_THRUST_TO_WEIGHT * mass_kg * gravity)).clamp(0.2, 20.0);
        let seconds = libm::round(seconds * 100.0) / 100.0;
        notes.default(
            told.burn.place(),
            format!(
                "{seconds} s: thrust of {DEFAULT_THRUST_TO_WEIGHT} times the weight, give or take half of it"
            ),
            seconds,
        )
    });
    if of_curve.is_some() && burn.is_none() {
        notes.default(told.burn.place(), format!("{burn_time_s} s, where the thrust curve ends"), ());
    }

    let propellant = notes.number(told.propellant, want(0.001, 500.0, "kg"), mixup::mass_kg);
    let told_propellant = propellant.is_some();
    let propellant_mass_kg = propellant.unwrap_or_else(|| {
        let kg = (impulse / (DEFAULT_SPECIFIC_IMPULSE_S * gravity)).min(0.5 * mass_kg);
        let kg = libm::round(kg * 1000.0) / 1000.0;
        notes.default(
            told.propellant.place(),
            format!("{kg} kg: specific impulse of {DEFAULT_SPECIFIC_IMPULSE_S} s"),
            kg,
        )
    });
    if propellant_mass_kg >= mass_kg {
        let hint = mixup::mass_kg(propellant_mass_kg);
        notes.refuse(
            told.propellant.place(),
            format!("less than the {mass_kg:.3} kg that it lifts"),
            format!("{propellant_mass_kg} kg"),
            hint,
        );
    } else if told_propellant {
        let specific_s = impulse / (propellant_mass_kg * gravity);
        if specific_s.is_finite() && !SPECIFIC_IMPULSE_S.contains(&specific_s) {
            let hint = if specific_s > 300.0 {
                "is the impulse too great, or the propellant too light?"
            } else {
                "is the impulse too small, or the propellant's mass in grams?"
            };
            notes.refuse(
                told.propellant.place(),
                format!(
                    "a specific impulse of {:.0} to {:.0} s",
                    SPECIFIC_IMPULSE_S.start(),
                    SPECIFIC_IMPULSE_S.end()
                ),
                format!("{impulse:.0} N s from {propellant_mass_kg} kg: {specific_s:.0} s"),
                Some(hint.to_owned()),
            );
        }
    }
    let area = curve.as_deref().map_or(f64::NAN, curve::impulse_ns);
    let peak_n = match &curve {
        Some(points) => points.iter().map(|p| p.1).fold(0.0, f64::max) * impulse / area,
        None => impulse / burn_time_s,
    };
    let weight_n = mass_kg * gravity;
    if peak_n <= weight_n {
        notes.refuse(
            told.impulse.place(),
            format!("more thrust than the {weight_n:.0} N that {mass_kg:.3} kg weigh"),
            format!("{peak_n:.0} N: {impulse} N s in {burn_time_s} s"),
            Some("check impulse, burn time, and whether the mass is in grams".to_owned()),
        );
    }
    if let Some(points) = &mut curve {
        for point in points {
            point.1 *= impulse / area;
        }
    }
    Motor {
        impulse_ns: spread(impulse, percent),
        burn_time_s,
        burn_time_ln_sd: if told_burn { 0.0 } else { DEFAULT_BURN_LN_SD },
        propellant_mass_kg,
        curve: curve.unwrap_or_default(),
        ignition_after_burnout_s: Told { value: 0.0, sd: 0.0 },
        dropped_mass_kg: 0.0,
        drag_coefficient: drag,
        diameter_m,
    }
}

/// The thrust curve as it stands in the setup: each wrong point is told at its own place.
fn drawn(told: &At<Vec<At<[f64; 2]>>>, notes: &mut Notes) -> Option<Vec<(f64, f64)>> {
    let mut before = f64::NEG_INFINITY;
    let mut wrong = false;
    for At { value: [seconds, newtons], at } in &told.value {
        let shown = format!("[{seconds}, {newtons}]");
        if *seconds < 0.0 || *newtons < 0.0 {
            notes.refuse(at, "seconds and newtons that are not negative", shown, None);
            wrong = true;
        } else if *seconds <= before {
            notes.refuse(at, format!("a time after {before} s: times rise"), shown, None);
            wrong = true;
        }
        before = *seconds;
    }
    if wrong {
        return None;
    }
    let points: Vec<(f64, f64)> = told.value.iter().map(|point| (point.value[0], point.value[1])).collect();
    match curve::sound(&points) {
        Ok(()) => Some(points),
        Err(why) => {
            notes.refuse(&told.at, "a thrust curve: [[seconds, newtons], ...]", why, None);
            None
        }
    }
}

/// The thrust curve's file, if one is named.
fn loaded(field: &Field<String>, notes: &mut Notes, load: Load<'_>) -> Option<Vec<(f64, f64)>> {
    let name = notes.name(field)?;
    let (expected, found) = match load(&name) {
        Ok(text) => match curve::read(&text) {
            Ok(points) => return Some(points),
            Err(why) => (
                "a thrust curve: two columns, seconds and newtons",
                format!("in {}, {why}", clean(&name, 60)),
            ),
        },
        Err(why) => ("a file beside the setup file", format!("{}: {}", clean(&name, 60), clean(&why, 200))),
    };
    notes.refuse(field.place(), expected, found, None);
    None
}
