//! Running steps one after the other, with the time each took.

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// A command in a folder.
pub(crate) fn command<S: AsRef<OsStr>>(folder: &Path, program: S, arguments: &[&str]) -> Command {
    let mut command = Command::new(program);
    command.current_dir(folder).args(arguments);
    command
}

/// Runs one command to its end; its output goes straight through.
pub(crate) fn finish(mut command: Command) -> Result<(), String> {
    let told = format!("{command:?}");
    match command.status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("{status}: {told}")),
        Err(error) => Err(format!("cannot run: {error}: {told}")),
    }
}

/// Steps with a name, a result and a time each.
#[derive(Default)]
pub(crate) struct Steps {
    done: Vec<(&'static str, Result<(), String>, Duration)>,
}

impl Steps {
    /// Takes one step. A failed step does not keep the later ones from being tried.
    pub(crate) fn take(&mut self, name: &'static str, step: impl FnOnce() -> Result<(), String>) {
        eprintln!("\n== {name}");
        let started = Instant::now();
        let result = step();
        if let Err(message) = &result {
            eprintln!("{name}: failed\n{message}");
        }
        self.done.push((name, result, started.elapsed()));
    }

    /// Prints the table and the count; an error if any step failed.
    pub(crate) fn close(self) -> Result<(), String> {
        let mut out = std::io::stdout().lock();
        let total: Duration = self.done.iter().map(|(_, _, time)| *time).sum();
        let failed = self.done.iter().filter(|(_, result, _)| result.is_err()).count();
        let mut table = String::from("\nstep                                      time   result\n");
        for (name, result, time) in &self.done {
            let verdict = if result.is_ok() { "passed" } else { "FAILED" };
            let _ = writeln!(table, "{name:<38} {:>6.1} s   {verdict}", time.as_secs_f64());
        }
        let _ = writeln!(table, "{:<38} {:>6.1} s\n", "together", total.as_secs_f64());
        let _ = writeln!(table, "steps: {} passed, {failed} failed", self.done.len() - failed);
        out.write_all(table.as_bytes()).map_err(|error| error.to_string())?;
        if failed == 0 {
            Ok(())
        } else {
            Err("Not everything passed; what failed is named above.".to_owned())
        }
    }
}
