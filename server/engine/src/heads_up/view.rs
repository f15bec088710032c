//! What heads-ups look at: the flight as it stands, and two sums that several of them need.

use loftwatch_flight::{Body, Cue, CuePrediction, Estimate, Landing, Phase, Plan, Prediction, Quantiles};

use super::descent::Openings;
use crate::setup::Area;

/// The flight at one instant.
pub(crate) struct View<'a> {
    /// Now, s on the engine's axis.
    pub(crate) t_s: f64,
    /// As told, locked in flight.
    pub(crate) plan: &'a Plan,
    /// Cues as told now: their limits may change in flight.
    pub(crate) cues: &'a [Cue],
    /// Named areas.
    pub(crate) areas: &'a [Area],
    /// By body index.
    pub(crate) bodies: &'a [BodyView],
    /// By cue index.
    pub(crate) cue_predictions: &'a [Option<CuePrediction>],
    /// As of the last beat.
    pub(crate) landings: &'a [Landing],
    /// Moments that matter.
    pub(crate) happened: Happened,
    /// All radios silent.
    pub(crate) silent: Option<Silent>,
    /// What the planned openings have shown.
    pub(crate) openings: &'a Openings,
}

/// One body at one instant.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct BodyView {
    /// State.
    pub(crate) estimate: Option<Estimate>,
    /// Apogee.
    pub(crate) prediction: Option<Prediction>,
    /// Whether it flies by itself.
    pub(crate) free: bool,
}

/// Moments of the vehicle's flight, s on the engine's axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Happened {
    pub(crate) liftoff_s: Option<f64>,
    pub(crate) rail_exit_s: Option<f64>,
    /// The newest burnout, of whichever motor.
    pub(crate) burnout_s: Option<f64>,
    /// Airspeed at the end of thrust: the newest seen under power, m/s.
    pub(crate) burnout_mps: Option<f64>,
    pub(crate) apogee_s: Option<f64>,
    /// How many motors have lit after the first.
    pub(crate) later_ignitions: usize,
}

/// All radios silent.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Silent {
    /// Newest packet, s on the engine's axis.
    pub(crate) since_s: f64,
    /// After how long silence was declared, s.
    pub(crate) stale_after_s: f64,
    /// Phase of the vehicle when the newest packet came.
    pub(crate) phase: Phase,
}

impl View<'_> {
    /// A body that flies by itself and is in the air.
    pub(crate) fn flying(&self, body: usize) -> Option<(&Body, &Estimate)> {
        let state = self.bodies.get(body)?;
        let estimate = state.estimate.as_ref()?;
        let aloft =
            matches!(estimate.phase, Phase::Joined | Phase::Powered | Phase::Coasting | Phase::Descending);
        (state.free && aloft).then_some((self.plan.bodies.get(body)?, estimate))
    }
    /// Whether the vehicle has left the pad and is not down.
    pub(crate) fn in_flight(&self) -> bool {
        self.flying(0).is_some()
    }
}

/// Probability that a quantity is above a limit, by straight lines between its five quantiles, going on
/// with the outermost slope.
pub(crate) fn above(q: &Quantiles, limit: f64) -> f64 {
    let knots = [(q.p05, 0.05), (q.p25, 0.25), (q.p50, 0.5), (q.p75, 0.75), (q.p95, 0.95)];
    let pair = knots.windows(2).find(|w| limit <= w[1].0).unwrap_or(&knots[3..5]);
    let ((x0, p0), (x1, p1)) = (pair[0], pair[1]);
    let below = if x1 - x0 > 1e-12 {
        p0 + (p1 - p0) * (limit - x0) / (x1 - x0)
    } else if limit < x0 {
        0.0
    } else {
        1.0
    };
    (1.0 - below).clamp(0.0, 1.0)
}

/// Seconds to come, in words.
pub(crate) fn in_seconds(dt_s: f64) -> String {
    if dt_s < 0.05 { "now".into() } else { format!("in {dt_s:.1} s") }
}

/// A figure as one says it: whole, or with a decimal below ten.
pub(crate) fn spoken(figure: f64) -> String {
    if libm::fabs(figure) < 9.95 { format!("{figure:.1}") } else { format!("{figure:.0}") }
}
