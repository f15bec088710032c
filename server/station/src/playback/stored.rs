//! What a replay reads from the derived store.

use loftwatch_engine::{Output, Setup, What};
use loftwatch_radio::{Field, Layout, Meaning};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqlitePool};

use crate::hub::{fix, of_a_charge};
use crate::messages::LinkNow;
use crate::store::derived::output;

/// One row of the table of flights.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Flight {
    /// Number.
    pub(crate) number: u32,
    /// Name.
    pub(crate) name: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// Opened, station time ns.
    pub(crate) opened_ns: i64,
    /// First motion.
    pub(crate) liftoff_ns: Option<i64>,
    /// Ended.
    pub(crate) ended_ns: Option<i64>,
    /// Apogee of the vehicle above the pad, m, once passed.
    pub(crate) apogee_m: Option<f64>,
    /// UTC is station time plus this.
    pub(crate) utc_offset_ns: i64,
    /// The setup in force.
    pub(crate) setup: Setup,
}

/// Flights, newest first: all, or at most so many.
pub(crate) async fn flights(readers: &SqlitePool, most: Option<u32>) -> Result<Vec<Flight>, sqlx::Error> {
    // A negative limit is none.
    let most = most.map_or(-1, i64::from);
    let rows = sqlx::query("SELECT * FROM flight ORDER BY number DESC LIMIT ?")
        .bind(most)
        .fetch_all(readers)
        .await?;
    rows.iter().map(row).collect()
}

/// One flight.
pub(crate) async fn flight(readers: &SqlitePool, number: u32) -> Result<Option<Flight>, sqlx::Error> {
    let found =
        sqlx::query("SELECT * FROM flight WHERE number = ?").bind(number).fetch_optional(readers).await?;
    found.as_ref().map(row).transpose()
}

/// When the vehicle landed, s on the axis inside outputs: the newest revision of that event, unless withdrawn.
pub(crate) async fn landed_s(readers: &SqlitePool, number: u32) -> Result<Option<f64>, sqlx::Error> {
    let newest: Option<(f64, bool)> = sqlx::query_as(
        "SELECT json_extract(data, '$.event.event.t_s'), json_extract(data, '$.event.event.withdrawn') FROM output \
         WHERE flight = ? AND kind = 'event' AND body = 0 AND json_extract(data, '$.event.event.kind') = 'landing' \
         ORDER BY t_ns DESC, seq DESC LIMIT 1",
    )
    .bind(number)
    .fetch_optional(readers)
    .await?;
    Ok(newest.filter(|(_, withdrawn)| !withdrawn).map(|(t_s, _)| t_s))
}

fn row(row: &SqliteRow) -> Result<Flight, sqlx::Error> {
    let setup =
        serde_json::from_str(row.try_get("setup")?).map_err(|error| sqlx::Error::Decode(error.into()))?;
    Ok(Flight {
        number: row.try_get("number")?,
        name: row.try_get("name")?,
        vehicle: row.try_get("vehicle")?,
        opened_ns: row.try_get("opened_ns")?,
        liftoff_ns: row.try_get("liftoff_ns")?,
        ended_ns: row.try_get("ended_ns")?,
        apogee_m: row.try_get("apogee_m")?,
        utc_offset_ns: row.try_get("utc_offset_ns")?,
        setup,
    })
}

/// The state of each link of the setup: at an instant (station time, ns) and as it changed until another one. In order.
pub(super) async fn links(
    inputs: &SqlitePool,
    told: &Setup,
    from_ns: i64,
    to_ns: i64,
) -> Result<Vec<(i64, LinkNow)>, sqlx::Error> {
    // The index on what is no bytes finds them all; they are few.
    let sql = "SELECT t_ns, data FROM input WHERE kind = 'link_state' AND link = ?1 AND t_ns <= ?3 AND number >= coalesce( \
         (SELECT max(number) FROM input WHERE kind = 'link_state' AND link = ?1 AND t_ns <= ?2), 0) ORDER BY number";
    let mut all = Vec::new();
    for link in &told.links {
        let rows = sqlx::query(sql).bind(&link.name).bind(from_ns).bind(to_ns).fetch_all(inputs).await?;
        for row in rows {
            let what = serde_json::from_slice(row.try_get("data")?);
            if let Ok(What::LinkState { link, up, reason }) = what {
                all.push((
                    row.try_get("t_ns")?,
                    LinkNow { name: link, up, reason, bytes: None, no_frame: false, wrong: None },
                ));
            }
        }
    }
    all.sort_by_key(|(t_ns, _)| *t_ns);
    Ok(all)
}

/// Station time of the flight's newest output, ns; 0 when it has none.
pub(super) async fn end(readers: &SqlitePool, number: u32) -> Result<i64, sqlx::Error> {
    let newest: Option<i64> = sqlx::query_scalar("SELECT max(t_ns) FROM output WHERE flight = ?")
        .bind(number)
        .fetch_one(readers)
        .await?;
    Ok(newest.unwrap_or(0))
}

/// When the next reading after an instant came, or the last one before it; station time ns.
pub(super) async fn neighbour(
    readers: &SqlitePool,
    number: u32,
    at_ns: i64,
    forward: bool,
) -> Result<Option<i64>, sqlx::Error> {
    let sql = if forward {
        "SELECT min(t_ns) FROM output WHERE flight = ? AND kind = 'reading' AND t_ns > ?"
    } else {
        "SELECT max(t_ns) FROM output WHERE flight = ? AND kind = 'reading' AND t_ns < ?"
    };
    sqlx::query_scalar(sql).bind(number).bind(at_ns).fetch_one(readers).await
}

/// Everything that a picture is made of, after `after_ns` up to and with `to_ns`, in order.
pub(super) async fn all(
    readers: &SqlitePool,
    number: u32,
    after_ns: i64,
    to_ns: i64,
) -> Result<Vec<Output>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE flight = ?1 AND t_ns > ?2 AND t_ns <= ?3 AND kind NOT IN ('frame', 'smoothed') ORDER BY seq",
    )
    .bind(number)
    .bind(after_ns)
    .bind(to_ns)
    .fetch_all(readers)
    .await?;
    rows.iter().map(output).collect()
}

/// Of the same stretch, the newest of each kind, body, cue and case and the newest valid position of each body; of what
/// has an end or a correction (flight, events, heads-ups) all. In order.
pub(crate) async fn newest(
    readers: &SqlitePool,
    number: u32,
    after_ns: i64,
    to_ns: i64,
    told: &Setup,
) -> Result<Vec<Output>, sqlx::Error> {
    let (bodies, cues) = (told.plan.bodies.len(), told.plan.cues.len());
    let mut outputs = newest_of_each(readers, number, after_ns, to_ns, bodies, cues).await?;
    for body in 0..bodies {
        // Layout by layout: the index leads to the newest of each, and past those that a body never sends.
        let mut fix: Option<Output> = None;
        for layout in has(told, |meaning| meaning == Meaning::Latitude) {
            let found = last_fix(readers, number, after_ns, to_ns, body, &layout.name).await?;
            if found.as_ref().map(|found| found.t_ns) > fix.as_ref().map(|fix| fix.t_ns) {
                fix = found;
            }
        }
        outputs.extend(fix);
        for layout in has(told, |meaning| of_a_charge(meaning.name()).is_some()) {
            outputs.extend(last_of_layout(readers, number, after_ns, to_ns, body, &layout.name).await?);
        }
    }
    // They are older than the newest reading, or are that reading: in order of time both is well.
    outputs.sort_by_key(|output| output.t_ns);
    Ok(outputs)
}

async fn newest_of_each(
    readers: &SqlitePool,
    number: u32,
    after_ns: i64,
    to_ns: i64,
    bodies: usize,
    cues: usize,
) -> Result<Vec<Output>, sqlx::Error> {
    let upto = |count: usize| serde_json::json!((0..count).collect::<Vec<_>>()).to_string();
    let rows = sqlx::query(
        "WITH body(b) AS (SELECT value FROM json_each(?4)), cue(c) AS (SELECT value FROM json_each(?5)), \
              kind_of_body(k) AS (VALUES ('reading'), ('estimate'), ('prediction'), ('path')), \
              kind_of_all(k) AS (VALUES ('radio'), ('silence'), ('readiness')), \
              assumed(a) AS (VALUES ('planned'), ('main_at_apogee'), ('drogue_only'), ('tumbling'), ('ballistic')), \
              wanted(seq) AS ( \
         SELECT (SELECT seq FROM output WHERE flight = ?1 AND kind = k AND body = b AND t_ns > ?2 AND t_ns <= ?3 \
                 ORDER BY t_ns DESC, seq DESC LIMIT 1) FROM body, kind_of_body \
         UNION ALL \
         SELECT (SELECT seq FROM output WHERE flight = ?1 AND kind = 'cue' AND json_extract(data, '$.cue.cue') = c \
                 AND t_ns > ?2 AND t_ns <= ?3 ORDER BY t_ns DESC, seq DESC LIMIT 1) FROM cue \
         UNION ALL \
         SELECT (SELECT seq FROM output WHERE flight = ?1 AND kind = 'landing' AND body = b \
                 AND json_extract(data, '$.landing.case') = a AND t_ns > ?2 AND t_ns <= ?3 \
                 ORDER BY t_ns DESC, seq DESC LIMIT 1) FROM body, assumed \
         UNION ALL \
         SELECT (SELECT seq FROM output WHERE flight = ?1 AND kind = k AND t_ns > ?2 AND t_ns <= ?3 \
                 ORDER BY t_ns DESC, seq DESC LIMIT 1) FROM kind_of_all \
         UNION ALL \
         SELECT seq FROM output WHERE flight = ?1 AND kind IN ('flight', 'event', 'heads_up', 'accepted') \
                 AND t_ns > ?2 AND t_ns <= ?3) \
         SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output \
         WHERE seq IN (SELECT seq FROM wanted WHERE seq IS NOT NULL) ORDER BY seq",
    )
    .bind(number)
    .bind(after_ns)
    .bind(to_ns)
    .bind(upto(bodies))
    .bind(upto(cues))
    .fetch_all(readers)
    .await?;
    rows.iter().map(output).collect()
}

/// Of the same stretch, the newest reading of a body in one layout whose position is valid.
async fn last_fix(
    readers: &SqlitePool,
    number: u32,
    after_ns: i64,
    to_ns: i64,
    body: usize,
    layout: &str,
) -> Result<Option<Output>, sqlx::Error> {
    let mut before_ns = to_ns;
    loop {
        let rows = sqlx::query(
            "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output INDEXED BY output_of_layout \
             WHERE flight = ?1 AND kind = 'reading' AND body = ?2 AND json_extract(data, '$.reading.layout') = ?5 \
             AND t_ns > ?3 AND t_ns <= ?4 ORDER BY t_ns DESC, seq DESC LIMIT 16",
        )
        .bind(number)
        .bind(body as i64)
        .bind(after_ns)
        .bind(before_ns)
        .bind(layout)
        .fetch_all(readers)
        .await?;
        for row in &rows {
            let output = output(row)?;
            before_ns = output.t_ns - 1;
            if matches!(&output.what, loftwatch_engine::Said::Reading(reading) if fix(reading).is_some()) {
                return Ok(Some(output));
            }
        }
        if rows.is_empty() {
            return Ok(None);
        }
    }
}

/// Of the same stretch, the newest reading of a body in one layout.
async fn last_of_layout(
    readers: &SqlitePool,
    number: u32,
    after_ns: i64,
    to_ns: i64,
    body: usize,
    layout: &str,
) -> Result<Option<Output>, sqlx::Error> {
    let row = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output INDEXED BY output_of_layout \
         WHERE flight = ?1 AND kind = 'reading' AND body = ?2 AND t_ns > ?3 AND t_ns <= ?4 \
         AND json_extract(data, '$.reading.layout') = ?5 ORDER BY t_ns DESC, seq DESC LIMIT 1",
    )
    .bind(number)
    .bind(body as i64)
    .bind(after_ns)
    .bind(to_ns)
    .bind(layout)
    .fetch_optional(readers)
    .await?;
    row.as_ref().map(output).transpose()
}

/// The layouts that carry such a meaning.
fn has(told: &Setup, wanted: impl Fn(Meaning) -> bool + Copy) -> impl Iterator<Item = &Layout> {
    told.layouts.iter().filter(move |layout| {
        let means = |field: &Field| wanted(field.meaning) || field.bits.iter().any(|bit| wanted(bit.meaning));
        layout.fields().iter().any(means)
    })
}
