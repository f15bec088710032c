//! From the state to the messages `picture` and `story`.

use loftwatch_engine::Setup;
use loftwatch_engine::output::{Accepted, Check, RadioLine};
use loftwatch_flight::{Area, Knot, Landing};

use super::now::cut;
use super::rounding::{figure, place, quantiles, to};
use super::state::{EventState, State, seconds};
use crate::messages::{
    AcceptedNow, AreaNow, CheckNow, EventNow, KnotNow, LandingArea, LinkNow, PathNow, Picture, RadioNow,
    Story, WrongNow,
};

impl State {
    /// What is predicted, as a message.
    pub(crate) fn picture(&self, told: &Setup, t_ns: i64) -> Picture {
        let shown = |body: usize| {
            let plan = told.plan.bodies.get(body)?;
            (!self.attached(body, plan.parent.is_some())).then_some(body)
        };
        let path = |(index, path): (usize, &Vec<Knot>)| {
            let knots: Vec<KnotNow> = path.iter().filter_map(|knot| self.knot(knot)).collect();
            (!knots.is_empty()).then_some(PathNow { body: index as u32, knots })
        };
        let paths = self.bodies.iter().enumerate().filter(|(index, _)| shown(*index).is_some());
        Picture {
            t_s: to(seconds(t_ns), 3),
            flight: self.flight.number,
            paths: paths.map(|(index, body)| (index, &body.path)).filter_map(path).collect(),
            // An attached body's landing is shown too: it is conditional on its release.
            landings: self.landings.values().filter_map(|landing| self.landing(landing)).collect(),
            cues: self.cues_now(told),
            headsups: self.headsups_now(told),
        }
    }

    /// What has happened, how the radio is heard and where the pieces lie, as a message.
    pub(crate) fn story(&self, told: &Setup, utc_ns: i64, links: Vec<LinkNow>) -> Story {
        let mut events: Vec<EventNow> = self.events.values().filter_map(|event| self.event(event)).collect();
        events.sort_by(|a, b| a.t_s.total_cmp(&b.t_s).then(a.id.cmp(&b.id)));
        Story {
            flight: self.flight.number,
            events,
            radio: self.radio.iter().map(|line| radio(told, line)).collect(),
            links,
            passing: Vec::new(),
            ground: self.ground(told, utc_ns),
            readiness: self.readiness.iter().map(check).collect(),
            accepted: self.accepted.values().map(accepted).collect(),
        }
    }

    fn knot(&self, knot: &Knot) -> Option<KnotNow> {
        Some(KnotNow {
            t_s: figure(self.station_s(knot.t_s), 3)?,
            height_m: quantiles(&knot.height_m, 0.0, 1)?,
            climb_mps: quantiles(&knot.climb_mps, 0.0, 1)?,
            airspeed_mps: quantiles(&knot.airspeed_mps, 0.0, 1)?,
            east_north_m: place(knot.east_north_m)?,
            bare_height_m: figure(knot.bare_height_m, 1)?,
        })
    }

    fn landing(&self, landing: &Landing) -> Option<LandingArea> {
        let area = match &landing.area {
            Area::Ellipse { centre_m, covariance_m2: [xx, xy, yy] } => AreaNow::Ellipse {
                centre_m: place(*centre_m)?,
                covariance_m2: [figure(*xx, 1)?, figure(*xy, 1)?, figure(*yy, 1)?],
            },
            Area::Ring { centre_m, radius_m } => {
                AreaNow::Ring { centre_m: place(*centre_m)?, radius_m: quantiles(radius_m, 0.0, 1)? }
            }
        };
        Some(LandingArea {
            body: landing.body as u32,
            case: landing.case.into(),
            t_s: quantiles(&landing.landing_t_s, self.epoch_s(), 2)?,
            descent_mps: quantiles(&landing.descent_mps, 0.0, 2)?,
            area,
        })
    }

    fn event(&self, state: &EventState) -> Option<EventNow> {
        let event = &state.event;
        if event.withdrawn {
            return None;
        }
        Some(EventNow {
            id: event.id,
            body: event.body as u32,
            event: word(&event.kind),
            label: cut(&state.label, 120),
            t_s: figure(self.station_s(event.t_s), 3)?,
            sd_s: figure(event.sd_s, 3)?,
            origin: event.origin.into(),
            who: state.who.as_ref().map(|who| cut(who, 60)),
        })
    }
}

/// The word by which a value of an enumeration goes in JSON.
pub(crate) fn word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

fn check(check: &Check) -> CheckNow {
    CheckNow {
        key: check.key.clone(),
        body: check.body.map(|body| body as u32),
        what: check.what.clone(),
        figure: check.figure.clone(),
        since_t_s: check.since_ns.map(|ns| to(seconds(ns), 3)),
        limit: check.limit.clone(),
        limit_from: check.limit_from.clone(),
        level: check.level.map(Into::into),
        words: if check.level.is_some() { check.words.clone() } else { String::new() },
        accepted_by: check.accepted.as_ref().map(|by| by.who.clone()),
        accepted_why: check.accepted.as_ref().map(|by| by.why.clone()),
    }
}

fn accepted(told: &Accepted) -> AcceptedNow {
    AcceptedNow {
        key: told.key.clone(),
        what: told.what.clone(),
        figure: told.figure.clone(),
        limit: told.limit.clone(),
        who: told.who.clone(),
        why: told.why.clone(),
    }
}

fn radio(told: &Setup, line: &RadioLine) -> RadioNow {
    let body = told.plan.bodies.get(line.body).map(|body| body.name.as_str()).unwrap_or_default();
    RadioNow {
        receiver: line.receiver.clone(),
        body: body.to_owned(),
        heard_t_s: line.last_heard_ns.map(|ns| to(seconds(ns), 3)),
        loss: line.loss.and_then(|loss| figure(loss, 3)),
        rssi_dbm: line.rssi_dbm.and_then(|rssi| figure(rssi, 1)),
        snr_db: line.snr_db.and_then(|snr| figure(snr, 1)),
        ticks: line.ticks.clone(),
        good: line.good,
        wrong: line.wrong,
        wrong_by: line
            .wrong_by
            .iter()
            .map(|(reason, count)| WrongNow { reason: reason.clone(), count: *count })
            .collect(),
    }
}
