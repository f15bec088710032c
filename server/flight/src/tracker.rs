//! The face of this crate: one vehicle's tracker, with all its bodies.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::filter::{Filter, KINDS};
use crate::model::Model;
use crate::output::{Origin, Phase};
use crate::plan::{MAX_BODIES, MAX_CUES, Told};
use crate::predict::{self, Tops};
use crate::state::{H, VU};
use crate::track::{Kept, Track};
use crate::{
    CuePrediction, DescentState, Estimate, Event, EventKind, Knot, Landing, Plan, Prediction, Quantiles,
    Report, Sample,
};

/// Tracks one vehicle and the bodies it comes apart into, from the pad to the ground.
///
/// Serialises to the bit: a restored tracker goes on exactly as the original would.
#[derive(Clone, Debug)]
pub struct Tracker {
    model: Model,
    tracks: Vec<Track>,
    now_s: f64,
    reports: Vec<Report>,
    /// When each body was last said to hang on.
    denied_s: Vec<Option<f64>>,
    said: Vec<Event>,
    fresh: Vec<Event>,
    next_id: u32,
    /// The nominal flight from a liftoff at second zero, worked out once.
    nominal: Nominal,
}

/// What is said on the pad.
#[derive(Clone, Debug, Default)]
struct Nominal {
    apogee: Option<Prediction>,
    cues: Vec<CuePrediction>,
    /// How far from vertical it stands by its own word, where that is well beyond what was told: in whole degrees, as each other value
    /// costs a flight ahead.
    stood_deg: Option<u8>,
}

impl Nominal {
    fn of(model: &Model, stood_deg: Option<u8>) -> Self {
        let mut f = Filter::new(0, 0.0);
        f.stood_rad = stood_deg.map(|d| f64::from(d).to_radians());
        let f = f.supposing_liftoff(model, 0.0);
        let mut cues = Vec::new();
        let tops = crate::cues::foreseen(model, &f, |_| true, &mut cues);
        Self { apogee: predict::apogee(model, &f, &tops), cues, stood_deg }
    }
}

/// What the vehicle on the pad says of how far from vertical it stands, where that is well beyond what was told.
fn stood_deg(model: &Model, tracks: &[Track]) -> Option<u8> {
    let on_pad = tracks.first().map(|t| &t.view).filter(|f| f.phase == Phase::Waiting)?;
    on_pad.stands_rad(model, on_pad.t_s).map(|tilt| tilt.to_degrees().round() as u8)
}

fn later(q: Quantiles, by_s: f64) -> Quantiles {
    Quantiles {
        p05: q.p05 + by_s,
        p25: q.p25 + by_s,
        p50: q.p50 + by_s,
        p75: q.p75 + by_s,
        p95: q.p95 + by_s,
    }
}

/// What is stored.
#[derive(Serialize, Deserialize)]
struct Stored {
    plan: Plan,
    tracks: Vec<Kept>,
    now_s: f64,
    reports: Vec<Report>,
    denied_s: Vec<Option<f64>>,
    said: Vec<Event>,
    fresh: Vec<Event>,
    next_id: u32,
}

impl Serialize for Tracker {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        Stored {
            plan: self.model.plan.clone(),
            tracks: self.tracks.iter().map(Track::keep).collect(),
            now_s: self.now_s,
            reports: self.reports.clone(),
            denied_s: self.denied_s.clone(),
            said: self.said.clone(),
            fresh: self.fresh.clone(),
            next_id: self.next_id,
        }
        .serialize(s)
    }
}

impl<'de> Deserialize<'de> for Tracker {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let stored = Stored::deserialize(d)?;
        let model = Model::new(&stored.plan);
        let mut tracks: Vec<Track> = stored.tracks.into_iter().map(|k| Track::restore(&model, k)).collect();
        for t in &mut tracks {
            t.look(&model, stored.now_s);
        }
        let stood_deg = stood_deg(&model, &tracks);
        Ok(Self {
            tracks,
            now_s: stored.now_s,
            reports: stored.reports,
            denied_s: stored.denied_s,
            said: stored.said,
            fresh: stored.fresh,
            next_id: stored.next_id,
            nominal: Nominal::of(&model, stood_deg),
            model,
        })
    }
}

/// How long nothing was heard of a carrier before it matters that it may have let go what is heard then, s.
const LONG_GAP_S: f64 = 0.5;

/// How long after liftoff or burnout a vehicle's own computer says so, and the spread of that, s: it waits until a force or a
/// height has lasted (common practice, no source). Larger: a receiver's lag looks smaller where nothing else dates the liftoff.
const NOTICED_AFTER_S: (f64, f64) = (0.2, 0.12);

/// From when on a reported event may have happened, s.
fn began(r: &Report) -> f64 {
    r.after_s.unwrap_or(r.by_s - 1.0).min(r.by_s)
}

/// Middle of the interval in which a reported event happened, and its standard deviation, s.
fn between(r: &Report) -> (f64, f64) {
    let after = began(r);
    (0.5 * (after + r.by_s), 0.29 * (r.by_s - after) + 0.01)
}

/// When a reported event happened: before the vehicle noticed, where it has to notice at all.
fn happened(r: &Report) -> Told {
    let (value, sd) = between(r);
    match r.event {
        EventKind::Liftoff | EventKind::Burnout => noticed(Told { value, sd }),
        _ => Told { value, sd },
    }
}

/// When that happened which a vehicle's own computer noticed then.
pub(crate) fn noticed(then: Told) -> Told {
    Told { value: then.value - NOTICED_AFTER_S.0, sd: libm::hypot(then.sd, NOTICED_AFTER_S.1) }
}

/// By how much a reported apogee may lie before ours beyond its spread, s, and how high something is that falls and has not landed, m
/// (common practice, no source); what a climb loses a second at least, m/s2.
const APOGEE_BEFORE_S: f64 = 0.5;
const GRAVITY_MPS2: f64 = 9.8;
const IN_THE_AIR_M: f64 = 100.0;
/// Deviations that are beyond doubt.
const DOUBTLESS_SD: f64 = 3.0;

/// Whether a report cannot be right by what is believed: a vehicle that takes a shock's pressure for its apogee says so while it climbs
/// faster than sound.
fn refuted(r: &Report, f: &Filter) -> bool {
    let least = |(mean, var): (f64, f64)| mean - DOUBTLESS_SD * libm::sqrt(var);
    let most = |(mean, var): (f64, f64)| mean + DOUBTLESS_SD * libm::sqrt(var);
    let climbs = matches!(f.phase, Phase::Powered | Phase::Coasting);
    match r.event {
        EventKind::Apogee if climbs => {
            let earliest_s = f.t_s + least(f.moments(VU)) / GRAVITY_MPS2;
            earliest_s > r.by_s + APOGEE_BEFORE_S
        }
        EventKind::Apogee => f
            .marked(EventKind::Apogee)
            .is_some_and(|k| k.t_s - DOUBTLESS_SD * k.sd_s > r.by_s + APOGEE_BEFORE_S),
        EventKind::Landing if climbs => least(f.moments(H)) > IN_THE_AIR_M,
        EventKind::Landing if f.phase == Phase::Descending => {
            least(f.moments(H)) > IN_THE_AIR_M && most(f.moments(VU)) < -1.0
        }
        _ => false,
    }
}

/// How long after a cue a piece that says that it hangs on has missed it, and how long such a word counts where no other comes, s (common
/// practice, no source). Shorter: what parts slowly is thought to hang on; longer: what is not heard any more is thought to.
const DENIED_AFTER_S: f64 = 0.5;
const DENIES_FOR_S: f64 = 2.0;

/// Events that a released body has of its own.
const OWN: [EventKind; 5] =
    [EventKind::Freed, EventKind::FirstChute, EventKind::MainChute, EventKind::Landing, EventKind::Reboot];

const ALL: [EventKind; KINDS] = [
    EventKind::Liftoff,
    EventKind::RailExit,
    EventKind::Burnout,
    EventKind::StageIgnition,
    EventKind::StageBurnout,
    EventKind::ThirdIgnition,
    EventKind::ThirdBurnout,
    EventKind::Apogee,
    EventKind::Freed,
    EventKind::FirstChute,
    EventKind::MainChute,
    EventKind::Landing,
    EventKind::Reboot,
];

impl Tracker {
    /// A tracker on the pad, knowing what was told. `t_s` is now, on the caller's axis.
    pub fn new(plan: &Plan, t_s: f64) -> Self {
        let model = Model::new(plan);
        let count = plan.bodies.len().clamp(1, MAX_BODIES);
        let tracks = (0..count)
            .map(|i| Track::new(i, t_s, i != 0 && plan.bodies.get(i).is_some_and(|b| b.parent.is_some())))
            .collect();
        Self {
            nominal: Nominal::of(&model, None),
            model,
            tracks,
            now_s: t_s,
            reports: Vec::with_capacity(32),
            denied_s: vec![None; count],
            said: Vec::with_capacity(64),
            fresh: Vec::with_capacity(64),
            next_id: 1,
        }
    }

    /// Takes one sample. Late, doubled or out-of-order ones are welcome; those over five seconds late, or from more
    /// than two seconds after their own receipt, are left out.
    pub fn take(&mut self, sample: &Sample) {
        let s = sample;
        if !(s.t_s.is_finite() && s.t_receive_s.is_finite()) || s.t_s > s.t_receive_s.max(self.now_s) + 2.0 {
            return;
        }
        let Some(track) = self.tracks.get_mut(s.body) else { return };
        track.hears_own(s.t_s);
        let new = track.take(&self.model, s);
        if new && track.attached {
            self.compare_with_parent(s);
            self.stand_in(s);
        }
        self.now_s = self.now_s.max(s.t_s);
        self.look();
    }

    /// Takes what the vehicle itself reports.
    pub fn report(&mut self, report: &Report) {
        if !report.by_s.is_finite() || report.body >= self.tracks.len() || self.reports.len() >= 256 {
            return;
        }
        if report.not_yet {
            if report.event == EventKind::Freed {
                let denied_s = &mut self.denied_s[report.body];
                *denied_s = Some(denied_s.map_or(report.by_s, |last| last.max(report.by_s)));
            }
            return;
        }
        if self.reports.iter().any(|r| r.body == report.body && r.event == report.event) {
            return;
        }
        self.reports.push(*report);
        let (middle, width) = between(report);
        // A burnout stays where it was said: while a receiver may be lost under power, too long is the safe side.
        let when = match report.event {
            EventKind::Liftoff => happened(report),
            _ => Told { value: middle, sd: width },
        };
        match self.cue_of(report) {
            Some(cue) => {
                for track in &mut self.tracks {
                    track.told(&self.model, report.event, Some(cue), when);
                }
            }
            None => self.tracks[report.body].told(&self.model, report.event, None, when),
        }
        self.look();
    }

    /// The cue whose action a report tells of.
    fn cue_of(&self, report: &Report) -> Option<usize> {
        let body = self.model.plan.bodies.get(report.body)?;
        let opens = |main: bool| {
            body.descents.iter().find(|d| (d.state == DescentState::Main) == main).map(|d| d.cue)
        };
        match report.event {
            EventKind::FirstChute => opens(false),
            EventKind::MainChute => opens(true),
            EventKind::Freed => body.freed_by,
            _ => None,
        }
    }

    /// Time passes without a sample: silence, timeouts, landing by physics. Never goes backwards.
    pub fn advance(&mut self, t_s: f64) {
        if t_s.is_finite() && t_s > self.now_s {
            self.now_s = t_s;
            self.look();
        }
    }

    /// While nobody hears its carrier an attached body speaks for it, until the cue that lets it go has come by that.
    fn stand_in(&mut self, s: &Sample) {
        let root = self.root_of(s.body);
        let Ok([carrier, track]) = self.tracks.get_disjoint_mut([root, s.body]) else { return };
        let by = carrier.heard.by_other(&self.model, &carrier.live, &track.live, s, root);
        let Some(by) = by else { return };
        if s.t_s > carrier.live.t_s + LONG_GAP_S && carrier.live.phase != Phase::Waiting {
            // It may have been let go since anything was heard.
            let mut then = carrier.live;
            then.carry_to(&self.model, s.t_s);
            if let Some((t_s, sd_s)) = self.freed_by_cue(s.body, &then) {
                self.free(s.body, then, (t_s, sd_s, Origin::Inferred));
                return;
            }
        }
        self.tracks[root].take(&self.model, &by);
    }

    /// Whether an attached body's own barometer still reads what its parent's belief expects.
    fn compare_with_parent(&mut self, s: &Sample) {
        let root = self.root_of(s.body);
        if root == s.body {
            return;
        }
        let (parent, own) = (&self.tracks[root].live, &self.tracks[s.body]);
        if let Some(lift_s) = own.aloft_s
            && !matches!(parent.phase, Phase::Waiting | Phase::Joined | Phase::Down)
            // Nothing is let go under the first motor's thrust, and ports differ most there.
            && (parent.phase != Phase::Powered || parent.regime.stage > 0)
        {
            let mut apart = own.apart;
            apart.compare(&self.model, parent, &own.live, lift_s, s);
            self.tracks[s.body].apart = apart;
        }
    }

    /// Carries every view to now, frees what is due, and notes events.
    fn look(&mut self) {
        for t in &mut self.tracks {
            t.look(&self.model, self.now_s);
        }
        if self.tracks[0].view.phase == Phase::Waiting {
            let stood_deg = stood_deg(&self.model, &self.tracks);
            if stood_deg != self.nominal.stood_deg {
                self.nominal = Nominal::of(&self.model, stood_deg);
            }
        }
        self.free_bodies();
        self.note_events();
    }

    fn free_bodies(&mut self) {
        for i in 0..self.tracks.len() {
            if !self.tracks[i].attached {
                continue;
            }
            let parent = self.root_of(i);
            if parent == i {
                continue;
            }
            let p = &self.tracks[parent].live;
            if matches!(p.phase, Phase::Waiting | Phase::Joined) {
                continue;
            }
            if self.tracks[i].aloft_s.is_none() {
                let lift_s = p.marked(EventKind::Liftoff).map_or(p.t_s, |l| l.t_s);
                self.tracks[i].aloft(&self.model, lift_s);
            }
            let p = &self.tracks[parent].live;
            let by_report =
                self.reports.iter().find(|r| r.body == i && r.event == EventKind::Freed).map(|r| {
                    let sd_s = r.after_s.map_or(0.3, |a| 0.29 * (r.by_s - a).max(0.0) + 0.02);
                    (r.by_s, sd_s, Origin::Reported)
                });
            let by_cue = self.freed_by_cue(i, p).map(|(t, sd)| (t, sd, Origin::Inferred));
            let by_motion = self.tracks[i].apart.left_s().map(|(t, sd)| (t, sd, Origin::Detected));
            if let Some(known) = by_report.or(by_cue).or(by_motion) {
                let mut child = *p;
                if by_motion.is_some() {
                    child.strayed(self.tracks[i].apart.off_m(), p.t_s - known.0);
                }
                self.free(i, child, known);
            }
        }
    }

    /// When a body has been let go by its cue, as its carrier's belief has it, and the spread of that, s.
    fn freed_by_cue(&self, body: usize, carrier: &Filter) -> Option<(f64, f64)> {
        let cue = self.model.plan.bodies.get(body)?.freed_by.filter(|c| *c < MAX_CUES)?;
        let sd = self.model.plan.cues.get(cue).map_or(0.2, |c| c.delay_s.sd);
        let now_s = self.now_s.max(carrier.t_s);
        // What says of itself that it hangs on, or did after its cue, is not let go by the plan alone.
        let denies = |t: f64| {
            self.denied_s[body]
                .is_some_and(|denied_s| denied_s > t + DENIED_AFTER_S || now_s - denied_s < DENIES_FOR_S)
        };
        carrier.cue_s[cue].filter(|t| *t <= now_s && !denies(*t)).map(|t| (t, sd.max(0.05) + 0.1))
    }

    /// From here on a body flies by itself, from its carrier's belief.
    fn free(&mut self, body: usize, mut from: Filter, (t_s, sd_s, origin): (f64, f64, Origin)) {
        from.let_go(&self.model, body, &self.tracks[body].live);
        from.mark_as(EventKind::Freed, t_s, sd_s, origin);
        self.tracks[body].begin_from(&self.model, from, t_s);
        self.tracks[body].look(&self.model, self.now_s);
    }

    /// The body whose filter speaks for this one.
    fn root_of(&self, body: usize) -> usize {
        let mut at = body;
        for _ in 0..MAX_BODIES {
            if self.tracks.get(at).is_none_or(|t| !t.attached) {
                break;
            }
            match self.model.plan.bodies.get(at).and_then(|b| b.parent) {
                Some(p) if p < self.tracks.len() => at = p,
                _ => break,
            }
        }
        at
    }

    /// The filter of a body that flies or has flown by itself, at its newest sample, and who carried it before.
    pub(crate) fn hindsight(&self, body: usize) -> Option<(&Filter, Option<usize>)> {
        let track = self.tracks.get(body).filter(|t| !t.attached)?;
        Some((&track.live, self.model.plan.bodies.get(body).and_then(|b| b.parent)))
    }

    /// What was told, ready for arithmetic.
    pub(crate) fn model(&self) -> &Model {
        &self.model
    }

    fn view_of(&self, body: usize) -> Option<&Filter> {
        (body < self.tracks.len()).then(|| &self.tracks[self.root_of(body)].view)
    }

    fn note_events(&mut self) {
        for body in 0..self.tracks.len() {
            for kind in ALL {
                if body > 0 && !OWN.contains(&kind) {
                    continue;
                }
                let track = &self.tracks[body];
                // Of what has no radio nobody sees more than that it was let go.
                let unheard = !track.live.booted && kind != EventKind::Freed;
                let seen = if track.attached || unheard {
                    None
                } else {
                    track.view.marked(kind).map(|k| (k.t_s, k.sd_s, k.origin))
                };
                let told = self
                    .reports
                    .iter()
                    .find(|r| r.body == body && r.event == kind)
                    .filter(|r| track.attached || !refuted(r, &track.view));
                let now = match (seen, told) {
                    (seen, Some(r)) => {
                        let after = began(r);
                        let by_flag = happened(r);
                        // A flag rises when the vehicle has noticed: it cannot have happened later, but well before.
                        let (t, sd) = match seen {
                            Some((t, sd, _)) if t <= r.by_s && t >= after => (t, sd.min(by_flag.sd)),
                            Some((t, sd, _)) if t < after => (t, sd),
                            _ => (by_flag.value, by_flag.sd),
                        };
                        Some((t, sd, Origin::Reported))
                    }
                    (seen, None) => seen,
                };
                self.note(body, kind, now);
            }
        }
    }

    fn note(&mut self, body: usize, kind: EventKind, now: Option<(f64, f64, Origin)>) {
        let now = now.map(|(t_s, sd_s, origin)| (t_s, libm::hypot(sd_s, predict::CLOCK_SD_S), origin));
        let before = self.said.iter().position(|e| e.body == body && e.kind == kind);
        match (before, now) {
            (None, Some((t_s, sd_s, origin))) => {
                let event =
                    Event { id: self.next_id, revision: 0, withdrawn: false, body, kind, t_s, sd_s, origin };
                self.next_id += 1;
                self.said.push(event);
                self.fresh.push(event);
            }
            (Some(i), Some((t_s, sd_s, origin))) => {
                let e = &mut self.said[i];
                let moved = (e.t_s - t_s).abs() > 0.02_f64.max(0.25 * sd_s.min(e.sd_s));
                if moved || e.withdrawn || e.origin != origin || sd_s < 0.5 * e.sd_s {
                    e.t_s = t_s;
                    e.sd_s = sd_s;
                    e.origin = origin;
                    e.withdrawn = false;
                    e.revision += 1;
                    self.fresh.push(*e);
                }
            }
            (Some(i), None) => {
                let e = &mut self.said[i];
                if !e.withdrawn {
                    e.withdrawn = true;
                    e.revision += 1;
                    self.fresh.push(*e);
                }
            }
            (None, None) => {}
        }
    }

    /// The state of a body now (at the newest of samples taken and `advance`).
    pub fn estimate(&self, body: usize) -> Option<Estimate> {
        let f = self.view_of(body)?;
        if f.phase == Phase::Waiting {
            return Some(crate::report::waiting(&self.model, f, self.now_s));
        }
        crate::report::state(&self.model, f)
    }

    /// Apogee of the body (of its parent while attached).
    pub fn prediction(&self, body: usize) -> Option<Prediction> {
        self.prediction_by(body, None)
    }

    /// [`Tracker::prediction`] and of [`Tracker::cues`] those on the same flight, for half the work.
    pub fn foresee(&self, body: usize, cues: &mut Vec<CuePrediction>) -> Option<Prediction> {
        cues.clear();
        let tops = self.cues_of(self.root_of(body), cues);
        self.prediction_by(body, tops)
    }

    fn prediction_by(&self, body: usize, tops: Option<Tops>) -> Option<Prediction> {
        let f = self.view_of(body)?;
        let mut p = if let Some(top) = f.top {
            Prediction {
                t_s: 0.0,
                apogee_height_m: top.height_m,
                apogee_t_s: top.t_s,
                airspeed_at_apogee_mps: top.airspeed_mps,
                ground_speed_at_apogee_mps: top.ground_speed_mps,
                hand_height_m: 0.0,
                hand_t_s: 0.0,
            }
        } else if f.phase == Phase::Waiting {
            let nominal = self.nominal.apogee?;
            Prediction { apogee_t_s: later(nominal.apogee_t_s, self.now_s), ..nominal }
        } else {
            let tops = tops.unwrap_or_else(|| predict::tops(&self.model, f));
            predict::apogee(&self.model, f, &tops)?
        };
        p.t_s = self.now_s;
        let (h, v) = if f.phase == Phase::Waiting { (0.0, 0.0) } else { (f.height(), f.climb().max(0.0)) };
        let g = self.model.gravity(0.0);
        p.hand_height_m = h + v * v / (2.0 * g);
        p.hand_t_s = self.now_s + v / g;
        Some(p)
    }

    /// All cues that have not passed, and those that have with their passed flag.
    pub fn cues(&self, out: &mut Vec<CuePrediction>) {
        out.clear();
        for root in (0..self.tracks.len()).filter(|b| self.root_of(*b) == *b) {
            self.cues_of(root, out);
        }
        out.sort_by_key(|c| c.cue);
    }

    /// Those of a body that flies by itself, and of all that it carries.
    fn cues_of(&self, root: usize, out: &mut Vec<CuePrediction>) -> Option<Tops> {
        let f = &self.tracks.get(root)?.view;
        if f.phase == Phase::Waiting {
            let flies_with = |c: &CuePrediction| crate::cues::flies_with(&self.model, c.cue);
            let mine = self.nominal.cues.iter().filter(|c| self.root_of(flies_with(c)) == root);
            out.extend(mine.map(|c| CuePrediction {
                t_s: self.now_s,
                cue_t_s: later(c.cue_t_s, self.now_s),
                ..*c
            }));
            return None;
        }
        let carries = |body: usize| self.root_of(body) == root;
        (!f.blobs.is_empty()).then(|| crate::cues::foreseen(&self.model, f, carries, out))
    }

    /// The predicted path from now to the ground with bands, evenly usable by a chart; at most 64 knots. At most 5 Hz.
    pub fn path(&self, body: usize, out: &mut Vec<Knot>) {
        out.clear();
        let Some(f) = self.view_of(body) else { return };
        if f.phase == Phase::Waiting {
            crate::report::path(&self.model, &f.supposing_liftoff(&self.model, self.now_s), out);
        } else {
            crate::report::path(&self.model, f, out);
        }
    }

    /// Landing areas of a body in every case that applies. At most 5 Hz.
    pub fn landings(&self, body: usize, out: &mut Vec<Landing>) {
        out.clear();
        let Some(f) = self.view_of(body) else { return };
        if f.phase == Phase::Waiting {
            crate::report::landings(&self.model, &f.supposing_liftoff(&self.model, self.now_s), body, out);
        } else {
            crate::report::landings(&self.model, f, body, out);
        }
    }

    /// Events new or corrected since the last call, in order.
    pub fn drain_events(&mut self, out: &mut Vec<Event>) {
        out.clear();
        out.append(&mut self.fresh);
    }
}
