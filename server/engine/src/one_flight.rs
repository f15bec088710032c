//! One flight: its tracker, what was last said of it, and how often that may be said again.
//!
//! In the air every reading that moved a body is spoken of at once, and a beat of 5 Hz speaks for those that are not
//! heard: carried states, paths, landing areas. On the pad and on the ground little changes: readings are spoken of at
//! most twice a second and the beat is 1 Hz. In a long silence it slows down, too. All of it goes by the engine's time, never by load.

mod ending;
mod events;

use std::collections::BTreeMap;

pub use events::MOST_MARKS;

use events::Mark;
use loftwatch_flight::{
    Cue, CuePrediction, Estimate, Event, Landing, Phase, Plan, Prediction, Report, Sample, Tracker,
};
use serde::{Deserialize, Serialize};

use crate::Said;
use crate::heads_up::{BodyView, Happened, HeadsUps, Openings, Silent, View};
use crate::output::FlightState;
use crate::pen::Pen;
use crate::setup::Area;
use crate::sound::Sound;

/// Beat in the air and on the ground, ns.
const BEAT_ALOFT_NS: i64 = 200_000_000;
const BEAT_ASHORE_NS: i64 = 1_000_000_000;
/// Beats when nothing has been heard for so long, both ns: what is carried changes less and less.
const BEAT_UNHEARD_NS: [(i64, i64); 2] = [(300_000_000_000, 5_000_000_000), (60_000_000_000, 1_000_000_000)];
/// Paths and landing areas are drawn anew on every so many-th beat in the air: of a body under way to the ground, and of one
/// that is still attached. Smaller costs time, larger is seen to lag.
const EVERY_DESCENDING: i64 = 2;
const EVERY_ATTACHED: i64 = 5;
/// Least time between two estimates of a body that waits or is down, s.
const ASHORE_STEP_S: f64 = 0.5;

/// What a flight needs to know of the rest of the station.
pub(crate) struct Around<'a> {
    pub(crate) cues: &'a [Cue],
    pub(crate) areas: &'a [Area],
    pub(crate) silent: Option<Silent>,
}

/// One flight.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct OneFlight {
    pub(crate) state: FlightState,
    plan: Plan,
    tracker: Tracker,
    bodies: Vec<BodyView>,
    spoken: Vec<Spoken>,
    cues: Vec<Option<CuePrediction>>,
    landings: Vec<Landing>,
    happened: Happened,
    openings: Openings,
    heads_ups: HeadsUps,
    events: BTreeMap<u32, Event>,
    /// Added to the tracker's event numbers: a tracker that is begun anew on the pad begins them anew.
    first_event: u32,
    marks: Vec<Mark>,
    /// Phase of the vehicle when the newest packet came.
    heard_phase: Phase,
    /// Since when all is down, station time ns.
    down_since_ns: Option<i64>,
}

/// What was last said of a body.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Spoken {
    estimate_s: Option<f64>,
    prediction: Option<Prediction>,
}

impl OneFlight {
    /// A flight opens.
    pub(crate) fn open(number: u32, plan: &Plan, tracker: Option<Tracker>, pen: &mut Pen<'_>) -> Self {
        let state = FlightState {
            number,
            name: String::new(),
            opened_ns: pen.marks.t_ns,
            liftoff_ns: None,
            ended_ns: None,
        };
        pen.flight = number;
        pen.say(Said::Flight(state.clone()));
        Self::begin(state, plan, tracker.unwrap_or_else(|| Tracker::new(plan, pen.t_s())))
    }

    fn begin(state: FlightState, plan: &Plan, tracker: Tracker) -> Self {
        let bodies = plan
            .bodies
            .iter()
            .map(|b| BodyView { free: b.parent.is_none(), ..BodyView::default() })
            .collect();
        Self {
            state,
            tracker,
            bodies,
            spoken: vec![Spoken::default(); plan.bodies.len()],
            cues: vec![None; plan.cues.len()],
            landings: Vec::new(),
            happened: Happened::default(),
            openings: Openings::default(),
            heads_ups: HeadsUps::default(),
            events: BTreeMap::new(),
            first_event: 0,
            marks: Vec::new(),
            down_since_ns: None,
            heard_phase: Phase::Waiting,
            plan: plan.clone(),
        }
    }

    /// What was told changes while the vehicle still waits: begin anew.
    pub(crate) fn replan(&mut self, plan: &Plan, pen: &Pen<'_>) {
        let first_event = self.events.keys().next_back().map_or(0, |last| last + 1);
        let events = std::mem::take(&mut self.events);
        let heads_ups = std::mem::take(&mut self.heads_ups);
        let marks = std::mem::take(&mut self.marks);
        let fresh = Self::begin(self.state.clone(), plan, Tracker::new(plan, pen.t_s()));
        *self = Self { heads_ups, events, first_event, marks, ..fresh };
    }

    /// What was told for this flight.
    pub(crate) fn plan(&self) -> &Plan {
        &self.plan
    }

    /// First motion, s, once there was one.
    pub(crate) fn liftoff_s(&self) -> Option<f64> {
        self.happened.liftoff_s
    }

    /// Whether the vehicle stands on the pad, as far as is known.
    pub(crate) fn waits(&self) -> bool {
        self.state.liftoff_ns.is_none() && self.phase().is_none_or(|p| p == Phase::Waiting)
    }

    /// Whether the vehicle has left the pad and the flight goes on.
    pub(crate) fn is_under_way(&self) -> bool {
        !self.waits() && !self.has_ended()
    }

    /// Phase of the vehicle when the newest packet came: what it is carried to afterwards is no news.
    pub(crate) fn heard_phase(&self) -> Phase {
        self.heard_phase
    }

    /// Whether the newest packet came from the air.
    pub(crate) fn was_lost_aloft(&self) -> bool {
        !matches!(self.heard_phase, Phase::Waiting | Phase::Down)
    }

    /// Phase of the vehicle.
    pub(crate) fn phase(&self) -> Option<Phase> {
        self.bodies.first()?.estimate.as_ref().map(|e| e.phase)
    }

    /// Time between beats now, when nothing has been heard for so long, ns.
    pub(crate) fn beat_ns(&self, quiet_ns: i64) -> i64 {
        if !self.bodies.iter().filter_map(|b| b.estimate.as_ref()).any(is_aloft) {
            return BEAT_ASHORE_NS;
        }
        let unheard = BEAT_UNHEARD_NS.iter().find(|(after_ns, _)| quiet_ns >= *after_ns);
        unheard.map_or(BEAT_ALOFT_NS, |(_, step_ns)| *step_ns)
    }

    /// Takes a sample and speaks of the body that it moved.
    pub(crate) fn take(&mut self, sample: &Sample, around: &Around<'_>, pen: &mut Pen<'_>) {
        self.tracker.take(sample);
        self.tell_events(pen);
        let body = self.carrier(sample.body);
        self.speak(body, pen);
        self.heard_phase = self.phase().unwrap_or(Phase::Waiting);
        self.judge(false, around, pen);
    }

    /// Takes what the vehicle says has happened.
    pub(crate) fn report(&mut self, report: &Report, pen: &mut Pen<'_>) {
        self.tracker.report(report);
        self.tell_events(pen);
    }

    /// A tracker that watched before the flight opened brings what it saw.
    pub(crate) fn welcome(&mut self, around: &Around<'_>, pen: &mut Pen<'_>) {
        self.tell_events(pen);
        self.speak(0, pen);
        self.judge(false, around, pen);
    }

    /// Something beside the flight has changed: silence, limits, areas.
    pub(crate) fn look(&mut self, around: &Around<'_>, pen: &mut Pen<'_>) {
        self.judge(false, around, pen);
    }

    /// A beat: time has come this far, whether anything was heard or not.
    pub(crate) fn beat(&mut self, around: &Around<'_>, pen: &mut Pen<'_>) {
        let t_s = pen.t_s();
        self.tracker.advance(t_s);
        self.tell_events(pen);
        let step_s = self.beat_ns(pen.marks.quiet_ns()) as f64 * 1e-9;
        for body in 0..self.bodies.len() {
            if !self.bodies[body].free {
                continue;
            }
            let fresh = self.spoken[body].estimate_s.is_some_and(|said| t_s - said < 0.999 * step_s);
            if !fresh {
                self.speak(body, pen);
            }
        }
        self.picture(pen);
        self.judge(true, around, pen);
        self.watch_ending(pen);
    }

    /// The body whose motion a transmitter shows: the one that carries it until it is free.
    fn carrier(&self, body: usize) -> usize {
        let mut at = body;
        for _ in 0..self.bodies.len() {
            match self.plan.bodies.get(at).and_then(|b| b.parent) {
                Some(parent) if !self.bodies[at].free => at = parent,
                _ => break,
            }
        }
        at
    }

    /// Says what is known of a body and of the cues, unless that was done a moment ago and nothing is going on.
    fn speak(&mut self, body: usize, pen: &mut Pen<'_>) {
        let Some(estimate) = self.tracker.estimate(body).filter(Sound::is_sound) else { return };
        let t_s = pen.t_s();
        let phase_changed = self.bodies[body].estimate.as_ref().is_some_and(|e| e.phase != estimate.phase);
        self.bodies[body].estimate = Some(estimate);
        if body == 0 && estimate.phase == Phase::Powered {
            self.happened.burnout_mps = Some(estimate.airspeed_mps.p50);
        }
        let recent = self.spoken[body].estimate_s.is_some_and(|said| t_s - said < ASHORE_STEP_S);
        if recent && !is_aloft(&estimate) && !phase_changed {
            return;
        }
        self.spoken[body].estimate_s = Some(t_s);
        pen.say(Said::Estimate { body, estimate });
        let mut cues = Vec::with_capacity(self.plan.cues.len());
        let prediction = self.tracker.foresee(body, &mut cues);
        if let Some(prediction) = prediction.filter(Sound::is_sound) {
            self.bodies[body].prediction = Some(prediction);
            let last = self.spoken[body].prediction.map(|p| Prediction { t_s: prediction.t_s, ..p });
            if last != Some(prediction) {
                self.spoken[body].prediction = Some(prediction);
                pen.say(Said::Prediction { body, prediction });
            }
        }
        self.tell_cues(cues, pen);
    }

    /// Says those cues of which something has changed.
    fn tell_cues(&mut self, cues: Vec<CuePrediction>, pen: &mut Pen<'_>) {
        for cue in cues.into_iter().filter(Sound::is_sound) {
            let Some(known) = self.cues.get_mut(cue.cue) else { continue };
            let same = known.is_some_and(|last| CuePrediction { t_s: cue.t_s, ..last } == cue);
            // What has passed is no longer predicted; how it was when it passed stands.
            let over = known.is_some_and(|last| last.passed) && cue.passed;
            if same || over {
                continue;
            }
            *known = Some(cue);
            pen.say(Said::Cue(cue));
            // A body is free at the latest when the cue that frees it is known to have passed.
            if cue.passed {
                for (body, told) in self.plan.bodies.iter().enumerate() {
                    if told.freed_by == Some(cue.cue) {
                        self.bodies[body].free = true;
                    }
                }
            }
        }
    }

    /// Says paths and landing areas anew: of what climbs on every beat, of what hangs under a chute or is still attached,
    /// where little changes, on some of them unless beats are rare anyway.
    fn picture(&mut self, pen: &mut Pen<'_>) {
        let beat = (pen.marks.t_ns - pen.epoch_ns) / BEAT_ALOFT_NS;
        let slow = self.beat_ns(pen.marks.quiet_ns()) != BEAT_ALOFT_NS;
        let mut landings = Vec::new();
        for body in 0..self.bodies.len() {
            let state = &self.bodies[body];
            let phase = state.estimate.as_ref().map(|e| e.phase);
            if state.free && phase == Some(Phase::Down) {
                self.landings.retain(|l| l.body != body);
                continue;
            }
            let every = match phase {
                _ if slow => 1,
                _ if !state.free => EVERY_ATTACHED,
                Some(Phase::Descending) => EVERY_DESCENDING,
                _ => 1,
            };
            if (beat + body as i64) % every != 0 {
                continue;
            }
            let mut knots = Vec::with_capacity(64);
            self.tracker.path(body, &mut knots);
            knots.retain(Sound::is_sound);
            if !knots.is_empty() {
                pen.say(Said::Path { body, knots });
            }
            self.tracker.landings(body, &mut landings);
            self.landings.retain(|l| l.body != body);
            for landing in landings.drain(..).filter(Sound::is_sound) {
                pen.say(Said::Landing(landing));
                self.landings.push(landing);
            }
        }
    }

    /// Judges heads-ups.
    fn judge(&mut self, beat: bool, around: &Around<'_>, pen: &mut Pen<'_>) {
        let mut view = View {
            t_s: pen.t_s(),
            plan: &self.plan,
            cues: around.cues,
            areas: around.areas,
            bodies: &self.bodies,
            cue_predictions: &self.cues,
            landings: &self.landings,
            happened: self.happened,
            silent: around.silent,
            openings: &self.openings,
        };
        let openings = Openings::follow(&view);
        view.openings = &openings;
        self.heads_ups.judge(&view, beat, &mut |heads_up| pen.say(Said::HeadsUp(heads_up)));
        self.openings = openings;
    }
}

/// Between the pad and the ground.
fn is_aloft(estimate: &Estimate) -> bool {
    !matches!(estimate.phase, Phase::Waiting | Phase::Down)
}
