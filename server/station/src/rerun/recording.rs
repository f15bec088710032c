//! The engine over a recording. A line that cannot be used is said, counted and passed over.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, stdin};
use std::path::Path;

use flate2::bufread::MultiGzDecoder;
use loftwatch_engine::{Engine, Input, Recording, Setup, What};

use super::{AFTER_NS, Printer, Stop};
use crate::failure::Failure;

/// Longest line taken, bytes: 16 MiB of base64 is more than any piece of bytes that a link reads at once.
const LONGEST_LINE: u64 = 16 * 1024 * 1024;
/// Time between two lines that is said, ns: a flight of which nothing is heard for so long is over.
const LONG_NS: i64 = 1_800_000_000_000;
/// Unusable lines that are said one by one; the rest is only counted.
const SAID: u64 = 10;

pub(super) fn run(recording: &Path, setup: &Setup, printer: &mut Printer) -> Result<(), Stop> {
    let mut source = open(recording)?;
    let mut reader = Recording::new(setup);
    let mut line = Vec::new();
    let (mut taken, mut unusable, mut jumps) = (0_u64, 0_u64, 0_u64);
    let mut engine: Option<Engine> = None;
    let mut outputs = Vec::new();
    let mut last_ns = 0;
    loop {
        line.clear();
        let n = source.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line).map_err(|error| {
            Failure::data(format!(
                "the recording cannot be read on: {error}\nkept: the lines so far were computed"
            ))
        })?;
        if n == 0 {
            break;
        }
        let text = String::from_utf8_lossy(&line);
        let input = match reader.line(&text) {
            Ok(Some(input)) => input,
            Ok(None) => continue,
            Err(error) => {
                unusable += 1;
                if unusable <= SAID {
                    tracing::warn!("{error}");
                }
                skip_rest(&mut source, &line)?;
                continue;
            }
        };
        if taken > 0 && input.t_ns - last_ns > LONG_NS {
            jumps += 1;
            if jumps <= SAID {
                tracing::warn!(
                    "line {} of the recording comes {} s after the line before it",
                    reader.line_number(),
                    (input.t_ns - last_ns) / 1_000_000_000
                );
            }
        }
        taken += 1;
        last_ns = input.t_ns;
        let engine = engine.get_or_insert_with(|| begin(setup, &input));
        engine.step(&input, &mut outputs);
        printer.print(engine, &mut outputs)?;
    }
    if let Some(engine) = &mut engine {
        engine.advance(last_ns.saturating_add(AFTER_NS), &mut outputs);
        engine.finish(&mut outputs);
        printer.print(engine, &mut outputs)?;
    }
    if unusable > 0 {
        tracing::warn!("{unusable} lines of the recording could not be used, {taken} could");
    }
    if reader.lines_back() > 0 {
        tracing::warn!(
            "{} lines of the recording are earlier than a line above them and were taken as of its time\nhint: sort the recording by time",
            reader.lines_back()
        );
    }
    if taken == 0 {
        return Err(Failure::data(format!(
            "`{}` holds no usable line of a recording\nhint: each line is {{\"t_receive\": UTC seconds, \"link\": name, \"bytes\": base64}}",
            recording.display()
        ))
        .into());
    }
    Ok(())
}

/// An engine at the recording's first input.
fn begin(setup: &Setup, first: &Input) -> Engine {
    let mut engine = Engine::new(setup.clone(), first.t_ns);
    engine.keep_hindsight();
    let mut none = Vec::new();
    // Number 0: before all lines. It makes the engine begin exactly as a station does.
    let change = What::SetupChange(Box::new(setup.clone()));
    engine.step(&Input { number: 0, t_ns: first.t_ns, utc_ns: first.utc_ns, what: change }, &mut none);
    engine
}

fn open(recording: &Path) -> Result<Box<dyn BufRead>, Failure> {
    let mut source: Box<dyn BufRead> = if recording == Path::new("-") {
        Box::new(BufReader::with_capacity(1 << 16, stdin().lock()))
    } else {
        let file = File::open(recording).map_err(|error| {
            Failure::data(format!("the recording `{}` cannot be read: {error}", recording.display()))
        })?;
        Box::new(BufReader::with_capacity(1 << 16, file))
    };
    let begins = source.fill_buf().map_err(|error| {
        Failure::data(format!("the recording `{}` cannot be read: {error}", recording.display()))
    })?;
    if begins.starts_with(&[0x1f, 0x8b]) {
        return Ok(Box::new(BufReader::with_capacity(1 << 16, MultiGzDecoder::new(source))));
    }
    Ok(source)
}

/// After a line that was too long: the rest of it, up to the next one.
fn skip_rest(source: &mut Box<dyn BufRead>, line: &[u8]) -> Result<(), Failure> {
    if (line.len() as u64) < LONGEST_LINE || line.ends_with(b"\n") {
        return Ok(());
    }
    source
        .skip_until(b'\n')
        .map(|_| ())
        .map_err(|error| Failure::data(format!("the recording cannot be read on: {error}")))
}
