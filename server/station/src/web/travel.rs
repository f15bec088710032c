//! Flight files over the network: `GET /api/flights/N/flight-file`, `POST /api/flights/take-in`; and visiting flights, whose
//! numbers lead to stores of their own.

use std::fs::File;
use std::io::{BufReader, Seek as _, Write as _};
use std::sync::Arc;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Request, State};
use axum::http::{StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt as _;
use loftwatch_parcel::MOST_FILE_BYTES;
use tokio::sync::{Mutex, oneshot};
use tower::ServiceExt as _;

use super::actor::Member;
use super::problem::Refusal;
use super::{flights, routes};
use crate::messages::TakenIn;
use crate::shared::Shared;
use crate::store::remarks;
use crate::threads::on_own_thread;
use crate::travel::{self, NotTravelled};

/// One flight is computed at a time.
static COMPUTING: Mutex<()> = Mutex::const_new(());

/// The flight as one file. What is computed for it waits while something is in the air.
pub(super) async fn give(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    let flight = flights::find(&shared, &number).await?;
    not_in_flight(&shared)?;
    if flight.ended_ns.is_none() {
        return Err(Refusal::still_open());
    }
    let held = remarks::read(&shared.inputs_readers).await?.of(&flight);
    let label = remarks::label(&flight, &held);
    let _turn = COMPUTING.lock().await;
    let (store, readers) = (shared.inputs_readers.clone(), shared.readers.clone());
    let name = file_name(&label);
    let packed =
        on_a_thread(async move || travel::pack(&store, &readers, &flight, &label, &held, Vec::new()).await)
            .await?;
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.loftflight\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, packed).into_response())
}

/// Letters and digits of a label.
fn file_name(label: &str) -> String {
    let plain: String =
        label.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(60).collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() { "flight".to_owned() } else { plain.to_ascii_lowercase() }
}

/// Takes a flight file in.
pub(super) async fn take_in(
    State(shared): State<Arc<Shared>>,
    _member: Member,
    body: Body,
) -> Result<Json<TakenIn>, Refusal> {
    not_in_flight(&shared)?;
    let Ok(_turn) = COMPUTING.try_lock() else {
        return Err(Refusal::new(
            StatusCode::CONFLICT,
            "Another flight is being computed.",
            "Nothing was changed.",
            "Try again when it is done.",
        ));
    };
    let file = received(&shared.data, body).await?;
    let data = shared.data.clone();
    let (visitor, remark) =
        on_a_thread(async move || travel::arrive(&data, BufReader::new(file)).await).await?;
    shared.visitors.open_one(&shared, visitor).await.map_err(|error| refuse(&NotTravelled::Store(error)))?;
    let arrived = shared.visitors.of(visitor).ok_or_else(|| refuse(&NotTravelled::Engine))?;
    let listed = flights::list_of(&arrived).await?;
    let first = listed.into_iter().next().ok_or_else(|| refuse(&NotTravelled::Engine))?;
    Ok(Json(TakenIn { number: first.number, label: first.label, remark }))
}

/// The body, in a file without a name: it is gone with the last one who has it open.
async fn received(data: &std::path::Path, body: Body) -> Result<File, Refusal> {
    let failed = |error: &dyn std::fmt::Display| {
        Refusal::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            format!("The file could not be taken: {error}."),
            "Nothing of it was kept.",
            "Is there room on the station's disk? Then try again.",
        )
    };
    let path = data.join(format!("receiving-{}.part", std::process::id()));
    let made = || {
        let file = File::options().read(true).write(true).create(true).truncate(true).open(&path)?;
        std::fs::remove_file(&path)?;
        Ok::<_, std::io::Error>(file)
    };
    let mut file = made().map_err(|error| failed(&error))?;
    let mut pieces = body.into_data_stream();
    let mut length = 0_u64;
    while let Some(piece) = pieces.next().await {
        let piece = piece.map_err(|error| failed(&error))?;
        length += piece.len() as u64;
        if length > MOST_FILE_BYTES {
            return Err(Refusal::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                format!("The file is larger than {} MiB.", MOST_FILE_BYTES >> 20),
                "Nothing of it was kept.",
                "No flight is: is it a flight file?",
            ));
        }
        file.write_all(&piece).map_err(|error| failed(&error))?;
    }
    file.rewind().map_err(|error| failed(&error))?;
    Ok(file)
}

pub(super) fn not_in_flight(shared: &Shared) -> Result<(), Refusal> {
    match shared.hub.in_the_air() {
        None => Ok(()),
        Some(_) => Err(Refusal::new(
            StatusCode::CONFLICT,
            "A flight is in the air: nothing else is computed now.",
            "Nothing was changed.",
            "Try again when it is down.",
        )),
    }
}

/// Computes on a thread with room for an engine.
async fn on_a_thread<T: Send + 'static, F: Future<Output = Result<T, NotTravelled>>>(
    work: impl FnOnce() -> F + Send + 'static,
) -> Result<T, Refusal> {
    let (done, answer) = oneshot::channel();
    let spawned = on_own_thread("travel", async move || done.send(work().await));
    let engine = || refuse(&NotTravelled::Engine);
    spawned.map_err(|_| engine())?;
    match answer.await {
        Ok(Ok(answer)) => Ok(answer),
        Ok(Err(error)) => Err(refuse(&error)),
        Err(_) => Err(engine()),
    }
}

fn refuse(error: &NotTravelled) -> Refusal {
    let text = error.to_string();
    let mut lines = text.lines();
    let what = lines.next().unwrap_or_default();
    let (mut kept, mut hint) = ("Nothing was changed.".to_owned(), "Try again.".to_owned());
    for line in lines {
        match line.strip_prefix("hint: ") {
            Some(told) => hint = sentence(told),
            None => kept = sentence(line),
        }
    }
    let status = match error {
        NotTravelled::Wrong(_) | NotTravelled::Other { .. } | NotTravelled::Engine => {
            StatusCode::UNPROCESSABLE_ENTITY
        }
        NotTravelled::Here { .. } => StatusCode::CONFLICT,
        NotTravelled::NoFlight(_) => StatusCode::NOT_FOUND,
        NotTravelled::Store(_) | NotTravelled::File { .. } => StatusCode::SERVICE_UNAVAILABLE,
    };
    Refusal::new(status, sentence(what), &kept, &hint)
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

/// Requests for a visiting flight go to the same handlers, over its own store and under its number there.
pub(super) async fn lead(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    let Some((visitor, path)) = elsewhere(request.uri()) else { return next.run(request).await };
    let Some(visiting) = shared.visitors.of(visitor) else {
        return Refusal::no_flight("from elsewhere").into_response();
    };
    let (mut parts, body) = request.into_parts();
    parts.uri = path;
    match routes(&visiting).oneshot(Request::from_parts(parts, body)).await {
        Ok(response) => response,
        Err(never) => match never {},
    }
}

/// The visitor that an address is of, and the address inside its store.
fn elsewhere(uri: &Uri) -> Option<(u32, Uri)> {
    let path = uri.path();
    let (front, rest) = ["/api/flights/", "/flights/"]
        .iter()
        .find_map(|front| path.strip_prefix(front).map(|rest| (*front, rest)))?;
    let (number, tail) =
        rest.split_once('/').map_or((rest, String::new()), |(n, tail)| (n, format!("/{tail}")));
    let (visitor, flight) = travel::visitor_of(number.parse().ok()?)?;
    let query = uri.query().map(|query| format!("?{query}")).unwrap_or_default();
    Some((visitor, format!("{front}{flight}{tail}{query}").parse().ok()?))
}
