//! Setup files while a station runs: read at the start, looked at every second, read again when they change, and
//! written when a crew member changes the text from a page.

mod from_page;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use loftwatch_engine::{Setup, What};
use tokio::sync::{mpsc, watch};

use crate::links::Links;
use crate::ring::Ring;
use crate::shared::SetupNow;
pub(crate) use from_page::{NotTaken, Taken, Text, Wanted};

/// How often the file is looked at.
const LOOK: Duration = Duration::from_secs(1);

/// Most bytes of a file that a setup names.
const LONGEST_NAMED: u64 = 1024 * 1024;

/// Reads a setup file; the error draws every mistake.
pub(crate) fn read(file: &Path) -> Result<Setup, String> {
    let text = text(file)?;
    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
    let mut load = |name: &str| load(&folder, name);
    loftwatch_setup::read(&text, &file.display().to_string(), &mut load).map_err(|report| report.to_string())
}

/// The text of a setup file.
fn text(file: &Path) -> Result<String, String> {
    let bytes = std::fs::read(file).map_err(|error| {
        format!(
            "the setup file `{}` cannot be read: {error}\nhint: its path is relative to the current folder",
            file.display()
        )
    })?;
    String::from_utf8(bytes).map_err(|error| {
        format!(
            "the setup file `{}` is not text: byte {} is not UTF-8\nhint: is it the right file? Setup files are TOML, see README.md",
            file.display(),
            error.utf8_error().valid_up_to()
        )
    })
}

/// The text of a file that a setup names, relative to the setup's own folder.
fn load(folder: &Path, name: &str) -> Result<String, String> {
    let path = folder.join(name);
    let about = std::fs::metadata(&path).map_err(|error| format!("`{}`: {error}", path.display()))?;
    if !about.is_file() || about.len() > LONGEST_NAMED {
        return Err(format!("`{}` is no file of at most {LONGEST_NAMED} bytes", path.display()));
    }
    std::fs::read_to_string(&path).map_err(|error| format!("`{}`: {error}", path.display()))
}

/// Says in the log what is worth a second look in a setup that was taken.
pub(crate) fn log_remarks(file: &Path, setup: &Setup) {
    for remark in loftwatch_setup::remarks(setup) {
        tracing::info!("note on `{}`: {remark}", file.display());
    }
}

/// Looks after the file and, as they are what follows from it, the links: nobody else writes it or changes them. Runs until
/// aborted.
pub(crate) async fn watch(
    file: PathBuf,
    setup: watch::Sender<Arc<SetupNow>>,
    ring: Arc<Ring>,
    mut links: Links,
    mut wanted: mpsc::Receiver<Wanted>,
) {
    // Read once more in any case: it may have changed while the station started.
    let mut seen = None;
    loop {
        tokio::select! {
            () = tokio::time::sleep(LOOK) => {}
            Some(wanted) = wanted.recv() => {
                let taken = take(&file, &setup, &ring, &mut links, &wanted).await;
                if taken.is_ok() {
                    seen = stamp(&file);
                }
                // Who asked may have gone; it is done all the same.
                let _ = wanted.answer.send(taken);
                continue;
            }
        }
        let now = stamp(&file);
        if now == seen || now.is_none() {
            continue;
        }
        seen = now;
        let path = file.clone();
        let Ok(read) = tokio::task::spawn_blocking(move || read(&path)).await else { continue };
        match read {
            Ok(new) => {
                let changed = setup.borrow().setup != new;
                if changed && !ring.push(What::SetupChange(Box::new(new.clone()))) {
                    tracing::error!("the changed setup found no room in memory; save the file again");
                    continue;
                }
                if changed {
                    tracing::info!("`{}` has changed and holds from now on", file.display());
                    log_remarks(&file, &new);
                    links.apply(&new.links);
                }
                setup.send_modify(|now| {
                    *now = Arc::new(SetupNow { setup: new, path: Some(file.clone()), complaint: None });
                });
            }
            Err(complaint) => {
                tracing::warn!(
                    "`{}` has changed and is wrong; the setup in force stays\n{complaint}",
                    file.display()
                );
                setup.send_modify(|now| {
                    *now = Arc::new(SetupNow { complaint: Some(complaint), ..SetupNow::clone(now) });
                });
            }
        }
    }
}

/// A crew member's text: checked, written into the file, recorded with who it was, and taken.
async fn take(
    file: &Path,
    setup: &watch::Sender<Arc<SetupNow>>,
    ring: &Ring,
    links: &mut Links,
    wanted: &Wanted,
) -> Result<Taken, NotTaken> {
    let (path, text, edition) = (file.to_owned(), wanted.text.clone(), wanted.edition.clone());
    let written = tokio::task::spawn_blocking(move || from_page::write(&path, &text, &edition)).await;
    let new = written.map_err(|error| NotTaken::File(error.to_string()))??;
    let changes = loftwatch_setup::changes(&setup.borrow().setup, &new);
    if setup.borrow().setup != new {
        let what = What::SetupByCrew { setup: Box::new(new.clone()), who: wanted.who.clone() };
        if !ring.push(what) {
            // The file is written: it is found changed, and tried again, in a second.
            return Err(NotTaken::NoRoom);
        }
        tracing::info!("{} changed `{}` from a page; it holds from now on", wanted.who, file.display());
        log_remarks(file, &new);
        links.apply(&new.links);
    }
    let remarks = loftwatch_setup::remarks(&new);
    setup.send_modify(|now| {
        *now = Arc::new(SetupNow { setup: new, path: Some(file.to_owned()), complaint: None });
    });
    Ok(Taken { changes, remarks })
}

/// What tells one state of the file from another.
fn stamp(file: &Path) -> Option<(SystemTime, u64)> {
    let about = std::fs::metadata(file).ok()?;
    Some((about.modified().ok()?, about.len()))
}
