//! Hours-long runs: fuzzing of whatever reads bytes from outside, and hours on the pad.

use crate::demo::{pages, program};
use crate::run::{Steps, command, finish};
use crate::test::browser;
use crate::tools::{need_c_compiler, need_node, need_python, target as target_folder, top};

/// Minutes a fuzz target, where the command does not say.
const MINUTES: u32 = 30;

/// Everything that reads what comes from outside.
const TARGETS: [&str; 10] =
    ["splitter", "layout", "setup", "guess", "engine", "recording", "relay", "messages", "frames", "parcel"];

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
    for target in TARGETS {
        steps.take(target, || {
            // One stable toolchain is enough: cargo-fuzz asks for unstable flags only to watch coverage.
            // What it finds to be new goes to a folder of its own: the corpus stays small, and gets what broke something.
            let finds = target_folder().join("fuzz-finds").join(target);
            std::fs::create_dir_all(&finds).map_err(|error| format!("{}: {error}", finds.display()))?;
            let seeds = format!("corpus/{target}");
            let mut fuzz = command(&tests.join("fuzz"), "cargo", &["fuzz", "run", "--fuzz-dir", ".", target]);
            fuzz.arg(finds).args([&seeds, "--", &seconds]).env("RUSTC_BOOTSTRAP", "1");
            finish(fuzz)
                .map_err(|error| format!("{error}\nhint: `cargo install cargo-fuzz` brings the command"))
        });
    }
    steps.take("two hours before a page", || {
        need_node()?;
        pages()?;
        browser("soak", &program("release")?)
    });
    steps.take("100 hours on the pad", || {
        let loftwatch = program("release")?;
        let python = need_python(&["requirements.txt"])?;
        let mut pad = command(&tests, python, &["-m", "sim", "pad", "--hours", "100", "--binary"]);
        pad.arg(loftwatch);
        finish(pad)
    });
    steps.close()
}
