//! Likely mix-ups, each with the guess that is said.

/// Keys that people write, the key that is meant, and what to say.
const KEYS: &[(&[&str], &str, &str)] = &[
    (
        &["delay", "delay_ms", "latency", "latency_s", "latency_ms", "air_time_ms", "airtime_ms"],
        "delay_s",
        "write `delay_s`, in seconds: what the quickest packet takes from measurement to receipt",
    ),
    (
        &["wind_to_deg", "wind_to", "wind_towards_deg", "wind_toward_deg", "wind_direction_to_deg"],
        "wind_from_deg",
        "wind is named by where it comes FROM: turn it by 180 degrees and write `wind_from_deg`",
    ),
    (
        &["wind_direction", "wind_direction_deg", "wind_dir", "wind_dir_deg", "wind_deg"],
        "wind_from_deg",
        "write `wind_from_deg`: true degrees, where the wind comes from",
    ),
    (
        &[
            "wind_kmh",
            "wind_kph",
            "wind_kt",
            "wind_kn",
            "wind_knots",
            "wind_mph",
            "wind_speed",
            "wind_speed_mps",
        ],
        "wind_mps",
        "write `wind_mps`: metres a second (1 km/h = 0.278, 1 knot = 0.514, 1 mph = 0.447)",
    ),
    (
        &[
            "qnh",
            "qnh_hpa",
            "sea_level_pressure_hpa",
            "pressure_msl_hpa",
            "mslp_hpa",
            "altimeter_hpa",
            "altimeter_inhg",
        ],
        "station_pressure_hpa",
        "`station_pressure_hpa` is what a barometer at the pad reads, not a pressure reduced to sea level",
    ),
    (
        &[
            "pressure_hpa",
            "pressure",
            "pressure_pa",
            "pressure_mbar",
            "qfe",
            "qfe_hpa",
            "station_pressure_pa",
        ],
        "station_pressure_hpa",
        "write `station_pressure_hpa`: what a barometer at the pad reads, in hPa",
    ),
    (
        &["temperature_k", "temperature_f", "temp_f", "temperature", "temp_c", "temperature_degc"],
        "temperature_c",
        "write `temperature_c`: degrees Celsius at the pad",
    ),
    (
        &[
            "rail_angle_deg",
            "rail_elevation_deg",
            "launch_angle_deg",
            "rail_tilt_deg",
            "inclination_deg",
            "rail_angle",
        ],
        "rail_tilt_from_vertical_deg",
        "write `rail_tilt_from_vertical_deg`: degrees from vertical, 0 is straight up",
    ),
    (
        &["rail_heading_deg", "heading_deg", "azimuth_deg", "rail_heading"],
        "rail_azimuth_deg",
        "write `rail_azimuth_deg`: true degrees clockwise from north, towards which the rail is tilted",
    ),
    (
        &["rail_length_m", "rod_length_m", "rail_m", "launch_rail_m"],
        "rail_guided_length_m",
        "write `rail_guided_length_m`: the travel until the upper guide leaves the rail",
    ),
    (
        &["mass_g", "liftoff_mass_g", "mass_kg", "mass", "dry_mass_kg", "launch_mass_kg", "liftoff_mass"],
        "liftoff_mass_kg",
        "write `liftoff_mass_kg`: everything that leaves the rail, in kilograms",
    ),
    (&["mass_g", "mass", "weight_kg"], "mass_kg", "write `mass_kg`: kilograms"),
    (
        &["diameter_mm", "diameter_cm", "diameter", "radius_m", "radius_mm", "calibre_mm"],
        "diameter_m",
        "write `diameter_m`: metres, the greatest diameter of the airframe without fins",
    ),
    (&["cd", "drag", "cd_power_off", "drag_coeff"], "drag_coefficient", "write `drag_coefficient`"),
    (
        &["altitude_m", "altitude_msl_m", "height_m", "elevation", "elevation_ft", "alt_m", "altitude"],
        "elevation_m",
        "write `elevation_m`: metres above mean sea level",
    ),
    (
        &["propellant_mass_g", "propellant_kg", "propellant_g", "propellant_mass"],
        "propellant_mass_kg",
        "write `propellant_mass_kg`: kilograms",
    ),
    (
        &["impulse_ns", "impulse", "total_impulse"],
        "total_impulse_ns",
        "write `total_impulse_ns`: newton seconds",
    ),
    (&["curve", "thrust", "thrust_curve_file", "thrust_csv"], "thrust_curve", "write `thrust_curve`"),
    (
        &["cd_area_m2", "area_m2", "cda_m2", "chute_area_m2"],
        "drag_area_m2",
        "write `drag_area_m2`: drag coefficient times area",
    ),
    (
        &["descent_rate_mps", "rate", "speed_mps", "sink_rate_mps"],
        "rate_mps",
        "write `rate_mps`: metres a second near the ground",
    ),
    (&["port", "device", "file", "tty"], "path", "write `path`"),
    (
        &["address", "host", "url", "server"],
        "connect",
        "write `connect = \"host:port\"` or `listen = \"127.0.0.1:port\"`",
    ),
    (&["bind", "port_number", "listen_address"], "listen", "write `listen = \"127.0.0.1:port\"`"),
    (&["baudrate", "baud_rate", "speed"], "baud", "write `baud`"),
    (
        &["motors", "engine", "engines", "engine_motor"],
        "motor",
        "write `[motor]`, and `[[upper_motor]]` for later stages",
    ),
    (&["rocket", "airframe"], "vehicle", "write `[vehicle]`"),
    (&["meaning", "mean", "channel_type", "kind"], "means", "write `means`"),
    (&["area", "areas"], "area", "areas stand under the site: [[site.area]]"),
];

/// What to say about a mixed-up key, if the one that is meant is among the allowed ones.
pub(crate) fn key(typed: &str, allowed: &[&str]) -> Option<&'static str> {
    let typed = typed.to_lowercase();
    let found =
        KEYS.iter().find(|(words, meant, _)| words.contains(&typed.as_str()) && allowed.contains(meant));
    found.map(|&(.., hint)| hint)
}

/// Words for a kind that people write, the one that is meant, and what to say.
const WORDS: &[(&[&str], &str, &str)] = &[
    (&["usb", "com", "tty", "uart", "port"], "serial", "write \"serial\" and the device as `path`"),
    (&["ascii", "csv", "nmea", "line"], "lines", "write \"lines\""),
    (&["csv", "ascii", "lines"], "text", "write \"text\""),
    (&["rts/cts", "rtscts", "crtscts"], "hardware", "write \"hardware\""),
    (&["xon/xoff", "xonxoff"], "software", "write \"software\""),
    (&["parachute", "deploy", "deployment"], "chute", "write \"chute\""),
    (&["be", "msb", "network"], "big", "write \"big\""),
    (&["le", "lsb", "intel"], "little", "write \"little\""),
    (&["altitude below", "below height"], "height below", "write \"height below\""),
    (&["float", "single"], "f32", "write \"f32\""),
    (&["double"], "f64", "write \"f64\""),
    (&["byte", "uint8", "uint8_t", "bool"], "u8", "write \"u8\""),
    (&["uint16", "uint16_t"], "u16", "write \"u16\""),
    (&["uint32", "uint32_t"], "u32", "write \"u32\""),
    (&["int8", "int8_t"], "i8", "write \"i8\""),
    (&["int16", "int16_t", "short"], "i16", "write \"i16\""),
    (&["int32", "int32_t", "int", "long"], "i32", "write \"i32\""),
];

/// What to say about a mixed-up word, if the one that is meant is among the allowed ones.
pub(crate) fn word(typed: &str, allowed: &[&str]) -> Option<&'static str> {
    let typed = typed.trim().to_lowercase();
    let found =
        WORDS.iter().find(|(words, meant, _)| words.contains(&typed.as_str()) && allowed.contains(meant));
    found.map(|&(.., hint)| hint)
}

/// What to say about a number that was written as text.
pub(crate) fn number_in_text(key: &str, text: &str) -> Option<String> {
    if key.ends_with("latitude_deg") || key.ends_with("longitude_deg") {
        return match degrees_in_words(text) {
            Some(degrees) => Some(format!("degrees, minutes and seconds? then {degrees:.5}, without quotes")),
            None => Some("decimal degrees without quotes, south and west negative".to_owned()),
        };
    }
    let number: String =
        text.trim().chars().take_while(|c| c.is_ascii_digit() || ".-+eE".contains(*c)).collect();
    number
        .parse::<f64>()
        .ok()
        .filter(|n| n.is_finite())
        .map(|number| format!("without quotes and unit: {number}"))
}

/// `38°15'00"N`, `38 15 0 N`, `W 117 21`: decimal degrees, if it can be read so.
fn degrees_in_words(text: &str) -> Option<f64> {
    let sides = text.chars().filter(char::is_ascii_alphabetic).collect::<String>().to_uppercase();
    let negative = match sides.as_str() {
        "" => text.trim().starts_with('-'),
        "N" | "E" => false,
        "S" | "W" => true,
        _ => return None,
    };
    let parts: Vec<f64> = text
        .split(|c: char| !(c.is_ascii_digit() || c == '.'))
        .filter(|part| !part.is_empty())
        .map(str::parse)
        .collect::<Result<_, _>>()
        .ok()?;
    let degrees = match parts.as_slice() {
        [d] => *d,
        [d, m] if *m < 60.0 => d + m / 60.0,
        [d, m, s] if *m < 60.0 && *s < 60.0 => d + m / 60.0 + s / 3600.0,
        _ => return None,
    };
    (degrees <= 180.0).then_some(if negative { -degrees } else { degrees })
}

/// A time in seconds that may be milliseconds.
pub(crate) fn delay_s(typed: f64) -> Option<String> {
    (typed > 10.0).then(|| format!("in milliseconds? then {}", typed / 1000.0))
}

/// A length in metres that may be millimetres or centimetres.
pub(crate) fn length_m(typed: f64) -> Option<String> {
    if (20.0..=1500.0).contains(&typed) {
        Some(format!("in millimetres? then {}", typed / 1000.0))
    } else if (2.0..20.0).contains(&typed) {
        Some(format!("in centimetres or inches? then {} or {:.4}", typed / 100.0, typed * 0.0254))
    } else {
        None
    }
}

/// A mass in kilograms that may be grams.
#[expect(clippy::unnecessary_wraps, reason = "all guesses are of one type")]
pub(crate) fn mass_kg(typed: f64) -> Option<String> {
    if typed > 0.0 && typed.is_finite() {
        Some(format!("in grams? then {}", typed / 1000.0))
    } else {
        Some("nothing flies without a mass".to_owned())
    }
}

/// A temperature in Celsius that may be something else.
pub(crate) fn temperature_c(typed: f64) -> Option<String> {
    if (200.0..=340.0).contains(&typed) {
        Some(format!("in kelvin? then {:.1}", typed - 273.15))
    } else if (60.0..200.0).contains(&typed) {
        Some(format!("in Fahrenheit? then {:.1}", (typed - 32.0) / 1.8))
    } else {
        None
    }
}

/// A wind in m/s that may be km/h.
#[expect(clippy::unnecessary_wraps, reason = "all guesses are of one type")]
pub(crate) fn wind_mps(typed: f64) -> Option<String> {
    Some(if typed < 0.0 {
        "the direction says where it comes from; the speed is never negative".to_owned()
    } else {
        format!("in km/h or knots? then {:.1} or {:.1}", typed / 3.6, typed * 0.5144)
    })
}

/// A tilt that may be from horizontal.
pub(crate) fn tilt_deg(typed: f64) -> Option<String> {
    (typed > 45.0 && typed <= 135.0)
        .then(|| format!("measured from horizontal? from vertical it is {}", (90.0 - typed).abs()))
}

/// A spread in percent that may be a fraction.
#[expect(clippy::unnecessary_wraps, reason = "all guesses are of one type")]
pub(crate) fn percent(typed: f64) -> Option<String> {
    if typed > 0.0 && typed < 0.5 {
        Some(format!("a fraction? in percent it is {}; told figures are never exact", typed * 100.0))
    } else {
        Some("one standard deviation in percent; told figures are never exact".to_owned())
    }
}

/// A pressure in hPa that may be in another unit.
pub(crate) fn pressure_hpa(typed: f64) -> Option<String> {
    if (40_000.0..=110_000.0).contains(&typed) {
        Some(format!("in pascal? then {:.1}", typed / 100.0))
    } else if (20.0..=32.0).contains(&typed) {
        Some(format!("in inches of mercury? then {:.1}, if it is not reduced to sea level", typed * 33.8639))
    } else if (40.0..=110.0).contains(&typed) {
        Some(format!("in kilopascal? then {:.1}", typed * 10.0))
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_minutes_and_seconds_are_understood_for_the_hint() {
        for (text, degrees) in
            [("38°15'00\"N", 38.25), ("117 21 0 W", -117.35), ("S 12 30", -12.5), ("38.25", 38.25)]
        {
            let read = degrees_in_words(text).unwrap();
            assert!((read - degrees).abs() < 1e-9, "{text}: {read}");
        }
        assert_eq!(degrees_in_words("north"), None);
        assert_eq!(degrees_in_words("38 75 00"), None);
    }

    #[test]
    fn every_mixed_up_key_names_a_key_of_some_table() {
        use crate::told;
        let all: Vec<&str> = [
            told::File::KEYS,
            told::Site::KEYS,
            told::Weather::KEYS,
            told::Vehicle::KEYS,
            told::Motor::KEYS,
            told::Body::KEYS,
            told::Descent::KEYS,
            told::Cue::KEYS,
            told::Link::KEYS,
            told::LayoutField::KEYS,
        ]
        .concat();
        for (_, meant, _) in KEYS {
            assert!(all.contains(meant), "{meant}");
        }
    }
}
