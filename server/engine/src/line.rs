//! Outputs as JSON Lines: one flat object a line, SI units, times in UTC seconds.
//!
//! `kind` is one of `estimate`, `prediction`, `cue`, `landing`, `event`, `headsup`, `accepted`, `smoothed`; with [`Lines::all`] also
//! `flight`, `silence`, `frame` and `reading`. Every line carries `flight` and `t_receive`, the receive time of the newest packet used; a
//! distribution is its median under the plain name and `_p05 _p25 _p75 _p95` beside it. The README has the field list.

mod fields;
mod place;

use loftwatch_flight::{CuePrediction, Estimate, Event, Landing, LimitOf, Prediction};
use serde::Serialize;

pub use self::fields::Line;
use crate::output::{FlightState, Frame, HeadsUp, Reading};
use crate::{Engine, Output, Said};

/// Turns outputs into lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lines {
    /// Whether flights, silences, frames and readings are told too.
    pub all: bool,
}

/// Station time to UTC seconds.
fn utc_s(t_ns: i64, offset_ns: i64) -> f64 {
    crate::recording::seconds(t_ns.saturating_add(offset_ns))
}

/// Times of one output, from the engine's axis to UTC.
#[derive(Clone, Copy)]
struct Utc {
    epoch_ns: i64,
}

impl Utc {
    fn s(self, t_s: f64, offset_ns: i64) -> f64 {
        utc_s(self.epoch_ns.saturating_add(libm::round(t_s * 1e9) as i64), offset_ns)
    }
}

impl Lines {
    /// The line of an output, if it has one. `engine` is the one that the output came from.
    pub fn write(&self, output: &Output, engine: &Engine) -> Option<Line> {
        let utc = Utc { epoch_ns: engine.epoch_ns() };
        let at = |t_s: f64| utc.s(t_s, output.utc_offset_ns);
        let plan = &engine.setup().plan;
        let name = |body: usize| plan.bodies.get(body).map_or("", |b| b.name.as_str());
        let start = |kind: &'static str, body: &str| {
            let mut line = Line::new(kind);
            if !body.is_empty() {
                line.text("body", body);
            }
            line.count("flight", u64::from(output.flight));
            line.number("t_receive", utc_s(output.t_receive_ns, output.utc_offset_ns));
            line
        };
        match &output.what {
            Said::Estimate { body, estimate } => Some(state(start("estimate", name(*body)), estimate, at)),
            Said::Smoothed { body, estimate } => Some(state(start("smoothed", name(*body)), estimate, at)),
            Said::Prediction { body, prediction } => {
                Some(apogee(start("prediction", name(*body)), prediction, at))
            }
            Said::Cue(prediction) => {
                let told = plan.cues.get(prediction.cue)?;
                Some(cue(start("cue", name(told.body)), prediction, told, at))
            }
            Said::Landing(place) => {
                let mut line = landing(start("landing", name(place.body)), place, at);
                place::put(&mut line, place, &plan.site);
                Some(line)
            }
            Said::Event { event: happened, label, who } => {
                Some(event(start("event", name(happened.body)), happened, label, who.as_deref(), at))
            }
            Said::HeadsUp(said) => {
                let of_cue = said.cue.and_then(|c| plan.cues.get(c)).map(|c| c.name.as_str());
                Some(heads_up(start("headsup", name(said.body)), said, of_cue, at(axis_s(engine, output))))
            }
            Said::Flight(state) if self.all => Some(flight(start("flight", ""), state, output.utc_offset_ns)),
            Said::Silence { since_ns } if self.all => {
                let mut line = start("silence", "");
                line.maybe("since_utc", since_ns.map(|t| utc_s(t, output.utc_offset_ns)));
                line.flag("on", since_ns.is_some());
                Some(line)
            }
            Said::Accepted(told) => {
                let mut line = start("accepted", "");
                line.number("t_utc", at(axis_s(engine, output)));
                line.text("key", &told.key);
                line.flag("on", told.on);
                line.text("what", &told.what);
                line.text("figure", &told.figure);
                line.text("limit", &told.limit);
                line.text("who", &told.who);
                line.text("why", &told.why);
                Some(line)
            }
            Said::Frame(cut) if self.all => Some(frame(start("frame", ""), cut)),
            Said::Reading(read) if self.all => {
                let t_utc = utc_s(read.t_measured_ns, output.utc_offset_ns);
                Some(reading(start("reading", name(read.body)), read, t_utc))
            }
            _ => None,
        }
    }
}

fn axis_s(engine: &Engine, output: &Output) -> f64 {
    crate::pen::axis_s(engine.epoch_ns(), output.t_ns)
}

/// The name that a value has in JSON.
fn word(value: &impl Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

fn state(mut line: Line, e: &Estimate, at: impl Fn(f64) -> f64) -> Line {
    line.number("t_utc", at(e.t_s));
    line.text("phase", &word(&e.phase));
    line.maybe_text("descent", e.descent.map(|d| word(&d)).as_deref());
    line.number("carried_s", e.carried_s);
    line.spread("height_m", &e.height_m);
    line.spread("climb_mps", &e.climb_mps);
    line.spread("airspeed_mps", &e.airspeed_mps);
    line.spread("ground_speed_mps", &e.ground_speed_mps);
    line.maybe_spread("lean_rad", e.lean_rad.as_ref());
    line.maybe("east_m", e.east_north_m.map(|p| p[0]));
    line.maybe("north_m", e.east_north_m.map(|p| p[1]));
    line.maybe("position_radius_m", e.position_radius_m);
    line.maybe("velocity_east_mps", e.east_north_mps.map(|v| v[0]));
    line.maybe("velocity_north_mps", e.east_north_mps.map(|v| v[1]));
    line.spread("drag_k_per_m", &e.drag_k_per_m);
    line.number("mach", e.mach);
    line.number("dynamic_pressure_pa", e.dynamic_pressure_pa);
    line
}

fn apogee(mut line: Line, p: &Prediction, at: impl Fn(f64) -> f64) -> Line {
    line.number("t_utc", at(p.t_s));
    line.spread("apogee_height_m", &p.apogee_height_m);
    line.spread_of("apogee_time_utc", &p.apogee_t_s, &at);
    line.spread("airspeed_at_apogee_mps", &p.airspeed_at_apogee_mps);
    line.spread("ground_speed_at_apogee_mps", &p.ground_speed_at_apogee_mps);
    line.number("hand_apogee_height_m", p.hand_height_m);
    line.number("hand_apogee_time_utc", at(p.hand_t_s));
    line
}

fn cue(mut line: Line, p: &CuePrediction, told: &loftwatch_flight::Cue, at: impl Fn(f64) -> f64) -> Line {
    line.text("cue", &told.name);
    line.text("cue_kind", &word(&told.kind));
    line.number("t_utc", at(p.t_s));
    line.spread_of("cue_time_utc", &p.cue_t_s, &at);
    line.spread("height_m", &p.height_m);
    line.spread("climb_mps", &p.climb_mps);
    line.spread("airspeed_mps", &p.airspeed_mps);
    line.spread("dynamic_pressure_pa", &p.dynamic_pressure_pa);
    line.maybe_spread("opening_load_n", p.opening_load_n.as_ref());
    line.maybe("over_limit", p.over_limit);
    if let Some(limit) = &told.limit {
        let name = match limit.of {
            LimitOf::Airspeed => "limit_airspeed_mps",
            LimitOf::DynamicPressure => "limit_dynamic_pressure_pa",
            LimitOf::OpeningLoad => "limit_opening_load_n",
        };
        line.number(name, limit.value);
        line.text("limit_from", &limit.from);
    }
    line.flag("passed", p.passed);
    line
}

fn landing(mut line: Line, l: &Landing, at: impl Fn(f64) -> f64) -> Line {
    line.text("case", &word(&l.case));
    line.number("t_utc", at(l.t_s));
    line.spread_of("landing_time_utc", &l.landing_t_s, &at);
    line.spread("descent_mps", &l.descent_mps);
    line
}

fn event(mut line: Line, e: &Event, label: &str, who: Option<&str>, at: impl Fn(f64) -> f64) -> Line {
    line.count("id", u64::from(e.id));
    line.text("event", &word(&e.kind));
    line.text("label", label);
    line.number("t_utc", at(e.t_s));
    line.number("t_sd_s", e.sd_s);
    line.text("origin", &word(&e.origin));
    if e.revision > 0 || e.withdrawn {
        line.count("revision", u64::from(e.revision));
        line.flag("withdrawn", e.withdrawn);
    }
    line.maybe_text("who", who);
    line
}

fn heads_up(mut line: Line, h: &HeadsUp, cue: Option<&str>, t_utc: f64) -> Line {
    line.number("t_utc", t_utc);
    line.text("key", &h.key);
    line.text("level", &word(&h.level));
    line.flag("on", h.on);
    line.maybe_text("cue", cue);
    line.number("mass_kg", h.mass_kg);
    line.number("figure", h.figure);
    line.maybe("limit", h.limit);
    line.text("unit", &h.unit);
    line.text("limit_from", &h.limit_from);
    line.text("words", &h.words);
    line
}

fn flight(mut line: Line, f: &FlightState, offset_ns: i64) -> Line {
    line.text("name", &f.name);
    line.number("opened_utc", utc_s(f.opened_ns, offset_ns));
    line.maybe("liftoff_utc", f.liftoff_ns.map(|t| utc_s(t, offset_ns)));
    line.maybe("ended_utc", f.ended_ns.map(|t| utc_s(t, offset_ns)));
    line
}

fn frame(mut line: Line, f: &Frame) -> Line {
    line.text("link", &f.link);
    line.count("offset", f.offset);
    line.count("length", u64::from(f.length));
    line.maybe_text("layout", f.layout.as_deref());
    line.maybe_text("wrong", f.wrong.as_deref());
    line.maybe_text("wrong_kind", f.wrong_kind.as_deref());
    line
}

fn reading(mut line: Line, r: &Reading, t_utc: f64) -> Line {
    line.number("t_utc", t_utc);
    line.text("link", &r.link);
    line.text("receiver", &r.receiver);
    line.text("layout", &r.layout);
    line.flag("again", r.again);
    if let Some(sequence) = r.sequence {
        line.count("sequence", sequence);
    }
    line.values("values", &r.values);
    line
}

#[cfg(test)]
mod tests;
