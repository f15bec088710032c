//! What a setup means, in words for people: what `loftwatch setup check` prints.

use std::fmt::Write as _;

use loftwatch_engine::Setup;
use loftwatch_engine::setup::{Flow, Link, Parity, Source};
use loftwatch_flight::{Body, Cue, Limit, LimitOf, Motor, Trigger};
use loftwatch_radio::{Carrier, Cut, Encoding, Envelope, Form, Framing, Layout, LineChecksum, Meaning};

use crate::hub::word;

/// Width of the column that says what a line is about.
const FRONT: usize = 9;

/// The setup in a line for each thing, the remarks on it and the defaults that were taken.
pub(crate) fn in_words(setup: &Setup, remarks: &[String]) -> String {
    let said = Said { setup };
    let plan = &setup.plan;
    let mut text = String::new();
    let mut line = |what: &str, words: String| {
        let _ = writeln!(text, "{what:FRONT$}{words}");
    };
    line("vehicle", said.vehicle());
    for (index, motor) in plan.motors.iter().enumerate() {
        line("motor", said.motor(index, motor));
    }
    line("site", said.site());
    line("weather", said.weather());
    for area in &setup.areas {
        line("area", format!("{}: {}", area.name, word(&area.kind)));
    }
    for (index, body) in plan.bodies.iter().enumerate() {
        line("body", said.body(index, body));
    }
    for cue in &plan.cues {
        line("cue", said.cue(cue));
    }
    for link in &setup.links {
        line("link", said.link(link));
    }
    for layout in &setup.layouts {
        line("layout", said.layout(layout));
    }
    if setup.links.is_empty() {
        line("link", "none: nothing will be heard".to_owned());
    }
    if setup.layouts.is_empty() {
        line("layout", "none: bytes are kept and not understood".to_owned());
    }
    if !remarks.is_empty() {
        text.push_str("\nNotes (taken as it is, but is it meant?):\n");
        for remark in remarks {
            let _ = writeln!(text, "  {remark}");
        }
    }
    text.push_str("\nDefaults (not in the file):\n");
    for (key, value) in &setup.defaults {
        let _ = writeln!(text, "  {key} = {value}");
    }
    text
}

/// At most four decimals, none that say nothing: 24.000000000000057 K is a sum's noise.
fn figure(value: f64) -> String {
    format!("{}", (value * 1e4).round() / 1e4)
}

struct Said<'a> {
    setup: &'a Setup,
}

impl Said<'_> {
    /// What stands behind a value that was not told.
    fn default(&self, key: &str) -> &'static str {
        if self.setup.defaults.iter().any(|(taken, _)| taken == key) { " (default)" } else { "" }
    }

    fn vehicle(&self) -> String {
        let vehicle = &self.setup.plan.vehicle;
        format!(
            "{}: {} kg at liftoff, {} m in diameter, drag coefficient {}{}",
            self.setup.vehicle_name,
            figure(vehicle.liftoff_mass_kg.value),
            figure(vehicle.diameter_m),
            figure(vehicle.drag_coefficient.value),
            self.default("vehicle.drag_coefficient")
        )
    }

    fn motor(&self, index: usize, motor: &Motor) -> String {
        let table = if index == 0 { "motor".to_owned() } else { format!("upper_motor[{index}]") };
        let default = |key: &str| self.default(&format!("{table}.{key}"));
        let stage = if index == 0 { String::new() } else { format!("stage {}: ", index + 1) };
        let later = if index == 0 {
            String::new()
        } else {
            format!(
                ", lit {} s after burnout{}",
                figure(motor.ignition_after_burnout_s.value),
                default("ignition_after_burnout_s")
            )
        };
        format!(
            "{stage}{} N s{} in {:.2} s{}, {:.3} kg of propellant{}, {}{later}",
            figure(motor.impulse_ns.value),
            default("total_impulse_ns"),
            motor.burn_time_s,
            default("burn_time_s"),
            motor.propellant_mass_kg,
            default("propellant_mass_kg"),
            if motor.curve.is_empty() {
                "flat thrust".to_owned()
            } else {
                "with its thrust curve".to_owned()
            },
        )
    }

    fn site(&self) -> String {
        let site = &self.setup.plan.site;
        let place = if self.default("site.latitude_deg").is_empty() {
            // 1e-7 degrees is a centimetre.
            let degrees = |rad: f64| (rad.to_degrees() * 1e7).round() / 1e7;
            format!(
                "latitude {}, longitude {} degrees",
                degrees(site.latitude_rad),
                degrees(site.longitude_rad)
            )
        } else {
            "place not told".to_owned()
        };
        format!(
            "{}: {place}, {} m above sea level{}",
            self.setup.site_name,
            figure(site.elevation_m),
            self.default("site.elevation_m")
        )
    }

    fn weather(&self) -> String {
        let air = &self.setup.plan.weather;
        let wind = if self.default("weather.wind_mps").is_empty() {
            let from_deg = figure(air.wind_from_rad.to_degrees());
            format!("wind {} m/s from {from_deg} degrees", figure(air.wind_mps.value))
        } else {
            "wind not told".to_owned()
        };
        format!(
            "{} hPa{}, {} degrees Celsius{}, {wind}",
            figure(air.pressure_pa / 100.0),
            self.default("weather.station_pressure_hpa"),
            figure(air.temperature_k - 273.15),
            self.default("weather.temperature_c"),
        )
    }

    fn cue_name(&self, cue: usize) -> &str {
        self.setup.plan.cues.get(cue).map_or("?", |cue| cue.name.as_str())
    }

    fn body_name(&self, body: usize) -> &str {
        self.setup.plan.bodies.get(body).map_or("?", |body| body.name.as_str())
    }

    fn body(&self, index: usize, body: &Body) -> String {
        let radio = match self.setup.transmitters.get(index).copied().flatten() {
            Some(number) => format!("transmitter {number}"),
            None if body.has_transmitter => "with a radio".to_owned(),
            None => "no radio".to_owned(),
        };
        let mut words = format!(
            "{}: {:.3} kg{}, {radio}",
            body.name,
            body.mass_kg.value,
            self.default(&format!("body[{}].mass_kg", body.name))
        );
        if let Some(parent) = body.parent {
            let until = body
                .freed_by
                .map_or_else(|| "it moves by itself".to_owned(), |cue| format!("\"{}\"", self.cue_name(cue)));
            let _ = write!(words, ", hangs on {} until {until}", self.body_name(parent));
        }
        for descent in &body.descents {
            let _ = write!(words, ", {} from \"{}\"", word(&descent.state), self.cue_name(descent.cue));
        }
        if body.descents.is_empty() {
            words.push_str(", nothing brakes it");
        }
        words
    }

    fn cue(&self, cue: &Cue) -> String {
        let after = |s: f64, what: &str| {
            if s == 0.0 { format!("at {what}") } else { format!("{} s after {what}", figure(s)) }
        };
        let when = match cue.trigger {
            Trigger::ClimbRateBelow(mps) => format!("when it climbs less than {} m/s", figure(mps)),
            Trigger::BeforeApogee(s) => format!("{} s before apogee", figure(s)),
            Trigger::AfterApogee(s) => after(s, "apogee"),
            Trigger::HeightBelow(m) => format!("coming down through {} m", figure(m)),
            Trigger::AfterLiftoff(s) => after(s, "liftoff"),
            Trigger::AfterBurnout(s) => after(s, "burnout"),
            Trigger::AfterCue(cue, s) => after(s, &format!("\"{}\"", self.cue_name(cue))),
        };
        let limit = cue.limit.as_ref().map_or_else(|| "no limit".to_owned(), limit);
        format!("{}: {} of {} {when}; {limit}", cue.name, word(&cue.kind), self.body_name(cue.body))
    }

    fn link(&self, link: &Link) -> String {
        let layouts: Vec<&str> = link
            .layouts
            .iter()
            .filter_map(|index| self.setup.layouts.get(*index))
            .map(|layout| layout.name.as_str())
            .collect();
        let layouts = if layouts.is_empty() { "none".to_owned() } else { layouts.join(", ") };
        format!(
            "{}: {}; {}{}; layouts: {layouts}; {} s on the way at least{}",
            link.name,
            self.source(link),
            framing(&link.framing),
            self.default(&format!("link[{}].framing", link.name)),
            figure(link.delay_s),
            self.default(&format!("link[{}].delay_s", link.name)),
        )
    }

    fn source(&self, link: &Link) -> String {
        match &link.source {
            Source::Serial { path, baud, data_bits, parity, stop_bits, flow } => {
                let default = self.default(&format!("link[{}].baud", link.name));
                let mut words = format!("serial {path}, {baud} baud{default}");
                if (*data_bits, *parity, *stop_bits) != (8, Parity::None, 1) {
                    let _ = write!(
                        words,
                        ", {data_bits} data bits, parity {}, {stop_bits} stop bits",
                        word(parity)
                    );
                }
                if *flow != Flow::None {
                    let _ = write!(words, ", {} flow control", word(flow));
                }
                words
            }
            Source::TcpConnect { address } => format!("TCP, connects to {address}"),
            Source::TcpListen { address } => format!("TCP, waits at {address}"),
            Source::Udp { address, datagrams: true } => {
                format!("UDP at {address}, the end of a datagram ends a frame")
            }
            Source::Udp { address, datagrams: false } => {
                format!("UDP at {address}, a frame may go on in the next datagram")
            }
            Source::File { path } => format!("file {path}"),
            Source::Stdin => "standard input".to_owned(),
            Source::Relay { address, key_file, datagrams } => {
                let ends = if *datagrams { ", the end of each of its datagrams ends a frame" } else { "" };
                format!("a remote receiver that calls at {address} with the key in {key_file}{ends}")
            }
        }
    }

    fn layout(&self, layout: &Layout) -> String {
        let kind = form(&layout.form);
        let fields = layout.fields();
        let of = layout.body.map_or_else(String::new, |body| format!(", of {}", self.body_name(body)));
        let rate = layout.rate_hz.map_or_else(String::new, |hz| format!(", {} a second", figure(hz)));
        let meant: Vec<&str> = fields
            .iter()
            .flat_map(|field| {
                std::iter::once(field.meaning).chain(field.bits.iter().map(|bits| bits.meaning))
            })
            .filter(|meaning| *meaning != Meaning::Free)
            .map(Meaning::name)
            .collect();
        let meant = if meant.is_empty() { "no meaning".to_owned() } else { counted(&meant) };
        format!("{}: {kind}{of}{rate}; {} fields: {meant}", layout.name, fields.len())
    }
}

/// What kind of packet a layout reads.
fn form(form_of: &Form) -> String {
    let inside = |envelope: &Envelope, what: &str| {
        let carrier = match envelope.carrier {
            Carrier::Ax25 => "AX.25 UI frames",
            Carrier::Monitor => "monitor lines",
        };
        let from = envelope.from.as_ref().map_or_else(String::new, |from| format!(" from {from}"));
        format!("{what} in {carrier}{from}")
    };
    match form_of {
        Form::Text { starts_with: Some(word), .. } => format!("text that starts with {word}"),
        Form::Text { starts_with: None, .. } => "text".to_owned(),
        Form::Binary { length: Some(bytes), .. } => format!("binary, {bytes} bytes"),
        Form::Binary { length: None, .. } => "binary, any length".to_owned(),
        Form::Keyed { encoding: Encoding::Json, .. } => "JSON".to_owned(),
        Form::Keyed { encoding: Encoding::Cbor, .. } => "CBOR".to_owned(),
        Form::Nmea { position_from, velocity_from, .. } => format!(
            "NMEA 0183 (position from {}, velocity from {})",
            word(position_from).to_uppercase(),
            word(velocity_from).to_uppercase()
        ),
        Form::Aprs { envelope, .. } => inside(envelope, "APRS positions"),
        Form::In { envelope, form: inner } => inside(envelope, &form(inner)),
    }
}

/// The words in order, each once: `fired (3)`.
fn counted(words: &[&str]) -> String {
    let mut once: Vec<(&str, usize)> = Vec::new();
    for word in words {
        match once.iter_mut().find(|(known, _)| known == word) {
            Some((_, times)) => *times += 1,
            None => once.push((word, 1)),
        }
    }
    let said = |(word, times): &(&str, usize)| {
        if *times == 1 { (*word).to_owned() } else { format!("{word} ({times})") }
    };
    once.iter().map(said).collect::<Vec<_>>().join(", ")
}

fn limit(limit: &Limit) -> String {
    let (what, unit) = match limit.of {
        LimitOf::Airspeed => ("airspeed", "m/s"),
        LimitOf::DynamicPressure => ("dynamic pressure", "Pa"),
        LimitOf::OpeningLoad => ("opening load", "N"),
    };
    format!("{what} at most {} {unit} ({})", figure(limit.value), limit.from)
}

/// A framing in words.
pub(crate) fn framing(framing: &Framing) -> String {
    let word_of = |sync: &[u8]| sync.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ");
    let cut = match &framing.cut {
        Cut::Lines { checksum: LineChecksum::None } => "lines".to_owned(),
        Cut::Lines { checksum: LineChecksum::Optional } => "lines, checksum where there is one".to_owned(),
        Cut::Lines { checksum: LineChecksum::Xor } => "lines with a checksum".to_owned(),
        Cut::Cobs => "COBS".to_owned(),
        Cut::Slip => "SLIP".to_owned(),
        Cut::Kiss => "KISS".to_owned(),
        Cut::Sync { sync, .. } => format!("sync word {}, length, payload", word_of(sync)),
        Cut::Fixed { length, sync, .. } if sync.is_empty() => format!("frames of {length} bytes"),
        Cut::Fixed { length, sync, .. } => {
            format!("frames of {length} bytes that begin with {}", word_of(sync))
        }
    };
    match &framing.crc {
        Some(crc) => {
            let first = if crc.big_endian { "most" } else { "least" };
            format!("{cut}, {} ({first} significant byte first)", crc.name)
        }
        None if matches!(framing.cut, Cut::Lines { .. }) => cut,
        None => format!("{cut}, no CRC"),
    }
}
