use super::*;

fn si(meaning: Meaning, unit: &str, value: f64) -> f64 {
    let conversion = Unit::conversion(meaning, unit).unwrap();
    value * conversion.scale + conversion.offset
}

#[test]
fn conversions_of_nist_sp_811() {
    // NIST SP 811 (2008), appendix B.8: factors to seven digits; the fixed points of temperature from its B.9.
    for (meaning, unit, value, expected) in [
        (Meaning::Pressure, "psi", 1.0, 6894.757),
        (Meaning::Pressure, "atm", 1.0, 101325.0),
        (Meaning::Pressure, "inHg", 1.0, 3386.389),
        (Meaning::Pressure, "mmHg", 1.0, 133.3224),
        (Meaning::Pressure, "mbar", 876.0, 87600.0),
        (Meaning::OwnHeight, "ft", 1.0, 0.3048),
        (Meaning::OwnHeight, "mi", 1.0, 1609.344),
        (Meaning::GroundSpeed, "kn", 1.0, 0.5144444),
        (Meaning::GroundSpeed, "mph", 1.0, 0.44704),
        (Meaning::GroundSpeed, "km/h", 1.0, 0.2777778),
        (Meaning::GroundSpeed, "ft/min", 1.0, 0.00508),
        (Meaning::AxialSpecificForce, "g", 1.0, 9.80665),
        (Meaning::AxialSpecificForce, "ft/s2", 1.0, 0.3048),
        (Meaning::Tilt, "deg", 1.0, 0.01745329),
        (Meaning::Tilt, "arcmin", 1.0, 2.908882e-4),
        (Meaning::Tilt, "arcsec", 1.0, 4.848137e-6),
        (Meaning::RollRate, "rpm", 1.0, 0.1047198),
        (Meaning::Temperature, "C", 100.0, 373.15),
        (Meaning::Temperature, "F", 32.0, 273.15),
        (Meaning::Temperature, "°F", 212.0, 373.15),
    ] {
        let found = si(meaning, unit, value);
        assert!(libm::fabs(found / expected - 1.0) < 5e-7, "{unit}: {found}");
    }
}

#[test]
fn a_unit_of_another_quantity_is_refused_with_those_that_fit() {
    let error = Unit::conversion(Meaning::Pressure, "m").unwrap_err();
    assert!(matches!(&error, UnitError::Other { allowed, .. } if allowed.contains(&"hPa")), "{error}");
    let error = Unit::conversion(Meaning::Pressure, "hpas").unwrap_err();
    assert!(error.to_string().contains("did you mean hPa"), "{error}");
    let error = Unit::conversion(Meaning::Latitude, "degrees").unwrap_err();
    assert!(error.to_string().contains("did you mean deg"), "{error}");
    let error = Unit::conversion(Meaning::OnboardTime, "").unwrap_err();
    assert!(error.to_string().starts_with("a unit is needed for onboard time: one of s, "), "{error}");
}

#[test]
fn case_is_forgiven_where_it_says_nothing() {
    assert_eq!(Unit::parse("hpa").map(|unit| unit.name), Some("hPa"));
    assert_eq!(Unit::parse("MPa").map(|unit| unit.scale), Some(1e6));
    assert_eq!(si(Meaning::BatteryVoltage, "mv", 1500.0), 1.5);
    assert_eq!(Unit::parse("parsec"), None);
}

#[test]
fn what_is_free_keeps_its_unit_and_plain_numbers_need_none() {
    assert_eq!(Unit::conversion(Meaning::Free, "furlongs"), Ok(Conversion::AS_IS));
    assert_eq!(Unit::conversion(Meaning::Satellites, ""), Ok(Conversion::AS_IS));
    assert_eq!(Unit::conversion(Meaning::Rssi, "dBm"), Ok(Conversion::AS_IS));
    assert_eq!(si(Meaning::StorageLeft, "%", 40.0), 0.4);
}

#[test]
fn the_table_holds_each_name_once_and_the_si_unit_first() {
    for (at, unit) in UNITS.iter().enumerate() {
        assert!(!UNITS[..at].iter().any(|other| other.name == unit.name), "{}", unit.name);
        let first = Unit::of(unit.quantity).next().unwrap();
        assert_eq!((first.scale, first.offset), (1.0, 0.0), "{}", first.name);
    }
}

#[test]
fn what_units_are_called_names_units_that_there_are() {
    for (words, unit) in SPOKEN {
        assert!(Unit::parse(unit).is_some(), "{unit}");
        for word in *words {
            assert!(!UNITS.iter().any(|known| known.name == *word), "{word} is a unit itself");
        }
    }
}
