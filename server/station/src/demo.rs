//! `loftwatch demo`: an invented flight, played in real time into pseudo-terminals that a station opens by their
//! paths as the serial ports they stand for, with the losses of a real radio in the recording. Nothing else about
//! the station is different. When the flight is over it is flown again, as a new flight.

mod embedded;
mod player;
mod terminals;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use loftwatch_engine::What;
use tokio::net::TcpListener;

use crate::cli::Demo;
use crate::failure::Failure;
use crate::serve;
use crate::setup;
use crate::shared::Shared;
use embedded::Embedded;
use terminals::Terminals;

/// Between the end of a recording and the next flight: time to see where everything came down.
const BETWEEN: Duration = Duration::from_secs(30);
/// Before the first packet: the browser is opened meanwhile.
const BEFORE: Duration = Duration::from_secs(2);

/// Runs the demo until told to end.
pub(crate) async fn run(wanted: Demo) -> Result<(), Failure> {
    if !(0.1..=100.0).contains(&wanted.speed) {
        return Err(Failure::usage(format!("--speed {} is not between 0.1 and 100", wanted.speed)));
    }
    let signals = serve::Signals::listen()?;
    let demo = embedded::find(&wanted.flight).map_err(Failure::usage)?;
    let pieces = player::read(demo)?;
    let folder = match &wanted.data {
        Some(folder) => folder.clone(),
        None => temporary_folder()?,
    };
    let mut names: Vec<&str> = pieces.iter().map(|piece| piece.link.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let mut terminals = Terminals::open(&names)?;
    let setup_file = write_setup(demo, &folder, &terminals)?;
    let setup = setup::read(&setup_file).map_err(Failure::other)?;
    let listener = bind(&wanted).await?;
    tracing::info!("demo flight `{}`, data in `{}`", demo.name, folder.display());
    let plan = serve::Plan {
        setup,
        setup_file,
        data: folder,
        map: wanted.map.clone(),
        set_aside: false,
        pass_on: Vec::new(),
        key: None,
    };
    // The terminals outlive the station: a port that vanishes at the end is no part of a flight.
    let ends = &mut terminals;
    let flying = |shared: Arc<Shared>| async move {
        tokio::select! {
            () = signals.told_to_end() => {}
            () = fly(&shared, ends, &pieces, wanted.speed, wanted.once) => {}
        }
    };
    serve::run(plan, listener, flying).await
}

async fn fly(shared: &Shared, terminals: &mut Terminals, pieces: &[player::Piece], speed: f64, once: bool) {
    tokio::time::sleep(BEFORE).await;
    loop {
        player::play(terminals, pieces, speed).await;
        if once {
            // The pages stay.
            std::future::pending::<()>().await;
        }
        tracing::info!("the demo flight is over; it is flown again in {} s", BETWEEN.as_secs());
        tokio::time::sleep(BETWEEN).await;
        shared.press(What::EndFlight { who: "demo".to_owned() });
    }
}

/// The demo's setup with its links turned into the terminals, in the data folder, where it can be looked at.
fn write_setup(demo: &Embedded, folder: &Path, terminals: &Terminals) -> Result<PathBuf, Failure> {
    let wrong = |error: &dyn std::fmt::Display| {
        Failure::other(format!("the demo's setup cannot be written: {error}"))
    };
    std::fs::create_dir_all(folder).map_err(|error| {
        Failure::data(format!("the data folder `{}` cannot be written: {error}", folder.display()))
    })?;
    for (name, text) in demo.files.iter().filter(|(name, _)| *name != "setup.toml") {
        std::fs::write(folder.join(name), text).map_err(|error| wrong(&error))?;
    }
    let text = demo.files.iter().find(|(name, _)| *name == "setup.toml").map_or("", |(_, text)| *text);
    let mut table: toml::Table = text.parse().map_err(|error| wrong(&error))?;
    for link in table.get_mut("link").and_then(toml::Value::as_array_mut).into_iter().flatten() {
        let Some(link) = link.as_table_mut() else { continue };
        let path = link.get("name").and_then(toml::Value::as_str).and_then(|name| terminals.path(name));
        if let Some(path) = path.map(str::to_owned) {
            link.retain(|key, _| !matches!(key, "connect" | "listen" | "allow_network"));
            link.insert("kind".to_owned(), "serial".into());
            link.insert("path".to_owned(), path.into());
        }
    }
    let file = folder.join("setup.toml");
    let text = toml::to_string(&table).map_err(|error| wrong(&error))?;
    std::fs::write(&file, text).map_err(|error| wrong(&error))?;
    Ok(file)
}

/// The address asked for; another port if it is in use, since a demo is started without much thought.
async fn bind(wanted: &Demo) -> Result<TcpListener, Failure> {
    match serve::bind(wanted.listen).await {
        Ok(listener) => Ok(listener),
        Err(failure) => {
            let mut other = wanted.listen;
            other.set_port(0);
            serve::bind(other).await.map_err(|_| failure)
        }
    }
}

fn temporary_folder() -> Result<PathBuf, Failure> {
    let name = format!("loftwatch-demo-{}-{}", std::process::id(), jiff::Timestamp::now().as_second());
    let folder = std::env::temp_dir().join(name);
    std::fs::create_dir_all(&folder)
        .map_err(|error| Failure::data(format!("no temporary folder `{}`: {error}", folder.display())))?;
    Ok(folder)
}
