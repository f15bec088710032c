//! Margins: each figure at its bad 95 % end beside its limit, where that comes from, and what to change.
//!
//! Figures with a spread are quantiles of a thousand drawn flights, or the told figure with 1.645 of its spread. Nothing is
//! judged without a limit; what no limit was told for is shown and not counted.

use loftwatch_engine::output::Level;
use loftwatch_engine::preparation::{Above, BY_CREW, Bound};
use loftwatch_engine::setup::{Area, AreaKind};
use loftwatch_engine::{Setup, depth_m, is_in};
use loftwatch_flight::nominal::{Flown, Touchdown};
use loftwatch_flight::{DescentState, LimitOf, Told};
use serde::Serialize;
use ts_rs::TS;

use crate::classes::{class_of, distances};
use crate::sample::Sample;
use crate::spread::{normal_quantile, quantile};

/// z of the 95 % quantile.
const Z95: f64 = 1.644_853_627;
/// Thrust to weight below which it is to be acted on (common practice, no source: 3 : 1 is little).
const LITTLE_THRUST: f64 = 3.0;
/// Share of landings in a wrong place that is looked at, and acted on where there are people (own figures).
const SHARE_LOOK: f64 = 0.05;
const SHARE_PEOPLE: f64 = 0.01;
/// Words where a table is from memory.
const FROM_MEMORY: &str = "NFPA 1127, 2018, from memory; the local code decides";

/// One figure beside its limit.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct Margin {
    /// Stable key, e.g. `margin:rail_exit`.
    pub key: String,
    /// What it is about.
    pub what: String,
    /// The figure at its bad 95 % end, in `unit`; `None` where it is words alone.
    pub figure: Option<f64>,
    /// The limit, in `unit`.
    pub limit: Option<f64>,
    /// Whether the limit is the least (else the most) that is within.
    pub at_least: bool,
    /// SI unit of both: `m`, `m/s`, `m/s2`, `rad`, `J`, `Pa`, `N`, `kg`, `share`, `ratio`, `calibres`, or empty.
    pub unit: String,
    /// The figure in words, where it is no number.
    pub figure_words: String,
    /// The limit in words, where it is no number.
    pub limit_words: String,
    /// Where the limit comes from.
    pub limit_from: String,
    /// Whether it is judged at all.
    pub judged: bool,
    /// How urgent; `None` where it is within limits or not judged.
    #[ts(type = "Level | null")]
    pub level: Option<Level>,
    /// What is beside it that one should know.
    pub note: String,
    /// What to change where it is not within limits.
    pub change: String,
}

impl Margin {
    fn new(key: &str, what: impl Into<String>) -> Self {
        Self {
            key: format!("margin:{key}"),
            what: what.into(),
            figure: None,
            limit: None,
            at_least: false,
            unit: String::new(),
            figure_words: String::new(),
            limit_words: String::new(),
            limit_from: String::new(),
            judged: false,
            level: None,
            note: String::new(),
            change: String::new(),
        }
    }

    fn figure(mut self, figure: f64, unit: &str) -> Self {
        self.figure = figure.is_finite().then_some(figure);
        unit.clone_into(&mut self.unit);
        self
    }

    /// Holds the figure against the most that is within.
    fn at_most(mut self, limit: f64, from: &str, level: Level) -> Self {
        self.limit = Some(limit);
        from.clone_into(&mut self.limit_from);
        self.judged = self.figure.is_some();
        self.level = self.figure.is_some_and(|f| f > limit).then_some(level);
        self
    }

    /// Holds the figure against the least that is within.
    fn at_least(mut self, limit: f64, from: &str, level: Level) -> Self {
        self = self.at_most(limit, from, level);
        self.at_least = true;
        self.level = self.figure.is_some_and(|f| f < limit).then_some(level);
        self
    }

    fn note(mut self, words: impl Into<String>) -> Self {
        self.note = words.into();
        self
    }

    fn change(mut self, words: &str) -> Self {
        words.clone_into(&mut self.change);
        self
    }
}

/// All margins, in the order of a flight.
pub fn margins(setup: &Setup, sample: &Sample) -> Vec<Margin> {
    let mut all = Vec::new();
    masses(setup, &mut all);
    if sample.ones.len() * 20 < sample.len() * 19 || sample.nominal.apogee.is_none() {
        stays(sample, &mut all);
        impulse(setup, &mut all);
        return all;
    }
    off_the_rail(setup, sample, &mut all);
    stability(setup, &mut all);
    impulse(setup, &mut all);
    ceiling(setup, sample, &mut all);
    electronics(setup, sample, &mut all);
    cues(setup, sample, &mut all);
    descents(setup, sample, &mut all);
    places(setup, sample, &mut all);
    all
}

fn each<'a>(
    sample: &'a Sample,
    of: impl Fn(&'a Flown) -> Option<f64> + 'a,
) -> impl Iterator<Item = f64> + 'a {
    sample.ones.iter().filter_map(move |one| of(&one.flown)).filter(|v| v.is_finite())
}

fn end(values: impl Iterator<Item = f64>, p: f64) -> f64 {
    let mut all: Vec<f64> = values.collect();
    all.sort_by(f64::total_cmp);
    quantile(&all, p).unwrap_or(f64::NAN)
}

fn masses(setup: &Setup, all: &mut Vec<Margin>) {
    let parts = &setup.preparation.parts;
    if parts.is_empty() {
        return;
    }
    let told = setup.plan.vehicle.liftoff_mass_kg;
    let sum: f64 = parts.iter().map(|p| p.mass_kg).sum();
    let off = libm::fabs(sum - told.value);
    all.push(
        Margin::new("masses", "Parts as weighed, off the told mass")
            .figure(off, "kg")
            .at_most(told.sd, "one spread of the told mass", Level::Look)
            .note(format!("{} parts together {sum:.3} kg, told {:.3} kg", parts.len(), told.value))
            .change("Weigh again, or tell the sum as liftoff_mass_kg."),
    );
}

fn stays(sample: &Sample, all: &mut Vec<Margin>) {
    let mut margin = Margin::new("lifts", "Leaves the pad")
        .figure(sample.nominal.thrust_to_weight[1], "ratio")
        .at_least(1.0, "weight", Level::Act)
        .note(format!(
            "{} of {} drawn flights never come to an apogee; thrust over weight as told",
            sample.stayed,
            sample.len()
        ))
        .change(
            "With this mass and motor it does not fly. Is the mass in kilograms, the impulse in newton seconds, the burn time right?",
        );
    margin.judged = true;
    margin.level = Some(Level::Act);
    all.push(margin);
}

fn off_the_rail(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    let limits = &setup.preparation.limits;
    let vehicle = &setup.plan.vehicle;
    let first = end(each(sample, |f| Some(f.thrust_to_weight[0])), 0.05);
    let bound = &limits.thrust_to_weight_least;
    let level = if first < LITTLE_THRUST { Level::Act } else { Level::Look };
    all.push(
        Margin::new("thrust_first", "Thrust to weight at first motion")
            .figure(first, "ratio")
            .at_least(bound.value, &bound.from, level)
            .note("mean of the first quarter of a second after thrust exceeds weight")
            .change("A motor that starts harder, or less mass."),
    );
    all.push(
        Margin::new("thrust_mean", "Thrust to weight, averaged")
            .figure(end(each(sample, |f| Some(f.thrust_to_weight[1])), 0.05), "ratio")
            .note("over the whole burn; the one at first motion has the limit"),
    );
    let bound = &limits.rail_exit_least_mps;
    all.push(
        Margin::new("rail_exit", "Speed where the upper guide leaves the rail")
            .figure(end(each(sample, |f| f.rail_exit.map(|e| e.speed_mps)), 0.05), "m/s")
            .at_least(bound.value, &bound.from, Level::Look)
            .change("A longer rail, a motor that starts harder, or less mass."),
    );
    let bound = &limits.rail_tilt_most_rad;
    all.push(
        Margin::new("rail_tilt", "Rail tilt from vertical")
            .figure(vehicle.rail_tilt_rad, "rad")
            .at_most(bound.value, &bound.from, Level::Act)
            .note("as told")
            .change("Set the rail more upright."),
    );
    let wind = setup.plan.weather.wind_mps;
    let bound = &limits.wind_most_mps;
    let assumed = setup.defaults.iter().any(|(key, _)| key == "weather.wind_mps");
    let told = if assumed { "not told: nothing but its spread is in it" } else { &setup.wind_source };
    all.push(
        Margin::new("wind", "Wind at the pad")
            .figure(wind.value + Z95 * wind.sd, "m/s")
            .at_most(bound.value, &bound.from, Level::Look)
            .note(format!("source: {told}"))
            .change("Wait for less wind; measure it again."),
    );
    let bound = &limits.attack_most_rad;
    all.push(
        Margin::new("attack", "Angle of attack at rail exit")
            .figure(end(each(sample, |f| f.rail_exit.map(|e| e.attack_rad)), 0.95), "rad")
            .at_most(bound.value, &bound.from, Level::Look)
            .note("wind against the speed at rail exit")
            .change("More speed at rail exit, or less wind."),
    );
}

fn stability(setup: &Setup, all: &mut Vec<Margin>) {
    let bound = &setup.preparation.limits.stability_least;
    let Some([gravity, pressure]) = setup.preparation.centres_m else {
        let mut margin = Margin::new("stability", "Stability");
        "not told".clone_into(&mut margin.figure_words);
        "Nothing is said about stability: the centres of gravity and of pressure are not told."
            .clone_into(&mut margin.note);
        all.push(margin);
        return;
    };
    let calibres = (pressure - gravity) / setup.plan.vehicle.diameter_m;
    let level = if calibres < 0.0 { Level::Act } else { Level::Look };
    all.push(
        Margin::new("stability", "Centre of pressure behind that of gravity")
            .figure(calibres, "calibres")
            .at_least(bound.value, &bound.from, level)
            .note("at liftoff, slow air, both centres as told: their own doubt is not known here")
            .change("Mass forward, or larger fins."),
    );
}

fn impulse(setup: &Setup, all: &mut Vec<Margin>) {
    let motors = &setup.plan.motors;
    let total: f64 = motors.iter().map(|m| m.impulse_ns.value).sum();
    let variance: f64 = motors.iter().map(|m| m.impulse_ns.sd * m.impulse_ns.sd).sum();
    let bad = total + Z95 * libm::sqrt(variance);
    let mut margin = Margin::new("class", "Total impulse");
    let letter = |ns: f64| class_of(ns).map_or("beyond Z".to_owned(), |c| c.letter.to_string());
    margin.figure_words = if letter(total) == letter(bad) {
        format!("{}, {total:.0} N s", letter(total))
    } else {
        format!("{}, {total:.0} N s, at its bad end {} of {bad:.0} N s", letter(total), letter(bad))
    };
    certification(bad).clone_into(&mut margin.limit_words);
    "classes of NFPA 1125; certification by NFPA 1127 from memory, the local code decides"
        .clone_into(&mut margin.limit_from);
    all.push(margin);

    let complex = motors.len() > 1 || setup.preparation.cluster > 1;
    let people: Vec<&Area> =
        setup.areas.iter().filter(|a| matches!(a.kind, AreaKind::People | AreaKind::Cars)).collect();
    let Some(rows) = distances(bad) else {
        let mut margin = Margin::new("distance", "Minimum distance of people");
        "the table ends at 40960 N s".clone_into(&mut margin.figure_words);
        FROM_MEMORY.clone_into(&mut margin.limit_from);
        all.push(margin);
        return;
    };
    let least = if complex { rows.complex_m } else { rows.people_m };
    let column = if complex { "clusters and stages" } else { "one motor" };
    if people.is_empty() {
        let mut margin = Margin::new("distance", "Minimum distance of people").figure(least, "m");
        margin.note = format!(
            "by impulse, column for {column}; area kept free of what burns {:.0} m across; no people or cars are among the named areas",
            rows.cleared_m
        );
        FROM_MEMORY.clone_into(&mut margin.limit_from);
        all.push(margin);
    }
    for area in people {
        let away = if is_in(area, [0.0, 0.0]) { 0.0 } else { -depth_m(&[area], [0.0, 0.0], false) };
        all.push(
            Margin::new(&format!("distance:{}", area.name), format!("{} from the pad", area.name))
                .figure(away, "m")
                .at_least(least, FROM_MEMORY, Level::Act)
                .note(format!(
                    "by impulse, column for {column}; area kept free of what burns {:.0} m across",
                    rows.cleared_m
                ))
                .change("Move the line, or the pad."),
        );
    }
}

/// What is usually needed; in words that defer.
fn certification(impulse_ns: f64) -> &'static str {
    match impulse_ns {
        ns if ns <= 160.0 => "mostly no certification by impulse alone; ask the local code",
        ns if ns <= 640.0 => "mostly certification of level 1 (H, I); ask the local code",
        ns if ns <= 5_120.0 => "mostly certification of level 2 (J, K, L); ask the local code",
        ns if ns <= 40_960.0 => "mostly certification of level 3 (M, N, O); ask the local code",
        _ => "beyond the classes of high-power rocketry; ask the authorities",
    }
}

fn ceiling(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    let top = end(each(sample, |f| f.apogee.map(|p| p.height_m)), 0.95);
    let Some(ceiling) = &setup.preparation.ceiling else {
        let mut margin = Margin::new("ceiling", "Apogee above the pad").figure(top, "m");
        "No ceiling is told: tell it with ceiling_m, its window and who granted it."
            .clone_into(&mut margin.note);
        all.push(margin);
        return;
    };
    let (what, figure) = match ceiling.above {
        Above::Ground => ("Apogee above the pad (AGL)", top),
        Above::SeaLevel => ("Apogee above sea level (AMSL)", top + setup.plan.site.elevation_m),
    };
    let or = |text: &str, other: &str| if text.is_empty() { other.to_owned() } else { text.to_owned() };
    all.push(
        Margin::new("ceiling", what)
            .figure(figure, "m")
            .at_most(ceiling.height_m, &or(&ceiling.authority, BY_CREW), Level::Act)
            .note(format!("window: {}", or(&ceiling.window, "not told")))
            .change("A smaller motor, more mass, or another ceiling."),
    );
}

fn electronics(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    let top = end(each(sample, |f| f.apogee.map(|p| p.height_m)), 0.95) + setup.plan.site.elevation_m;
    let fast = end(each(sample, |f| Some(f.greatest_mps)), 0.95);
    let hard = end(each(sample, |f| Some(f.greatest_mps2)), 0.95);
    for (body, board) in setup.plan.bodies.iter().zip(&setup.preparation.boards) {
        let rows = [
            ("height", "greatest height above sea level", top, "m", board.gnss_height_m),
            ("speed", "greatest speed", fast, "m/s", board.gnss_speed_mps),
            ("acceleration", "greatest acceleration", hard, "m/s2", board.gnss_acceleration_mps2),
        ];
        for (kind, what, figure, unit, limit) in rows {
            let Some(limit) = limit else { continue };
            let dynamics = board.gnss_dynamics.as_deref().unwrap_or("not told");
            all.push(
                Margin::new(&format!("gnss_{kind}:{}", body.name), format!("{} receiver, {what}", body.name))
                    .figure(figure, unit)
                    .at_most(limit, "told by crew, from its maker", Level::Look)
                    .note(format!("dynamics setting, as told: {dynamics}"))
                    .change("Expect no fix there; do not let a cue depend on one."),
            );
        }
    }
}

fn cues(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    for (index, cue) in setup.plan.cues.iter().enumerate() {
        let Some(limit) = &cue.limit else { continue };
        let q = |f: &Flown| {
            let p = f.cues.get(index).copied().flatten()?;
            let v = p.airspeed_mps();
            Some(0.5 * sample.flights.density_kg_m3(p.height_m) * v * v)
        };
        let area = setup.plan.bodies.iter().flat_map(|b| &b.descents).find(|d| d.cue == index);
        let (figure, unit, what) = match limit.of {
            LimitOf::Airspeed => (
                end(each(sample, |f| f.cues.get(index).copied().flatten().map(|p| p.airspeed_mps())), 0.95),
                "m/s",
                "airspeed",
            ),
            LimitOf::DynamicPressure => (end(each(sample, q), 0.95), "Pa", "dynamic pressure"),
            LimitOf::OpeningLoad => {
                let load = |told: Told| end(with_area(each(sample, q).collect(), told).into_iter(), 0.95);
                (area.map_or(f64::NAN, |d| load(d.drag_area_m2)), "N", "opening load")
            }
        };
        all.push(
            Margin::new(&format!("cue:{}", cue.name), format!("{}, {what}", cue.name))
                .figure(figure, unit)
                .at_most(limit.value, &limit.from, Level::Look)
                .change("See the cue planner: another moment, or a condition with airspeed in it."),
        );
    }
}

/// Dynamic pressures times a drag area with its spread (its logarithm normal, as the flights draw it): each flight has
/// another quantile of it, in an order that has nothing to do with the pressures.
fn with_area(pressures: Vec<f64>, area: Told) -> Vec<f64> {
    let n = pressures.len();
    // A step that shares no divisor with the number visits each quantile once.
    let shares = |step: &usize| (2..=*step).all(|d| !(step.is_multiple_of(d) && n.is_multiple_of(d)));
    let first = (n * 619 / 1000).max(1);
    let step = (first..first + n).find(shares).unwrap_or(1);
    pressures
        .into_iter()
        .enumerate()
        .map(|(i, q)| {
            let p = (((i * step) % n) as f64 + 0.5) / n as f64;
            q * area.value * libm::exp(area.sd / area.value * normal_quantile(p))
        })
        .collect()
}

fn descents(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    let limits = &setup.preparation.limits;
    for (index, body) in setup.plan.bodies.iter().enumerate() {
        for (nth, descent) in body.descents.iter().enumerate() {
            if !matches!(descent.state, DescentState::Drogue | DescentState::Streamer) {
                continue;
            }
            let speeds = sample.ones.iter().flat_map(|one| {
                let of = one.flown.settled.iter().filter(|s| s.body == index && s.descent == nth);
                of.map(|s| s.speed_mps).collect::<Vec<_>>()
            });
            let word = if descent.state == DescentState::Drogue { "drogue" } else { "streamer" };
            let bound = &limits.drogue_most_mps;
            all.push(
                Margin::new(&format!("descent:{}:{word}", body.name), format!("{} under {word}", body.name))
                    .figure(end(speeds, 0.95), "m/s")
                    .at_most(bound.value, &bound.from, Level::Look)
                    .note("rate of descent at its end")
                    .change("A larger one, or a main that opens at this speed."),
            );
        }
        let landed = |of: fn(&Touchdown) -> f64| {
            each(sample, move |f| f.landings.get(index).copied().flatten().map(|t| of(&t)))
        };
        let rows: [(&str, &str, &str, f64, &Bound); 2] = [
            (
                "speed",
                "speed at landing",
                "m/s",
                end(landed(|t| t.speed_mps), 0.95),
                &limits.landing_most_mps,
            ),
            (
                "energy",
                "energy at landing",
                "J",
                end(landed(|t| 0.5 * t.mass_kg * t.speed_mps * t.speed_mps), 0.95),
                &limits.landing_most_j,
            ),
        ];
        for (kind, what, unit, figure, bound) in rows {
            all.push(
                Margin::new(&format!("landing_{kind}:{}", body.name), format!("{}, {what}", body.name))
                    .figure(figure, unit)
                    .at_most(bound.value, &bound.from, Level::Look)
                    .note(if body.descents.is_empty() { "nothing is told that brakes it" } else { "" })
                    .change("A larger main, or less mass under it."),
            );
        }
    }
}

/// Where a case comes down in each drawn flight: any of these points in the wrong place counts.
struct Comes {
    key: &'static str,
    what: String,
    flights: Vec<Vec<[f64; 2]>>,
}

fn places(setup: &Setup, sample: &Sample, all: &mut Vec<Margin>) {
    let bodies = &setup.plan.bodies;
    let name = &bodies[0].name;
    let has = |state| bodies[0].descents.iter().any(|d| d.state == state);
    let of = |pick: fn(&Flown) -> Option<Touchdown>| {
        sample
            .ones
            .iter()
            .filter_map(|one| pick(&one.flown))
            .map(|t| vec![t.east_north_m])
            .collect::<Vec<_>>()
    };
    let planned = sample
        .ones
        .iter()
        .map(|one| one.flown.landings.iter().flatten().map(|t| t.east_north_m).collect())
        .collect();
    let what = if bodies.len() > 1 { "As planned, any piece".to_owned() } else { "As planned".to_owned() };
    let mut cases = vec![Comes { key: "planned", what, flights: planned }];
    if has(DescentState::Main) && has(DescentState::Drogue) {
        let (early, late) = (of(|f| f.main_at_apogee), of(|f| f.drogue_only));
        cases.push(Comes { key: "main_at_apogee", what: format!("{name}, main at apogee"), flights: early });
        cases.push(Comes { key: "drogue_only", what: format!("{name}, drogue only"), flights: late });
    }
    let bare = of(|f| f.bare);
    cases.push(Comes { key: "bare", what: format!("{name}, if nothing deploys"), flights: bare });
    for Comes { key, what, flights } in cases {
        if flights.iter().all(Vec::is_empty) {
            continue;
        }
        let farthest =
            |points: &Vec<[f64; 2]>| points.iter().map(|p| libm::hypot(p[0], p[1])).fold(0.0, f64::max);
        all.push(
            Margin::new(&format!("drift:{key}"), format!("{what}, from the pad"))
                .figure(end(flights.iter().map(farthest), 0.95), "m")
                .note("95 % of the drawn flights come down within it, in the told wind"),
        );
        let share = |inside: &dyn Fn([f64; 2]) -> bool| {
            flights.iter().filter(|points| points.iter().any(|p| inside(*p))).count() as f64
                / flights.len() as f64
        };
        for area in &setup.areas {
            let (most, level) = match area.kind {
                AreaKind::People => (SHARE_PEOPLE, Level::Act),
                AreaKind::Cars | AreaKind::Road if area.closed => (SHARE_LOOK, Level::Look),
                _ => continue,
            };
            let beyond = if area.closed { "in" } else { "beyond" };
            all.push(
                Margin::new(&format!("place:{key}:{}", area.name), format!("{what}, {beyond} {}", area.name))
                    .figure(share(&|p| is_in(area, p)), "share")
                    .at_most(most, "own figure, share of drawn flights", level)
                    .change("Tilt the rail away, wait for another wind, or move people."),
            );
        }
        let allowed: Vec<&Area> =
            setup.areas.iter().filter(|a| a.kind == AreaKind::Landing && a.closed).collect();
        if !allowed.is_empty() {
            all.push(
                Margin::new(&format!("place:{key}:outside"), format!("{what}, outside the landing area"))
                    .figure(share(&|p| !allowed.iter().any(|a| is_in(a, p))), "share")
                    .at_most(SHARE_LOOK, "own figure, share of drawn flights", Level::Look)
                    .change("Tilt the rail against the wind, open lower, or fly less high."),
            );
        }
    }
}
