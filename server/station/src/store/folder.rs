//! The data folder: where its files are, who uses it, and how it is set aside.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};

use super::error::StoreError;

/// A data folder that is ours alone as long as this lives.
#[derive(Debug)]
pub(crate) struct Folder {
    path: PathBuf,
    _lock: File,
}

impl Folder {
    /// Makes the folder if need be and takes it; the system gives it back when the process ends, however it ends.
    pub(crate) fn take(path: &Path) -> Result<Self, StoreError> {
        let not_writable = |source| StoreError::NotWritable { folder: path.to_owned(), source };
        std::fs::create_dir_all(path).map_err(not_writable)?;
        let mut lock = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path.join("station.lock"))
            .map_err(not_writable)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut who = String::new();
                // Only for the message: an unreadable one is left out.
                if lock.read_to_string(&mut who).is_err() {
                    who.clear();
                }
                let who = if who.trim().is_empty() { String::new() } else { format!(" ({})", who.trim()) };
                return Err(StoreError::InUse { folder: path.to_owned(), who });
            }
            Err(TryLockError::Error(error)) => return Err(not_writable(error)),
        }
        lock.set_len(0)
            .and_then(|()| lock.rewind())
            .and_then(|()| writeln!(lock, "process {}", std::process::id()))
            .map_err(not_writable)?;
        Ok(Self { path: path.to_owned(), _lock: lock })
    }

    /// The folder's path.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The inputs' file.
    pub(crate) fn inputs(&self) -> PathBuf {
        inputs(&self.path)
    }

    /// The outputs' file.
    pub(crate) fn derived(&self) -> PathBuf {
        derived(&self.path)
    }

    /// Renames whatever stands in the way of a fresh store; returns the new names.
    pub(crate) fn set_aside(&self, stamp: &str) -> Result<Vec<PathBuf>, StoreError> {
        let mut renamed = Vec::new();
        for name in [
            "inputs.db",
            "inputs.db-wal",
            "inputs.db-shm",
            "derived.db",
            "derived.db-wal",
            "derived.db-shm",
            // A fresh store has a crew of its own.
            "crew.json",
        ] {
            let old = self.path.join(name);
            if !old.exists() {
                continue;
            }
            let new = self.path.join(name.replacen('.', &format!(".set-aside-{stamp}."), 1));
            std::fs::rename(&old, &new).map_err(|source| StoreError::File { file: old, source })?;
            renamed.push(new);
        }
        Ok(renamed)
    }

    /// Removes the outputs' file: it is computed again.
    pub(crate) fn drop_derived(&self) -> Result<(), StoreError> {
        for name in ["derived.db", "derived.db-wal", "derived.db-shm"] {
            let file = self.path.join(name);
            match std::fs::remove_file(&file) {
                Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
                    return Err(StoreError::File { file, source });
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// The inputs' file of a data folder.
pub(crate) fn inputs(folder: &Path) -> PathBuf {
    folder.join("inputs.db")
}

/// The outputs' file of a data folder.
pub(crate) fn derived(folder: &Path) -> PathBuf {
    folder.join("derived.db")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_one_station_has_a_folder() {
        let folder = tempfile::tempdir().unwrap();
        let first = Folder::take(folder.path()).unwrap();
        assert!(matches!(Folder::take(folder.path()), Err(StoreError::InUse { .. })));
        drop(first);
        assert!(Folder::take(folder.path()).is_ok());
    }

    #[test]
    fn setting_aside_keeps_the_files_under_new_names() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("inputs.db"), "old").unwrap();
        let taken = Folder::take(folder.path()).unwrap();
        let renamed = taken.set_aside("20260102-030405").unwrap();
        assert_eq!(renamed, [folder.path().join("inputs.set-aside-20260102-030405.db")]);
        assert_eq!(std::fs::read_to_string(&renamed[0]).unwrap(), "old");
        assert!(!taken.inputs().exists());
    }
}
