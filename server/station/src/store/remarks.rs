//! What the crew told about flights beside their figures: names, notes, footage, deletions. Read back from the inputs.
//!
//! A deletion is an input like any other, so it can be taken back, and nothing that was received is lost by it. The flight
//! is listed as deleted until the station is next started; from then on it is in no list, and its outputs, by far the most
//! of what it takes, are removed. Its bytes stay among the inputs: `loftwatch rerun --data` still computes them.

use loftwatch_engine::{Footage, Remark, What};
use sqlx::{Row, SqlitePool};

use crate::playback::Flight;

/// All remarks of a store, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Remarks(Vec<Entry>);

#[derive(Clone, Debug, PartialEq)]
struct Entry {
    by: By,
    at_ns: i64,
    remark: Remark,
}

/// Who told it, and when.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct By {
    /// Station time, ns.
    pub(crate) told_ns: i64,
    /// A crew member.
    pub(crate) who: String,
}

/// What holds of one flight.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Remarked {
    /// What it is called, if that was told afterwards.
    pub(crate) name: Option<String>,
    /// By whom.
    pub(crate) name_by: Option<By>,
    /// Notes; empty when there are none.
    pub(crate) notes: String,
    /// By whom.
    pub(crate) notes_by: Option<By>,
    /// Footage.
    pub(crate) footage: Vec<Footage>,
    /// When it was deleted, station time ns.
    pub(crate) deleted_ns: Option<i64>,
}

/// Reads them.
pub(crate) async fn read(inputs: &SqlitePool) -> Result<Remarks, sqlx::Error> {
    // A store of an earlier schema has none; the index finds them without a look at the bytes.
    let rows = sqlx::query(
        "SELECT t_ns, data FROM input INDEXED BY input_other WHERE kind <> 'bytes' AND kind = 'remark' ORDER BY number",
    )
    .fetch_all(inputs)
    .await?;
    let mut all = Vec::with_capacity(rows.len());
    for row in &rows {
        if let Ok(What::Remark { at_ns, remark, who }) = serde_json::from_slice(row.try_get("data")?) {
            all.push(Entry { by: By { told_ns: row.try_get("t_ns")?, who }, at_ns, remark });
        }
    }
    Ok(Remarks(all))
}

/// What a flight is called in lists: by its name, or by the vehicle and its number.
pub(crate) fn label(flight: &Flight, held: &Remarked) -> String {
    let name = held.name.as_deref().unwrap_or(&flight.name);
    let vehicle = if flight.vehicle.is_empty() { "Flight" } else { &flight.vehicle };
    if name.is_empty() { format!("{vehicle} {}", flight.number) } else { name.to_owned() }
}

impl Remarks {
    /// When the only flight of a store was deleted, if it is.
    pub(crate) fn newest_deletion(&self) -> Option<i64> {
        let newest = self.0.iter().rfind(|told| matches!(told.remark, Remark::Delete | Remark::Restore))?;
        (newest.remark == Remark::Delete).then_some(newest.by.told_ns)
    }

    /// What holds of a flight.
    pub(crate) fn of(&self, flight: &Flight) -> Remarked {
        self.of_span(flight.opened_ns, flight.ended_ns)
    }

    /// What holds of the flight between two instants, station time ns.
    pub(crate) fn of_span(&self, opened_ns: i64, ended_ns: Option<i64>) -> Remarked {
        let mut held = Remarked::default();
        let span = opened_ns..=ended_ns.unwrap_or(i64::MAX);
        for told in self.0.iter().filter(|told| span.contains(&told.at_ns)) {
            match &told.remark {
                Remark::Name(name) => {
                    (held.name, held.name_by) = (Some(name.clone()), Some(told.by.clone()));
                }
                Remark::Notes(notes) => {
                    (held.notes, held.notes_by) = (notes.clone(), Some(told.by.clone()));
                }
                Remark::Footage(footage) => held.footage.clone_from(footage),
                Remark::Delete => held.deleted_ns = Some(told.by.told_ns),
                Remark::Restore => held.deleted_ns = None,
            }
        }
        held
    }

    /// The newest of them, told at or after an instant, if it is this one.
    pub(crate) fn has(&self, since_ns: i64, at_ns: i64, remark: &Remark) -> bool {
        self.0.iter().any(|told| told.by.told_ns >= since_ns && told.at_ns == at_ns && told.remark == *remark)
    }
}
