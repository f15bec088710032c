//! From the state to the message `now`.

use loftwatch_engine::Setup;
use loftwatch_engine::output::HeadsUp;
use loftwatch_flight::{Area, Case, CueKind, CuePrediction, Knot, LimitOf, Phase};

use super::rounding::{figure, place, quantiles, to};
use super::state::{BodyState, State, seconds};
use crate::messages::{ApogeeNow, BodyNow, CueNow, FixNow, HeadsUpNow, LandingNow, Mode, Now};
use crate::shared::Disk;

/// The circumstances of a message that the outputs do not hold.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Moment {
    /// Station time, ns.
    pub(crate) t_ns: i64,
    /// UTC, ns.
    pub(crate) utc_ns: i64,
    /// Inputs not kept since, station time ns.
    pub(crate) not_kept_since_ns: Option<i64>,
    /// What is wrong with the disk.
    pub(crate) disk: Option<Disk>,
    /// How long its room lasts, s, if that is less than a day.
    pub(crate) room_for_s: Option<f64>,
    /// Bytes lost since the start.
    pub(crate) lost_bytes: u64,
    /// For a replay.
    pub(crate) replay: Option<Replayed>,
}

/// What a replay adds to its moment.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Replayed {
    /// Local time of the flight that is played again.
    pub(crate) label: String,
    /// Its rate, 0 when paused.
    pub(crate) speed: f64,
    /// Station time at which the moment was played, ns.
    pub(crate) played_ns: i64,
}

/// Knots of the next seconds that a message carries for each body beside its estimate.
const NEXT_KNOTS: usize = 3;
/// How long after the estimate the first of them is at least, s. A message that is cut to its size keeps that one alone, and the pen
/// holds past the last knot: it must be later than the radio's, the station's and the network's delays together.
const FIRST_NEXT_S: f64 = 0.3;

/// Longest names and sentences in a message, characters; beyond, they are cut and end in an ellipsis.
const LONGEST_NAME: usize = 48;
const LONGEST_WORDS: usize = 240;

impl State {
    /// The newest state as a message, with everything in it (see `fit` for its size).
    pub(crate) fn now(&self, told: &Setup, moment: &Moment) -> Now {
        let (mode, replay_of, speed, played_ns) = match &moment.replay {
            None => (Mode::Live, None, 1.0, None),
            Some(replay) => (Mode::Replay, Some(replay.label.clone()), replay.speed, Some(replay.played_ns)),
        };
        let t_s = to(seconds(moment.t_ns), 3);
        let opened = |ns: i64| to(seconds(ns), 3);
        Now {
            mode,
            replay_of,
            t_s,
            played_s: played_ns.map(|ns| to(seconds(ns), 3)),
            speed,
            utc_s: to(seconds(moment.utc_ns), 3),
            flight: self.flight.number,
            flight_name: cut(&self.flight.name, LONGEST_NAME),
            vehicle: cut(&told.vehicle_name, LONGEST_NAME),
            site: cut(&told.site_name, LONGEST_NAME),
            liftoff_t_s: self.flight.liftoff_ns.map(opened),
            ended_t_s: self.flight.ended_ns.map(opened),
            silent_since_s: self.silent_since_ns.map(opened),
            not_kept_since_s: moment.not_kept_since_ns.map(opened),
            disk: moment.disk,
            disk_room_s: moment.room_for_s.and_then(|room_s| figure(room_s, 0)),
            lost_bytes: moment.lost_bytes,
            stale_after_s: stale_after_s(told),
            bodies: (0..told.plan.bodies.len()).map(|body| self.body_now(told, body, t_s)).collect(),
            headsups: self.headsups_now(told),
            headsups_left_out: 0,
            cues: self.cues_by_time(told),
            cues_left_out: 0,
        }
    }

    /// The heads-ups that hold: red before amber, what slows a fall before what is let go, the heavier and then the
    /// sooner first. When not all of them fit, those that matter least are left out.
    pub(super) fn headsups_now(&self, told: &Setup) -> Vec<HeadsUpNow> {
        let mut all: Vec<&HeadsUp> = self.headsups.values().collect();
        // Without a cue it is about what is so now.
        let soon_s = |headsup: &HeadsUp| {
            let cue = headsup.cue.and_then(|cue| self.cues.get(&cue));
            cue.map_or(f64::NEG_INFINITY, |cue| cue.cue_t_s.p50)
        };
        all.sort_by(|a, b| {
            (b.level.cmp(&a.level))
                .then(weight(told, a).cmp(&weight(told, b)))
                .then(b.mass_kg.total_cmp(&a.mass_kg))
                .then(soon_s(a).total_cmp(&soon_s(b)))
                .then(a.key.cmp(&b.key))
        });
        all.into_iter().map(headsup_now).collect()
    }

    /// The cues in the order of the setup.
    pub(super) fn cues_now(&self, told: &Setup) -> Vec<CueNow> {
        self.cues.values().filter_map(|cue| self.cue_now(told, cue)).collect()
    }

    fn cues_by_time(&self, told: &Setup) -> Vec<CueNow> {
        let mut cues = self.cues_now(told);
        cues.sort_by(|a, b| {
            let (first, second) = if a.passed && b.passed { (b, a) } else { (a, b) };
            a.passed.cmp(&b.passed).then(first.t_s.p50.total_cmp(&second.t_s.p50)).then(a.cue.cmp(&b.cue))
        });
        cues
    }

    fn cue_now(&self, told: &Setup, predicted: &CuePrediction) -> Option<CueNow> {
        let cue = told.plan.cues.get(predicted.cue)?;
        let limit = cue.limit.as_ref();
        let of = limit.map(|limit| limit.of);
        Some(CueNow {
            cue: predicted.cue as u32,
            name: cut(&cue.name, LONGEST_NAME),
            does: cue.kind.into(),
            body: cue.body as u32,
            t_s: quantiles(&predicted.cue_t_s, self.epoch_s(), 2)?,
            height_m: figure(predicted.height_m.p50, 1)?,
            airspeed_mps: quantiles(&predicted.airspeed_mps, 0.0, 2)?,
            limit: limit.and_then(|limit| figure(limit.value, 2)),
            limit_of: of.map(Into::into),
            figure: match of {
                Some(LimitOf::DynamicPressure) => quantiles(&predicted.dynamic_pressure_pa, 0.0, 1),
                Some(LimitOf::OpeningLoad) => {
                    predicted.opening_load_n.as_ref().and_then(|q| quantiles(q, 0.0, 1))
                }
                Some(LimitOf::Airspeed) | None => None,
            },
            limit_from: limit.map(|limit| cut(&limit.from, LONGEST_NAME)).unwrap_or_default(),
            over_limit: predicted.over_limit.and_then(|share| figure(share, 3)),
            passed: predicted.passed,
        })
    }

    fn body_now(&self, told: &Setup, index: usize, now_s: f64) -> BodyNow {
        let plan = &told.plan.bodies[index];
        let unknown = BodyState::default();
        let body = self.bodies.get(index).unwrap_or(&unknown);
        let attached = self.attached(index, plan.parent.is_some());
        let of_parent = plan.parent.filter(|_| attached).and_then(|parent| self.bodies.get(parent));
        let estimate = of_parent.unwrap_or(body).estimate.as_ref();
        let own = body.estimate.as_ref().filter(|_| !attached);
        let at_t_s = own.map(|e| self.station_s(e.t_s));
        BodyNow {
            name: cut(&plan.name, LONGEST_NAME),
            attached,
            transmitter: plan.has_transmitter,
            phase: estimate.map_or(Phase::Waiting, |e| e.phase).into(),
            descent: own.and_then(|e| e.descent).map(Into::into),
            heard_t_s: body.heard_ns.map(|ns| to(seconds(ns), 3)),
            carried_s: estimate
                .map(|e| e.carried_s + (now_s - self.station_s(e.t_s)).max(0.0))
                .and_then(|carried| figure(carried, 2))
                .unwrap_or(0.0),
            at_t_s: at_t_s.and_then(|t| figure(t, 3)),
            height_m: own.and_then(|e| quantiles(&e.height_m, 0.0, 2)),
            climb_mps: own.and_then(|e| quantiles(&e.climb_mps, 0.0, 2)),
            airspeed_mps: own.and_then(|e| quantiles(&e.airspeed_mps, 0.0, 2)),
            ground_speed_mps: own.and_then(|e| quantiles(&e.ground_speed_mps, 0.0, 2)),
            lean_rad: own.and_then(|e| e.lean_rad.as_ref()).and_then(|q| quantiles(q, 0.0, 4)),
            east_north_m: own.and_then(|e| e.east_north_m).and_then(place),
            position_radius_m: own.and_then(|e| e.position_radius_m).and_then(|radius| figure(radius, 1)),
            mach: own.and_then(|e| figure(e.mach, 3)),
            apogee: if attached { None } else { self.apogee_now(body) },
            landing: if attached { None } else { self.landing_now(index) },
            fix: body.fix.and_then(fix_now),
            next: if flies(own) { self.next(body) } else { Vec::new() },
        }
    }

    fn apogee_now(&self, body: &BodyState) -> Option<ApogeeNow> {
        let p = body.prediction.as_ref()?;
        Some(ApogeeNow {
            height_m: quantiles(&p.apogee_height_m, 0.0, 2)?,
            t_s: quantiles(&p.apogee_t_s, self.epoch_s(), 3)?,
            airspeed_mps: quantiles(&p.airspeed_at_apogee_mps, 0.0, 2)?,
            ground_speed_mps: quantiles(&p.ground_speed_at_apogee_mps, 0.0, 2)?,
            hand_height_m: figure(p.hand_height_m, 1)?,
            hand_t_s: figure(self.station_s(p.hand_t_s), 2)?,
        })
    }

    fn landing_now(&self, body: usize) -> Option<LandingNow> {
        let landing = self.landings.get(&(body, Case::Planned))?;
        Some(LandingNow {
            t_s: quantiles(&landing.landing_t_s, self.epoch_s(), 2)?,
            east_north_m: match landing.area {
                Area::Ellipse { centre_m, .. } => place(centre_m),
                Area::Ring { .. } => None,
            },
            descent_mps: quantiles(&landing.descent_mps, 0.0, 2)?,
        })
    }

    /// Where the pen goes: the estimate, and the next knots of the predicted path. The path is up to 0.2 s older than the estimate: it
    /// is moved so that it goes through the estimate, and the pen does not jump where it leaves the one for the other.
    fn next(&self, body: &BodyState) -> Vec<[f64; 4]> {
        let Some(estimate) = &body.estimate else { return Vec::new() };
        let (height_m, climb_mps) = (estimate.height_m.p50, estimate.climb_mps.p50);
        let moved = on_path(&body.path, estimate.t_s).map(|(h, c)| (height_m - h, climb_mps - c));
        let (up_m, up_mps) = moved.unwrap_or((0.0, 0.0));
        let knot = |t_s: f64, height_m: f64, climb_mps: f64, airspeed_mps: f64| {
            Some([
                figure(self.station_s(t_s), 2)?,
                figure(height_m, 1)?,
                figure(climb_mps, 1)?,
                figure(airspeed_mps, 1)?,
            ])
        };
        let to_come = body
            .path
            .iter()
            .filter(|knot| knot.t_s > estimate.t_s + FIRST_NEXT_S)
            .map(|k| knot(k.t_s, k.height_m.p50 + up_m, k.climb_mps.p50 + up_mps, k.airspeed_mps.p50));
        let here = knot(estimate.t_s, height_m, climb_mps, estimate.airspeed_mps.p50);
        core::iter::once(here).chain(to_come.take(NEXT_KNOTS)).flatten().collect()
    }
}

/// What a heads-up is about, gravest first: falls that are not slowed and the chutes that shall slow them; where pieces
/// come down; what is lit or parted; what is let go; the rest.
fn weight(told: &Setup, headsup: &HeadsUp) -> u8 {
    let cue = headsup.cue.and_then(|cue| told.plan.cues.get(cue));
    match (cue.map(|cue| cue.kind), headsup.key.split(':').next().unwrap_or_default()) {
        (Some(CueKind::Chute), _) | (None, "no_sign" | "fast_descent") => 0,
        (None, "landing") => 1,
        (Some(CueKind::Staging | CueKind::Separation), _) | (None, "lean" | "unlit") => 2,
        (Some(CueKind::Release), _) => 3,
        _ => 4,
    }
}

/// On the pad the path is that of a flight that has not begun; on the ground there is none.
fn flies(estimate: Option<&loftwatch_flight::Estimate>) -> bool {
    estimate.is_some_and(|estimate| !matches!(estimate.phase, Phase::Waiting | Phase::Down))
}

/// Height and climb on a path at an instant: the cubic through heights and climbs of the two knots about it
/// (Hermite's interpolation), and the slope of the straight line between the climbs.
fn on_path(path: &[Knot], t_s: f64) -> Option<(f64, f64)> {
    let after = path.iter().position(|knot| knot.t_s >= t_s)?;
    let b = &path[after];
    if b.t_s == t_s {
        return Some((b.height_m.p50, b.climb_mps.p50));
    }
    let a = path.get(after.checked_sub(1)?)?;
    let span = b.t_s - a.t_s;
    let s = (t_s - a.t_s) / span;
    let (h0, h1, c0, c1) = (a.height_m.p50, b.height_m.p50, a.climb_mps.p50 * span, b.climb_mps.p50 * span);
    let height = (2.0 * s.powi(3) - 3.0 * s * s + 1.0) * h0
        + (s.powi(3) - 2.0 * s * s + s) * c0
        + (3.0 * s * s - 2.0 * s.powi(3)) * h1
        + (s.powi(3) - s * s) * c1;
    Some((height, a.climb_mps.p50 + s * (b.climb_mps.p50 - a.climb_mps.p50)))
}

fn fix_now(([latitude_rad, longitude_rad], t_ns): ([f64; 2], i64)) -> Option<FixNow> {
    Some(FixNow {
        // 1e-6 degrees is 0.1 m.
        latitude_deg: figure(latitude_rad.to_degrees(), 6)?,
        longitude_deg: figure(longitude_rad.to_degrees(), 6)?,
        t_s: to(seconds(t_ns), 2),
    })
}

fn headsup_now(headsup: &HeadsUp) -> HeadsUpNow {
    HeadsUpNow {
        key: cut(&headsup.key, 2 * LONGEST_NAME),
        level: headsup.level.into(),
        cue: headsup.cue.map(|cue| cue as u32),
        body: headsup.body as u32,
        figure: figure(headsup.figure, 2).unwrap_or(0.0),
        limit: headsup.limit.and_then(|limit| figure(limit, 2)),
        unit: cut(&headsup.unit, 8),
        limit_from: cut(&headsup.limit_from, LONGEST_NAME),
        words: cut(&headsup.words, LONGEST_WORDS),
    }
}

/// Two expected intervals and one second; the interval is that of the slowest layout whose rate was told. Without a
/// told rate it is taken as 1 s: a faster radio then merely shows its age a little later.
fn stale_after_s(told: &Setup) -> f64 {
    let rates = told.layouts.iter().filter_map(|layout| layout.rate_hz).filter(|rate| *rate > 0.0);
    let slowest = rates.fold(f64::INFINITY, f64::min);
    let interval = if slowest.is_finite() { 1.0 / slowest } else { 1.0 };
    to(2.0 * interval + 1.0, 2)
}

/// The text, or its front with an ellipsis if it is longer than `most` characters.
pub(super) fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['…']).collect()
}
