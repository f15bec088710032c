//! Which outputs are kept. All of them during a flight; on the pad and between flights the engine goes on speaking
//! many times a second for hours, so there the bulky kinds are kept once a second each, predicted paths once in ten
//! seconds, and of what says little that is new, frames that are right and readings that another receiver had first,
//! one a second of each link. It depends on nothing but the outputs themselves, so a recomputation keeps the same
//! ones; all of them can be computed again from the inputs.

use std::collections::BTreeMap;

use loftwatch_engine::{Output, Said};

/// Spacing of bulky outputs outside of a flight, ns.
const APART_NS: i64 = 1_000_000_000;
/// Spacing of predicted paths outside of a flight, ns: each is as large as thirty of the others.
pub(super) const PATHS_APART_NS: i64 = 10_000_000_000;

/// Decides output by output, in order.
#[derive(Debug, Default)]
pub(crate) struct Kept {
    /// Number of the flight that is in the air.
    flying: Option<u32>,
    /// Second in which the newest of each bulky kind, body and case was kept.
    newest: BTreeMap<(&'static str, usize, usize), i64>,
    /// The same of each link's frames, and of the copies that it brings.
    newest_of_links: BTreeMap<(String, Option<usize>), i64>,
}

impl Kept {
    /// Whether this one is kept.
    pub(crate) fn keep(&mut self, output: &Output) -> bool {
        if let Said::Flight(state) = &output.what {
            self.flying = (state.liftoff_ns.is_some() && state.ended_ns.is_none()).then_some(state.number);
        }
        if self.flying == Some(output.flight) {
            return true;
        }
        // Whole seconds of station time, not time since the last one: a restart in between then changes nothing.
        let second = output.t_ns.div_euclid(APART_NS);
        let key = match &output.what {
            Said::Estimate { body, .. } => ("estimate", *body, 0),
            Said::Prediction { body, .. } => ("prediction", *body, 0),
            Said::Path { body, .. } => ("path", *body, 0),
            Said::Cue(cue) => ("cue", cue.cue, 0),
            Said::Landing(landing) => ("landing", landing.body, landing.case as usize),
            Said::Frame(frame) if frame.wrong.is_none() => {
                return self.newest_of_links.insert((frame.link.clone(), None), second) != Some(second);
            }
            Said::Reading(reading) if reading.again => {
                let key = (reading.link.clone(), Some(reading.body));
                return self.newest_of_links.insert(key, second) != Some(second);
            }
            _ => return true,
        };
        let apart_ns = if key.0 == "path" { PATHS_APART_NS } else { APART_NS };
        let place = output.t_ns.div_euclid(apart_ns);
        self.newest.insert(key, place) != Some(place)
    }
}

/// The kind as stored, and the body it is about.
pub(crate) fn kind_and_body(said: &Said) -> (&'static str, Option<usize>) {
    match said {
        Said::Frame(_) => ("frame", None),
        Said::Reading(reading) => ("reading", Some(reading.body)),
        Said::Estimate { body, .. } => ("estimate", Some(*body)),
        Said::Prediction { body, .. } => ("prediction", Some(*body)),
        Said::Cue(_) => ("cue", None),
        Said::Path { body, .. } => ("path", Some(*body)),
        Said::Landing(landing) => ("landing", Some(landing.body)),
        Said::Event { event, .. } => ("event", Some(event.body)),
        Said::HeadsUp(headsup) => ("heads_up", Some(headsup.body)),
        Said::Radio(_) => ("radio", None),
        Said::Silence { .. } => ("silence", None),
        Said::Flight(_) => ("flight", None),
        Said::Smoothed { body, .. } => ("smoothed", Some(*body)),
        Said::Readiness(_) => ("readiness", None),
        Said::Accepted(_) => ("accepted", None),
    }
}

#[cfg(test)]
mod tests {
    use loftwatch_engine::output::FlightState;

    use super::*;

    fn at(t_ns: i64, flight: u32, what: Said) -> Output {
        Output { input: 1, t_ns, t_receive_ns: t_ns, utc_offset_ns: 0, flight, what }
    }

    fn path(t_ns: i64) -> Output {
        at(t_ns, 1, Said::Path { body: 0, knots: Vec::new() })
    }

    fn flight(t_ns: i64, liftoff_ns: Option<i64>, ended_ns: Option<i64>) -> Output {
        let state = FlightState { number: 1, name: String::new(), opened_ns: 0, liftoff_ns, ended_ns };
        at(t_ns, 1, Said::Flight(state))
    }

    #[test]
    fn bulky_outputs_are_kept_once_a_second_on_the_pad_and_all_of_them_in_flight() {
        let mut kept = Kept::default();
        let tenth = 100_000_000;
        let mut count = |from: i64| (from..from + 50).filter(|n| kept.keep(&path(n * tenth))).count();
        assert_eq!(count(0), 1);
        assert!(kept.keep(&flight(50 * tenth, Some(0), None)));
        let mut count = |from: i64| (from..from + 50).filter(|n| kept.keep(&path(n * tenth))).count();
        assert_eq!(count(50), 50);
        assert!(kept.keep(&flight(100 * tenth, Some(0), Some(1))));
        let mut count = |from: i64| (from..from + 50).filter(|n| kept.keep(&path(n * tenth))).count();
        assert_eq!(count(100), 1);
    }

    #[test]
    fn frames_that_are_wrong_and_what_was_heard_first_are_all_kept() {
        let frame = |t_ns: i64, wrong: Option<&str>| {
            let frame = loftwatch_engine::output::Frame {
                link: "mast".to_owned(),
                offset: 0,
                length: 60,
                layout: None,
                wrong: wrong.map(str::to_owned),
                wrong_kind: None,
            };
            at(t_ns, 1, Said::Frame(frame))
        };
        let mut kept = Kept::default();
        let tenth = 100_000_000;
        assert_eq!((0..50).filter(|n| kept.keep(&frame(n * tenth, None))).count(), 5);
        assert_eq!((50..100).filter(|n| kept.keep(&frame(n * tenth, Some("checksum")))).count(), 50);
        assert!(kept.keep(&flight(100 * tenth, Some(0), None)));
        assert_eq!((100..150).filter(|n| kept.keep(&frame(n * tenth, None))).count(), 50);
    }
}
