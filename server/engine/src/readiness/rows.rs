//! Boards and receivers as checks: one for each figure that has a limit, in words a person can act on.

use std::collections::BTreeMap;

use loftwatch_flight::{RAIL_WITHIN_RAD, tilt_at_rest_rad};
use loftwatch_radio::Meaning;

use super::board::{Board, Channel, Circuit, SENSORS, Seen};
use crate::output::{Check, Level};
use crate::preparation::{self, Bound};
use crate::{Setup, cue_of};

/// Mean radius of the earth, m: good to half a percent for a distance.
const EARTH_M: f64 = 6_371_000.0;
/// A clock aboard whose rate differs more than this is looked at: ten times what a ceramic resonator does (own figure).
const CLOCK_RATE: f64 = 0.01;

/// Everything that has a limit, in the order of the setup.
pub(super) fn all(
    setup: &Setup,
    boards: &BTreeMap<usize, Board>,
    receivers: &BTreeMap<String, i64>,
    t_ns: i64,
) -> Vec<Check> {
    let mut rows = Rows { setup, limits: &setup.preparation.limits, t_ns, checks: Vec::new() };
    let bodies = setup.plan.bodies.iter().enumerate();
    for (index, _) in bodies.filter(|(index, body)| body.has_transmitter || boards.contains_key(index)) {
        rows.heard(index, boards.get(&index));
    }
    for receiver in &setup.receivers {
        rows.receiver(receiver, receivers.get(receiver).copied());
    }
    // The vehicle's own board comes first; a camera may be mounted at any angle.
    let stands = boards.iter().find_map(|(index, board)| Some((*index, rows.tilt_rad(board)?)));
    for (index, board) in boards.iter().filter(|(index, _)| **index < setup.plan.bodies.len()) {
        // What is no longer heard is said once, as silence: its old figures are no figures of now.
        if rows.is_silent(board.heard_ns) {
            continue;
        }
        rows.fix(*index, board);
        rows.pressure(*index, board, boards);
        for (name, channel) in &board.channels {
            rows.channel(*index, name, channel, stands.map(|(_, tilt)| tilt));
        }
        rows.battery(*index, board);
        rows.sensors(*index, board);
        rows.clock(*index, board);
        rows.storage(*index, board);
        rows.restart(*index, board);
    }
    if let Some((index, tilt)) = stands {
        rows.upright(index, tilt);
        if tilt <= rows.limits.upright_within_rad.value
            && let Some(leans) = Rows::leans_rad(&boards[&index])
        {
            rows.rail(index, leans);
        }
    }
    rows.checks
}

struct Rows<'a> {
    setup: &'a Setup,
    limits: &'a preparation::Limits,
    t_ns: i64,
    checks: Vec<Check>,
}

impl Rows<'_> {
    fn name(&self, body: usize) -> &str {
        self.setup.plan.bodies.get(body).map_or("?", |b| b.name.as_str())
    }

    /// Whether nobody told a figure of the setup.
    fn is_default(&self, key: &str) -> bool {
        self.setup.defaults.iter().any(|(of, _)| of == key)
    }

    fn is_silent(&self, heard_ns: i64) -> bool {
        self.t_ns.saturating_sub(heard_ns) as f64 > self.limits.heard_within_s.value * 1e9
    }

    fn put(&mut self, check: Check) {
        self.checks.push(check);
    }

    fn heard(&mut self, body: usize, board: Option<&Board>) {
        let name = self.name(body).to_owned();
        let bound = &self.limits.heard_within_s;
        let silent = board.is_none_or(|b| self.is_silent(b.heard_ns));
        self.put(Check {
            key: format!("heard:{name}"),
            body: Some(body),
            what: format!("{name} radio"),
            figure: match board {
                None => "not heard yet".to_owned(),
                Some(_) if silent => "silent".to_owned(),
                Some(_) => "heard".to_owned(),
            },
            since_ns: board.filter(|_| silent).map(|b| b.heard_ns),
            limit: format!("heard within {:.0} s", bound.value),
            limit_from: bound.from.clone(),
            level: silent.then_some(Level::Act),
            words: match board {
                None => format!("{name} has not been heard yet. Check its power, then its aerial."),
                Some(_) => format!("{name} has fallen silent. Check its power, then its aerial."),
            },
            accepted: None,
        });
    }

    fn receiver(&mut self, name: &str, heard_ns: Option<i64>) {
        let bound = &self.limits.heard_within_s;
        let silent = heard_ns.is_none_or(|heard_ns| self.is_silent(heard_ns));
        self.put(Check {
            key: format!("receiver:{name}"),
            body: None,
            what: format!("{name} receiver"),
            figure: match heard_ns {
                None => "nothing heard yet".to_owned(),
                Some(_) if silent => "hears nothing".to_owned(),
                Some(_) => "hears".to_owned(),
            },
            since_ns: heard_ns.filter(|_| silent),
            limit: format!("a packet within {:.0} s", bound.value),
            limit_from: bound.from.clone(),
            level: silent.then_some(Level::Look),
            words: format!("The receiver {name} hears nothing. Look at its link and its aerial."),
            accepted: None,
        });
    }

    fn check(&self, body: usize, kind: &str, what: &str, bound: &Bound) -> Check {
        let name = self.name(body);
        Check {
            key: format!("{kind}:{name}"),
            body: Some(body),
            what: format!("{name} {what}"),
            figure: String::new(),
            since_ns: None,
            limit: String::new(),
            limit_from: bound.from.clone(),
            level: None,
            words: String::new(),
            accepted: None,
        }
    }

    fn fix(&mut self, body: usize, board: &Board) {
        let name = self.name(body).to_owned();
        let limits = self.limits;
        if let Some(fix) = board.fix {
            let bound = &limits.fix_within_m;
            let away_m = board.place.filter(|_| fix.value).map(|place| self.pad_distance_m(place.value));
            let far = away_m.is_some_and(|away| away > bound.value);
            let dynamics = self.setup.preparation.boards.get(body).and_then(|b| b.gnss_dynamics.as_deref());
            let told = dynamics.map(|d| format!("; dynamics {d}, as told")).unwrap_or_default();
            let mut check = self.check(body, "fix", "fix", bound);
            check.limit = format!("within {:.0} m of the told pad", bound.value);
            check.level = if fix.value { far.then_some(Level::Look) } else { Some(Level::Act) };
            (check.figure, check.words) = match away_m {
                _ if !fix.value => (
                    format!("no fix{told}"),
                    format!("{name} has no fix. Give its satellite receiver open sky, and time."),
                ),
                Some(away) => (
                    format!("{} from the pad{told}", metres(away)),
                    format!(
                        "{name}'s fix is {} from the told pad. Is the pad's position right, or the fix bad?",
                        metres(away)
                    ),
                ),
                None => (format!("valid{told}"), String::new()),
            };
            self.put(check);
        }
        if let Some(satellites) = board.satellites {
            let bound = &limits.satellites_least;
            let mut check = self.check(body, "satellites", "satellites", bound);
            check.figure = format!("{:.0}", satellites.value);
            check.limit = format!("at least {:.0}", bound.value);
            check.level = (satellites.value < bound.value).then_some(Level::Look);
            check.words =
                format!("{name} sees {:.0} satellites. Wait, or give it more sky.", satellites.value);
            self.put(check);
        }
        if let Some(dilution) = board.dilution {
            let bound = &limits.dilution_most;
            let mut check = self.check(body, "dilution", "dilution", bound);
            check.figure = format!("{:.1}", dilution.value);
            check.limit = format!("at most {:.1}", bound.value);
            check.level = (dilution.value > bound.value).then_some(Level::Look);
            check.words = format!("{name}'s satellites stand badly, dilution {:.1}. Wait.", dilution.value);
            self.put(check);
        }
    }

    fn pad_distance_m(&self, place: [f64; 2]) -> f64 {
        let site = &self.setup.plan.site;
        let turn = core::f64::consts::TAU;
        let around = place[1] - site.longitude_rad;
        let around = around - turn * libm::round(around / turn);
        EARTH_M * libm::hypot(place[0] - site.latitude_rad, around * libm::cos(site.latitude_rad))
    }

    /// Against the station's own pressure where that was told, else against the middle of the other boards.
    fn pressure(&mut self, body: usize, board: &Board, boards: &BTreeMap<usize, Board>) {
        let Some(own) = board.pressure_pa else { return };
        let assumed = self.is_default("weather.station_pressure_hpa");
        let (against, whose) = if assumed {
            let mut others: Vec<f64> = boards
                .iter()
                .filter(|(other, b)| **other != body && !self.is_silent(b.heard_ns))
                .filter_map(|(_, b)| b.pressure_pa.map(|p| p.value))
                .collect();
            if others.is_empty() {
                return;
            }
            others.sort_by(f64::total_cmp);
            (others[others.len() / 2], "of the other boards")
        } else {
            (self.setup.plan.weather.pressure_pa, "of the station")
        };
        let bound = &self.limits.pressure_within_pa;
        let off = own.value - against;
        let mut check = self.check(body, "pressure", "pressure", bound);
        // Without a sign before nothing.
        let tenths = libm::round(off / 10.0) / 10.0 + 0.0;
        let sign = if tenths > 0.0 { "+" } else { "" };
        check.figure = format!("{:.1} hPa, {sign}{tenths:.1} off", own.value / 100.0);
        check.limit = format!("within {:.1} hPa {whose}", bound.value / 100.0);
        check.level = (libm::fabs(off) > bound.value).then_some(Level::Look);
        check.words = format!(
            "{}'s pressure is {:.1} hPa off that {whose}. Is its port open, and the station's figure of now?",
            self.name(body),
            libm::fabs(off) / 100.0
        );
        self.put(check);
    }

    fn channel(&mut self, body: usize, channel: &str, is: &Channel, upright: Option<f64>) {
        let name = cue_of(&self.setup.plan, body, channel)
            .and_then(|cue| self.setup.plan.cues.get(cue))
            .map_or_else(|| format!("{} {channel}", self.name(body)), |cue| cue.name.clone());
        let armed = is.armed.map(|a| a.value);
        let about = |kind: &str, what: String| Check {
            key: format!("{kind}:{name}"),
            body: Some(body),
            what,
            figure: String::new(),
            since_ns: None,
            limit: String::new(),
            limit_from: "default".to_owned(),
            level: None,
            words: String::new(),
            accepted: None,
        };
        let mut new = Vec::new();
        if let Some(Seen { value: circuit, .. }) = is.circuit {
            let mut check = about("continuity", format!("{name} continuity"));
            "closed".clone_into(&mut check.limit);
            (check.figure, check.level, check.words) = match circuit {
                Circuit::Closed => ("closed".to_owned(), None, String::new()),
                // A switch in series with the igniter opens the circuit as long as it is safe.
                Circuit::Open if armed == Some(false) => (
                    "open, safe".to_owned(),
                    Some(Level::Look),
                    format!(
                        "{name}: igniter circuit open. Does its switch stand in between, or is it not connected?"
                    ),
                ),
                Circuit::Open => (
                    "open".to_owned(),
                    Some(Level::Act),
                    format!(
                        "{name}: igniter circuit open. Make it safe, then look at the igniter and its wires."
                    ),
                ),
                Circuit::Short => (
                    "short".to_owned(),
                    Some(Level::Act),
                    format!(
                        "{name}: igniter circuit short. Make it safe, then look at the igniter and its wires."
                    ),
                ),
            };
            new.push(check);
        }
        if let Some(armed) = armed {
            let mut check = about("armed", format!("{name} arming"));
            let most = self.limits.upright_within_rad.value;
            "armed only when upright".clone_into(&mut check.limit);
            (if armed { "armed" } else { "safe" }).clone_into(&mut check.figure);
            match upright {
                Some(tilt) if armed && tilt > most => {
                    check.level = Some(Level::Act);
                    check.words = format!(
                        "{name} is armed and the vehicle is not upright. Keep clear and make it safe."
                    );
                }
                None if armed => {
                    check.level = Some(Level::Look);
                    check.words =
                        format!("{name} is armed. Whether the vehicle is upright is not known here.");
                }
                _ => {}
            }
            new.push(check);
        }
        if is.fired.is_some_and(|fired| fired.value) {
            let mut check = about("fired", format!("{name} charge"));
            "says fired".clone_into(&mut check.figure);
            "not fired on the pad".clone_into(&mut check.limit);
            check.level = Some(Level::Act);
            check.words = format!("{name} says that it has fired. Treat it as live until it was looked at.");
            new.push(check);
        }
        self.checks.extend(new);
    }

    fn battery(&mut self, body: usize, board: &Board) {
        let Some(volts) = board.battery_v else { return };
        let told = self.setup.preparation.boards.get(body).and_then(|b| b.battery_least_v);
        // Without a limit there is nothing to hold it against: chemistries differ.
        let Some(least) = told else { return };
        let bound = Bound::usual(least, preparation::BY_CREW);
        let mut check = self.check(body, "battery", "battery", &bound);
        check.figure = format!("{:.2} V", volts.value);
        check.limit = format!("at least {least:.2} V");
        check.level = (volts.value < least).then_some(Level::Look);
        check.words =
            format!("{}'s battery is at {:.2} V. Charge or change it.", self.name(body), volts.value);
        self.put(check);
    }

    fn sensors(&mut self, body: usize, board: &Board) {
        let mut worst = None;
        for (meaning, most, trembles) in SENSORS {
            let Some(sensor) = board.sensors.get(&meaning) else { continue };
            let word = meaning.name();
            if let Some(since_ns) = sensor.still_since_ns().filter(|_| trembles) {
                worst = Some((format!("{word} stands still"), Some(since_ns)));
                break;
            }
            if let Some(jump) = sensor.jump(self.t_ns) {
                let (size, unit) = match meaning {
                    Meaning::Pressure => (jump.value / 100.0, "hPa"),
                    Meaning::BatteryVoltage => (jump.value, "V"),
                    _ => (jump.value, "m/s²"),
                };
                worst.get_or_insert((
                    format!("{word} jumped by {size:.1} {unit}, over {}", shown(meaning, most)),
                    None,
                ));
            }
        }
        if board.sensors.is_empty() {
            return;
        }
        let bound = Bound::usual(0.0, "default");
        let mut check = self.check(body, "sensors", "sensors", &bound);
        "neither still nor jumping".clone_into(&mut check.limit);
        match worst {
            None => "moving".clone_into(&mut check.figure),
            Some((figure, since_ns)) => {
                check.level = Some(Level::Look);
                check.words =
                    format!("{}'s {figure}. Restart the board, or look at the sensor.", self.name(body));
                check.since_ns = since_ns;
                check.figure = figure;
            }
        }
        self.put(check);
    }

    fn clock(&mut self, body: usize, board: &Board) {
        let Some((rate, doubt)) = board.clock_rate() else { return };
        let bound = Bound::usual(CLOCK_RATE, "default");
        let mut check = self.check(body, "clock", "clock", &bound);
        let way = if rate >= 0.0 { "fast" } else { "slow" };
        check.figure = format!("{:.1} % {way}, ± {:.1}", 100.0 * libm::fabs(rate), 100.0 * doubt);
        check.limit = format!("within {:.0} %", 100.0 * CLOCK_RATE);
        check.level = (libm::fabs(rate) - doubt > CLOCK_RATE).then_some(Level::Look);
        check.words =
            format!("{}'s clock runs {}. Is the unit of its time told right?", self.name(body), check.figure);
        self.put(check);
    }

    fn storage(&mut self, body: usize, board: &Board) {
        let Some(left) = board.storage else { return };
        let bound = &self.limits.storage_least;
        let mut check = self.check(body, "storage", "storage left", bound);
        check.figure = format!("{:.0} %", 100.0 * left.value);
        check.limit = format!("at least {:.0} %", 100.0 * bound.value);
        check.level = (left.value < bound.value).then_some(Level::Look);
        check.words =
            format!("{} has {:.0} % of its storage left. Clear it.", self.name(body), 100.0 * left.value);
        self.put(check);
    }

    fn restart(&mut self, body: usize, board: &Board) {
        let bound = &self.limits.steady_for_s;
        let steady_s = self.t_ns.saturating_sub(board.steady_since_ns) as f64 * 1e-9;
        let recent = board.restarted && steady_s < bound.value;
        let mut check = self.check(body, "restart", "restarts", bound);
        check.figure = if recent {
            "restarted".to_owned()
        } else if board.restarted {
            "steady since a restart".to_owned()
        } else {
            "none heard".to_owned()
        };
        check.since_ns = board.restarted.then_some(board.steady_since_ns);
        check.limit = format!("none within {:.0} s", bound.value);
        check.level = recent.then_some(Level::Look);
        check.words =
            format!("{} restarted. Look at its battery and its switch; wait for a fix.", self.name(body));
        self.put(check);
    }

    /// To a few degrees: from its own tilt, else from gravity along and across while both together are 1 g.
    fn leans_rad(board: &Board) -> Option<f64> {
        match board.tilt_rad {
            Some(tilt) => Some(tilt.value),
            None => tilt_at_rest_rad(board.axial_mps2?.value, board.lateral_mps2?.value),
        }
    }

    /// From its own tilt, else from gravity along and across the nose while it stands.
    fn tilt_rad(&self, board: &Board) -> Option<f64> {
        if self.is_silent(board.heard_ns) {
            return None;
        }
        if let Some(tilt) = board.tilt_rad {
            return Some(tilt.value);
        }
        let along = board.axial_mps2?.value;
        match board.lateral_mps2 {
            Some(across) => {
                let side = libm::hypot(across.value[0], across.value[1]);
                Some(libm::atan2(side, along))
            }
            // Offsets of a tenth of gravity are usual: only lying down is told for certain by one axis.
            None => Some(libm::acos((along / 9.8).clamp(-1.0, 1.0))),
        }
    }

    fn upright(&mut self, body: usize, tilt_rad: f64) {
        let bound = &self.limits.upright_within_rad;
        let mut check = self.check(body, "upright", "tilt", bound);
        check.figure = format!("{:.0}° from vertical", tilt_rad.to_degrees());
        check.limit = format!("at most {:.0}°", bound.value.to_degrees());
        check.level = (tilt_rad > bound.value).then_some(Level::Look);
        check.words = format!(
            "{} lies {:.0}° from vertical. It is not upright yet.",
            self.name(body),
            tilt_rad.to_degrees()
        );
        self.put(check);
    }

    /// What stands upright lies in its rail. The nominal flight begins with the rail's told tilt.
    fn rail(&mut self, body: usize, tilt_rad: f64) {
        let told_rad = self.setup.plan.vehicle.rail_tilt_rad;
        let from = if self.is_default("vehicle.rail_tilt_from_vertical_deg") {
            "default"
        } else {
            preparation::BY_CREW
        };
        let bound = Bound::usual(RAIL_WITHIN_RAD, from);
        let mut check = self.check(body, "rail", "rail", &bound);
        check.figure = format!("{:.0}° from vertical", tilt_rad.to_degrees());
        check.limit =
            format!("within {:.0}° of the rail's {:.0}°", bound.value.to_degrees(), told_rad.to_degrees());
        check.level = (libm::fabs(tilt_rad - told_rad) > bound.value).then_some(Level::Look);
        check.words = format!(
            "{} stands {:.0}° from vertical, and the rail's tilt is {:.0}° in the setup ({from}). Which is right?",
            self.name(body),
            tilt_rad.to_degrees(),
            told_rad.to_degrees()
        );
        self.put(check);
    }
}

fn metres(m: f64) -> String {
    if m < 9950.0 { format!("{m:.0} m") } else { format!("{:.0} km", m / 1000.0) }
}

/// The jump that counts, in words.
fn shown(meaning: Meaning, most: f64) -> String {
    match meaning {
        Meaning::Pressure => format!("{:.1} hPa", most / 100.0),
        Meaning::BatteryVoltage => format!("{most:.1} V"),
        _ => format!("{most:.0} m/s²"),
    }
}
