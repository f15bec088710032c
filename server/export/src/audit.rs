//! What was wanted and predicted, held against what happened.
//!
//! The measure is the path with hindsight where there is one (an iterated smoother over every measurement of the flight), else
//! what was estimated live, and the audit says which. The smoother hears the same radio as the live estimate, so a sensor
//! that was wrong throughout is wrong in both; a log from the vehicle's own memory, where one was handed in, is heard too.

mod cue;
mod path;
mod prediction;
#[cfg(test)]
mod tests;

use std::fmt::Write as _;

use loftwatch_flight::{Prediction, Quantiles};
use serde::Serialize;
use ts_rs::TS;

use crate::flight::Flight;
use crate::path::Happened;

pub use cue::{CueAudit, Verdict};
pub use path::Track;
pub use prediction::{Apogee, Checked, Drag, Fan, Impulse, PredictionAudit};

/// A figure with its 90 % interval, SI.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "AuditFigure")]
pub struct Figure {
    /// Median.
    pub value: f64,
    /// 5 % quantile.
    pub low: f64,
    /// 95 % quantile.
    pub high: f64,
}

impl Figure {
    fn of(q: &Quantiles) -> Option<Self> {
        Self::new(q.p50, q.p05, q.p95)
    }

    fn new(value: f64, low: f64, high: f64) -> Option<Self> {
        let figure = Self { value: tidy(value), low: tidy(low), high: tidy(high) };
        (value.is_finite() && low.is_finite() && high.is_finite()).then_some(figure)
    }
}

/// Six digits are more than any of these figures has.
fn tidy(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = libm::pow(10.0, 5.0 - libm::floor(libm::log10(value.abs())));
    (value * scale).round() / scale
}

/// Both audits of a flight.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Audits {
    /// Number of the flight.
    pub flight: u32,
    /// Which data everything is measured against, in words.
    pub measured_against: String,
    /// Whether that is the path with hindsight.
    pub hindsight: bool,
    /// Of each cue, in the order of the setup.
    pub cues: Vec<CueAudit>,
    /// Of the predictions; `null` where no apogee is known.
    pub prediction: Option<PredictionAudit>,
    /// Why there is none, or what else has to be said.
    pub remarks: Vec<String>,
}

/// What the audits are made of.
#[derive(Clone, Debug)]
pub struct Evidence<'a> {
    /// The flight.
    pub flight: &'a Flight,
    /// States of each body: with hindsight, where there is any.
    pub track: &'a Track,
    /// States of each body as estimated live. Where a freed piece was heard badly they can be surer than hindsight.
    pub live: &'a Track,
    /// What happened.
    pub events: &'a [Happened],
    /// Predictions of the vehicle's apogee, in order of time.
    pub predictions: &'a [Prediction],
    /// The last opening load that was predicted for each cue before its moment, N.
    pub opening_loads: &'a [Option<Quantiles>],
    /// When each cue was commanded, as the vehicle said: the last packet without and the first one with, s.
    pub commanded: &'a [Option<(Option<f64>, f64)>],
    /// The log of the vehicle's own memory that the smoother heard too, in words.
    pub log: Option<&'a str>,
}

impl Evidence<'_> {
    /// Makes them.
    pub fn audits(&self) -> Audits {
        let hindsight = self.track.hindsight;
        let mut measured_against = if hindsight {
            "the path with hindsight: a smoother over every packet of the flight".to_owned()
        } else {
            "what was estimated live: there is no path with hindsight".to_owned()
        };
        if let Some(log) = self.log {
            let _ = write!(measured_against, "; and {log}");
        }
        let mut remarks = Vec::new();
        let apogee = prediction::apogee(self);
        if apogee.is_none() {
            remarks
                .push("No apogee is known, so there is nothing to hold the predictions against.".to_owned());
        }
        Audits {
            flight: self.flight.number,
            measured_against,
            hindsight,
            cues: cue::audit(self, apogee.as_ref()),
            prediction: apogee.map(|apogee| prediction::audit(self, apogee)),
            remarks,
        }
    }

    fn liftoff_s(&self) -> f64 {
        self.flight.liftoff_s().unwrap_or(0.0)
    }

    fn event(&self, body: usize, kind: loftwatch_flight::EventKind) -> Option<&Happened> {
        self.events.iter().find(|event| event.body == body && event.kind == kind)
    }
}
