//! What can be wrong with a data folder, said so that a person knows what happened, what was kept and what to do.

use std::path::{Path, PathBuf};

/// Why the store cannot be used.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StoreError {
    /// The folder cannot be made or written.
    #[error("the data folder `{}` cannot be written: {source}\nnothing was changed\nhint: choose another folder with --data, or {}", folder.display(), remedy(source))]
    NotWritable {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// There is no store where one was expected.
    #[error("there is no Loftwatch data in `{}`\nhint: give the folder that `loftwatch serve` printed, with --data", folder.display())]
    Missing {
        /// The folder.
        folder: PathBuf,
    },
    /// Another station has it.
    #[error("another station uses the data folder `{}`{who}\nnothing was changed\nhint: look at that one's pages, end it first, or choose another folder with --data", folder.display())]
    InUse {
        /// The folder.
        folder: PathBuf,
        /// What the other one wrote into the lock file.
        who: String,
    },
    /// Not one of ours.
    #[error("`{}` is not a Loftwatch file: {why}\nit was not changed\nhint: {}", file.display(), instead(file))]
    Foreign {
        /// The file.
        file: PathBuf,
        /// What was found instead.
        why: String,
    },
    /// Written by a newer program.
    #[error("`{}` was written by a newer Loftwatch (schema {found}, this program knows {known})\nit was not changed\nhint: use the newer program, or add --set-aside to rename it and start afresh", file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest that this program knows.
        known: i64,
    },
    /// Its schema was made by steps that are not ours.
    #[error("the schema of `{}` was not made by the steps that this program knows: {why}\nit was not changed\nhint: use the program that wrote it, or add --set-aside to rename it and start afresh", file.display())]
    Steps {
        /// The file.
        file: PathBuf,
        /// What is odd.
        why: String,
    },
    /// Ours, but broken.
    #[error("`{}` is damaged: {why}\nit was not changed\nhint: {}", file.display(), repair(file))]
    Damaged {
        /// The file.
        file: PathBuf,
        /// What was found.
        why: String,
    },
    /// Outputs of another version, or none.
    #[error("`{}` is missing or of another version; the inputs are all there\nhint: `loftwatch rebuild --data {}` computes it again, and so does the next `loftwatch serve`", file.display(), folder.display())]
    Outdated {
        /// The file.
        file: PathBuf,
        /// The data folder.
        folder: PathBuf,
    },
    /// SQLite said no.
    #[error("the store in `{}` failed while {doing}: {source}\nwhat it holds was not changed\nhint: {}", file.display(), advice(source))]
    Sql {
        /// The file.
        file: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// What SQLite said.
        source: sqlx::Error,
    },
    /// A file operation failed.
    #[error("`{}`: {source}\nit was not changed\nhint: {}", file.display(), remedy(source))]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// The outputs' file is computed from the inputs, and needs no rescue.
fn is_derived(file: &Path) -> bool {
    file.file_name().is_some_and(|name| name == "derived.db")
}

/// What computes the outputs again.
fn rebuild(file: &Path) -> String {
    format!("`loftwatch rebuild --data {}`", file.parent().unwrap_or(file).display())
}

/// What to do about a damaged file.
fn repair(file: &Path) -> String {
    if is_derived(file) {
        return format!(
            "the inputs are not touched by it: {} computes it again, flights and all",
            rebuild(file)
        );
    }
    if std::fs::metadata(file).map_or(0, |about| about.len()) == 0 {
        return "put it back from a copy of the folder; --set-aside renames what is left and starts afresh"
            .to_owned();
    }
    format!(
        "copy the folder before anything else. Most of it can usually be read again: `sqlite3 {} .recover > rows.sql`; the README, \"A damaged store\", says how that becomes the store again. --set-aside renames it and starts afresh",
        file.display()
    )
}

/// What to do about a file that is none of ours.
fn instead(file: &Path) -> String {
    let usual = "choose another folder with --data, or add --set-aside to rename it and start afresh";
    if is_derived(file) {
        format!("if its beginning was damaged, {} computes it again; else {usual}", rebuild(file))
    } else {
        usual.to_owned()
    }
}

/// What to do about a file or folder that the system refuses.
fn remedy(error: &std::io::Error) -> &'static str {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "make room on this disk"
        }
        ErrorKind::ReadOnlyFilesystem => "have this disk mounted for writing",
        ErrorKind::PermissionDenied => "let your user write and read there",
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => "move away the file that is in its place",
        _ => "make this one writable",
    }
}

/// What to do when SQLite refuses. Primary codes: 5 busy, 6 locked, 8 read-only, 10 input/output, 13 full, 14 cannot open.
fn advice(error: &sqlx::Error) -> &'static str {
    match primary_code(error) {
        Some(13) => "the disk is full: make room, or choose another folder with --data",
        Some(8) => {
            "the disk or the folder is read-only: choose another folder with --data, or make this one writable"
        }
        Some(5 | 6) => "another program has the file open: end it, then try again",
        Some(10) => "the disk fails: copy the folder to another one and give that with --data",
        Some(14) => "copy the folder to a disk that can be written, and give that with --data",
        _ => "try again; if it fails again, choose another folder with --data",
    }
}

impl StoreError {
    /// For `map_err` on SQLite's errors: damage is told apart from the rest.
    pub(crate) fn sql(file: &std::path::Path, doing: &'static str) -> impl FnOnce(sqlx::Error) -> Self {
        let file = file.to_owned();
        move |source| {
            if is_damage(&source) {
                Self::Damaged { file, why: source.to_string() }
            } else {
                Self::Sql { file, doing, source }
            }
        }
    }
}

/// SQLITE_CORRUPT (11) and SQLITE_NOTADB (26), with their extended codes.
pub(crate) fn is_damage(error: &sqlx::Error) -> bool {
    primary_code(error).is_some_and(|code| matches!(code, 11 | 26))
}

/// SQLite's primary result code, where there is one.
pub(crate) fn primary_code(error: &sqlx::Error) -> Option<i32> {
    let code: i32 = error.as_database_error()?.code()?.parse().ok()?;
    Some(code & 0xff)
}
