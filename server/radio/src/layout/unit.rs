//! Units and their way to SI.
//!
//! Exact by definition: inch 0.0254 m, foot 0.3048 m, statute mile 1609.344 m, nautical mile 1852 m, standard gravity
//! 9.80665 m/s2, standard atmosphere 101325 Pa, pound 0.45359237 kg (NIST SP 811, 2008, appendix B). Conventional:
//! inch of mercury 3386.389 Pa (SP 811, B.8, at 0 degrees Celsius), millimetre of mercury 133.3224 Pa (same table).

use crate::meaning::{Meaning, Quantity};
use crate::spelling::nearest;

/// A unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// As written in a setup file.
    pub name: &'static str,
    /// What it measures.
    pub quantity: Quantity,
    /// SI = value * scale + offset.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
}

/// How a declared value becomes SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conversion {
    /// SI = value * scale + offset.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
}

impl Conversion {
    /// Leaves a value as it is.
    pub const AS_IS: Self = Self { scale: 1.0, offset: 0.0 };
}

/// Why a unit does not fit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// No such unit.
    #[error("`{unit}` is no unit{}; for {meaning} there are {}", did_you_mean(nearest), allowed.join(", "))]
    Unknown {
        /// As written.
        unit: String,
        /// What the field means.
        meaning: &'static str,
        /// Units that look like it.
        nearest: Vec<&'static str>,
        /// Units that would fit.
        allowed: Vec<&'static str>,
    },
    /// A unit of another quantity.
    #[error("`{unit}` does not measure {meaning}; there are {}", allowed.join(", "))]
    Other {
        /// As written.
        unit: String,
        /// What the field means.
        meaning: &'static str,
        /// Units that would fit.
        allowed: Vec<&'static str>,
    },
    /// A quantity needs its unit said.
    #[error("a unit is needed for {meaning}: one of {}", allowed.join(", "))]
    Missing {
        /// What the field means.
        meaning: &'static str,
        /// Units that would fit.
        allowed: Vec<&'static str>,
    },
}

fn did_you_mean(names: &[&str]) -> String {
    if names.is_empty() { String::new() } else { format!(" (did you mean {}?)", names.join(" or ")) }
}

const fn unit(name: &'static str, quantity: Quantity, scale: f64) -> Unit {
    Unit { name, quantity, scale, offset: 0.0 }
}

/// Radians in a degree.
const DEGREE: f64 = core::f64::consts::PI / 180.0;
/// Standard gravity, m/s2.
const G: f64 = 9.80665;

/// All units; of each quantity, the SI unit first.
const UNITS: &[Unit] = &[
    unit("1", Quantity::Plain, 1.0),
    unit("%", Quantity::Plain, 0.01),
    unit("percent", Quantity::Plain, 0.01),
    unit("permille", Quantity::Plain, 0.001),
    unit("s", Quantity::Time, 1.0),
    unit("ds", Quantity::Time, 0.1),
    unit("cs", Quantity::Time, 0.01),
    unit("ms", Quantity::Time, 1e-3),
    unit("us", Quantity::Time, 1e-6),
    unit("µs", Quantity::Time, 1e-6),
    unit("ns", Quantity::Time, 1e-9),
    unit("min", Quantity::Time, 60.0),
    unit("h", Quantity::Time, 3600.0),
    unit("Pa", Quantity::Pressure, 1.0),
    unit("dPa", Quantity::Pressure, 0.1),
    unit("daPa", Quantity::Pressure, 10.0),
    unit("hPa", Quantity::Pressure, 100.0),
    unit("mbar", Quantity::Pressure, 100.0),
    unit("kPa", Quantity::Pressure, 1e3),
    unit("MPa", Quantity::Pressure, 1e6),
    unit("bar", Quantity::Pressure, 1e5),
    unit("atm", Quantity::Pressure, 101_325.0),
    unit("mmHg", Quantity::Pressure, 133.3224),
    unit("inHg", Quantity::Pressure, 3386.389),
    unit("psi", Quantity::Pressure, 0.45359237 * G / (0.0254 * 0.0254)),
    unit("K", Quantity::Temperature, 1.0),
    Unit { name: "C", quantity: Quantity::Temperature, scale: 1.0, offset: 273.15 },
    Unit { name: "°C", quantity: Quantity::Temperature, scale: 1.0, offset: 273.15 },
    Unit { name: "degC", quantity: Quantity::Temperature, scale: 1.0, offset: 273.15 },
    Unit { name: "F", quantity: Quantity::Temperature, scale: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0 },
    Unit { name: "°F", quantity: Quantity::Temperature, scale: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0 },
    Unit { name: "degF", quantity: Quantity::Temperature, scale: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0 },
    unit("m/s2", Quantity::Acceleration, 1.0),
    unit("m/s^2", Quantity::Acceleration, 1.0),
    unit("m/s²", Quantity::Acceleration, 1.0),
    unit("cm/s2", Quantity::Acceleration, 0.01),
    unit("mm/s2", Quantity::Acceleration, 1e-3),
    unit("g", Quantity::Acceleration, G),
    unit("mg", Quantity::Acceleration, 1e-3 * G),
    unit("ug", Quantity::Acceleration, 1e-6 * G),
    unit("ft/s2", Quantity::Acceleration, 0.3048),
    unit("rad/s", Quantity::AngularRate, 1.0),
    unit("mrad/s", Quantity::AngularRate, 1e-3),
    unit("deg/s", Quantity::AngularRate, DEGREE),
    unit("dps", Quantity::AngularRate, DEGREE),
    unit("mdeg/s", Quantity::AngularRate, 1e-3 * DEGREE),
    unit("rpm", Quantity::AngularRate, core::f64::consts::PI / 30.0),
    unit("rev/s", Quantity::AngularRate, core::f64::consts::TAU),
    unit("rad", Quantity::Angle, 1.0),
    unit("mrad", Quantity::Angle, 1e-3),
    unit("deg", Quantity::Angle, DEGREE),
    unit("°", Quantity::Angle, DEGREE),
    unit("cdeg", Quantity::Angle, 1e-2 * DEGREE),
    unit("mdeg", Quantity::Angle, 1e-3 * DEGREE),
    unit("udeg", Quantity::Angle, 1e-6 * DEGREE),
    unit("arcmin", Quantity::Angle, DEGREE / 60.0),
    unit("arcsec", Quantity::Angle, DEGREE / 3600.0),
    unit("m", Quantity::Length, 1.0),
    unit("dm", Quantity::Length, 0.1),
    unit("cm", Quantity::Length, 0.01),
    unit("mm", Quantity::Length, 1e-3),
    unit("km", Quantity::Length, 1e3),
    unit("ft", Quantity::Length, 0.3048),
    unit("in", Quantity::Length, 0.0254),
    unit("yd", Quantity::Length, 0.9144),
    unit("mi", Quantity::Length, 1609.344),
    unit("nmi", Quantity::Length, 1852.0),
    unit("m/s", Quantity::Speed, 1.0),
    unit("dm/s", Quantity::Speed, 0.1),
    unit("cm/s", Quantity::Speed, 0.01),
    unit("mm/s", Quantity::Speed, 1e-3),
    unit("km/h", Quantity::Speed, 1.0 / 3.6),
    unit("ft/s", Quantity::Speed, 0.3048),
    unit("ft/min", Quantity::Speed, 0.3048 / 60.0),
    unit("mph", Quantity::Speed, 0.44704),
    unit("kn", Quantity::Speed, 1852.0 / 3600.0),
    unit("kt", Quantity::Speed, 1852.0 / 3600.0),
    unit("V", Quantity::Voltage, 1.0),
    unit("dV", Quantity::Voltage, 0.1),
    unit("cV", Quantity::Voltage, 0.01),
    unit("mV", Quantity::Voltage, 1e-3),
    unit("uV", Quantity::Voltage, 1e-6),
    unit("dBm", Quantity::Decibel, 1.0),
    unit("dB", Quantity::Decibel, 1.0),
    unit("cdB", Quantity::Decibel, 0.01),
];

/// Units as they are spoken, and how they are written here.
const SPOKEN: &[(&[&str], &str)] = &[
    (&["degree", "degrees"], "deg"),
    (&["radian", "radians"], "rad"),
    (&["meter", "meters", "metre", "metres"], "m"),
    (&["foot", "feet"], "ft"),
    (&["second", "seconds", "sec", "secs"], "s"),
    (&["millisecond", "milliseconds", "msec", "millis"], "ms"),
    (&["microsecond", "microseconds", "usec", "micros"], "us"),
    (&["pascal", "pascals"], "Pa"),
    (&["hectopascal", "hectopascals", "millibar", "millibars"], "hPa"),
    (&["celsius", "centigrade", "degrees c"], "degC"),
    (&["kelvin", "kelvins"], "K"),
    (&["volt", "volts"], "V"),
    (&["millivolt", "millivolts"], "mV"),
    (&["meters per second", "metres per second", "mps", "meters/second", "m/sec"], "m/s"),
    (&["gee", "gees", "gs"], "g"),
];

fn spoken(name: &str) -> Option<&'static str> {
    let name = name.to_lowercase();
    SPOKEN.iter().find(|(words, _)| words.contains(&name.as_str())).map(|(_, unit)| *unit)
}

impl Unit {
    /// A unit by its name: exact case first, since `mg` and `Mg` differ, then whatever case if only one fits.
    pub fn parse(name: &str) -> Option<Self> {
        let name = name.trim();
        if let Some(exact) = UNITS.iter().find(|unit| unit.name == name) {
            return Some(*exact);
        }
        let mut loose = UNITS.iter().filter(|unit| unit.name.eq_ignore_ascii_case(name));
        loose.next().filter(|_| loose.next().is_none()).copied()
    }

    /// Units of a quantity, the SI unit first.
    pub fn of(quantity: Quantity) -> impl Iterator<Item = Self> {
        UNITS.iter().copied().filter(move |unit| unit.quantity == quantity)
    }

    /// How values of a meaning in a declared unit become SI.
    ///
    /// A free field keeps its unit as declared, whatever that is. A plain number and a level in decibels need none.
    pub fn conversion(meaning: Meaning, name: &str) -> Result<Conversion, UnitError> {
        let name = name.trim();
        if meaning == Meaning::Free {
            return Ok(Conversion::AS_IS);
        }
        let quantity = meaning.quantity();
        let allowed = || Self::of(quantity).map(|unit| unit.name).collect::<Vec<_>>();
        if name.is_empty() {
            return match quantity {
                Quantity::Plain | Quantity::Decibel => Ok(Conversion::AS_IS),
                _ => Err(UnitError::Missing { meaning: meaning.name(), allowed: allowed() }),
            };
        }
        let fits = UNITS.iter().find(|unit| unit.quantity == quantity && unit.name == name);
        match fits.copied().or_else(|| Self::parse(name)) {
            Some(unit) if unit.quantity == quantity => {
                Ok(Conversion { scale: unit.scale, offset: unit.offset })
            }
            Some(_) => {
                Err(UnitError::Other { unit: name.to_owned(), meaning: meaning.name(), allowed: allowed() })
            }
            None => Err(UnitError::Unknown {
                unit: name.to_owned(),
                meaning: meaning.name(),
                nearest: spoken(name)
                    .filter(|unit| allowed().contains(unit))
                    .map_or_else(|| nearest(name, allowed().into_iter()), |unit| vec![unit]),
                allowed: allowed(),
            }),
        }
    }
}

#[cfg(test)]
#[path = "unit/tests.rs"]
mod tests;
