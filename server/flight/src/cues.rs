//! When each cue comes, and what the air does then.
//!
//! Cues on the way up are moments of the same flight that leads to apogee; those after apogee follow from it by the planned
//! descent states. A chute's opening load is taken as the dynamic pressure times the drag area that opens
//! (opening factor 1; common practice, no source: an upper bound for slow inflation, low for a snatch).

use libm::{exp, sqrt};

use crate::down::Fall;
use crate::filter::Filter;
use crate::model::Model;
use crate::output::{CuePrediction, EventKind, Quantiles};
use crate::plan::{LimitOf, Trigger};
use crate::predict::{Ahead, CLOCK_SD_S, Crossing, Hit, not_below};
use crate::quantiles::Spread;
use crate::state::{H, VE, VU};

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

/// All cues in the plan's order.
pub(crate) fn predict(m: &Model, f: &Filter, out: &mut Vec<CuePrediction>) {
    for cue in 0..m.plan.cues.len().min(crate::plan::MAX_CUES) {
        if let Some(p) = one(m, f, cue) {
            out.push(p);
        }
    }
}

fn one(m: &Model, f: &Filter, index: usize) -> Option<CuePrediction> {
    let cue = &m.plan.cues[index];
    let delay_var = cue.delay_s.sd * cue.delay_s.sd + CLOCK_SD_S * CLOCK_SD_S;
    let mut sum = Sum::new();
    let w = f.weights();
    let done = f.cue_s[index];
    let passed = done.is_some_and(|t| t <= f.t_s);
    for (w, b) in w.iter().zip(f.blobs.iter()) {
        if *w < crate::predict::LEAST_WEIGHT {
            continue;
        }
        let hit = match done {
            // Its condition has come: the moment is known up to the delay.
            Some(at) => {
                let mut ahead = Ahead::from(m, f, b);
                if at > f.t_s {
                    ahead.reach_time(at);
                    ahead.hit(Crossing::Time)
                } else {
                    shifted(&ahead.hit(Crossing::Time), at - f.t_s, m)
                }
            }
            None => moment(m, f, b, cue.trigger, cue.delay_s.value, 0)?,
        };
        sum.add(m, *w, &hit, delay_var);
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

/// The blob at a cue's moment, delay included.
fn moment(
    m: &Model,
    f: &Filter,
    b: &crate::state::Blob,
    trigger: Trigger,
    delay_s: f64,
    depth: u32,
) -> Option<Hit> {
    let at = |k: EventKind| f.marked(k).map(|x| x.t_s);
    let later = |mut ahead: Ahead<'_>, t: f64| {
        if t > ahead.t_s {
            ahead.reach_time(t);
            ahead.hit(Crossing::Time)
        } else {
            let by = t - ahead.t_s;
            shifted(&ahead.hit(Crossing::Time), by, m)
        }
    };
    let up = f.top.is_none();
    match trigger {
        Trigger::ClimbRateBelow(c) => {
            let mut ahead = Ahead::from(m, f, b);
            ahead.reach_climb(c);
            Some(shifted(&ahead.hit(Crossing::Climb(c)), delay_s, m))
        }
        Trigger::BeforeApogee(s) => {
            let mut ahead = Ahead::from(m, f, b);
            if up {
                ahead.reach_climb(0.0);
                Some(shifted(&ahead.hit(Crossing::Climb(0.0)), delay_s - s, m))
            } else {
                Some(later(ahead, at(EventKind::Apogee)? - s + delay_s))
            }
        }
        Trigger::AfterApogee(s) => {
            let mut ahead = Ahead::from(m, f, b);
            if up {
                ahead.reach_climb(0.0);
                let top = ahead.hit(Crossing::Climb(0.0));
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
            } else {
                Some(later(ahead, at(EventKind::Apogee)? + s + delay_s))
            }
        }
        Trigger::AfterLiftoff(s) => Some(later(Ahead::from(m, f, b), at(EventKind::Liftoff)? + s + delay_s)),
        Trigger::AfterBurnout(s) => {
            let out = at(EventKind::Burnout).unwrap_or_else(|| {
                f.regime.ignition_s + m.stages.first().map_or(1.0, |s| s.burn_s) * b.stretch
            });
            Some(later(Ahead::from(m, f, b), out + s + delay_s))
        }
        Trigger::HeightBelow(z) => Some(by_height(m, f, b, z, delay_s)),
        Trigger::AfterCue(c, s) => {
            if depth > 6 {
                return None;
            }
            if let Some(t) = f.cue_s.get(c).copied().flatten() {
                return Some(later(Ahead::from(m, f, b), t + s + delay_s));
            }
            let other = m.plan.cues.get(c)?;
            let first = moment(m, f, b, other.trigger, other.delay_s.value, depth + 1)?;
            let mut hit = if matches!(other.trigger, Trigger::HeightBelow(_)) {
                first
            } else {
                later(Ahead::from(m, f, b), first.t_s + s + delay_s)
            };
            hit.t_var = first.t_var;
            Some(hit)
        }
    }
}

/// Where the height falls through a value: the planned descent states until then.
fn by_height(m: &Model, f: &Filter, b: &crate::state::Blob, height_m: f64, delay_s: f64) -> Hit {
    let mut ahead = Ahead::from(m, f, b);
    let top = if f.top.is_none() {
        ahead.reach_climb(0.0);
        ahead.hit(Crossing::Climb(0.0))
    } else {
        ahead.hit(Crossing::Time)
    };
    let from = ahead.t_s;
    let mut fall = Fall::from(m, f, &top, from).learning(f, b);
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
    let _ = (exp(0.0), H, VE, VU);
    hit
}
