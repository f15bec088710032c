//! Hours-long runs: fuzzing of whatever reads bytes from outside, and hours on the pad.

use crate::demo::program;
use crate::run::{Steps, command, finish};
use crate::tools::{need_c_compiler, need_python, top};

/// Minutes a fuzz target, where the command does not say.
const MINUTES: u32 = 30;

/// Runs all of it; the first argument is the minutes a fuzz target.
pub(crate) fn run(arguments: &[String]) -> Result<(), String> {
    need_c_compiler()?;
    let minutes = match arguments.first() {
        Some(text) => text.parse::<u32>().map_err(|_| format!("minutes: `{text}` is no whole number"))?,
        None => MINUTES,
    };
    let seconds = format!("-max_total_time={}", minutes * 60);
    let tests = top().join("tests");
    let mut steps = Steps::default();
    for target in ["splitter", "layout", "setup"] {
        steps.take(target, || {
            // One stable toolchain is enough: cargo-fuzz asks for unstable flags only to watch coverage.
            let mut fuzz = command(
                &tests.join("fuzz"),
                "cargo",
                &["fuzz", "run", "--fuzz-dir", ".", target, "--", &seconds],
            );
            fuzz.env("RUSTC_BOOTSTRAP", "1");
            finish(fuzz)
                .map_err(|error| format!("{error}\nhint: `cargo install cargo-fuzz` brings the command"))
        });
    }
    steps.take("100 hours on the pad", || {
        let loftwatch = program("release")?;
        let python = need_python(&["requirements.txt"])?;
        let mut pad = command(&tests, python, &["-m", "sim", "pad", "--hours", "100", "--binary"]);
        pad.arg(loftwatch);
        finish(pad)
    });
    steps.close()
}
