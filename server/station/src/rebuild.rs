//! `loftwatch rebuild`: all stored outputs are computed again from the inputs, by the engine of this program.

use std::path::Path;
use std::time::Instant;

use tokio::sync::watch;

use crate::failure::Failure;
use crate::lists;
use crate::run::{Around, Runner};
use crate::shared::Status;
use crate::store::{Folder, StoreError, derived, inputs, outputs};

/// Does it.
pub(crate) async fn run(data: &Path) -> Result<(), Failure> {
    let started = Instant::now();
    let (store, file) = inputs::readers_of_stored(data).await?;
    let folder = Folder::take(data)?;
    let read = |error| Failure::from(StoreError::sql(&file, "being read")(error));
    let end = inputs::end(&store).await.map_err(read)?;
    let Some((first, _)) = inputs::first_setup(&store).await.map_err(read)? else {
        return Err(Failure::data(format!(
            "`{}` holds no setup, so nothing can be computed",
            file.display()
        )));
    };
    folder.drop_derived()?;
    let kept = derived::open(&folder).await?;
    let status = watch::Sender::new(Status::default());
    let (keeper, keeping) = outputs::start(kept, folder.derived(), &[], status.clone());
    let around = Around { shared: None, keeper, store: store.clone(), inputs_file: file.clone(), status };
    let mut runner = Runner::new(None, &first, around)
        .ok_or_else(|| Failure::data(format!("`{}` does not begin with a setup", file.display())))?;
    runner.catch_up(end.number).await;
    runner.freeze(end.t_ns);
    drop(runner);
    let _ = keeping.await;
    store.close().await;
    lists::print(&format!(
        "{} inputs computed again in {:.1} s\n",
        end.number,
        started.elapsed().as_secs_f64()
    ))
}
