//! `GET /api/qr?text=`: a QR code as a picture, for a place (`geo:`, RFC 5870) or an address of a page.

use axum::extract::Query;
use axum::extract::rejection::QueryRejection;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use fast_qr::QRBuilder;
use fast_qr::convert::Builder as _;
use fast_qr::convert::svg::SvgBuilder;
use serde::Deserialize;

use super::problem::Refusal;

/// The longest text, bytes: a small code is read from farther away.
const LONGEST: usize = 200;
/// Light modules about a code, as readers need them (ISO/IEC 18004: four).
const QUIET: usize = 4;

/// What is asked.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    text: String,
}

/// Draws the code, dark on light in every theme: some readers take no inverted one.
pub(super) async fn draw(asked: Result<Query<Asked>, QueryRejection>) -> Response {
    let text = asked.ok().map(|Query(asked)| asked.text).filter(|text| fits(text));
    let Some(code) = text.and_then(|text| QRBuilder::new(text).build().ok()) else {
        return Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "No QR code is drawn of that.",
            "Nothing was changed.",
            "Ask with `?text=` and a place (geo:...) or an address (http://..., https://...) of at most 200 bytes.",
        )
        .into_response();
    };
    let mut svg = SvgBuilder::default();
    svg.margin(QUIET);
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        // The same text has the same code for ever.
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (headers, svg.to_str(&code)).into_response()
}

fn fits(text: &str) -> bool {
    let scheme = ["geo:", "http://", "https://"].iter().any(|scheme| text.starts_with(scheme));
    scheme && text.len() <= LONGEST && !text.contains(char::is_control)
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn asked(text: &str) -> (StatusCode, String) {
        let answer = draw(Ok(Query(Asked { text: text.to_owned() }))).await;
        let status = answer.status();
        let body = axum::body::to_bytes(answer.into_body(), 1 << 20).await.unwrap();
        (status, String::from_utf8_lossy(&body).into_owned())
    }

    #[tokio::test]
    async fn a_place_has_a_code_with_its_quiet_zone() {
        let (status, svg) = asked("geo:38.250000,-117.350000").await;
        assert_eq!(status, StatusCode::OK);
        // 25 characters need version 2 at this level of correction: 25 modules and four of light on each side.
        assert!(
            svg.contains("viewBox=\"0 0 33 33\"") || svg.contains("viewBox=\"0 0 37 37\""),
            "{}",
            &svg[..200]
        );
    }

    #[tokio::test]
    async fn only_places_and_addresses_of_some_length_are_drawn() {
        let long = format!("geo:{}", "1".repeat(LONGEST));
        for text in ["", "javascript:alert(1)", "geo:1\n2", long.as_str()] {
            assert_eq!(asked(text).await.0, StatusCode::UNPROCESSABLE_ENTITY, "{text}");
        }
    }
}
