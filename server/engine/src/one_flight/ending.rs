//! How a flight is named and ends: all bodies down and still for a minute, or the crew says so.

use loftwatch_flight::Phase;

use super::OneFlight;
use crate::Said;
use crate::pen::Pen;

/// All bodies must have been down for so long, ns.
const STILL_NS: i64 = 60_000_000_000;
/// A vehicle that is down ends its flight after so long, whatever is thought of its other bodies, ns.
const AT_MOST_NS: i64 = 1_800_000_000_000;

impl OneFlight {
    /// Whether it has ended.
    pub(crate) fn has_ended(&self) -> bool {
        self.state.ended_ns.is_some()
    }

    /// The crew names the flight.
    pub(crate) fn name(&mut self, name: &str, pen: &mut Pen<'_>) {
        self.state.name = name.into();
        pen.say(Said::Flight(self.state.clone()));
    }

    /// The flight ends. What is heard afterwards, until another opens, still belongs to it.
    pub(crate) fn end(&mut self, pen: &mut Pen<'_>) {
        if self.has_ended() {
            return;
        }
        self.heads_ups.end(&mut |heads_up| pen.say(Said::HeadsUp(heads_up)));
        self.state.ended_ns = Some(pen.marks.t_ns);
        pen.say(Said::Flight(self.state.clone()));
    }

    /// Ends the flight when everything has lain still long enough.
    pub(super) fn watch_ending(&mut self, pen: &mut Pen<'_>) {
        let down = |body: usize| {
            self.bodies[body].estimate.as_ref().map_or(!self.bodies[body].free, |e| e.phase == Phase::Down)
        };
        let vehicle = !self.bodies.is_empty() && down(0);
        if !vehicle {
            self.down_since_ns = None;
            return;
        }
        let now_ns = pen.marks.t_ns;
        let all = (0..self.bodies.len()).all(|body| !self.bodies[body].free || down(body));
        let since_ns = *self.down_since_ns.get_or_insert(now_ns);
        let still_ns = now_ns.saturating_sub(since_ns);
        if (all && still_ns >= STILL_NS) || still_ns >= AT_MOST_NS {
            self.end(pen);
        }
    }

    /// East and north of the pad where the vehicle lies, m, if known.
    pub(crate) fn lies_at_m(&self) -> Option<[f64; 2]> {
        self.bodies.first()?.estimate.as_ref()?.east_north_m
    }
}
