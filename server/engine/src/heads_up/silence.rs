//! All radios silent at once in flight.
//!
//! Under power, or within three seconds after burnout, it is what a break-up looks like: act. Later it is worth a
//! look. On the pad and on the ground people switch radios off, so nothing is said there.

use loftwatch_flight::Phase;

use super::view::View;
use super::{Level, Verdict};

/// Seconds after burnout within which all radios gone is to act on (common practice, no source).
const SOON_S: f64 = 3.0;

pub(super) fn judge(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    let Some(silent) = view.silent else { return };
    if !matches!(silent.phase, Phase::Joined | Phase::Powered | Phase::Coasting | Phase::Descending) {
        return;
    }
    // Long after the vehicle must be down by physics there is nothing to look up for.
    let Some((body, _)) = view.flying(0) else { return };
    let after_burnout_s = view.happened.burnout_s.map(|b| silent.since_s - b);
    let under_power = silent.phase == Phase::Powered;
    let soon = after_burnout_s.is_some_and(|s| (0.0..SOON_S).contains(&s));
    let level = if under_power || soon { Level::Act } else { Level::Look };
    let for_s = view.t_s - silent.since_s;
    let words = match after_burnout_s {
        _ if under_power => match view.happened.liftoff_s {
            Some(l) => format!(
                "All radios silent since {:.1} s after liftoff. Eyes up.",
                (silent.since_s - l).max(0.0)
            ),
            None => "All radios silent under power. Eyes up.".into(),
        },
        Some(s) if soon => format!("All radios silent since {s:.1} s after burnout. Eyes up."),
        _ => format!("All radios silent for {for_s:.0} s."),
    };
    verdicts.push(Verdict {
        about: "all".into(),
        holds: Some(true),
        settle_s: 0.0,
        level,
        body: 0,
        cue: None,
        mass_kg: body.mass_kg.value,
        figure: for_s,
        limit: Some(silent.stale_after_s),
        unit: "s",
        limit_from: "two expected packets and one second".into(),
        words,
    });
}
