//! Looks at a store's file before anything touches it: is it ours, is it whole, is it from a newer program?
//!
//! First the file's header is read as plain bytes (SQLite file format, section 1.3: magic at 0, user version at 60,
//! application id at 68, both big-endian), then SQLite opens it read-only. Limit: a file above
//! [`CHECK_WHOLE_BYTES`] is not read to its end; damage in it shows when the place is read.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection, Row};

use super::error::StoreError;

/// "LOFT" in the header of our SQLite files.
pub(crate) const APPLICATION_ID: i32 = 0x4c4f_4654;
/// Files up to this size are checked whole at the start: about a second.
const CHECK_WHOLE_BYTES: u64 = 64 * 1024 * 1024;

/// What the header says.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Found {
    /// No file, or an empty one.
    Nothing,
    /// One of ours, with this schema.
    Ours(i64),
}

/// Reads the header. Nothing is opened for writing.
pub(crate) fn header(file: &Path) -> Result<Found, StoreError> {
    let io = |source| StoreError::File { file: file.to_owned(), source };
    let mut head = [0_u8; 100];
    let mut opened = match File::open(file) {
        Ok(opened) => opened,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Found::Nothing),
        Err(error) => return Err(io(error)),
    };
    let length = opened.metadata().map_err(io)?.len();
    if length == 0 {
        return Ok(Found::Nothing);
    }
    let foreign = |why: &str| StoreError::Foreign { file: file.to_owned(), why: why.to_owned() };
    match opened.read_exact(&mut head) {
        Ok(()) => {}
        Err(error) if error.kind() == ErrorKind::UnexpectedEof => {
            return Err(foreign("it is too short for a database"));
        }
        Err(error) => return Err(io(error)),
    }
    if &head[..16] != b"SQLite format 3\0" {
        return Err(foreign("it does not begin like an SQLite database"));
    }
    let word = |at: usize| i32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
    if word(68) != APPLICATION_ID {
        return Err(foreign("it is another program's SQLite database"));
    }
    Ok(Found::Ours(i64::from(word(60))))
}

/// How a file is opened for reading only. On a disk that takes no writing SQLite cannot make the index of a write-ahead log;
/// where there is nothing in the log it is told that nobody writes, and needs none.
pub(crate) fn reading(file: &Path) -> SqliteConnectOptions {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let log = std::fs::metadata(beside(file, "-wal")).map_or(0, |about| about.len());
    let may_write = || std::fs::OpenOptions::new().append(true).open(file).is_ok();
    if log == 0 && !may_write() { options.immutable(true) } else { options }
}

/// Where there is no file, or an empty one: is it a new folder, or has the file been lost? What stands beside it tells.
pub(crate) fn nothing_lost(file: &Path) -> Result<(), StoreError> {
    let length = |file: &Path| std::fs::metadata(file).map_or(0, |about| about.len());
    let log = beside(file, "-wal");
    let outputs = file.with_file_name("derived.db");
    let found = [&log, &outputs].into_iter().find(|file| length(file) > 0);
    found.map_or(Ok(()), |found| {
        let why = format!("it is missing or empty, while `{}` is there", found.display());
        Err(StoreError::Damaged { file: file.to_owned(), why })
    })
}

/// Whether the file is as long as it says: SQLite fills a page that was cut short with zeros, and looks no further where the
/// damage is in a page that it does not need. Header: page size at 16, pages at 28, valid where the counts at 24 and 92
/// are the same (SQLite file format, section 1.3). With something in the write-ahead log the length may be behind.
fn whole_length(file: &Path, length: u64) -> Result<(), StoreError> {
    let io = |source| StoreError::File { file: file.to_owned(), source };
    let log = std::fs::metadata(beside(file, "-wal")).map_or(0, |about| about.len());
    let mut head = [0_u8; 100];
    File::open(file).and_then(|mut opened| opened.read_exact(&mut head)).map_err(io)?;
    let page = match u64::from(u16::from_be_bytes([head[16], head[17]])) {
        1 => 65_536,
        page => page,
    };
    let word = |at: usize| u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
    let told = u64::from(word(28)) * page;
    if log > 0 || word(24) != word(92) || told == 0 || length >= told {
        return Ok(());
    }
    let why = format!("it has {length} bytes and should have {told}: its end is missing");
    Err(StoreError::Damaged { file: file.to_owned(), why })
}

/// One of the files that SQLite keeps beside a database.
pub(super) fn beside(file: &Path, end: &str) -> std::path::PathBuf {
    std::path::PathBuf::from(format!("{}{end}", file.display()))
}

/// Opens the file read-only and looks whether it is whole and of a schema that we know.
/// `marked`: the schema that its header tells.
pub(crate) async fn contents(file: &Path, marked: i64, migrations: &Migrator) -> Result<(), StoreError> {
    let length =
        std::fs::metadata(file).map_err(|source| StoreError::File { file: file.to_owned(), source })?.len();
    whole_length(file, length)?;
    let mut reader =
        reading(file).connect().await.map_err(StoreError::sql(file, "being opened read-only"))?;
    let applied = sqlx::query("SELECT version, success, checksum FROM _sqlx_migrations ORDER BY version")
        .fetch_all(&mut reader)
        .await
        // 1: the table is not there. It was made with the file.
        .map_err(|error| match super::error::primary_code(&error) {
            Some(1) => StoreError::Damaged { file: file.to_owned(), why: error.to_string() },
            _ => StoreError::sql(file, "being looked at")(error),
        })?;
    let read = |error| StoreError::sql(file, "being looked at")(error);
    let known = migrations.iter().map(|migration| migration.version).max().unwrap_or(0);
    let mut steps = migrations.iter();
    let mut newest = 0;
    for row in &applied {
        let (version, success, checksum): (i64, bool, Vec<u8>) = (
            row.try_get("version").map_err(read)?,
            row.try_get("success").map_err(read)?,
            row.try_get("checksum").map_err(read)?,
        );
        if version > known {
            return Err(StoreError::Newer { file: file.to_owned(), found: version, known });
        }
        let odd = |why: String| StoreError::Steps { file: file.to_owned(), why };
        match steps.next() {
            Some(step) if step.version != version => {
                return Err(odd(format!("step {} is missing, step {version} is there", step.version)));
            }
            Some(step) if *step.checksum != *checksum => {
                return Err(odd(format!("step {version} is another than this program's")));
            }
            Some(_) if !success => return Err(odd(format!("step {version} was begun and not finished"))),
            Some(_) => newest = version,
            None => return Err(odd(format!("step {version} is unknown"))),
        }
    }
    if newest < marked {
        let why = format!("its header says {marked} steps, its list ends with {newest}");
        return Err(StoreError::Steps { file: file.to_owned(), why });
    }
    if length <= CHECK_WHOLE_BYTES {
        let verdict: String = sqlx::query_scalar("PRAGMA quick_check(1)")
            .fetch_one(&mut reader)
            .await
            .map_err(StoreError::sql(file, "being checked"))?;
        if verdict != "ok" {
            return Err(StoreError::Damaged { file: file.to_owned(), why: verdict });
        }
    }
    reader.close().await.map_err(StoreError::sql(file, "being closed"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_file_beside_others_is_no_new_folder() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("inputs.db");
        assert!(nothing_lost(&file).is_ok());
        std::fs::write(folder.path().join("inputs.db-wal"), b"").unwrap();
        assert!(nothing_lost(&file).is_ok(), "an empty log holds nothing");
        for name in ["inputs.db-wal", "derived.db"] {
            std::fs::write(folder.path().join(name), b"something").unwrap();
            assert!(matches!(nothing_lost(&file), Err(StoreError::Damaged { .. })), "{name}");
            std::fs::remove_file(folder.path().join(name)).unwrap();
        }
    }

    #[tokio::test]
    async fn a_file_whose_end_is_missing_is_damaged() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("inputs.db");
        super::super::make::make(&file, "CREATE TABLE t (x); INSERT INTO t VALUES (zeroblob(50000));")
            .await
            .unwrap();
        let length = std::fs::metadata(&file).unwrap().len();
        assert!(whole_length(&file, length).is_ok());
        assert!(matches!(whole_length(&file, length - 1), Err(StoreError::Damaged { .. })));
        std::fs::write(folder.path().join("inputs.db-wal"), b"a log").unwrap();
        assert!(whole_length(&file, length - 1).is_ok(), "the log may hold the rest");
    }

    #[test]
    fn tells_our_files_from_others() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("x.db");
        assert_eq!(header(&file).unwrap(), Found::Nothing);
        std::fs::write(&file, b"").unwrap();
        assert_eq!(header(&file).unwrap(), Found::Nothing);
        for foreign in
            [b"short".to_vec(), vec![b'x'; 5_000], [b"SQLite format 3\0".as_slice(), &[0; 100]].concat()]
        {
            std::fs::write(&file, foreign).unwrap();
            assert!(matches!(header(&file), Err(StoreError::Foreign { .. })));
        }
        let mut ours = [b"SQLite format 3\0".as_slice(), &[0; 100]].concat();
        ours[60..64].copy_from_slice(&7_i32.to_be_bytes());
        ours[68..72].copy_from_slice(b"LOFT");
        std::fs::write(&file, ours).unwrap();
        assert_eq!(header(&file).unwrap(), Found::Ours(7));
    }
}
