//! Captions in step with footage: WebVTT (W3C, 2019) and SubRip.
//!
//! Footage time is (flight time - flight time at the footage's zero) times the rate of the camera's clock. A caption lasts half
//! a second; what happened stands in a second line for three seconds. Hostile text: WebVTT escapes markup; SubRip has no
//! escapes and players read tags and braces in it, so these characters are written as look-alikes.

use std::fmt::Write as _;
use std::io::Write;

use crate::ExportError;
use crate::path::{Happened, Path, Point};
use crate::units::{Unit, Units};
use crate::wanted::How;

/// A caption lasts so long, s of flight.
const STEP_S: f64 = 0.5;
/// What happened stands so long, s.
const EVENT_S: f64 = 3.0;
/// Captions begin before liftoff and end after the last state, s.
const BEFORE_S: f64 = 10.0;
/// States further apart are not joined.
const GAP_S: f64 = crate::rate::GAP_S;

/// The form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// `.vtt`
    WebVtt,
    /// `.srt`
    Srt,
}

/// Writes the captions of a flight's vehicle.
pub fn write(to: &mut dyn Write, path: &Path, how: &How, form: Form) -> Result<(), ExportError> {
    let flight = &path.flight;
    let Some(liftoff_s) = flight.liftoff_s() else {
        return Err(ExportError::Wanted(format!(
            "flight {} has no liftoff, so captions have no zero",
            flight.number
        )));
    };
    let points: &[Point] =
        path.bodies.iter().find(|(body, _)| *body == 0).map_or(&[], |(_, points)| &points[..]);
    let last_s = points.last().map_or(liftoff_s, |point| point.t_s) - liftoff_s;
    if form == Form::WebVtt {
        writeln!(
            to,
            "WEBVTT\n\nNOTE\nFlight {}: {}. Heights above the pad; airspeed is through the air.\nThe footage begins at {} s of flight time; its \
             clock runs {} times as fast.\n",
            flight.number,
            escaped(flight.title()),
            how.starts_s,
            how.clock_rate
        )?;
    }
    let mut number = 0;
    // On the grid of half seconds; footage that begins later begins within one.
    let first = libm::floor((-BEFORE_S).max(how.starts_s) / STEP_S);
    let mut at = first;
    while at * STEP_S <= last_s {
        let t_s = at * STEP_S;
        at += 1.0;
        let footage_s = |t_s: f64| ((t_s - how.starts_s) * how.clock_rate).max(0.0);
        let (from_s, to_s) = (footage_s(t_s), footage_s(t_s + STEP_S));
        if to_s - from_s < 0.001 {
            continue;
        }
        let mut lines = vec![state(points, liftoff_s + t_s, t_s, how.units)];
        let now: Vec<&Happened> = path
            .events
            .iter()
            .filter(|event| (0.0..EVENT_S).contains(&(liftoff_s + t_s + STEP_S - event.t_s)))
            .collect();
        if !now.is_empty() {
            lines.push(now.iter().map(|event| words(path, event)).collect::<Vec<_>>().join(", "));
        }
        number += 1;
        match form {
            Form::WebVtt => {
                let text: Vec<String> = lines.iter().map(|line| escaped(line)).collect();
                writeln!(
                    to,
                    "{number}\n{} --> {}\n{}\n",
                    clock(from_s, '.'),
                    clock(to_s, '.'),
                    text.join("\n")
                )?;
            }
            Form::Srt => {
                let text: Vec<String> = lines.iter().map(|line| without_tags(line)).collect();
                write!(
                    to,
                    "{number}\r\n{} --> {}\r\n{}\r\n\r\n",
                    clock(from_s, ','),
                    clock(to_s, ','),
                    text.join("\r\n")
                )?;
            }
        }
    }
    to.flush()?;
    Ok(())
}

fn words(path: &Path, event: &Happened) -> String {
    let label = event.label.split_whitespace().collect::<Vec<_>>().join(" ");
    if event.body == 0 { label } else { format!("{}: {label}", path.flight.body(event.body)) }
}

fn state(points: &[Point], at_s: f64, flight_s: f64, units: Units) -> String {
    let sign = if flight_s < 0.0 { "T-" } else { "T+" };
    let mut line = format!("{sign}{:.1} s", flight_s.abs());
    let next = points.partition_point(|point| point.t_s <= at_s);
    let Some((before, after)) = next.checked_sub(1).and_then(|at| Some((points.get(at)?, points.get(next))))
    else {
        return line;
    };
    let gap_s = after.map_or(f64::INFINITY, |after| after.t_s - before.t_s);
    let share = if gap_s <= GAP_S {
        (at_s - before.t_s) / gap_s
    } else if at_s - before.t_s <= STEP_S {
        0.0
    } else {
        line.push_str("  no radio");
        return line;
    };
    let between = |of: fn(&Point) -> f64| of(before) + share * (after.map_or(of(before), of) - of(before));
    let figure = |value: f64, unit: Unit| format!("{:.0} {}", unit.convert(value, units), unit.symbol(units));
    let _ = write!(
        line,
        "  {}  climb {}  airspeed {}  {}",
        figure(between(|point| point.height_m), Unit::Metre),
        figure(between(|point| point.climb_mps), Unit::MetrePerSecond),
        figure(between(|point| point.airspeed_mps), Unit::MetrePerSecond),
        before.phase
    );
    line
}

/// `01:02:03.456`, with the mark between seconds and milliseconds.
fn clock(s: f64, mark: char) -> String {
    let ms = libm::round(s * 1e3) as u64;
    format!("{:02}:{:02}:{:02}{mark}{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60, ms % 1_000)
}

/// Text of a WebVTT cue: no character of it can be markup or end the cue.
fn escaped(text: &str) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    line.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn without_tags(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '<' => '\u{2039}',
            '>' => '\u{203a}',
            '{' => '(',
            '}' => ')',
            c if c.is_control() => ' ',
            c => c,
        })
        .collect()
}
