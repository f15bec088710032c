//! Files of a flight or a day: made once, kept for a while, handed out in ranges so that a broken download goes on.

use std::io::SeekFrom;
use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::Json;
use axum::body::{Body, Bytes};
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use loftwatch_export::{How, What};
use tokio::io::{AsyncReadExt as _, AsyncSeekExt as _};

use super::problem::Refusal;
use crate::export::spool::Stands;
use crate::export::{Selection, Source, Trouble};
use crate::handed_out::needs_hindsight;
use crate::hindsight;
use crate::messages::FileState;
use crate::shared::Shared;

/// A piece of a file on its way, bytes.
const PIECE_BYTES: usize = 64 * 1024;

impl From<&Trouble> for Refusal {
    fn from(trouble: &Trouble) -> Self {
        let status = match trouble {
            Trouble::NoFlight(_) => StatusCode::NOT_FOUND,
            Trouble::Wanted(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Trouble::Store(_) => StatusCode::SERVICE_UNAVAILABLE,
            Trouble::Disk(_) => StatusCode::INSUFFICIENT_STORAGE,
            Trouble::Other(_) => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let mut said = trouble.to_string();
        if let Some(first) = said.get(..1) {
            said = format!("{}{}.", first.to_uppercase(), &said[1..]);
        }
        if matches!(trouble, Trouble::Store(_) | Trouble::Disk(_) | Trouble::Other(_)) {
            tracing::warn!("a file could not be made: {trouble}");
        }
        Self::new(status, said, "Everything that is stored is kept; no half file was left.", trouble.hint())
    }
}

/// `GET /api/flights/N/files/NAME`; with `progress` among the parameters only how far it is.
pub(super) async fn of_flight(
    State(shared): State<Arc<Shared>>,
    Path((number, name)): Path<(String, String)>,
    Query(told): Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let flight = super::flights::find(&shared, &number).await?;
    answer(&shared, Selection::Flight(flight.number), &name, &told, &headers).await
}

/// `GET /api/days/YYYY-MM-DD/files/NAME`
pub(super) async fn of_day(
    State(shared): State<Arc<Shared>>,
    Path((day, name)): Path<(String, String)>,
    Query(told): Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let Ok(date) = day.parse::<Date>() else {
        return Err(Refusal::from(&Trouble::Wanted(format!("`{day}` is no date such as 2026-06-12"))));
    };
    answer(&shared, Selection::Day(date), &name, &told, &headers).await
}

/// The same for the addresses that stood before there was more than CSV.
pub(super) async fn readings(
    state: State<Arc<Shared>>,
    Path(number): Path<String>,
    told: Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    of_flight(state, Path((number, "readings.csv".to_owned())), told, headers).await
}

/// See [`readings`].
pub(super) async fn estimates(
    state: State<Arc<Shared>>,
    Path(number): Path<String>,
    told: Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    of_flight(state, Path((number, "estimates.csv".to_owned())), told, headers).await
}

async fn answer(
    shared: &Arc<Shared>,
    selection: Selection,
    name: &str,
    told: &[(String, String)],
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    let Some(what) = What::named(name) else {
        return Err(Refusal::new(
            StatusCode::NOT_FOUND,
            format!("There is no file `{name}`."),
            "Nothing was made.",
            &format!("There are {}.", What::names()),
        ));
    };
    let mut how = How::usual();
    let mut only_progress = false;
    for (key, value) in told {
        if key == "progress" {
            only_progress = true;
        } else {
            how.take(key, value).map_err(|error| Refusal::from(&Trouble::from(error)))?;
        }
    }
    let source = Source {
        derived: shared.readers.clone(),
        inputs: shared.inputs_readers.clone(),
        epoch_ns: shared.epoch_ns,
        folder: shared.data.clone(),
    };
    let looking = needs_hindsight(what) && look_back(shared, &source, selection, only_progress).await?;
    if looking {
        return Ok(
            Json(FileState { done: 0, total: 0, ready: false, bytes: None, digest: None }).into_response()
        );
    }
    let job =
        shared.spool.file(&source, selection, what, &how).await.map_err(|trouble| Refusal::from(&trouble))?;
    let stands = if only_progress { job.now() } else { job.done().await };
    match stands {
        Stands::Failed(trouble) => {
            job.has_been_told();
            Err(Refusal::from(&*trouble))
        }
        stands if only_progress => {
            let (bytes, digest) = match stands {
                Stands::Ready { length, digest, .. } => (Some(length), Some(digest)),
                _ => (None, None),
            };
            let state = FileState {
                done: job.progress.done.load(Ordering::Relaxed),
                total: job.progress.total.load(Ordering::Relaxed),
                ready: bytes.is_some(),
                bytes,
                digest,
            };
            Ok(([(header::CACHE_CONTROL, "no-store")], Json(state)).into_response())
        }
        Stands::Ready { file, length, digest } => {
            let called = format!("{}-{name}", selection.name());
            hand_out(&file, length, &digest, what, &called, headers).await
        }
        Stands::Making => Err(Refusal::from(&Trouble::Other("the file is not made".to_owned()))),
    }
}

/// Asks for the path with hindsight of flights that have ended, and waits for it a while. Says whether it is still under way,
/// for those who only ask how far it is.
async fn look_back(
    shared: &Shared,
    source: &Source,
    selection: Selection,
    only_ask: bool,
) -> Result<bool, Refusal> {
    let chosen = source.choose(selection).await.map_err(|trouble| Refusal::from(&trouble))?;
    let wanted: Vec<u32> = chosen
        .iter()
        .filter(|one| !one.hindsight && one.flight.ended_ns.is_some() && one.flight.liftoff_ns.is_some())
        .map(|one| one.flight.number)
        .collect();
    for flight in wanted {
        shared.hindsight.ask(flight);
        while hindsight::states(&shared.readers, flight).await?.is_none() {
            if shared.spool.waited_enough(flight) {
                break;
            }
            if only_ask {
                return Ok(true);
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }
    Ok(false)
}

/// The part of a file that is asked for.
#[derive(Debug, PartialEq, Eq)]
enum Part {
    Whole,
    /// First and last byte.
    Range(u64, u64),
    /// None of it is there.
    Nowhere,
}

/// One range of bytes (RFC 9110, section 14); several at once are answered with the whole, as a server may.
fn part(headers: &HeaderMap, length: u64, tag: &str) -> Part {
    let Some(range) = headers.get(header::RANGE).and_then(|value| value.to_str().ok()) else {
        return Part::Whole;
    };
    if let Some(condition) = headers.get(header::IF_RANGE)
        && condition.to_str().ok() != Some(tag)
    {
        return Part::Whole;
    }
    let Some((first, last)) = range.strip_prefix("bytes=").and_then(|range| range.split_once('-')) else {
        return Part::Whole;
    };
    let range = match (first.trim().parse::<u64>(), last.trim().parse::<u64>()) {
        (Ok(first), Ok(last)) if first <= last => (first, last.min(length.saturating_sub(1))),
        (Ok(first), Err(_)) if last.trim().is_empty() => (first, length.saturating_sub(1)),
        (Err(_), Ok(count)) if first.trim().is_empty() && count > 0 => {
            (length.saturating_sub(count), length.saturating_sub(1))
        }
        _ => return Part::Whole,
    };
    if range.0 >= length { Part::Nowhere } else { Part::Range(range.0, range.1) }
}

async fn hand_out(
    file: &FilePath,
    length: u64,
    digest: &str,
    what: What,
    called: &str,
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    let tag = format!("\"{digest}\"");
    let known = headers.get(header::IF_NONE_MATCH).and_then(|value| value.to_str().ok());
    let part = part(headers, length, &tag);
    // Captions and the sheet are shown by browsers, the rest is kept.
    let shown = matches!(what, What::SheetPdf | What::SheetHtml | What::WebVtt);
    let disposition = format!("{}; filename=\"{called}\"", if shown { "inline" } else { "attachment" });
    let fixed = [
        (header::CONTENT_TYPE, what.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
        (header::CACHE_CONTROL, "no-cache".to_owned()),
        (header::ETAG, tag.clone()),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
        // The twin of the sheet is a page of its own: nothing in it may run or reach out.
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
                .to_owned(),
        ),
    ];
    if known == Some(&tag[..]) {
        return Ok((StatusCode::NOT_MODIFIED, fixed).into_response());
    }
    let (status, first, last) = match part {
        Part::Nowhere => {
            let range = [(header::CONTENT_RANGE, format!("bytes */{length}"))];
            return Ok((StatusCode::RANGE_NOT_SATISFIABLE, fixed, range).into_response());
        }
        Part::Whole => (StatusCode::OK, 0, length.saturating_sub(1)),
        Part::Range(first, last) => (StatusCode::PARTIAL_CONTENT, first, last),
    };
    let count = if length == 0 { 0 } else { last - first + 1 };
    let body =
        body(file.to_owned(), first, count).await.map_err(|error| Refusal::from(&Trouble::Disk(error)))?;
    let mut response = (status, fixed, [(header::CONTENT_LENGTH, count.to_string())], body).into_response();
    if status == StatusCode::PARTIAL_CONTENT
        && let Ok(range) = format!("bytes {first}-{last}/{length}").parse()
    {
        response.headers_mut().insert(header::CONTENT_RANGE, range);
    }
    Ok(response)
}

/// So many bytes of a file from one on. It stays readable once it is open, even if it is removed meanwhile.
async fn body(file: PathBuf, first: u64, count: u64) -> std::io::Result<Body> {
    let mut file = tokio::fs::File::open(file).await?;
    file.seek(SeekFrom::Start(first)).await?;
    let pieces = futures_util::stream::unfold((file, count), |(mut file, left)| async move {
        if left == 0 {
            return None;
        }
        let mut piece = vec![0; PIECE_BYTES.min(left as usize)];
        match file.read(&mut piece).await {
            Ok(0) => {
                let short =
                    std::io::Error::new(std::io::ErrorKind::UnexpectedEof, "the file is shorter than it was");
                Some((Err(short), (file, 0)))
            }
            Ok(n) => {
                piece.truncate(n);
                Some((Ok(Bytes::from(piece)), (file, left - n as u64)))
            }
            Err(error) => Some((Err(error), (file, 0))),
        }
    });
    Ok(Body::from_stream(pieces))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_read_as_the_standard_says() {
        let asked = |range: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::RANGE, range.parse().unwrap());
            part(&headers, 100, "\"a\"")
        };
        assert_eq!(asked("bytes=0-9"), Part::Range(0, 9));
        assert_eq!(asked("bytes=90-"), Part::Range(90, 99));
        assert_eq!(asked("bytes=90-1000"), Part::Range(90, 99));
        assert_eq!(asked("bytes=-10"), Part::Range(90, 99));
        assert_eq!(asked("bytes=-1000"), Part::Range(0, 99));
        assert_eq!(asked("bytes=100-"), Part::Nowhere);
        for odd in ["bytes=9-3", "bytes=a-b", "items=0-9", "bytes=0-1,5-9", "bytes=-0"] {
            assert_eq!(asked(odd), Part::Whole, "{odd}");
        }
        let mut headers = HeaderMap::new();
        headers.insert(header::RANGE, "bytes=5-".parse().unwrap());
        headers.insert(header::IF_RANGE, "\"b\"".parse().unwrap());
        assert_eq!(part(&headers, 100, "\"a\""), Part::Whole, "another file since");
        headers.insert(header::IF_RANGE, "\"a\"".parse().unwrap());
        assert_eq!(part(&headers, 100, "\"a\""), Part::Range(5, 99));
    }
}
