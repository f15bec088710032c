//! The engine over stored inputs, with the setups recorded among them, or with another one from the start. What a remote
//! receiver passed on late stands where it was heard.

use std::path::Path;

use loftwatch_engine::{Engine, Input, Said, Setup, What};

use super::{AFTER_NS, Printer, Stop};
use crate::failure::Failure;
use crate::store::{Heard, StoreError, inputs};

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
    let mut last_ns = first.t_ns;
    let mut heard = Heard::after(&pool, first.number - 1).await.map_err(read)?;
    while let Some(input) = heard.next().await.map_err(read)? {
        last_ns = last_ns.max(input.t_ns);
        engine.step(&as_told(Input { t_ns: last_ns, ..input }, told), &mut outputs);
        let over = outputs.iter().any(|output| is_past(&output.what, flight));
        printer.print(&engine, &mut outputs)?;
        if over {
            return Ok(());
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
