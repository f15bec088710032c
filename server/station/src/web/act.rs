//! What a crew member does: marks an event, names the flight, ends it. Recorded as an input, like every byte.
//!
//! For now only the station's own machine may act; everyone else can look.

use std::sync::Arc;

use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{HeaderMap, StatusCode};
use axum::{Extension, Json};
use loftwatch_engine::What;

use super::listen::Ends;
use super::problem::Refusal;
use crate::messages::Act;
use crate::shared::Shared;

/// Longest texts, characters.
const LONGEST_NAME: usize = 80;
const LONGEST_LABEL: usize = 120;
const LONGEST_WHO: usize = 60;

/// Whether this browser may act: it runs on the station's own machine, and no proxy speaks for it.
pub(super) fn may_act(ends: Option<&Ends>, headers: &HeaderMap) -> bool {
    let relayed =
        ["forwarded", "x-forwarded-for", "x-real-ip"].iter().any(|name| headers.contains_key(*name));
    ends.is_some_and(Ends::own_machine) && !relayed
}

/// `POST /api/act`
pub(super) async fn act(
    State(shared): State<Arc<Shared>>,
    ends: Option<Extension<Ends>>,
    headers: HeaderMap,
    act: Result<Json<Act>, JsonRejection>,
) -> Result<StatusCode, Refusal> {
    if !may_act(ends.as_deref(), &headers) {
        return Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "Only the station's own machine may act; from here you can look.",
            "Nothing was changed.",
            "Press the button on the machine that runs the station.",
        ));
    }
    let Json(act) = act.map_err(|error| wrong(&error.body_text()))?;
    let what = what(act, shared.clock.now_ns())?;
    if shared.press(what) {
        Ok(StatusCode::NO_CONTENT)
    } else {
        Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "The station's memory is full: the press was not taken.",
            "Nothing was changed.",
            "Press again in a moment.",
        ))
    }
}

fn what(act: Act, now_ns: i64) -> Result<What, Refusal> {
    Ok(match act {
        Act::Mark { label, t_s, who } => What::Mark {
            label: text(&label, LONGEST_LABEL, "label")?,
            at_ns: instant(t_s, now_ns)?,
            who: plain(&who, LONGEST_WHO),
        },
        Act::Name { name, who } => {
            What::NameFlight { name: text(&name, LONGEST_NAME, "name")?, who: plain(&who, LONGEST_WHO) }
        }
        Act::End { who } => What::EndFlight { who: plain(&who, LONGEST_WHO) },
    })
}

/// A mark lies in the past, at most a day; a page's clock may be a second ahead.
fn instant(t_s: Option<f64>, now_ns: i64) -> Result<i64, Refusal> {
    let Some(t_s) = t_s else { return Ok(now_ns) };
    let now_s = now_ns as f64 / 1e9;
    if !(now_s - 86_400.0..=now_s + 1.0).contains(&t_s) {
        return Err(wrong("`t_s` is station time in seconds, within the last day"));
    }
    Ok(((t_s * 1e9) as i64).min(now_ns))
}

fn text(text: &str, most: usize, key: &str) -> Result<String, Refusal> {
    let plain = plain(text, most);
    if plain.is_empty() { Err(wrong(&format!("`{key}` is empty"))) } else { Ok(plain) }
}

/// One line of printable characters, at most so many.
fn plain(text: &str, most: usize) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    line.trim().chars().take(most).collect()
}

fn wrong(why: &str) -> Refusal {
    Refusal::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        format!("The press was not understood: {why}."),
        "Nothing was changed.",
        "Send JSON such as {\"kind\": \"mark\", \"label\": \"chute seen\"} with the type application/json.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW_NS: i64 = 1_795_600_000_000_000_000;

    #[test]
    fn a_mark_becomes_one_short_line_now_or_in_the_past() {
        let act = Act::Mark {
            label: format!(" chute\nseen {}", "x".repeat(500)),
            t_s: None,
            who: "\u{7}Mo".into(),
        };
        let Ok(What::Mark { label, at_ns, who }) = what(act, NOW_NS) else { unreachable!() };
        assert!(label.starts_with("chute seen x") && label.chars().count() == LONGEST_LABEL);
        assert_eq!((at_ns, who.as_str()), (NOW_NS, "Mo"));
        let mark =
            |t_s: f64| what(Act::Mark { label: "a".into(), t_s: Some(t_s), who: String::new() }, NOW_NS);
        assert!(matches!(mark(1_795_599_990.5), Ok(What::Mark { at_ns: 1_795_599_990_500_000_000, .. })));
        for t_s in [0.0, 1_795_700_000.0, f64::NAN, f64::INFINITY] {
            assert!(mark(t_s).is_err(), "{t_s}");
        }
    }

    #[test]
    fn an_empty_label_or_name_is_refused() {
        assert!(what(Act::Mark { label: " \n".into(), t_s: None, who: String::new() }, NOW_NS).is_err());
        assert!(what(Act::Name { name: String::new(), who: String::new() }, NOW_NS).is_err());
    }
}
