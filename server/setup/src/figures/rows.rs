//! Which figures the form has, table by table, in its order.

/// What a figure is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    Number,
    Words,
    /// One of these words.
    One(&'static [&'static str]),
    /// Name of an entry of this list.
    NameOf(&'static str),
    /// `true` or `false`.
    Flag,
    /// Pairs of numbers.
    Pairs,
}

/// One figure.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) key: &'static str,
    pub(super) label: &'static str,
    pub(super) unit: &'static str,
    pub(super) sort: Sort,
    /// Whether nothing can be taken without it.
    pub(super) needed: bool,
}

impl Row {
    const fn of(key: &'static str, label: &'static str, sort: Sort) -> Self {
        Self { key, label, unit: "", sort, needed: false }
    }
    const fn needed(self) -> Self {
        Self { needed: true, ..self }
    }
}

const fn number(key: &'static str, label: &'static str, unit: &'static str) -> Row {
    Row { unit, ..Row::of(key, label, Sort::Number) }
}
const fn words(key: &'static str, label: &'static str) -> Row {
    Row::of(key, label, Sort::Words)
}
const fn one(key: &'static str, label: &'static str, all: &'static [&'static str]) -> Row {
    Row::of(key, label, Sort::One(all))
}
const fn name_of(key: &'static str, label: &'static str, list: &'static str) -> Row {
    Row::of(key, label, Sort::NameOf(list))
}
const fn pairs(key: &'static str, label: &'static str, unit: &'static str) -> Row {
    Row { unit, ..Row::of(key, label, Sort::Pairs) }
}

/// A table of the setup file.
#[derive(Clone, Copy, Debug)]
pub(super) struct Table {
    /// Its place, with `[]` behind each list: `body[].descent[]`.
    pub(super) place: &'static str,
    /// What to call it; of a list, an entry that may be added.
    pub(super) what: &'static str,
    /// The figure that entries of a list are known by; without one they are known by their number.
    pub(super) name: Option<&'static str>,
    pub(super) rows: &'static [Row],
}

/// All tables of the form, in its order.
pub(super) const TABLES: &[Table] = &[
    Table {
        place: "vehicle",
        what: "Vehicle",
        name: None,
        rows: &[
            words("name", "name"),
            number("liftoff_mass_kg", "mass at liftoff", "kg").needed(),
            number("liftoff_mass_spread_percent", "its spread", "%"),
            number("diameter_m", "diameter", "m").needed(),
            number("drag_coefficient", "drag coefficient", ""),
            number("drag_spread_percent", "its spread", "%"),
            number("rail_guided_length_m", "travel to the upper guide’s exit", "m"),
            number("rail_tilt_from_vertical_deg", "rail tilt from vertical", "°"),
            number("rail_azimuth_deg", "rail leans towards, true", "°"),
            number("lean_spread_deg", "spread of the lean at burnout", "°"),
            number("centre_of_gravity_m", "centre of gravity behind the nose", "m"),
            number("centre_of_pressure_m", "centre of pressure behind the nose", "m"),
        ],
    },
    Table {
        place: "vehicle.part[]",
        what: "part",
        name: Some("name"),
        rows: &[words("name", "name").needed(), number("mass_kg", "mass as weighed", "kg").needed()],
    },
    Table {
        place: "motor",
        what: "Motor",
        name: None,
        rows: &[
            number("total_impulse_ns", "total impulse", "N s"),
            number("impulse_spread_percent", "its spread", "%"),
            number("burn_time_s", "burn time", "s"),
            number("propellant_mass_kg", "propellant", "kg"),
            pairs("thrust_points", "thrust curve", "s, N; s, N; …"),
            words("thrust_curve", "or a file beside the setup with it"),
            number("cluster", "motors that light together", ""),
        ],
    },
    Table {
        place: "upper_motor[]",
        what: "later motor",
        name: None,
        rows: &[
            number("total_impulse_ns", "total impulse", "N s"),
            number("impulse_spread_percent", "its spread", "%"),
            number("burn_time_s", "burn time", "s"),
            number("propellant_mass_kg", "propellant", "kg"),
            pairs("thrust_points", "thrust curve", "s, N; s, N; …"),
            words("thrust_curve", "or a file beside the setup with it"),
            number("ignition_after_burnout_s", "lights after burnout", "s"),
            number("ignition_spread_s", "its spread", "s"),
            number("dropped_mass_kg", "falls away before", "kg"),
            number("drag_coefficient", "drag coefficient", ""),
            number("drag_spread_percent", "its spread", "%"),
            number("diameter_m", "diameter", "m"),
        ],
    },
    Table {
        place: "body[]",
        what: "body",
        name: Some("name"),
        rows: &[
            words("name", "name").needed(),
            name_of("parent", "hangs on", "body"),
            name_of("freed_by", "let go by the cue", "cue"),
            number("transmitter", "transmitter’s number in its packets", ""),
            number("mass_kg", "mass on its own", "kg"),
            number("drag_area_m2", "drag area with nothing out", "m²"),
            number("battery_least_v", "least battery voltage", "V"),
            number("gnss_greatest_height_m", "receiver’s greatest height", "m AMSL"),
            number("gnss_greatest_speed_mps", "receiver’s greatest speed", "m/s"),
            number("gnss_greatest_acceleration_g", "receiver’s greatest acceleration", "g"),
            words("gnss_dynamics", "receiver’s dynamics setting"),
        ],
    },
    Table {
        place: "body[].descent[]",
        what: "descent state",
        name: None,
        rows: &[
            one("state", "state", &["drogue", "main", "streamer", "tumbling", "bare", "ballistic"]).needed(),
            name_of("cue", "from the cue", "cue").needed(),
            number("drag_area_m2", "drag area", "m²"),
            number("rate_mps", "or rate of descent", "m/s"),
            number("spread_percent", "its spread", "%"),
        ],
    },
    Table {
        place: "cue[]",
        what: "cue",
        name: Some("name"),
        rows: &[
            words("name", "name").needed(),
            one("kind", "kind", &["release", "separation", "chute", "staging"]).needed(),
            name_of("body", "body that acts", "body"),
            one(
                "when",
                "when",
                &[
                    "climb rate below",
                    "before apogee",
                    "after apogee",
                    "height below",
                    "after liftoff",
                    "after burnout",
                    "after cue",
                ],
            )
            .needed(),
            number("value", "its figure", "s, m or m/s").needed(),
            name_of("of", "the cue that it comes after", "cue"),
            number("delay_s", "delay of electronics and mechanism", "s"),
            number("spread_s", "its spread", "s"),
            number("lag_s", "lag of the vertical speed", "s"),
            number("lag_spread_s", "its spread", "s"),
            number("limit_airspeed_mps", "greatest airspeed", "m/s"),
            number("limit_dynamic_pressure_pa", "or greatest dynamic pressure", "Pa"),
            number("limit_opening_load_n", "or greatest opening load", "N"),
            words("limit_from", "where the limit comes from"),
            number("mass_kg", "mass that depends on it", "kg"),
        ],
    },
    Table {
        place: "site",
        what: "Site",
        name: None,
        rows: &[
            words("name", "name"),
            number("latitude_deg", "latitude, WGS84", "°"),
            number("longitude_deg", "longitude, WGS84", "°"),
            number("elevation_m", "elevation", "m AMSL"),
            number("geoid_above_ellipsoid_m", "geoid above ellipsoid", "m"),
        ],
    },
    Table {
        place: "site.area[]",
        what: "area",
        name: Some("name"),
        rows: &[
            words("name", "name").needed(),
            one("kind", "what it is", &["people", "cars", "road", "landing"]).needed(),
            pairs("points_m", "corners east, north of the pad", "m"),
            pairs("points_deg", "or corners latitude, longitude", "°"),
            Row::of("closed", "closed, else a line", Sort::Flag),
        ],
    },
    Table {
        place: "weather",
        what: "Weather",
        name: None,
        rows: &[
            number("station_pressure_hpa", "station pressure", "hPa"),
            number("temperature_c", "temperature", "°C"),
            number("wind_mps", "wind", "m/s"),
            number("wind_from_deg", "it comes from, true", "°"),
            number("wind_height_m", "measured above ground at", "m"),
            number("wind_spread_mps", "its spread", "m/s"),
            words("wind_source", "its source"),
        ],
    },
    Table {
        place: "limits",
        what: "Limits",
        name: None,
        rows: &[
            number("heard_within_s", "heard within", "s"),
            number("satellites_least", "satellites, at least", ""),
            number("dilution_most", "dilution, at most", ""),
            number("fix_within_m", "fix within, of the pad", "m"),
            number("pressure_within_hpa", "pressure within, of the station’s", "hPa"),
            number("upright_within_deg", "upright within", "°"),
            number("storage_least_percent", "storage left, at least", "%"),
            number("steady_for_s", "no restart within", "s"),
            number("thrust_to_weight_least", "thrust to weight, at least", ": 1"),
            number("rail_exit_least_mps", "speed at rail exit, at least", "m/s"),
            number("rail_tilt_most_deg", "rail tilt, at most", "°"),
            number("wind_most_mps", "wind, at most", "m/s"),
            number("attack_most_deg", "angle of attack, at most", "°"),
            number("stability_least", "stability, at least", "diameters"),
            number("drogue_most_mps", "under drogue, at most", "m/s"),
            number("landing_most_mps", "at landing, at most", "m/s"),
            number("landing_most_j", "energy at landing, at most", "J"),
            number("ceiling_m", "ceiling", "m"),
            one("ceiling_above", "ceiling above", &["ground", "sea level"]),
            words("ceiling_window", "it holds when"),
            words("ceiling_authority", "who granted it"),
        ],
    },
    Table {
        place: "checklist[]",
        what: "step",
        name: None,
        rows: &[words("step", "step").needed(), words("who", "who does it")],
    },
];

/// The table of a place.
pub(super) fn table(place: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.place == place)
}
