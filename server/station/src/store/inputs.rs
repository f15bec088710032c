//! The inputs' file: opening it with care, reading it in order, writing batches.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use loftwatch_engine::{Input, RelayNews, RelayStamp, Setup, What};
use sqlx::migrate::Migrator;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Row, SqliteConnection, SqlitePool};

use super::check::{self, Found};
use super::error::StoreError;
use super::make::make;

static MIGRATIONS: Migrator = sqlx::migrate!("../../migrations/inputs");

/// Rows in one statement; with 50, SQLite stores over 200,000 rows a second.
const ROWS_A_STATEMENT: usize = 50;

/// The newest schema that this program knows.
fn known_schema() -> i64 {
    MIGRATIONS.iter().map(|migration| migration.version).max().unwrap_or(0)
}

/// Opens the file for the recorder: looked at first, copied before a migration, migrated.
pub(crate) async fn open(file: &Path) -> Result<SqliteConnection, StoreError> {
    let known = known_schema();
    match check::header(file)? {
        Found::Nothing => {
            check::nothing_lost(file)?;
            make(file, "").await?;
        }
        Found::Ours(found) if found > known => {
            return Err(StoreError::Newer { file: file.to_owned(), found, known });
        }
        Found::Ours(found) => {
            if found > 0 {
                check::contents(file, found, &MIGRATIONS).await?;
            }
            if found > 0 && found < known {
                copy(file, found).await?;
            }
        }
    }
    let mut connection = connect(file).await?;
    MIGRATIONS.run(&mut connection).await.map_err(|error| StoreError::Sql {
        file: file.to_owned(),
        doing: "its schema was brought up to date",
        source: sqlx::Error::from(error),
    })?;
    let version = sqlx::query_scalar::<_, i64>("PRAGMA user_version").fetch_one(&mut connection).await;
    if version.map_err(StoreError::sql(file, "being opened"))? != known {
        // The header is written back at once, so that the next look at it, as plain bytes, sees this schema.
        let mark = format!("PRAGMA user_version = {known}; PRAGMA wal_checkpoint(TRUNCATE)");
        sqlx::raw_sql(AssertSqlSafe(mark))
            .execute(&mut connection)
            .await
            .map_err(StoreError::sql(file, "being marked with its schema"))?;
    }
    Ok(connection)
}

/// A connection for writing to a file that is ours. It never folds the write-ahead log by itself, and its commits do not wait
/// for the disk: the log is synced beside it (`sync`).
pub(crate) async fn connect(file: &Path) -> Result<SqliteConnection, StoreError> {
    SqliteConnectOptions::new()
        .filename(file)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Normal)
        .pragma("wal_autocheckpoint", "0")
        .busy_timeout(Duration::from_secs(5))
        .connect()
        .await
        .map_err(StoreError::sql(file, "being opened"))
}

/// Folds the write-ahead log into its file when nobody else has it open any more.
pub(crate) async fn fold(file: &Path) {
    let folded = async {
        let mut connection = SqliteConnectOptions::new().filename(file).connect().await?;
        sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut connection).await?;
        connection.close().await
    };
    if let Err(error) = folded.await {
        tracing::debug!("`{}` keeps its write-ahead log: {error}", file.display());
    }
}

/// A copy beside the file, made before a migration.
async fn copy(file: &Path, schema: i64) -> Result<(), StoreError> {
    let beside = file.with_extension(format!("schema-{schema}.db"));
    if beside.exists() {
        return Ok(());
    }
    let mut connection = SqliteConnectOptions::new()
        .filename(file)
        .read_only(true)
        .connect()
        .await
        .map_err(StoreError::sql(file, "being copied"))?;
    sqlx::query("VACUUM INTO ?")
        .bind(beside.to_string_lossy().into_owned())
        .execute(&mut connection)
        .await
        .map_err(StoreError::sql(file, "being copied"))?;
    tracing::info!("`{}` is kept as `{}` before its schema changes", file.display(), beside.display());
    connection.close().await.map_err(StoreError::sql(file, "being copied"))
}

/// Read-only connections. The file must exist.
pub(crate) fn readers(file: &Path) -> SqlitePool {
    let options = check::reading(file).busy_timeout(Duration::from_secs(5));
    SqlitePoolOptions::new().max_connections(4).connect_lazy_with(options)
}

/// Read-only connections for commands that only read; the file is looked at first.
pub(crate) async fn readers_of_stored(folder: &Path) -> Result<(SqlitePool, PathBuf), StoreError> {
    let file = super::folder::inputs(folder);
    match check::header(&file)? {
        Found::Nothing | Found::Ours(0) => return Err(StoreError::Missing { folder: folder.to_owned() }),
        Found::Ours(found) if found > known_schema() => {
            return Err(StoreError::Newer { file, found, known: known_schema() });
        }
        Found::Ours(found) => check::contents(&file, found, &MIGRATIONS).await?,
    }
    Ok((readers(&file), file))
}

/// Stores inputs, all or none.
pub(crate) async fn write(connection: &mut SqliteConnection, inputs: &[Input]) -> Result<(), sqlx::Error> {
    if inputs.len() <= ROWS_A_STATEMENT {
        // One statement is a transaction by itself, and one trip to SQLite's thread instead of three.
        return insert(connection, inputs).await;
    }
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    for some in inputs.chunks(ROWS_A_STATEMENT) {
        insert(&mut transaction, some).await?;
    }
    transaction.commit().await
}

async fn insert(connection: &mut SqliteConnection, inputs: &[Input]) -> Result<(), sqlx::Error> {
    if inputs.is_empty() {
        return Ok(());
    }
    // Nearly all rows have no far end: they are stored without its columns, which is faster.
    let relayed = inputs.iter().any(|input| stamp(&input.what).is_some());
    let (row, more) = if relayed {
        ("(?,?,?,?,?,?,?,?,?,?)", ", far_store, far_number, far_ns, heard_ns")
    } else {
        ("(?,?,?,?,?,?)", "")
    };
    let rows = vec![row; inputs.len()].join(",");
    let sql = format!("INSERT INTO input (number, t_ns, utc_ns, kind, link, data{more}) VALUES {rows}");
    let mut query = sqlx::query(AssertSqlSafe(sql));
    for input in inputs {
        let (kind, link, data) = columns(&input.what)?;
        query = query
            .bind(input.number as i64)
            .bind(input.t_ns)
            .bind(input.utc_ns)
            .bind(kind)
            .bind(link)
            .bind(data);
        if relayed {
            let stamp = stamp(&input.what);
            query = query
                .bind(stamp.map(|stamp| stamp.store))
                .bind(stamp.map(|stamp| stamp.number as i64))
                .bind(stamp.map(|stamp| stamp.far_ns))
                .bind(stamp.map(|stamp| stamp.heard_ns));
        }
    }
    query.execute(connection).await?;
    Ok(())
}

/// What a remote receiver says of its input.
const fn stamp(what: &What) -> Option<&RelayStamp> {
    match what {
        What::Relayed { stamp, .. } => Some(stamp),
        _ => None,
    }
}

fn columns(what: &What) -> Result<(&'static str, Option<String>, Vec<u8>), sqlx::Error> {
    let (kind, link) = match what {
        What::Bytes { link, bytes } | What::Relayed { link, news: RelayNews::Bytes(bytes), .. } => {
            return Ok(("bytes", Some(link.clone()), bytes.clone()));
        }
        What::Relayed { link, .. } => ("relayed", Some(link.clone())),
        What::LinkState { link, .. } => ("link_state", Some(link.clone())),
        What::Lost { link, .. } => ("lost", Some(link.clone())),
        What::SetupChange(_) | What::SetupByCrew { .. } => ("setup_change", None),
        What::Mark { .. } => ("mark", None),
        What::CorrectMark { .. } => ("correct_mark", None),
        What::WithdrawMark { .. } => ("withdraw_mark", None),
        What::NameFlight { .. } => ("name_flight", None),
        What::EndFlight { .. } => ("end_flight", None),
        What::Accept(_) => ("accept", None),
        What::Remark { .. } => ("remark", None),
        What::MendSetup { .. } => ("mend_setup", None),
        What::Started => ("started", None),
    };
    Ok((kind, link, serde_json::to_vec(what).map_err(|error| sqlx::Error::Encode(error.into()))?))
}

/// The rows as they are computed: a setup that was mended afterwards stands where it was told.
async fn as_mended(pool: &SqlitePool, rows: &[SqliteRow]) -> Result<Vec<Input>, sqlx::Error> {
    let mut all = rows.iter().map(input).collect::<Result<Vec<Input>, _>>()?;
    if !all.iter().any(|input| input.what.setup().is_some()) {
        return Ok(all);
    }
    let mended = sqlx::query(
        "SELECT * FROM input INDEXED BY input_other WHERE kind <> 'bytes' AND kind = 'mend_setup' ORDER BY number",
    )
    .fetch_all(pool)
    .await?;
    for row in &mended {
        let What::MendSetup { setup, of } = input(row)?.what else { continue };
        for told in all.iter_mut().filter(|told| of.contains(&told.number)) {
            match &mut told.what {
                What::SetupChange(old) | What::SetupByCrew { setup: old, .. } => old.clone_from(&setup),
                _ => {}
            }
        }
    }
    Ok(all)
}

/// A row as it stands.
fn input(row: &SqliteRow) -> Result<Input, sqlx::Error> {
    let kind: &str = row.try_get("kind")?;
    let data: &[u8] = row.try_get("data")?;
    let what = if kind == "bytes" {
        let link = row.try_get::<Option<String>, _>("link")?.unwrap_or_default();
        // A file of schema 2 or before, which is read as it is, has no such column.
        let far_number = match row.try_get::<Option<i64>, _>("far_number") {
            Err(sqlx::Error::ColumnNotFound(_)) => None,
            number => number?,
        };
        match far_number {
            None => What::Bytes { link, bytes: data.to_vec() },
            Some(number) => What::Relayed {
                link,
                stamp: RelayStamp {
                    store: row.try_get("far_store")?,
                    number: number as u64,
                    far_ns: row.try_get("far_ns")?,
                    heard_ns: row.try_get("heard_ns")?,
                },
                news: RelayNews::Bytes(data.to_vec()),
            },
        }
    } else {
        serde_json::from_slice(data).map_err(|error| sqlx::Error::Decode(error.into()))?
    };
    Ok(Input {
        number: row.try_get::<i64, _>("number")? as u64,
        t_ns: row.try_get("t_ns")?,
        utc_ns: row.try_get("utc_ns")?,
        what,
    })
}

/// The inputs after `after` and up to `up_to`, in order, at most `most`.
pub(crate) async fn read(
    pool: &SqlitePool,
    after: u64,
    up_to: u64,
    most: u32,
) -> Result<Vec<Input>, sqlx::Error> {
    let rows = sqlx::query("SELECT * FROM input WHERE number > ? AND number <= ? ORDER BY number LIMIT ?")
        .bind(after as i64)
        .bind(i64::try_from(up_to).unwrap_or(i64::MAX))
        .bind(most)
        .fetch_all(pool)
        .await?;
    as_mended(pool, &rows).await
}

/// The relays that passed something on.
pub(crate) async fn relays(pool: &SqlitePool) -> Result<Vec<String>, sqlx::Error> {
    // A file of schema 2 or before, which is read as it is, has no such column, and no relays.
    let columns: Vec<String> =
        sqlx::query_scalar("SELECT name FROM pragma_table_info('input')").fetch_all(pool).await?;
    if !columns.iter().any(|column| column == "far_number") {
        return Ok(Vec::new());
    }
    // One step in the index a relay, not one a row.
    let mut all: Vec<String> = Vec::new();
    loop {
        let next: Option<String> = sqlx::query_scalar(
            "SELECT link FROM input WHERE far_number IS NOT NULL AND link > ? ORDER BY link LIMIT 1",
        )
        .bind(all.last().map_or("", String::as_str))
        .fetch_optional(pool)
        .await?;
        let Some(next) = next else { return Ok(all) };
        all.push(next);
    }
}

/// What this station took in itself after `after`, in order, at most `most`.
pub(crate) async fn read_own(pool: &SqlitePool, after: u64, most: u32) -> Result<Vec<Input>, sqlx::Error> {
    // By the column, not by its name: an older file has none, and then all are its own.
    let own = if relays(pool).await?.is_empty() { "" } else { "AND far_number IS NULL" };
    let sql = format!("SELECT * FROM input WHERE number > ? {own} ORDER BY number LIMIT ?");
    let rows = sqlx::query(AssertSqlSafe(sql)).bind(after as i64).bind(most).fetch_all(pool).await?;
    as_mended(pool, &rows).await
}

/// What a relay passed on after `after`, in order, at most `most`.
pub(crate) async fn read_relayed(
    pool: &SqlitePool,
    link: &str,
    after: u64,
    most: u32,
) -> Result<Vec<Input>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT * FROM input WHERE number > ? AND far_number IS NOT NULL AND link = ? ORDER BY number LIMIT ?",
    )
    .bind(after as i64)
    .bind(link)
    .bind(most)
    .fetch_all(pool)
    .await?;
    rows.iter().map(input).collect()
}

/// What the store ends with.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(crate) struct End {
    /// Number of the newest input, 0 for none.
    pub(crate) number: u64,
    /// Its station time.
    pub(crate) t_ns: i64,
}

/// The end of the store.
pub(crate) async fn end(pool: &SqlitePool) -> Result<End, sqlx::Error> {
    let row = sqlx::query("SELECT number, t_ns FROM input ORDER BY number DESC LIMIT 1")
        .fetch_optional(pool)
        .await?;
    row.map_or(Ok(End::default()), |row| {
        Ok(End { number: row.try_get::<i64, _>("number")? as u64, t_ns: row.try_get("t_ns")? })
    })
}

/// The first recorded setup, with its input.
pub(crate) async fn first_setup(pool: &SqlitePool) -> Result<Option<(Input, Setup)>, sqlx::Error> {
    setup_input(pool, "SELECT * FROM input WHERE kind = 'setup_change' ORDER BY number LIMIT 1").await
}

/// The newest recorded setup, with its input.
pub(crate) async fn last_setup(pool: &SqlitePool) -> Result<Option<(Input, Setup)>, sqlx::Error> {
    setup_input(pool, "SELECT * FROM input WHERE kind = 'setup_change' ORDER BY number DESC LIMIT 1").await
}

async fn setup_input(pool: &SqlitePool, sql: &'static str) -> Result<Option<(Input, Setup)>, sqlx::Error> {
    let Some(row) = sqlx::query(sql).fetch_optional(pool).await? else { return Ok(None) };
    let Some(input) = as_mended(pool, &[row]).await?.pop() else { return Ok(None) };
    let Some(setup) = input.what.setup().cloned() else { return Ok(None) };
    Ok(Some((input, setup)))
}

/// All inputs that told a setup, as it is computed with now.
pub(crate) async fn setups(pool: &SqlitePool) -> Result<Vec<Input>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT * FROM input INDEXED BY input_other WHERE kind <> 'bytes' AND kind = 'setup_change' ORDER BY number",
    )
    .fetch_all(pool)
    .await?;
    as_mended(pool, &rows).await
}

/// The newest inputs that are presses of the crew, newest first.
pub(crate) async fn newest_of_crew(pool: &SqlitePool, most: u32) -> Result<Vec<Input>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT * FROM input WHERE number IN (SELECT number FROM crew ORDER BY number DESC LIMIT ?) ORDER BY number DESC",
    )
    .bind(most)
    .fetch_all(pool)
    .await?;
    rows.iter().map(input).collect()
}

/// How many bytes of each link are stored.
pub(crate) async fn stored_bytes(pool: &SqlitePool) -> Result<BTreeMap<String, u64>, sqlx::Error> {
    let rows =
        sqlx::query("SELECT link, sum(length(data)) AS bytes FROM input WHERE kind = 'bytes' GROUP BY link")
            .fetch_all(pool)
            .await?;
    rows.iter()
        .map(|row| {
            Ok((
                row.try_get::<Option<String>, _>("link")?.unwrap_or_default(),
                row.try_get::<i64, _>("bytes")? as u64,
            ))
        })
        .collect()
}

/// The newest input of a remote receiver: its number and its time of hearing on this station's clock.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RelayEnd {
    /// Number in the far end's store.
    pub(crate) number: u64,
    /// When it was heard, station time ns.
    pub(crate) heard_ns: i64,
}

/// Steps along the index from one far store to the next and takes the last row of each: grouping would read every row that was
/// ever passed on, at each start.
const RELAY_ENDS: &str = "
WITH RECURSIVE far (link, far_store) AS (
    SELECT * FROM (SELECT link, far_store FROM input WHERE far_number IS NOT NULL ORDER BY link, far_store LIMIT 1)
    UNION ALL
    SELECT next.link, next.far_store FROM far JOIN input AS next ON next.number = coalesce(
        (SELECT number FROM input WHERE far_number IS NOT NULL AND link = far.link AND far_store > far.far_store
         ORDER BY far_store LIMIT 1),
        (SELECT number FROM input WHERE far_number IS NOT NULL AND link > far.link ORDER BY link, far_store LIMIT 1)))
SELECT far.link, far.far_store, newest.far_number AS number, newest.heard_ns
FROM far JOIN input AS newest ON newest.number =
    (SELECT number FROM input WHERE far_number IS NOT NULL AND link = far.link AND far_store = far.far_store
     ORDER BY far_number DESC LIMIT 1)";

/// The newest stored input of each remote receiver, by link and far store.
pub(crate) async fn relay_ends(pool: &SqlitePool) -> Result<BTreeMap<(String, i64), RelayEnd>, sqlx::Error> {
    let rows = sqlx::query(RELAY_ENDS).fetch_all(pool).await?;
    rows.iter()
        .map(|row| {
            let key =
                (row.try_get::<Option<String>, _>("link")?.unwrap_or_default(), row.try_get("far_store")?);
            let number = row.try_get::<i64, _>("number")? as u64;
            Ok((key, RelayEnd { number, heard_ns: row.try_get("heard_ns")? }))
        })
        .collect()
}

/// What concerns a link, after `after` and up to `up_to`, in order, at most `most`: its own inputs and every start.
pub(crate) async fn read_of_link(
    pool: &SqlitePool,
    link: &str,
    after: u64,
    up_to: u64,
    most: u32,
) -> Result<Vec<Input>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT * FROM input WHERE number > ? AND number <= ? AND (link = ? OR kind = 'started') ORDER BY number LIMIT ?",
    )
    .bind(after as i64)
    .bind(i64::try_from(up_to).unwrap_or(i64::MAX))
    .bind(link)
    .bind(most)
    .fetch_all(pool)
    .await?;
    rows.iter().map(input).collect()
}

/// The newest bytes of a link, in the order in which they came, at most `most`.
pub(crate) async fn newest_bytes(pool: &SqlitePool, link: &str, most: usize) -> Result<Vec<u8>, sqlx::Error> {
    let rows =
        sqlx::query("SELECT data FROM input WHERE kind = 'bytes' AND link = ? ORDER BY number DESC LIMIT ?")
            .bind(link)
            // Each piece has a byte at least.
            .bind(most as i64)
            .fetch_all(pool)
            .await?;
    let mut pieces: Vec<&[u8]> = Vec::new();
    let mut taken = 0;
    for row in &rows {
        let piece: &[u8] = row.try_get("data")?;
        taken += piece.len();
        pieces.push(piece);
        if taken >= most {
            break;
        }
    }
    pieces.reverse();
    let bytes = pieces.concat();
    Ok(bytes[bytes.len().saturating_sub(most)..].to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn the_newest_row_of_each_far_store_is_what_grouping_all_rows_finds() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("inputs.db");
        let mut store = open(&file).await.unwrap();
        let readers = readers(&file);
        assert!(relay_ends(&readers).await.unwrap().is_empty());
        let mut expected = BTreeMap::new();
        let far = [("ridge", 7), ("hill", 9), ("ridge", -3), ("ridge", 40), ("hill", 9), ("a far one", 7)];
        for (number, (i, (link, store_there))) in
            (1..).zip((0..5).flat_map(|i| far.iter().map(move |f| (i, f))))
        {
            // Rows that nobody passed on lie between, and a later one may have been passed on with a lower number.
            let far_number = if i == 3 { 2 } else { 10 + number };
            sqlx::query("INSERT INTO input VALUES (?, 0, 0, 'bytes', ?, x'00', NULL, NULL, NULL, NULL)")
                .bind(2 * number)
                .bind(link)
                .execute(&mut store)
                .await
                .unwrap();
            sqlx::query("INSERT INTO input VALUES (?, 0, 0, 'bytes', ?, x'00', ?, ?, 0, ?)")
                .bind(2 * number + 1)
                .bind(link)
                .bind(store_there)
                .bind(far_number)
                .bind(1_000 * number)
                .execute(&mut store)
                .await
                .unwrap();
            let end = RelayEnd { number: far_number as u64, heard_ns: 1_000 * number };
            let newest = expected.entry((link.to_string(), *store_there)).or_insert(end);
            if end.number > newest.number {
                *newest = end;
            }
        }
        assert_eq!(relay_ends(&readers).await.unwrap(), expected);
    }
}
