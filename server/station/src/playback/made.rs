//! A derived store with made-up outputs, written by the station's own keeper, for tests.

use loftwatch_engine::{Output, Setup};
use sqlx::SqlitePool;
use tempfile::TempDir;
use tokio::sync::watch;

use crate::shared::Status;
use crate::store::outputs::{self, Told};
use crate::store::{Folder, derived, inputs};

/// A store in a folder that lasts as long as this value.
#[derive(Debug)]
pub(crate) struct Stored {
    /// Read-only connections.
    pub(crate) readers: SqlitePool,
    /// The same to the inputs; there are none but those that a test writes.
    pub(crate) inputs: SqlitePool,
    pub(crate) folder: Folder,
    _place: TempDir,
}

/// Stores the outputs of flights flown with that setup.
pub(crate) async fn store(told: &Setup, outputs: Vec<Output>) -> Stored {
    let place = tempfile::tempdir().unwrap();
    let folder = Folder::take(place.path()).unwrap();
    drop(inputs::open(&folder.inputs()).await.unwrap());
    let connection = derived::open(&folder).await.unwrap();
    let (status, _status) = watch::channel(Status::default());
    let (mut keeper, keeping) = outputs::start(connection, folder.derived(), &[], status);
    keeper.tell(Told::Setup {
        json: serde_json::to_string(told).unwrap().into(),
        vehicle: told.vehicle_name.clone(),
        site: told.site_name.clone(),
    });
    keeper.tell(Told::Outputs { first_seq: 1, outputs });
    drop(keeper);
    keeping.await.unwrap();
    let inputs = inputs::readers(&folder.inputs());
    Stored { readers: derived::readers(&folder.derived()), inputs, folder, _place: place }
}
