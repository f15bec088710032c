//! The whole flight with hindsight: the reference for audits.
//!
//! An iterated extended Kalman smoother (Bell 1994: the Gauss-Newton method on the whole path; Rauch, Tung and Striebel 1965
//! for the way back; both cited from memory). The filter has seen the flight once: its events give the stages, its judgement
//! of GNSS says which fixes count, and its path is the first to linearise about. After that each round goes forward about the
//! last round's path and back again. With the path known there is no ring and nothing to choose between: one Gaussian is
//! enough. Unlike the filter it allocates, and it takes as long as the flight has samples.

use crate::filter::{Filter, KINDS, Mark};
use crate::linear::{Matrix, Packed, gain};
use crate::model::Model;
use crate::motion::{Slopes, carry_seen};
use crate::motor::Stage;
use crate::output::{Estimate, EventKind, Phase};
use crate::phase::TAIL_OVER_TAU;
use crate::plan::{DescentState, Plan};
use crate::sample::{Report, Sample};
use crate::start::PORT_SD;
use crate::state::{BB, BLAG, BS, Blob, D, E, GH, LAG, LNK, N, PORT, PRED, TAU, VE, VN, VU, WE, WN};
use crate::track::{order, same};
use crate::tracker::Tracker;

/// Rounds over the whole flight; the path moves by less than its own spread after two.
const ROUNDS: usize = 3;
/// Longest step, s.
const STEP_S: f64 = 0.25;
/// Wandering of felt thrust beyond the told curve, over its mean, and for how long, s: what grains and nozzles do.
const THRUST_SHARE: f64 = 0.3;
const THRUST_TAU_S: f64 = 0.3;
/// Wandering of ln k per root second: under a steady canopy, and while something may open or leave.
const STEADY: f64 = 0.08;
const OPENING: f64 = 1.2;
/// What ports that hang another way may read off by, m: a hundredth or two of the dynamic pressure under a drogue (common practice,
/// no source).
const OPENED_BARO_M: f64 = 0.7;
/// Spread of ln k under a canopy that has just opened, about the told one.
const OPENED_SD: f64 = 0.8;
/// Spread of the barometer's lag, s (common practice, no source): it is hardly learnt, as a path that lags looks like one that
/// is flown later.
const BLAG_SD_S: f64 = 0.045;
/// How long before and after a cue things may open, s.
const OPENS_S: (f64, f64) = (0.3, 3.0);

/// The smoothed states of all bodies that flew, body by body, each in order of time from liftoff (or letting go) to landing.
///
/// `samples` in the order received, from a little before liftoff on; what is later than the ground is left out. Nothing
/// comes of a flight that was not seen to lift off or join.
pub fn smoothed(plan: &Plan, samples: &[Sample], reports: &[Report]) -> Vec<(usize, Estimate)> {
    let Some(first) = samples.first() else { return Vec::new() };
    let mut tracker = Tracker::new(plan, first.t_s.min(first.t_receive_s));
    let mut told = reports.iter().peekable();
    for s in samples {
        while let Some(r) = told.next_if(|r| r.t_receive_s <= s.t_receive_s) {
            tracker.report(r);
        }
        tracker.take(s);
    }
    let mut ordered = samples.to_vec();
    ordered.sort_by(order);
    let mut unlike: Vec<Sample> = Vec::with_capacity(ordered.len());
    for s in ordered {
        if !unlike.iter().rev().take_while(|o| o.t_s == s.t_s).any(|o| same(o, &s)) {
            unlike.push(s);
        }
    }
    let ordered = unlike;
    let m = tracker.model();
    let mut out = Vec::new();
    let mut paths: Vec<Option<Path>> = Vec::new();
    for body in 0..plan.bodies.len().max(1) {
        let own: Vec<Sample> = ordered.iter().filter(|s| s.body == body).copied().collect();
        let path = tracker.hindsight(body).and_then(|(seen, carrier)| {
            let parent = carrier.and_then(|c| paths.get(c)).and_then(Option::as_ref);
            Path::of(m, &own, seen, parent)
        });
        if let Some(path) = &path {
            out.extend(path.estimates().map(|e| (body, e)));
        }
        paths.push(path);
    }
    out
}

/// Something that happens at a known moment.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Happens {
    RailExit,
    Burnout(EventKind),
    Ignition,
    Apogee,
    Opening(DescentState),
}

/// What is kept of one instant for the way back.
struct Knot {
    phase: Phase,
    /// Prediction and belief.
    before: ([f64; N], Packed),
    after: ([f64; N], Packed),
    /// From the knot before to this one.
    moved: Transition,
}

/// Slopes of a state by the one before it: motion and its parameters in full, the rest stays or was opened anew.
#[derive(Clone)]
struct Transition {
    motion: [[f64; PRED]; PRED],
    kept: [f64; N],
    /// What the barometer's scale added to its offset, m.
    climbed_m: f64,
}

impl Transition {
    fn none() -> Self {
        let mut motion = [[0.0; PRED]; PRED];
        for (i, row) in motion.iter_mut().enumerate() {
            row[i] = 1.0;
        }
        Self { motion, kept: [1.0; N], climbed_m: 0.0 }
    }

    fn step(&mut self, s: &Slopes) {
        let before = self.motion;
        for (row, phi) in self.motion.iter_mut().zip(&s.phi) {
            *row = [0.0; PRED];
            for (f, old) in phi.iter().zip(&before) {
                for (r, o) in row.iter_mut().zip(old) {
                    *r += f * o;
                }
            }
        }
        for (i, fade) in [(D, s.fade), (WE, s.wind_fade), (WN, s.wind_fade)] {
            for r in &mut self.motion[i] {
                *r *= fade;
            }
        }
        self.kept[BB] *= s.offset_fade;
        self.climbed_m = s.offset_fade * self.climbed_m + s.climbed_m * self.kept[BS];
    }

    /// The state is independent of what it was.
    fn cut(&mut self, i: usize) {
        self.kept[i] = 0.0;
        if i == BB {
            self.climbed_m = 0.0;
        }
        if i < PRED {
            self.motion[i] = [0.0; PRED];
        }
    }

    fn times(&self, x: &[f64; N]) -> [f64; N] {
        let mut out = [0.0; N];
        for i in 0..N {
            out[i] = if i < PRED {
                self.motion[i].iter().zip(x).map(|(f, x)| f * x).sum()
            } else {
                self.kept[i] * x[i]
            };
        }
        out[BB] += self.climbed_m * x[BS];
        out
    }

    /// P F'.
    fn cross(&self, p: &Matrix) -> Matrix {
        let mut out = [[0.0; N]; N];
        for (row, p) in out.iter_mut().zip(p) {
            *row = self.times(p);
        }
        out
    }
}

/// One body's flight.
struct Path<'a> {
    m: &'a Model,
    /// As the filter left it: marks, zeros, sensors.
    seen: Filter,
    happens: Vec<(f64, Happens)>,
    /// When something may open, s.
    openings: Vec<f64>,
    samples: Vec<Sample>,
    believed: Vec<bool>,
    start: Start,
    /// The path: `None` where the filter had none yet.
    about: Vec<Option<[f64; N]>>,
    spread: Vec<Packed>,
    phases: Vec<Phase>,
}

/// Where a path begins.
struct Start {
    t_s: f64,
    phase: Phase,
    blob: Blob,
}

impl<'a> Path<'a> {
    /// Smooths a body's flight. `seen` is its filter at the end, `parent` the path of who carried it.
    fn of(m: &'a Model, samples: &[Sample], seen: &Filter, parent: Option<&Self>) -> Option<Self> {
        let at = |k: EventKind| seen.marked(k).map(|k| k.t_s);
        let landed = at(EventKind::Landing).unwrap_or(f64::INFINITY);
        let let_go = parent.zip(at(EventKind::Freed));
        let mut path = Self {
            m,
            seen: *seen,
            happens: Vec::new(),
            openings: seen.cue_s.iter().flatten().copied().collect(),
            samples: Vec::new(),
            believed: Vec::new(),
            start: Start::nowhere(),
            about: Vec::new(),
            spread: Vec::new(),
            phases: Vec::new(),
        };
        if let Some((parent, freed)) = let_go {
            path.start = parent.lets_go(seen, freed)?;
            path.samples = within(samples, path.start.t_s, landed).copied().collect();
            path.believed = vec![true; path.samples.len()];
        } else {
            let causal = Causal::through(m, samples, seen.body);
            path.start = match at(EventKind::Liftoff) {
                Some(t) => Start::on_pad(m, seen, t)?,
                None => causal.joined.map(|(t_s, phase, blob)| Start { t_s, phase, blob })?,
            };
            path.samples = within(samples, path.start.t_s, landed).copied().collect();
            let first = samples.iter().position(|s| s.t_s > path.start.t_s)?;
            let kept = &causal.seen[first..first + path.samples.len()];
            path.believed = kept.iter().map(|s| s.believed).collect();
            path.point_the_way(kept);
        }
        path.happens = happens(&seen.marks, path.start.t_s, let_go.is_some());
        if path.samples.len() < 3 {
            return None;
        }
        for _ in 0..ROUNDS {
            let knots = path.forth();
            path.back(&knots);
        }
        Some(path)
    }

    /// The filter's path to begin with. Before anything horizontal was known its likeliest blob leaned anywhere: the speed
    /// that it knew is laid along the heading that was found later.
    fn point_the_way(&mut self, kept: &[Seen]) {
        self.about = kept.iter().map(|s| s.x).collect();
        let apogee = self.samples.iter().position(|s| self.apogee_s().is_some_and(|a| s.t_s > a));
        let (Some(top), Some(unknown)) =
            (apogee, kept.iter().position(|s| s.flat_known).or(Some(kept.len())))
        else {
            return;
        };
        let at = top.max(unknown.min(kept.len() - 1)).saturating_sub(1);
        let Some(ahead) = self.about[at] else { return };
        let speed = libm::hypot(ahead[VE], ahead[VN]);
        if speed < 1.0 {
            return;
        }
        let heading = [ahead[VE] / speed, ahead[VN] / speed];
        let mut place = [0.0; 2];
        let mut before_s = self.start.t_s;
        for (x, s) in self.about[..unknown.min(top)].iter_mut().zip(&self.samples) {
            let Some(x) = x else { continue };
            let flat = libm::hypot(x[VE], x[VN]);
            for i in 0..2 {
                x[VE + i] = flat * heading[i];
                place[i] += x[VE + i] * (s.t_s - before_s);
                x[E + i] = place[i];
            }
            before_s = s.t_s;
        }
    }

    fn path_at(&self, k: usize) -> Option<[f64; N]> {
        self.about.get(k).copied().flatten()
    }

    fn apogee_s(&self) -> Option<f64> {
        self.seen.marked(EventKind::Apogee).map(|a| a.t_s)
    }

    /// Forward about the path.
    fn forth(&self) -> Vec<Knot> {
        let mut f = self.seen;
        f.blobs.clear();
        f.blobs.push(self.start.blob);
        f.phase = self.start.phase;
        f.t_s = self.start.t_s;
        f.canopy = None;
        f.sensors.begin_again(self.start.t_s);
        if f.phase == Phase::Powered {
            let felt = self.samples.iter().take(20).any(|s| s.axial_mps2.is_some());
            f.begin_burn(self.m, 0, self.start.t_s, felt);
            self.thrust_wanders(&mut f, felt);
        } else {
            f.regime.burning = false;
            f.regime.thrust_sd = 0.0;
            f.regime.coasts();
        }
        let mut knots = Vec::with_capacity(self.samples.len());
        let mut next = 0;
        let mut from = self.start.blob.x;
        for (k, s) in self.samples.iter().enumerate() {
            let belief = f.blobs[0].x;
            let mut moved = Transition::none();
            f.blobs[0].x = from;
            let v0 = [from[VE], from[VN], from[VU]];
            let began_s = f.t_s;
            while let Some((t, what)) = self.happens.get(next).filter(|h| h.0 <= s.t_s) {
                self.carry(&mut f, *t, &mut moved);
                self.act(&mut f, *what, &mut moved);
                next += 1;
            }
            self.carry(&mut f, s.t_s, &mut moved);
            let mut off = [0.0; N];
            for i in 0..N {
                off[i] = belief[i] - from[i];
            }
            let off = moved.times(&off);
            let b = &mut f.blobs[0];
            let span = s.t_s - began_s;
            for i in 0..3 {
                if span > 1e-3 {
                    f.acceleration[i] = ((b.x[VE + i] - v0[i]) / span).clamp(-3000.0, 3000.0);
                }
            }
            for i in 0..N {
                b.x[i] += off[i];
            }
            let before = (b.x, Packed::of(&b.p));
            f.packet_gap_s = span.clamp(0.0, 0.5);
            // A first round without a path to go by is seen from where it goes.
            f.about = Some(self.path_at(k).unwrap_or(before.0));
            f.gnss_doubted = !self.believed[k];
            f.fuse(self.m, s);
            let b = &f.blobs[0];
            knots.push(Knot { phase: f.phase, before, after: (b.x, Packed::of(&b.p)), moved });
            from = self.path_at(k).unwrap_or(f.blobs[0].x);
        }
        knots
    }

    fn thrust_wanders(&self, f: &mut Filter, felt: bool) {
        if felt && let Some(stage) = self.m.stages.get(f.regime.stage) {
            f.regime.thrust_sd = THRUST_SHARE * stage.mean_mps2();
            f.regime.thrust_tau_s = THRUST_TAU_S;
        }
    }

    /// Carries path, belief and slopes to an instant.
    fn carry(&self, f: &mut Filter, t_s: f64, moved: &mut Transition) {
        // A bound on the work of a very long silence.
        let slice = STEP_S.max((t_s - f.t_s) / 600.0);
        while f.t_s < t_s - 1e-9 {
            let span = (t_s - f.t_s).min(slice);
            if f.phase == Phase::Descending {
                let opens = |at: &f64| f.t_s > at - OPENS_S.0 && f.t_s < at + OPENS_S.1;
                f.regime.ln_k_rate = if self.openings.iter().any(opens) { OPENING } else { STEADY };
            }
            if !f.regime.burning && f.t_s > f.regime.burnt_out_s + TAIL_OVER_TAU * f.regime.thrust_tau_s {
                f.regime.thrust_sd = 0.0;
            }
            let (regime, at) = (f.regime, f.t_s);
            carry_seen(self.m, &regime, &mut f.blobs[0], at, span, STEP_S, |s| moved.step(s));
            f.t_s += span;
            self.jolt(&mut f.blobs[0], at, span);
        }
    }

    /// A moment at which thrust begins or ends is known to a fraction of a second: what it pushed meanwhile is a speed along
    /// the path.
    fn pushed(&self, f: &mut Filter, kind: EventKind) {
        let sd = self.seen.marked(kind).map_or(0.05, |k| k.sd_s).min(0.5);
        let mean = self.m.stages.get(f.regime.stage).map_or(0.0, Stage::mean_mps2);
        let b = &mut f.blobs[0];
        let (air, v) = crate::motion::airspeed(self.m, &b.x);
        for i in 0..3 {
            for j in 0..3 {
                b.p[VE + i][VE + j] += sd * sd * mean * mean * air[i] * air[j] / (v * v).max(1.0);
            }
        }
    }

    /// When a canopy opens is known to a fraction of a second only: about that moment the speed may change by itself.
    fn jolt(&self, b: &mut Blob, t_s: f64, span_s: f64) {
        for mark in [EventKind::FirstChute, EventKind::MainChute].iter().filter_map(|k| self.seen.marked(*k))
        {
            let about = 2.0 * mark.sd_s + OPENS_S.0;
            if (t_s - mark.t_s).abs() < about {
                let v2 = b.x[VE] * b.x[VE] + b.x[VN] * b.x[VN] + b.x[VU] * b.x[VU] + 25.0;
                for i in VE..=VU {
                    b.p[i][i] += v2 * span_s / about;
                }
            }
        }
    }

    /// Lets something happen.
    fn act(&self, f: &mut Filter, what: Happens, moved: &mut Transition) {
        match what {
            Happens::RailExit => f.loosen_lean(self.m.lean_off_rail_rad),
            Happens::Burnout(kind) => {
                self.pushed(f, kind);
                f.end_burn(self.m, f.t_s);
                moved.cut(D);
                moved.cut(TAU);
            }
            Happens::Ignition => {
                let next = f.regime.stage + 1;
                if let Some(stage) = self.m.stages.get(next) {
                    let mean = stage.mean_mps2();
                    f.begin_burn(self.m, next, f.t_s, true);
                    self.thrust_wanders(f, true);
                    f.phase = Phase::Powered;
                    let b = &mut f.blobs[0];
                    b.x[D] = 0.0;
                    b.reopen(D, 0.25 * mean * mean);
                    moved.cut(D);
                    moved.cut(TAU);
                    self.pushed(f, EventKind::StageIgnition);
                }
            }
            Happens::Apogee => {
                f.descends();
                moved.cut(D);
            }
            Happens::Opening(state) => {
                let told = self.m.plan.bodies.get(self.seen.body);
                let descent = told.and_then(|t| t.descents.iter().find(|d| fits(d.state, state)));
                if let Some((told, descent)) = told.zip(descent) {
                    let b = &mut f.blobs[0];
                    b.x[LNK] = self.m.ln_k_under(told, descent.drag_area_m2.value);
                    b.reopen(LNK, OPENED_SD * OPENED_SD);
                    moved.cut(LNK);
                    // Ports and antenna hang another way from here on: their errors say nothing about the climb's. The air, and so
                    // what the column adds to heights by pressure, stays what it was.
                    b.p[BB][BB] += OPENED_BARO_M * OPENED_BARO_M;
                    for (i, sd) in [(PORT, PORT_SD), (BLAG, BLAG_SD_S), (LAG, 0.15), (GH, 3.0)] {
                        b.reopen(i, sd * sd);
                        moved.cut(i);
                    }
                }
            }
        }
    }

    /// Backward: what came later corrects what came before.
    fn back(&mut self, knots: &[Knot]) {
        let n = knots.len();
        self.spread.clear();
        self.spread.resize(n, Packed::zero());
        self.phases = knots.iter().map(|k| k.phase).collect();
        let Some(last) = knots.last() else { return };
        self.about.resize(n, None);
        self.about[n - 1] = Some(last.after.0);
        let mut later_x = last.after.0;
        self.spread[n - 1] = last.after.1.clone();
        for k in (0..n - 1).rev() {
            let (this, next) = (&knots[k], &knots[k + 1]);
            let p = this.after.1.full();
            let predicted = next.before.1.full();
            let g = gain(&next.moved.cross(&p), &predicted);
            let mut off = [0.0; N];
            for i in 0..N {
                off[i] = later_x[i] - next.before.0[i];
            }
            let later = self.spread[k + 1].full();
            let mut x = this.after.0;
            for (x, row) in x.iter_mut().zip(&g) {
                *x += row.iter().zip(&off).map(|(g, o)| g * o).sum::<f64>();
            }
            let mut ps = p;
            let mut gd = [[0.0; N]; N];
            for (gd, g) in gd.iter_mut().zip(&g) {
                for (j, v) in gd.iter_mut().enumerate() {
                    *v = (0..N).map(|c| g[c] * (later[c][j] - predicted[c][j])).sum();
                }
            }
            for (i, row) in ps.iter_mut().enumerate() {
                for (j, v) in row.iter_mut().enumerate() {
                    *v += (0..N).map(|c| gd[i][c] * g[j][c]).sum::<f64>();
                }
            }
            let mut held = Blob { x, p: ps, ..Blob::zero() };
            held.hold();
            later_x = held.x;
            self.about[k] = Some(held.x);
            self.spread[k] = Packed::of(&held.p);
        }
    }

    /// The belief about a body that is let go at a moment.
    fn lets_go(&self, own: &Filter, freed_s: f64) -> Option<Start> {
        let k = self.samples.iter().rposition(|s| s.t_s <= freed_s)?;
        let mut f = self.seen;
        self.look_at(k, &mut f)?;
        f.let_go(self.m, own.body, own);
        let phase = if f.phase == Phase::Powered { Phase::Coasting } else { f.phase };
        Some(Start { t_s: f.t_s, phase, blob: f.blobs[0] })
    }

    /// What is said of each instant.
    fn estimates(&self) -> impl Iterator<Item = Estimate> {
        let mut f = self.seen;
        f.canopy = None;
        (0..self.samples.len()).filter_map(move |k| {
            self.look_at(k, &mut f)?;
            f.used_s = f.t_s;
            crate::report::state(self.m, &f)
        })
    }

    /// Makes a filter's belief what is known of one instant.
    fn look_at(&self, k: usize, f: &mut Filter) -> Option<()> {
        f.blobs.clear();
        f.blobs.push(Blob { x: self.path_at(k)?, p: self.spread[k].full(), ..self.start.blob });
        f.phase = self.phases[k];
        f.t_s = self.samples[k].t_s;
        Some(())
    }
}

impl Start {
    /// At first motion, upright on the rail, the whole told lean inside one Gaussian.
    fn on_pad(m: &Model, seen: &Filter, t_s: f64) -> Option<Self> {
        let mut f = *seen;
        f.t_s = t_s;
        f.begin_burn(m, 0, t_s, true);
        let sd = f.marked(EventKind::Liftoff).map_or(0.1, |l| l.sd_s);
        f.lay_sum(m, sd, true);
        let mut blob = *f.blobs.first()?;
        blob.ln_w = 0.0;
        blob.p[BLAG][BLAG] = BLAG_SD_S * BLAG_SD_S;
        Some(Self { t_s, phase: Phase::Powered, blob })
    }

    fn nowhere() -> Self {
        Self { t_s: 0.0, phase: Phase::Waiting, blob: Blob::zero() }
    }
}

/// Whether a told descent state is what a first chute, or a main, is about.
fn fits(told: DescentState, seen: DescentState) -> bool {
    match seen {
        DescentState::Main => told == DescentState::Main,
        _ => matches!(told, DescentState::Drogue | DescentState::Streamer),
    }
}

/// Samples between two instants.
fn within(samples: &[Sample], from_s: f64, to_s: f64) -> impl Iterator<Item = &Sample> {
    samples.iter().skip_while(move |s| s.t_s <= from_s).take_while(move |s| s.t_s < to_s)
}

/// The filter's own way through a body's samples, one after the other in order of time.
struct Causal {
    f: Filter,
    seen: Vec<Seen>,
    joined: Option<(f64, Phase, Blob)>,
}

/// What the filter thought after a sample.
#[derive(Clone, Copy)]
struct Seen {
    /// Whether GNSS was believed, and whether anything horizontal was known.
    believed: bool,
    flat_known: bool,
    x: Option<[f64; N]>,
}

impl Causal {
    fn through(m: &Model, samples: &[Sample], body: usize) -> Self {
        let from = samples.first().map_or(0.0, |s| s.t_s);
        let mut it = Self { f: Filter::new(body, from), seen: Vec::new(), joined: None };
        for s in samples {
            let waited = it.f.phase == Phase::Waiting;
            it.f.take(m, s, false);
            let best = it.f.likeliest();
            if waited && it.f.phase != Phase::Waiting && it.f.marked(EventKind::Liftoff).is_none() {
                it.joined = best.map(|b| (it.f.t_s, it.f.phase, b));
            }
            it.seen.push(Seen {
                believed: !it.f.gnss_doubted,
                flat_known: it.f.flat_known,
                x: best.map(|b| b.x),
            });
        }
        it
    }
}

/// What happened, in order.
fn happens(marks: &[Option<Mark>; KINDS], from_s: f64, let_go: bool) -> Vec<(f64, Happens)> {
    let mut all = Vec::new();
    let mut add = |kind: EventKind, what: Happens| {
        if let Some(mark) = marks[kind as usize].filter(|k| k.t_s > from_s) {
            all.push((mark.t_s, what));
        }
    };
    if !let_go {
        add(EventKind::RailExit, Happens::RailExit);
        add(EventKind::Burnout, Happens::Burnout(EventKind::Burnout));
        add(EventKind::StageIgnition, Happens::Ignition);
        add(EventKind::StageBurnout, Happens::Burnout(EventKind::StageBurnout));
    }
    add(EventKind::Apogee, Happens::Apogee);
    add(EventKind::FirstChute, Happens::Opening(DescentState::Drogue));
    add(EventKind::MainChute, Happens::Opening(DescentState::Main));
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}
