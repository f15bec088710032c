//! The face of this crate: one vehicle's tracker, with all its bodies.

use serde::{Deserialize, Serialize};

use crate::{CuePrediction, Estimate, Event, Knot, Landing, Plan, Prediction, Report, Sample};

/// Tracks one vehicle and the bodies it comes apart into, from the pad to the ground.
///
/// Serialises to the bit: a restored tracker goes on exactly as the original would.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Tracker {
    plan: Plan,
}

impl Tracker {
    /// A tracker on the pad, knowing what was told. `t_s` is now, on the caller's axis.
    pub fn new(plan: &Plan, t_s: f64) -> Self {
        let _ = t_s;
        Self { plan: plan.clone() }
    }
    /// Takes one sample. Late, doubled or out-of-order ones are welcome.
    pub fn take(&mut self, sample: &Sample) {
        let _ = sample;
    }
    /// Takes what the vehicle itself reports.
    pub fn report(&mut self, report: &Report) {
        let _ = report;
    }
    /// Time passes without a sample: silence, timeouts, landing by physics. Never goes backwards.
    pub fn advance(&mut self, t_s: f64) {
        let _ = t_s;
    }
    /// The state of a body now (at the newest of samples taken and `advance`).
    pub fn estimate(&self, body: usize) -> Option<Estimate> {
        let _ = (body, &self.plan);
        None
    }
    /// Apogee of the body (of its parent while attached).
    pub fn prediction(&self, body: usize) -> Option<Prediction> {
        let _ = body;
        None
    }
    /// All cues that have not passed, and those that have with their passed flag.
    pub fn cues(&self, out: &mut Vec<CuePrediction>) {
        out.clear();
    }
    /// The predicted path from now to the ground with bands, evenly usable by a chart; at most 64 knots. At most 5 Hz.
    pub fn path(&self, body: usize, out: &mut Vec<Knot>) {
        let _ = body;
        out.clear();
    }
    /// Landing areas of a body in every case that applies. At most 5 Hz.
    pub fn landings(&self, body: usize, out: &mut Vec<Landing>) {
        let _ = body;
        out.clear();
    }
    /// Events new or corrected since the last call, in order.
    pub fn drain_events(&mut self, out: &mut Vec<Event>) {
        out.clear();
    }
}
