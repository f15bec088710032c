//! What the vehicle does by itself at a condition.

use loftwatch_flight::{Body, Cue, CueKind, Limit, LimitOf, MAX_CUES, Motor, Told, Trigger};

use crate::mixup;
use crate::notes::{Notes, no_guess, want};
use crate::told;
use crate::tree::{At, Field};

const KINDS: &[(&str, CueKind)] = &[
    ("release", CueKind::Release),
    ("separation", CueKind::Separation),
    ("chute", CueKind::Chute),
    ("staging", CueKind::Staging),
];

#[derive(Clone, Copy, PartialEq)]
enum When {
    ClimbRateBelow,
    BeforeApogee,
    AfterApogee,
    HeightBelow,
    AfterLiftoff,
    AfterBurnout,
    AfterCue,
}

const WHENS: &[(&str, When)] = &[
    ("climb rate below", When::ClimbRateBelow),
    ("before apogee", When::BeforeApogee),
    ("after apogee", When::AfterApogee),
    ("height below", When::HeightBelow),
    ("after liftoff", When::AfterLiftoff),
    ("after burnout", When::AfterBurnout),
    ("after cue", When::AfterCue),
];

/// The told cues and their names.
pub(crate) struct Cues<'a> {
    pub(crate) told: &'a [At<told::Cue>],
    pub(crate) names: Vec<String>,
}

impl Cues<'_> {
    fn is(&self, cue: usize, kind: &str) -> bool {
        self.told.get(cue).and_then(|c| c.value.kind.get()).is_some_and(|at| at.value == kind)
    }
    /// Whether the cue opens a parachute.
    pub(crate) fn is_chute(&self, cue: usize) -> bool {
        self.is(cue, "chute")
    }
    /// Whether a stage that has burnt out falls away at the cue of that name: a staging, or a separation that follows liftoff, burnout or
    /// another cue. One that goes by apogee or by a climb rate lets go a nose cone.
    pub(crate) fn drops_a_stage(&self, name: &str) -> bool {
        let Some(cue) = self.names.iter().position(|n| n == name) else { return false };
        let when = self.told[cue].value.when.get().map_or("", |at| at.value.as_str());
        let follows = matches!(when, "after liftoff" | "after burnout" | "after cue");
        self.is(cue, "staging") || self.is(cue, "separation") && follows
    }
}

/// Names the cues.
pub(crate) fn gather<'a>(told: &'a [At<told::Cue>], notes: &mut Notes) -> Cues<'a> {
    if let Some(extra) = told.get(MAX_CUES) {
        notes.refuse(&extra.at, format!("at most {MAX_CUES} cues"), told.len().to_string(), None);
    }
    let told = &told[..told.len().min(MAX_CUES)];
    Cues { told, names: notes.names(told.iter().map(|cue| &cue.value.name), "cue") }
}

/// Checks the cues.
pub(crate) fn mean(
    cues: &Cues<'_>,
    body_names: &[String],
    bodies: &[Body],
    motors: &[Motor],
    notes: &mut Notes,
) -> Vec<Cue> {
    let meant: Vec<Cue> = cues
        .told
        .iter()
        .enumerate()
        .map(|(index, told)| one(index, &told.value, cues, body_names, bodies, motors, notes))
        .collect();
    for (index, told) in cues.told.iter().enumerate() {
        let mut at = index;
        for _ in 0..meant.len() {
            match meant[at].trigger {
                Trigger::AfterCue(before, _) if before == index && meant.len() > 1 && at != index => {
                    notes.refuse(
                        told.value.of.place(),
                        "cues that follow one another",
                        "a circle of cues",
                        None,
                    );
                    break;
                }
                Trigger::AfterCue(before, _) => at = before,
                _ => break,
            }
        }
    }
    meant
}

fn one(
    index: usize,
    told: &told::Cue,
    cues: &Cues<'_>,
    body_names: &[String],
    bodies: &[Body],
    motors: &[Motor],
    notes: &mut Notes,
) -> Cue {
    let kind = notes.choice_required(&told.kind, KINDS).unwrap_or(CueKind::Release);
    let body = match &told.body {
        Field::Absent(place) => notes.default(place, format!("{}, the vehicle", body_names[0]), 0),
        field => notes.reference(field, body_names, "body").unwrap_or_default(),
    };
    let trigger = trigger(index, told, &cues.names, notes);
    let delay = notes.number_or(&told.delay_s, want(0.0, 60.0, "s"), milliseconds, 0.0);
    let sd = notes.number_or(&told.spread_s, want(0.001, 30.0, "s"), milliseconds, 0.2);
    let limit = limit(told, notes);
    let mass = notes.number(&told.mass_kg, want(0.005, 1000.0, "kg"), mixup::mass_kg);
    let mass_kg = mass.unwrap_or_else(|| {
        let freed: f64 = bodies.iter().filter(|b| b.freed_by == Some(index)).map(|b| b.mass_kg.value).sum();
        let braked: f64 = bodies
            .iter()
            .filter(|b| b.descents.iter().any(|d| d.cue == index))
            .map(|b| b.mass_kg.value)
            .sum();
        let staged = motors.last().map_or(0.0, |m| m.dropped_mass_kg);
        let own = bodies.get(body).map_or(f64::NAN, |b| b.mass_kg.value);
        let (kg, words) = match kind {
            CueKind::Chute if braked > 0.0 => (braked, "what it brakes"),
            _ if freed > 0.0 => (freed, "what it frees"),
            CueKind::Staging if staged > 0.0 => (staged, "what falls away"),
            _ => (own, "the body that acts"),
        };
        notes.default(told.mass_kg.place(), format!("{kg:.3} kg, {words}"), kg)
    });
    Cue {
        name: cues.names[index].clone(),
        kind,
        body,
        trigger,
        delay_s: Told { value: delay, sd },
        limit,
        mass_kg,
    }
}

fn milliseconds(typed: f64) -> Option<String> {
    (typed > 30.0).then(|| format!("in milliseconds? then {}", typed / 1000.0))
}

fn trigger(index: usize, told: &told::Cue, names: &[String], notes: &mut Notes) -> Trigger {
    let when = notes.choice_required(&told.when, WHENS);
    if when != Some(When::AfterCue)
        && when.is_some()
        && let Field::Is(at) = &told.of
    {
        notes.refuse(
            &at.at,
            "`of` only with when = \"after cue\"",
            format!("when = \"{}\"", word(when)),
            None,
        );
    }
    let later: fn(f64) -> Option<String> = |typed| {
        (typed < 0.0)
            .then(|| "never negative: \"before apogee\" and \"after apogee\" say the side".to_owned())
    };
    let (range, guess): (_, fn(f64) -> Option<String>) = match when {
        Some(When::ClimbRateBelow) => (want(0.0, 1000.0, "m/s, climbing"), |typed| {
            (typed < 0.0).then(|| "this is before apogee, where it still climbs; coming down, use \"after apogee\" or \"height below\"".to_owned())
        }),
        Some(When::HeightBelow) => (want(1.0, 30_000.0, "m above the pad"), |typed| {
            (typed <= 0.0).then(|| "that is on the ground".to_owned())
        }),
        Some(When::BeforeApogee | When::AfterApogee) => (want(0.0, 600.0, "s"), later),
        _ => (want(0.0, 3600.0, "s"), later),
    };
    let value = match notes.number(&told.value, range, guess) {
        Some(value) => value,
        None if matches!(when, Some(When::AfterApogee)) => notes.default(told.value.place(), "0 s", 0.0),
        None => {
            let expected =
                if when.is_some() { range.to_string() } else { "the figure that `when` goes by".to_owned() };
            notes.missing(told.value.place(), expected, None);
            f64::NAN
        }
    };
    match when {
        Some(When::ClimbRateBelow) => Trigger::ClimbRateBelow(value),
        Some(When::BeforeApogee) => Trigger::BeforeApogee(value),
        Some(When::HeightBelow) => Trigger::HeightBelow(value),
        Some(When::AfterLiftoff) => Trigger::AfterLiftoff(value),
        Some(When::AfterBurnout) => Trigger::AfterBurnout(value),
        Some(When::AfterCue) => {
            if told.of.absent() {
                notes.missing(told.of.place(), "the name of the cue that it follows", None);
            }
            match notes.reference(&told.of, names, "cue") {
                Some(before) if before == index => {
                    notes.refuse(told.of.place(), "another cue", "the cue itself", None);
                    Trigger::AfterApogee(value)
                }
                Some(before) => Trigger::AfterCue(before, value),
                None => Trigger::AfterApogee(value),
            }
        }
        None => {
            notes.reference(&told.of, names, "cue");
            Trigger::AfterApogee(value)
        }
        Some(When::AfterApogee) => Trigger::AfterApogee(value),
    }
}

fn word(when: Option<When>) -> &'static str {
    WHENS.iter().find(|(_, w)| Some(*w) == when).map_or("", |(word, _)| word)
}

fn limit(told: &told::Cue, notes: &mut Notes) -> Option<Limit> {
    let speed = notes.number(&told.limit_airspeed_mps, want(0.5, 1000.0, "m/s"), no_guess);
    let pressure = notes.number(&told.limit_dynamic_pressure_pa, want(1.0, 500_000.0, "Pa"), no_guess);
    let load = notes.number(&told.limit_opening_load_n, want(1.0, 500_000.0, "N"), no_guess);
    let all = [
        (speed, LimitOf::Airspeed, &told.limit_airspeed_mps),
        (pressure, LimitOf::DynamicPressure, &told.limit_dynamic_pressure_pa),
        (load, LimitOf::OpeningLoad, &told.limit_opening_load_n),
    ];
    let mut given = all.iter().filter_map(|(value, of, field)| value.map(|v| (v, *of, field)));
    let first = given.next();
    if let Some((.., second)) = given.next() {
        notes.refuse(second.place(), "one limit for a cue", "a second one", None);
    }
    let Some((value, of, _)) = first else {
        if let Field::Is(at) = &told.limit_from {
            notes.refuse(&at.at, "a limit beside it, such as `limit_airspeed_mps`", "none", None);
        }
        return None;
    };
    let from = match &told.limit_from {
        Field::Absent(place) => notes.default(place, "told by crew", "told by crew".to_owned()),
        field => notes.name(field).unwrap_or_default(),
    };
    Some(Limit { of, value, from })
}
