//! Errors as a browser or a script gets them: what happened, what was kept, what to do.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use loftwatch_export::html::escaped;

use crate::messages::Problem;

/// A request that is refused.
#[derive(Debug)]
pub(crate) struct Refusal {
    status: StatusCode,
    problem: Problem,
}

impl Refusal {
    /// A refusal. The three texts: what happened, what was kept, what to do.
    pub(crate) fn new(status: StatusCode, error: impl Into<String>, kept: &str, hint: &str) -> Self {
        let problem = Problem { error: error.into(), kept: kept.to_owned(), hint: hint.to_owned() };
        Self { status, problem }
    }

    /// There is no flight of that number.
    pub(crate) fn no_flight(number: &str) -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            format!("There is no flight `{number}`."),
            "All flights that were received are kept.",
            "The list of flights is at /flights.",
        )
    }

    /// The flight has no path to look back on.
    pub(crate) fn not_flown(number: u32) -> Self {
        Self::new(
            StatusCode::CONFLICT,
            format!("Flight {number} has not lifted off, or has not ended yet."),
            "All that was received is kept.",
            "Hindsight needs the whole flight: ask again when it has ended.",
        )
    }

    /// The flight goes on.
    pub(crate) fn still_open() -> Self {
        Self::new(
            StatusCode::CONFLICT,
            "This flight is still open.",
            "Nothing was changed.",
            "End it on Watch first, or wait until it has ended by itself.",
        )
    }

    /// The store could not be read.
    pub(crate) fn store(error: &sqlx::Error) -> Self {
        tracing::warn!(%error, "a request could not read the store");
        Self::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "The stored flights cannot be read at the moment.",
            "What is received goes on being kept.",
            "Try again; the reason stands in the station's own output.",
        )
    }

    /// The same, as a plain page.
    pub(crate) fn page(self) -> Response {
        let Problem { error, kept, hint } = self.problem;
        let [error, kept, hint] = [error, kept, hint].map(|text| escaped(&text));
        let page = format!(
            "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width\">\n<title>Loftwatch: {error}</title>\n\
             <h1>{error}</h1>\n<p>{kept}</p>\n<p>{hint}</p>\n<p><a href=\"/\">Watch</a> <a href=\"/flights\">Flights</a></p>\n</html>\n"
        );
        (self.status, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], page).into_response()
    }
}

impl From<sqlx::Error> for Refusal {
    fn from(error: sqlx::Error) -> Self {
        Self::store(&error)
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.status, Json(self.problem)).into_response()
    }
}

/// A body that is not what was asked for; `form` is an example of what is.
pub(super) fn wrong_body(error: &JsonRejection, form: &str) -> Refusal {
    // Too long stays what it is; a wrong type and wrong contents are both not understood.
    let status = match error.status() {
        StatusCode::PAYLOAD_TOO_LARGE => StatusCode::PAYLOAD_TOO_LARGE,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    Refusal::new(
        status,
        format!("That was not understood: {}.", error.body_text().trim_end_matches('.')),
        "Nothing was changed.",
        &format!("Send JSON such as {form} with the type application/json."),
    )
}

/// Any path under `/api` that is none.
pub(super) async fn no_such_path() -> Refusal {
    Refusal::new(
        StatusCode::NOT_FOUND,
        "There is nothing at this address.",
        "Nothing was changed.",
        "The addresses under /api are listed in the project's documentation.",
    )
}

#[cfg(test)]
mod tests {
    use super::escaped;

    #[test]
    fn text_cannot_become_markup() {
        assert_eq!(
            escaped("<img src=x onerror='a(\"&\")'>"),
            "&lt;img src=x onerror=&#39;a(&quot;&amp;&quot;)&#39;&gt;"
        );
    }
}
