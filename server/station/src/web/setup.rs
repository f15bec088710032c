//! The setup file for crew: its text, checked as often as one likes, taken when it is right.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use tokio::sync::oneshot;

use super::actor::Member;
use super::problem::{Refusal, wrong_body};
use crate::messages::{SetupText, SetupVerdict, SetupWanted};
use crate::setup::{NotTaken, Text, Wanted};
use crate::shared::Shared;

/// The longest body with a setup text, bytes: the longest that is shipped has a thirtieth of it.
pub(super) const MOST_BODY_BYTES: usize = 256 * 1024;

const FORM: &str = "{\"text\": \"...\", \"edition\": \"as it was got\"}";

/// `GET /api/setup`
pub(super) async fn text(State(shared): State<Arc<Shared>>, _: Member) -> Result<impl IntoResponse, Refusal> {
    let file = file(&shared)?;
    let read = in_background(file.clone(), Text::read).await?;
    let Text { text, edition } = read.map_err(|why| unreadable(&why))?;
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let wrong = shared.setup.borrow().complaint.is_some();
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(SetupText { name, text, edition, wrong })))
}

/// `POST /api/setup/check`: changes nothing.
pub(super) async fn check(
    State(shared): State<Arc<Shared>>,
    _: Member,
    wanted: Result<Json<SetupWanted>, JsonRejection>,
) -> Result<Json<SetupVerdict>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, FORM))?;
    verdict(&shared, wanted.text).await
}

/// What a text would change, or every mistake in it.
pub(super) async fn verdict(shared: &Shared, text: String) -> Result<Json<SetupVerdict>, Refusal> {
    let in_force = Arc::clone(&shared.setup.borrow());
    let checked = in_background(file(shared)?, move |file| {
        let verdict = match Text::read(file)?.check(file, &text) {
            Ok(new) => SetupVerdict {
                mistakes: Vec::new(),
                changes: loftwatch_setup::changes(&in_force.setup, &new)
                    .into_iter()
                    .map(Into::into)
                    .collect(),
                remarks: loftwatch_setup::remarks(&new),
            },
            Err(mistakes) => SetupVerdict { mistakes, ..SetupVerdict::default() },
        };
        Ok::<_, String>(verdict)
    });
    Ok(Json(checked.await?.map_err(|why| unreadable(&why))?))
}

/// `POST /api/setup`: takes it, unless it has mistakes, which are the answer then.
pub(super) async fn take(
    State(shared): State<Arc<Shared>>,
    member: Member,
    wanted: Result<Json<SetupWanted>, JsonRejection>,
) -> Result<Json<SetupVerdict>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, FORM))?;
    let who = member.who(&wanted.who);
    give(&shared, wanted.text, wanted.edition, who).await
}

/// Hands a text to who looks after the file.
pub(super) async fn give(
    shared: &Shared,
    text: String,
    edition: String,
    who: String,
) -> Result<Json<SetupVerdict>, Refusal> {
    let (answer, answered) = oneshot::channel();
    let wanted = Wanted { text, edition, who, answer };
    shared.setups.send(wanted).await.map_err(|_| ending())?;
    match answered.await.map_err(|_| ending())? {
        Ok(taken) => Ok(Json(SetupVerdict {
            mistakes: Vec::new(),
            changes: taken.changes.into_iter().map(Into::into).collect(),
            remarks: taken.remarks,
        })),
        Err(NotTaken::Wrong(mistakes)) => Ok(Json(SetupVerdict { mistakes, ..SetupVerdict::default() })),
        Err(NotTaken::Changed) => Err(Refusal::new(
            StatusCode::CONFLICT,
            "The setup file has been changed by somebody else since you opened it.",
            "Nothing was changed; your text is still in this page.",
            "Copy what you changed, open the file anew, and change it there.",
        )),
        Err(NotTaken::File(why)) => Err(unreadable(&why)),
        Err(NotTaken::NoRoom) => Err(Refusal::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "The station's memory is full: the setup in force stays for now.",
            "The file has been written; it is tried again every second.",
            "Look in a moment whether it holds.",
        )),
    }
}

pub(super) fn file(shared: &Shared) -> Result<PathBuf, Refusal> {
    let now = Arc::clone(&shared.setup.borrow());
    now.path.clone().ok_or_else(|| unreadable("this station runs without a setup file"))
}

pub(super) fn unreadable(why: &str) -> Refusal {
    tracing::warn!("a crew member could not get at the setup file: {why}");
    // The hint of the message is for whoever stands at the station.
    let why = why.lines().next().unwrap_or_default();
    Refusal::new(
        StatusCode::SERVICE_UNAVAILABLE,
        format!("The setup file cannot be used: {why}."),
        "The setup in force stays.",
        "Look at the file on the station's machine.",
    )
}

fn ending() -> Refusal {
    Refusal::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "The station is ending.",
        "Nothing was changed.",
        "Try again when it runs.",
    )
}

/// Files are read, and setups checked, where nobody else is held up.
pub(super) async fn in_background<T: Send + 'static>(
    file: PathBuf,
    work: impl FnOnce(&Path) -> T + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(move || work(&file)).await.map_err(|error| unreadable(&error.to_string()))
}
