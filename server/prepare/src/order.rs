//! Do cues and chutes come in the order in which they are meant to? A check over the drawn flights.

use loftwatch_engine::Setup;
use loftwatch_flight::CueKind;
use serde::Serialize;
use ts_rs::TS;

use crate::sample::Sample;

/// Two cues nearer than this share a moment, s: what lets go and what opens may meet (own figure).
const NEAR_S: f64 = 0.3;
/// Share of flights from which on it is told.
const TOLD: f64 = 0.01;

/// Two cues that may come in the wrong order, or together.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Clash {
    /// Name of the cue that is meant to come first.
    pub first: String,
    /// Name of the one after it.
    pub second: String,
    /// Share of the drawn flights in which they come the other way round.
    pub reversed: f64,
    /// Share in which they are nearer than a third of a second, or the other way round.
    pub near: f64,
    /// In words.
    pub words: String,
}

/// Cues that may clash: of one body, or of a body and what it was let go by.
pub fn order(setup: &Setup, sample: &Sample) -> Vec<Clash> {
    let plan = &setup.plan;
    let nominal = |i: usize| sample.nominal.cues.get(i).copied().flatten().map(|p| p.t_s);
    let related = |a: usize, b: usize| {
        let (ca, cb) = (&plan.cues[a], &plan.cues[b]);
        let frees = |cue: usize, body: usize| plan.bodies.get(body).is_some_and(|x| x.freed_by == Some(cue));
        ca.body == cb.body || frees(a, cb.body) || frees(b, ca.body)
    };
    let mut clashes = Vec::new();
    for a in 0..plan.cues.len() {
        for b in 0..plan.cues.len() {
            let (Some(ta), Some(tb)) = (nominal(a), nominal(b)) else { continue };
            // Two releases beside each other are the crew's own business; a chute is everybody's.
            let chute = plan.cues[a].kind == CueKind::Chute || plan.cues[b].kind == CueKind::Chute;
            if a == b || ta > tb || (ta == tb && a > b) || !chute || !related(a, b) {
                continue;
            }
            let both: Vec<f64> = sample
                .ones
                .iter()
                .filter_map(|one| {
                    let t = |i: usize| one.flown.cues.get(i).copied().flatten().map(|p| p.t_s);
                    Some(t(b)? - t(a)?)
                })
                .collect();
            if both.is_empty() {
                continue;
            }
            let share = |most: f64| both.iter().filter(|dt| **dt < most).count() as f64 / both.len() as f64;
            let (reversed, near) = (share(0.0), share(NEAR_S));
            if near < TOLD {
                continue;
            }
            let (first, second) = (plan.cues[a].name.clone(), plan.cues[b].name.clone());
            let words = if reversed >= TOLD {
                format!("{second} comes before {first} in {:.0} % of the drawn flights.", 100.0 * reversed)
            } else {
                format!(
                    "{second} comes within {NEAR_S} s of {first} in {:.0} % of the drawn flights.",
                    100.0 * near
                )
            };
            clashes.push(Clash { first, second, reversed, near, words });
        }
    }
    clashes
}
