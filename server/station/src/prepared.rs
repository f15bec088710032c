//! What is worked out of the setup before a flight, once for each setup and all who ask.

use std::fmt::Write as _;
use std::sync::Arc;

use loftwatch_engine::Setup;
use loftwatch_engine::output::Level;
use loftwatch_prepare::{Margin, Plan, Sample, Want};
use tokio::sync::Mutex;

use crate::failure::Failure;
use crate::messages::{CueWanted, Prepared, StepInfo};
use crate::store::fnv1a_64;
use crate::{cli, lists, setup};

/// The newest that was worked out. Whoever asks while it is under way waits for it: it is never done twice at once.
#[derive(Debug, Default)]
pub(crate) struct Desk {
    newest: Mutex<Option<Arc<Worked>>>,
}

/// Worked out of one setup.
#[derive(Debug)]
pub(crate) struct Worked {
    setup: Setup,
    sample: Sample,
    /// As pages get it.
    pub(crate) told: Prepared,
}

impl Desk {
    /// For the setup given; works it out where that has not been done. A thousand flights take a third of a second, on
    /// a thread of their own.
    pub(crate) async fn of(&self, setup: &Setup) -> Result<Arc<Worked>, String> {
        let mut newest = self.newest.lock().await;
        if let Some(worked) = newest.as_ref().filter(|worked| worked.setup == *setup) {
            return Ok(Arc::clone(worked));
        }
        let wanted = setup.clone();
        let worked = tokio::task::spawn_blocking(move || Worked::of(wanted)).await;
        let worked = Arc::new(worked.map_err(|error| error.to_string())?);
        *newest = Some(Arc::clone(&worked));
        Ok(worked)
    }
}

impl Worked {
    /// Works it out.
    pub(crate) fn of(setup: Setup) -> Self {
        let sample = Sample::of(&setup);
        let cue = |(index, cue): (usize, &loftwatch_flight::Cue)| {
            let lag = setup.preparation.lags_s.get(index).map_or([0.0, 0.05], |lag| [lag.value, lag.sd]);
            CueWanted {
                name: cue.name.clone(),
                want: loftwatch_prepare::wanted(&setup, index),
                limit: cue.limit.as_ref().map(|limit| limit.value),
                limit_of: cue.limit.as_ref().map(|limit| limit.of.into()),
                limit_from: cue.limit.as_ref().map(|limit| limit.from.clone()).unwrap_or_default(),
                lag_s: lag,
                delay_s: [cue.delay_s.value, cue.delay_s.sd],
            }
        };
        let step = |step: &loftwatch_engine::preparation::Step| StepInfo {
            step: step.step.clone(),
            who: step.who.clone(),
        };
        let told = Prepared {
            edition: edition(&setup),
            vehicle: setup.vehicle_name.clone(),
            site: setup.site_name.clone(),
            margins: loftwatch_prepare::margins(&setup, &sample),
            picture: loftwatch_prepare::picture(&setup, &sample),
            clashes: loftwatch_prepare::order(&setup, &sample),
            cues: setup.plan.cues.iter().enumerate().map(cue).collect(),
            checklist: setup.preparation.checklist.iter().map(step).collect(),
            areas: crate::web::areas(&setup),
            bodies: setup.plan.bodies.iter().map(|body| body.name.clone()).collect(),
        };
        Self { setup, sample, told }
    }

    /// A cue's condition; `None` where there is no such cue.
    pub(crate) fn plan(
        &self,
        cue: usize,
        want: Option<Want>,
        lag: Option<[f64; 2]>,
        delay: Option<[f64; 2]>,
    ) -> Option<Plan> {
        let told = |[value, sd]: [f64; 2]| loftwatch_flight::Told { value, sd };
        let want = want.or_else(|| loftwatch_prepare::wanted(&self.setup, cue))?;
        loftwatch_prepare::plan(&self.setup, &self.sample, cue, want, lag.map(told), delay.map(told))
    }

    /// The margin of a key.
    pub(crate) fn margin(&self, key: &str) -> Option<&Margin> {
        self.told.margins.iter().find(|margin| margin.key == key)
    }
}

/// `loftwatch prepare`.
pub(crate) fn run(wanted: &cli::Prepare) -> Result<(), Failure> {
    let setup = setup::read(&wanted.file).map_err(Failure::usage)?;
    let worked = Worked::of(setup);
    let chosen = match &wanted.cue {
        None => None,
        Some(name) => Some(worked.told.cues.iter().position(|cue| cue.name == *name).ok_or_else(|| {
            let names: Vec<&str> = worked.told.cues.iter().map(|cue| cue.name.as_str()).collect();
            Failure::usage(format!("the setup has no cue `{name}`; it has: {}", names.join(", ")))
        })?),
    };
    let finite = |value: Option<f64>| value.filter(|v| v.is_finite());
    let want = finite(wanted.lead).map(|s| Want::Lead { s });
    let plans: Vec<Plan> = (0..worked.told.cues.len())
        .filter(|index| chosen.is_none_or(|chosen| chosen == *index))
        .filter_map(|index| {
            let lag = finite(wanted.lag).map(|lag| [lag.max(0.0), worked.told.cues[index].lag_s[1]]);
            worked.plan(index, want, lag, None)
        })
        .collect();
    if wanted.json {
        let all = serde_json::json!({ "prepared": worked.told, "plans": plans });
        return lists::print(&format!("{all:#}\n"));
    }
    let mut text = String::new();
    for margin in &worked.told.margins {
        let (figure, limit) = in_words(margin);
        let state = match margin.level {
            Some(Level::Act) => "ACT   ",
            Some(Level::Look) => "LOOK  ",
            None if margin.judged => "within",
            None => "      ",
        };
        let _ = writeln!(text, "{state}  {}: {figure}{}", margin.what, beside(&limit, &margin.limit_from));
    }
    for clash in &worked.told.clashes {
        let _ = writeln!(text, "LOOK    {}", clash.words);
    }
    for plan in &plans {
        let _ = writeln!(text, "\n{}", plan.copy);
        for words in &plan.words {
            let _ = writeln!(text, "# {words}");
        }
    }
    let _ = writeln!(text, "\nAdvice, not range safety: the range's own officers and the local code decide.");
    lists::print(&text)
}

/// A limit and where it comes from, as far as there are any.
fn beside(limit: &str, from: &str) -> String {
    match (limit, from) {
        ("", "") => String::new(),
        (_, "") => format!("; {limit}"),
        ("", _) => format!(" ({from})"),
        _ => format!("; {limit} ({from})"),
    }
}

fn edition(setup: &Setup) -> String {
    serde_json::to_vec(setup).map_or_else(|_| String::new(), |json| format!("{:016x}", fnv1a_64(&json)))
}

/// A margin's figure and limit as one says them, metric.
pub(crate) fn in_words(margin: &Margin) -> (String, String) {
    let word = |value: f64| match margin.unit.as_str() {
        "ratio" => format!("{value:.1} : 1"),
        "m/s" if value < 100.0 => format!("{value:.1} m/s"),
        "rad" => format!("{:.0}°", value.to_degrees()),
        "share" => format!("{:.1} %", 100.0 * value),
        "calibres" => format!("{value:.1} diameters"),
        "m/s2" => format!("{value:.0} m/s²"),
        "kg" => format!("{value:.2} kg"),
        unit => format!("{value:.0} {unit}"),
    };
    let figure = margin.figure.map_or_else(|| margin.figure_words.clone(), word);
    let limit = margin.limit.map_or_else(
        || margin.limit_words.clone(),
        |limit| format!("{} {}", if margin.at_least { "at least" } else { "at most" }, word(limit)),
    );
    (figure, limit)
}
