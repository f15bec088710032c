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
    /// Measurements that no radio brought: from the vehicle's own memory, read afterwards. In order of time.
    onboard: Vec<Sample>,
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

    /// Measurements from the vehicle's own memory, for the flight that is told next.
    pub(crate) fn add(&mut self, samples: &[Sample]) {
        self.onboard.extend_from_slice(samples);
        self.onboard.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    }

    /// All measurements in order of receipt. What the vehicle's own memory holds takes the place of what the radio brought
    /// of the same sensor over the same time: it is the same measurement, and would count twice.
    fn all(&mut self) -> Vec<Sample> {
        let onboard = std::mem::take(&mut self.onboard);
        let (Some(first), Some(last)) = (onboard.first(), onboard.last()) else {
            return self.samples.clone();
        };
        let (from_s, to_s, body) = (first.t_s, last.t_s, first.body);
        let has = |of: fn(&Sample) -> bool| onboard.iter().any(of);
        let (pressure, axial, tilt) = (
            has(|s| s.pressure_pa.is_some()),
            has(|s| s.axial_mps2.is_some()),
            has(|s| s.tilt_rad.is_some()),
        );
        let (height, climb) = (has(|s| s.own_height_m.is_some()), has(|s| s.own_climb_mps.is_some()));
        let mut all: Vec<Sample> = self
            .samples
            .iter()
            .map(|heard| {
                let mut heard = *heard;
                if heard.body == body && (from_s..=to_s).contains(&heard.t_s) {
                    heard.pressure_pa = heard.pressure_pa.filter(|_| !pressure);
                    heard.axial_mps2 = heard.axial_mps2.filter(|_| !axial);
                    heard.tilt_rad = heard.tilt_rad.filter(|_| !tilt);
                    heard.own_height_m = heard.own_height_m.filter(|_| !height);
                    heard.own_climb_mps = heard.own_climb_mps.filter(|_| !climb);
                }
                heard
            })
            .chain(onboard.iter().copied())
            .collect();
        all.sort_by(|a, b| a.t_receive_s.total_cmp(&b.t_receive_s));
        all
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
        let all = self.all();
        let mut path = smoothed(plan, &all, &self.reports);
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
