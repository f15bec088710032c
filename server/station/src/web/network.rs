//! How the station is reached, and the authority that a device is asked to trust.

use std::sync::Arc;

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};

use super::listen::Ends;
use super::problem::Refusal;
use crate::messages::Network;
use crate::shared::Shared;
use crate::{addresses, mdns};

/// `GET /api/network`
pub(super) async fn network(
    State(shared): State<Arc<Shared>>,
    Extension(ends): Extension<Ends>,
) -> impl IntoResponse {
    let listening = shared.listening;
    let https = shared.tls.is_some();
    let network = Network {
        http: addresses::reachable("http", listening),
        https: if https { addresses::reachable_securely(listening) } else { Vec::new() },
        name: (!listening.ip().is_loopback()).then(|| format!("{}:{}", mdns::NAME, listening.port())),
        fingerprint: shared.tls.as_ref().map(|tls| tls.fingerprint()),
        secure: ends.secure,
    };
    ([(header::CACHE_CONTROL, "no-store")], Json(network))
}

/// `GET /authority.crt`: the certificate to trust, DER.
pub(super) async fn authority(State(shared): State<Arc<Shared>>) -> Response {
    let Some(tls) = &shared.tls else {
        return Refusal::new(
            StatusCode::NOT_FOUND,
            "This station has no HTTPS.",
            "Nothing was changed.",
            "Its log says why; the pages work over plain HTTP.",
        )
        .page();
    };
    let headers = [
        (header::CONTENT_TYPE, "application/x-x509-ca-cert"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"loftwatch-authority.crt\""),
        (header::CACHE_CONTROL, "no-store"),
    ];
    (headers, tls.authority().to_vec()).into_response()
}
