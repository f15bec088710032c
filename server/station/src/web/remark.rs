//! `POST /api/flights/N/remark`: what the crew tells about a flight beside its figures. Recorded as an input, like every press.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use loftwatch_engine::{Footage, Remark, What};

use super::act::plain;
use super::actor::Member;
use super::flights;
use super::problem::{Refusal, wrong_body};
use crate::messages::{FootageInfo, RemarkWanted};
use crate::playback::Flight;
use crate::shared::Shared;
use crate::store::remarks;
use crate::travel;

/// Longest texts, characters.
const LONGEST_NAME: usize = 80;
const LONGEST_NOTES: usize = 8_000;
/// Most cameras of one flight.
const MOST_CAMERAS: usize = 12;
/// A moment of footage further from its flight than this was not meant, ns.
const FARTHEST_NS: i64 = 86_400_000_000_000;
/// So long the answer waits until the remark can be read back; a slow disk takes longer, and the press holds all the same.
const LOOKS: u32 = 50;
const LOOK_EVERY: Duration = Duration::from_millis(20);

const FORM: &str = "{\"kind\": \"notes\", \"notes\": \"windy\"}";

/// Takes it.
pub(super) async fn remark(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    member: Member,
    wanted: Result<Json<RemarkWanted>, JsonRejection>,
) -> Result<StatusCode, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, FORM))?;
    let flight = flights::find(&shared, &number).await?;
    let held = remarks::read(&shared.inputs_readers).await?.of(&flight);
    let label = remarks::label(&flight, &held);
    let remark = told(wanted, &flight, &label)?;
    let at_ns = flight.liftoff_ns.unwrap_or(flight.opened_ns);
    let who = member.who("");
    let begun_ns = shared.clock.now_ns();
    let what = match remark.clone() {
        // The flight that is shown has its name from the engine, so that Watch shows it too.
        Remark::Name(name) if shared.visitor.is_none() && shared.hub.marks().flight == flight.number => {
            What::NameFlight { name, who }
        }
        remark => What::Remark { at_ns, remark, who },
    };
    if let Some(own) = &shared.visitor {
        return match travel::tell(&shared, own, what).await {
            Ok(()) => Ok(StatusCode::NO_CONTENT),
            Err(error) => {
                tracing::warn!("a remark about a visiting flight was not kept: {error}");
                Err(not_taken("It could not be written down."))
            }
        };
    }
    let named = matches!(what, What::NameFlight { .. });
    if !shared.press(what) {
        return Err(not_taken("The station's memory is full: it was not taken."));
    }
    for _ in 0..LOOKS {
        let done = if named {
            let now = flights::find(&shared, &number).await?;
            matches!(&remark, Remark::Name(name) if *name == now.name)
        } else {
            remarks::read(&shared.inputs_readers).await?.has(begun_ns, at_ns, &remark)
        };
        if done {
            break;
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
    Ok(StatusCode::NO_CONTENT)
}

fn not_taken(why: &str) -> Refusal {
    Refusal::new(StatusCode::SERVICE_UNAVAILABLE, why, "Nothing was changed.", "Try again in a moment.")
}

fn told(wanted: RemarkWanted, flight: &Flight, label: &str) -> Result<Remark, Refusal> {
    Ok(match wanted {
        RemarkWanted::Name { name } => {
            let name = plain(&name, LONGEST_NAME);
            if name.is_empty() {
                return Err(wrong("a name is missing", "Say what the flight is to be called."));
            }
            Remark::Name(name)
        }
        RemarkWanted::Notes { notes } => Remark::Notes(lines(&notes)),
        RemarkWanted::Footage { footage } => {
            if footage.len() > MOST_CAMERAS {
                return Err(wrong(&format!("more than {MOST_CAMERAS} cameras"), "Leave some out."));
            }
            let checked: Result<Vec<Footage>, Refusal> =
                footage.iter().map(|footage| aligned(footage, flight)).collect();
            Remark::Footage(checked?)
        }
        RemarkWanted::Delete { label: typed } => {
            if typed.trim() != label.trim() {
                return Err(wrong(
                    &format!("that is not the flight's name, which is `{label}`"),
                    "Type it exactly, with capital letters as they are.",
                ));
            }
            if flight.ended_ns.is_none() {
                return Err(Refusal::still_open());
            }
            Remark::Delete
        }
        RemarkWanted::Restore => Remark::Restore,
    })
}

fn aligned(told: &FootageInfo, flight: &Flight) -> Result<Footage, Refusal> {
    let [frames, seconds] = told.rate;
    if frames == 0 || seconds == 0 || !(1.0..=1000.0).contains(&(f64::from(frames) / f64::from(seconds))) {
        return Err(wrong(
            "a frame rate is outside 1 to 1000 a second",
            "Tell it as a fraction, such as 30000/1001.",
        ));
    }
    if told.moments.is_empty() || told.moments.len() > 2 {
        return Err(wrong(
            "a camera needs one moment or two",
            "Align it by one known moment, and a second one for drift.",
        ));
    }
    let near =
        flight.opened_ns - FARTHEST_NS..=flight.ended_ns.unwrap_or(i64::MAX - FARTHEST_NS) + FARTHEST_NS;
    let mut moments = Vec::new();
    for [video_s, t_s] in &told.moments {
        let t_ns = (t_s * 1e9) as i64;
        if !(0.0..=1e6).contains(video_s) || !t_s.is_finite() || !near.contains(&t_ns) {
            return Err(wrong(
                "a moment lies outside the footage or far from the flight",
                "Footage counts from its start, the flight in station time, both in seconds.",
            ));
        }
        moments.push((*video_s, t_ns));
    }
    if let [(a_s, a_ns), (b_s, b_ns)] = moments[..] {
        let rate = (b_s - a_s) / ((b_ns - a_ns) as f64 / 1e9);
        // A clock that is off by a hundredth is broken; more is a mistake, or slow motion, which has its own frame rate.
        if !(0.99..=1.01).contains(&rate) {
            return Err(wrong(
                "the two moments of a camera make its clock more than 1 % wrong",
                "One of them is another moment than was meant.",
            ));
        }
    }
    Ok(Footage {
        camera: plain(&told.camera, LONGEST_NAME),
        file: plain(&told.file, 2 * LONGEST_NAME),
        rate: told.rate,
        moments,
    })
}

/// The same for pages.
pub(super) fn footage_info(footage: &Footage) -> FootageInfo {
    FootageInfo {
        camera: footage.camera.clone(),
        file: footage.file.clone(),
        rate: footage.rate,
        moments: footage.moments.iter().map(|(video_s, t_ns)| [*video_s, *t_ns as f64 / 1e9]).collect(),
    }
}

/// Lines of printable characters, at most so many characters in all.
fn lines(text: &str) -> String {
    let kept: Vec<String> = text.lines().map(|line| plain(line, LONGEST_NOTES)).collect();
    kept.join("\n").trim().chars().take(LONGEST_NOTES).collect()
}

fn wrong(why: &str, hint: &str) -> Refusal {
    Refusal::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        format!("That was not taken: {why}."),
        "Nothing was changed.",
        hint,
    )
}
