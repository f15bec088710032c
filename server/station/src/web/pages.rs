//! The built pages, from inside the program (in debug builds from the disk).

use std::sync::{Arc, OnceLock};

use axum::Router;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{Request, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use memory_serve::CacheControl;
use tower::ServiceExt as _;

use super::flights;
use super::problem::Refusal;
use crate::shared::Shared;

/// The files of the pages; anything else is a plain page that says that there is nothing.
pub(super) fn embedded() -> Router {
    files().fallback(nothing)
}

/// The page of the application, whatever the path: it looks at the path itself.
pub(super) async fn application() -> Response {
    let request = Request::builder().uri(Uri::from_static("/")).body(Body::empty());
    match request {
        Ok(request) => files().oneshot(request).await.into_response(),
        Err(error) => {
            tracing::error!(%error, "no request for the index page");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// The page of one flight.
pub(super) async fn flight(State(shared): State<Arc<Shared>>, Path(number): Path<String>) -> Response {
    match flights::find(&shared, &number).await {
        Ok(_) => application().await,
        Err(refusal) => refusal.page(),
    }
}

fn files() -> Router {
    // Made once: `into_router` keeps its assets for ever.
    static FILES: OnceLock<Router> = OnceLock::new();
    let made = || {
        memory_serve::load!()
            .html_cache_control(CacheControl::NoCache)
            .cache_control(CacheControl::NoCache)
            .into_router()
    };
    FILES.get_or_init(made).clone()
}

async fn nothing() -> Response {
    Refusal::new(
        StatusCode::NOT_FOUND,
        "There is no such page.",
        "Nothing was changed.",
        "The live page is the first one; stored flights are in the list of flights.",
    )
    .page()
}
