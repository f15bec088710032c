//! The engine over stored inputs, with the setups recorded among them, or with another one from the start.

use std::path::Path;

use loftwatch_engine::{Engine, Input, Said, Setup, What};

use super::{AFTER_NS, Printer, Stop};
use crate::failure::Failure;
use crate::store::{StoreError, inputs};

/// Inputs read in one go.
const READ_AT_ONCE: u32 = 2_000;

pub(super) async fn run(
    data: &Path,
    told: Option<&Setup>,
    flight: Option<u32>,
    printer: &mut Printer,
) -> Result<(), Stop> {
    let (pool, file) = inputs::readers_of_stored(data).await?;
    let read = |error| Failure::from(StoreError::sql(&file, "being read")(error));
    let Some((first, setup)) = inputs::first_setup(&pool).await.map_err(read)? else {
        return Err(Failure::data(format!(
            "`{}` holds no setup, so nothing can be computed",
            file.display()
        ))
        .into());
    };
    let mut engine = Engine::new(told.cloned().unwrap_or(setup), first.t_ns);
    engine.keep_hindsight();
    let mut outputs = Vec::new();
    let (mut done, mut last_ns) = (first.number - 1, first.t_ns);
    loop {
        let some = inputs::read(&pool, done, u64::MAX, READ_AT_ONCE).await.map_err(read)?;
        let Some(last) = some.last() else { break };
        (done, last_ns) = (last.number, last.t_ns);
        for input in some {
            engine.step(&as_told(input, told), &mut outputs);
            let over = outputs.iter().any(|output| is_past(&output.what, flight));
            printer.print(&engine, &mut outputs)?;
            if over {
                return Ok(());
            }
        }
    }
    engine.advance(last_ns.saturating_add(AFTER_NS), &mut outputs);
    engine.finish(&mut outputs);
    printer.print(&engine, &mut outputs)
}

/// With another setup told, it replaces every recorded one.
fn as_told(input: Input, told: Option<&Setup>) -> Input {
    match (input.what.setup(), told) {
        (Some(_), Some(told)) => Input { what: What::SetupChange(Box::new(told.clone())), ..input },
        _ => input,
    }
}

/// Whether the wanted flight lies behind.
fn is_past(said: &Said, flight: Option<u32>) -> bool {
    matches!((said, flight), (Said::Flight(state), Some(flight)) if state.number > flight)
}
