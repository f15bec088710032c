//! `loftwatch rerun`: the engine over a recording or over stored inputs, as fast as it can; JSON Lines to standard
//! output. It is the engine that runs live: same inputs, same outputs, to the bit.

mod recording;
mod stored;

use std::io::{BufWriter, ErrorKind, StdoutLock, Write};

use loftwatch_engine::{Engine, Lines, Output};

use crate::cli::Rerun;
use crate::failure::Failure;
use crate::hindsight::AFTER_NS;
use crate::setup;

/// Does what the command line asks for.
pub(crate) async fn run(wanted: Rerun) -> Result<(), Failure> {
    let told = wanted.setup.as_deref().map(setup::read).transpose().map_err(Failure::usage)?;
    // A flight from elsewhere is in a store of its own.
    let (data, flight) = match (&wanted.data, wanted.flight) {
        (Some(data), Some(number)) => {
            let (data, own_number) = crate::travel::home(data, number);
            (Some(data), Some(own_number))
        }
        (data, flight) => (data.clone(), flight),
    };
    let mut printer = Printer::new(wanted.all, flight);
    let done = match (&data, &wanted.recording, told) {
        (Some(data), _, told) => stored::run(data, told.as_ref(), flight, &mut printer).await,
        (None, Some(recording), Some(told)) => recording::run(recording, &told, &mut printer),
        // The command line's own rules exclude what is left.
        _ => Err(Stop::Failed(Failure::usage("give a recording and --setup, or --data"))),
    };
    match done.and_then(|()| printer.flush()) {
        Ok(()) | Err(Stop::NobodyReads) => Ok(()),
        Err(Stop::Failed(failure)) => Err(failure),
    }
}

/// Why a run stops before its end.
enum Stop {
    /// Whoever read the lines has gone.
    NobodyReads,
    /// Something is wrong.
    Failed(Failure),
}

impl From<crate::store::StoreError> for Stop {
    fn from(error: crate::store::StoreError) -> Self {
        Self::Failed(error.into())
    }
}

impl From<Failure> for Stop {
    fn from(failure: Failure) -> Self {
        Self::Failed(failure)
    }
}

/// Prints outputs as lines.
struct Printer {
    out: BufWriter<StdoutLock<'static>>,
    lines: Lines,
    flight: Option<u32>,
}

impl Printer {
    fn new(all: bool, flight: Option<u32>) -> Self {
        let out = BufWriter::with_capacity(1 << 16, std::io::stdout().lock());
        Self { out, lines: Lines { all }, flight }
    }

    /// Prints what `engine` has put out, and empties it.
    fn print(&mut self, engine: &Engine, outputs: &mut Vec<Output>) -> Result<(), Stop> {
        for output in outputs.drain(..) {
            if self.flight.is_none_or(|flight| flight == output.flight)
                && let Some(line) = self.lines.write(&output, engine)
            {
                serde_json::to_writer(&mut self.out, &line).map_err(|error| stop(&error.into()))?;
                self.out.write_all(b"\n").map_err(|error| stop(&error))?;
            }
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), Stop> {
        self.out.flush().map_err(|error| stop(&error))
    }
}

fn stop(error: &std::io::Error) -> Stop {
    if error.kind() == ErrorKind::BrokenPipe {
        return Stop::NobodyReads;
    }
    Stop::Failed(Failure::other(format!("standard output cannot be written: {error}")))
}
