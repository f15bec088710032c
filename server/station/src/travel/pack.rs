//! A flight leaves: its inputs are read twice, once to compute what comes of them, once to be written.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use loftwatch_engine::{ENGINE_VERSION, Input, Setup, What};
use loftwatch_parcel::{Head, Told, Writer};
use sqlx::SqlitePool;

use super::NotTravelled;
use super::compute::{Account, ending};
use crate::playback::{self, Flight};
use crate::store::remarks::{self, Remarked};
use crate::store::{StoreError, derived, inputs};

/// Inputs read in one go.
const READ_AT_ONCE: u32 = 2_000;

/// Writes a flight. The flight is that of the store's own number; `label` and `held` go with it. Computes for as long as a
/// rerun of the flight takes: to be called on a thread with room for an engine.
pub(crate) async fn pack<W: Write>(
    store: &SqlitePool,
    readers: &SqlitePool,
    flight: &Flight,
    label: &str,
    held: &Remarked,
    out: W,
) -> Result<W, NotTravelled> {
    let read = |source| {
        NotTravelled::Store(StoreError::Sql { file: "inputs.db".into(), doing: "a flight was read", source })
    };
    let (first, last) = playback::inputs_of(readers, flight.number).await.map_err(read)?;
    let (_, until_ns) = playback::span_ns(readers, flight).await.map_err(read)?;
    let source = Source { store, first, last, number: flight.number, setup: &flight.setup };
    let mut account: Option<Account> = None;
    let mut end = (1, 0, 0);
    source
        .each(|input| {
            end = (input.number, input.t_ns, input.utc_ns);
            match &mut account {
                Some(account) => account.take(input),
                None => account = Some(Account::begin(&flight.setup, input)),
            }
            Ok(())
        })
        .await?;
    let Some(mut account) = account else { return Err(NotTravelled::NoFlight(flight.number)) };
    let (number, t_ns, utc_ns) = end;
    let until_ns = until_ns.max(t_ns);
    let last = (!account.advance(until_ns)).then(|| ending(number + 1, until_ns, utc_ns + (until_ns - t_ns)));
    if let Some(last) = &last {
        account.take(last);
    }
    let head = Head {
        program: env!("CARGO_PKG_VERSION").to_owned(),
        engine: ENGINE_VERSION,
        number: flight.number,
        label: label.to_owned(),
        vehicle: flight.vehicle.clone(),
        site: flight.setup.site_name.clone(),
        opened_ns: flight.opened_ns,
        // Without the first one, which is the setup.
        inputs: number - 1 + u64::from(last.is_some()),
        until_ns,
        outputs: account.outputs,
        digest: account.digest(),
    };
    let mut writer = Writer::begin(out, &head, &flight.setup)?;
    source.each(|input| if input.number == 1 { Ok(()) } else { Ok(writer.input(input)?) }).await?;
    if let Some(last) = &last {
        writer.input(last)?;
    }
    Ok(writer.end(&Told { notes: held.notes.clone(), footage: held.footage.clone() })?)
}

/// The inputs of a flight as they travel: numbered anew from 1, which is the setup; marks are of flight 1.
struct Source<'a> {
    store: &'a SqlitePool,
    first: u64,
    last: u64,
    number: u32,
    setup: &'a Setup,
}

impl Source<'_> {
    async fn each(
        &self,
        mut take: impl FnMut(&Input) -> Result<(), NotTravelled>,
    ) -> Result<(), NotTravelled> {
        let mut after = self.first - 1;
        let mut number = 0;
        loop {
            let some = inputs::read(self.store, after, self.last, READ_AT_ONCE)
                .await
                .map_err(NotTravelled::sql(Path::new("inputs.db"), "a flight was read"))?;
            let Some(newest) = some.last() else { return Ok(()) };
            after = newest.number;
            for input in some {
                if number == 0 {
                    number = 1;
                    let what = What::SetupChange(Box::new(self.setup.clone()));
                    take(&Input { number, t_ns: input.t_ns, utc_ns: input.utc_ns, what })?;
                }
                if let Some(what) = self.as_it_travels(input.what) {
                    number += 1;
                    take(&Input { number, t_ns: input.t_ns, utc_ns: input.utc_ns, what })?;
                }
            }
        }
    }

    fn as_it_travels(&self, what: What) -> Option<What> {
        match what {
            // What holds of them goes by itself; those of other flights stay. A mended setup stands where it belongs.
            What::Remark { .. } | What::MendSetup { .. } => None,
            What::CorrectMark { flight, id, label, at_ns, who } => {
                (flight == self.number).then_some(What::CorrectMark { flight: 1, id, label, at_ns, who })
            }
            What::WithdrawMark { flight, id, who } => {
                (flight == self.number).then_some(What::WithdrawMark { flight: 1, id, who })
            }
            what => Some(what),
        }
    }
}

/// `loftwatch pack`: out of a data folder, into a file that is not there yet.
pub(crate) async fn to_file(data: &Path, number: u32, file: &Path) -> Result<String, NotTravelled> {
    let (data, own_number) = super::home(data, number);
    let (store, inputs_file) = inputs::readers_of_stored(&data).await?;
    let readers = derived::readers_of_stored(&data)?;
    let wrong = |doing| NotTravelled::sql(&inputs_file, doing);
    let flight = playback::flight(&readers, own_number).await.map_err(wrong("the flight was looked for"))?;
    let flight = flight.ok_or(NotTravelled::NoFlight(number))?;
    let held = remarks::read(&store).await.map_err(wrong("remarks were read"))?.of(&flight);
    let label = remarks::label(&flight, &held);
    let made = File::create_new(file).map_err(NotTravelled::file("the flight file cannot be made"))?;
    let packed = pack(&store, &readers, &flight, &label, &held, BufWriter::new(made)).await;
    if packed.is_err() {
        // Half a file is worse than none.
        let _ = std::fs::remove_file(file);
    }
    packed?;
    let bytes = std::fs::metadata(file).map_or(0, |about| about.len());
    let so_far =
        if flight.ended_ns.is_none() { "; it has not ended, and this is as far as it came" } else { "" };
    Ok(format!("flight {number}, {label}: {} ({:.1} MB){so_far}\n", file.display(), bytes as f64 / 1e6))
}
