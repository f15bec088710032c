//! Flights from elsewhere that are here: each a store of its own, below `visitors` in the data folder.
//!
//! Pages and scripts ask for them under numbers from [`FIRST`] on. The web hands such a request to the same handlers, over
//! the visitor's store instead of the station's own.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use loftwatch_engine::{Input, What};
use loftwatch_parcel::Head;

use super::NotTravelled;
use crate::clock::{Clock, utc_now_ns};
use crate::export::spool::Spool;
use crate::hindsight;
use crate::playback::Briefs;
use crate::serve::WAIT_FOR_HINDSIGHT;
use crate::shared::{OfVisitor, Shared};
use crate::store::{StoreError, derived, inputs, remarks};
use crate::threads::on_own_thread;

/// The file that tells where a visitor came from: the head of its flight file.
pub(super) const ABOUT: &str = "visitor.json";
/// Numbers of visiting flights begin here; a station does not see so many of its own.
const FIRST: u32 = 1_000_000;
/// Numbers that each visitor has.
const EACH: u32 = 100;

/// The visitors of a station.
#[derive(Debug, Default)]
pub(crate) struct Visitors {
    all: RwLock<BTreeMap<u32, Arc<Shared>>>,
}

/// The number under which a visitor's flight is asked for.
pub(crate) fn shown(visitor: u32, flight: u32) -> u32 {
    FIRST + visitor * EACH + flight
}

/// The visitor that a number is of, and the flight's number in its own store.
pub(crate) fn visitor_of(number: u32) -> Option<(u32, u32)> {
    let number = number.checked_sub(FIRST)?;
    Some((number / EACH, number % EACH))
}

/// The data folder that holds a flight, and the flight's number there: that of a visitor has its own.
pub(crate) fn home(data: &Path, number: u32) -> (PathBuf, u32) {
    match visitor_of(number) {
        Some((visitor, inside)) => (folder(data).join(visitor.to_string()), inside),
        None => (data.to_owned(), number),
    }
}

/// The folders of all stores in a data folder: its own, unless there are visitors alone, and the visitors' with their numbers.
pub(crate) fn stores(data: &Path) -> Vec<(Option<u32>, PathBuf)> {
    let all = folder(data);
    let visitors = numbers(&all);
    let own = visitors.is_empty() || crate::store::folder::inputs(data).exists();
    let own = own.then(|| (None, data.to_owned()));
    let visitors = visitors.into_iter().map(|number| (Some(number), all.join(number.to_string())));
    own.into_iter().chain(visitors).collect()
}

/// Where they are.
pub(super) fn folder(data: &Path) -> PathBuf {
    data.join("visitors")
}

/// Whether this very flight is here: what it is called.
pub(super) fn known(all: &Path, head: &Head) -> Option<String> {
    let same = |about: &Head| {
        about.opened_ns == head.opened_ns && about.vehicle == head.vehicle && about.digest == head.digest
    };
    numbers(all)
        .into_iter()
        .filter_map(|number| about(&all.join(number.to_string())))
        .find(same)
        .map(|about| about.label)
}

/// Gives what has arrived its number.
pub(super) fn settle(all: &Path, place: &Path) -> Result<u32, NotTravelled> {
    let number = numbers(all).last().map_or(1, |last| last + 1);
    std::fs::rename(place, all.join(number.to_string()))
        .map_err(NotTravelled::file("the flight cannot be given its place"))?;
    Ok(number)
}

fn numbers(all: &Path) -> Vec<u32> {
    let Ok(entries) = std::fs::read_dir(all) else { return Vec::new() };
    let mut numbers: Vec<u32> =
        entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok()).collect();
    numbers.sort_unstable();
    numbers
}

fn about(place: &Path) -> Option<Head> {
    serde_json::from_slice(&std::fs::read(place.join(ABOUT)).ok()?).ok()
}

impl Visitors {
    /// Opens all that are there; those that were deleted before this start are removed.
    pub(crate) async fn open(&self, own: &Arc<Shared>) {
        let all = folder(&own.data);
        for number in numbers(&all) {
            match self.open_one(own, number).await {
                Ok(true) => {}
                Ok(false) => {
                    if let Err(error) = std::fs::remove_dir_all(all.join(number.to_string())) {
                        tracing::warn!(
                            "visiting flight {number} was deleted, and cannot be removed: {error}"
                        );
                    }
                }
                Err(error) => tracing::warn!("visiting flight {number} cannot be opened: {error}"),
            }
        }
    }

    /// Opens one; `false`: it was deleted before this start.
    pub(crate) async fn open_one(&self, own: &Arc<Shared>, number: u32) -> Result<bool, StoreError> {
        let place = folder(&own.data).join(number.to_string());
        let (store, file) = inputs::readers_of_stored(&place).await?;
        let readers = derived::readers_of_stored(&place)?;
        let wrong = |doing| StoreError::sql(&file, doing);
        let Some((first, _)) = inputs::first_setup(&store).await.map_err(wrong("its setup was read"))? else {
            return Err(StoreError::Damaged { file: file.clone(), why: "it holds no setup".to_owned() });
        };
        let deleted = remarks::read(&store).await.map_err(wrong("remarks were read"))?.newest_deletion();
        if deleted.is_some_and(|ns| ns < own.started_ns) {
            readers.close().await;
            store.close().await;
            return Ok(false);
        }
        let (hindsight, looks_back) = hindsight::prepare(hindsight::Around {
            kept_file: crate::store::folder::derived(&place),
            readers: readers.clone(),
            store: store.clone(),
            clock: own.clock,
            ending: own.ending.clone(),
        });
        if let Err(error) = on_own_thread("hindsight", || looks_back) {
            tracing::warn!("visiting flight {number} is not told with hindsight: {error}");
        }
        let shared = Shared {
            hub: Arc::clone(&own.hub),
            crowd: Arc::clone(&own.crowd),
            readers,
            inputs_readers: store,
            setup: own.setup.clone(),
            clock: own.clock,
            epoch_ns: first.t_ns,
            started_ns: own.started_ns,
            briefs: Briefs::default(),
            ending: own.ending.clone(),
            ring: Arc::clone(&own.ring),
            show: Arc::clone(&own.show),
            crew: Arc::clone(&own.crew),
            listening: own.listening,
            map: own.map.clone(),
            spool: Spool::new(&place, WAIT_FOR_HINDSIGHT),
            vehicles: own.vehicles.clone(),
            prepared: crate::prepared::Desk::default(),
            hindsight,
            tls: own.tls.clone(),
            setups: own.setups.clone(),
            data: place,
            visitors: Self::default(),
            visitor: Some(OfVisitor { number, writing: tokio::sync::Mutex::new(()) }),
        };
        let mut all = self.all.write().unwrap_or_else(PoisonError::into_inner);
        all.insert(number, Arc::new(shared));
        Ok(true)
    }

    /// One visitor's store.
    pub(crate) fn of(&self, number: u32) -> Option<Arc<Shared>> {
        self.all.read().unwrap_or_else(PoisonError::into_inner).get(&number).cloned()
    }

    /// All of them.
    pub(crate) fn all(&self) -> Vec<Arc<Shared>> {
        self.all.read().unwrap_or_else(PoisonError::into_inner).values().cloned().collect()
    }
}

/// Writes a remark into a visitor's store, which has no recorder.
pub(crate) async fn tell(visitor: &Shared, own: &OfVisitor, what: What) -> Result<(), StoreError> {
    let _one_at_a_time = own.writing.lock().await;
    let file = crate::store::folder::inputs(&visitor.data);
    let wrong = |doing| StoreError::sql(&file, doing);
    let end = inputs::end(&visitor.inputs_readers).await.map_err(wrong("its end was read"))?;
    let clock: Clock = visitor.clock;
    let t_ns = clock.now_ns().max(end.t_ns + 1);
    let input = Input { number: end.number + 1, t_ns, utc_ns: utc_now_ns(), what };
    let mut connection = inputs::connect(&file).await?;
    inputs::write(&mut connection, &[input]).await.map_err(wrong("a remark was written"))?;
    let _ = sqlx::Connection::close(connection).await;
    Ok(())
}
