//! From apogee, or from letting go, to the ground; and the moments of the cues.

use libm::{exp, sqrt};

use super::ascent::{Gusts, drag_step_s, point, step};
use super::draw::Draws;
use super::{Flown, Point, Settled, Shut, Touchdown, at};
use crate::model::Model;
use crate::motion::airspeed;
use crate::plan::{DescentState, MAX_CUES, Trigger};
use crate::state::{E, H, LNK, PRED, SHAPE, VE, VU, WE, WN};

/// Points of a path are at most so far apart in time, s, while speeds change.
const APART_S: f64 = 0.1;
/// A fall is settled when its speed is within this share of the terminal one.
const SETTLED: f64 = 0.02;
/// Step of a settled fall: a share of the height left, within bounds, s.
const SLICES: f64 = 60.0;
/// How long after apogee the main is out, where that is supposed, s.
const MAIN_AT_APOGEE_S: f64 = 1.0;
/// A moment that is this near has come: sums of steps are not exact, s.
const NEAR_S: f64 = 1e-6;
/// A bound on the work, s.
const LONGEST_S: f64 = 7200.0;

/// What is supposed to come out.
#[derive(Clone, Copy, PartialEq)]
enum Case {
    Planned,
    MainAtApogee,
    DrogueOnly,
    Nothing,
}

/// What was drawn for the way down.
struct Drawn {
    delay_s: Vec<f64>,
    mass: Vec<f64>,
    bare: Vec<f64>,
    area: Vec<Vec<f64>>,
    shape: f64,
}

/// The moments of cues: when due, delay included.
type Acted = [Option<f64>; MAX_CUES];

pub(super) fn fly(m: &Model, draws: &mut Draws, flown: &mut Flown) {
    let drawn = draw(m, draws);
    let calm = draws.lean_rad.map(|_| m.calm());
    let m = calm.as_ref().unwrap_or(m);
    if flown.apogee.is_none() {
        return;
    }
    let plan = &m.plan;
    flown.cues = vec![None; plan.cues.len()];
    flown.landings = vec![None; plan.bodies.len()];
    flown.falls = vec![Vec::new(); plan.bodies.len()];
    let mut acted: Acted = [None; MAX_CUES];
    on_the_way_up(m, flown, &drawn, &mut acted);
    if rises_under(m, flown, &drawn, &acted) {
        acted = [None; MAX_CUES];
        on_the_way_up(m, flown, &drawn, &mut acted);
    }
    let (Some(apogee), Some(shut_apogee)) = (flown.apogee, flown.shut_apogee()) else { return };
    let gusts = Gusts::new(draws);
    // Parents come down before what they let go: their path says where that happens.
    let mut done = vec![false; plan.bodies.len()];
    for _ in 0..plan.bodies.len() {
        for body in 0..plan.bodies.len() {
            let parent = plan.bodies[body].parent;
            if done[body] || parent.is_some_and(|p| !done.get(p).copied().unwrap_or(true)) {
                continue;
            }
            done[body] = true;
            let start = match parent {
                None => Some(apogee),
                // Not freed by a cue: it is taken to come along to apogee.
                Some(_) if plan.bodies[body].freed_by.is_none() => Some(apogee),
                Some(p) => {
                    plan.bodies[body].freed_by.and_then(|cue| acted[cue]).and_then(|t| where_at(flown, p, t))
                }
            };
            let Some(start) = start else { continue };
            let mut fall = Fall { m, drawn: &drawn, body, case: Case::Planned, apogee_s: apogee.t_s };
            let mut path = Vec::new();
            flown.landings[body] = fall.down(start, &mut acted, flown, gusts, draws, Some(&mut path));
            flown.falls[body] = path;
            if body == 0 {
                for (case, to) in [(Case::Nothing, 0_u8), (Case::MainAtApogee, 1), (Case::DrogueOnly, 2)] {
                    fall.case = case;
                    let start = if to == 0 { shut_apogee } else { start };
                    let mut own = acted;
                    let mut spare = Flown { cues: flown.cues.clone(), ..Flown::default() };
                    let landed = fall.down(start, &mut own, &mut spare, gusts, draws, None);
                    match to {
                        0 => flown.bare = landed,
                        1 => flown.main_at_apogee = landed,
                        _ => flown.drogue_only = landed,
                    }
                }
            }
        }
    }
}

fn draw(m: &Model, draws: &mut Draws) -> Drawn {
    let share = |told: &crate::plan::Told| (told.sd / told.value.max(1e-9)).clamp(0.0, 1.0);
    let bodies = &m.plan.bodies;
    Drawn {
        delay_s: m
            .plan
            .cues
            .iter()
            .map(|cue| (cue.delay_s.value + cue.delay_s.sd * draws.normal()).max(0.0))
            .collect(),
        mass: bodies.iter().map(|b| exp(share(&b.mass_kg) * draws.normal())).collect(),
        bare: bodies.iter().map(|b| share(&b.bare_drag_area_m2) * draws.normal()).collect(),
        area: bodies
            .iter()
            .map(|b| b.descents.iter().map(|d| share(&d.drag_area_m2) * draws.normal()).collect())
            .collect(),
        shape: draws.normal(),
    }
}

/// Where a body, or what carries it, is at a time.
fn where_at(flown: &Flown, body: usize, t_s: f64) -> Option<Point> {
    at(&flown.climb, t_s).or_else(|| at(flown.falls.get(body)?, t_s))
}

/// Moments that come before apogee, of any body: all are attached or fly alike until then.
fn on_the_way_up(m: &Model, flown: &mut Flown, drawn: &Drawn, acted: &mut Acted) {
    // Who opens something before apogee reckons with the apogee that would come without it.
    let Some(apogee) = flown.shut_apogee() else { return };
    let first_out = flown.burnouts.first().map_or(0.0, |p| p.t_s);
    let last_out = flown.burnouts.last().map_or(0.0, |p| p.t_s);
    for _ in 0..m.plan.cues.len() {
        for (i, cue) in m.plan.cues.iter().enumerate().take(MAX_CUES) {
            if acted[i].is_some() {
                continue;
            }
            let due = match cue.trigger {
                Trigger::ClimbRateBelow(v) => falls_through(&flown.climb, last_out, v),
                Trigger::BeforeApogee(s) => Some(apogee.t_s - s),
                Trigger::AfterLiftoff(s) => Some(s),
                Trigger::AfterBurnout(s) => Some(first_out + s),
                Trigger::AfterCue(of, s) => acted.get(of).copied().flatten().map(|t| t + s),
                Trigger::AfterApogee(_) | Trigger::HeightBelow(_) => None,
            };
            acted[i] = due.map(|t| t + drawn.delay_s[i]);
            // What is due on the way down gets its point there.
            flown.cues[i] = acted[i].and_then(|t| at(&flown.climb, t));
        }
    }
}

/// The state of what is at a point, in air as told.
fn state_at(point: &Point, shape: f64) -> [f64; PRED] {
    let mut x = [0.0; PRED];
    x[E..E + 2].copy_from_slice(&point.east_north_m);
    x[H] = point.height_m;
    x[VE..=VU].copy_from_slice(&point.velocity_mps);
    x[SHAPE] = shape;
    x
}

/// What opens on the vehicle before apogee holds it back from there on: the climb ends under it. Says whether anything does.
fn rises_under(m: &Model, flown: &mut Flown, drawn: &Drawn, acted: &Acted) -> bool {
    let Some(apogee) = flown.apogee else { return false };
    let fall = Fall { m, drawn, body: 0, case: Case::Planned, apogee_s: apogee.t_s };
    let last_out = flown.burnouts.last().map_or(0.0, |p| p.t_s);
    let devices = m.plan.bodies.first().map_or(&[][..], |b| &b.descents);
    let opens = devices.iter().filter_map(|d| acted.get(d.cue).copied().flatten());
    let first = opens.filter(|t| *t > last_out && *t < apogee.t_s).min_by(f64::total_cmp);
    let Some((t_s, from)) = first.and_then(|t| Some((t, at(&flown.climb, t)?))) else { return false };
    let (_, ln_k) = fall.out(acted, t_s);
    let (k, mut x) = (exp(ln_k), state_at(&from, drawn.shape));
    let after = flown.climb.partition_point(|p| p.t_s <= t_s);
    let shut = core::iter::once(from).chain(flown.climb.split_off(after)).collect();
    flown.shut = Some(Shut { climb: shut, apogee });
    flown.climb.push(from);
    let mut t = t_s;
    // A bound on the work: it rises for some seconds.
    for _ in 0..20_000 {
        let before = point(m, &x, t);
        let dt = drag_step_s(m, &x, k).clamp(0.002, 0.05);
        step(m, &mut x, [0.0; 3], [k; 3], 1.0, None, dt);
        t += dt;
        let now = point(m, &x, t);
        if x[VU] <= 0.0 {
            let top = before.top_before(&now);
            flown.climb.push(top);
            flown.apogee = Some(top);
            break;
        }
        flown.climb.push(now);
    }
    true
}

/// When the climb rate falls through a value after the last burnout.
fn falls_through(climb: &[Point], after_s: f64, mps: f64) -> Option<f64> {
    let late = climb.iter().position(|p| p.t_s >= after_s)?;
    if climb[late].velocity_mps[2] <= mps {
        return Some(climb[late].t_s);
    }
    let below = late + climb[late..].iter().position(|p| p.velocity_mps[2] <= mps)?;
    let (from, to) = (&climb[below - 1], &climb[below]);
    let (a, b) = (from.velocity_mps[2], to.velocity_mps[2]);
    Some(from.t_s + (to.t_s - from.t_s) * (a - mps) / (a - b).max(1e-9))
}

struct Fall<'a> {
    m: &'a Model,
    drawn: &'a Drawn,
    body: usize,
    case: Case,
    apogee_s: f64,
}

impl Fall<'_> {
    /// Which descent state is out, and ln k with it.
    fn out(&self, acted: &Acted, t_s: f64) -> (Option<usize>, f64) {
        let body = &self.m.plan.bodies[self.body];
        let ln_mass = libm::log(self.drawn.mass[self.body]);
        let bare = self.m.bare_ln_k[self.body] + self.drawn.bare[self.body] - ln_mass;
        if self.case == Case::Nothing {
            return (None, bare);
        }
        let mut found = (None, bare);
        for (i, d) in body.descents.iter().enumerate() {
            let main = d.state == DescentState::Main;
            let mut out = acted.get(d.cue).copied().flatten().is_some_and(|t| t <= t_s + NEAR_S);
            match self.case {
                Case::MainAtApogee if main => out |= t_s >= self.apogee_s + MAIN_AT_APOGEE_S,
                Case::DrogueOnly if main => out = false,
                _ => {}
            }
            if out {
                let ln_k = self.m.ln_k_under(body, d.drag_area_m2.value) + self.drawn.area[self.body][i];
                found = (Some(i), ln_k - ln_mass);
            }
        }
        found
    }

    /// Cues that become due here.
    fn act(&self, acted: &mut Acted, now: &Point, flown: &mut Flown) {
        for (i, cue) in self.m.plan.cues.iter().enumerate().take(MAX_CUES) {
            if acted[i].is_none() {
                let due = match cue.trigger {
                    Trigger::AfterApogee(s) => Some(self.apogee_s + s),
                    Trigger::HeightBelow(z) => {
                        (cue.body == self.body && now.height_m < z && now.velocity_mps[2] < 0.0)
                            .then_some(now.t_s)
                    }
                    Trigger::AfterCue(of, s) => acted.get(of).copied().flatten().map(|t| t + s),
                    _ => None,
                };
                acted[i] = due.map(|t| t + self.drawn.delay_s[i]);
            }
            // Its moment, on the body that acts.
            if cue.body == self.body
                && flown.cues[i].is_none()
                && acted[i].is_some_and(|t| t <= now.t_s + NEAR_S)
            {
                flown.cues[i] = Some(*now);
            }
        }
    }

    /// The next moment that is already known, s.
    fn next(&self, acted: &Acted, t_s: f64) -> Option<f64> {
        let all = acted.iter().flatten().copied().chain([self.apogee_s + MAIN_AT_APOGEE_S]);
        all.filter(|t| *t > t_s + NEAR_S).min_by(f64::total_cmp)
    }

    fn down(
        &self,
        start: Point,
        acted: &mut Acted,
        flown: &mut Flown,
        mut gusts: Gusts,
        draws: &mut Draws,
        mut path: Option<&mut Vec<Point>>,
    ) -> Option<Touchdown> {
        let m = self.m;
        let mut x = state_at(&start, self.drawn.shape);
        gusts.put(m, &mut x);
        if draws.lean_rad.is_some() {
            (x[WE], x[WN]) = (0.0, 0.0);
        }
        let mut t = start.t_s;
        let mut kept_s = f64::NEG_INFINITY;
        for _ in 0..200_000 {
            let now = point(m, &x, t);
            self.act(acted, &now, flown);
            let (state, ln_k) = self.out(acted, t);
            x[LNK] = ln_k;
            let k = exp(ln_k);
            if t - kept_s >= APART_S - 1e-9 {
                if let Some(path) = path.as_mut() {
                    path.push(now);
                }
                kept_s = t;
            }
            let (rho, _) = m.air.density_ratio(x[H]);
            let terminal = sqrt(m.gravity(x[H]) / (k * rho).max(1e-9));
            let (air, _) = airspeed(m, &x);
            let flat = libm::hypot(air[0], air[1]);
            let settled = (-x[VU] - terminal).abs() < SETTLED * terminal && flat < 0.05 * terminal + 0.2;
            let mut dt = if settled {
                (x[H] / terminal / SLICES).clamp(0.05, 5.0)
            } else {
                drag_step_s(m, &x, k).clamp(0.002, 0.1)
            };
            if let Some(next) = self.next(acted, t) {
                dt = dt.min((next - t).max(1e-4));
            }
            let before = x;
            if settled {
                // Carried by the wind at the terminal speed.
                let (w, _) = m.wind.at(x[H]);
                let v = [w[0] + x[WE], w[1] + x[WN], -terminal];
                x[VE..=VU].copy_from_slice(&v);
                for (place, v) in x[E..=H].iter_mut().zip(v) {
                    *place += v * dt;
                }
            } else {
                step(m, &mut x, [0.0; 3], [k; 3], 1.0, None, dt);
            }
            t += dt;
            gusts.step(m, draws, &mut x, dt);
            if draws.lean_rad.is_some() {
                (x[WE], x[WN]) = (0.0, 0.0);
            }
            let ends = x[H] <= 0.0 || t - start.t_s > LONGEST_S;
            let (after, _) = self.out(acted, t);
            if let Some(descent) = state.filter(|_| path.is_some() && (ends || after != state)) {
                flown.settled.push(Settled { body: self.body, descent, speed_mps: -before[VU] });
            }
            if ends {
                if x[H] > 0.0 || !x.iter().all(|v| v.is_finite()) {
                    return None;
                }
                let back = (-x[H] / (before[H] - x[H]).max(1e-9)).clamp(0.0, 1.0);
                let end = point(m, &x, t).towards(&point(m, &before, t - dt), back);
                self.act(acted, &end, flown);
                if let Some(path) = path.as_mut() {
                    path.push(end);
                }
                let told = &m.plan.bodies[self.body].mass_kg;
                return Some(Touchdown {
                    t_s: end.t_s,
                    east_north_m: end.east_north_m,
                    speed_mps: -end.velocity_mps[2],
                    mass_kg: told.value * self.drawn.mass[self.body],
                });
            }
        }
        None
    }
}
