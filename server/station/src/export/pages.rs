//! Rows of the outputs in pages of about a megabyte. SQLite puts the lines of a page together itself: a value for each row
//! would cost more than reading the row.

use loftwatch_export::Table;
use sqlx::pool::PoolConnection;
use sqlx::sqlite::SqliteRow;
use sqlx::{AssertSqlSafe, Row as _, Sqlite, SqliteConnection};

use super::make::Trouble;
use super::source::Source;

/// Rows of a page.
const ROWS: i64 = 1_000;

/// Some lines, one a row.
pub(super) struct Page {
    text: Text,
    /// How many.
    pub(super) rows: u64,
}

/// Where the lines of a page lie. What SQLite gave is left there: a day's are three gigabytes, and to copy them once more costs.
enum Text {
    Given(SqliteRow),
    Joined(String),
}

impl Page {
    /// Made of lines that were put together elsewhere.
    pub(super) const fn joined(text: String, rows: u64) -> Self {
        Self { text: Text::Joined(text), rows }
    }

    /// The lines. Of estimates: `utc_offset_ns data`; with hindsight `utc_offset_ns body data`; of all others
    /// `t_ns t_receive_ns utc_offset_ns data`.
    pub(super) fn text(&self) -> Result<&str, Trouble> {
        match &self.text {
            Text::Given(row) => Ok(row.try_get("text")?),
            Text::Joined(text) => Ok(text),
        }
    }
}

/// Reads a table of one flight in order.
#[derive(Debug)]
pub(super) struct Pages {
    source: Source,
    /// One connection for all pages: each has its thread, and a page that comes from another one finds cold caches.
    connection: Option<PoolConnection<Sqlite>>,
    table: Table,
    flight: u32,
    /// Where the last page ended: station time and number, or body and time.
    after: (i64, i64),
    after_s: f64,
    done: bool,
}

impl Pages {
    pub(super) fn new(source: Source, table: Table, flight: u32) -> Self {
        Self {
            source,
            connection: None,
            table,
            flight,
            after: (i64::MIN, -1),
            after_s: f64::NEG_INFINITY,
            done: false,
        }
    }

    /// How many rows there are.
    pub(super) async fn count(&self) -> Result<u64, Trouble> {
        let count: i64 = if self.table == Table::Smoothed {
            sqlx::query_scalar("SELECT count(*) FROM smoothed WHERE flight = ?")
                .bind(self.flight)
                .fetch_one(&self.source.derived)
                .await?
        } else {
            sqlx::query_scalar("SELECT count(*) FROM output WHERE flight = ? AND kind = ?")
                .bind(self.flight)
                .bind(self.table.kind())
                .fetch_one(&self.source.derived)
                .await?
        };
        Ok(count as u64)
    }

    pub(super) async fn next(&mut self) -> Result<Option<Page>, Trouble> {
        if self.done {
            return Ok(None);
        }
        let mut connection = match self.connection.take() {
            Some(connection) => connection,
            None => self.source.derived.acquire().await?,
        };
        let page = if self.table == Table::Smoothed {
            self.next_smoothed(&mut connection).await?
        } else {
            self.next_output(&mut connection).await?
        };
        self.connection = Some(connection);
        self.done = page.as_ref().is_none_or(|page| (page.rows as i64) < ROWS);
        Ok(page)
    }

    async fn next_output(&mut self, connection: &mut SqliteConnection) -> Result<Option<Page>, Trouble> {
        let line = if self.table == Table::Estimates {
            "utc_offset_ns || ' ' || data"
        } else {
            "t_ns || ' ' || t_receive_ns || ' ' || utc_offset_ns || ' ' || data"
        };
        // The index holds flight, kind, time and the number: the rows come in order without being sorted.
        let sql = format!(
            "SELECT count(*) AS n, max(t_ns) AS t, max(seq) AS s, group_concat({line}, char(10)) AS text FROM \
             (SELECT seq, t_ns, t_receive_ns, utc_offset_ns, data FROM output INDEXED BY output_by_kind \
              WHERE flight = ?1 AND kind = ?2 AND t_ns >= ?3 AND (t_ns, seq) > (?3, ?4) ORDER BY t_ns, seq LIMIT ?5)"
        );
        let row = sqlx::query(AssertSqlSafe(sql))
            .bind(self.flight)
            .bind(self.table.kind())
            .bind(self.after.0)
            .bind(self.after.1)
            .bind(ROWS)
            .fetch_one(connection)
            .await?;
        let rows: i64 = row.try_get("n")?;
        if rows == 0 {
            return Ok(None);
        }
        self.after = (row.try_get("t")?, row.try_get("s")?);
        Ok(Some(Page { text: Text::Given(row), rows: rows as u64 }))
    }

    async fn next_smoothed(&mut self, connection: &mut SqliteConnection) -> Result<Option<Page>, Trouble> {
        let rows = sqlx::query(
            "SELECT body, t_s, (SELECT utc_offset_ns FROM flight WHERE number = ?1) || ' ' || body || ' ' || data AS line FROM smoothed \
             WHERE flight = ?1 AND (body, t_s) > (?2, ?3) ORDER BY body, t_s LIMIT ?4",
        )
        .bind(self.flight)
        .bind(self.after.0.max(-1))
        .bind(self.after_s)
        .bind(ROWS)
        .fetch_all(connection)
        .await?;
        let Some(last) = rows.last() else { return Ok(None) };
        (self.after.0, self.after_s) = (last.try_get("body")?, last.try_get("t_s")?);
        let lines = rows.iter().map(|row| row.try_get::<&str, _>("line")).collect::<Result<Vec<_>, _>>()?;
        Ok(Some(Page::joined(lines.join("\n"), rows.len() as u64)))
    }
}
