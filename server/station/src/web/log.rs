//! `POST /api/flights/N/log`: a log from the vehicle's own memory, looked at beside its flight and kept if that is wanted.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use loftwatch_export::onboard::{Declaration, Declared, Time};

use super::actor::Member;
use super::problem::{Refusal, wrong_body};
use super::{flights, travel};
use crate::export::Source;
use crate::messages::{LogFit, LogSeen, LogWanted};
use crate::onboard::{self, Told};
use crate::shared::Shared;

/// Longest request; longer logs go by the command line.
pub(super) const MOST_BODY_BYTES: usize = 64 * 1024 * 1024;
/// Longest name of a file that is kept, characters.
const LONGEST_NAME: usize = 100;

const FORM: &str = "{\"name\": \"memory.csv\", \"text\": \"ms,baro\\n0,876.1\", \"body\": null, \"separator\": \",\", \"time\": {\"column\": \"ms\", \"unit\": \"ms\"}, \"columns\": [{\"column\": \"baro\", \"means\": \"pressure\", \"unit\": \"hPa\", \"missing\": null}], \"keep\": false}";

/// Looks at it, and keeps it.
pub(super) async fn take(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    _member: Member,
    wanted: Result<Json<LogWanted>, JsonRejection>,
) -> Result<Json<LogSeen>, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, FORM))?;
    let flight = flights::find(&shared, &number).await?;
    if shared.visitor.is_some() {
        return Err(Refusal::new(
            StatusCode::CONFLICT,
            "This flight is from another station.",
            "Nothing was kept.",
            "Hand the log to the station that received the flight.",
        ));
    }
    travel::not_in_flight(&shared)?;
    if flight.ended_ns.is_none() {
        return Err(Refusal::still_open());
    }
    let source = Source {
        derived: shared.readers.clone(),
        inputs: shared.inputs_readers.clone(),
        epoch_ns: shared.epoch_ns,
        folder: shared.data.clone(),
    };
    let keep = wanted.keep;
    let told = told(wanted);
    let looked =
        onboard::look(&source, flight.number, &told).await.map_err(|trouble| Refusal::from(&trouble))?;
    let liftoff_s = looked.flight.liftoff_s().unwrap_or(0.0);
    let mut seen = LogSeen {
        about: looked.about,
        body: looked.flight.body(looked.body).to_owned(),
        unusable: looked.unusable as u64,
        preview: looked.preview,
        fit: None,
        problem: None,
        kept: false,
    };
    match looked.alignment {
        Err(trouble) => seen.problem = Some(trouble.to_string()),
        Ok(alignment) => {
            seen.fit = Some(LogFit {
                liftoff_s: liftoff_s - alignment.shift_s,
                correlation: alignment.correlation,
                next_best: alignment.next_best,
                height_rms_m: alignment.height_rms_m,
            });
            if keep {
                onboard::keep(&shared.data, &looked.flight, looked.body, told, alignment)
                    .await
                    .map_err(|trouble| Refusal::from(&trouble))?;
                shared.spool.wait_anew(flight.number);
                shared.hindsight.ask(flight.number);
                seen.kept = true;
            }
        }
    }
    Ok(Json(seen))
}

fn told(wanted: LogWanted) -> Told {
    let column = wanted.columns.into_iter().map(|one| Declared {
        column: one.column,
        means: one.means,
        unit: one.unit,
        missing: one.missing,
    });
    Told {
        name: super::act::plain(&wanted.name, LONGEST_NAME),
        text: wanted.text,
        declaration: Declaration {
            body: wanted.body,
            time: Time { column: wanted.time.column, unit: wanted.time.unit },
            column: column.collect(),
            separator: wanted.separator.chars().next(),
        },
    }
}
