//! From the belief to what is said: the state with its quantiles, landing areas, the predicted path.

use libm::{atan2, exp, log, sqrt};

use crate::down::Fall;
use crate::filter::Filter;
use crate::model::Model;
use crate::motion::airspeed;
use crate::output::{Area, Case, Estimate, Knot, Landing, Phase, Quantiles};
use crate::plan::DescentState;
use crate::predict::{self, Ahead, CLOCK_SD_S, Crossing, Hit, not_below};
use crate::quantiles::Spread;
use crate::state::{E, H, LNK, VE};

/// Quantiles of something known for certain.
fn certain(v: f64) -> Quantiles {
    Quantiles { p05: v, p25: v, p50: v, p75: v, p95: v }
}

/// State on the pad.
pub(crate) fn waiting(m: &Model, f: &Filter, t_s: f64) -> Estimate {
    let k = m.stages.first().map_or((-7.0, 0.3), |s| (s.ln_k, s.ln_k_sd));
    let mut drag = Spread::new();
    drag.gauss(1.0, k.0, k.1 * k.1);
    let q = drag.quantiles().unwrap_or(certain(k.0));
    Estimate {
        t_s,
        phase: Phase::Waiting,
        descent: None,
        carried_s: (t_s - f.used_s).max(0.0),
        height_m: certain(0.0),
        climb_mps: certain(0.0),
        airspeed_mps: certain(0.0),
        ground_speed_mps: certain(0.0),
        lean_rad: None,
        east_north_m: Some([0.0, 0.0]),
        position_radius_m: Some(0.0),
        east_north_mps: Some([0.0, 0.0]),
        drag_k_per_m: each(q, exp),
        mach: 0.0,
        dynamic_pressure_pa: 0.0,
    }
}

fn each(q: Quantiles, f: impl Fn(f64) -> f64) -> Quantiles {
    Quantiles { p05: f(q.p05), p25: f(q.p25), p50: f(q.p50), p75: f(q.p75), p95: f(q.p95) }
}

/// State aloft or down, of a filter already carried to now.
pub(crate) fn state(m: &Model, f: &Filter) -> Option<Estimate> {
    let w = f.weights();
    let mut height = Spread::new();
    let mut climb = Spread::new();
    let mut air = Spread::new();
    let mut ground = Spread::new();
    let mut lean = Spread::new();
    let mut drag = Spread::new();
    let (mut place, mut speed, mut mach, mut q) = ([0.0; 2], [0.0; 2], 0.0, 0.0);
    // The air that a body meets gusts about the mean that is followed, every way alike from 1000 ft up (MIL-HDBK-1797B; from
    // memory). What hangs under a canopy goes along with those that are not upright.
    let gust = m.wind.gust_mps();
    let aside = if f.phase == Phase::Descending { 0.0 } else { gust };
    for (w, b) in w.iter().zip(f.blobs.iter()) {
        let mut hit = Hit::here(m, &f.regime, b, f.t_s, Crossing::Time);
        for (i, g) in [aside, aside, gust].into_iter().enumerate() {
            hit.air_cov[i][i] += g * g;
        }
        let older = [hit.velocity[2], f.acceleration[2]].map(|rate| CLOCK_SD_S * rate);
        height.gauss(*w, hit.height_m, hit.height_var + older[0] * older[0]);
        climb.gauss(*w, hit.velocity[2], hit.velocity_cov[2][2] + older[1] * older[1]);
        air.length(*w, &hit.air, &hit.air_cov);
        ground.length(*w, &hit.velocity, &hit.velocity_cov);
        drag.gauss(*w, b.x[LNK], b.p[LNK][LNK]);
        lean_of(&mut lean, *w, &hit);
        let (_, v) = airspeed(m, &b.x);
        let (rho, _) = m.air.density_ratio(b.x[H]);
        mach += w * v / m.air.sound_mps(b.x[H]);
        q += w * 0.5 * rho * m.air.pad_density() * v * v;
        for i in 0..2 {
            place[i] += w * b.x[E + i];
            speed[i] += w * b.x[VE + i];
        }
    }
    let mut trace = 0.0;
    for (w, b) in w.iter().zip(f.blobs.iter()) {
        for i in 0..2 {
            let d = b.x[E + i] - place[i];
            trace += w * (d * d + b.p[E + i][E + i]);
        }
    }
    // Nothing carries a fall on that is not heard of below the ground.
    let height_m = height.quantiles()?;
    let height_m = if f.falls_silently() { not_below(height_m, 0.0) } else { height_m };
    let known = f.flat_known;
    let lean = lean.quantiles().map(|l| each(l, |v| v.clamp(0.0, core::f64::consts::PI)));
    // Spread as wide as the told one tells nothing.
    let lean = lean.filter(|l| {
        matches!(f.phase, Phase::Powered | Phase::Coasting)
            && !f.may_hang()
            && (l.p95 - l.p05) < (2.2 * m.lean_sd_rad).max(0.35)
            && (known || f.tilt_known || l.p95 - l.p05 < 1.6 * m.lean_sd_rad.max(0.06))
    });
    Some(Estimate {
        t_s: f.t_s,
        phase: f.phase,
        descent: descent_state(m, f),
        carried_s: (f.t_s - f.used_s).max(0.0),
        height_m,
        climb_mps: climb.quantiles()?,
        airspeed_mps: not_below(air.quantiles()?, 0.0),
        ground_speed_mps: ground.speeds()?,
        lean_rad: lean,
        east_north_m: known.then_some(place),
        position_radius_m: known.then(|| 2.146 * sqrt(0.5 * trace.max(0.0))),
        east_north_mps: known.then_some(speed),
        drag_k_per_m: each(drag.quantiles()?, exp),
        mach,
        dynamic_pressure_pa: q,
    })
}

fn lean_of(lean: &mut Spread, w: f64, hit: &Hit) {
    let v2: f64 = hit.air.iter().map(|a| a * a).sum();
    if v2 < 1.0 {
        return;
    }
    // The part across the mean path, over the speed, is an angle; its length from vertical by the flat components.
    let up = hit.air[2];
    if up.abs() < 1.0 {
        lean.gauss(w, core::f64::consts::FRAC_PI_2, 0.05);
        return;
    }
    let flat = [hit.air[0], hit.air[1], 0.0];
    let mut cov = hit.air_cov;
    for i in 0..3 {
        cov[2][i] = 0.0;
        cov[i][2] = 0.0;
    }
    let mut s = Spread::new();
    s.length(1.0, &flat, &cov);
    if let Some(q) = s.quantiles() {
        let a = |v: f64| atan2(v.max(0.0), up);
        let sd = (a(q.p95) - a(q.p05)) / 3.29;
        lean.gauss(w, a(q.p50), sd * sd);
    }
}

/// The planned descent state that the drag learnt on the way down fits best, if it fits any.
pub(crate) fn descent_state(m: &Model, f: &Filter) -> Option<DescentState> {
    if !f.may_hang() {
        return None;
    }
    let body = m.plan.bodies.get(f.body)?;
    let (ln_k, var) = f.moments(LNK);
    if var > 0.7 * 0.7 {
        return None;
    }
    let mut best: Option<(f64, DescentState)> = None;
    let mut consider = |state: DescentState, ln: f64, sd: f64| {
        let s2 = var + sd * sd + 0.02;
        let d2 = (ln_k - ln) * (ln_k - ln) / s2 + log(s2);
        if best.is_none_or(|b| d2 < b.0) {
            best = Some((d2, state));
        }
    };
    let bare = m.bare_ln_k[f.body.min(m.bare_ln_k.len() - 1)];
    consider(DescentState::Ballistic, bare, 0.3);
    if !body.descents.iter().any(|d| d.state == DescentState::Tumbling) {
        consider(DescentState::Tumbling, bare + 1.4, 0.5);
    }
    for d in &body.descents {
        consider(
            d.state,
            m.ln_k_under(body, d.drag_area_m2.value),
            (d.drag_area_m2.sd / d.drag_area_m2.value.max(1e-9)).clamp(0.05, 0.8),
        );
    }
    best.map(|b| b.1)
}

/// Landing areas of a body in every case that applies.
pub(crate) fn landings(m: &Model, f: &Filter, body: usize, out: &mut Vec<Landing>) {
    let f = if f.body == body { *f } else { f.carried(m, body) };
    if f.phase == Phase::Down {
        if let Some(l) = landed(&f, body) {
            out.push(l);
        }
        return;
    }
    let descents = m.plan.bodies.get(body).map(|b| &b.descents[..]).unwrap_or_default();
    let has = |s: DescentState| descents.iter().any(|d| d.state == s);
    let mut cases = [None; 5];
    if !descents.is_empty() {
        cases[0] = Some(Case::Planned);
    }
    if has(DescentState::Main) && descents.len() > 1 {
        cases[1] = (f.phase != Phase::Descending).then_some(Case::MainAtApogee);
        cases[2] = Some(Case::DrogueOnly);
    }
    cases[3] = Some(Case::Tumbling);
    cases[4] = Some(Case::Ballistic);
    let w = f.weights();
    for case in cases.into_iter().flatten() {
        let mut time = Spread::new();
        let mut speed = Spread::new();
        let mut spots = Spots::new();
        for (w, b) in w.iter().zip(f.blobs.iter()) {
            if *w < 2e-3 {
                continue;
            }
            let stays_shut = matches!(case, Case::Tumbling | Case::Ballistic);
            let mut ahead = if stays_shut { Ahead::shut(m, &f, b) } else { Ahead::from(m, &f, b) };
            let top = if f.top.is_none() {
                ahead.reach_climb(0.0);
                ahead.hit(Crossing::Climb(0.0))
            } else {
                ahead.hit(Crossing::Time)
            };
            let mut fall = Fall::from(m, &f, &top, ahead.t_s).after(&ahead).in_case(case).learning(&f, b);
            fall.planned_until(0.0);
            time.gauss(
                *w,
                fall.t_s,
                top.t_var + fall.t_var + top.height_var / (fall.speed_mps * fall.speed_mps).max(1.0),
            );
            let sd = 0.5 * fall.ln_area_sd * fall.speed_mps;
            speed.gauss(*w, fall.speed_mps, sd * sd);
            let mut cov = fall.place_cov();
            let t = fall.side_s;
            for i in 0..2 {
                for j in 0..2 {
                    cov[i][j] += top.place_cov[i][j] + t * t * top.velocity_cov[i][j];
                }
                cov[i][i] += 1.6 * t * sqrt((top.place_cov[i][i] * top.velocity_cov[i][i]).max(0.0)) + 9.0;
            }
            let at = [top.place[0] + fall.drift[0], top.place[1] + fall.drift[1]];
            spots.add(*w, at, cov, fall.carried_by_wind());
        }
        let (Some(landing_t_s), Some(descent_mps), Some(area)) =
            (time.quantiles(), speed.quantiles(), spots.area(f.flat_known))
        else {
            continue;
        };
        out.push(Landing {
            body,
            case,
            t_s: f.t_s,
            landing_t_s: not_below(landing_t_s, f.t_s),
            descent_mps: not_below(descent_mps, 0.0),
            area,
        });
    }
}

fn landed(f: &Filter, body: usize) -> Option<Landing> {
    let mark = f.marked(crate::output::EventKind::Landing)?;
    let mut time = Spread::new();
    time.gauss(1.0, mark.t_s, mark.sd_s * mark.sd_s);
    let mut spots = Spots::new();
    for (w, b) in f.weights().iter().zip(f.blobs.iter()) {
        let cov = [[b.p[E][E], b.p[E][E + 1]], [b.p[E + 1][E], b.p[E + 1][E + 1]]];
        spots.add(*w, [b.x[E], b.x[E + 1]], cov, [0.0; 2]);
    }
    Some(Landing {
        body,
        case: Case::Planned,
        t_s: f.t_s,
        landing_t_s: time.quantiles()?,
        descent_mps: certain(0.0),
        area: spots.area(f.flat_known)?,
    })
}

/// Where one blob comes down.
#[derive(Clone, Copy)]
struct Spot {
    w: f64,
    at: [f64; 2],
    cov: [[f64; 2]; 2],
    /// Part of the way that the wind does, the same for every heading.
    wind: [f64; 2],
}

/// Weighted places with their covariances.
struct Spots {
    items: [Spot; crate::filter::BLOBS],
    len: usize,
}

impl Spots {
    fn new() -> Self {
        let none = Spot { w: 0.0, at: [0.0; 2], cov: [[0.0; 2]; 2], wind: [0.0; 2] };
        Self { items: [none; crate::filter::BLOBS], len: 0 }
    }

    fn add(&mut self, w: f64, at: [f64; 2], cov: [[f64; 2]; 2], wind: [f64; 2]) {
        if self.len < self.items.len() && w > 0.0 {
            self.items[self.len] = Spot { w, at, cov, wind };
            self.len += 1;
        }
    }

    /// An ellipse where the heading is known; else a ring about the place to which the wind alone carries from the pad.
    fn area(&self, heading_known: bool) -> Option<Area> {
        let items = &self.items[..self.len];
        let total: f64 = items.iter().map(|i| i.w).sum();
        if total <= 0.0 {
            return None;
        }
        let mean = |of: fn(&Spot) -> [f64; 2]| {
            items.iter().fold([0.0; 2], |c, i| {
                let x = of(i);
                [c[0] + i.w / total * x[0], c[1] + i.w / total * x[1]]
            })
        };
        if heading_known {
            let c = mean(|i| i.at);
            let mut s = [0.0; 3];
            for i in items {
                let d = [i.at[0] - c[0], i.at[1] - c[1]];
                s[0] += i.w / total * (i.cov[0][0] + d[0] * d[0]);
                s[1] += i.w / total * (i.cov[0][1] + d[0] * d[1]);
                s[2] += i.w / total * (i.cov[1][1] + d[1] * d[1]);
            }
            return s
                .iter()
                .all(|v| v.is_finite())
                .then_some(Area::Ellipse { centre_m: c, covariance_m2: s });
        }
        let c = mean(|i| i.wind);
        let mut radius = Spread::new();
        for i in items {
            let cov3 = [[i.cov[0][0], i.cov[0][1], 0.0], [i.cov[1][0], i.cov[1][1], 0.0], [0.0; 3]];
            radius.length(i.w, &[i.at[0] - c[0], i.at[1] - c[1], 0.0], &cov3);
        }
        Some(Area::Ring { centre_m: c, radius_m: radius.rings()? })
    }
}

/// The predicted path from now to the ground.
pub(crate) fn path(m: &Model, f: &Filter, out: &mut Vec<Knot>) {
    if matches!(f.phase, Phase::Down) || f.blobs.is_empty() {
        return;
    }
    let w = f.weights();
    let mut ahead: [Option<Ahead<'_>>; crate::filter::BLOBS] = core::array::from_fn(|_| None);
    for (i, b) in f.blobs.iter().enumerate() {
        if w[i] >= 5e-3 {
            ahead[i] = Some(Ahead::from(m, f, b));
        }
    }
    let best = (0..f.blobs.len()).max_by(|a, b| w[*a].total_cmp(&w[*b])).unwrap_or(0);
    let mut top = Ahead::from(m, f, &f.blobs[best]);
    // The way up ends where apogee is predicted, and not at that of the likeliest part alone.
    let summit = if f.top.is_none() {
        top.reach_climb(0.0);
        predict::apogee(m, f, &predict::tops(m, f))
    } else {
        None
    };
    let mut hit = top.hit(Crossing::Time);
    let mut top_s = top.t_s;
    if let Some(summit) = &summit {
        top_s = summit.apogee_t_s.p50;
        hit.height_m = summit.apogee_height_m.p50;
    }
    let up_s = (top_s - f.t_s).max(0.0);
    let steps = if up_s > 0.0 { 24 } else { 0 };
    for k in 0..=steps {
        let t = f.t_s + up_s * f64::from(k) / f64::from(steps.max(1));
        let mut knot = Sums::new();
        for (i, a) in ahead.iter_mut().enumerate() {
            if let Some(a) = a {
                a.reach_time(t);
                knot.add(w[i], &a.hit(Crossing::Time));
            }
        }
        if let Some(k) = knot.knot(t, None) {
            out.push(k);
        }
    }
    // At any one moment some are not yet there and others have passed their apogee: the line goes through the middle of all of them.
    let off_m = summit.zip(out.last().copied()).map_or(0.0, |(s, k)| s.apogee_height_m.p50 - k.height_m.p50);
    for (k, knot) in out.iter_mut().enumerate() {
        let share = k as f64 / f64::from(steps.max(1));
        knot.height_m = not_below(moved(knot.height_m, off_m * share * share), 0.0);
    }
    // From there by the planned states, and beside it with nothing out.
    let spread = out.last().map_or(0.0, |k| (k.height_m.p95 - k.height_m.p05) / 3.29);
    let start = || Fall::from(m, f, &hit, top_s).after(&top).learning(f, &f.blobs[best]);
    let mut whole = start();
    whole.planned_until(0.0);
    let lasts = (whole.t_s - top_s).max(0.1);
    let sd_t = sqrt(whole.t_var);
    let mut fall = start();
    let mut bare = start().in_case(Case::Ballistic);
    let knots = 32;
    for k in 1..=knots {
        let share = f64::from(k) / f64::from(knots);
        let t = top_s + lasts * share;
        fall.until_time(t);
        bare.until_time(t);
        let sd = sqrt(spread * spread + (fall.speed_mps * sd_t * share) * (fall.speed_mps * sd_t * share));
        let mut h = Spread::new();
        h.gauss(1.0, fall.height_m.max(0.0), sd * sd);
        let mut v = Spread::new();
        let dv = 0.5 * fall.ln_area_sd * fall.speed_mps;
        v.gauss(1.0, -fall.speed_mps, dv * dv);
        if let (Some(height_m), Some(climb_mps)) = (h.quantiles(), v.quantiles()) {
            let air = Quantiles {
                p05: -climb_mps.p95,
                p25: -climb_mps.p75,
                p50: -climb_mps.p50,
                p75: -climb_mps.p25,
                p95: -climb_mps.p05,
            };
            out.push(Knot {
                t_s: t,
                height_m: not_below(height_m, 0.0),
                climb_mps,
                airspeed_mps: not_below(air, 0.0),
                east_north_m: [hit.place[0] + fall.drift[0], hit.place[1] + fall.drift[1]],
                bare_height_m: bare.height_m.max(0.0),
            });
        }
    }
}

/// Quantiles all so much higher.
fn moved(q: Quantiles, by: f64) -> Quantiles {
    Quantiles { p05: q.p05 + by, p25: q.p25 + by, p50: q.p50 + by, p75: q.p75 + by, p95: q.p95 + by }
}

/// Sums over blobs for a knot.
struct Sums {
    height: Spread,
    climb: Spread,
    air: Spread,
    place: [f64; 2],
    w: f64,
}

impl Sums {
    fn new() -> Self {
        Self { height: Spread::new(), climb: Spread::new(), air: Spread::new(), place: [0.0; 2], w: 0.0 }
    }

    fn add(&mut self, w: f64, hit: &Hit) {
        self.height.gauss(w, hit.height_m, hit.height_var);
        self.climb.gauss(w, hit.velocity[2], hit.velocity_cov[2][2]);
        self.air.length(w, &hit.air, &hit.air_cov);
        self.place[0] += w * hit.place[0];
        self.place[1] += w * hit.place[1];
        self.w += w;
    }

    fn knot(&mut self, t_s: f64, bare: Option<f64>) -> Option<Knot> {
        let height_m = not_below(self.height.quantiles()?, 0.0);
        Some(Knot {
            t_s,
            height_m,
            climb_mps: self.climb.quantiles()?,
            airspeed_mps: not_below(self.air.quantiles()?, 0.0),
            east_north_m: [self.place[0] / self.w, self.place[1] / self.w],
            bare_height_m: bare.unwrap_or(height_m.p50),
        })
    }
}
