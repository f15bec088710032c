//! Joining and leaving the crew, its code, and what it has done.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::cookie::{Cookie, SameSite};
use loftwatch_engine::{Input, What};

use super::about::rounded_s;
use super::actor::{Asker, COOKIE, OwnMachine, name};
use super::problem::{Refusal, wrong_body};
use crate::crew::{NotJoined, SESSION};
use crate::messages::{CrewCode, CrewMember, Deed, DeedKind, Join};
use crate::shared::Shared;
use crate::store::inputs;

/// How many of the newest deeds are listed.
const LISTED: u32 = 50;

/// `POST /api/crew/join`
pub(super) async fn join(
    State(shared): State<Arc<Shared>>,
    asker: Asker,
    join: Result<Json<Join>, JsonRejection>,
) -> Result<Response, Response> {
    let Json(join) = join
        .map_err(|error| wrong_body(&error, "{\"code\": \"K7MX-A4PH\", \"who\": \"Mo\"}").into_response())?;
    let who = name(&join.who);
    if who.is_empty() {
        let refusal = Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "A name is missing.",
            "Nothing was changed.",
            "Say who you are: it stands beside what you do.",
        );
        return Err(refusal.into_response());
    }
    let now_ns = shared.clock.now_ns();
    let token = match asker.address {
        _ if asker.own_machine => shared.crew.join_here(&who, now_ns),
        Some(address) => shared.crew.join(address, &join.code, &who, now_ns),
        None => Err(NotJoined::Wrong),
    };
    let token = token.map_err(refuse)?;
    // A browser that joins again has one session, not two.
    if let Some(old) = asker.token {
        shared.crew.leave(&old);
    }
    tracing::info!("{who} has joined the crew");
    save(&shared).await;
    Ok(with_cookie(token, SESSION.as_secs()))
}

fn refuse(why: NotJoined) -> Response {
    match why {
        NotJoined::Wrong => Refusal::new(
            StatusCode::FORBIDDEN,
            "That is not the crew's code.",
            "Nothing was changed.",
            "It is shown in the station's terminal. It may have been made anew since.",
        )
        .into_response(),
        NotJoined::Wait(wait) => {
            let s = wait.as_secs_f64().ceil() as u64;
            let refusal = Refusal::new(
                StatusCode::TOO_MANY_REQUESTS,
                format!("Too many wrong codes: this one was not looked at. Wait {s} s."),
                "Nothing was changed.",
                "Then try again.",
            );
            ([(header::RETRY_AFTER, s.to_string())], refusal).into_response()
        }
        NotJoined::NoChance => no_chance().into_response(),
    }
}

fn no_chance() -> Refusal {
    Refusal::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "The station's system gives no random numbers.",
        "Nothing was changed.",
        "Try again; if it stays, restart that machine.",
    )
}

/// `POST /api/crew/leave`
pub(super) async fn leave(State(shared): State<Arc<Shared>>, asker: Asker) -> impl IntoResponse {
    if let (Some(token), Some(who)) = (asker.token, asker.who) {
        shared.crew.leave(&token);
        tracing::info!("{who} has left the crew");
        save(&shared).await;
    }
    with_cookie(String::new(), 0)
}

/// `GET /api/crew/code`
pub(super) async fn code(State(shared): State<Arc<Shared>>, _: OwnMachine) -> impl IntoResponse {
    ([(header::CACHE_CONTROL, "no-store")], Json(code_now(&shared)))
}

/// `POST /api/crew/new-code`: ends all sessions.
pub(super) async fn new_code(
    State(shared): State<Arc<Shared>>,
    _: OwnMachine,
) -> Result<impl IntoResponse, Refusal> {
    shared.crew.new_code().ok_or_else(no_chance)?;
    tracing::info!("the crew has a new code; all who had joined join again");
    save(&shared).await;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(code_now(&shared))))
}

fn code_now(shared: &Shared) -> CrewCode {
    let crew = shared.crew.names(shared.clock.now_ns());
    CrewCode {
        code: shared.crew.code().to_string(),
        crew: crew.into_iter().map(|(who, ns)| CrewMember { who, joined_s: rounded_s(ns) }).collect(),
    }
}

/// `GET /api/crew/log`
pub(super) async fn log(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let newest = inputs::newest_of_crew(&shared.inputs_readers, LISTED).await?;
    let deeds: Vec<Deed> = newest.iter().filter_map(deed).collect();
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(deeds)))
}

fn deed(input: &Input) -> Option<Deed> {
    let (did, who, what) = match &input.what {
        What::Mark { label, who, .. } => (DeedKind::Mark, who, label.as_str()),
        What::CorrectMark { label, who, .. } => (DeedKind::Correct, who, label.as_str()),
        What::WithdrawMark { who, .. } => (DeedKind::Withdraw, who, ""),
        What::NameFlight { name, who } => (DeedKind::Name, who, name.as_str()),
        What::EndFlight { who } => (DeedKind::End, who, ""),
        What::Accept(told) if told.on => {
            // A name and its reason, as one says them.
            let what = format!("{}, {}, because {}", told.what, told.figure, told.why);
            let (utc_s, who) = (rounded_s(input.utc_ns), told.who.clone());
            return Some(Deed { utc_s, who, did: DeedKind::Accept, what });
        }
        What::Accept(told) => (DeedKind::TakeBack, &told.who, told.what.as_str()),
        What::SetupByCrew { who, .. } => (DeedKind::Setup, who, ""),
        _ => return None,
    };
    Some(Deed { utc_s: rounded_s(input.utc_ns), who: who.clone(), did, what: what.to_owned() })
}

/// Writes the crew down. Where that fails they are crew all the same, until the station ends.
async fn save(shared: &Arc<Shared>) {
    let shared = Arc::clone(shared);
    let saved = tokio::task::spawn_blocking(move || shared.crew.save()).await;
    if let Ok(Err(error)) = saved {
        tracing::warn!(
            "who is crew cannot be written down: {error}; after a restart they have to join again"
        );
    }
}

/// An answer that sets the session's cookie, or ends it. No page can read it, and no other site's page has it sent.
fn with_cookie(token: String, seconds: u64) -> Response {
    let cookie = Cookie::build((COOKIE, token)).path("/").http_only(true).same_site(SameSite::Strict).build();
    let mut headers = HeaderMap::new();
    // A token is hexadecimal, so this is always a header.
    if let Ok(value) = HeaderValue::from_str(&format!("{cookie}; Max-Age={seconds}")) {
        headers.insert(header::SET_COOKIE, value);
    }
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    (StatusCode::NO_CONTENT, headers).into_response()
}
