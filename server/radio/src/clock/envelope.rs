//! The line under all (onboard time, difference) points of a sliding window, nearest to them.
//!
//! Points are kept as the least difference of each of 64 slots of 4 s of onboard time, so that memory is fixed and a
//! window of 256 s always holds. The line is the edge of their lower convex hull (Andrew 1979) over their mean time,
//! which is the solution of Moon, Skelly & Towsley's linear programme.

use serde::{Deserialize, Serialize};

/// Onboard time of a slot, s.
const SLOT_S: f64 = 4.0;
/// Slots kept. The window must be long against the pauses between quick packets and short against changes of drift
/// with temperature.
const SLOTS: usize = 64;
/// Greatest drift believed, s/s: ceramic resonators are sold with 0.5 %; twice that is a wrong unit.
const MOST_DRIFT: f64 = 0.01;
/// Window at which the drift counts half, s. In a short window the difference of two delays looks like drift: 10 ms in
/// 20 s is 500 ppm, as much as a bad crystal's.
const HALF_TRUST_S: f64 = 20.0;
/// A point this far under the line is not believed at once, s: a damaged onboard time would pull the line down for
/// minutes.
const DOUBT_S: f64 = 0.25;
/// Points in a row that are believed.
const PROOF: u8 = 3;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Envelope {
    slots: Vec<Slot>,
    points: u32,
    doubt: Option<(f64, u8)>,
    line: Option<Line>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Slot {
    number: i64,
    onboard_s: f64,
    difference_s: f64,
}

/// difference = `at_s` + drift * (onboard - `from_s`).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Line {
    from_s: f64,
    at_s: f64,
    slope: f64,
    /// Root mean square of the slots' distances from the line, s.
    pub(super) rms_s: f64,
    /// The slope before it is trusted less for a short window.
    pub(super) drift: Option<f64>,
}

impl Line {
    pub(super) fn at(&self, onboard_s: f64) -> f64 {
        self.at_s + self.slope * (onboard_s - self.from_s)
    }
}

impl Envelope {
    pub(super) fn line(&self) -> Option<Line> {
        self.line
    }

    /// Points taken, the doubtful ones not counted.
    pub(super) fn points(&self) -> u32 {
        self.points
    }

    pub(super) fn add(&mut self, onboard_s: f64, difference_s: f64) {
        if !(onboard_s.is_finite() && difference_s.is_finite()) || self.is_doubtful(onboard_s, difference_s) {
            return;
        }
        self.points = self.points.saturating_add(1);
        let number = libm::floor(onboard_s / SLOT_S) as i64;
        let point = Slot { number, onboard_s, difference_s };
        let changed = match self.slots.binary_search_by_key(&number, |slot| slot.number) {
            Ok(at) if self.slots[at].difference_s <= difference_s => false,
            Ok(at) => {
                self.slots[at] = point;
                true
            }
            Err(at) => {
                self.slots.insert(at, point);
                true
            }
        };
        if changed {
            let newest = self.slots.last().map_or(number, |slot| slot.number);
            self.slots.retain(|slot| newest - slot.number < SLOTS as i64);
            self.line = fit(&self.slots);
        }
    }

    /// A point far under the line waits for two more like it.
    fn is_doubtful(&mut self, onboard_s: f64, difference_s: f64) -> bool {
        let Some(line) = self.line else { return false };
        let under_s = line.at(onboard_s) - difference_s;
        if under_s <= DOUBT_S {
            self.doubt = None;
            return false;
        }
        let packets = match self.doubt {
            Some((other_s, packets)) if libm::fabs(other_s - difference_s) < DOUBT_S => packets + 1,
            _ => 1,
        };
        self.doubt = (packets < PROOF).then_some((difference_s, packets));
        packets < PROOF
    }
}

fn fit(slots: &[Slot]) -> Option<Line> {
    let (first, last) = (slots.first()?, slots.last()?);
    let count = slots.len() as f64;
    let mean_s =
        slots.iter().map(|slot| slot.onboard_s - first.onboard_s).sum::<f64>() / count + first.onboard_s;
    let hull = lower_hull(slots);
    let edge = hull.windows(2).find(|edge| edge[1].onboard_s >= mean_s);
    let span_s = last.onboard_s - first.onboard_s;
    let (drift, slope) = match edge {
        Some(edge) => {
            let drift =
                (edge[1].difference_s - edge[0].difference_s) / (edge[1].onboard_s - edge[0].onboard_s);
            let fourth = |s: f64| s * s * s * s;
            let trust = fourth(span_s) / (fourth(span_s) + fourth(HALF_TRUST_S));
            (Some(drift).filter(|_| span_s >= HALF_TRUST_S), drift.clamp(-MOST_DRIFT, MOST_DRIFT) * trust)
        }
        None => (None, 0.0),
    };
    // Whatever the slope, the line stays under all points and touches one.
    let under = |slot: &Slot| slot.difference_s - slope * (slot.onboard_s - last.onboard_s);
    let at_s = slots.iter().map(under).fold(f64::INFINITY, f64::min);
    let squares: f64 = slots.iter().map(|slot| (under(slot) - at_s) * (under(slot) - at_s)).sum();
    Some(Line { from_s: last.onboard_s, at_s, slope, rms_s: libm::sqrt(squares / count), drift })
}

/// The lower convex hull of points in order of time.
fn lower_hull(slots: &[Slot]) -> Vec<Slot> {
    let mut hull: Vec<Slot> = Vec::with_capacity(slots.len());
    for slot in slots {
        while let [.., a, b] = hull.as_slice() {
            let turn = (b.onboard_s - a.onboard_s) * (slot.difference_s - a.difference_s)
                - (b.difference_s - a.difference_s) * (slot.onboard_s - a.onboard_s);
            if turn > 0.0 {
                break;
            }
            hull.pop();
        }
        hull.push(*slot);
    }
    hull
}
