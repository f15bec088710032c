//! What the vehicle itself says has happened: from flags in packets to intervals.
//!
//! A flag that rises between two packets means that it happened between them. A flag that was up when first seen says
//! only "by then", and on the pad it is left over from before. A restart of the board clears its flags.

use std::collections::BTreeMap;

use loftwatch_flight::{EventKind, Plan, Report};
use serde::{Deserialize, Serialize};

use crate::packet::{Packet, Says};

/// How often it is passed on that a piece hangs on, s.
const DENIED_EVERY_S: f64 = 0.4;

/// Flags of all transmitters.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Flags {
    seen: BTreeMap<(usize, Says), Flag>,
    boots: BTreeMap<usize, u32>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Flag {
    /// Newest measurement with the flag down, s.
    down_s: Option<f64>,
    reported: bool,
    /// When it was last passed on that it is down, s.
    denied_s: Option<f64>,
}

/// A packet in time, as far as flags need it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct At {
    pub(crate) body: usize,
    pub(crate) t_s: f64,
    pub(crate) t_receive_s: f64,
    pub(crate) boot: u32,
    /// Whether the vehicle stands on the pad, as far as is known.
    pub(crate) on_the_pad: bool,
}

impl At {
    /// What a flag of its packet says of a body's event: that it has happened, after `after_s` if that is known, or not yet.
    fn report(&self, (body, event): (usize, EventKind), after_s: Option<f64>, not_yet: bool) -> Report {
        Report { body, event, after_s, by_s: self.t_s, t_receive_s: self.t_receive_s, not_yet }
    }
}

impl Flags {
    /// Takes a packet's flags; gives what they report.
    pub(crate) fn take(&mut self, packet: &Packet, at: At, plan: &Plan, reports: &mut Vec<Report>) {
        if self.boots.insert(at.body, at.boot).is_some_and(|boot| boot != at.boot) {
            self.seen.retain(|(body, _), _| *body != at.body);
        }
        for (about, up) in &packet.says {
            if !up && !at.on_the_pad {
                self.deny(about, at, plan, reports);
            }
            // A command is no opening: it counts only where nothing says whether it fired.
            if let Says::Commanded(channel) = about
                && packet.says.iter().any(|(other, _)| *other == Says::Fired(channel.clone()))
            {
                continue;
            }
            let flag = self.seen.entry((at.body, about.clone())).or_default();
            if !up {
                flag.down_s = Some(flag.down_s.map_or(at.t_s, |down| down.max(at.t_s)));
                // On the pad flags are tried out; in flight the first time counts.
                flag.reported &= !at.on_the_pad;
                continue;
            }
            let left_over = flag.down_s.is_none() && at.on_the_pad;
            if flag.reported || left_over {
                continue;
            }
            flag.reported = true;
            let after_s = flag.down_s.filter(|down| *down <= at.t_s);
            reports.extend(
                happened(about, at.body, plan).into_iter().map(|what| at.report(what, after_s, false)),
            );
        }
    }

    /// Passes on now and then that a piece hangs on: it says so itself, or nobody has commanded its release. That nothing is known to have
    /// fired is no such word.
    fn deny(&mut self, about: &Says, at: At, plan: &Plan, reports: &mut Vec<Report>) {
        if !matches!(about, Says::Freed | Says::Commanded(_)) {
            return;
        }
        let flag = self.seen.entry((at.body, about.clone())).or_default();
        if flag.denied_s.is_some_and(|last| at.t_s < last + DENIED_EVERY_S) {
            return;
        }
        flag.denied_s = Some(at.t_s);
        let freed =
            happened(about, at.body, plan).into_iter().filter(|(_, event)| *event == EventKind::Freed);
        reports.extend(freed.map(|what| at.report(what, None, true)));
    }

    /// Another flight: everything may happen again.
    pub(crate) fn begin_anew(&mut self) {
        for flag in self.seen.values_mut() {
            *flag = Flag::default();
        }
    }
}

/// The cue that a deployment channel of a body is about: the one of that name, or else the one called by the body's name and
/// the channel's. So bodies that send the same layout may each call theirs `chute`. Case does not matter.
pub fn cue_of(plan: &Plan, body: usize, channel: &str) -> Option<usize> {
    let called = |name: &str| plan.cues.iter().position(|c| c.name.eq_ignore_ascii_case(name));
    called(channel).or_else(|| called(&format!("{} {channel}", plan.bodies.get(body)?.name)))
}

/// Which events of which bodies a flag is about.
fn happened(about: &Says, body: usize, plan: &Plan) -> Vec<(usize, EventKind)> {
    let channel = match about {
        Says::Liftoff => return vec![(body, EventKind::Liftoff)],
        Says::Burnout => return vec![(body, EventKind::Burnout)],
        Says::Apogee => return vec![(body, EventKind::Apogee)],
        Says::Landing => return vec![(body, EventKind::Landing)],
        Says::Freed => return vec![(body, EventKind::Freed)],
        Says::Fired(channel) | Says::Commanded(channel) => channel,
    };
    cue_of(plan, body, channel).map_or_else(Vec::new, |cue| plan.brought_about_by(cue))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bodies_that_send_the_same_layout_may_each_call_theirs_chute() {
        let plan: Plan = serde_json::from_str(include_str!("../../../tests/flights/leaning/1/plan.json"))
            .expect("a committed plan");
        let named = |name: &str| plan.cues.iter().position(|c| c.name == name);
        let (body, cue, channel) = plan
            .bodies
            .iter()
            .enumerate()
            .find_map(|(b, told)| {
                let rest = plan.cues.iter().find_map(|c| c.name.strip_prefix(&format!("{} ", told.name)))?;
                Some((b, format!("{} {rest}", told.name), rest.to_owned()))
            })
            .expect("a cue called after a body");
        assert_eq!(cue_of(&plan, body, &channel), named(&cue));
        assert_eq!(cue_of(&plan, body, &cue.to_uppercase()), named(&cue));
        assert_eq!(cue_of(&plan, 0, "nothing of the kind"), None);
        let other =
            (1..plan.bodies.len()).find(|b| *b != body && plan.bodies[*b].name != plan.bodies[body].name);
        assert!(other.is_none_or(|other| cue_of(&plan, other, &channel) != named(&cue)));
    }
}
