//! A cue that comes in worse conditions than it can stand: airspeed, dynamic pressure or opening load.
//!
//! Said when it is likely, not at even odds: what follows from the told figures is no news. Over 144 simulated flights (six
//! classes, 414 cues with a limit, 35 of them over it by a fifth) 97 % were said in time at 0.8 (0.9 under power) and 86 % at
//! 0.9 (0.95), with one falsely on 24 straight flights either way. It ends when no longer likely, or when the cue has
//! passed. Openings of parachutes are the graver ones.

use loftwatch_flight::{Cue, CueKind, CuePrediction, DescentState, Limit, LimitOf, Phase, Plan, Quantiles};

use super::view::{View, above, in_seconds, spoken};
use super::{Level, Verdict};

/// Probability of exceeding the limit at which it is said. Smaller cries wolf, larger misses those that are just over.
const SAY: f64 = 0.8;
/// The same under power, where the rest of the burn is still to come.
const SAY_UNDER_POWER: f64 = 0.9;
/// Probability at which it ends. Nearer to the other flickers.
const END: f64 = 0.6;
/// Probability from which on the opening of a parachute over its limit is to act on.
const ACT: f64 = 0.95;

/// On the way down an opening shakes what is measured: so long, s, must a warning hold, unless its cue comes sooner than this, s.
const SETTLE_S: f64 = 1.5;
const SOON_S: f64 = 5.0;

pub(super) fn judge(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    if view.happened.liftoff_s.is_none() && !view.in_flight() {
        return;
    }
    let powered =
        view.bodies.first().and_then(|b| b.estimate.as_ref()).is_some_and(|e| e.phase == Phase::Powered);
    let falls = view.happened.apogee_s.is_some();
    for (index, cue) in view.cues.iter().enumerate() {
        let (Some(limit), Some(Some(prediction))) = (&cue.limit, view.cue_predictions.get(index)) else {
            continue;
        };
        if prediction.passed {
            continue;
        }
        let Some(figure) = figure(limit.of, prediction) else { continue };
        let told = view.plan.cues.get(index).and_then(|c| c.limit.as_ref());
        let over = match prediction.over_limit {
            Some(p) if told == Some(limit) => p,
            _ => above(&figure, limit.value),
        };
        let say = if powered { SAY_UNDER_POWER } else { SAY };
        let holds = if over >= say && figure.p50 > limit.value {
            Some(true)
        } else if over < END {
            Some(false)
        } else {
            None
        };
        let chute = cue.kind == CueKind::Chute;
        verdicts.push(Verdict {
            about: cue.name.clone(),
            holds,
            settle_s: if falls && prediction.cue_t_s.p50 - view.t_s > SOON_S { SETTLE_S } else { 0.0 },
            level: if chute && over >= ACT { Level::Act } else { Level::Look },
            body: cue.body,
            cue: Some(index),
            mass_kg: cue.mass_kg,
            figure: if figure.p50 > limit.value { figure.p50 } else { figure.p95 },
            limit: Some(limit.value),
            unit: unit(limit.of),
            limit_from: limit.from.clone(),
            words: words(view.plan, index, cue, limit, prediction.cue_t_s.p50 - view.t_s, &figure),
        });
    }
}

fn figure(of: LimitOf, prediction: &CuePrediction) -> Option<Quantiles> {
    match of {
        LimitOf::Airspeed => Some(prediction.airspeed_mps),
        LimitOf::DynamicPressure => Some(prediction.dynamic_pressure_pa),
        LimitOf::OpeningLoad => prediction.opening_load_n,
    }
}

fn unit(of: LimitOf) -> &'static str {
    match of {
        LimitOf::Airspeed => "m/s",
        LimitOf::DynamicPressure => "Pa",
        LimitOf::OpeningLoad => "N",
    }
}

fn words(plan: &Plan, index: usize, cue: &Cue, limit: &Limit, dt_s: f64, figure: &Quantiles) -> String {
    let what = match cue.kind {
        CueKind::Release | CueKind::Separation => {
            match plan.bodies.iter().find(|b| b.freed_by == Some(index)) {
                Some(freed) => format!("{} goes out", freed.name),
                None => format!("{} comes", cue.name),
            }
        }
        CueKind::Chute => format!("{} opens", chute_name(plan, index).unwrap_or_else(|| cue.name.clone())),
        CueKind::Staging => format!("{} comes", cue.name),
    };
    // Where the odds have come down to less than even, what may still come is said, not a figure within the limit.
    let value =
        if figure.p50 > limit.value { spoken(figure.p50) } else { format!("up to {}", spoken(figure.p95)) };
    let most = spoken(limit.value);
    let when = in_seconds(dt_s);
    match limit.of {
        LimitOf::Airspeed => format!("{what} {when} into {value} m/s of air. Its limit is {most} m/s."),
        LimitOf::DynamicPressure => {
            format!("{what} {when} into {value} Pa of dynamic pressure. Its limit is {most} Pa.")
        }
        LimitOf::OpeningLoad => format!("{what} {when} with a load of {value} N. Its limit is {most} N."),
    }
}

/// "Body's drogue", the parachute that a cue opens.
fn chute_name(plan: &Plan, index: usize) -> Option<String> {
    plan.bodies.iter().find_map(|b| {
        let state = b.descents.iter().find(|d| d.cue == index)?.state;
        Some(format!("{}'s {}", b.name, state_name(state)))
    })
}

/// The trade's word for a descent state.
pub(super) fn state_name(state: DescentState) -> &'static str {
    match state {
        DescentState::Drogue => "drogue",
        DescentState::Main => "main",
        DescentState::Streamer => "streamer",
        DescentState::Tumbling => "tumble",
        DescentState::Bare => "bare fall",
        DescentState::Ballistic => "ballistic fall",
    }
}
