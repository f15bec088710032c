//! What flies.

use loftwatch_flight::{Told, Vehicle};

use crate::mixup;
use crate::notes::{Notes, no_guess, want};
use crate::told;

/// Checks the vehicle; gives it with its name.
pub(crate) fn mean(told: &told::Vehicle, notes: &mut Notes) -> (String, Vehicle) {
    let name = if told.name.absent() {
        notes.default(told.name.place(), "vehicle", "vehicle".to_owned())
    } else {
        notes.name(&told.name).unwrap_or_default()
    };
    let mass = notes.number_required(
        &told.liftoff_mass_kg,
        want(0.05, 1000.0, "kg"),
        mixup::mass_kg,
        "everything that leaves the rail, propellant included",
    );
    let mass_percent =
        notes.number_or(&told.liftoff_mass_spread_percent, want(0.5, 50.0, "%"), mixup::percent, 3.0);
    let diameter = notes.number_required(
        &told.diameter_m,
        want(0.01, 1.5, "m"),
        mixup::length_m,
        "the greatest diameter of the airframe, without fins",
    );
    let drag = notes.number_or(&told.drag_coefficient, want(0.05, 3.0, ""), no_guess, 0.55);
    let drag_percent =
        notes.number_or(&told.drag_spread_percent, want(0.5, 100.0, "%"), mixup::percent, 25.0);
    let rail = notes.number_or(&told.rail_guided_length_m, want(0.2, 50.0, "m"), no_guess, 2.0);
    let tilt = notes.number_or(
        &told.rail_tilt_from_vertical_deg,
        want(0.0, 45.0, "degrees from vertical"),
        mixup::tilt_deg,
        2.0,
    );
    let azimuth = notes.number(&told.rail_azimuth_deg, want(0.0, 360.0, "degrees true"), |degrees| {
        (-180.0..0.0).contains(&degrees).then(|| format!("{} is the same direction", degrees + 360.0))
    });
    if azimuth.is_none() {
        notes.default(told.rail_azimuth_deg.place(), "not told: the heading is not known", ());
    }
    let lean = notes.number_or(&told.lean_spread_deg, want(0.5, 45.0, "degrees"), no_guess, 6.0);
    let vehicle = Vehicle {
        liftoff_mass_kg: spread(mass, mass_percent),
        diameter_m: diameter,
        drag_coefficient: spread(drag, drag_percent),
        rail_length_m: rail,
        rail_tilt_rad: tilt.to_radians(),
        rail_azimuth_rad: azimuth.map(f64::to_radians),
        lean_sd_rad: lean.to_radians(),
    };
    (name, vehicle)
}

/// A figure with its spread in percent.
pub(crate) fn spread(value: f64, percent: f64) -> Told {
    Told { value, sd: value * percent / 100.0 }
}
