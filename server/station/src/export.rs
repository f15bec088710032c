//! A flight in open formats: tables as CSV, the past as a track.
//!
//! CSV as in RFC 4180 (Shafranovich, 2005): commas, double quotes, CRLF, one header row. Names in the header carry
//! the unit and say what a height is above and what a speed is through or over. Text from radios, names and notes is
//! hostile: a cell that a spreadsheet would take for a formula gets an apostrophe in front.

mod cells;
pub(crate) mod estimates;
pub(crate) mod readings;
#[cfg(test)]
mod tests;
pub(crate) mod track;

use axum::body::Body;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::playback::Flight;

/// A table as a download.
pub(crate) fn response(flight: &Flight, what: &str, body: Body) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"flight-{}-{what}.csv\"", flight.number),
        ),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    (headers, body).into_response()
}
