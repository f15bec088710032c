//! Events of a flight: those of the tracker under their trade names, and what the crew marks.

use loftwatch_flight::{DescentState, Event, EventKind, Origin};
use serde::{Deserialize, Serialize};

use super::OneFlight;
use crate::Said;
use crate::heads_up::Happened;
use crate::pen::Pen;
use crate::sound::Sound;

/// Numbers of marked events begin here, out of the tracker's way.
const FIRST_MARK: u32 = 1_000_000;
/// Most marks of a flight. Far more than people press; a script that presses on is not listened to.
pub const MOST_MARKS: usize = 200;

/// What the crew marked, in its newest revision.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mark {
    event: Event,
    label: String,
    who: String,
}

impl Mark {
    fn say(&self, pen: &mut Pen<'_>) {
        let (label, who) = (self.label.clone(), Some(self.who.clone()));
        pen.say(Said::Event { event: self.event, label, who });
    }
}

impl OneFlight {
    /// Passes on the tracker's new and corrected events, and keeps what they change.
    pub(super) fn tell_events(&mut self, pen: &mut Pen<'_>) {
        let mut events = Vec::new();
        self.tracker.drain_events(&mut events);
        for mut event in events.into_iter().filter(Sound::is_sound) {
            event.id = event.id.saturating_add(self.first_event);
            self.events.insert(event.id, event);
            let label = self.label(&event);
            pen.say(Said::Event { event, label, who: None });
            if event.kind == EventKind::Freed && event.body < self.bodies.len() {
                self.bodies[event.body].free = !event.withdrawn;
            }
            self.happened = self.moments();
            self.tell_liftoff(pen);
        }
    }

    /// The crew marks an event.
    pub(crate) fn mark(&mut self, label: &str, at_ns: i64, who: &str, pen: &mut Pen<'_>) {
        if self.marks.len() >= MOST_MARKS {
            return;
        }
        let event = Event {
            id: FIRST_MARK + self.marks.len() as u32,
            revision: 0,
            withdrawn: false,
            body: 0,
            kind: EventKind::Mark,
            t_s: pen.axis_s(at_ns),
            sd_s: 0.5,
            origin: Origin::Marked,
        };
        let mark = Mark { event, label: label.into(), who: who.into() };
        mark.say(pen);
        self.marks.push(mark);
    }

    /// The crew corrects a mark. Whose it is stays: the correction is told in the record of inputs.
    pub(crate) fn correct_mark(&mut self, id: u32, label: &str, at_ns: i64, pen: &mut Pen<'_>) {
        let t_s = pen.axis_s(at_ns);
        self.revise_mark(id, pen, |mark| {
            mark.event.t_s = t_s;
            mark.label = label.into();
        });
    }

    /// The crew takes a mark back.
    pub(crate) fn withdraw_mark(&mut self, id: u32, pen: &mut Pen<'_>) {
        self.revise_mark(id, pen, |mark| mark.event.withdrawn = true);
    }

    fn revise_mark(&mut self, id: u32, pen: &mut Pen<'_>, change: impl FnOnce(&mut Mark)) {
        let mark = self.marks.iter_mut().find(|mark| mark.event.id == id && !mark.event.withdrawn);
        let Some(mark) = mark else { return };
        let before = mark.clone();
        change(mark);
        if *mark != before {
            mark.event.revision += 1;
            mark.say(pen);
        }
    }

    /// The trade's word for an event, or the cue's own name.
    fn label(&self, event: &Event) -> String {
        let body = self.plan.bodies.get(event.body);
        let of_cue = |index: Option<usize>| index.and_then(|i| self.plan.cues.get(i)).map(|c| c.name.clone());
        let chute = |main: bool| {
            let of_kind = |d: &&loftwatch_flight::Descent| (d.state == DescentState::Main) == main;
            let descents = body.map_or(&[][..], |b| &b.descents);
            of_cue(descents.iter().find(of_kind).or(descents.first()).map(|d| d.cue))
        };
        match event.kind {
            EventKind::Liftoff => "liftoff".into(),
            EventKind::RailExit => "rail exit".into(),
            EventKind::Burnout => "burnout".into(),
            EventKind::StageIgnition => "stage ignition".into(),
            EventKind::StageBurnout => "stage burnout".into(),
            EventKind::ThirdIgnition => "third stage ignition".into(),
            EventKind::ThirdBurnout => "third stage burnout".into(),
            EventKind::Apogee => "apogee".into(),
            EventKind::Freed => of_cue(body.and_then(|b| b.freed_by)).unwrap_or_else(|| "freed".into()),
            EventKind::FirstChute => chute(false).unwrap_or_else(|| "first chute".into()),
            EventKind::MainChute => chute(true).unwrap_or_else(|| "main chute".into()),
            EventKind::Landing => "landing".into(),
            EventKind::Reboot => "restart".into(),
            EventKind::Mark => "mark".into(),
        }
    }

    /// The moments of the vehicle as they are known now.
    fn moments(&self) -> Happened {
        let holding = || self.events.values().filter(|e| e.body == 0 && !e.withdrawn);
        let newest = |kinds: &[EventKind]| {
            holding().filter(|e| kinds.contains(&e.kind)).map(|e| e.t_s).max_by(f64::total_cmp)
        };
        Happened {
            liftoff_s: newest(&[EventKind::Liftoff]),
            rail_exit_s: newest(&[EventKind::RailExit]),
            burnout_s: newest(&EventKind::BURNOUTS),
            later_ignitions: holding().filter(|e| EventKind::LATER_IGNITIONS.contains(&e.kind)).count(),
            apogee_s: newest(&[EventKind::Apogee]),
            burnout_mps: self.happened.burnout_mps,
        }
    }

    /// The flight's first motion is known, or known better, or was none.
    fn tell_liftoff(&mut self, pen: &mut Pen<'_>) {
        let liftoff_ns = self.happened.liftoff_s.map(|t| pen.station_ns(t));
        if liftoff_ns != self.state.liftoff_ns {
            self.state.liftoff_ns = liftoff_ns;
            pen.say(Said::Flight(self.state.clone()));
        }
    }
}
