//! What a rerun keeps of a flight, to tell its path with hindsight when it has ended.
//!
//! An engine that runs live keeps nothing of the kind: its memory is bounded, and what it told stays as it was told. A
//! rerun takes the same inputs, keeps the measurements of the flight, and lets the smoother go over them once.

use loftwatch_flight::{Estimate, Plan, Report, Sample, smoothed};

use crate::sound::Sound;

/// How much of the time before liftoff hindsight uses, s: enough for zeros and noise.
pub const ON_THE_PAD_S: f64 = 180.0;

/// Measurements and reports of the flight that is open, and of the pad before it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hindsight {
    samples: Vec<Sample>,
    reports: Vec<Report>,
}

impl Hindsight {
    /// Keeps a sample; while nothing flies, old ones are let go.
    pub(crate) fn take(&mut self, sample: &Sample, flies: bool) {
        self.samples.push(*sample);
        let first_s = self.samples[0].t_receive_s;
        if !flies && sample.t_receive_s - first_s > 2.0 * ON_THE_PAD_S {
            self.forget(sample.t_receive_s - ON_THE_PAD_S);
        }
    }

    pub(crate) fn report(&mut self, report: &Report) {
        self.reports.push(*report);
    }

    /// The flight has ended: its path, body by body. What was heard last is kept as the next one's time on the pad.
    ///
    /// Of the time before liftoff the same stretch is used wherever the rerun began.
    pub(crate) fn tell(&mut self, plan: &Plan, liftoff_s: Option<f64>) -> Vec<(usize, Estimate)> {
        if let Some(liftoff_s) = liftoff_s {
            self.forget(liftoff_s - ON_THE_PAD_S);
            self.reports.retain(|r| r.t_receive_s >= liftoff_s - ON_THE_PAD_S);
        }
        let mut path = smoothed(plan, &self.samples, &self.reports);
        path.retain(|(_, estimate)| estimate.is_sound());
        let last_s = self.samples.last().map_or(0.0, |s| s.t_receive_s);
        self.forget(last_s - ON_THE_PAD_S);
        self.reports.clear();
        path
    }

    fn forget(&mut self, before_s: f64) {
        self.samples.retain(|s| s.t_receive_s >= before_s);
    }
}
