//! The whole flight with hindsight: the reference for audits.
//!
//! An iterated extended Kalman smoother (Bell 1994: the Gauss-Newton method on the whole path; Rauch, Tung and Striebel 1965
//! for the way back; both cited from memory), in stretches from one opening of a canopy to the next: no straight line leads through
//! those, and while a canopy fills the filter's word stands. The filter has seen the flight once: its events give the stages,
//! its judgement of GNSS says which fixes count, and its path is the first to linearise about. After that each round goes
//! forward about the last round's path and back again. With the path known there is no ring and nothing to choose between: one
//! Gaussian is enough. A round that leaves where the filter was, as far as that was known, is not taken: its linearisation did
//! not hold. Unlike the filter it allocates, and it takes as long as the flight has samples.

mod lived;
mod transition;

use crate::filter::Filter;
use crate::linear::{Packed, gain};
use crate::model::Model;
use crate::motion::{airspeed, carry_seen};
use crate::motor::Stage;
use crate::output::{Estimate, EventKind, Phase, Quantiles};
use crate::phase::TAIL_OVER_TAU;
use crate::plan::Plan;
use crate::sample::{Report, Sample};
use crate::state::{BLAG, Blob, D, E, H, N, NEVER_S, TAU, VE, VN, VU};
use crate::track::{order, same};
use crate::tracker::Tracker;

use lived::{Lived, Moment};
use transition::Transition;

/// Rounds over a stretch; the path moves by less than its own spread after two.
const ROUNDS: usize = 3;
/// Longest step, s.
const STEP_S: f64 = 0.25;
/// Wandering of felt thrust beyond the told curve, over its mean, and for how long, s: what grains and nozzles do.
const THRUST_SHARE: f64 = 0.3;
const THRUST_TAU_S: f64 = 0.3;
/// Wandering of ln k per root second: under a steady canopy, and while something may open or leave.
const STEADY: f64 = 0.08;
const OPENING: f64 = 1.2;
/// Spread of the barometer's lag, s (common practice, no source): it is hardly learnt, as a path that lags looks like one that
/// is flown later.
const BLAG_SD_S: f64 = 0.045;
/// Canopies, and how long one opens, s (common practice, no source).
const CANOPIES: [EventKind; 2] = [EventKind::FirstChute, EventKind::MainChute];
const OPENING_S: f64 = 2.0;
/// How far a smoothed path may lie beside the filter's, in standard deviations of both, at all but one instant in twenty; what two
/// are counted to differ by anyhow are a metre, a metre a second, and three of airspeed. And the width of a 90 % interval, standard deviations.
const ASTRAY_SD: f64 = 4.0;
const LEAST_AIR_MPS: f64 = 3.0;
const WIDTH_90_SD: f64 = 3.29;
/// Lean over its spread from which on that was told too small: four in a hundred lean so far by chance.
const UNEXPECTED_SD: f64 = 2.5;
/// How long before and after a cue things may open, s.
const OPENS_S: (f64, f64) = (0.3, 3.0);

/// The smoothed states of all bodies that flew, body by body, each in order of time from liftoff (or letting go) to landing.
///
/// `samples` in the order received, from a little before liftoff on; what is later than the ground is left out. Nothing
/// comes of a flight that was not seen to lift off or join. While a canopy fills, and where a smoothed path does not lie where
/// the filter was, it is the filter's word that stands.
pub fn smoothed(plan: &Plan, samples: &[Sample], reports: &[Report]) -> Vec<(usize, Estimate)> {
    let mut ordered = samples.to_vec();
    ordered.sort_by(order);
    let mut unlike: Vec<Sample> = Vec::with_capacity(ordered.len());
    for s in ordered {
        if !unlike.iter().rev().take_while(|o| o.t_s == s.t_s).any(|o| same(o, &s)) {
            unlike.push(s);
        }
    }
    let ordered = unlike;
    let Some(tracker) = through(plan, samples, reports, |_, _| {}) else { return Vec::new() };
    // What was thought on the way, had every sample come in its place.
    let mut lived = vec![Lived::default(); plan.bodies.len().max(1)];
    through(plan, &ordered, reports, |tracker, body| {
        if let (Some(lived), Some((f, _))) = (lived.get_mut(body), tracker.hindsight(body)) {
            lived.note(tracker.model(), f);
        }
    });
    let m = tracker.model();
    let mut out = Vec::new();
    let mut paths: Vec<Vec<Path>> = Vec::new();
    for (body, lived) in lived.iter().enumerate() {
        let own: Vec<Sample> = ordered.iter().filter(|s| s.body == body).copied().collect();
        let mut stretches = Vec::new();
        if let Some((seen, carrier)) = tracker.hindsight(body) {
            let parent = carrier.and_then(|c| paths.get(c)).map_or(&[][..], Vec::as_slice);
            stretches = Path::stretches(m, &own, seen, lived, parent);
            out.extend(told_by(&stretches, lived, seen).into_iter().map(|e| (body, e)));
        }
        paths.push(stretches);
    }
    out
}

/// A tracker that has seen all this; `see` is shown it after each sample, with the sample's body.
fn through(
    plan: &Plan,
    samples: &[Sample],
    reports: &[Report],
    mut see: impl FnMut(&Tracker, usize),
) -> Option<Tracker> {
    let first = samples.first()?;
    let mut tracker = Tracker::new(plan, first.t_s.min(first.t_receive_s));
    let mut told = reports.iter().peekable();
    for s in samples {
        while let Some(r) = told.next_if(|r| r.t_receive_s <= s.t_receive_s) {
            tracker.report(r);
        }
        tracker.take(s);
        see(&tracker, s.body);
    }
    Some(tracker)
}

/// What is said of a body's flight: the smoothed stretches, and between them what the filter said.
fn told_by(stretches: &[Path], lived: &Lived, seen: &Filter) -> Vec<Estimate> {
    let mark = |k| seen.marked(k).map(|m| m.t_s);
    let landed_s = mark(EventKind::Landing).unwrap_or(f64::INFINITY);
    let began_s = mark(EventKind::Liftoff).or(mark(EventKind::Freed)).unwrap_or(f64::NEG_INFINITY);
    let covered = |t: f64| stretches.iter().any(|p| p.covers(t));
    let between = lived.moments.iter().filter(|x| x.t_s > began_s && x.t_s < landed_s && !covered(x.t_s));
    let mut all: Vec<Estimate> = stretches.iter().flat_map(Path::estimates).collect();
    all.extend(between.filter_map(|x| x.said));
    all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    all
}

/// Something that happens at a known moment.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Happens {
    RailExit,
    Burnout(EventKind),
    Ignition(EventKind),
    Apogee,
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
    /// Where it ends: samples from there on are not in it, s.
    until_s: f64,
    /// Spread of the lean off the rail, rad: as told, or what was found of it where that is far beyond.
    lean_sd_rad: f64,
    /// The path: `None` where the filter had none yet.
    about: Vec<Option<[f64; N]>>,
    spread: Vec<Packed>,
    phases: Vec<Phase>,
}

/// Where a stretch begins.
#[derive(Clone, Copy)]
struct Start {
    t_s: f64,
    phase: Phase,
    blob: Blob,
}

impl<'a> Path<'a> {
    /// Smooths a body's flight in stretches, from one opening of a canopy to the next. A canopy is a hundred times the drag within a
    /// second, at a moment that is known to half of one: no straight line leads through that. `seen` is the body's
    /// filter at the end, `lived` what it thought on the way, `parent` the stretches of who carried it.
    fn stretches(
        m: &'a Model,
        samples: &[Sample],
        seen: &Filter,
        lived: &Lived,
        parent: &[Self],
    ) -> Vec<Self> {
        let landed = seen.marked(EventKind::Landing).map_or(f64::INFINITY, |k| k.t_s);
        let mut opens: Vec<f64> =
            CANOPIES.iter().filter_map(|k| seen.marked(*k)).map(|k| k.t_s - OPENS_S.0 - k.sd_s).collect();
        opens.sort_by(f64::total_cmp);
        let until = |from_s: f64| opens.iter().copied().find(|t| *t > from_s).unwrap_or(landed).min(landed);
        let freed = seen.marked(EventKind::Freed).map(|k| k.t_s).filter(|_| seen.body > 0);
        let first = match (freed, seen.marked(EventKind::Liftoff)) {
            (Some(t), _) => parent.iter().find(|p| p.covers(t)).and_then(|p| p.lets_go(seen, t)),
            (None, Some(k)) => Start::on_pad(m, seen, k.t_s),
            (None, None) => lived.joined,
        };
        let starts = first.into_iter().chain(lived.settled.iter().copied());
        let mut all: Vec<Self> = Vec::new();
        for start in starts {
            // A canopy that was settled late may have done so when the next was opening.
            let opening = opens.iter().any(|t| (*t..*t + OPENING_S).contains(&start.t_s)) && !all.is_empty();
            if !opening && all.last().is_none_or(|p| p.until_s <= start.t_s) {
                let until_s = until(start.t_s);
                all.extend(Self::of(m, samples, seen, lived, start, until_s));
            }
        }
        all
    }

    /// Smooths one stretch.
    fn of(
        m: &'a Model,
        samples: &[Sample],
        seen: &Filter,
        lived: &Lived,
        start: Start,
        until_s: f64,
    ) -> Option<Self> {
        let samples: Vec<Sample> = within(samples, start.t_s, until_s).copied().collect();
        let last_s = samples.last()?.t_s;
        let moments: Vec<&Moment> = samples.iter().map(|s| lived.at(s.t_s)).collect::<Option<_>>()?;
        let mut path = Self {
            m,
            seen: *seen,
            happens: happens(seen, start.t_s, last_s),
            openings: seen.cue_s.iter().flatten().copied().collect(),
            believed: moments.iter().map(|x| x.believed).collect(),
            samples,
            start,
            until_s,
            lean_sd_rad: seen.lean_off_rail_rad(m),
            about: Vec::new(),
            spread: Vec::new(),
            phases: Vec::new(),
        };
        if path.samples.len() < 3 {
            return None;
        }
        path.point_the_way(&moments);
        let leant_rad = path.leant_off_rail_rad(&moments);
        if leant_rad > UNEXPECTED_SD * path.lean_sd_rad {
            path.lean_sd_rad = leant_rad;
        }
        let mut sane = None;
        for _ in 0..ROUNDS {
            let knots = path.forth();
            path.back(&knots);
            if !path.agrees_with(&moments) {
                // Gone astray: a round before may have been nearer.
                break;
            }
            sane = Some((path.about.clone(), path.spread.clone(), path.phases.clone()));
        }
        (path.about, path.spread, path.phases) = sane?;
        Some(path)
    }

    /// Whether the path lies where the filter was, as far as the filter knew.
    fn agrees_with(&self, moments: &[&Moment]) -> bool {
        // What it moved aside was a guess before a fix told of it, if one ever did.
        let guesses = !moments.iter().any(|x| x.is_told());
        let (mut beside, mut all) = (0, 0);
        for (k, moment) in moments.iter().enumerate() {
            let (Some(x), Some(said)) =
                (self.path_at(k), moment.said.as_ref().filter(|e| e.t_s == self.samples[k].t_s))
            else {
                continue;
            };
            let var = self.spread[k].full();
            let beyond = |value: f64, var: f64, q: &Quantiles, least: f64| {
                let sd = (q.p95 - q.p05) / WIDTH_90_SD;
                // No less sure than the filter: a path that has gone astray may say that it knows nothing.
                let both = sd * sd + var.max(0.0).min(sd * sd) + least * least;
                !((value - q.p50).abs() < ASTRAY_SD * libm::sqrt(both))
            };
            all += 1;
            beside += usize::from(
                beyond(x[H], var[H][H], &said.height_m, 1.0)
                    || beyond(x[VU], var[VU][VU], &said.climb_mps, 1.0)
                    || ((guesses || moment.is_told())
                        && beyond(airspeed(self.m, &x).1, f64::INFINITY, &said.airspeed_mps, LEAST_AIR_MPS)),
            );
        }
        beside * 20 <= all
    }

    /// Whether an instant is in this stretch.
    fn covers(&self, t_s: f64) -> bool {
        t_s > self.start.t_s && t_s < self.until_s
    }

    /// The filter's path to begin with. Before anything horizontal was known its likeliest blob leaned anywhere: the speed
    /// that it knew is laid along the heading that was found later.
    fn point_the_way(&mut self, kept: &[&Moment]) {
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

    /// How far the path leant where the rail let go, rad, by the speed aside that fixes told after burnout; nothing where none did. Who
    /// leans four times as far as told is held upright by a spread that is the told one, against every fix.
    fn leant_off_rail_rad(&self, moments: &[&Moment]) -> f64 {
        let Some(out_s) = self.seen.marked(EventKind::Burnout).map(|k| k.t_s) else { return 0.0 };
        let Some(out) = self.samples.iter().position(|s| s.t_s > out_s) else { return 0.0 };
        let told = moments[out..].iter().find(|x| x.is_told()).and_then(|x| x.x);
        let (Some(then), Some(told)) = (self.about[out], told) else { return 0.0 };
        libm::atan2(libm::hypot(told[VE], told[VN]), then[VU].max(1.0)) / self.m.lean_grows
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
            if f.may_hang() {
                let opens = |at: &f64| f.t_s > at - OPENS_S.0 && f.t_s < at + OPENS_S.1;
                f.regime.ln_k_rate = if self.openings.iter().any(opens) { OPENING } else { STEADY };
            }
            if !f.regime.burning && f.t_s > f.regime.burnt_out_s + TAIL_OVER_TAU * f.regime.thrust_tau_s {
                f.regime.thrust_sd = 0.0;
            }
            let (regime, at) = (f.regime, f.t_s);
            carry_seen(self.m, &regime, &mut f.blobs[0], at, span, STEP_S, |s| moved.step(s));
            f.t_s += span;
        }
    }

    /// A moment at which thrust begins or ends is known to a fraction of a second: what it pushed meanwhile is a speed along
    /// the path.
    fn pushed(&self, f: &mut Filter, kind: EventKind) {
        let sd = self.seen.marked(kind).map_or(0.05, |k| k.sd_s).min(0.5);
        let mean = self.m.stages.get(f.regime.stage).map_or(0.0, Stage::mean_mps2);
        let b = &mut f.blobs[0];
        let (air, v) = airspeed(self.m, &b.x);
        for i in 0..3 {
            for j in 0..3 {
                b.p[VE + i][VE + j] += sd * sd * mean * mean * air[i] * air[j] / (v * v).max(1.0);
            }
        }
    }

    /// Lets something happen.
    fn act(&self, f: &mut Filter, what: Happens, moved: &mut Transition) {
        match what {
            Happens::RailExit => f.loosen_lean(self.lean_sd_rad),
            Happens::Burnout(kind) => {
                self.pushed(f, kind);
                f.end_burn(self.m, f.t_s);
                f.regime.burnt_out_s = f.t_s;
                moved.cut(D);
                moved.cut(TAU);
            }
            Happens::Ignition(kind) => {
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
                    self.pushed(f, kind);
                }
            }
            Happens::Apogee => {
                f.descends();
                moved.cut(D);
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
}

/// Samples between two instants.
fn within(samples: &[Sample], from_s: f64, to_s: f64) -> impl Iterator<Item = &Sample> {
    samples.iter().skip_while(move |s| s.t_s <= from_s).take_while(move |s| s.t_s < to_s)
}

/// What happened, in order.
fn happens(seen: &Filter, from_s: f64, to_s: f64) -> Vec<(f64, Happens)> {
    let all = [
        (EventKind::RailExit, Happens::RailExit),
        (EventKind::Burnout, Happens::Burnout(EventKind::Burnout)),
        (EventKind::StageIgnition, Happens::Ignition(EventKind::StageIgnition)),
        (EventKind::StageBurnout, Happens::Burnout(EventKind::StageBurnout)),
        (EventKind::ThirdIgnition, Happens::Ignition(EventKind::ThirdIgnition)),
        (EventKind::ThirdBurnout, Happens::Burnout(EventKind::ThirdBurnout)),
        (EventKind::Apogee, Happens::Apogee),
    ];
    // A tail that pushes less than drag brakes goes on after burnout: until then thrust is followed.
    let over_s = |kind| if seen.regime.burnout() == kind { seen.over_s } else { NEVER_S };
    let when =
        |(kind, what): (EventKind, Happens)| seen.marked(kind).map(|k| (k.t_s.max(over_s(kind)), what));
    let mut all: Vec<_> =
        all.into_iter().filter_map(when).filter(|(t, _)| *t > from_s && *t < to_s).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}
