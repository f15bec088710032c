//! Heads-ups: the few things that are for eyes and voices, in one table.
//!
//! A row per kind ([`TABLE`]). A row looks at the flight and gives verdicts: what, how urgent, the figure, its limit,
//! where the limit comes from, the words. What appears, changes and ends is decided here once for all rows: a verdict
//! must hold for a while to appear, and must have clearly ceased for a while to end, so that nothing flickers. Nothing
//! on the ground can stop a cue; no heads-up ever says that something is safe.

mod cue;
mod descent;
mod lean;
mod place;
mod silence;
mod unlit;
mod view;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::output::{HeadsUp, Level};
pub(crate) use descent::Openings;
pub use place::{depth_m, is_in};
pub(crate) use view::{BodyView, Happened, Silent, View};

/// Seconds between two changes of one heads-up's words. Shorter is unreadable (figures step at most four
/// times a second), longer makes a countdown jump.
const STEP_S: f64 = 0.25;
/// Seconds for which a condition must have ceased before its heads-up ends. Longer nags, shorter flickers.
const CEASE_S: f64 = 0.5;

/// Seconds for which another level must be right before it is taken, upwards and downwards.
const RAISE_S: f64 = 0.3;
const LOWER_S: f64 = 1.5;

/// One kind of heads-up.
struct Row {
    /// First part of its keys.
    kind: &'static str,
    /// Seconds for which the condition must hold before it is said. Longer warns late, shorter cries wolf.
    hold_s: f64,
    /// Whether it is judged only where paths and landing areas are made anew (at most 5 Hz), or on every reading.
    on_beats_only: bool,
    /// Gives a verdict on each thing there is to judge.
    judge: fn(&View<'_>, &mut Vec<Verdict>),
}

const TABLE: &[Row] = &[
    Row { kind: "all_silent", hold_s: 0.0, on_beats_only: false, judge: silence::judge },
    Row { kind: "cue", hold_s: 0.15, on_beats_only: false, judge: cue::judge },
    Row { kind: "no_sign", hold_s: 0.15, on_beats_only: false, judge: descent::no_sign },
    Row { kind: "fast_descent", hold_s: 1.5, on_beats_only: false, judge: descent::fast },
    Row { kind: "early_main", hold_s: 2.0, on_beats_only: false, judge: descent::early_main },
    Row { kind: "early_canopy", hold_s: 0.2, on_beats_only: false, judge: descent::early_canopy },
    Row { kind: "unlit", hold_s: 0.3, on_beats_only: false, judge: unlit::judge },
    Row { kind: "lean", hold_s: 0.3, on_beats_only: false, judge: lean::judge },
    Row { kind: "landing", hold_s: 0.5, on_beats_only: true, judge: place::judge },
];

/// What a row finds about one thing.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Verdict {
    /// What the key says after the row's kind.
    about: String,
    /// Yes, no, or in between: then it stays as it was.
    holds: Option<bool>,
    /// Seconds for which it must hold beyond its row's.
    settle_s: f64,
    level: Level,
    body: usize,
    cue: Option<usize>,
    mass_kg: f64,
    figure: f64,
    limit: Option<f64>,
    unit: &'static str,
    limit_from: String,
    words: String,
}

/// What is remembered of one heads-up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Held {
    /// Since when the condition holds (while off) or has ceased (while on), s.
    turning_s: Option<f64>,
    /// As last said, if it is on.
    said: Option<HeadsUp>,
    /// When it was last said, s.
    said_s: f64,
    /// Since when another level would be right, s.
    leveling_s: Option<f64>,
}

/// All heads-ups of one flight.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HeadsUps {
    held: BTreeMap<String, Held>,
}

impl HeadsUps {
    /// Judges every row that is due and hands out what appears, changes or ends.
    pub(crate) fn judge(&mut self, view: &View<'_>, beat: bool, say: &mut impl FnMut(HeadsUp)) {
        let mut verdicts = Vec::new();
        for row in TABLE.iter().filter(|row| beat || !row.on_beats_only) {
            verdicts.clear();
            (row.judge)(view, &mut verdicts);
            verdicts.retain(Verdict::is_sound);
            for verdict in &verdicts {
                self.weigh(row, verdict, view.t_s, say);
            }
            // What is no longer there to be judged (a cue that has passed, a body that is down) ends at once.
            let of_row =
                |key: &str| key.strip_prefix(row.kind).and_then(|k| k.strip_prefix(':')).map(str::to_owned);
            self.held.retain(|key, held| {
                let gone = of_row(key).is_some_and(|about| verdicts.iter().all(|v| v.about != about));
                if gone && let Some(last) = held.said.take() {
                    say(HeadsUp { on: false, ..last });
                }
                !gone
            });
        }
    }

    /// Ends all that hold: the flight is over.
    pub(crate) fn end(&mut self, say: &mut impl FnMut(HeadsUp)) {
        for held in std::mem::take(&mut self.held).into_values() {
            if let Some(last) = held.said {
                say(HeadsUp { on: false, ..last });
            }
        }
    }

    fn weigh(&mut self, row: &Row, verdict: &Verdict, t_s: f64, say: &mut impl FnMut(HeadsUp)) {
        let key = format!("{}:{}", row.kind, verdict.about);
        let held = self.held.entry(key.clone()).or_insert(Held {
            turning_s: None,
            said: None,
            said_s: t_s,
            leveling_s: None,
        });
        let turning = match (held.said.is_some(), verdict.holds) {
            (false, Some(true)) => Some(row.hold_s + verdict.settle_s),
            (true, Some(false)) => Some(CEASE_S),
            _ => None,
        };
        let turned = match turning {
            None => {
                held.turning_s = None;
                false
            }
            Some(wait_s) => t_s - *held.turning_s.get_or_insert(t_s) >= wait_s,
        };
        let level = held.level(verdict.level, t_s);
        let now = |on| HeadsUp {
            key: key.clone(),
            level,
            on,
            body: verdict.body,
            cue: verdict.cue,
            mass_kg: verdict.mass_kg,
            figure: verdict.figure,
            limit: verdict.limit,
            unit: verdict.unit.into(),
            limit_from: verdict.limit_from.clone(),
            words: verdict.words.clone(),
        };
        match (&held.said, turned) {
            (None, true) => {
                held.said = Some(now(true));
                say(now(true));
            }
            (Some(last), true) => {
                let ended = HeadsUp { on: false, ..last.clone() };
                held.said = None;
                say(ended);
            }
            (Some(last), false)
                if last.level != level
                    // While it is about to end it keeps the words with which it held.
                    || (verdict.holds != Some(false)
                        && last.words != verdict.words
                        && t_s - held.said_s >= STEP_S) =>
            {
                held.said = Some(now(true));
                say(now(true));
                held.said_s = t_s;
                return;
            }
            _ => return,
        }
        held.turning_s = None;
        held.said_s = t_s;
    }
}

impl Held {
    /// The level to say: another one only once it has been right for a while.
    fn level(&mut self, wanted: Level, t_s: f64) -> Level {
        match &self.said {
            Some(last) if last.level != wanted => {
                let wait_s = if wanted > last.level { RAISE_S } else { LOWER_S };
                if t_s - *self.leveling_s.get_or_insert(t_s) < wait_s {
                    return last.level;
                }
            }
            _ => {}
        }
        self.leveling_s = None;
        wanted
    }
}

impl Verdict {
    fn is_sound(&self) -> bool {
        self.figure.is_finite() && self.mass_kg.is_finite() && self.limit.is_none_or(f64::is_finite)
    }
}

#[cfg(test)]
mod tests;
