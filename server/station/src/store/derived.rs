//! The outputs' file: opening it (or starting it afresh), snapshots to go on from, stored outputs for the hub.
//!
//! It is never migrated: a file with another version, a foreign or a damaged one is removed and computed again.

use std::path::Path;
use std::time::Duration;

use loftwatch_engine::{ENGINE_VERSION, Engine, Output, Said};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection, Row, SqliteConnection, SqlitePool};

use super::check::{self, Found};
use super::error::StoreError;
use super::make::make;
use super::{Folder, fnv1a_64};

/// The schema; its hash is the file's version, so that a change of it needs no bookkeeping.
const SCHEMA: &str = include_str!("../../../../migrations/derived/schema.sql");

/// The file's version: schema and engine, folded into what `user_version` holds. Never 0.
fn version() -> i32 {
    let hash = fnv1a_64(SCHEMA.as_bytes()) ^ u64::from(ENGINE_VERSION).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((hash ^ (hash >> 32)) as i32 & 0x7fff_ffff) | 1
}

/// Opens the file for writing; one that is not ours, of this version and whole, is started afresh.
pub(crate) async fn open(folder: &Folder) -> Result<SqliteConnection, StoreError> {
    let file = folder.derived();
    let usable = match check::header(&file) {
        Ok(Found::Ours(found)) => found == i64::from(version()),
        Ok(Found::Nothing) => false,
        Err(_) => {
            tracing::warn!("`{}` is not ours or is damaged; it is computed again", file.display());
            false
        }
    };
    if usable {
        match connect(&file).await {
            Ok(connection) => return Ok(connection),
            Err(error) => tracing::warn!("{error}; it is computed again"),
        }
    }
    folder.drop_derived()?;
    // The version comes last: a file that was left half made is made again.
    let sql = format!("BEGIN;\n{SCHEMA}\nPRAGMA user_version = {};\nCOMMIT;", version());
    make(&file, &sql).await?;
    connect(&file).await
}

/// A connection for writing to a file that is ours.
pub(crate) async fn connect(file: &Path) -> Result<SqliteConnection, StoreError> {
    let mut connection = SqliteConnectOptions::new()
        .filename(file)
        .journal_mode(SqliteJournalMode::Wal)
        // A power cut may lose the newest transactions, never the order: they are computed again.
        .synchronous(SqliteSynchronous::Normal)
        // Folding the log makes the disk write through, and the inputs' commits then wait as well (50 ms were seen): in a
        // flight it is done about once a minute, at 32 MB.
        .pragma("wal_autocheckpoint", "8000")
        .busy_timeout(Duration::from_secs(5))
        .connect()
        .await
        .map_err(StoreError::sql(file, "being opened"))?;
    sqlx::query("SELECT count(*) FROM snapshot")
        .execute(&mut connection)
        .await
        .map_err(StoreError::sql(file, "being looked at"))?;
    Ok(connection)
}

/// Read-only connections. The file must exist.
pub(crate) fn readers(file: &Path) -> SqlitePool {
    let options = check::reading(file).busy_timeout(Duration::from_secs(5));
    SqlitePoolOptions::new().max_connections(8).connect_lazy_with(options)
}

/// Read-only connections for commands that only read.
pub(crate) fn readers_of_stored(folder: &Path) -> Result<SqlitePool, StoreError> {
    let file = super::folder::derived(folder);
    match check::header(&file)? {
        Found::Ours(found) if found == i64::from(version()) => Ok(readers(&file)),
        _ => Err(StoreError::Outdated { file, folder: folder.to_owned() }),
    }
}

/// A frozen engine and its place among inputs and outputs.
#[derive(Debug)]
pub(crate) struct Snapshot {
    /// The engine.
    pub(crate) engine: Engine,
    /// Number of the last input it took.
    pub(crate) input: u64,
    /// Sequence number of its next output.
    pub(crate) next_seq: u64,
}

/// The newest snapshot that can be gone on from: of this engine, whole, at or before input `up_to`, and before any
/// hole in the stored outputs.
pub(crate) async fn newest_snapshot(
    connection: &mut SqliteConnection,
    up_to: u64,
) -> Result<Option<Snapshot>, sqlx::Error> {
    let hole: Option<i64> =
        sqlx::query_scalar("SELECT min(from_seq) FROM hole").fetch_one(&mut *connection).await?;
    let rows = sqlx::query(
        "SELECT input, next_seq, setup_hash, state FROM snapshot \
         WHERE engine_version = ? AND input <= ? AND next_seq <= ? ORDER BY input DESC LIMIT 4",
    )
    .bind(ENGINE_VERSION)
    .bind(i64::try_from(up_to).unwrap_or(i64::MAX))
    .bind(hole.unwrap_or(i64::MAX))
    .fetch_all(connection)
    .await?;
    for row in rows {
        if let Some(snapshot) = thaw(&row)? {
            return Ok(Some(snapshot));
        }
        tracing::warn!("a snapshot cannot be used, an older one is tried");
    }
    Ok(None)
}

/// The newest snapshot of this engine at or before an instant (station time, ns), whatever the outputs' holes.
pub(crate) async fn snapshot_before(
    connection: &mut SqliteConnection,
    t_ns: i64,
) -> Result<Option<Snapshot>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT input, next_seq, setup_hash, state FROM snapshot \
         WHERE engine_version = ? AND t_ns <= ? ORDER BY input DESC LIMIT 4",
    )
    .bind(ENGINE_VERSION)
    .bind(t_ns)
    .fetch_all(connection)
    .await?;
    rows.iter().find_map(|row| thaw(row).transpose()).transpose()
}

fn thaw(row: &SqliteRow) -> Result<Option<Snapshot>, sqlx::Error> {
    let state: &[u8] = row.try_get("state")?;
    let Ok(engine) = postcard::from_bytes::<Engine>(state) else { return Ok(None) };
    if setup_hash(&engine) != row.try_get::<i64, _>("setup_hash")? {
        return Ok(None);
    }
    let (input, next_seq): (i64, i64) = (row.try_get("input")?, row.try_get("next_seq")?);
    Ok(Some(Snapshot { engine, input: input as u64, next_seq: next_seq as u64 }))
}

/// Tells setups apart in snapshots.
pub(crate) fn setup_hash(engine: &Engine) -> i64 {
    serde_json::to_vec(engine.setup()).map_or(0, |json| fnv1a_64(&json) as i64)
}

/// Removes everything from `next_seq` on, and the snapshots after input `after`: it is computed again.
pub(crate) async fn cut(
    connection: &mut SqliteConnection,
    after: u64,
    next_seq: u64,
) -> Result<(), sqlx::Error> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    sqlx::query("DELETE FROM output WHERE seq >= ?").bind(next_seq as i64).execute(&mut *transaction).await?;
    sqlx::query("DELETE FROM hole").execute(&mut *transaction).await?;
    sqlx::query("DELETE FROM snapshot WHERE input > ?").bind(after as i64).execute(&mut *transaction).await?;
    sqlx::query("DELETE FROM flight WHERE first_input > ?")
        .bind(after as i64)
        .execute(&mut *transaction)
        .await?;
    transaction.commit().await
}

/// Number of the flight that the newest stored output is about.
pub(crate) async fn newest_flight(readers: &SqlitePool) -> Result<Option<u32>, sqlx::Error> {
    sqlx::query_scalar("SELECT flight FROM output ORDER BY seq DESC LIMIT 1").fetch_optional(readers).await
}

/// An output from its row (columns `input, t_ns, t_receive_ns, utc_offset_ns, flight, data`).
pub(crate) fn output(row: &SqliteRow) -> Result<Output, sqlx::Error> {
    let data: &str = row.try_get("data")?;
    let what: Said = serde_json::from_str(data).map_err(|error| sqlx::Error::Decode(error.into()))?;
    Ok(Output {
        input: row.try_get::<i64, _>("input")? as u64,
        t_ns: row.try_get("t_ns")?,
        t_receive_ns: row.try_get("t_receive_ns")?,
        utc_offset_ns: row.try_get("utc_offset_ns")?,
        flight: row.try_get::<i64, _>("flight")? as u32,
        what,
    })
}
