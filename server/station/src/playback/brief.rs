//! What lists say of a flight: events, heads-ups, a few points of its height. Read once and kept when it has ended.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use loftwatch_engine::output::HeadsUp;
use loftwatch_engine::{Output, Said};
use loftwatch_flight::EventKind;
use sqlx::{Row, SqlitePool};

use super::Flight;
use crate::hub::{self, word};
use crate::messages::{EventBrief, HeadsUpBrief};
use crate::store::derived::output;

/// Points of the line on the way up and around apogee, and as many after.
const POINTS: u32 = 40;

/// What lists say of one flight.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Brief {
    pub(crate) events: Vec<EventBrief>,
    pub(crate) headsups: Vec<HeadsUpBrief>,
    pub(crate) line: Vec<[f64; 2]>,
}

/// Those that were read, by flight, with the end that the flight had then.
#[derive(Debug, Default)]
pub(crate) struct Briefs(Mutex<BTreeMap<u32, (i64, Arc<Brief>)>>);

impl Briefs {
    /// That of a flight. `end_ns`: its landing or its end; `open`: it may still change.
    pub(crate) async fn of(
        &self,
        readers: &SqlitePool,
        epoch_ns: i64,
        flight: &Flight,
        end_ns: i64,
        open: bool,
    ) -> Result<Arc<Brief>, sqlx::Error> {
        let kept = |briefs: &Self| {
            let all = briefs.0.lock().unwrap_or_else(PoisonError::into_inner);
            all.get(&flight.number).filter(|(end, _)| *end == end_ns).map(|(_, brief)| Arc::clone(brief))
        };
        if !open && let Some(brief) = kept(self) {
            return Ok(brief);
        }
        let brief = Arc::new(read(readers, epoch_ns, flight, end_ns).await?);
        if !open && flight.ended_ns.is_some() {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            all.insert(flight.number, (end_ns, Arc::clone(&brief)));
        }
        Ok(brief)
    }
}

async fn read(
    readers: &SqlitePool,
    epoch_ns: i64,
    flight: &Flight,
    end_ns: i64,
) -> Result<Brief, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE flight = ? AND kind IN ('event', 'heads_up') ORDER BY seq",
    )
    .bind(flight.number)
    .fetch_all(readers)
    .await?;
    let mut events = BTreeMap::new();
    let mut headsups: BTreeMap<String, HeadsUp> = BTreeMap::new();
    for row in &rows {
        let Output { t_ns, what, .. } = output(row)?;
        match what {
            Said::Event { event, label, .. } => {
                events.insert(event.id, (event, label));
            }
            Said::HeadsUp(headsup) if headsup.on && flight.liftoff_ns.is_some_and(|ns| t_ns >= ns) => {
                let level = headsups
                    .get(&headsup.key)
                    .map_or(headsup.level, |before| before.level.max(headsup.level));
                headsups.insert(headsup.key.clone(), HeadsUp { level, ..headsup });
            }
            _ => {}
        }
    }
    let apogee_ns = events
        .values()
        .find(|(event, _)| event.kind == EventKind::Apogee && event.body == 0 && !event.withdrawn)
        .map(|(event, _)| epoch_ns + (event.t_s * 1e9) as i64);
    let mut told: Vec<EventBrief> = events
        .into_values()
        .filter(|(event, _)| !event.withdrawn)
        .filter(|(event, _)| event.body == 0 || matches!(event.kind, EventKind::Freed | EventKind::Mark))
        .map(|(event, label)| EventBrief {
            event: word(&event.kind),
            label,
            body: event.body as u32,
            t_s: ((hub::seconds(epoch_ns) + event.t_s) * 1e3).round() / 1e3,
        })
        .collect();
    told.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let mut headsups: Vec<HeadsUp> = headsups.into_values().collect();
    headsups.sort_by(|a, b| b.level.cmp(&a.level).then(b.mass_kg.total_cmp(&a.mass_kg)));
    let headsups =
        headsups.into_iter().map(|h| HeadsUpBrief { level: h.level.into(), words: h.words }).collect();
    let line = match flight.liftoff_ns {
        Some(liftoff_ns) => line(readers, flight.number, liftoff_ns, apogee_ns, end_ns).await?,
        None => Vec::new(),
    };
    Ok(Brief { events: told, headsups, line })
}

/// Heights at so many instants, more of them where it rises: each is one look into an index.
async fn line(
    readers: &SqlitePool,
    number: u32,
    liftoff_ns: i64,
    apogee_ns: Option<i64>,
    end_ns: i64,
) -> Result<Vec<[f64; 2]>, sqlx::Error> {
    let whole_s = hub::seconds(end_ns - liftoff_ns).max(0.0);
    let rise_s = apogee_ns.map_or(whole_s, |ns| hub::seconds(ns - liftoff_ns) * 1.5).clamp(0.0, whole_s);
    let share = |from_s: f64, to_s: f64| {
        (0..POINTS).map(move |n| from_s + (to_s - from_s) * f64::from(n) / f64::from(POINTS))
    };
    let times: Vec<i64> = share(0.0, rise_s)
        .chain(share(rise_s, whole_s))
        .chain([whole_s])
        .map(|t_s| liftoff_ns + (t_s * 1e9) as i64)
        .collect();
    let rows = sqlx::query(
        "SELECT value AS t_ns, (SELECT json_extract(data, '$.estimate.estimate.height_m.p50') FROM output \
         WHERE flight = ?1 AND kind = 'estimate' AND body = 0 AND t_ns <= value AND t_ns > value - 5000000000 \
         ORDER BY t_ns DESC LIMIT 1) AS height FROM json_each(?2)",
    )
    .bind(number)
    .bind(serde_json::json!(times).to_string())
    .fetch_all(readers)
    .await?;
    let mut points = Vec::new();
    for row in rows {
        let t_s = hub::seconds(row.try_get::<i64, _>("t_ns")? - liftoff_ns);
        if let Some(height) = row.try_get::<Option<f64>, _>("height")? {
            points.push([(t_s * 100.0).round() / 100.0, (height * 10.0).round() / 10.0]);
        }
    }
    points.dedup();
    Ok(points)
}
