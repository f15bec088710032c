//! The cue audit: for each cue when it was wanted, when it was commanded and when it came, what the air did then, whether its
//! limit was kept, and which threshold would have put it where it was wanted.
//!
//! *Wanted* is the told condition on the measured path, and the told delay after it. *Came* is the event that the vehicle
//! reported or the ground detected. The threshold that would have done it supposes that the cue had come as long after its
//! condition as it really did.

use loftwatch_flight::{Cue, CueKind, EventKind, LimitOf, Origin, Plan, Trigger};
use serde::Serialize;
use ts_rs::TS;

use super::path::Of;
use super::{Apogee, Evidence, Figure, tidy};
use crate::flight::word;
use crate::path::Happened;

/// How a cue's limit was kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
#[ts(rename = "CueVerdict")]
pub enum Verdict {
    /// All of the 90 % interval is within.
    Within,
    /// All of it is beyond.
    Over,
    /// The limit lies inside the interval.
    NotTold,
    /// There is no limit, or no figure to hold against it.
    None,
}

/// What became of one cue.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct CueAudit {
    /// Its name.
    pub cue: String,
    /// `release`, `separation`, `chute`, `staging`.
    pub kind: String,
    /// The body that acts.
    pub body: String,
    /// The condition, in words, SI.
    pub when: String,
    /// When the told condition and delay put it on the measured path, s since liftoff.
    pub wanted_s: Option<f64>,
    /// When it was commanded, s since liftoff: between the last packet without the command and the first one with it.
    pub commanded_after_s: Option<f64>,
    /// See `commanded_after_s`.
    pub commanded_by_s: Option<f64>,
    /// When it came, s since liftoff.
    pub came_s: Option<f64>,
    /// One standard deviation of that, s.
    pub came_sd_s: Option<f64>,
    /// `reported` by the vehicle, `detected` on the ground, `marked` by the crew.
    pub came_as: Option<String>,
    /// Apogee minus that moment, s; negative after apogee.
    pub to_apogee_s: Option<f64>,
    /// How much later than wanted, s.
    pub late_s: Option<f64>,
    /// Height above the pad then, m.
    pub height_m: Option<Figure>,
    /// Vertical speed then, m/s, up positive.
    pub climb_mps: Option<Figure>,
    /// Speed through the air then, m/s.
    pub airspeed_mps: Option<Figure>,
    /// Dynamic pressure then, Pa.
    pub dynamic_pressure_pa: Option<Figure>,
    /// Path angle through the air from vertical then, rad; `null` where it was not known.
    pub lean_rad: Option<Figure>,
    /// Opening load, N, as it was predicted last.
    pub opening_load_n: Option<Figure>,
    /// What the limit is of: `airspeed`, `dynamic_pressure`, `opening_load`.
    pub limit_of: Option<String>,
    /// The limit, m/s, Pa or N.
    pub limit: Option<f64>,
    /// Where it comes from.
    pub limit_from: Option<String>,
    /// Whether it was kept.
    pub verdict: Verdict,
    /// In words: the threshold that would have put it where it was wanted.
    pub threshold: Option<String>,
    /// The same as a figure, in the unit of the condition: m/s, s or m.
    pub threshold_value: Option<f64>,
    /// What else has to be said.
    pub remark: Option<String>,
}

fn came<'a>(evidence: &'a Evidence<'_>, index: usize) -> Option<&'a Happened> {
    let seen_as = evidence.flight.setup.plan.brought_about_by(index);
    seen_as.into_iter().filter_map(|(body, kind)| evidence.event(body, kind)).min_by(|a, b| {
        let rank = |event: &Happened| u8::from(event.origin != Origin::Reported);
        rank(a).cmp(&rank(b)).then(a.t_s.total_cmp(&b.t_s))
    })
}

/// The condition in words.
pub(crate) fn condition(plan: &Plan, cue: &Cue) -> String {
    let after =
        |s: f64, what: &str| if s == 0.0 { format!("at {what}") } else { format!("{s} s after {what}") };
    let when = match cue.trigger {
        Trigger::ClimbRateBelow(mps) => format!("climbing less than {mps} m/s"),
        Trigger::BeforeApogee(s) => format!("{s} s before apogee"),
        Trigger::AfterApogee(s) => after(s, "apogee"),
        Trigger::HeightBelow(m) => format!("coming down through {m} m"),
        Trigger::AfterLiftoff(s) => after(s, "liftoff"),
        Trigger::AfterBurnout(s) => after(s, "burnout"),
        Trigger::AfterCue(of, s) => after(s, plan.cues.get(of).map_or("?", |cue| cue.name.as_str())),
    };
    if cue.delay_s.value == 0.0 { when } else { format!("{when}, and {} s of delay", cue.delay_s.value) }
}

pub(super) fn audit(evidence: &Evidence<'_>, apogee: Option<&Apogee>) -> Vec<CueAudit> {
    let plan = &evidence.flight.setup.plan;
    plan.cues.iter().enumerate().map(|(index, cue)| one(evidence, apogee, index, cue)).collect()
}

/// The moment of the condition on the measured path, s on the axis.
fn condition_s(evidence: &Evidence<'_>, apogee_s: Option<f64>, cue: &Cue) -> Option<f64> {
    let end_s = f64::INFINITY;
    let burnout_s = || evidence.event(0, EventKind::Burnout).map(|event| event.t_s);
    match cue.trigger {
        // Before burnout a slow vehicle climbs less than any such figure.
        Trigger::ClimbRateBelow(mps) => {
            let from_s = burnout_s().unwrap_or_else(|| evidence.liftoff_s());
            evidence.track.crossing(0, Of::Climb, mps, true, from_s, apogee_s.unwrap_or(end_s) + 5.0)
        }
        Trigger::BeforeApogee(s) => Some(apogee_s? - s),
        Trigger::AfterApogee(s) => Some(apogee_s? + s),
        Trigger::HeightBelow(m) => {
            let body = cue.body;
            let of = if evidence.track.rows(body).is_empty() { 0 } else { body };
            evidence.track.crossing(of, Of::Height, m, true, apogee_s?, end_s)
        }
        Trigger::AfterLiftoff(s) => Some(evidence.liftoff_s() + s),
        Trigger::AfterBurnout(s) => Some(burnout_s()? + s),
        Trigger::AfterCue(of, s) => Some(came(evidence, of)?.t_s + s),
    }
}

fn one(evidence: &Evidence<'_>, apogee: Option<&Apogee>, index: usize, cue: &Cue) -> CueAudit {
    let plan = &evidence.flight.setup.plan;
    let liftoff_s = evidence.liftoff_s();
    let since = |t_s: f64| tidy(t_s - liftoff_s);
    let apogee_s = apogee.map(|apogee| apogee.t_s + liftoff_s);
    let condition_s = condition_s(evidence, apogee_s, cue);
    let wanted_s = condition_s.map(|t_s| t_s + cue.delay_s.value);
    let commanded = evidence.commanded.get(index).copied().flatten();
    let came = came(evidence, index);
    // A released body's own path begins at its release; the body that it leaves is still the one that carried it there.
    let freed = plan.brought_about_by(index).into_iter().next().map_or(cue.body, |(body, _)| body);
    let parent = plan.bodies.get(freed).and_then(|body| body.parent).unwrap_or(0);
    let bodies = match cue.kind {
        CueKind::Chute => [freed, cue.body, 0],
        _ => [parent, cue.body, 0],
    };
    // The surer of the two tells the state: hindsight nearly always is.
    let width = |track: &super::Track| {
        let event = came?;
        let speed = track.about(&bodies, Of::Airspeed, event.t_s, event.sd_s)?;
        Some(speed.high - speed.low)
    };
    let live = evidence.track.hindsight
        && match (width(evidence.track), width(evidence.live)) {
            (Some(afterwards), Some(live)) => live < 0.5 * afterwards,
            (None, Some(_)) => true,
            _ => false,
        };
    let track = if live { evidence.live } else { evidence.track };
    let about = |of: Of| came.and_then(|event| track.about(&bodies, of, event.t_s, event.sd_s));
    let (height_m, airspeed_mps) = (about(Of::Height), about(Of::Airspeed));
    let dynamic_pressure_pa = height_m.zip(airspeed_mps).and_then(|(height, speed)| {
        let density = super::prediction::air(evidence.flight).density_ratio(height.value).0
            * super::prediction::air(evidence.flight).pad_density();
        let q = |speed: f64| 0.5 * density * speed.max(0.0) * speed.max(0.0);
        Figure::new(q(speed.value), q(speed.low), q(speed.high))
    });
    let opening_load_n = evidence.opening_loads.get(index).and_then(|q| q.as_ref()).and_then(Figure::of);
    let figure = cue.limit.as_ref().and_then(|limit| match limit.of {
        LimitOf::Airspeed => airspeed_mps,
        LimitOf::DynamicPressure => dynamic_pressure_pa,
        LimitOf::OpeningLoad => opening_load_n,
    });
    let verdict = match (figure, &cue.limit) {
        (Some(figure), Some(limit)) if figure.high <= limit.value => Verdict::Within,
        (Some(figure), Some(limit)) if figure.low > limit.value => Verdict::Over,
        (Some(_), Some(_)) => Verdict::NotTold,
        _ => Verdict::None,
    };
    let late_s = came.zip(wanted_s).map(|(event, wanted_s)| event.t_s - wanted_s);
    let told = late_s
        .zip(condition_s)
        .and_then(|(late_s, condition_s)| threshold(evidence, cue, late_s, condition_s - late_s));
    let surer =
        live.then(|| "The state is the live estimate's, which is surer here than hindsight.".to_owned());
    let remark = match (came, wanted_s) {
        (None, Some(_)) => Some("Nothing shows that it came.".to_owned()),
        (Some(_), None) => Some("Its condition is not met anywhere on the measured path.".to_owned()),
        (None, None) => Some("Neither its condition nor the cue itself was seen.".to_owned()),
        (Some(event), Some(_)) if event.sd_s > 0.5 => {
            Some(format!("When it came is known to {:.1} s only.", event.sd_s))
        }
        _ => None,
    };
    let said: Vec<String> = remark.into_iter().chain(surer).collect();
    let remark = (!said.is_empty()).then(|| said.join(" "));
    CueAudit {
        cue: cue.name.clone(),
        kind: word(&cue.kind),
        body: evidence.flight.body(cue.body).to_owned(),
        when: condition(plan, cue),
        wanted_s: wanted_s.map(since),
        commanded_after_s: commanded.and_then(|(after, _)| after).map(since),
        commanded_by_s: commanded.map(|(_, by)| since(by)),
        came_s: came.map(|event| since(event.t_s)),
        came_sd_s: came.map(|event| tidy(event.sd_s)),
        came_as: came.map(|event| word(&event.origin)),
        to_apogee_s: came.zip(apogee_s).map(|(event, apogee_s)| tidy(apogee_s - event.t_s)),
        late_s: late_s.map(tidy),
        height_m,
        climb_mps: about(Of::Climb),
        airspeed_mps,
        dynamic_pressure_pa,
        lean_rad: about(Of::Lean),
        opening_load_n,
        limit_of: cue.limit.as_ref().map(|limit| word(&limit.of)),
        limit: cue.limit.as_ref().map(|limit| limit.value),
        limit_from: cue.limit.as_ref().map(|limit| limit.from.clone()),
        verdict,
        threshold: told.as_ref().map(|told| told.0.clone()),
        threshold_value: told.map(|told| tidy(told.1)),
        remark,
    }
}

/// The threshold whose condition would have been met at `met_s`: the cue came `late_s` later than wanted, so its condition
/// should have been met that much earlier.
fn threshold(evidence: &Evidence<'_>, cue: &Cue, late_s: f64, met_s: f64) -> Option<(String, f64)> {
    let shorter = |told_s: f64| told_s - late_s;
    let of = |body: usize, of: Of| evidence.track.at(&[body, 0], of, met_s).map(|value| value[0]);
    let (words, value) = match cue.trigger {
        Trigger::ClimbRateBelow(_) => {
            let mps = of(0, Of::Climb)?;
            (format!("climbing less than {mps:.1} m/s"), mps)
        }
        Trigger::HeightBelow(_) => {
            let m = of(cue.body, Of::Height)?;
            (format!("coming down through {m:.0} m"), m)
        }
        // Earlier by so much: longer before apogee, sooner after anything else.
        Trigger::BeforeApogee(told_s) => {
            let s = told_s + late_s;
            (
                if s >= 0.0 {
                    format!("{s:.2} s before apogee")
                } else {
                    format!("{:.2} s after apogee", -s)
                },
                s,
            )
        }
        Trigger::AfterApogee(told_s) => (after("apogee", shorter(told_s)), shorter(told_s)),
        Trigger::AfterLiftoff(told_s) => (after("liftoff", shorter(told_s)), shorter(told_s)),
        Trigger::AfterBurnout(told_s) => (after("burnout", shorter(told_s)), shorter(told_s)),
        Trigger::AfterCue(other, told_s) => {
            (after(evidence.flight.cue(other), shorter(told_s)), shorter(told_s))
        }
    };
    Some((words, value))
}

fn after(what: &str, s: f64) -> String {
    if s >= 0.0 { format!("{s:.2} s after {what}") } else { format!("{:.2} s before {what}", -s) }
}
