//! Prints what the setup file's reference is made of, from the code: meanings with their units, and CRC names.
#![expect(clippy::print_stdout, reason = "its output is what it is for")]

use std::collections::BTreeSet;

use loftwatch_radio::{Crc, Meaning, Quantity, Unit};

/// What the reference says about a meaning, beside its name.
const NOTES: &[(&str, &str)] = &[
    ("free", "anything else; kept and shown in the unit as written"),
    ("sequence", "counts the packets of a transmitter; wraps at its width"),
    (
        "onboard time",
        "clock aboard; orders and spaces measurements; that it wraps at its width or begins again is noticed. What is measured is dated a link's `delay_s` before the quickest packets say, and without a clock before its receipt: that is the way through the air, which no clock shows, and predictions leave the rest of it open (0.035 s)",
    ),
    ("transmitter", "number of the transmitter, as in `[[body]]`"),
    ("pressure", "static pressure"),
    ("temperature", "of the sensor"),
    ("axial specific force", "along the nose; about +1 g standing on the pad"),
    (
        "lateral specific force y",
        "across the nose; with the other and the force along it the tilt on the pad, and under power the angle to the airspeed",
    ),
    ("lateral specific force z", "across the nose"),
    ("roll rate", "about the nose; rates are kept and shown, and nothing is estimated from them"),
    ("tilt", "of the body from vertical"),
    (
        "latitude",
        "WGS84, north positive; how late a receiver is need not be told, it is learnt beside the other sensors",
    ),
    ("longitude", "WGS84, east positive"),
    ("height above ellipsoid", "GNSS, WGS84"),
    ("height above sea level", "GNSS"),
    ("velocity up", "GNSS"),
    ("velocity down", "GNSS"),
    ("course", "over ground, true"),
    ("fix", "0 none, 1 or more valid"),
    ("horizontal spread", "as the receiver states it, one sigma"),
    ("vertical spread", "as the receiver states it, one sigma"),
    (
        "pressure altitude",
        "static pressure as the height in the standard atmosphere that has it, above 1013.25 hPa; is taken as the pressure",
    ),
    (
        "own height",
        "the vehicle's own, above its own zero; one that begins anew with a restart aloft is noticed; taken where no pressure is sent",
    ),
    (
        "own climb rate",
        "the vehicle's own; not taken for two seconds after a restart; taken where no pressure is sent",
    ),
    (
        "says liftoff",
        "0 or 1, as the vehicle itself says; so are the four below; what cannot be, such as an apogee while it climbs fast, is passed over",
    ),
    ("says freed", "the body says that it is free"),
    ("continuity", "0 open, 1 closed, 2 short, or by the names of its `values`; needs `channel`"),
    ("armed", "1 armed, 0 safe; needs `channel`"),
    ("commanded", "0 or 1; needs `channel`"),
    ("fired", "0 or 1; needs `channel`"),
    ("storage left", "share, 0 to 1"),
    ("restart count", "restarts counted aboard"),
    ("rssi", "received signal strength"),
    ("snr", "signal to noise"),
];

fn main() {
    println!("| `means` | unit of | remark |\n|---|---|---|");
    for meaning in Meaning::ALL {
        let note = NOTES.iter().find(|(name, _)| *name == meaning.name()).map_or("", |(_, note)| note);
        println!("| `{}` | {} | {note} |", meaning.name(), quantity(meaning.quantity()));
    }
    println!("\n| quantity | units (the first is what is kept) |\n|---|---|");
    let mut seen = BTreeSet::new();
    for quantity_of in Meaning::ALL.iter().map(|meaning| meaning.quantity()) {
        let name = quantity(quantity_of);
        if seen.insert(name) {
            let units: Vec<String> = Unit::of(quantity_of).map(|unit| format!("`{}`", unit.name)).collect();
            println!("| {name} | {} |", units.join(" "));
        }
    }
    let names: Vec<String> = Crc::names().map(|name| format!("`{name}`")).collect();
    println!("\nCRC names ({}): {}", names.len(), names.join(" "));
}

fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Plain => "number",
        Quantity::Time => "time",
        Quantity::Pressure => "pressure",
        Quantity::Temperature => "temperature",
        Quantity::Acceleration => "acceleration",
        Quantity::AngularRate => "angular rate",
        Quantity::Angle => "angle",
        Quantity::Length => "length",
        Quantity::Speed => "speed",
        Quantity::Voltage => "voltage",
        Quantity::Decibel => "level",
    }
}
