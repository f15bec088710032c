//! What differs between two setups, key by key, and when each may change.

use std::collections::BTreeMap;
use std::fmt::{Debug, Display};

use loftwatch_engine::Setup;
use loftwatch_engine::setup::Source;
use loftwatch_flight::{Told, Trigger};
use serde::{Deserialize, Serialize};

/// When a change may take hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// At any moment: layouts, links, receivers, cues, areas, names of the wind's source.
    Now,
    /// Not between liftoff and landing: site, weather, vehicle, motors, bodies.
    OnTheGround,
}

/// One key that differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Changed {
    /// Dotted key.
    pub key: String,
    /// Value before, in words; empty if there was none.
    pub old: String,
    /// Value after, in words; empty if there is none.
    pub new: String,
    /// When it may take hold.
    pub change: Change,
}

/// The keys that differ, in order of their names.
pub fn changes(old: &Setup, new: &Setup) -> Vec<Changed> {
    let (before, after) = (flat(old), flat(new));
    let keys: std::collections::BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    keys.into_iter()
        .filter(|key| before.get(*key) != after.get(*key))
        .map(|key| {
            let value = |of: &BTreeMap<String, String>| of.get(key).cloned().unwrap_or_default();
            Changed { key: key.clone(), old: value(&before), new: value(&after), change: allowed(key) }
        })
        .collect()
}

/// When a key may change, by its section.
fn allowed(key: &str) -> Change {
    let section = key.split(['.', '[']).next().unwrap_or_default();
    match section {
        "site" if !key.starts_with("site.area") => Change::OnTheGround,
        "weather" if key != "weather.wind_source" => Change::OnTheGround,
        "vehicle" | "motor" | "upper_motor" | "body" => Change::OnTheGround,
        _ => Change::Now,
    }
}

/// Keys and values in words.
struct Flat(BTreeMap<String, String>);

impl Flat {
    fn put(&mut self, key: impl Into<String>, value: impl Display) {
        self.0.insert(key.into(), value.to_string());
    }
    fn data(&mut self, key: impl Into<String>, value: &impl Debug) {
        self.0.insert(key.into(), format!("{value:?}"));
    }
    fn told(&mut self, key: &str, unit: &str, told: Told) {
        self.put(key, format!("{} ± {} {unit}", figure(told.value), figure(told.sd)));
    }
    fn degrees(&mut self, key: &str, radians: f64) {
        self.put(key, format!("{} degrees", figure(radians.to_degrees())));
    }
}

/// A figure without the last digits that only the change of units made.
fn figure(value: f64) -> f64 {
    format!("{value:.12e}").parse().unwrap_or(value)
}

fn flat(setup: &Setup) -> BTreeMap<String, String> {
    let mut flat = Flat(BTreeMap::new());
    let plan = &setup.plan;
    flat.put("site.name", &setup.site_name);
    flat.degrees("site.latitude_deg", plan.site.latitude_rad);
    flat.degrees("site.longitude_deg", plan.site.longitude_rad);
    flat.put("site.elevation_m", plan.site.elevation_m);
    flat.put("site.geoid_above_ellipsoid_m", plan.site.geoid_m);
    for area in &setup.areas {
        flat.data(format!("site.area[{}]", area.name), &(area.kind, area.closed, &area.points_m));
    }
    flat.put("weather.station_pressure_hpa", figure(plan.weather.pressure_pa / 100.0));
    flat.put("weather.temperature_c", figure(plan.weather.temperature_k - 273.15));
    flat.told("weather.wind_mps", "m/s", plan.weather.wind_mps);
    flat.degrees("weather.wind_from_deg", plan.weather.wind_from_rad);
    flat.put("weather.wind_height_m", plan.weather.wind_height_m);
    flat.put("weather.wind_source", &setup.wind_source);
    vehicle(setup, &mut flat);
    bodies(setup, &mut flat);
    cues(setup, &mut flat);
    radio(setup, &mut flat);
    preparation(setup, &mut flat);
    flat.0
}

fn vehicle(setup: &Setup, flat: &mut Flat) {
    let vehicle = &setup.plan.vehicle;
    flat.put("vehicle.name", &setup.vehicle_name);
    flat.told("vehicle.liftoff_mass_kg", "kg", vehicle.liftoff_mass_kg);
    flat.put("vehicle.diameter_m", vehicle.diameter_m);
    flat.told("vehicle.drag_coefficient", "", vehicle.drag_coefficient);
    flat.put("vehicle.rail_guided_length_m", vehicle.rail_length_m);
    flat.degrees("vehicle.rail_tilt_from_vertical_deg", vehicle.rail_tilt_rad);
    match vehicle.rail_azimuth_rad {
        Some(azimuth) => flat.degrees("vehicle.rail_azimuth_deg", azimuth),
        None => flat.put("vehicle.rail_azimuth_deg", "not told"),
    }
    flat.degrees("vehicle.lean_spread_deg", vehicle.lean_sd_rad);
    for (index, motor) in setup.plan.motors.iter().enumerate() {
        let at = if index == 0 { "motor".to_owned() } else { format!("upper_motor[{index}]") };
        flat.told(&format!("{at}.total_impulse_ns"), "N s", motor.impulse_ns);
        flat.put(format!("{at}.burn_time_s"), motor.burn_time_s);
        flat.put(format!("{at}.propellant_mass_kg"), motor.propellant_mass_kg);
        let points = motor.curve.len();
        let digest: f64 = motor.curve.iter().map(|(t, f)| t * f).sum();
        let curve = if points == 0 {
            "flat".to_owned()
        } else {
            format!("{points} points, first moment {digest} N s2")
        };
        flat.put(format!("{at}.thrust_curve"), curve);
        if index > 0 {
            flat.told(&format!("{at}.ignition_after_burnout_s"), "s", motor.ignition_after_burnout_s);
            flat.put(format!("{at}.dropped_mass_kg"), motor.dropped_mass_kg);
            flat.told(&format!("{at}.drag_coefficient"), "", motor.drag_coefficient);
            flat.put(format!("{at}.diameter_m"), motor.diameter_m);
        }
    }
}

fn bodies(setup: &Setup, flat: &mut Flat) {
    let plan = &setup.plan;
    let cue = |index: usize| plan.cues.get(index).map_or("?", |c| c.name.as_str());
    for (index, body) in plan.bodies.iter().enumerate() {
        let at = format!("body[{}]", body.name);
        let parent = body.parent.and_then(|p| plan.bodies.get(p));
        flat.put(format!("{at}.parent"), parent.map_or("none", |p| p.name.as_str()));
        flat.put(format!("{at}.freed_by"), body.freed_by.map_or("none", cue));
        let number = setup.transmitters.get(index).copied().flatten();
        let words = match number {
            Some(number) => number.to_string(),
            None if body.has_transmitter => "any".to_owned(),
            None => "none".to_owned(),
        };
        flat.put(format!("{at}.transmitter"), words);
        flat.told(&format!("{at}.mass_kg"), "kg", body.mass_kg);
        flat.told(&format!("{at}.drag_area_m2"), "m2", body.bare_drag_area_m2);
        for (nth, descent) in body.descents.iter().enumerate() {
            let area = descent.drag_area_m2;
            let words = format!(
                "{:?} at {}, {} ± {} m2",
                descent.state,
                cue(descent.cue),
                figure(area.value),
                figure(area.sd)
            );
            flat.put(format!("{at}.descent[{}]", nth + 1), words);
        }
    }
}

fn cues(setup: &Setup, flat: &mut Flat) {
    let plan = &setup.plan;
    for cue in &plan.cues {
        let at = format!("cue[{}]", cue.name);
        flat.put(format!("{at}.kind"), format!("{:?}", cue.kind).to_lowercase());
        flat.put(format!("{at}.body"), plan.bodies.get(cue.body).map_or("?", |b| b.name.as_str()));
        let other = |index: usize| plan.cues.get(index).map_or("?", |c| c.name.as_str());
        let words = match cue.trigger {
            Trigger::ClimbRateBelow(v) => format!("climb rate below {v} m/s"),
            Trigger::BeforeApogee(v) => format!("{v} s before apogee"),
            Trigger::AfterApogee(v) => format!("{v} s after apogee"),
            Trigger::HeightBelow(v) => format!("height below {v} m"),
            Trigger::AfterLiftoff(v) => format!("{v} s after liftoff"),
            Trigger::AfterBurnout(v) => format!("{v} s after burnout"),
            Trigger::AfterCue(of, v) => format!("{v} s after {}", other(of)),
        };
        flat.put(format!("{at}.when"), words);
        flat.told(&format!("{at}.delay_s"), "s", cue.delay_s);
        let limit = cue.limit.as_ref();
        flat.put(
            format!("{at}.limit"),
            limit.map_or("none".to_owned(), |l| format!("{:?} {} ({})", l.of, l.value, l.from)),
        );
        flat.put(format!("{at}.mass_kg"), cue.mass_kg);
    }
}

/// What is told for the time before a flight: it changes nothing in flight.
fn preparation(setup: &Setup, flat: &mut Flat) {
    let told = &setup.preparation;
    for part in &told.parts {
        flat.put(format!("part[{}].mass_kg", part.name), part.mass_kg);
    }
    if let Some([gravity, pressure]) = told.centres_m {
        flat.put("centre_of_gravity_m", gravity);
        flat.put("centre_of_pressure_m", pressure);
    }
    flat.put("cluster", told.cluster);
    for (body, board) in setup.plan.bodies.iter().zip(&told.boards) {
        flat.data(format!("electronics[{}]", body.name), board);
    }
    for (cue, lag) in setup.plan.cues.iter().zip(&told.lags_s) {
        flat.told(&format!("lag_s[{}]", cue.name), "s", *lag);
    }
    flat.data("limits", &told.limits);
    flat.data("ceiling", &told.ceiling);
    for (index, step) in told.checklist.iter().enumerate() {
        flat.put(format!("checklist[{}]", index + 1), format!("{} {}", step.step, step.who));
    }
}

fn radio(setup: &Setup, flat: &mut Flat) {
    flat.put("receiver", setup.receivers.join(", "));
    for link in &setup.links {
        let at = format!("link[{}]", link.name);
        flat.put(format!("{at}.receiver"), &link.receiver);
        flat.put(format!("{at}.source"), source(&link.source));
        flat.data(format!("{at}.framing"), &link.framing);
        let names: Vec<&str> =
            link.layouts.iter().map(|&l| setup.layouts.get(l).map_or("?", |l| l.name.as_str())).collect();
        flat.put(format!("{at}.layouts"), names.join(", "));
        flat.put(format!("{at}.delay_s"), link.delay_s);
    }
    for layout in &setup.layouts {
        flat.data(format!("layout[{}]", layout.name), &(&layout.form, layout.body, layout.rate_hz));
    }
}

fn source(source: &Source) -> String {
    match source {
        Source::Serial { path, baud, data_bits, parity, stop_bits, flow } => {
            format!(
                "serial {path}, {baud} baud, {data_bits} data bits, parity {parity:?}, {stop_bits} stop bits, flow {flow:?}"
            )
        }
        Source::TcpConnect { address } => format!("tcp to {address}"),
        Source::TcpListen { address } => format!("tcp at {address}"),
        Source::Udp { address, datagrams } => format!("udp at {address}, datagrams {datagrams}"),
        Source::File { path } => format!("file {path}"),
        Source::Stdin => "stdin".to_owned(),
        Source::Relay { address, key_file, datagrams } => {
            format!("relay at {address}, key in {key_file}, datagrams {datagrams}")
        }
    }
}
