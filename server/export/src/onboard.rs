//! Logs from the vehicle's own memory: a CSV, read by a small declaration of its columns, laid over the flight by
//! cross-correlation, and turned into the measurements that the smoother takes beside those of the radio.
//!
//! The clock of a log begins anywhere: the vertical speed that the log shows is held against that of the flight's path at every
//! shift, on a grid of 50 ms, and the shift with the greatest normalised cross-correlation is taken, refined by a parabola. One
//! shift serves the whole log; a clock that runs wrong by more than 1e-4 is off by a sample within minutes.

use std::fmt::Write as _;

use loftwatch_flight::atmosphere::Air;
use loftwatch_flight::{Sample, gravity};
use loftwatch_radio::{Conversion, Meaning, Unit};
use serde::{Deserialize, Serialize};

use crate::ExportError;
use crate::audit::Track;
use crate::flight::Flight;

/// Step of the grid, s.
const STEP_S: f64 = 0.05;
/// A vertical speed is the slope over so many steps: the noise of a barometer is less than a flight.
const SLOPE_STEPS: usize = 8;
/// A charge's pressure spike lasts some tenths of a second: heights are medians over so many steps to either side.
const MEDIAN_STEPS: usize = 10;
/// A log that fits less than this is of another flight, or its columns are mixed up. Common practice, no source.
const LEAST_CORRELATION: f64 = 0.9;
/// Samples of the smoother a second: it gains little from more, and a log may hold a thousand.
const SAMPLES_HZ: f64 = 25.0;
/// Rows on the pad that are used, s before liftoff.
const BEFORE_S: f64 = 30.0;
/// Station pressure may be so far off before it is called a mix-up of units, Pa: 30 hPa, as for the setup.
const PRESSURE_OFF_PA: f64 = 3_000.0;
/// Rows of the preview.
const SHOWN: usize = 5;

/// What the columns of a log are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Declaration {
    /// Whose memory it is; the vehicle's if not told.
    pub body: Option<String>,
    /// The column with the log's own clock.
    pub time: Time,
    /// The columns that are used.
    pub column: Vec<Declared>,
    /// Between columns; a comma if not told.
    pub separator: Option<char>,
}

/// The column with the clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Time {
    /// As in the header row.
    pub column: String,
    /// Its unit, such as `ms`.
    pub unit: String,
}

/// One column.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Declared {
    /// As in the header row.
    pub column: String,
    /// `pressure`, `axial specific force`, `own height`, `own climb rate` or `tilt`, as in a layout.
    pub means: String,
    /// Its unit, as in a layout.
    pub unit: String,
    /// What stands for no value.
    pub missing: Option<f64>,
}

/// A log, read.
#[derive(Clone, Debug)]
pub struct Log {
    /// Body index.
    pub body: usize,
    /// Its own clock, s.
    t_s: Vec<f64>,
    /// Values in SI; NaN is none.
    columns: Vec<(Meaning, Vec<f64>)>,
    /// Rows that could not be used.
    pub unusable: usize,
    /// The first rows as understood, for a person.
    pub preview: Vec<String>,
}

/// How a log lies over a flight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Time on the axis inside outputs = the log's clock + this, s.
    pub shift_s: f64,
    /// Normalised cross-correlation of the vertical speeds, 1 at best.
    pub correlation: f64,
    /// The greatest one at any shift more than two seconds away.
    pub next_best: f64,
    /// Root mean square of log height minus path height after it, without the mean, m.
    pub height_rms_m: f64,
}

fn wrong(why: impl Into<String>) -> ExportError {
    ExportError::Log(why.into())
}

const MEANT: [Meaning; 5] =
    [Meaning::Pressure, Meaning::AxialSpecificForce, Meaning::OwnHeight, Meaning::OwnClimb, Meaning::Tilt];

fn meaning(declared: &Declared) -> Result<(Meaning, Conversion), ExportError> {
    let found = MEANT.into_iter().find(|meaning| meaning.name() == declared.means);
    let Some(meaning) = found else {
        let names: Vec<&str> = MEANT.iter().map(|meaning| meaning.name()).collect();
        return Err(wrong(format!(
            "`{}` means `{}`, which is of no use here: expected one of {}",
            declared.column,
            declared.means,
            names.join(", ")
        )));
    };
    let conversion = Unit::conversion(meaning, &declared.unit)
        .map_err(|error| wrong(format!("the unit of `{}`: {error}", declared.column)))?;
    Ok((meaning, conversion))
}

impl Log {
    /// Reads a log by its declaration. Rows that cannot be used are counted; columns that are not there are told all at once.
    pub fn read(text: &str, declared: &Declaration, flight: &Flight) -> Result<Self, ExportError> {
        let body = match &declared.body {
            None => 0,
            Some(name) => {
                let bodies = &flight.setup.plan.bodies;
                bodies.iter().position(|body| body.name.eq_ignore_ascii_case(name)).ok_or_else(|| {
                    let names: Vec<&str> = bodies.iter().map(|body| body.name.as_str()).collect();
                    wrong(format!("there is no body `{name}`: expected one of {}", names.join(", ")))
                })?
            }
        };
        let separator = declared.separator.unwrap_or(',');
        let separator =
            u8::try_from(separator).map_err(|_| wrong(format!("`{separator}` cannot separate columns")))?;
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .trim(csv::Trim::All)
            .flexible(true)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let header =
            reader.headers().map_err(|error| wrong(format!("the log cannot be read: {error}")))?.clone();
        let place = |name: &str| header.iter().position(|column| column == name);
        let wanted =
            std::iter::once(&declared.time.column).chain(declared.column.iter().map(|one| &one.column));
        let missing: Vec<&str> = wanted.filter(|name| place(name).is_none()).map(String::as_str).collect();
        if !missing.is_empty() {
            return Err(wrong(format!(
                "the log has no column `{}`: it has {}",
                missing.join("`, `"),
                header.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
            )));
        }
        let clock = Unit::conversion(Meaning::OnboardTime, &declared.time.unit)
            .map_err(|error| wrong(format!("the unit of `{}`: {error}", declared.time.column)))?;
        let time_at = place(&declared.time.column).unwrap_or(0);
        let mut columns = Vec::new();
        for one in &declared.column {
            let (meaning, conversion) = meaning(one)?;
            columns.push((meaning, conversion, place(&one.column).unwrap_or(0), one.missing));
        }
        let mut log = Self {
            body,
            t_s: Vec::new(),
            columns: columns.iter().map(|column| (column.0, Vec::new())).collect(),
            unusable: 0,
            preview: Vec::new(),
        };
        for record in reader.records() {
            let number = |record: &csv::StringRecord, at: usize| {
                record.get(at).and_then(|cell| cell.parse::<f64>().ok())
            };
            let row = record.ok().and_then(|record| {
                let t_s = number(&record, time_at)? * clock.scale + clock.offset;
                // A clock that goes back has begun again: what follows is another log.
                (t_s.is_finite() && log.t_s.last().is_none_or(|last| t_s > *last)).then_some((t_s, record))
            });
            let Some((t_s, record)) = row else {
                log.unusable += 1;
                continue;
            };
            log.t_s.push(t_s);
            let mut shown = format!("{t_s:.3} s");
            for ((_, conversion, at, none), (meaning, values)) in columns.iter().zip(&mut log.columns) {
                let raw = number(&record, *at).filter(|raw| raw.is_finite() && Some(*raw) != *none);
                let value = raw.map_or(f64::NAN, |raw| raw * conversion.scale + conversion.offset);
                values.push(value);
                let unit = crate::table::unit_of(*meaning).symbol(crate::Units::Si);
                let _ = write!(shown, "  {} {value:.2} {unit}", meaning.name());
            }
            if log.preview.len() < SHOWN {
                log.preview.push(shown);
            }
        }
        if log.t_s.len() < 40 {
            return Err(wrong(format!(
                "only {} rows of the log can be used ({} cannot): each needs a number in `{}` that is greater than the one before",
                log.t_s.len(),
                log.unusable,
                declared.time.column
            )));
        }
        let pressure = columns.iter().find(|column| column.0 == Meaning::Pressure);
        log.check_units(flight, pressure.map_or(1.0, |column| column.1.scale))?;
        Ok(log)
    }

    fn of(&self, wanted: Meaning) -> Option<&[f64]> {
        self.columns.iter().find(|(meaning, _)| *meaning == wanted).map(|(_, values)| &values[..])
    }

    /// The greatest pressure of a log is that of the pad. `scale`: pascals in a unit as declared.
    fn check_units(&self, flight: &Flight, scale: f64) -> Result<(), ExportError> {
        let Some(pressure) = self.of(Meaning::Pressure) else { return Ok(()) };
        let mut known: Vec<f64> = pressure.iter().copied().filter(|value| value.is_finite()).collect();
        known.sort_by(f64::total_cmp);
        let Some(most) = known.get(known.len().saturating_sub(1) * 95 / 100).copied() else {
            return Err(wrong("the column of pressures holds no value"));
        };
        let told = flight.setup.plan.weather.pressure_pa;
        if (most - told).abs() <= PRESSURE_OFF_PA {
            return Ok(());
        }
        let factors =
            [("hPa", 100.0), ("kPa", 1_000.0), ("Pa", 1.0), ("psi", 6_894.757), ("inHg", 3_386.389)];
        let likely =
            factors.iter().find(|(_, factor)| (most / scale * factor - told).abs() <= PRESSURE_OFF_PA);
        let hint = likely.map_or_else(
            || "the log may be of another place, or its column means something else".to_owned(),
            |(unit, _)| format!("the unit looks like {unit}"),
        );
        Err(wrong(format!(
            "the log's pressure on the ground is {most:.0} Pa as declared, the setup's {told:.0} Pa: {hint}"
        )))
    }

    /// Height over time, m, from what the log has: pressure, else its own height, else its own climb rate.
    fn heights(&self, flight: &Flight) -> Option<Vec<f64>> {
        let plan = &flight.setup.plan;
        if let Some(pressure) = self.of(Meaning::Pressure) {
            let air = Air::over(
                plan.site.elevation_m,
                plan.weather.pressure_pa,
                plan.weather.temperature_k,
                gravity::at_height(plan.site.latitude_rad, plan.site.elevation_m),
            );
            return Some(
                pressure.iter().map(|pa| if *pa > 0.0 { air.height_m(*pa) } else { f64::NAN }).collect(),
            );
        }
        if let Some(height) = self.of(Meaning::OwnHeight) {
            return Some(height.to_vec());
        }
        let climb = self.of(Meaning::OwnClimb)?;
        let mut height = 0.0;
        let steps = self.t_s.windows(2).map(|pair| pair[1] - pair[0]).chain(std::iter::once(0.0));
        Some(
            climb
                .iter()
                .zip(steps)
                .map(|(mps, dt_s)| {
                    let here = height;
                    height += if mps.is_finite() { mps * dt_s } else { 0.0 };
                    here
                })
                .collect(),
        )
    }

    /// Finds where the log lies over the flight's path.
    pub fn align(&self, flight: &Flight, track: &Track) -> Result<Alignment, ExportError> {
        let Some(heights) = self.heights(flight) else {
            return Err(wrong(
                "the log cannot be laid over the flight: it needs pressure, own height or own climb rate",
            ));
        };
        let rows = if track.rows(self.body).len() > 40 { track.rows(self.body) } else { track.rows(0) };
        let path: Vec<(f64, f64)> = rows.iter().map(|row| (row.t_s, row.figures[1])).collect();
        let own: Vec<(f64, f64)> =
            self.t_s.iter().copied().zip(heights).filter(|(_, h)| h.is_finite()).collect();
        let (Some(log), Some(path)) = (Grid::of(&own), Grid::of(&path)) else {
            return Err(wrong("the flight or the log is too short to lay one over the other"));
        };
        let (mut a, b) = (log.slopes(), path.slopes());
        // What is faster than the path ever was is no flight.
        let (least_mps, most_mps) =
            b.iter().fold((0.0_f64, 0.0_f64), |(least, most), mps| (least.min(*mps), most.max(*mps)));
        for mps in &mut a {
            *mps = mps.clamp(1.2 * least_mps, 1.2 * most_mps);
        }
        // Three fifths of the path have to be covered: a shorter log is of a part that cannot be told from others.
        let least = b.len() * 3 / 5;
        let mut best: Option<(isize, f64)> = None;
        let mut all = Vec::new();
        for shift in -(b.len() as isize)..=(a.len() as isize) {
            if let Some(r) = correlation(&a, &b, shift, least) {
                all.push((shift, r));
                if best.is_none_or(|(_, most)| r > most) {
                    best = Some((shift, r));
                }
            }
        }
        let Some((shift, r)) = best else {
            return Err(wrong("the log covers less than three fifths of the flight"));
        };
        let apart = (2.0 / STEP_S) as isize;
        let next_best =
            all.iter().filter(|(s, _)| (s - shift).abs() > apart).map(|(_, r)| *r).fold(0.0, f64::max);
        if r < LEAST_CORRELATION {
            return Err(wrong(format!(
                "the log does not look like this flight: its vertical speed correlates by {r:.2} at best, and {LEAST_CORRELATION} is the least. Is \
                 it another flight, or are columns mixed up?"
            )));
        }
        let side = |by: isize| correlation(&a, &b, shift + by, least);
        let refined = match (side(-1), side(1)) {
            (Some(before), Some(after)) if before + after < 2.0 * r => {
                0.5 * (before - after) / (before - 2.0 * r + after)
            }
            _ => 0.0,
        };
        // Index `shift` of the log is index 0 of the path.
        let shift_s = path.first_s - (log.first_s + (shift as f64 + refined) * STEP_S);
        let off: Vec<f64> = own
            .iter()
            .filter_map(|(t_s, h)| path.at(t_s + shift_s).map(|height| h - height))
            .filter(|off| off.is_finite())
            .collect();
        let mean = off.iter().sum::<f64>() / off.len().max(1) as f64;
        let square = off.iter().map(|off| (off - mean) * (off - mean)).sum::<f64>() / off.len().max(1) as f64;
        Ok(Alignment { shift_s, correlation: r, next_best, height_rms_m: libm::sqrt(square) })
    }

    /// The log as measurements on the axis inside outputs, averaged to a rate that the smoother gains from.
    pub fn samples(&self, flight: &Flight, shift_s: f64) -> Vec<Sample> {
        let from_s = flight.liftoff_s().map_or(f64::NEG_INFINITY, |liftoff_s| liftoff_s - BEFORE_S);
        let to_s =
            flight.ended_ns.map_or(f64::INFINITY, |ended_ns| (ended_ns - flight.epoch_ns) as f64 / 1e9);
        let mut samples = Vec::new();
        let mut first = 0;
        while first < self.t_s.len() {
            let bin = |index: usize| libm::floor(self.t_s[index] * SAMPLES_HZ);
            let mut end = first + 1;
            while end < self.t_s.len() && bin(end) == bin(first) {
                end += 1;
            }
            let mean = |values: &[f64]| {
                let known: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
                (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
            };
            let of = |wanted: Meaning| self.of(wanted).and_then(|values| mean(&values[first..end]));
            let t_s = mean(&self.t_s[first..end]).unwrap_or(self.t_s[first]) + shift_s;
            if (from_s..=to_s).contains(&t_s) {
                samples.push(Sample {
                    body: self.body,
                    t_s,
                    // A barometer lags, and so does the path that it was held against: on the demo flight the shift was 50 ms off.
                    t_sd_s: 0.03,
                    t_receive_s: t_s,
                    boot: 0,
                    pressure_pa: of(Meaning::Pressure),
                    axial_mps2: of(Meaning::AxialSpecificForce),
                    lateral_mps2: None,
                    fix: None,
                    velocity: None,
                    tilt_rad: of(Meaning::Tilt),
                    own_height_m: of(Meaning::OwnHeight),
                    own_climb_mps: of(Meaning::OwnClimb),
                });
            }
            first = end;
        }
        samples
    }

    /// What it holds, in words.
    pub fn about(&self) -> String {
        let names: Vec<&str> = self.columns.iter().map(|(meaning, _)| meaning.name()).collect();
        let length_s = self.t_s.last().zip(self.t_s.first()).map_or(0.0, |(last, first)| last - first);
        format!("{} rows over {length_s:.1} s: {}", self.t_s.len(), names.join(", "))
    }
}

/// Values on an even grid.
struct Grid {
    first_s: f64,
    values: Vec<f64>,
}

impl Grid {
    /// By straight lines between neighbours; a gap of more than two seconds is NaN.
    fn of(points: &[(f64, f64)]) -> Option<Self> {
        let (first_s, last_s) = (points.first()?.0, points.last()?.0);
        let count = ((last_s - first_s) / STEP_S) as usize + 1;
        if count < 4 * SLOPE_STEPS {
            return None;
        }
        let mut at = 0;
        let values = (0..count)
            .map(|index| {
                let t_s = first_s + index as f64 * STEP_S;
                while at + 2 < points.len() && points[at + 1].0 <= t_s {
                    at += 1;
                }
                let (a, b) = (points[at], points[(at + 1).min(points.len() - 1)]);
                let gap_s = b.0 - a.0;
                if gap_s > 2.0 {
                    return f64::NAN;
                }
                let share = if gap_s > 0.0 { ((t_s - a.0) / gap_s).clamp(0.0, 1.0) } else { 0.0 };
                a.1 + share * (b.1 - a.1)
            })
            .collect();
        Some(Self { first_s, values })
    }

    /// Medians of neighbours; NaN where one of them is.
    fn smooth(&self) -> Vec<f64> {
        let last = self.values.len() - 1;
        let mut near = Vec::new();
        (0..=last)
            .map(|index| {
                let half = MEDIAN_STEPS.min(index).min(last - index);
                near.clear();
                near.extend_from_slice(&self.values[index - half..=index + half]);
                if near.iter().any(|value| value.is_nan()) {
                    return f64::NAN;
                }
                near.sort_by(f64::total_cmp);
                near[half]
            })
            .collect()
    }

    fn at(&self, t_s: f64) -> Option<f64> {
        let index = libm::round((t_s - self.first_s) / STEP_S);
        if index < 0.0 { None } else { self.values.get(index as usize).copied() }
    }

    /// Vertical speed; 0 where it is not known, which adds nothing to a correlation.
    fn slopes(&self) -> Vec<f64> {
        let half = SLOPE_STEPS / 2;
        let heights = self.smooth();
        (0..heights.len())
            .map(|index| {
                let (from, to) = (index.saturating_sub(half), (index + half).min(heights.len() - 1));
                let slope = (heights[to] - heights[from]) / ((to - from) as f64 * STEP_S);
                if slope.is_finite() { slope } else { 0.0 }
            })
            .collect()
    }
}

/// Normalised cross-correlation with `a[shift]` on `b[0]`; `None` where less than `least` steps lie on each other.
fn correlation(a: &[f64], b: &[f64], shift: isize, least: usize) -> Option<f64> {
    let from = shift.max(0) as usize;
    let skip = (-shift).max(0) as usize;
    if skip >= b.len() || from >= a.len() {
        return None;
    }
    let (a, b) = (&a[from..], &b[skip..]);
    let n = a.len().min(b.len());
    if n < least {
        return None;
    }
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a[..n].iter().zip(&b[..n]) {
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    (aa > 0.0 && bb > 0.0).then(|| ab / libm::sqrt(aa * bb))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::{FIGURES, Row};

    fn flight() -> Flight {
        let plan: loftwatch_flight::Plan =
            serde_json::from_str(include_str!("../../../tests/flights/leaning/1/plan.json")).unwrap();
        crate::made::flight(1, "Leaning", plan, 100_000_000_000, 190_000_000_000)
    }

    /// Height of a made-up flight, s after liftoff.
    fn height_m(t_s: f64) -> f64 {
        match t_s {
            t if t < 0.0 => 0.0,
            t if t < 2.0 => 20.0 * t * t,
            t if t < 10.15 => 80.0 + 80.0 * (t - 2.0) - 4.9 * (t - 2.0) * (t - 2.0),
            t => (406.4 - 12.0 * (t - 10.15)).max(0.0),
        }
    }

    fn track() -> Track {
        let mut track = Track::new(true);
        for step in 0..900 {
            let t_s = 99.5 + 0.05 * f64::from(step);
            let mut figures = [f64::NAN; FIGURES];
            figures[1] = height_m(t_s - 100.0);
            track.take(&Row { body: 0, t_s, phase: "coasting", descent: None, figures });
        }
        track
    }

    fn declaration(unit: &str) -> Declaration {
        Declaration {
            body: None,
            time: Time { column: "t".into(), unit: "ms".into() },
            column: vec![Declared {
                column: "p".into(),
                means: "pressure".into(),
                unit: unit.into(),
                missing: Some(-1.0),
            }],
            separator: None,
        }
    }

    /// A log at 100 Hz whose clock reads 1234.567 s at liftoff, with a barometer's noise.
    fn log(flight: &Flight) -> String {
        let plan = &flight.setup.plan;
        let air = Air::over(
            plan.site.elevation_m,
            plan.weather.pressure_pa,
            plan.weather.temperature_k,
            gravity::at_height(plan.site.latitude_rad, plan.site.elevation_m),
        );
        let mut text = String::from("t,p,note\n");
        for step in 0..6_000_i32 {
            let t_s = f64::from(step) * 0.01 - 10.0;
            let noise = f64::from((step * 7_919) % 101 - 50) / 10.0;
            let pa = air.pressure_pa(height_m(t_s)) + noise;
            // A charge's spike, a third of a second long.
            let pa = if (2_100..2_133).contains(&step) { pa + 4_000.0 } else { pa };
            let pa = if step % 500 == 7 { -1.0 } else { pa };
            let _ = writeln!(text, "{:.1},{pa:.1},x", (1_234.567 + t_s) * 1_000.0);
        }
        text.push_str("power lost,,\n");
        text
    }

    #[test]
    fn a_log_is_laid_over_its_flight_to_a_hundredth_of_a_second() {
        let flight = flight();
        let log = Log::read(&log(&flight), &declaration("Pa"), &flight).unwrap();
        assert_eq!((log.unusable, log.preview.len()), (1, 5));
        let aligned = log.align(&flight, &track()).unwrap();
        assert!((aligned.shift_s - (100.0 - 1_234.567)).abs() < 0.012, "{aligned:?}");
        assert!(aligned.correlation > 0.98 && aligned.next_best < aligned.correlation, "{aligned:?}");
        // The spike is in the log's height, a few hundred metres for a third of a second.
        assert!(aligned.height_rms_m < 40.0, "{aligned:?}");
        let samples = log.samples(&flight, aligned.shift_s);
        assert!(samples.len() > 1_400 && samples.windows(2).all(|pair| pair[1].t_s > pair[0].t_s));
        assert!(
            samples.iter().all(|sample| sample.pressure_pa.is_some_and(|pa| pa > 10_000.0)),
            "-1 is no value"
        );
    }

    #[test]
    fn what_does_not_fit_is_told_with_what_was_found() {
        let flight = flight();
        let text = log(&flight);
        let told =
            |text: &str, declared: &Declaration| Log::read(text, declared, &flight).unwrap_err().to_string();
        for declared in ["hPa", "kPa", "psi"] {
            let mixed = told(&text, &declaration(declared));
            assert!(mixed.contains("looks like Pa"), "{declared}: {mixed}");
        }
        let mut other = declaration("Pa");
        other.column[0].column = "pressure".into();
        let missing = told(&text, &other);
        assert!(
            missing.contains("no column `pressure`") && missing.contains("`t`, `p`, `note`"),
            "{missing}"
        );
        let metres = told(&text, &declaration("m"));
        assert!(metres.contains("does not measure pressure"), "{metres}");
        let mut nobody = declaration("Pa");
        nobody.body = Some("nobody".into());
        assert!(told(&text, &nobody).contains("no body `nobody`"));
        assert!(told("t,p\n1,2\n", &declaration("Pa")).contains("only 1 rows"));
        let mut unknown = declaration("Pa");
        unknown.column[0].means = "mood".into();
        assert!(told(&text, &unknown).contains("`mood`"));
    }

    #[test]
    fn a_log_of_another_flight_is_not_taken() {
        let flight = flight();
        let mut text = String::from("t,h\n");
        for step in 0..6_000_i32 {
            // Carried about and never flown.
            let _ = writeln!(text, "{},{}", step * 10, libm::sin(f64::from(step) / 40.0) * 2.0);
        }
        let declared = Declaration {
            column: vec![Declared {
                column: "h".into(),
                means: "own height".into(),
                unit: "m".into(),
                missing: None,
            }],
            ..declaration("Pa")
        };
        let log = Log::read(&text, &declared, &flight).unwrap();
        let told = log.align(&flight, &track()).unwrap_err().to_string();
        assert!(told.contains("does not look like this flight"), "{told}");
    }
}
