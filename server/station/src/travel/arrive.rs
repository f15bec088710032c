//! A flight arrives: looked at part by part, written into a store of its own, computed, and only then given its place.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};

use loftwatch_engine::{ENGINE_VERSION, Input, Remark, What};
use loftwatch_parcel::{Head, Part, Reader, Told};
use tokio::sync::watch;

use super::NotTravelled;
use super::compute::of_stored;
use super::visitors::{self, ABOUT};
use crate::clock::utc_now_ns;
use crate::run::{Around, Runner};
use crate::shared::Status;
use crate::store::{Folder, derived, inputs, outputs};
use crate::threads::on_own_thread;

/// Takes a flight file into a data folder; gives the number of the new visitor and what is to be said. Computes for as
/// long as a rerun of the flight takes: to be called on a thread with room for an engine.
pub(crate) async fn arrive(data: &Path, from: impl Read) -> Result<(u32, String), NotTravelled> {
    let all = visitors::folder(data);
    std::fs::create_dir_all(&all).map_err(NotTravelled::file("there is no room for visiting flights"))?;
    let place = all.join(format!("arriving-{}", std::process::id()));
    // What an earlier attempt left when it was killed.
    remove(&place);
    let taken = take_in(&all, &place, from).await;
    let done = match taken {
        Ok((head, remark)) => visitors::settle(&all, &place).map(|number| (number, head, remark)),
        Err(error) => Err(error),
    };
    match done {
        Ok((number, head, remark)) => {
            tracing::info!("{} was taken in from a flight file", head.label);
            Ok((number, remark))
        }
        Err(error) => {
            remove(&place);
            Err(error)
        }
    }
}

/// `loftwatch unpack`: into a data folder that no station uses.
pub(crate) async fn unpack(data: &Path, file: &Path) -> Result<String, NotTravelled> {
    let _lock = Folder::take(data)?;
    let opened = File::open(file).map_err(NotTravelled::file("the flight file cannot be opened"))?;
    let (number, remark) = arrive(data, BufReader::new(opened)).await?;
    let remark = if remark.is_empty() { String::new() } else { format!("{remark}\n") };
    Ok(format!("taken in as flight {}\n{remark}", visitors::shown(number, 1)))
}

async fn take_in(all: &Path, place: &Path, from: impl Read) -> Result<(Head, String), NotTravelled> {
    let mut reader = Reader::open(from)?;
    let head = reader.head().clone();
    if let Some(label) = visitors::known(all, &head) {
        return Err(NotTravelled::Here { label });
    }
    let folder = Folder::take(place)?;
    let file = folder.inputs();
    let wrong = |doing| NotTravelled::sql(&file, doing);
    let mut store = inputs::open(&file).await?;
    let mut first: Option<Input> = None;
    let mut last = (0, 0, 0);
    let told = loop {
        match reader.next_part()? {
            Some(Part::Inputs(mut some)) => {
                if first.is_none()
                    && let Some(front) = some.first()
                {
                    let what = What::SetupChange(Box::new(reader.setup().clone()));
                    let setup = Input { number: 1, t_ns: front.t_ns, utc_ns: front.utc_ns, what };
                    first = Some(setup.clone());
                    some.insert(0, setup);
                }
                if some.get(1).is_some_and(|second| second.number < 2) {
                    return Err(loftwatch_parcel::Wrong::Meaning {
                        place: "the first input".to_owned(),
                        why: "it takes the setup's number".to_owned(),
                    }
                    .into());
                }
                if let Some(newest) = some.last() {
                    last = (newest.number, newest.t_ns, newest.utc_ns);
                }
                inputs::write(&mut store, &some).await.map_err(wrong("a flight was written"))?;
            }
            Some(Part::Told(told)) => break told,
            None => return Err(NotTravelled::Engine),
        }
    };
    let Some(first) = first else { return Err(NotTravelled::NoFlight(head.number)) };
    let pool = inputs::readers(&file);
    let computed = compute(&folder, &pool, &first, last.0, head.until_ns).await?;
    let readers = derived::readers(&folder.derived());
    let (_, digest) = of_stored(&readers).await.map_err(wrong("outputs were read"))?;
    let remark = match (head.engine == ENGINE_VERSION, digest == head.digest) {
        (true, false) => {
            return Err(NotTravelled::Other { told: head.digest.clone(), found: digest });
        }
        (true, true) => String::new(),
        (false, _) => format!(
            "It was computed anew by this engine (version {ENGINE_VERSION}; {} where it came from): figures may differ a little from those shown there.",
            head.engine
        ),
    };
    let remarks = told_as_remarks(&head, told, first.t_ns, last.0);
    inputs::write(&mut store, &remarks).await.map_err(wrong("what the crew told was written"))?;
    readers.close().await;
    pool.close().await;
    let _ = sqlx::Connection::close(store).await;
    inputs::fold(&file).await;
    inputs::fold(&folder.derived()).await;
    let about = serde_json::to_vec_pretty(&head).unwrap_or_default();
    std::fs::write(place.join(ABOUT), about).map_err(NotTravelled::file("the flight cannot be kept"))?;
    computed.then_some(()).ok_or(NotTravelled::Engine)?;
    Ok((head, remark))
}

/// Computes all of it, on a thread of its own: whatever the setup does to the engine, it does it there.
async fn compute(
    folder: &Folder,
    store: &sqlx::SqlitePool,
    first: &Input,
    last: u64,
    until_ns: i64,
) -> Result<bool, NotTravelled> {
    let kept = derived::open(folder).await?;
    let status = watch::Sender::new(Status::default());
    let (keeper, keeping) = outputs::start(kept, folder.derived(), &[], status.clone());
    let around = Around { shared: None, keeper, store: store.clone(), inputs_file: folder.inputs(), status };
    let runner = Runner::new(None, first, around).ok_or(NotTravelled::Engine)?;
    let worker = on_own_thread("visitor", async move || {
        let mut runner = runner;
        runner.catch_up(last).await;
        runner.advance(until_ns);
        runner.freeze(until_ns);
    })
    .map_err(NotTravelled::file("there is no thread to compute on"))?;
    // A panic ends the thread; the keeper then ends with what it has.
    let done = tokio::task::spawn_blocking(move || worker.join().is_ok()).await.unwrap_or(false);
    let _ = keeping.await;
    if done { Ok(true) } else { Err(NotTravelled::Engine) }
}

/// What the crew told, as the remarks of this store.
fn told_as_remarks(head: &Head, told: Told, at_ns: i64, after: u64) -> Vec<Input> {
    let all = [
        Some(Remark::Name(head.label.clone())),
        (!told.notes.is_empty()).then_some(Remark::Notes(told.notes)),
        (!told.footage.is_empty()).then_some(Remark::Footage(told.footage)),
    ];
    let now_ns = utc_now_ns();
    all.into_iter()
        .flatten()
        .zip(1_u64..)
        .map(|(remark, n)| Input {
            number: after + n,
            t_ns: now_ns + n as i64,
            utc_ns: now_ns,
            what: What::Remark { at_ns, remark, who: String::new() },
        })
        .collect()
}

fn remove(place: &PathBuf) {
    match std::fs::remove_dir_all(place) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            tracing::warn!("`{}` cannot be removed: {error}", place.display());
        }
        _ => {}
    }
}
