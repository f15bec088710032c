//! `loftwatch export`: files of a stored flight or day, written to a folder.

use std::io::{IsTerminal as _, Write as _};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use loftwatch_export::{How, What};

use crate::cli::Export;
use crate::export::{Progress, Selection, Source, Trouble, make};
use crate::failure::Failure;
use crate::hindsight;

fn failed(trouble: &Trouble) -> Failure {
    let text = format!(
        "{trouble}\nkept: everything that is stored; no half file was left\nhint: {}",
        trouble.hint()
    );
    match trouble {
        Trouble::Wanted(_) => Failure::usage(text),
        Trouble::NoFlight(_) | Trouble::Store(_) => Failure::data(text),
        Trouble::Disk(_) | Trouble::Other(_) => Failure::other(text),
    }
}

/// Does what the command line asks for.
pub(crate) async fn run(wanted: Export) -> Result<(), Failure> {
    let mut how = How::usual();
    let told = [
        ("units", wanted.units.as_deref()),
        ("columns", wanted.columns.as_deref()),
        ("rate_hz", wanted.rate_hz.as_deref()),
        ("starts_s", wanted.starts_s.as_deref()),
        ("clock_rate", wanted.clock_rate.as_deref()),
        ("paper", wanted.paper.as_deref()),
    ];
    for (key, value) in told {
        if let Some(value) = value {
            how.take(key, value).map_err(|error| failed(&error.into()))?;
        }
    }
    let mut files = Vec::new();
    for name in &wanted.files {
        files.push(What::named(name).ok_or_else(|| {
            let place = if name.contains('/') { "; --to DIR says where it goes" } else { "" };
            Failure::usage(format!("there is no file `{name}`\nhint: there are {}{place}", What::names()))
        })?);
    }
    let (selection, data, name) = match (wanted.flight, wanted.day) {
        (Some(number), _) => {
            let (data, own_number) = crate::travel::home(&wanted.data, number);
            (Selection::Flight(own_number), data, Selection::Flight(number).name())
        }
        (None, Some(day)) => (Selection::Day(day), wanted.data, Selection::Day(day).name()),
        (None, None) => return Err(Failure::usage("give --flight N or --day YYYY-MM-DD")),
    };
    let source = Source::of_folder(&data).await?;
    let mut chosen = source.choose(selection).await.map_err(|trouble| failed(&trouble))?;
    if files.iter().copied().any(needs_hindsight) {
        for one in chosen.iter().filter(|one| !one.hindsight && one.flight.ended_ns.is_some()) {
            hindsight::compute(&data, &source.derived, &source.inputs, one.flight.number).await;
        }
        chosen = source.choose(selection).await.map_err(|trouble| failed(&trouble))?;
    }
    std::fs::create_dir_all(&wanted.to)
        .map_err(|error| {
        Failure::other(format!(
            "the folder `{}` cannot be made: {error}\nkept: everything that is stored; no file was begun\nhint: name another one with --to",
            wanted.to.display()
        ))
    })?;
    // One that cannot be made keeps none of the others back.
    let mut first_trouble = None;
    for what in files {
        let file = wanted.to.join(format!("{name}-{}", what.name()));
        match one(&source, &chosen, what, &how, &file).await {
            Ok(()) => crate::lists::print(&format!("{}\n", file.display()))?,
            Err(trouble) if first_trouble.is_none() => first_trouble = Some(failed(&trouble)),
            Err(trouble) => tracing::error!("{}: {trouble}", what.name()),
        }
    }
    first_trouble.map_or(Ok(()), Err)
}

/// Whether a file says more when the flight has been gone over with hindsight.
pub(crate) fn needs_hindsight(what: What) -> bool {
    use loftwatch_export::Table;
    !matches!(what, What::Recording | What::Setup)
        && !matches!(what, What::Table(table, _) if table != Table::Smoothed)
}

/// Writes beside the file and renames: it is there whole, or not at all.
async fn one(
    source: &Source,
    chosen: &[crate::export::source::Chosen],
    what: What,
    how: &How,
    file: &Path,
) -> Result<(), Trouble> {
    let part = file.with_extension("part");
    let progress = Arc::new(Progress::default());
    let told = Arc::clone(&progress);
    let telling = std::io::stderr().is_terminal().then(|| tokio::spawn(tell(told, what.name())));
    let made = make::write(source, chosen, what, how, &part, &progress).await;
    if let Some(telling) = telling {
        telling.abort();
        let _ = write!(std::io::stderr(), "\r\x1b[K");
    }
    let moved = made.and_then(|()| std::fs::rename(&part, file).map_err(Trouble::from));
    if moved.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    moved
}

async fn tell(progress: Arc<Progress>, name: String) {
    loop {
        tokio::time::sleep(Duration::from_millis(250)).await;
        let (done, total) =
            (progress.done.load(Ordering::Relaxed), progress.total.load(Ordering::Relaxed).max(1));
        let _ = write!(std::io::stderr(), "\r{name}: {} %", (100 * done / total).min(100));
    }
}
