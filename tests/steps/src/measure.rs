//! Figures, by hand: accuracy by class, speed beside its floor, faults, and the way from byte to pixel.
//!
//! Each part prints its figures and leaves them in `tests/out`; together, with commit and machine, they become
//! `tests/report.md`.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::demo::{pages, program};
use crate::run::{Steps, command};
use crate::test::{browser, browser_with};
use crate::tools::{need_c_compiler, need_node, need_python, top};

/// Flights a class, where the command does not say.
const FLIGHTS: &str = "200";
/// Kills, where the command does not say.
const KILLS: &str = "200";

/// Runs every measurement; the first argument is the number of flights a class.
pub(crate) fn run(arguments: &[String]) -> Result<(), String> {
    need_node()?;
    need_c_compiler()?;
    pages()?;
    let flights = arguments.first().map_or(FLIGHTS, String::as_str);
    let kills = arguments.get(1).map_or(KILLS, String::as_str);
    let (top, tests) = (top(), top().join("tests"));
    let out = tests.join("out");
    fs::create_dir_all(&out).map_err(|error| format!("{}: {error}", out.display()))?;
    let loftwatch = program("release")?;
    let python = need_python(&["requirements-measure.txt"])?;
    let mut steps = Steps::default();

    steps.take("accuracy and coverage by class", || {
        let mut score =
            command(&tests, &python, &["-m", "sim", "score", "--fits", "--flights", flights, "--binary"]);
        score.arg(&loftwatch).arg("--plots").arg(tests.join("report"));
        keep(score, &out.join("accuracy.md"))
    });
    steps.take("filter designs beside each other", || {
        let mut designs = command(&tests, &python, &["-m", "sim", "designs", "--binary"]);
        designs.arg(&loftwatch);
        keep(designs, &out.join("designs.md"))
    });
    steps.take("which missing knowledge costs what", || {
        let mut knows = command(&tests, &python, &["-m", "sim", "knows", "--binary"]);
        knows.arg(&loftwatch);
        keep(knows, &out.join("knows.md"))
    });
    steps.take("decoding beside its floor", || {
        keep(
            command(&top, "cargo", &["bench", "--locked", "--quiet", "--package", "loftwatch-radio"]),
            &out.join("decoding.md"),
        )
    });
    let measured_test = |name: &str, file: &str| {
        let arguments =
            ["test", "--locked", "--quiet", "--release", "--package", "loftwatch-station", name, "--"];
        let mut test = command(&top, "cargo", &arguments);
        test.args(["--ignored", "--nocapture"]);
        keep(test, &out.join(file))
    };
    steps.take("storing beside its floor", || measured_test("storing_beside_a_floor", "storing.md"));
    steps.take("passing on from a remote receiver", || measured_test("passing_on", "relay.md"));
    steps.take("SIGKILL at random moments", || {
        let mut kill = command(&tests, &python, &["faults/kill.py", "--times", kills]);
        kill.env("LOFTWATCH", &loftwatch);
        keep(kill, &out.join("kills.md"))
    });
    steps.take("faults of ports, disks, clocks and files", || {
        let mut faults = command(&tests, &python, &["faults/suite.py"]);
        faults.env("LOFTWATCH", &loftwatch);
        keep(faults, &out.join("faults.md"))
    });
    steps.take("a whole range day", || {
        let mut day = command(&tests, &python, &["faults/day.py"]);
        day.env("LOFTWATCH", &loftwatch);
        keep(day, &out.join("day.md"))
    });
    steps.take("bad input by the megabyte", || {
        let mut bad = command(&tests, &python, &["faults/bad.py"]);
        bad.env("LOFTWATCH", &loftwatch);
        keep(bad, &out.join("bad.md"))
    });
    steps.take("last byte to pixel, and what the page costs", || browser("measure", &loftwatch));
    steps.take("many viewers beside a bare fan-out", || {
        let mut viewers = command(
            &top,
            "cargo",
            &["run", "--locked", "--quiet", "--release", "--package", "viewers", "--"],
        );
        viewers.arg(&loftwatch);
        keep(viewers, &out.join("viewers.md"))
    });
    report(&tests)?;
    steps.close()
}

/// Takes a picture of every phase, at three sizes in both themes. Named parts of names, as `04` or `coast`, take those
/// alone, of the flights that were flown last.
pub(crate) fn pictures(names: &[String]) -> Result<(), String> {
    need_node()?;
    need_c_compiler()?;
    pages()?;
    let loftwatch = program("dev")?;
    browser_with("pictures", &loftwatch, &[("LOFTWATCH_PICTURES", &names.join(","))])?;
    eprintln!("The pictures are in `{}`.", top().join("tests/out/pictures").display());
    Ok(())
}

/// Runs a command, shows what it prints and keeps it in a file.
fn keep(mut command: Command, file: &Path) -> Result<(), String> {
    let told = format!("{command:?}");
    let output =
        command.stderr(Stdio::inherit()).output().map_err(|error| format!("cannot run: {error}: {told}"))?;
    let text = String::from_utf8_lossy(&output.stdout);
    eprintln!("{text}");
    fs::write(file, text.as_bytes()).map_err(|error| format!("{}: {error}", file.display()))?;
    if output.status.success() { Ok(()) } else { Err(format!("{}: {told}", output.status)) }
}

/// One line that a program prints, empty if it cannot be run.
fn line(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).current_dir(top()).output();
    output.map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned()).unwrap_or_default()
}

/// Puts the parts together.
fn report(tests: &Path) -> Result<(), String> {
    let processor = fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = processor.lines().find_map(|l| l.strip_prefix("model name")).unwrap_or(": not known");
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let mut text = String::from("# What was measured\n\nMade by `cargo measure`.\n\n");
    let _ = writeln!(text, "- commit {}", line("git", &["rev-parse", "--short", "HEAD"]));
    let _ = writeln!(
        text,
        "- {} on {}, {cores} cores",
        line("rustc", &["--version"]),
        model.trim_start_matches([' ', '\t', ':'])
    );
    let parts = [
        ("Accuracy and coverage by class", "accuracy.md"),
        ("Filter designs beside each other", "designs.md"),
        ("Which missing knowledge costs what", "knows.md"),
        ("Decoding", "decoding.md"),
        ("Storing", "storing.md"),
        ("Passing on from a remote receiver", "relay.md"),
        ("SIGKILL at random moments of a flight", "kills.md"),
        ("Faults injected into a flight", "faults.md"),
        ("A whole range day", "day.md"),
        ("Bad input by the megabyte", "bad.md"),
        ("Last byte to pixel", "latency.md"),
        ("What the page costs", "page.md"),
        ("Many viewers beside a bare fan-out", "viewers.md"),
    ];
    for (title, file) in parts {
        let body = fs::read_to_string(tests.join("out").join(file))
            .unwrap_or_else(|_| "Not measured in this run.".to_owned());
        let table = body.contains("|---");
        let fence = if table { "" } else { "```\n" };
        let _ = write!(text, "\n## {title}\n\n{fence}{}\n{fence}", body.trim_end());
    }
    fs::write(tests.join("report.md"), text).map_err(|error| format!("tests/report.md: {error}"))
}
