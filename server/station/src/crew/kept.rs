//! What is kept of the crew: one small file in the data folder, replaced as a whole.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Code;
use crate::store::StoreError;

/// The longest file that is read, bytes: 64 sessions have a tenth of it.
const LONGEST: u64 = 256 * 1024;

/// Code and sessions.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Kept {
    pub(super) code: Code,
    /// By when they joined.
    pub(super) sessions: Vec<Session>,
}

/// A browser that has joined.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Session {
    /// SHA-256 of its token, hexadecimal.
    pub(super) hash: String,
    pub(super) who: String,
    /// Station time, which never goes back.
    pub(super) joined_ns: i64,
}

/// The file, and which state it holds.
#[derive(Debug)]
pub(super) struct File {
    path: PathBuf,
    edition: u64,
}

/// Where it is.
pub(super) fn path(folder: &Path) -> PathBuf {
    folder.join("crew.json")
}

impl File {
    pub(super) fn of(folder: &Path) -> Self {
        Self { path: path(folder), edition: 0 }
    }

    /// What the file holds; a new code, and `true`, where there is none. A damaged one is put aside.
    pub(super) fn read_or_make(&self) -> Result<(Kept, bool), StoreError> {
        let failed = |source| StoreError::File { file: self.path.clone(), source };
        match std::fs::metadata(&self.path) {
            Ok(about) if about.len() <= LONGEST => {
                let bytes = std::fs::read(&self.path).map_err(failed)?;
                match serde_json::from_slice(&bytes) {
                    Ok(kept) => return Ok((kept, false)),
                    Err(error) => self.put_aside(&error.to_string())?,
                }
            }
            Ok(about) => self.put_aside(&format!("{} bytes", about.len()))?,
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(failed(error)),
        }
        let code =
            Code::new().ok_or_else(|| failed(std::io::Error::other("the system gives no random numbers")))?;
        Ok((Kept { code, sessions: Vec::new() }, true))
    }

    fn put_aside(&self, why: &str) -> Result<(), StoreError> {
        let aside = self.path.with_extension("damaged.json");
        std::fs::rename(&self.path, &aside)
            .map_err(|source| StoreError::File { file: self.path.clone(), source })?;
        tracing::warn!(
            "`{}` is damaged ({why}) and was renamed to `{}`: the crew has a new code and joins again",
            self.path.display(),
            aside.display()
        );
        Ok(())
    }

    /// Replaces the file, unless it holds this state already.
    pub(super) fn write(&mut self, kept: &Kept, edition: u64) -> std::io::Result<()> {
        if edition == self.edition {
            return Ok(());
        }
        let beside = self.path.with_extension("json.new");
        let mut text = serde_json::to_vec_pretty(kept)?;
        text.push(b'\n');
        // Not to be read by other users of the machine.
        let mut file =
            OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&beside)?;
        file.write_all(&text)?;
        file.sync_all()?;
        std::fs::rename(&beside, &self.path)?;
        self.edition = edition;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::super::Crew;
    use super::*;

    #[test]
    fn the_file_is_for_the_stations_user_alone() {
        let folder = tempfile::tempdir().unwrap();
        Crew::open(folder.path()).unwrap();
        let mode = std::fs::metadata(path(folder.path())).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    #[test]
    fn a_damaged_file_is_put_aside_and_the_code_is_another_one() {
        let folder = tempfile::tempdir().unwrap();
        for bytes in [&b"{\"code\": \"K7MX"[..], b"{\"code\": \"0000000O\", \"sessions\": []}", b"\xff"] {
            std::fs::write(path(folder.path()), bytes).unwrap();
            let crew = Crew::open(folder.path()).unwrap();
            assert_eq!(std::fs::read(folder.path().join("crew.damaged.json")).unwrap(), bytes);
            assert_eq!(Crew::open(folder.path()).unwrap().code(), crew.code());
        }
    }
}
