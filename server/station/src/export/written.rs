//! What the crew wrote about a flight, gathered from inputs and outputs.

use std::collections::BTreeMap;

use loftwatch_engine::{Said, What};
use loftwatch_export::Flight;
use loftwatch_export::remark::{Kind, Written};
use loftwatch_flight::Origin;

use super::make::Trouble;
use super::source::Source;
use crate::store::remarks::Remarked;

/// In order of time: name and notes as they hold, marks that were not taken back, acceptances that were not.
pub(super) async fn written(
    source: &Source,
    flight: &Flight,
    held: &Remarked,
    [first_input, last_input]: [i64; 2],
) -> Result<Vec<Written>, Trouble> {
    let one = |t_ns: i64, kind: Kind, who: &str, words: &str| Written {
        t_ns,
        kind,
        body: String::new(),
        who: who.to_owned(),
        words: words.to_owned(),
        accepted: None,
    };
    let mut all = Vec::new();
    if let Some(by) = &held.name_by {
        all.push(one(by.told_ns, Kind::Name, &by.who, &flight.name));
    } else if !flight.name.is_empty() {
        let (t_ns, who) =
            named(source, first_input, last_input).await?.unwrap_or((flight.opened_ns, String::new()));
        all.push(one(t_ns, Kind::Name, &who, &flight.name));
    }
    if let Some(by) = held.notes_by.as_ref().filter(|_| !held.notes.trim().is_empty()) {
        all.push(one(by.told_ns, Kind::Notes, &by.who, &held.notes));
    }
    for event in source.events(flight.number).await? {
        if event.origin == Origin::Marked {
            all.push(Written {
                body: flight.body(event.body).to_owned(),
                ..one(
                    flight.station_ns(event.t_s),
                    Kind::Mark,
                    event.who.as_deref().unwrap_or_default(),
                    &event.label,
                )
            });
        }
    }
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "SELECT t_ns, data FROM output WHERE flight = ? AND kind = 'accepted' ORDER BY t_ns, seq",
    )
    .bind(flight.number)
    .fetch_all(&source.derived)
    .await?;
    let mut accepted = BTreeMap::new();
    for (t_ns, data) in rows {
        let Said::Accepted(told) =
            serde_json::from_str(&data).map_err(loftwatch_export::ExportError::from)?
        else {
            continue;
        };
        let written = told.on.then(|| Written {
            accepted: Some([told.what, told.figure, told.limit]),
            ..one(t_ns, Kind::Acceptance, &told.who, &told.why)
        });
        accepted.insert(told.key, written);
    }
    all.extend(accepted.into_values().flatten());
    all.sort_by_key(|one| one.t_ns);
    Ok(all)
}

/// When and by whom a flight was named while it was open.
async fn named(source: &Source, first: i64, last: i64) -> Result<Option<(i64, String)>, Trouble> {
    let row: Option<(i64, Vec<u8>)> = sqlx::query_as(
        "SELECT t_ns, data FROM input INDEXED BY input_other WHERE kind <> 'bytes' AND kind = 'name_flight' \
         AND number BETWEEN ? AND ? ORDER BY number DESC LIMIT 1",
    )
    .bind(first)
    .bind(last)
    .fetch_optional(&source.inputs)
    .await?;
    Ok(row.and_then(|(t_ns, data)| match serde_json::from_slice(&data) {
        Ok(What::NameFlight { who, .. }) => Some((t_ns, who)),
        _ => None,
    }))
}
