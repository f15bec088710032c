//! When each cue comes, and what the air does then.
//!
//! Cues on the way up are moments of the same flight that leads to apogee; those after apogee follow from it by the planned
//! descent states. A chute's opening load is taken as the dynamic pressure times the drag area that opens
//! (opening factor 1; common practice, no source: an upper bound for slow inflation, low for a snatch).

use libm::sqrt;

use crate::down::Fall;
use crate::filter::{BLOBS, Filter};
use crate::model::Model;
use crate::opening::climb_before_apogee;
use crate::output::{CuePrediction, EventKind, Quantiles};
use crate::plan::{Body, LimitOf, MAX_CUES, Trigger};
use crate::predict::{Ahead, CLOCK_SD_S, Crossing, Hit, LEAST_WEIGHT, Tops, not_below};
use crate::quantiles::Spread;
use crate::state::Blob;

/// Sums over the blobs for one cue.
struct Sum {
    time: Spread,
    height: Spread,
    climb: Spread,
    air: Spread,
    q: Spread,
}

impl Sum {
    fn new() -> Self {
        Self {
            time: Spread::new(),
            height: Spread::new(),
            climb: Spread::new(),
            air: Spread::new(),
            q: Spread::new(),
        }
    }

    fn clear(&mut self) {
        for s in [&mut self.time, &mut self.height, &mut self.climb, &mut self.air, &mut self.q] {
            s.clear();
        }
    }

    fn add(&mut self, m: &Model, w: f64, hit: &Hit, t_var: f64) {
        self.time.gauss(w, hit.t_s, hit.t_var + t_var);
        let v = hit.velocity[2];
        self.height.gauss(w, hit.height_m, hit.height_var + v * v * t_var);
        self.climb.gauss(w, v, hit.velocity_cov[2][2].max(0.0) + 96.0 * t_var);
        // The moment's own spread moves the vertical part of the airspeed.
        let mut cov = hit.air_cov;
        cov[2][2] = cov[2][2].max(0.0) + 96.0 * t_var;
        self.air.length(w, &hit.air, &cov);
        let (rho, _) = m.air.density_ratio(hit.height_m);
        let root = sqrt(0.5 * rho * m.air.pad_density());
        let scaled = hit.air.map(|a| a * root);
        let cov = cov.map(|r| r.map(|c| c * root * root));
        self.q.length(w, &scaled, &cov);
    }
}

/// The wanted cues in the plan's order, and where the way to them led over it, each blob at apogee; `freed_var` is the variance of the
/// moment when the body will be let go, s2, if it is still attached.
#[expect(clippy::large_stack_arrays, reason = "140 KiB for a moment; a step allocates nothing")]
fn predict(
    m: &Model,
    f: &Filter,
    freed_var: f64,
    wanted: impl Fn(usize) -> bool,
    out: &mut Vec<CuePrediction>,
) -> Tops {
    let cues = m.plan.cues.len().min(MAX_CUES);
    let weights = f.weights();
    let mut hits = [[None; BLOBS]; MAX_CUES];
    let mut tops = [None; BLOBS];
    for (i, b) in f.blobs.iter().enumerate() {
        if weights[i] < LEAST_WEIGHT {
            continue;
        }
        let mut way = Way { freed_var, ..Way::of(m, f, b) };
        for (row, hit) in hits.iter_mut().zip(way.moments(&wanted)).take(cues) {
            row[i] = hit;
        }
        tops[i] = f.top.is_none().then(|| way.top().1);
    }
    let mut sum = Sum::new();
    for (cue, row) in hits.iter().enumerate().take(cues).filter(|(cue, _)| wanted(*cue)) {
        sum.clear();
        if let Some(p) = one(m, f, cue, row, &mut sum) {
            out.push(p);
        }
    }
    tops
}

/// The cues of a belief's body, and of all that it carries: those of an attached body come on its own flight, from where it will be let
/// go. And where the way to the body's own led over apogee.
pub(crate) fn foreseen(
    m: &Model,
    f: &Filter,
    carries: impl Fn(usize) -> bool,
    out: &mut Vec<CuePrediction>,
) -> Tops {
    let is_of = |body: usize| move |cue: usize| flies_with(m, cue) == body;
    let tops = predict(m, f, 0.0, is_of(f.body), out);
    for body in (0..m.plan.bodies.len()).filter(|b| *b != f.body && carries(*b)) {
        if (0..m.plan.cues.len()).any(is_of(body)) {
            let from = out.len();
            let (freed, freed_var) = f.carried_to_its_cues(m, body);
            predict(m, &freed, freed_var, is_of(body), out);
            out[from..].iter_mut().for_each(|c| c.t_s = f.t_s);
        }
    }
    out.sort_by_key(|c| c.cue);
    tops
}

/// Which body's flight a cue lies on: that of the one whose canopy it opens, else that of the one that acts.
pub(crate) fn flies_with(m: &Model, cue: usize) -> usize {
    let told = m.plan.cues.get(cue).map_or(0, |c| c.body);
    let opens = |b: &Body| b.descents.iter().any(|d| d.cue == cue && d.state.is_device());
    let acts = m.plan.bodies.get(told).is_some_and(opens);
    m.plan.bodies.iter().position(opens).filter(|_| !acts).unwrap_or(told)
}

/// One blob of a belief at one cue's moment, its delay included.
pub(crate) fn moment_of(m: &Model, f: &Filter, b: &Blob, cue: usize) -> Option<Hit> {
    Way::of(m, f, b).moment(cue, &[None; MAX_CUES], 0)
}

fn one(
    m: &Model,
    f: &Filter,
    index: usize,
    hits: &[Option<Hit>; BLOBS],
    sum: &mut Sum,
) -> Option<CuePrediction> {
    let cue = &m.plan.cues[index];
    let delay_var = cue.delay_s.sd * cue.delay_s.sd + CLOCK_SD_S * CLOCK_SD_S;
    let passed = f.cue_s[index].is_some_and(|t| t <= f.t_s);
    for (i, w) in f.weights().iter().enumerate().take(f.blobs.len()) {
        if *w >= LEAST_WEIGHT {
            sum.add(m, *w, hits[i].as_ref()?, delay_var);
        }
    }
    let air = not_below(sum.air.quantiles()?, 0.0);
    let cue_t_s = sum.time.quantiles()?;
    // Dynamic pressure grows with the square of the scaled length.
    sum.q.map(|v| v * v);
    let q = not_below(sum.q.quantiles()?, 0.0);
    let area = opening_area(m, index);
    let opening_load_n = area.map(|a| scale(q, a));
    let over_limit = cue.limit.as_ref().map(|l| match l.of {
        LimitOf::Airspeed => sum.air.above(l.value),
        LimitOf::DynamicPressure => sum.q.above(l.value),
        LimitOf::OpeningLoad => area.map_or(0.0, |a| sum.q.above(l.value / a)),
    });
    Some(CuePrediction {
        cue: index,
        t_s: f.t_s,
        cue_t_s,
        height_m: sum.height.quantiles()?,
        climb_mps: sum.climb.quantiles()?,
        airspeed_mps: air,
        dynamic_pressure_pa: q,
        opening_load_n,
        over_limit: over_limit.map(|p| p.clamp(0.0, 1.0)),
        passed,
    })
}

fn scale(q: Quantiles, by: f64) -> Quantiles {
    Quantiles { p05: q.p05 * by, p25: q.p25 * by, p50: q.p50 * by, p75: q.p75 * by, p95: q.p95 * by }
}

/// Drag area that a cue opens, m2.
pub(crate) fn opening_area(m: &Model, cue: usize) -> Option<f64> {
    m.plan
        .bodies
        .iter()
        .flat_map(|b| &b.descents)
        .filter(|d| d.cue == cue)
        .map(|d| d.drag_area_m2.value)
        .find(|a| a.is_finite() && *a > 0.0)
}

/// A hit a little earlier or later, by constant gravity.
fn shifted(hit: &Hit, by_s: f64, m: &Model) -> Hit {
    let mut h = *hit;
    let g = m.gravity(hit.height_m);
    h.t_s += by_s;
    h.height_m += hit.velocity[2] * by_s - 0.5 * g * by_s * by_s;
    h.velocity[2] -= g * by_s;
    h.air[2] = h.velocity[2];
    h
}

/// Places kept on a way.
const STOPS: usize = 4;

/// One blob's flight ahead, on which all its cues lie: what was carried for one goes on to the next.
struct Way<'a> {
    m: &'a Model,
    f: &'a Filter,
    b: &'a Blob,
    /// Where the climb rate has fallen to a value, and that value: later moments are reached sooner from there than from now.
    stops: [Option<(f64, Ahead<'a>)>; STOPS],
    /// Apogee, or now if it is past.
    top: Option<(Ahead<'a>, Hit)>,
    /// Variance of the moment when the body will be let go with which the way begins, s2.
    freed_var: f64,
}

impl<'a> Way<'a> {
    fn of(m: &'a Model, f: &'a Filter, b: &'a Blob) -> Self {
        Self { m, f, b, stops: [None; STOPS], top: None, freed_var: 0.0 }
    }

    /// The blob at every cue's moment, delays included.
    fn moments(&mut self, wanted: &impl Fn(usize) -> bool) -> [Option<Hit>; MAX_CUES] {
        let m = self.m;
        let mut hits = [None; MAX_CUES];
        // Climb rates fall: the fastest comes first.
        let speed = |i: usize| match m.plan.cues.get(i).map(|c| c.trigger) {
            Some(Trigger::ClimbRateBelow(c)) => c,
            _ => f64::NEG_INFINITY,
        };
        let mut order: [usize; MAX_CUES] = core::array::from_fn(|i| i);
        order.sort_by(|a, b| speed(*b).total_cmp(&speed(*a)));
        for i in order.into_iter().filter(|i| *i < m.plan.cues.len() && wanted(*i)) {
            hits[i] = self.moment(i, &hits, 0);
        }
        hits
    }

    fn start(&self) -> Ahead<'a> {
        Ahead::from(self.m, self.f, self.b)
    }

    /// At a time; what is past is taken back by constant gravity.
    fn at_time(&self, t: f64) -> Hit {
        let mut ahead = self.last_stop(|_, ahead| ahead.t_s <= t);
        if t > ahead.t_s {
            ahead.reach_time(t);
            ahead.hit(Crossing::Time)
        } else {
            shifted(&ahead.hit(Crossing::Time), t - ahead.t_s, self.m)
        }
    }

    /// The last stop that a later moment may be reached from, or now.
    fn last_stop(&self, may: impl Fn(f64, &Ahead<'a>) -> bool) -> Ahead<'a> {
        let stops = self.stops.iter().flatten().filter(|(climb, ahead)| may(*climb, ahead));
        stops.max_by(|a, b| a.1.t_s.total_cmp(&b.1.t_s)).map_or_else(|| self.start(), |stop| stop.1)
    }

    fn at_climb(&mut self, c: f64) -> (Ahead<'a>, Hit) {
        let mut ahead = self.last_stop(|climb, _| climb >= c);
        ahead.reach_climb(c);
        if let Some(free) = self.stops.iter_mut().find(|s| s.is_none()) {
            *free = Some((c, ahead));
        }
        (ahead, ahead.hit(Crossing::Climb(c)))
    }

    fn top(&mut self) -> (Ahead<'a>, Hit) {
        if let Some(top) = self.top {
            return top;
        }
        let top = if self.f.top.is_none() {
            self.at_climb(0.0)
        } else {
            let ahead = self.start();
            (ahead, ahead.hit(Crossing::Time))
        };
        self.top = Some(top);
        top
    }

    /// The blob at one cue's moment. `known` are those already worked out.
    fn moment(&mut self, cue: usize, known: &[Option<Hit>; MAX_CUES], depth: usize) -> Option<Hit> {
        if let Some(hit) = known[cue] {
            return Some(hit);
        }
        let told = self.m.plan.cues.get(cue)?;
        let delay_s = told.delay_s.value;
        // Its condition has come: the moment is known up to the delay.
        if let Some(t) = self.f.cue_s[cue] {
            return Some(self.at_time(t));
        }
        let marked = |k: EventKind| self.f.marked(k).map(|x| x.t_s);
        let up = self.f.top.is_none();
        match told.trigger {
            Trigger::ClimbRateBelow(c) => Some(shifted(&self.at_climb(c).1, delay_s, self.m)),
            Trigger::BeforeApogee(s) if up => {
                let (ahead, top) = self.top();
                // Who opens something before apogee reckons with the apogee that would come without it.
                if ahead.opened.is_some() {
                    return Some(shifted(&self.at_climb(climb_before_apogee(s)).1, delay_s, self.m));
                }
                Some(shifted(&top, delay_s - s, self.m))
            }
            Trigger::BeforeApogee(s) => Some(self.at_time(marked(EventKind::Apogee)? - s + delay_s)),
            Trigger::AfterApogee(s) if up => {
                let (mut ahead, top) = self.top();
                ahead.reach_time(top.t_s + s + delay_s);
                let mut hit = ahead.hit(Crossing::Time);
                // The moment follows apogee's, which has its own spread; the vertical state there is certain.
                hit.t_var = top.t_var;
                hit.height_var = top.height_var;
                hit.velocity_cov[2] = [0.0; 3];
                hit.air_cov[2] = [0.0; 3];
                for r in 0..3 {
                    hit.velocity_cov[r][2] = 0.0;
                    hit.air_cov[r][2] = 0.0;
                }
                Some(hit)
            }
            Trigger::AfterApogee(s) => Some(self.at_time(marked(EventKind::Apogee)? + s + delay_s)),
            Trigger::AfterLiftoff(s) => Some(self.at_time(marked(EventKind::Liftoff)? + s + delay_s)),
            Trigger::AfterBurnout(s) => {
                let lasts_s = self.m.stages.first().map_or(1.0, |s| s.lasts_s(self.b));
                let out = marked(EventKind::Burnout).unwrap_or(self.f.regime.ignition_s + lasts_s);
                Some(self.at_time(out + s + delay_s))
            }
            Trigger::HeightBelow(z) => Some(self.by_height(z, delay_s)),
            Trigger::AfterCue(c, s) => {
                if depth >= MAX_CUES {
                    return None;
                }
                if let Some(t) = self.f.cue_s.get(c).copied().flatten() {
                    let after = self.at_time(t + s + delay_s);
                    return Some(Hit { t_var: after.t_var + self.freed_var, ..after });
                }
                let first = self.moment(c, known, depth + 1)?;
                let under = matches!(self.m.plan.cues.get(c)?.trigger, Trigger::HeightBelow(_));
                let mut hit = if under { first } else { self.at_time(first.t_s + s + delay_s) };
                hit.t_var = first.t_var;
                Some(hit)
            }
        }
    }

    /// Where the height falls through a value: the planned descent states until then.
    fn by_height(&mut self, height_m: f64, delay_s: f64) -> Hit {
        let (m, f, b) = (self.m, self.f, self.b);
        let (ahead, top) = self.top();
        let mut fall = Fall::from(m, f, &top, ahead.t_s).after(&ahead).learning(f, b);
        fall.planned_until(height_m);
        let mut hit = top;
        hit.t_s = fall.t_s + delay_s;
        hit.t_var = top.t_var + fall.t_var + top.height_var / (fall.speed_mps * fall.speed_mps).max(1.0);
        hit.height_m = height_m.min(top.height_m) - fall.speed_mps * delay_s;
        hit.height_var = 4.0;
        hit.velocity = [hit.velocity[0], hit.velocity[1], -fall.speed_mps];
        let speed_sd = fall.speed_mps * 0.5 * fall.ln_area_sd;
        hit.velocity_cov = [[4.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, speed_sd * speed_sd]];
        // Under a canopy the body soon goes with the wind; without one it does not.
        hit.air = [fall.side[0], fall.side[1], -fall.speed_mps];
        hit.air_cov = [[0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, speed_sd * speed_sd]];
        hit
    }
}
