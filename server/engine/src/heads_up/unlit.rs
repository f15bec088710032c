//! A later motor that has not lit when it should have: the flight ends lower than planned, and comes down with a motor that may still
//! burn.

use loftwatch_flight::{CueKind, Phase};

use super::descent::FRESH_S;
use super::view::View;
use super::{Level, Verdict};

/// Spreads of the told moment that are waited for, and how long an ignition takes to be felt and heard of, s (common practice, no source).
const SPREADS: f64 = 3.0;
const HEARD_S: f64 = 1.0;

pub(super) fn judge(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    let Some((body, estimate)) = view.flying(0) else { return };
    let next = view.happened.later_ignitions + 1;
    let (Some(motor), Some(out_s)) = (view.plan.motors.get(next), view.happened.burnout_s) else { return };
    let told = motor.ignition_after_burnout_s;
    let late_s = view.t_s - out_s - told.value;
    let wait_s = SPREADS * told.sd + HEARD_S;
    let cue = view.plan.cues.iter().enumerate().filter(|(_, c)| c.kind == CueKind::Staging).nth(next - 1);
    let waits = matches!(estimate.phase, Phase::Coasting | Phase::Descending);
    verdicts.push(Verdict {
        about: (next + 1).to_string(),
        holds: (estimate.carried_s <= FRESH_S).then_some(waits && late_s > wait_s),
        settle_s: 0.0,
        level: Level::Act,
        body: 0,
        cue: cue.map(|(index, _)| index),
        mass_kg: body.mass_kg.value,
        figure: late_s,
        limit: Some(wait_s),
        unit: "s",
        limit_from: "told moment of its ignition and three spreads".into(),
        words: format!(
            "Motor {} has not lit in its time. It may light late, or come down unburnt.",
            next + 1
        ),
    });
}
