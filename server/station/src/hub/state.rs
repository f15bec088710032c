//! What is known so far, gathered from the engine's outputs: the newest of each kind.
//!
//! Pure: it knows no clock and no setup. Live and replay feed the same state, so they cannot disagree; a seek feeds
//! it only the newest output of each kind, body and cue, which gives the same state as feeding it all.

use std::collections::BTreeMap;

use loftwatch_engine::output::{Accepted, Check, FlightState, HeadsUp, RadioLine, Reading, Value};
use loftwatch_engine::{Output, Said};
use loftwatch_flight as flight;
use loftwatch_flight::{Case, CuePrediction, Estimate, EventKind, Knot, Landing, Prediction};
use loftwatch_radio::Meaning;

/// The newest of each kind of output.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct State {
    /// Station time, ns, of zero on the axis of times inside outputs.
    pub(super) epoch_ns: i64,
    /// The flight shown.
    pub(super) flight: FlightState,
    /// By body index.
    pub(super) bodies: Vec<BodyState>,
    /// By number; withdrawn ones included.
    pub(super) events: BTreeMap<u32, EventState>,
    /// Those that hold, by key.
    pub(super) headsups: BTreeMap<String, HeadsUp>,
    /// By cue index.
    pub(super) cues: BTreeMap<usize, CuePrediction>,
    /// By body and case.
    pub(super) landings: BTreeMap<(usize, Case), Landing>,
    /// Newest radio statistics.
    pub(super) radio: Vec<RadioLine>,
    /// All radios silent since, ns.
    pub(super) silent_since_ns: Option<i64>,
    /// What was last said of readiness.
    pub(super) readiness: Vec<Check>,
    /// What the crew accepted, by key.
    pub(super) accepted: BTreeMap<String, Accepted>,
}

/// The newest of one body.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct BodyState {
    pub(super) heard_ns: Option<i64>,
    pub(super) estimate: Option<Estimate>,
    pub(super) prediction: Option<Prediction>,
    pub(super) path: Vec<Knot>,
    /// Latitude and longitude, rad, and when they were received.
    pub(super) fix: Option<([f64; 2], i64)>,
    /// What its packets last said of charges.
    pub(super) flags: Vec<Flag>,
}

/// What a packet's flag last said of a charge.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Flag {
    /// Name of the layout.
    pub(super) layout: String,
    /// Name of the field or bit.
    pub(super) field: String,
    /// `Armed`, `Commanded` or `Fired`.
    pub(super) means: Meaning,
    pub(super) up: bool,
}

/// One event in its newest revision.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct EventState {
    pub(super) event: flight::Event,
    pub(super) label: String,
    pub(super) who: Option<String>,
}

/// The crew's marks in the flight that is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Marks {
    /// Number of the flight, 0 for none.
    pub(crate) flight: u32,
    /// Whether it has ended.
    pub(crate) ended: bool,
    /// Whether it has lifted off.
    pub(crate) lifted: bool,
    /// Numbers of the marks, each with whether it still holds.
    pub(crate) holding: BTreeMap<u32, bool>,
}

/// Which messages an output changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Touched {
    /// `now`, at once.
    pub(crate) now: bool,
    /// `now`, but it can wait for the next one.
    pub(crate) now_lightly: bool,
    /// `picture`.
    pub(crate) picture: bool,
    /// `story`.
    pub(crate) story: bool,
}

impl Touched {
    const NONE: Self = Self { now: false, now_lightly: false, picture: false, story: false };
    const NOW: Self = Self { now: true, ..Self::NONE };
    const PICTURE: Self = Self { now_lightly: true, picture: true, ..Self::NONE };
    const HEADSUP: Self = Self { now: true, picture: true, ..Self::NONE };
    const STORY: Self = Self { story: true, ..Self::NONE };
    const ALL: Self = Self { now: true, picture: true, story: true, ..Self::NONE };

    /// Adds what another output changes.
    pub(crate) fn add(&mut self, other: Self) {
        self.now |= other.now;
        self.now_lightly |= other.now_lightly;
        self.picture |= other.picture;
        self.story |= other.story;
    }
}

/// A body index beyond this is not one of a plan: it is ignored instead of growing the list.
const MOST_BODIES: usize = flight::MAX_BODIES;

impl State {
    /// Nothing known. `epoch_ns`: station time of zero on the axis of times inside outputs.
    pub(crate) fn new(epoch_ns: i64) -> Self {
        Self {
            epoch_ns,
            flight: no_flight(0),
            bodies: Vec::new(),
            events: BTreeMap::new(),
            headsups: BTreeMap::new(),
            cues: BTreeMap::new(),
            landings: BTreeMap::new(),
            radio: Vec::new(),
            silent_since_ns: None,
            readiness: Vec::new(),
            accepted: BTreeMap::new(),
        }
    }

    /// Station time, ns, of zero on the axis of times inside outputs.
    pub(crate) fn epoch_ns(&self) -> i64 {
        self.epoch_ns
    }

    /// The crew's marks.
    pub(crate) fn marks(&self) -> Marks {
        let marks = self.events.iter().filter(|(_, state)| state.event.kind == EventKind::Mark);
        Marks {
            flight: self.flight.number,
            ended: self.flight.ended_ns.is_some(),
            lifted: self.flight.liftoff_ns.is_some(),
            holding: marks.map(|(id, state)| (*id, !state.event.withdrawn)).collect(),
        }
    }

    /// Takes one output, in order.
    pub(crate) fn apply(&mut self, output: &Output) -> Touched {
        if let Said::Flight(state) = &output.what {
            if state.number < self.flight.number {
                return Touched::default();
            }
            if state.number > self.flight.number {
                self.open(state.number);
            }
            self.flight = state.clone();
            return Touched::ALL;
        }
        match &output.what {
            Said::Reading(reading) => return self.hear(reading, output.t_receive_ns),
            Said::Radio(lines) => {
                self.radio.clone_from(lines);
                for line in lines {
                    if let (Some(body), Some(heard_ns)) = (self.body(line.body), line.last_heard_ns) {
                        body.heard_ns = body.heard_ns.max(Some(heard_ns));
                    }
                }
                return Touched::STORY;
            }
            Said::Silence { since_ns } => {
                self.silent_since_ns = *since_ns;
                return Touched::NOW;
            }
            _ => {}
        }
        if output.flight > self.flight.number {
            self.open(output.flight);
        } else if output.flight != self.flight.number {
            // About an earlier flight, or about none: nothing that is shown.
            return Touched::default();
        }
        self.apply_flying(&output.what)
    }

    fn apply_flying(&mut self, what: &Said) -> Touched {
        match what {
            Said::Estimate { body, estimate } => {
                let Some(body) = self.body(*body) else { return Touched::default() };
                body.estimate = Some(*estimate);
                // Where it lies stands in the story.
                Touched { story: estimate.phase == flight::Phase::Down, ..Touched::NOW }
            }
            Said::Prediction { body, prediction } => {
                let Some(body) = self.body(*body) else { return Touched::default() };
                body.prediction = Some(*prediction);
                Touched::NOW
            }
            Said::Cue(cue) => {
                self.cues.insert(cue.cue, *cue);
                Touched::PICTURE
            }
            Said::Path { body, knots } => {
                let Some(body) = self.body(*body) else { return Touched::default() };
                body.path.clone_from(knots);
                Touched::PICTURE
            }
            Said::Landing(landing) => {
                self.landings.insert((landing.body, landing.case), *landing);
                Touched::PICTURE
            }
            Said::Event { event, label, who } => {
                let state = EventState { event: *event, label: label.clone(), who: who.clone() };
                self.events.insert(event.id, state);
                Touched::ALL
            }
            Said::HeadsUp(headsup) => {
                if headsup.on {
                    self.headsups.insert(headsup.key.clone(), headsup.clone());
                } else {
                    self.headsups.remove(&headsup.key);
                }
                Touched::HEADSUP
            }
            Said::Readiness(checks) => {
                self.readiness.clone_from(checks);
                Touched::STORY
            }
            Said::Accepted(told) => {
                if told.on {
                    self.accepted.insert(told.key.clone(), told.clone());
                } else {
                    self.accepted.remove(&told.key);
                }
                Touched::STORY
            }
            _ => Touched::default(),
        }
    }

    /// What stands at a key of readiness now.
    pub(crate) fn check(&self, key: &str) -> Option<&Check> {
        self.readiness.iter().find(|check| check.key == key)
    }

    /// Whether a body that has a parent is still attached to it: nothing says that it was freed.
    pub(super) fn attached(&self, body: usize, has_parent: bool) -> bool {
        let freed = |state: &EventState| {
            state.event.kind == EventKind::Freed && state.event.body == body && !state.event.withdrawn
        };
        has_parent && !self.events.values().any(freed)
    }

    /// Station time, s, of an instant on the axis inside outputs.
    pub(super) fn station_s(&self, t_s: f64) -> f64 {
        self.epoch_s() + t_s
    }

    /// Station time of the epoch, s.
    pub(super) fn epoch_s(&self) -> f64 {
        seconds(self.epoch_ns)
    }

    fn open(&mut self, number: u32) {
        let heard: Vec<BodyState> = std::mem::take(&mut self.bodies);
        // The radios go on across flights; everything else is of the flight.
        let radio = std::mem::take(&mut self.radio);
        let silent_since_ns = self.silent_since_ns;
        *self = Self::new(self.epoch_ns);
        self.flight = no_flight(number);
        self.radio = radio;
        self.silent_since_ns = silent_since_ns;
        let keep =
            |body: BodyState| BodyState { heard_ns: body.heard_ns, fix: body.fix, ..BodyState::default() };
        self.bodies = heard.into_iter().map(keep).collect();
    }

    fn hear(&mut self, reading: &Reading, t_ns: i64) -> Touched {
        let Some(body) = self.body(reading.body) else { return Touched::default() };
        body.heard_ns = body.heard_ns.max(Some(t_ns));
        if let Some(fix) = fix(reading) {
            body.fix = Some((fix, t_ns));
        }
        for (field, means, value) in &reading.values {
            if let (Some(means), Some(value)) = (of_a_charge(means), number_of(value)) {
                body.say(&reading.layout, field, means, value != 0.0);
            }
        }
        Touched::NOW
    }

    fn body(&mut self, index: usize) -> Option<&mut BodyState> {
        if index >= MOST_BODIES {
            return None;
        }
        if self.bodies.len() <= index {
            self.bodies.resize(index + 1, BodyState::default());
        }
        self.bodies.get_mut(index)
    }
}

impl BodyState {
    fn say(&mut self, layout: &str, field: &str, means: Meaning, up: bool) {
        match self.flags.iter_mut().find(|flag| flag.layout == layout && flag.field == field) {
            Some(flag) => flag.up = up,
            None => self.flags.push(Flag { layout: layout.to_owned(), field: field.to_owned(), means, up }),
        }
    }
}

/// The meaning, if it is one that tells of a charge.
pub(crate) fn of_a_charge(means: &str) -> Option<Meaning> {
    [Meaning::Armed, Meaning::Commanded, Meaning::Fired].into_iter().find(|meaning| meaning.name() == means)
}

fn number_of(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => Some(*number),
        Value::Flag(flag) => Some(f64::from(u8::from(*flag))),
        Value::Text(_) => None,
    }
}

/// Seconds of nanoseconds.
pub(crate) fn seconds(t_ns: i64) -> f64 {
    t_ns as f64 / 1e9
}

/// The position in a reading (latitude, longitude; rad) if its receiver calls it valid.
pub(crate) fn fix(reading: &Reading) -> Option<[f64; 2]> {
    let number = |meaning: Meaning| {
        let found = reading.values.iter().find(|(_, means, _)| means == meaning.name());
        found.map(|(_, _, value)| number_of(value).unwrap_or(f64::NAN))
    };
    let (latitude, longitude) = (number(Meaning::Latitude)?, number(Meaning::Longitude)?);
    let valid = number(Meaning::FixValid).is_none_or(|fix| fix >= 1.0);
    let on_earth = latitude.abs() <= std::f64::consts::FRAC_PI_2 && longitude.abs() <= std::f64::consts::TAU;
    // Exactly 0, 0 is what receivers send before their first fix.
    let told = latitude != 0.0 || longitude != 0.0;
    (valid && on_earth && told).then_some([latitude, longitude])
}

fn no_flight(number: u32) -> FlightState {
    FlightState { number, name: String::new(), opened_ns: 0, liftoff_ns: None, ended_ns: None }
}
