//! What the filter thought on the way, sample by sample: where smoothing begins, what it is held to, and what stands where it does not
//! reach.

use crate::filter::Filter;
use crate::model::Model;
use crate::output::{Estimate, EventKind, Phase};
use crate::state::N;

use super::{CANOPIES, Start};

/// How long after a canopy was seen what is thought under it has settled, s (common practice, no source).
const SETTLES_S: f64 = 1.0;

/// What the filter of a body thought as its samples came.
#[derive(Clone, Default)]
pub(super) struct Lived {
    pub(super) moments: Vec<Moment>,
    /// Where it joined a flight that it had not seen lift off.
    pub(super) joined: Option<Start>,
    /// When each canopy was first seen to be open, s, and what was thought once that had settled.
    seen_s: [Option<f64>; CANOPIES.len()],
    pub(super) settled: Vec<Start>,
    waited: bool,
}

/// What it thought at one sample.
#[derive(Clone)]
pub(super) struct Moment {
    pub(super) t_s: f64,
    /// Whether GNSS was believed, and whether anything horizontal was known.
    pub(super) believed: bool,
    pub(super) flat_known: bool,
    pub(super) x: Option<[f64; N]>,
    pub(super) said: Option<Estimate>,
}

impl Moment {
    /// Whether what it moved aside was told by fixes that were believed.
    pub(super) fn is_told(&self) -> bool {
        self.flat_known && self.believed
    }
}

impl Lived {
    /// Notes what a body's filter thinks; of samples that came late and changed what was thought before, only what is thought now.
    pub(super) fn note(&mut self, m: &Model, f: &Filter) {
        if self.moments.last().is_some_and(|x| x.t_s >= f.t_s) {
            return;
        }
        let best = f.likeliest();
        let start = best.map(|blob| Start { t_s: f.t_s, phase: f.phase, blob });
        let waits = f.phase == Phase::Waiting;
        if self.waited && !waits && f.marked(EventKind::Liftoff).is_none() {
            self.joined = start;
        }
        self.waited = waits;
        for (seen, kind) in self.seen_s.iter_mut().zip(CANOPIES) {
            match *seen {
                None => *seen = f.marked(kind).map(|_| f.t_s),
                Some(t) if f.t_s >= t + SETTLES_S => {
                    self.settled.extend(start);
                    // Once is enough.
                    *seen = Some(f64::INFINITY);
                }
                Some(_) => {}
            }
        }
        self.moments.push(Moment {
            t_s: f.t_s,
            believed: !f.gnss_doubted,
            flat_known: f.flat_known,
            x: best.map(|b| b.x),
            said: if waits { None } else { crate::report::state(m, f) },
        });
    }

    /// What was thought at an instant, or last before it.
    pub(super) fn at(&self, t_s: f64) -> Option<&Moment> {
        let after = self.moments.partition_point(|x| x.t_s <= t_s);
        self.moments.get(after.saturating_sub(1))
    }
}
