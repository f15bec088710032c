//! What the store says of a flight, as far as something handed out needs it.

use loftwatch_engine::Setup;

use crate::remark::Written;

/// One stored flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Flight {
    /// Number, from 1.
    pub number: u32,
    /// Name, empty if none was given.
    pub name: String,
    /// Name of the vehicle.
    pub vehicle: String,
    /// Name of the site.
    pub site: String,
    /// Opened, station time ns.
    pub opened_ns: i64,
    /// First motion, station time ns.
    pub liftoff_ns: Option<i64>,
    /// Ended, station time ns.
    pub ended_ns: Option<i64>,
    /// UTC is station time plus this, ns.
    pub utc_offset_ns: i64,
    /// Station time of the axis of the times inside outputs, ns.
    pub epoch_ns: i64,
    /// The setup in force.
    pub setup: Setup,
    /// What the crew wrote, in order of time.
    pub written: Vec<Written>,
}

impl Flight {
    /// A time inside outputs, as station time, ns.
    pub fn station_ns(&self, t_s: f64) -> i64 {
        self.epoch_ns + (t_s * 1e9).round() as i64
    }

    /// A time inside outputs, as UTC, ns.
    pub fn utc_ns(&self, t_s: f64) -> i64 {
        self.station_ns(t_s) + self.utc_offset_ns
    }

    /// Liftoff on the axis of the times inside outputs, s.
    pub fn liftoff_s(&self) -> Option<f64> {
        self.liftoff_ns.map(|t_ns| (t_ns - self.epoch_ns) as f64 / 1e9)
    }

    /// Name of a body.
    pub fn body(&self, body: usize) -> &str {
        self.setup.plan.bodies.get(body).map_or("", |body| body.name.as_str())
    }

    /// Name of a cue.
    pub fn cue(&self, cue: usize) -> &str {
        self.setup.plan.cues.get(cue).map_or("", |cue| cue.name.as_str())
    }

    /// Whether the place of the pad was told.
    pub fn has_place(&self) -> bool {
        !self.setup.defaults.iter().any(|(key, _)| key == "site.latitude_deg")
    }

    /// The crew's notes.
    pub fn notes(&self) -> Option<&str> {
        self.written.iter().find_map(Written::notes)
    }

    /// What it is called: its name, else the vehicle's.
    pub fn title(&self) -> &str {
        if self.name.is_empty() { &self.vehicle } else { &self.name }
    }
}

/// The name that a value has in JSON.
pub fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}
