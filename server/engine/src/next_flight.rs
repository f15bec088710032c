//! When the next flight begins, after one has ended.
//!
//! A vehicle that lies in the field goes on sending, and people walk to it by what is shown: that is still the old
//! flight. The next one begins when the vehicle is handled: a transmitter restarts, a fix is back near the pad, the nose
//! points up again; at the latest when it lifts off, which a tracker of its own watches for. A flight that the crew
//! ended is followed by another at the next packet.

use std::collections::BTreeMap;

use loftwatch_flight::{Plan, Sample, Tracker};
use serde::{Deserialize, Serialize};

/// A landing farther from the pad than this counts as away, m.
pub(crate) const AWAY_M: f64 = 100.0;
/// A fix nearer than this is back at the pad, m.
const BACK_M: f64 = 50.0;
/// Specific force along the nose of a vehicle that stands, and of one that lies, m/s2.
const STANDS_MPS2: f64 = 8.8;
const LIES_MPS2: f64 = 6.0;
/// Seconds for which it must stand.
const STANDS_S: f64 = 10.0;
/// Mean radius of the earth, m: good to half a percent for a distance.
const EARTH_M: f64 = 6_371_000.0;

/// Watches for the next flight.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct NextFlight {
    tracker: Tracker,
    boots: BTreeMap<usize, u32>,
    away: bool,
    has_lain: bool,
    stands_since_s: Option<f64>,
}

/// How the next flight begins.
pub(crate) enum Begins {
    /// On the pad, with a tracker to be begun.
    OnThePad,
    /// Already in the air, with the tracker that saw it.
    Aloft(Box<Tracker>),
}

impl NextFlight {
    /// Begins to watch. `away` tells whether the vehicle came down far from the pad.
    pub(crate) fn new(plan: &Plan, t_s: f64, away: bool) -> Self {
        Self {
            tracker: Tracker::new(plan, t_s),
            boots: BTreeMap::new(),
            away,
            has_lain: false,
            stands_since_s: None,
        }
    }

    /// Takes a sample; says whether the next flight begins with it.
    pub(crate) fn take(&mut self, sample: &Sample, plan: &Plan) -> Option<Begins> {
        let boot = *self.boots.entry(sample.body).or_insert(sample.boot);
        if boot != sample.boot || self.is_back(sample, plan) || self.stands(sample) {
            return Some(Begins::OnThePad);
        }
        self.tracker.take(sample);
        let aloft = self.tracker.estimate(0).is_some_and(|e| {
            use loftwatch_flight::Phase::{Coasting, Powered};
            matches!(e.phase, Powered | Coasting)
        });
        aloft.then(|| Begins::Aloft(Box::new(self.tracker.clone())))
    }

    fn is_back(&self, sample: &Sample, plan: &Plan) -> bool {
        let Some(fix) = sample.fix.filter(|_| self.away && sample.body == 0) else { return false };
        let north = fix.latitude_rad - plan.site.latitude_rad;
        let east = (fix.longitude_rad - plan.site.longitude_rad) * libm::cos(plan.site.latitude_rad);
        EARTH_M * libm::hypot(north, east) < BACK_M
    }

    fn stands(&mut self, sample: &Sample) -> bool {
        let Some(axial) = sample.axial_mps2.filter(|_| sample.body == 0) else { return false };
        if libm::fabs(axial) < LIES_MPS2 {
            self.has_lain = true;
        }
        if !self.has_lain || !(STANDS_MPS2..12.0).contains(&axial) {
            self.stands_since_s = None;
            return false;
        }
        sample.t_s - *self.stands_since_s.get_or_insert(sample.t_s) >= STANDS_S
    }
}
