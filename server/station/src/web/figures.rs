//! The setup file as a form, for crew: the same text underneath, checked and taken the same way; and copies of vehicles.

use std::path::Path;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use loftwatch_setup::Unfit;

use super::actor::Member;
use super::problem::{Refusal, wrong_body};
use super::setup::{file, give, in_background, unreadable, verdict};
use crate::learned::{Stored, offers};
use crate::messages::{FiguresForm, FiguresWanted, SetupMistake, SetupVerdict, VehicleCopy, VehicleWanted};
use crate::setup::Text;
use crate::shared::Shared;
use crate::vehicles;

const FORM: &str = "{\"edition\": \"as it was got\", \"edits\": [{\"kind\": \"tell\", \"key\": \"weather.wind_mps\", \"value\": \"4.5\"}]}";

/// `GET /api/prepare/figures`
pub(super) async fn form(State(shared): State<Arc<Shared>>, _: Member) -> Result<impl IntoResponse, Refusal> {
    let path = file(&shared)?;
    let defaults = shared.setup.borrow().setup.defaults.clone();
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let read = in_background(path, move |path| {
        let Text { text, edition } = Text::read(path)?;
        let sections = loftwatch_setup::figures(&text, &defaults)?;
        Ok::<_, String>((edition, sections))
    });
    let (edition, sections) = read.await?.map_err(|why| unreadable(&why))?;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(FiguresForm { edition, name, sections })))
}

/// `POST /api/prepare/figures`: takes it, unless there are mistakes, which are the answer then.
pub(super) async fn take(
    State(shared): State<Arc<Shared>>,
    member: Member,
    wanted: Result<Json<FiguresWanted>, JsonRejection>,
) -> Result<Json<SetupVerdict>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, FORM))?;
    let who = member.who(&wanted.who);
    let FiguresWanted { edits, edition, check, .. } = wanted;
    let made = in_background(file(&shared)?, move |path| {
        let Text { text, edition } = Text::read(path)?;
        Ok::<_, String>((loftwatch_setup::edit(&text, &edits), edition))
    });
    let (made, now) = made.await?.map_err(|why| unreadable(&why))?;
    if now != edition {
        return Err(changed());
    }
    match made {
        Ok(text) if check => verdict(&shared, text).await,
        Ok(text) => give(&shared, text, edition, who).await,
        Err(unfit) => Ok(Json(SetupVerdict { mistakes: vec![mistake(unfit)], ..SetupVerdict::default() })),
    }
}

fn mistake(unfit: Unfit) -> SetupMistake {
    let Unfit { key, expected, found } = unfit;
    SetupMistake { line: 1, column: 1, key, expected, found, hint: None }
}

fn changed() -> Refusal {
    Refusal::new(
        StatusCode::CONFLICT,
        "The setup file has been changed by somebody else since you opened it.",
        "Nothing was changed; what you typed is still in this page.",
        "Open the form anew and type it there.",
    )
}

/// `GET /api/prepare/learned`
pub(super) async fn learned(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let now = Arc::clone(&shared.setup.borrow());
    let stored = Stored {
        readers: &shared.readers,
        inputs: &shared.inputs_readers,
        epoch_ns: shared.epoch_ns,
        folder: &shared.data,
    };
    let offers = offers(&stored, &now.setup).await?;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(offers)))
}

/// `GET /api/prepare/vehicles`
pub(super) async fn list(State(shared): State<Arc<Shared>>, _: Member) -> Result<impl IntoResponse, Refusal> {
    let all: Vec<VehicleCopy> = in_background(shared.vehicles.clone(), vehicles::list).await?;
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(all)))
}

/// `POST /api/prepare/vehicles`
pub(super) async fn copy(
    State(shared): State<Arc<Shared>>,
    member: Member,
    wanted: Result<Json<VehicleWanted>, JsonRejection>,
) -> Result<Json<SetupVerdict>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, "{\"kind\": \"keep\"}"))?;
    let folder = shared.vehicles.clone();
    let name = shared.setup.borrow().setup.vehicle_name.clone();
    let kept = move |path: &Path| {
        let Text { text, .. } = Text::read(path)?;
        vehicles::keep(&folder, &text, &name)
    };
    match wanted {
        VehicleWanted::Keep => {
            in_background(file(&shared)?, kept).await?.map_err(|why| not_kept(&why))?;
            Ok(Json(SetupVerdict::default()))
        }
        VehicleWanted::Take { id, edition, check } => {
            let folder = shared.vehicles.clone();
            let made = in_background(file(&shared)?, move |path| {
                let now = Text::read(path)?;
                let copy = vehicles::text(&folder, &id);
                let text = copy.map(|copy| loftwatch_setup::with_vehicle_of(&now.text, &copy)).transpose()?;
                Ok::<_, String>((text, now.edition))
            });
            let (text, now) = made.await?.map_err(|why| unreadable(&why))?;
            let text = text.ok_or_else(gone)?;
            if now != edition {
                return Err(changed());
            }
            if check {
                return verdict(&shared, text).await;
            }
            // What it takes the place of is kept first.
            in_background(file(&shared)?, kept).await?.map_err(|why| not_kept(&why))?;
            give(&shared, text, edition, member.who("")).await
        }
    }
}

fn gone() -> Refusal {
    Refusal::new(
        StatusCode::NOT_FOUND,
        "There is no such copy of a vehicle any more.",
        "Nothing was changed.",
        "Look at the list again.",
    )
}

fn not_kept(why: &str) -> Refusal {
    tracing::warn!("a copy of the vehicle was not kept: {why}");
    Refusal::new(
        StatusCode::SERVICE_UNAVAILABLE,
        format!("The copy was not kept: {why}."),
        "The setup in force stays.",
        "Look at the folder on the station's machine.",
    )
}
