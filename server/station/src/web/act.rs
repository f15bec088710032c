//! What a crew member does: marks an event, corrects a mark or takes it back, accepts what is not within limits, names the
//! flight, ends it. Recorded as an input, like every byte.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use loftwatch_engine::output::Accepted;
use loftwatch_engine::{MOST_MARKS, What};

use super::actor::Member;
use super::problem::{Refusal, wrong_body};
use crate::hub::Marks;
use crate::messages::Act;
use crate::prepared::in_words;
use crate::shared::Shared;

/// Longest texts, characters.
const LONGEST_NAME: usize = 80;
const LONGEST_LABEL: usize = 120;
const LONGEST_REASON: usize = 200;

const FORM: &str = "{\"kind\": \"mark\", \"label\": \"chute seen\"}";

/// `POST /api/act`
pub(super) async fn act(
    State(shared): State<Arc<Shared>>,
    member: Member,
    act: Result<Json<Act>, JsonRejection>,
) -> Result<StatusCode, Refusal> {
    let Json(act) = act.map_err(|error| wrong_body(&error, FORM))?;
    let press = match act {
        Act::Accept { key, on, why, who } => accept(&shared, &key, on, &why, member.who(&who)).await?,
        act => press(act, &member, shared.clock.now_ns())?,
    };
    fits(&press, &shared.hub.marks())?;
    if shared.press(press.what) {
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

/// What is to be recorded, and of which flight, where that is told.
#[derive(Debug)]
struct Press {
    what: What,
    flight: Option<u32>,
}

fn press(act: Act, member: &Member, now_ns: i64) -> Result<Press, Refusal> {
    let who = |told: &str| member.who(told);
    let any = |what| Press { what, flight: None };
    Ok(match act {
        Act::Mark { label, t_s, who: told } => any(What::Mark {
            label: text(&label, LONGEST_LABEL, "label")?,
            at_ns: t_s.map_or(Ok(now_ns), |t_s| instant(t_s, now_ns))?,
            who: who(&told),
        }),
        Act::Correct { flight, id, label, t_s, who: told } => {
            let label = text(&label, LONGEST_LABEL, "label")?;
            let at_ns = instant(t_s, now_ns)?;
            Press {
                what: What::CorrectMark { flight, id, label, at_ns, who: who(&told) },
                flight: Some(flight),
            }
        }
        Act::Withdraw { flight, id, who: told } => {
            Press { what: What::WithdrawMark { flight, id, who: who(&told) }, flight: Some(flight) }
        }
        Act::Name { name, who: told } => {
            any(What::NameFlight { name: text(&name, LONGEST_NAME, "name")?, who: who(&told) })
        }
        Act::Accept { .. } => return Err(wrong("an acceptance is of a check that stands")),
        Act::End { flight, who: told } => Press { what: What::EndFlight { who: who(&told) }, flight },
    })
}

/// An acceptance, with the words as they stand now: what a page says of them is not asked.
async fn accept(shared: &Shared, key: &str, on: bool, why: &str, who: String) -> Result<Press, Refusal> {
    let why = if on { text(why, LONGEST_REASON, "why")? } else { plain(why, LONGEST_REASON) };
    let none = || stale("There is no such thing that is not within limits now.", "Look at the list again.");
    let (what, figure, limit) = if key.starts_with("margin:") {
        let worked = super::prepare::worked(shared).await?;
        let margin = worked.margin(key).filter(|m| !on || m.level.is_some()).ok_or_else(none)?;
        let (figure, limit) = in_words(margin);
        (margin.what.clone(), figure, limit)
    } else {
        let check = shared.hub.check(key).filter(|check| !on || check.level.is_some()).ok_or_else(none)?;
        (check.what, check.figure, check.limit)
    };
    let told = Accepted { key: key.to_owned(), on, what, figure, limit, who, why };
    Ok(Press { what: What::Accept(Box::new(told)), flight: None })
}

/// Whether there is something to act on: what the engine would pass over is refused in words.
fn fits(press: &Press, shown: &Marks) -> Result<(), Refusal> {
    if shown.flight == 0 {
        return Err(stale("There is no flight yet: one begins with the first packet.", "Press again then."));
    }
    if press.flight.is_some_and(|flight| flight != shown.flight) {
        return Err(stale("Another flight has begun since.", "Look at the page again."));
    }
    match &press.what {
        What::Mark { .. } if shown.holding.len() >= MOST_MARKS => Err(stale(
            &format!("This flight has {MOST_MARKS} marks: there is no room for more."),
            "Correct one of them instead.",
        )),
        What::CorrectMark { id, .. } | What::WithdrawMark { id, .. }
            if shown.holding.get(id) != Some(&true) =>
        {
            Err(stale("There is no such mark, or it was taken back.", "Look at the list of marks again."))
        }
        What::Accept(_) if shown.ended || shown.lifted => Err(stale(
            "The vehicle is not on the pad: nothing is accepted any more.",
            "What was accepted before stands in the flight's record.",
        )),
        What::EndFlight { .. } if shown.ended => Err(stale(
            "This flight has ended already.",
            "The next one begins when the vehicle is heard anew.",
        )),
        _ => Ok(()),
    }
}

fn stale(why: &str, hint: &str) -> Refusal {
    Refusal::new(StatusCode::CONFLICT, why, "Nothing was changed.", hint)
}

/// A mark lies in the past, at most a day; a page's clock may be a second ahead.
fn instant(t_s: f64, now_ns: i64) -> Result<i64, Refusal> {
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

/// One line of printable characters, at most so many. What turns the direction of writing is left out: it would let one
/// name pass for another.
pub(super) fn plain(text: &str, most: usize) -> String {
    let turns = |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{061c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let line: String =
        text.chars().filter(|c| !turns(*c)).map(|c| if c.is_control() { ' ' } else { c }).collect();
    line.trim().chars().take(most).collect()
}

fn wrong(why: &str) -> Refusal {
    Refusal::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        format!("The press was not understood: {why}."),
        "Nothing was changed.",
        &format!("Send JSON such as {FORM} with the type application/json."),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW_NS: i64 = 1_795_600_000_000_000_000;

    fn what(act: Act, now_ns: i64) -> Result<What, Refusal> {
        press(act, &Member::here(), now_ns).map(|press| press.what)
    }

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
    fn what_turns_the_direction_of_writing_is_left_out() {
        assert_eq!(plain("\u{202e}oM\u{2066} \u{7}Mo\u{200f}", 9), "oM  Mo");
        assert_eq!(plain("\u{5d0}\u{5d1} é", 9), "\u{5d0}\u{5d1} é", "letters of all scripts stay");
    }

    #[test]
    fn an_empty_label_or_name_is_refused() {
        assert!(what(Act::Mark { label: " \n".into(), t_s: None, who: String::new() }, NOW_NS).is_err());
        assert!(what(Act::Name { name: String::new(), who: String::new() }, NOW_NS).is_err());
    }
}
