//! The pages and their data over HTTP, and the web sockets.
//!
//! Everyone may `GET` what there is to watch. Whatever changes something is a `POST` and taken from crew only: those who
//! have joined, and the station's own machine. Every request passes the guard (Host, Origin, headers) before anything
//! else sees it.

mod about;
mod act;
mod actor;
mod crew;
mod crowd;
mod figures;
mod files;
mod flights;
mod frames;
mod guard;
mod listen;
mod live;
mod log;
mod moments;
mod network;
mod pages;
mod prepare;
mod problem;
mod qr;
mod radio;
mod remark;
mod replay;
mod room;
mod setup;
mod show;
mod socket;
#[cfg(test)]
mod tests;
mod travel;

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{any, get, post};
use tokio::net::TcpListener;
use tower_http::services::ServeFile;

pub(crate) use about::areas;
pub(crate) use crowd::Crowd;

use crate::shared::Shared;
use crate::threads::on_own_thread;

/// The longest body of a request, bytes: a press of a button is far smaller.
const MOST_BODY_BYTES: usize = 16 * 1024;

/// Where the archive of map tiles is.
const MAP: &str = "/map.pmtiles";

/// Serves until `shared.ending` turns true.
pub(crate) async fn serve(listener: TcpListener, shared: Arc<Shared>) -> std::io::Result<()> {
    let app = router(&shared);
    let ending = shared.ending.clone();
    // A task of its own: what is live waits for no show.
    let playing = Arc::clone(&shared);
    tokio::spawn(async move { playing.show.run(playing.clock, &playing.hub, playing.ending.clone()).await });
    // A thread of its own: it writes to thousands without a break.
    let (posting, newest, until) = (Arc::clone(&shared), shared.hub.follow(), ending.clone());
    on_own_thread("crowd", move || async move { posting.crowd.keep_posted(newest, until).await })?;
    tokio::select! {
        result = listen::accept(listener, app, shared.tls.clone(), ending.clone()) => result,
        () = shared.hub.keep_time(ending) => Ok(()),
    }
}

/// All routes, behind the guard; those of visiting flights lead to the same ones over their own stores.
pub(crate) fn router(shared: &Arc<Shared>) -> Router {
    let names = Arc::new(guard::Names::of_this_machine());
    let lead = middleware::from_fn_with_state(Arc::clone(shared), travel::lead);
    // A fallback, so that an address is looked at before any route has taken it apart.
    Router::new()
        .fallback_service(routes(shared))
        .layer(lead)
        .layer(middleware::from_fn_with_state(names, guard::check))
}

/// All routes over one store.
fn routes(shared: &Arc<Shared>) -> Router {
    // The inner limit is the one that counts.
    let setup_body = DefaultBodyLimit::max(setup::MOST_BODY_BYTES);
    // Ranges of the file, as pages ask for them; where there is none, that is said as of any page.
    let map = shared.map.as_ref().map(|file| Router::new().route_service(MAP, ServeFile::new(file)));
    map.unwrap_or_default()
        // `any`, since a socket over HTTP/2 is not a GET.
        .route("/api/socket", any(live::open))
        .route("/api/about", get(about::about))
        .route("/api/site", get(about::site))
        .route("/api/now", get(about::now))
        .route("/api/qr", get(qr::draw))
        .route("/api/network", get(network::network))
        .route("/authority.crt", get(network::authority))
        .route("/api/act", post(act::act))
        .route("/api/crew/join", post(crew::join))
        .route("/api/crew/leave", post(crew::leave))
        .route("/api/crew/code", get(crew::code))
        .route("/api/crew/new-code", post(crew::new_code))
        .route("/api/crew/log", get(crew::log))
        .route("/api/setup", get(setup::text).post(setup::take).layer(setup_body))
        .route("/api/setup/check", post(setup::check).layer(setup_body))
        .route("/api/prepare", get(prepare::prepare))
        .route("/api/prepare/plan", get(prepare::plan))
        .route("/api/prepare/figures", get(figures::form).post(figures::take).layer(setup_body))
        .route("/api/prepare/learned", get(figures::learned))
        .route("/api/prepare/vehicles", get(figures::list).post(figures::copy))
        .route("/api/radio/frames", get(radio::frames))
        .route("/api/radio/guess", get(radio::guesses))
        .route("/api/radio/try", post(radio::attempt).layer(setup_body))
        .route("/api/flights", get(flights::list))
        // A file may be large; the handler has a limit of its own.
        .route("/api/flights/take-in", post(travel::take_in).layer(DefaultBodyLimit::disable()))
        .route("/api/flights/{number}/flight-file", get(travel::give))
        .route("/api/flights/{number}", get(flights::one))
        .route("/api/flights/{number}/remark", post(remark::remark))
        .route(
            "/api/flights/{number}/log",
            post(log::take).layer(DefaultBodyLimit::max(log::MOST_BODY_BYTES)),
        )
        .route("/api/flights/{number}/track", get(flights::track))
        .route("/api/flights/{number}/hindsight", get(flights::hindsight))
        .route("/api/flights/{number}/readings.csv", get(files::readings))
        .route("/api/flights/{number}/estimates.csv", get(files::estimates))
        .route("/api/flights/{number}/files/{name}", get(files::of_flight))
        .route("/api/days/{day}/files/{name}", get(files::of_day))
        .route("/api/flights/{number}/messages", get(moments::messages))
        .route("/api/flights/{number}/socket", any(replay::open))
        .route("/api/show", post(show::begin))
        .route("/api/show/socket", any(show::open))
        .route("/api/{*rest}", any(problem::no_such_path))
        .route("/device", get(pages::application))
        .route("/flights", get(pages::application))
        .route("/prepare", get(pages::application))
        .route("/radio", get(pages::application))
        .route("/show", get(pages::application))
        .route("/overlay", get(pages::application))
        .route("/overlay/show", get(pages::application))
        .route("/flights/{number}", get(pages::flight))
        .layer(DefaultBodyLimit::max(MOST_BODY_BYTES))
        .with_state(Arc::clone(shared))
        .fallback_service(pages::embedded())
}

/// Replays the corpus of the fuzz target.
#[cfg(test)]
#[path = "."]
pub(crate) mod corpus {
    #[path = "../../../../tests/fuzz/check/frames.rs"]
    mod check;
    use super::frames::{Broken, Incoming, Said};
    pub(crate) use check::frames;
}
