//! The machine itself: what is remembered between inputs, and in which order things happen.
//!
//! An input first lets every deadline up to its own time happen, each at its logical time, then takes effect. There
//! are four kinds of deadline: all radios have become silent; a beat of the flight; radio statistics; readiness on the pad. At
//! one and the same instant they happen in that order.

mod inputs;
mod readings;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::heads_up::Silent;
use crate::heard::Heard;
use crate::hindsight::Hindsight;
use crate::links::{LinkCount, LinkStream};
use crate::next_flight::NextFlight;
use crate::one_flight::{Around, OneFlight};
use crate::pen::{Marks, Pen, axis_s};
use crate::readiness::Readiness;
use crate::says::Flags;
use crate::{Input, Output, Said, Setup};

/// Version of everything that decides an output. Snapshots and stored outputs of another version are recomputed.
pub const ENGINE_VERSION: u32 = 26;

/// Radio statistics are told at most so often, ns.
const RADIO_NS: i64 = 500_000_000;
/// After so long without bytes nothing in them changes any more (they look 10 s back), ns.
const RADIO_QUIET_NS: i64 = 11_000_000_000;
/// Readiness is judged so often, ns.
const READY_NS: i64 = 1_000_000_000;
/// On the pad and on the ground beats cease when all has been silent for so long, ns.
const ASHORE_QUIET_NS: i64 = 10_000_000_000;
/// A flight of which nothing has been heard for so long is over, ns.
const LOST_NS: i64 = 1_800_000_000_000;
/// A vehicle that was lost in the air and is heard again after so long is on another flight, ns.
const ANOTHER_DAY_NS: i64 = 43_200_000_000_000;

/// One station's engine: links, transmitters, the open flight.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Engine {
    /// In force: what may change in flight is as told now, the rest as it was at liftoff.
    setup: Setup,
    /// As told now, to be taken over when the flight is over.
    told: Option<Box<Setup>>,
    epoch_ns: i64,
    marks: Marks,
    links: BTreeMap<String, LinkStream>,
    heard: Heard,
    flags: Flags,
    readiness: Readiness,
    flight: Option<OneFlight>,
    flights: u32,
    next: Option<NextFlight>,
    silent: Option<Silent>,
    beat_ns: Option<i64>,
    radio_ns: Option<i64>,
    ready_ns: Option<i64>,
    /// Newest bytes, station time ns.
    bytes_ns: Option<i64>,
    /// Only in a rerun: what the path with hindsight is made of.
    #[serde(skip)]
    hindsight: Option<Hindsight>,
}

/// What is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Due {
    Silence,
    Beat,
    Radio,
    Ready,
}

impl Engine {
    /// An engine that has heard nothing yet. `t_ns` is station time now; it becomes the epoch.
    pub fn new(setup: Setup, t_ns: i64) -> Self {
        let mut engine = Self {
            setup,
            told: None,
            epoch_ns: t_ns,
            marks: Marks { input: 0, t_ns, t_receive_ns: t_ns, utc_offset_ns: 0 },
            links: BTreeMap::new(),
            heard: Heard::default(),
            flags: Flags::default(),
            readiness: Readiness::default(),
            flight: None,
            flights: 0,
            next: None,
            silent: None,
            beat_ns: None,
            radio_ns: None,
            ready_ns: None,
            bytes_ns: None,
            hindsight: None,
        };
        engine.open_links();
        engine
    }

    /// From now on keeps each flight's measurements and says its smoothed path when it has ended. Memory grows with the
    /// flight, and it is no part of a snapshot: for reruns that begin [`ON_THE_PAD_S`](crate::ON_THE_PAD_S) before liftoff
    /// or earlier.
    pub fn keep_hindsight(&mut self) {
        self.hindsight = Some(Hindsight::default());
    }

    /// Measurements that no radio brought, for the flight that is told with hindsight next; after [`Self::keep_hindsight`].
    pub fn add_to_hindsight(&mut self, samples: &[loftwatch_flight::Sample]) {
        if let Some(kept) = &mut self.hindsight {
            kept.add(samples);
        }
    }

    /// Takes one input. Deadlines due at or before `input.t_ns` fire first, each at its own time.
    pub fn step(&mut self, input: &Input, out: &mut Vec<Output>) {
        self.advance(input.t_ns, out);
        self.marks.input = input.number;
        self.marks.t_ns = self.marks.t_ns.max(input.t_ns);
        self.apply(input, out);
    }

    /// Lets every deadline up to and including `to_t_ns` happen. No later input may have a time at or before it.
    pub fn advance(&mut self, to_t_ns: i64, out: &mut Vec<Output>) {
        while let Some((at_ns, due)) = self.due() {
            if at_ns > to_t_ns {
                break;
            }
            self.marks.t_ns = self.marks.t_ns.max(at_ns);
            match due {
                Due::Silence => self.fall_silent(out),
                Due::Beat => self.beat(out),
                Due::Radio => self.tell_radio(out),
                Due::Ready => self.tell_readiness(out),
            }
        }
    }

    /// Station time of the next deadline, if any.
    pub fn wants(&self) -> Option<i64> {
        self.due().map(|(at_ns, _)| at_ns)
    }

    /// Station time, ns, of zero on the axis of all `*_s` times in `flight` types.
    pub fn epoch_ns(&self) -> i64 {
        self.epoch_ns
    }

    /// How each link of the setup stands now, in the setup's order.
    pub fn links(&self) -> Vec<LinkCount> {
        let of = |link: &crate::setup::Link| Some(self.links.get(&link.name)?.count(&link.name));
        self.setup.links.iter().filter_map(of).collect()
    }

    /// The setup in force.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Number of the flight that is open or was the last one; 0 before the first.
    pub fn flight_number(&self) -> u32 {
        self.flights
    }

    fn due(&self) -> Option<(i64, Due)> {
        let silence_ns = self.heard.silent_from_ns().filter(|_| self.silent.is_none());
        let all = [
            silence_ns.map(|t| (t, Due::Silence)),
            self.beat_ns.map(|t| (t, Due::Beat)),
            self.radio_ns.map(|t| (t, Due::Radio)),
            self.ready_ns.map(|t| (t, Due::Ready)),
        ];
        all.into_iter().flatten().min()
    }

    fn pen<'a>(&self, out: &'a mut Vec<Output>) -> Pen<'a> {
        Pen { out, marks: self.marks, epoch_ns: self.epoch_ns, flight: self.flights }
    }

    /// Calls a function on the flight, with what it needs to know of the rest.
    fn with_flight(
        &mut self,
        out: &mut Vec<Output>,
        act: impl FnOnce(&mut OneFlight, &Around<'_>, &mut Pen<'_>),
    ) {
        let mut pen = self.pen(out);
        if let Some(flight) = &mut self.flight {
            let around =
                Around { cues: &self.setup.plan.cues, areas: &self.setup.areas, silent: self.silent };
            act(flight, &around, &mut pen);
        }
    }

    /// The next instant of a grid that begins at the epoch, strictly after now.
    fn next_on_grid(&self, step_ns: i64) -> i64 {
        let passed = (self.marks.t_ns - self.epoch_ns).div_euclid(step_ns);
        self.epoch_ns + (passed + 1) * step_ns
    }

    /// Sets the next beat, or none where nothing is to be said.
    fn plan_beat(&mut self) {
        let quiet_ns = self.marks.quiet_ns();
        self.beat_ns = self.flight.as_ref().filter(|f| !f.has_ended()).and_then(|flight| {
            let step_ns = flight.beat_ns(quiet_ns);
            // Whatever waits is looked at again when it is heard again. What is down still has a minute to count.
            let asleep = flight.waits() && quiet_ns > ASHORE_QUIET_NS;
            (!asleep).then(|| self.next_on_grid(step_ns))
        });
    }

    fn beat(&mut self, out: &mut Vec<Output>) {
        self.with_flight(out, OneFlight::beat);
        if self.marks.quiet_ns() > LOST_NS {
            self.with_flight(out, |flight, _, pen| flight.end(pen));
        }
        self.after_flight(out);
        self.plan_beat();
    }

    fn fall_silent(&mut self, out: &mut Vec<Output>) {
        let Some((last_ns, stale_after_ns)) = self.heard.newest() else { return };
        let phase = self.flight.as_ref().map_or(loftwatch_flight::Phase::Waiting, OneFlight::heard_phase);
        self.silent = Some(Silent {
            since_s: axis_s(self.epoch_ns, last_ns),
            stale_after_s: stale_after_ns as f64 * 1e-9,
            phase,
        });
        self.pen(out).say(Said::Silence { since_ns: Some(last_ns) });
        self.with_flight(out, OneFlight::look);
    }

    fn tell_radio(&mut self, out: &mut Vec<Output>) {
        let lines = self.heard.lines(&self.links, &self.setup, self.marks.t_ns);
        self.pen(out).say(Said::Radio(lines));
        let busy = self.bytes_ns.is_some_and(|t| self.marks.t_ns.saturating_sub(t) < RADIO_QUIET_NS);
        self.radio_ns = busy.then(|| self.next_on_grid(RADIO_NS));
    }

    /// On the pad; once nothing was heard for so long that no transmitter counts as heard, nothing in it changes any more.
    fn tell_readiness(&mut self, out: &mut Vec<Output>) {
        self.ready_ns = None;
        if self.flight.as_ref().is_some_and(|flight| flight.has_ended() || !flight.waits()) {
            return;
        }
        if let Some(said) = self.readiness.judge(&self.setup, self.marks.t_ns) {
            self.pen(out).say(said);
        }
        let quiet_s = self.setup.preparation.limits.heard_within_s.value + 2.0;
        let quiet_ns = libm::round(quiet_s.clamp(1.0, 3600.0) * 1e9) as i64;
        let busy = self.bytes_ns.is_some_and(|t| self.marks.t_ns.saturating_sub(t) < quiet_ns);
        self.ready_ns = busy.then(|| self.next_on_grid(READY_NS));
    }

    /// When a flight has ended: what was told meanwhile holds, and the next one is watched for.
    fn after_flight(&mut self, out: &mut Vec<Output>) {
        let Some(lies_at_m) = self.flight.as_ref().filter(|f| f.has_ended()).map(OneFlight::lies_at_m) else {
            return;
        };
        if self.next.is_none() {
            self.tell_hindsight(out);
        }
        if let Some(told) = self.told.take() {
            self.setup = *told;
            self.open_links();
        }
        if self.next.is_none() {
            let away = lies_at_m.is_none_or(|[e, n]| libm::hypot(e, n) > crate::next_flight::AWAY_M);
            self.next = Some(NextFlight::new(&self.setup.plan, axis_s(self.epoch_ns, self.marks.t_ns), away));
        }
    }

    /// No input will come any more: a flight that has not ended is told with hindsight, as far as it was heard.
    pub fn finish(&mut self, out: &mut Vec<Output>) {
        if self.flight.as_ref().is_some_and(OneFlight::is_under_way) {
            self.tell_hindsight(out);
        }
    }

    fn tell_hindsight(&mut self, out: &mut Vec<Output>) {
        let (Some(kept), Some(flight)) = (&mut self.hindsight, &self.flight) else { return };
        let path = kept.tell(flight.plan(), flight.liftoff_s());
        let mut pen = self.pen(out);
        for (body, estimate) in path {
            pen.say(Said::Smoothed { body, estimate });
        }
    }

    /// Opens the links of the setup; those whose framing and layouts did not change go on where they are.
    fn open_links(&mut self) {
        let mut links = BTreeMap::new();
        for link in &self.setup.links {
            let fresh = match self.links.remove(&link.name) {
                None => LinkStream::new(&self.setup, link, 0, BTreeMap::new()),
                Some(open) if open.is_cut_as(&self.setup, link) => open,
                Some(open) => LinkStream::new(&self.setup, link, open.bytes(), open.wrong.clone()),
            };
            links.insert(link.name.clone(), fresh);
        }
        // Links that went out of the setup keep their count of bytes: they may come back.
        links.append(&mut self.links);
        self.links = links;
    }
}
