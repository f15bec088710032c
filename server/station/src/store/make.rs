//! Making a store's file: marked as ours before it becomes a WAL database, so that the mark is in its first page.

use std::path::Path;

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection};

use super::check::APPLICATION_ID;
use super::error::StoreError;

/// Makes the file, marks it, and runs `then`, which is this program's own SQL.
pub(super) async fn make(file: &Path, then: &str) -> Result<(), StoreError> {
    let mut connection = SqliteConnectOptions::new()
        .filename(file)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Delete)
        .connect()
        .await
        .map_err(StoreError::sql(file, "being made"))?;
    sqlx::raw_sql(AssertSqlSafe(format!("PRAGMA application_id = {APPLICATION_ID};\n{then}")))
        .execute(&mut connection)
        .await
        .map_err(StoreError::sql(file, "being made"))?;
    connection.close().await.map_err(StoreError::sql(file, "being made"))
}
