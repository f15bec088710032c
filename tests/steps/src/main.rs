//! Build and test steps behind the cargo aliases `demo`, `all-tests`, `measure`, `pictures` and `soak`.
//!
//! Every step is a program that anybody could type; this crate only puts them in order, times them, and says
//! in a sentence what is missing. It depends on nothing, so that it is built in seconds.

mod demo;
mod measure;
mod run;
mod soak;
mod test;
mod tools;

use std::process::ExitCode;

const HELP: &str = "\
usage: steps COMMAND [ARGUMENTS]

  demo [ARGUMENTS]   build the pages and the program, then play an invented flight
                     (arguments go to `loftwatch demo`)
  test               everything that must hold before a change is kept
  measure [FLIGHTS]  accuracy, speed and faults, with figures; writes tests/report.md
  pictures [NAMES]   every phase at three sizes in both themes, for eyes; into tests/out/pictures
  soak [MINUTES]     fuzzing and hours-long runs
";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let rest = arguments.get(1..).unwrap_or_default();
    let result = match arguments.first().map(String::as_str) {
        Some("demo") => demo::run(rest),
        Some("test") => test::run(),
        Some("measure") => measure::run(rest),
        Some("pictures") => measure::pictures(rest),
        Some("soak") => soak::run(rest),
        _ => Err(HELP.to_owned()),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}
