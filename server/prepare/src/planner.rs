//! From what the crew want of a cue to a guarded condition for the flight electronics: never a bare speed.
//!
//! Electronics know a vertical speed that lags behind the true one, ask for it to be below a threshold for a moment on end,
//! and drive a mechanism that takes its time. All three are taken off the threshold: to act at t, they must see at
//! t - mechanism - moment - lag what the vertical speed is then. Without drag that is v = g t (the hand sum); with drag it is
//! read off a thousand drawn flights. Guards keep the condition from being true where it must not be: handling on the pad,
//! the boost, the false dip of a barometer near Mach 1, a burn that ends early, the gap between stages.

use loftwatch_engine::Setup;
use loftwatch_flight::nominal::{Flown, Point};
use loftwatch_flight::{LimitOf, Told, Trigger};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::sample::{Near, One, Sample, at, falls_through};
use crate::spread::{Spread, quantile};

/// Leans at burnout that are shown, degrees.
const LEANS_DEG: [f64; 4] = [0.0, 15.0, 30.0, 45.0];
/// Lead times that are shown, s, beside the one that is wanted.
const LEADS_S: [f64; 6] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.0];
/// The threshold must hold for so long on end, s: three samples of a slow board (own figure; longer delays, shorter lets one
/// bad sample through).
const HOLD_S: f64 = 0.1;
/// Room after the last burnout of a thousand flights, s.
const AFTER_BURNOUT_S: f64 = 0.2;
/// Share of the height at the condition's moment that must have been reached.
const HEIGHT_SHARE: f64 = 0.5;
/// Room of the timer behind all the moments that are wanted, s.
const TIMER_ROOM_S: f64 = 0.5;
/// Room after Mach 0.7 is left behind, s: a barometer's filter swings back by then.
const MACH_ROOM_S: f64 = 1.0;
/// The safer condition asks for this share of the limit: the electronics' airspeed is not exact either.
const SAFER_SHARE: f64 = 0.9;

/// What the crew want.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Want {
    /// So long before apogee (after it where negative), s.
    Lead {
        /// s.
        s: f64,
    },
    /// At this vertical speed, m/s, falling.
    Climb {
        /// m/s.
        mps: f64,
    },
    /// At this height above the pad coming down, m.
    Height {
        /// m.
        m: f64,
    },
}

/// A guarded condition, for flight electronics.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Condition {
    /// Not earlier after the liftoff that the electronics detected, s. Liftoff and burnout must have been detected.
    pub earliest_s: f64,
    /// Not below this height above the pad, m; coming down, not above it.
    pub least_height_m: f64,
    /// Not before this long after liftoff, as long as the speed is a barometer's, s; `None` where Mach 0.7 is never reached.
    pub mach_lockout_s: Option<f64>,
    /// Vertical speed as the electronics see it must be at or below, m/s; `None` for a condition by height.
    pub climb_mps: Option<f64>,
    /// Height as the electronics see it must be at or below, coming down after apogee, m.
    pub height_m: Option<f64>,
    /// For so long on end, at least three samples, s.
    pub hold_s: f64,
    /// Acts by itself so long after liftoff, s, whatever the speed; above the least height all the same, so that a liftoff which
    /// was detected falsely, on the pad, does not start a clock that ends there.
    pub timer_s: f64,
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Lead {
    /// Before apogee, s.
    pub lead_s: f64,
    /// Whether it is the wanted one.
    pub wanted: bool,
    /// Threshold without drag, the hand sum, for the same moment: g t, m/s.
    pub hand_mps: f64,
    /// With drag, at that moment itself, nothing taken off, m/s.
    pub climb_mps: Option<f64>,
    /// Airspeed at that moment for leans at burnout of 0, 15, 30 and 45 degrees, m/s; `None` where no flight leans so.
    pub by_lean_mps: [Option<f64>; 4],
}

/// A condition with more in it, and what it changes.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Safer {
    /// Airspeed as the electronics see it must be at or below, m/s, too.
    pub airspeed_mps: f64,
    /// Share of the drawn flights over the limit at the release with it.
    pub over: f64,
    /// Share of the drawn flights in which only the timer releases.
    pub by_timer: f64,
    /// Median delay over the plain condition where it waits, s.
    pub waits_s: f64,
    /// In words.
    pub words: String,
}

/// What comes of it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "CuePlan")]
pub struct Plan {
    /// Name of the cue.
    pub cue: String,
    /// Index of the cue.
    pub index: usize,
    /// What was wanted.
    pub want: Want,
    /// What was told: lag of the vertical speed, delay of the mechanism, each with its spread, s.
    pub lag_s: [f64; 2],
    /// See above.
    pub delay_s: [f64; 2],
    /// Taken off in all: lag, moment on end, delay, s.
    pub ahead_s: f64,
    /// Limit of airspeed, m/s, if one was told, or follows from one of dynamic pressure or load.
    pub limit_mps: Option<f64>,
    /// Where it comes from.
    pub limit_from: String,
    /// Threshold by the hand sum, m/s.
    pub hand_mps: Option<f64>,
    /// Vertical speed when the electronics must decide, over the drawn flights, m/s.
    pub climb_mps: Option<Spread>,
    /// The condition; `None` where no condition does it, said in `words`.
    pub condition: Option<Condition>,
    /// When it releases, against what was wanted, over the drawn flights, s.
    pub error_s: Option<Spread>,
    /// Airspeed at the release, m/s.
    pub airspeed_mps: Option<Spread>,
    /// Share of the drawn flights over the limit at the release, with the threshold alone.
    pub over: Option<f64>,
    /// A safer condition, where there is a limit.
    pub safer: Option<Safer>,
    /// The table of lead times.
    pub leads: Vec<Lead>,
    /// What one should know, each a sentence.
    pub words: Vec<String>,
    /// A small table to copy, whole; empty where there is no condition.
    pub copy: String,
}

/// What the setup's own trigger of a cue wants; `None` for one that goes by a clock after another.
pub fn wanted(setup: &Setup, index: usize) -> Option<Want> {
    let cue = setup.plan.cues.get(index)?;
    match cue.trigger {
        Trigger::BeforeApogee(s) => Some(Want::Lead { s }),
        Trigger::AfterApogee(s) => Some(Want::Lead { s: 0.0 - s }),
        Trigger::ClimbRateBelow(mps) => Some(Want::Climb { mps }),
        Trigger::HeightBelow(m) => Some(Want::Height { m }),
        // A clock needs no speed: what it follows is planned.
        Trigger::AfterLiftoff(_) | Trigger::AfterBurnout(_) | Trigger::AfterCue(..) => None,
    }
}

/// The airspeed that a cue can stand, m/s.
fn limit_of(setup: &Setup, sample: &Sample, index: usize) -> Option<f64> {
    let limit = setup.plan.cues[index].limit.as_ref()?;
    let top = sample.nominal.apogee.map_or(0.0, |p| p.height_m);
    let rho = sample.flights.density_kg_m3(top);
    let area = setup
        .plan
        .bodies
        .iter()
        .flat_map(|b| &b.descents)
        .find(|d| d.cue == index)
        .map(|d| d.drag_area_m2.value);
    match limit.of {
        LimitOf::Airspeed => Some(limit.value),
        LimitOf::DynamicPressure => Some(libm::sqrt(2.0 * limit.value / rho)),
        LimitOf::OpeningLoad => area.map(|a| libm::sqrt(2.0 * limit.value / (rho * a))),
    }
}

/// Plans a cue. `lag` and `delay` stand in for what the setup tells.
pub fn plan(
    setup: &Setup,
    sample: &Sample,
    index: usize,
    want: Want,
    lag: Option<Told>,
    delay: Option<Told>,
) -> Option<Plan> {
    let cue = setup.plan.cues.get(index)?;
    let lag =
        lag.or_else(|| setup.preparation.lags_s.get(index).copied()).unwrap_or(Told { value: 0.0, sd: 0.05 });
    let delay = delay.unwrap_or(cue.delay_s);
    let ahead_s = lag.value + HOLD_S + delay.value;
    let mut plan = Plan {
        cue: cue.name.clone(),
        index,
        want,
        lag_s: [lag.value, lag.sd],
        delay_s: [delay.value, delay.sd],
        ahead_s,
        limit_mps: limit_of(setup, sample, index),
        limit_from: cue.limit.as_ref().map(|l| l.from.clone()).unwrap_or_default(),
        hand_mps: None,
        climb_mps: None,
        condition: None,
        error_s: None,
        airspeed_mps: None,
        over: None,
        safer: None,
        leads: Vec::new(),
        words: Vec::new(),
        copy: String::new(),
    };
    if sample.ones.len() < 20 {
        plan.words.push("The told vehicle does not fly, so there is nothing to plan.".to_owned());
        return Some(plan);
    }
    match want {
        Want::Height { m } => by_height(&mut plan, setup, sample, m),
        Want::Lead { .. } | Want::Climb { .. } => by_speed(&mut plan, sample, &lag, &delay),
    }
    if let Some(condition) = &plan.condition {
        plan.copy = copy(&plan, condition);
    }
    Some(plan)
}

/// The moment that is wanted in one flight, s.
fn moment(want: Want, one: &One) -> Option<f64> {
    match want {
        Want::Lead { s } => Some(one.apogee_s - s),
        Want::Climb { mps } => falls_through(&one.near, mps),
        Want::Height { .. } => None,
    }
}

/// Quantile of what is there.
fn of(values: impl Iterator<Item = f64>, p: f64) -> Option<f64> {
    let mut all: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    all.sort_by(f64::total_cmp);
    quantile(&all, p)
}

fn by_speed(plan: &mut Plan, sample: &Sample, lag: &Told, delay: &Told) {
    let g = sample.flights.gravity_mps2();
    let ahead_s = plan.ahead_s;
    // The moment at which the electronics must decide, on their clock as the vehicle really is.
    let decides = |one: &One| moment(plan.want, one).map(|t| t - ahead_s);
    let climbs =
        || sample.ones.iter().filter_map(|one| at(&one.near, decides(one)?).map(|p| f64::from(p.climb_mps)));
    let lead = |one: &One| moment(plan.want, one).map(|t| one.apogee_s - t);
    let usual_lead = of(sample.ones.iter().filter_map(lead), 0.5).unwrap_or(0.0);
    plan.hand_mps = Some(g * (usual_lead + ahead_s));
    let reached = climbs().count() as f64 / sample.ones.len() as f64;
    plan.climb_mps = Spread::of(climbs());
    plan.leads = leads(sample, g, usual_lead);
    if reached < 0.95 {
        plan.words.push(format!(
            "In {:.0} % of the drawn flights the motor still burns when this would have to be decided, or it is never that fast: no condition on vertical speed does this. Choose a later moment.",
            100.0 * (1.0 - reached)
        ));
        return;
    }
    let Some(threshold) = of(climbs(), 0.5) else { return };
    let burnout = |p: f64| of(sample.ones.iter().filter_map(|o| o.flown.burnouts.last()).map(|b| b.t_s), p);
    let command = |p: f64| of(sample.ones.iter().filter_map(decides), p);
    let (Some(out), Some(first), Some(last)) = (burnout(0.995), command(0.005), command(0.995)) else {
        return;
    };
    let gap = first - out;
    let earliest_s = if gap > AFTER_BURNOUT_S { out + 0.5 * gap } else { out.min(first) };
    if gap <= AFTER_BURNOUT_S {
        plan.words.push(
            "Burnout and this moment lie so close that a clock cannot keep them apart: only the detected burnout does."
                .to_owned(),
        );
    }
    let height = of(
        sample.ones.iter().filter_map(|one| at(&one.near, decides(one)?).map(|p| f64::from(p.height_m))),
        0.005,
    )
    .unwrap_or(0.0);
    let fast = of(sample.ones.iter().map(|one| one.flown.below_mach_s.unwrap_or(0.0)), 0.995).unwrap_or(0.0);
    let mach_lockout_s = (fast > 0.0).then_some(fast + MACH_ROOM_S);
    if mach_lockout_s.is_some_and(|t| t > first) {
        plan.words.push(
            "The Mach lockout ends after this moment in some flights: use a speed from an accelerometer, or a later moment."
                .to_owned(),
        );
    }
    let timer_s = last + lag.value + HOLD_S + TIMER_ROOM_S;
    let condition = Condition {
        earliest_s,
        least_height_m: (HEIGHT_SHARE * height).max(0.0),
        mach_lockout_s,
        climb_mps: Some(threshold),
        height_m: None,
        hold_s: HOLD_S,
        timer_s,
    };
    outcome(plan, sample, &condition, lag, delay);
    let late: Vec<f64> = sample
        .ones
        .iter()
        .filter_map(|one| at(&one.near, timer_s + delay.value).map(|p| f64::from(p.air_mps)))
        .collect();
    if let Some(air) = of(late.into_iter(), 0.95) {
        plan.words.push(format!(
            "If that speed is never seen, the timer acts {timer_s:.1} s after liftoff, above the least height, with up to {air:.0} m/s of air past it (95 %)."
        ));
    }
    plan.condition = Some(condition);
}

/// Releases every drawn flight by the condition, with lag and delay drawn, and sums up.
fn outcome(plan: &mut Plan, sample: &Sample, condition: &Condition, lag: &Told, delay: &Told) {
    let Some(threshold) = condition.climb_mps else { return };
    let mut errors = Vec::new();
    let mut airs = Vec::new();
    let mut safer = Vec::new();
    let safer_mps = plan.limit_mps.map(|limit| SAFER_SHARE * limit);
    for (number, one) in sample.ones.iter().enumerate() {
        let mut draws = loftwatch_flight::nominal::Draws::new(0xc0e, number as u64);
        let lag_s = (lag.value + lag.sd * draws.normal()).max(0.0);
        let delay_s = (delay.value + delay.sd * draws.normal()).max(0.0);
        let seen = falls_through(&one.near, threshold).map(|t| t + lag_s);
        let commanded = seen
            .map_or(condition.timer_s, |t| t.max(condition.earliest_s) + condition.hold_s)
            .min(condition.timer_s);
        let Some(then) = at(&one.near, commanded + delay_s) else { continue };
        airs.push(f64::from(then.air_mps));
        if let Some(wanted) = moment(plan.want, one) {
            errors.push(commanded + delay_s - wanted);
        }
        if let Some(most) = safer_mps {
            let waited = waits(&one.near, commanded, lag_s, most, condition.timer_s);
            let then = at(&one.near, waited + delay_s).map_or(f64::NAN, |p| f64::from(p.air_mps));
            safer.push((then, waited - commanded, waited >= condition.timer_s - 1e-9));
        }
    }
    plan.error_s = Spread::of(errors);
    plan.airspeed_mps = Spread::of(airs.iter().copied());
    let Some(limit) = plan.limit_mps else {
        plan.words
            .push("No limit is told for this cue: how often it would be too fast is not known.".to_owned());
        return;
    };
    let share = |count: usize, all: usize| count as f64 / all.max(1) as f64;
    let over = share(airs.iter().filter(|v| **v > limit).count(), airs.len());
    plan.over = Some(over);
    let safer_over = share(safer.iter().filter(|s| s.0 > limit).count(), safer.len());
    let by_timer = share(safer.iter().filter(|s| s.2 && s.1 > 0.0).count(), safer.len());
    let waits_s = of(safer.iter().map(|s| s.1).filter(|w| *w > 0.0), 0.5).unwrap_or(0.0);
    let words = if safer_over < over - 0.005 {
        format!(
            "Vertical speed and airspeed together, at most {:.0} m/s, are over the limit in {:.1} % of the drawn flights instead of {:.1} %; {:.1} % are left to the timer.",
            SAFER_SHARE * limit,
            100.0 * safer_over,
            100.0 * over,
            100.0 * by_timer
        )
    } else {
        "Airspeed in the condition changes little here: what leans too far never slows down enough before the timer, so a condition on lean does not help it either. Let the timer open the drogue first, or allow less lean."
            .to_owned()
    };
    plan.safer =
        Some(Safer { airspeed_mps: SAFER_SHARE * limit, over: safer_over, by_timer, waits_s, words });
}

/// The first time from `from_s` on at which the airspeed, seen `lag_s` late, is at most `most`; the timer at the latest.
fn waits(near: &[Near], from_s: f64, lag_s: f64, most: f64, timer_s: f64) -> f64 {
    let mut t = from_s;
    while t < timer_s {
        if at(near, t - lag_s).is_some_and(|p| f64::from(p.air_mps) <= most) {
            return t;
        }
        t += 0.02;
    }
    timer_s
}

/// The table: for each lead time the climb then, and the airspeed for some leans at burnout.
fn leads(sample: &Sample, g: f64, wanted_s: f64) -> Vec<Lead> {
    let mut all: Vec<(f64, bool)> = LEADS_S.iter().map(|s| (*s, false)).collect();
    match all.iter_mut().find(|(s, _)| libm::fabs(*s - wanted_s) < 0.05) {
        Some(row) => row.1 = true,
        None => all.push((wanted_s, true)),
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let leaning: Vec<Option<Flown>> = LEANS_DEG.iter().map(|deg| leaning(sample, deg.to_radians())).collect();
    all.into_iter()
        .map(|(lead_s, wanted)| {
            let then = |flown: &Flown| {
                let apogee = flown.shut_apogee()?;
                let p = if lead_s > 0.0 { flown.climbing_shut_at(apogee.t_s - lead_s)? } else { apogee };
                // After apogee: free fall beside what is left of the flat speed.
                let fall = if lead_s < 0.0 { g * -lead_s } else { 0.0 };
                Some((p.velocity_mps[2] - fall, libm::hypot(p.airspeed_mps(), fall)))
            };
            let by_lean_mps =
                core::array::from_fn(|i| leaning[i].as_ref().and_then(then).map(|(_, air)| air));
            let climb_mps = then(&sample.nominal).map(|(climb, _)| climb);
            Lead { lead_s, wanted, hand_mps: g * lead_s, climb_mps, by_lean_mps }
        })
        .collect()
}

/// The flight, as told and without wind, that leans so far at its last burnout: by secants on the lean off the rail.
fn leaning(sample: &Sample, lean_rad: f64) -> Option<Flown> {
    let fly = |off: f64| {
        let flown = sample.flights.leaning(off);
        let lean = flown.burnouts.last().map(Point::lean_rad);
        flown.apogee.and(lean).map(|lean| (flown, lean))
    };
    if lean_rad <= 0.0 {
        return fly(0.0).map(|(flown, _)| flown);
    }
    let (mut low, mut high) = (0.0, lean_rad);
    let mut best: Option<(Flown, f64)> = None;
    // Gravity only adds to a lean: the one asked for is between none and itself off the rail.
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        match fly(middle) {
            Some((flown, lean)) => {
                if lean > lean_rad {
                    high = middle;
                } else {
                    low = middle;
                }
                let off = libm::fabs(lean - lean_rad);
                if best.as_ref().is_none_or(|b| off < b.1) {
                    best = Some((flown, off));
                }
            }
            None => high = middle,
        }
    }
    best.filter(|(_, off)| *off < 0.02).map(|(flown, _)| flown)
}

fn by_height(plan: &mut Plan, setup: &Setup, sample: &Sample, height_m: f64) {
    let index = plan.index;
    let cues = || sample.ones.iter().filter_map(|one| one.flown.cues.get(index).copied().flatten());
    let speed = of(cues().map(|p| -p.velocity_mps[2]), 0.5);
    let (Some(speed), Some(top), Some(last)) = (
        speed,
        of(sample.ones.iter().filter_map(|o| o.flown.apogee).map(|p| p.height_m), 0.005),
        of(sample.ones.iter().map(|o| o.apogee_s), 0.995),
    ) else {
        plan.words.push("The drawn flights never come to this height.".to_owned());
        return;
    };
    let threshold = height_m + speed * plan.ahead_s;
    if threshold > 0.9 * top {
        plan.words.push(format!(
            "The lowest of a thousand apogees is {top:.0} m: {threshold:.0} m is too near it for a condition by height."
        ));
        return;
    }
    plan.airspeed_mps = Spread::of(cues().map(|p| p.airspeed_mps()));
    plan.over = plan.limit_mps.map(|limit| {
        let all: Vec<f64> = cues().map(|p| p.airspeed_mps()).collect();
        all.iter().filter(|v| **v > limit).count() as f64 / all.len().max(1) as f64
    });
    let landed = sample
        .ones
        .iter()
        .filter_map(|o| o.flown.landings.get(setup.plan.cues[index].body).copied().flatten().map(|t| t.t_s));
    let out = of(sample.ones.iter().filter_map(|o| o.flown.burnouts.last()).map(|b| b.t_s), 0.995);
    let timer_s = of(cues().map(|p| p.t_s), 0.995).unwrap_or(last) + TIMER_ROOM_S;
    plan.words.push(format!(
        "{:.1} m are added for {:.0} m/s of fall during {:.2} s of lag, moment on end and delay.",
        speed * plan.ahead_s,
        speed,
        plan.ahead_s
    ));
    if of(landed, 0.05).is_some_and(|first| timer_s > first) {
        plan.words.push(
            "Some drawn flights are down before the timer acts: it is no help to those that fall fast."
                .to_owned(),
        );
    }
    plan.condition = Some(Condition {
        earliest_s: out.unwrap_or(0.0) + AFTER_BURNOUT_S,
        least_height_m: 0.0,
        mach_lockout_s: None,
        climb_mps: None,
        height_m: Some(threshold),
        hold_s: HOLD_S,
        timer_s,
    });
}

/// The small table: names as flight code has them, one a line, nothing that could be read alone.
fn copy(plan: &Plan, c: &Condition) -> String {
    let wanted = match plan.want {
        Want::Lead { s: 0.0 } => "at apogee".to_owned(),
        Want::Lead { s } if s > 0.0 => format!("{s} s before apogee"),
        Want::Lead { s } => format!("{} s after apogee", -s),
        Want::Climb { mps } => format!("at {mps} m/s of climb"),
        Want::Height { m } => format!("at {m} m above the pad, coming down"),
    };
    let mut lines = vec![
        format!("# {}: {wanted}. All of these lines together, or none.", plan.cue),
        "after_liftoff_detected   yes".to_owned(),
        "after_burnout_detected   yes".to_owned(),
        format!("earliest_s               {:.1}   # after liftoff", c.earliest_s),
    ];
    match c.mach_lockout_s {
        Some(t) => {
            lines.push(format!("mach_lockout_s           {t:.1}   # after liftoff, for a barometer's speed"));
        }
        None => lines.push("mach_lockout_s           none  # Mach 0.7 is not reached".to_owned()),
    }
    if let Some(v) = c.climb_mps {
        lines.push(format!("least_height_m           {:.0}   # above the pad", c.least_height_m));
        lines.push(format!(
            "climb_at_most_mps        {v:.1}   # as the electronics see it, falling through it"
        ));
    }
    if let Some(h) = c.height_m {
        lines.push("after_apogee_detected    yes".to_owned());
        lines.push(format!("height_at_most_m         {h:.0}   # as the electronics see it, coming down"));
    }
    lines.push(format!("held_for_s               {:.2}  # on end, at least three samples", c.hold_s));
    let above = if c.climb_mps.is_some() { "above least_height_m" } else { "once apogee was detected" };
    lines.push(format!(
        "timer_s                  {:.1}   # after liftoff: acts whatever the speed, {above}",
        c.timer_s
    ));
    lines.push(format!(
        "# taken off: lag {:.2} s, held {:.2} s, mechanism {:.2} s",
        plan.lag_s[0], c.hold_s, plan.delay_s[0]
    ));
    lines.join("\n") + "\n"
}
