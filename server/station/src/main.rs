//! The loftwatch program: a thin shell around the engine. It reads setup files and links, records every input,
//! runs the engine, keeps what it puts out, and serves the pages.

mod addresses;
mod cli;
mod clock;
mod compass;
#[cfg(test)]
mod corpus;
mod crew;
mod demo;
mod export;
mod failure;
mod guess;
mod handed_out;
mod hindsight;
mod hub;
mod learned;
mod links;
mod lists;
mod map;
mod mdns;
mod meant;
mod messages;
mod onboard;
mod playback;
mod ports;
mod prepared;
mod rebuild;
mod relay;
mod rerun;
mod ring;
mod run;
mod serve;
mod setup;
mod shared;
mod show;
mod store;
mod threads;
mod tls;
mod travel;
mod vehicles;
mod web;
mod whole;

use std::io::Write as _;
use std::process::ExitCode;
use std::time::Duration;

use clap::Parser as _;
use cli::{Cli, Command, SetupCommand};
use failure::Failure;
use threads::ENGINE_STACK;

fn main() -> ExitCode {
    // The first thread's stack is the system's affair, so the work is done on one of our own.
    let worked = std::thread::Builder::new().name("station".to_owned()).stack_size(ENGINE_STACK).spawn(work);
    match worked.map(std::thread::JoinHandle::join) {
        Ok(Ok(code)) => code,
        // It has said why on standard error.
        Ok(Err(_)) => ExitCode::from(101),
        Err(error) => end(&Failure::other(format!("no thread to work on: {error}"))),
    }
}

fn work() -> ExitCode {
    let cli = Cli::parse();
    let filter = tracing_subscriber::EnvFilter::try_from_env("LOFTWATCH_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info,sqlx=warn,memory_serve=warn"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr()))
        .with_target(false)
        .init();
    let runtime = match tokio::runtime::Builder::new_multi_thread().worker_threads(3).enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return end(&Failure::other(format!("no threads to run on: {error}"))),
    };
    let result = runtime.block_on(obey(cli));
    // A read of standard input that never returns must not keep the program from ending.
    runtime.shutdown_timeout(Duration::from_secs(1));
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => end(&failure),
    }
}

fn end(failure: &Failure) -> ExitCode {
    let text = failure.to_string();
    // A report of mistakes in a setup says it of each.
    let front = if text.starts_with("error: ") { "" } else { "error: " };
    // Nobody may be reading; the code says it too.
    let _ = writeln!(std::io::stderr(), "{front}{text}");
    ExitCode::from(failure.code)
}

async fn obey(cli: Cli) -> Result<(), Failure> {
    match cli.command {
        Command::Serve(wanted) => {
            let setup = setup::read(&wanted.setup).map_err(Failure::usage)?;
            let signals = serve::Signals::listen()?;
            let listener = serve::bind(wanted.listen).await?;
            let plan = serve::Plan {
                setup,
                setup_file: wanted.setup,
                data: wanted.data,
                map: wanted.map,
                set_aside: wanted.set_aside,
                pass_on: wanted.pass_on,
                key: wanted.key,
            };
            serve::run(plan, listener, |_| signals.told_to_end()).await
        }
        Command::Demo(wanted) => demo::run(wanted).await,
        Command::Rerun(wanted) => rerun::run(wanted).await,
        Command::Flights(wanted) => lists::flights(&wanted.data).await,
        Command::Export(wanted) => handed_out::run(wanted).await,
        Command::Log(wanted) => onboard::run(wanted).await,
        Command::Pack(wanted) => {
            lists::print(&travel::to_file(&wanted.data, wanted.flight, &wanted.file).await?)
        }
        Command::Unpack(wanted) => lists::print(&travel::unpack(&wanted.data, &wanted.file).await?),
        Command::Guess(wanted) => guess::run(&wanted).await,
        Command::Check(wanted) => whole::run(&wanted.data).await,
        Command::Rebuild(wanted) => rebuild::obey(&wanted).await,
        Command::Key { file } => relay::make(&file),
        Command::Prepare(wanted) => prepared::run(&wanted),
        Command::Ports => lists::serial_ports(),
        Command::Setup { what: SetupCommand::Check { file, json } } => lists::setup_check(&file, json),
        Command::Setup { what: SetupCommand::Header(wanted) } => lists::setup_header(&wanted),
        Command::Setup { what: SetupCommand::Sheet(wanted) } => lists::setup_sheet(&wanted),
    }
}
