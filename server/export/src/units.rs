//! Units of what is handed out: SI as everywhere inside, or imperial where somebody asks for it.
//!
//! Factors are exact by definition: international foot, avoirdupois pound, standard gravity for the pound-force (NIST
//! Special Publication 811, 2008, appendix B.8).

/// Which system of units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// SI; angles in radians.
    #[default]
    Si,
    /// Feet, feet a second, pounds, pounds-force, degrees.
    Imperial,
}

impl Units {
    /// As it is told in an address or on a command line.
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "si" | "metric" => Some(Self::Si),
            "imperial" => Some(Self::Imperial),
            _ => None,
        }
    }

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Imperial => "imperial",
        }
    }
}

/// What a figure is measured in, as it is kept: SI.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A number without a unit.
    One,
    /// s
    Second,
    /// m
    Metre,
    /// m/s
    MetrePerSecond,
    /// m/s2
    MetrePerSecond2,
    /// rad
    Radian,
    /// rad/s
    RadianPerSecond,
    /// Degrees of latitude and longitude: the same in both systems.
    Degree,
    /// 1/m
    PerMetre,
    /// Pa
    Pascal,
    /// K
    Kelvin,
    /// kg
    Kilogram,
    /// N
    Newton,
    /// V
    Volt,
    /// dBm
    Dbm,
    /// dB
    Db,
}

const FOOT_M: f64 = 0.3048;
const POUND_KG: f64 = 0.453_592_37;
const POUND_FORCE_N: f64 = POUND_KG * 9.806_65;
const PSI_PA: f64 = POUND_FORCE_N / (0.0254 * 0.0254);

impl Unit {
    /// As it stands behind a column's name.
    pub const fn suffix(self, units: Units) -> &'static str {
        match (self, units) {
            (Self::One, _) => "",
            (Self::Second, _) => "s",
            (Self::Metre, Units::Si) => "m",
            (Self::Metre, Units::Imperial) => "ft",
            (Self::MetrePerSecond, Units::Si) => "mps",
            (Self::MetrePerSecond, Units::Imperial) => "ftps",
            (Self::MetrePerSecond2, Units::Si) => "mps2",
            (Self::MetrePerSecond2, Units::Imperial) => "ftps2",
            (Self::Radian, Units::Si) => "rad",
            (Self::Radian, Units::Imperial) | (Self::Degree, _) => "deg",
            (Self::RadianPerSecond, Units::Si) => "radps",
            (Self::RadianPerSecond, Units::Imperial) => "degps",
            (Self::PerMetre, Units::Si) => "per_m",
            (Self::PerMetre, Units::Imperial) => "per_ft",
            (Self::Pascal, Units::Si) => "pa",
            (Self::Pascal, Units::Imperial) => "psi",
            (Self::Kelvin, Units::Si) => "k",
            (Self::Kelvin, Units::Imperial) => "degf",
            (Self::Kilogram, Units::Si) => "kg",
            (Self::Kilogram, Units::Imperial) => "lb",
            (Self::Newton, Units::Si) => "n",
            (Self::Newton, Units::Imperial) => "lbf",
            (Self::Volt, _) => "v",
            (Self::Dbm, _) => "dbm",
            (Self::Db, _) => "db",
        }
    }

    /// As people write it.
    pub const fn symbol(self, units: Units) -> &'static str {
        match (self, units) {
            (Self::MetrePerSecond, Units::Si) => "m/s",
            (Self::MetrePerSecond, Units::Imperial) => "ft/s",
            (Self::MetrePerSecond2, Units::Si) => "m/s2",
            (Self::MetrePerSecond2, Units::Imperial) => "ft/s2",
            (Self::RadianPerSecond, Units::Si) => "rad/s",
            (Self::RadianPerSecond, Units::Imperial) => "deg/s",
            (Self::PerMetre, Units::Si) => "1/m",
            (Self::PerMetre, Units::Imperial) => "1/ft",
            (Self::Pascal, Units::Si) => "Pa",
            (Self::Kelvin, Units::Si) => "K",
            (Self::Kelvin, Units::Imperial) => "degF",
            (Self::Newton, Units::Si) => "N",
            (Self::Volt, _) => "V",
            (Self::Dbm, _) => "dBm",
            (Self::Db, _) => "dB",
            _ => self.suffix(units),
        }
    }

    /// A figure in SI, in those units.
    pub fn convert(self, value: f64, units: Units) -> f64 {
        if units == Units::Si {
            return value;
        }
        match self {
            Self::Metre | Self::MetrePerSecond | Self::MetrePerSecond2 => value / FOOT_M,
            Self::PerMetre => value * FOOT_M,
            Self::Radian | Self::RadianPerSecond => value.to_degrees(),
            Self::Pascal => value / PSI_PA,
            Self::Kelvin => value * 1.8 - 459.67,
            Self::Kilogram => value / POUND_KG,
            Self::Newton => value / POUND_FORCE_N,
            _ => value,
        }
    }

    /// Decimals that keep the precision of so many in SI: a foot is a third of a metre, a psi 6,895 Pa.
    pub const fn decimals(self, si: usize, units: Units) -> usize {
        match (self, units) {
            (Self::Pascal, Units::Imperial) => si + 4,
            (Self::PerMetre, Units::Imperial) => si + 1,
            (Self::Radian | Self::RadianPerSecond, Units::Imperial) => si.saturating_sub(1),
            _ => si,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_are_those_of_the_published_table() {
        // NIST SP 811, appendix B.8: to seven figures.
        let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-6, "{a} {b}");
        near(Unit::Metre.convert(0.3048, Units::Imperial), 1.0);
        near(Unit::Pascal.convert(6_894.757, Units::Imperial), 1.0);
        near(Unit::Newton.convert(4.448_222, Units::Imperial), 1.0);
        near(Unit::Kilogram.convert(0.453_592_4, Units::Imperial), 1.0);
        near(Unit::Kelvin.convert(373.15, Units::Imperial), 212.0);
        near(Unit::Radian.convert(0.017_453_29, Units::Imperial), 1.0);
        near(Unit::PerMetre.convert(1.0 / 0.3048, Units::Imperial), 1.0);
    }
}
