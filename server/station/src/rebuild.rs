//! `loftwatch rebuild`: all stored outputs are computed again from the inputs, by the engine of this program. With a setup that
//! was mended afterwards, that one stands in place of those told when the bytes came. The choice is an input like any
//! other (`What::MendSetup`), so that whoever computes them later, a restart or a check, comes to the same.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Instant;

use jiff::Timestamp;
use loftwatch_engine::{Input, Setup, What};
use sqlx::SqlitePool;
use tokio::sync::watch;

use crate::cli::Rebuild;
use crate::clock::{Clock, utc_now_ns};
use crate::failure::Failure;
use crate::run::{Around, Runner};
use crate::shared::Status;
use crate::store::{Folder, StoreError, derived, inputs, outputs};
use crate::{lists, setup};

/// Does what the command line asks for.
pub(crate) async fn obey(wanted: &Rebuild) -> Result<(), Failure> {
    let told = wanted.setup.as_deref().map(setup::read).transpose().map_err(Failure::usage)?;
    let mend = told.map(|setup| Mend { setup, from: wanted.from, to: wanted.to });
    lists::print(&run(&wanted.data, mend).await?)
}

/// A setup in place of those that held from an instant to another.
#[derive(Debug)]
pub(crate) struct Mend {
    pub(crate) setup: Setup,
    pub(crate) from: Option<Timestamp>,
    pub(crate) to: Option<Timestamp>,
}

/// Computes; says what it did.
pub(crate) async fn run(data: &Path, mend: Option<Mend>) -> Result<String, Failure> {
    let started = Instant::now();
    let (store, file) = inputs::readers_of_stored(data).await?;
    let folder = Folder::take(data)?;
    let mut said = String::new();
    let read = |error| Failure::from(StoreError::sql(&file, "being read")(error));
    let store = match mend {
        None => {
            folder.drop_derived()?;
            store
        }
        Some(mend) => {
            let input = mended(&store, &file, mend, &mut said).await?;
            // Outputs of before go first: a crash in between must not leave them beside inputs that lead to others.
            folder.drop_derived()?;
            store.close().await;
            let mut writer = inputs::open(&file).await?;
            inputs::write(&mut writer, &[input])
                .await
                .map_err(StoreError::sql(&file, "the mended setup was written down"))?;
            drop(writer);
            inputs::fold(&file).await;
            inputs::readers(&file)
        }
    };
    let end = inputs::end(&store).await.map_err(read)?;
    let Some((first, _)) = inputs::first_setup(&store).await.map_err(read)? else {
        return Err(no_setup(&file));
    };
    let kept = derived::open(&folder).await?;
    let status = watch::Sender::new(Status::default());
    let (keeper, keeping) = outputs::start(kept, folder.derived(), &[], status.clone());
    let around = Around { shared: None, keeper, store: store.clone(), inputs_file: file.clone(), status };
    let mut runner = Runner::new(None, &first, around)
        .ok_or_else(|| Failure::data(format!("`{}` does not begin with a setup", file.display())))?;
    runner.catch_up(end.number).await;
    // As far as a station would that is started now: a flight whose packets have ended ends a while after them.
    let now_ns = Clock::after(end.t_ns).now_ns();
    runner.advance(now_ns);
    runner.freeze(now_ns);
    drop(runner);
    let _ = keeping.await;
    store.close().await;
    let kept = derived::readers(&folder.derived());
    let flights: i64 = sqlx::query_scalar("SELECT count(*) FROM flight")
        .fetch_one(&kept)
        .await
        .map_err(StoreError::sql(&folder.derived(), "being read"))?;
    kept.close().await;
    let _ = writeln!(
        said,
        "{} inputs computed again in {:.1} s: {flights} {}",
        end.number,
        started.elapsed().as_secs_f64(),
        if flights == 1 { "flight" } else { "flights" }
    );
    Ok(said)
}

fn no_setup(file: &Path) -> Failure {
    Failure::data(format!("`{}` holds no setup, so nothing can be computed", file.display()))
}

/// The input that tells the mended setup, and in words what it stands in place of.
async fn mended(store: &SqlitePool, file: &Path, mend: Mend, said: &mut String) -> Result<Input, Failure> {
    let read = |error| Failure::from(StoreError::sql(file, "being read")(error));
    let end = inputs::end(store).await.map_err(read)?;
    let told = inputs::setups(store).await.map_err(read)?;
    if told.is_empty() {
        return Err(no_setup(file));
    }
    let ns = |instant: Timestamp| instant.as_nanosecond();
    let held = |(place, input): &(usize, &Input)| {
        let until = told.get(place + 1).map_or(i128::MAX, |next| i128::from(next.utc_ns));
        mend.from.is_none_or(|from| ns(from) < until)
            && mend.to.is_none_or(|to| i128::from(input.utc_ns) <= ns(to))
    };
    let chosen: Vec<&Input> = told.iter().enumerate().filter(held).map(|(_, input)| input).collect();
    if chosen.is_empty() {
        return Err(Failure::usage(
            "no setup held between --from and --to\nnothing was changed\nhint: `loftwatch rebuild --help`",
        ));
    }
    let vehicle =
        |input: &Input| input.what.setup().map(|setup| setup.vehicle_name.clone()).unwrap_or_default();
    let at = |input: &Input| {
        let at = Timestamp::from_nanosecond(i128::from(input.utc_ns)).unwrap_or_default();
        at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
    };
    // A folder may hold a day of several vehicles: theirs must not be lost to a file that is about another one.
    let other = chosen.iter().find(|input| vehicle(input) != mend.setup.vehicle_name);
    if let Some(other) = other.filter(|_| mend.from.is_none() && mend.to.is_none()) {
        return Err(Failure::usage(format!(
            "the setup told at {} is of the vehicle `{}`, the file is of `{}`\nnothing was changed\nhint: say with --from INSTANT and --to INSTANT in place of which setups it stands",
            at(other),
            vehicle(other),
            mend.setup.vehicle_name
        )));
    }
    for input in &chosen {
        let _ = writeln!(said, "in place of the setup told at {} (input {})", at(input), input.number);
    }
    let of = chosen.iter().map(|input| input.number).collect();
    Ok(Input {
        number: end.number + 1,
        t_ns: Clock::after(end.t_ns).now_ns().max(end.t_ns + 1),
        utc_ns: utc_now_ns(),
        what: What::MendSetup { setup: Box::new(mend.setup), of },
    })
}

#[cfg(test)]
#[path = "rebuild/tests.rs"]
mod tests;
