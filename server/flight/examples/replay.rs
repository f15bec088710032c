//! Plays a flight through the tracker: `replay PLAN.json SAMPLES.jsonl` writes a JSON line for everything it says.
//!
//! `PLAN.json` is a [`Plan`] in its serde form; each line of `SAMPLES.jsonl` is a [`Sample`], or
//! `{"report": {...}}` with a [`Report`], in the order received. After each line of input come an `estimate` and
//! a `prediction` of the first body, `cue` lines and new `event`s, and `landing` lines five times a second. Each
//! line carries `t_receive_s`: nothing later is in it. At the end come `smoothed` lines. The time per
//! sample goes to standard error at the end, and apart that of all landing areas and the band ahead.

use std::io::{BufRead, BufReader, BufWriter, Write};

use loftwatch_flight::{Plan, Report, Sample, Tracker};
use serde::{Deserialize, Serialize};

#[derive(Deserialize)]
#[serde(untagged)]
enum Line {
    Report { report: Report },
    Sample(Box<Sample>),
}

/// One line: the fields of what is said, with its kind, its body and the receive time that it goes up to.
fn say(out: &mut impl Write, kind: &str, body: usize, t: f64, what: &impl Serialize) -> std::io::Result<()> {
    let mut line = serde_json::to_value(what)?;
    if let (Some(fields), "event") = (line.as_object_mut(), kind) {
        let event = fields.remove("kind").unwrap_or_default();
        fields.insert("event".into(), event);
    }
    line["kind"] = kind.into();
    line["body"] = body.into();
    line["t_receive_s"] = t.into();
    writeln!(out, "{line}")
}

#[expect(clippy::disallowed_methods, reason = "a program at the edge reads files and takes the time")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let (Some(plan), Some(samples)) = (args.next(), args.next()) else {
        return Err("usage: replay PLAN.json SAMPLES.jsonl".into());
    };
    let plan: Plan = serde_json::from_str(&std::fs::read_to_string(plan)?)?;
    let mut tracker: Option<Tracker> = None;
    let mut out = BufWriter::new(std::io::stdout().lock());
    let (mut events, mut cues, mut landings) = (Vec::new(), Vec::new(), Vec::new());
    let mut areas_s = f64::NEG_INFINITY;
    let (mut costs_ms, mut areas_ms) = (Vec::new(), Vec::new());
    let mut band = Vec::new();
    let (mut samples_heard, mut reports) = (Vec::new(), Vec::new());
    for line in BufReader::new(std::fs::File::open(samples)?).lines() {
        let line: Line = serde_json::from_str(&line?)?;
        let t = match &line {
            Line::Report { report } => report.t_receive_s,
            Line::Sample(s) => s.t_receive_s,
        };
        let tracker = tracker.get_or_insert_with(|| Tracker::new(&plan, t));
        let began = std::time::Instant::now();
        match &line {
            Line::Report { report } => {
                tracker.report(report);
                reports.push(*report);
            }
            Line::Sample(s) => {
                tracker.take(s);
                samples_heard.push(**s);
            }
        }
        tracker.advance(t);
        let prediction = tracker.foresee(0, &mut cues);
        let estimate = tracker.estimate(0);
        costs_ms.push(began.elapsed().as_secs_f64() * 1e3);
        if let Some(e) = estimate {
            say(&mut out, "estimate", 0, t, &e)?;
        }
        if let Some(p) = prediction {
            say(&mut out, "prediction", 0, t, &p)?;
        }
        for c in &cues {
            say(&mut out, "cue", 0, t, c)?;
        }
        tracker.drain_events(&mut events);
        for e in &events {
            say(&mut out, "event", e.body, t, e)?;
        }
        if t >= areas_s + 0.2 {
            areas_s = t;
            let began = std::time::Instant::now();
            tracker.path(0, &mut band);
            let mut took_ms = began.elapsed().as_secs_f64() * 1e3;
            for body in 0..plan.bodies.len() {
                let began = std::time::Instant::now();
                tracker.landings(body, &mut landings);
                took_ms += began.elapsed().as_secs_f64() * 1e3;
                for l in &landings {
                    say(&mut out, "landing", body, t, l)?;
                }
            }
            areas_ms.push(took_ms);
        }
    }
    let began = std::time::Instant::now();
    let hindsight = loftwatch_flight::smoothed(&plan, &samples_heard, &reports);
    let took_s = began.elapsed().as_secs_f64();
    let last = samples_heard.last().map_or(0.0, |s| s.t_receive_s);
    for (body, estimate) in &hindsight {
        say(&mut out, "smoothed", *body, last, estimate)?;
    }
    out.flush()?;
    eprintln!("smoothed: {} states in {took_s:.2} s", hindsight.len());
    for (what, mut ms) in [("sample", costs_ms), ("landing areas and band", areas_ms)] {
        ms.sort_by(f64::total_cmp);
        if let Some(last) = ms.len().checked_sub(1) {
            let at = |p: f64| ms[(p * last as f64) as usize];
            eprintln!(
                "per {what}: median {:.3} ms, 99 % {:.3} ms, most {:.3} ms",
                at(0.5),
                at(0.99),
                at(1.0)
            );
        }
    }
    Ok(())
}
