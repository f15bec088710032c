//! Everything that must hold before a change is kept. No step asserts a time.

use std::path::{Path, PathBuf};

use crate::demo::{packages, pages};
use crate::run::{Steps, command, finish};
use crate::tools::{need_c_compiler, need_chromium, need_node, need_python, target, top};

/// Runs all of it, from nothing, and prints what each step took.
pub(crate) fn run() -> Result<(), String> {
    need_node()?;
    need_c_compiler()?;
    let (top, web, tests) = (top(), top().join("web"), top().join("tests"));
    let cargo = |arguments: &[&str]| finish(command(&top, "cargo", arguments));
    let npm = |script: &str| finish(command(&web, "npm", &["run", "--silent", script]));
    let mut steps = Steps::default();

    steps.take("format", || cargo(&["fmt", "--all", "--check"]));
    steps.take("pages: build", pages);
    steps.take("pages: types and lint", || npm("check").and_then(|()| npm("lint")));
    steps.take("pages: unit tests", || npm("test"));
    steps.take("lints of the server", || {
        cargo(&["clippy", "--locked", "--workspace", "--all-targets", "--quiet", "--", "-D", "warnings"])
    });
    steps.take("server: build for tests", || {
        cargo(&["test", "--locked", "--workspace", "--no-run", "--quiet"])
    });
    steps.take("server: unit, property and system", || {
        cargo(&["test", "--locked", "--workspace", "--quiet", "--no-fail-fast"])
    });
    steps.take("documentation of the server", || {
        let mut doc = command(
            &top,
            "cargo",
            &["doc", "--locked", "--workspace", "--no-deps", "--document-private-items", "--quiet"],
        );
        doc.env("RUSTDOCFLAGS", "-D warnings");
        finish(doc)
    });
    steps.take("fuzz targets compile", || {
        cargo(&[
            "check",
            "--locked",
            "--quiet",
            "--manifest-path",
            "tests/fuzz/Cargo.toml",
            "--no-default-features",
        ])
    });
    steps.take("simulator, committed flights", || {
        let loftwatch = built_for_tests()?;
        let python = need_python(&["requirements.txt"])?;
        let mut pytest = command(&tests, &python, &["-m", "pytest", "-q", "sim/tests"]);
        pytest.env("LOFTWATCH", &loftwatch);
        finish(pytest)?;
        let mut flights = command(&tests, &python, &["-m", "sim", "check", "--binary"]);
        flights.arg(loftwatch);
        finish(flights)
    });
    steps.take("browser", || {
        let loftwatch = built_for_tests()?;
        browser("test", &loftwatch)
    });
    steps.close()
}

/// The program as the tests of the server were linked with it; a build of its own would compile everything twice.
fn built_for_tests() -> Result<PathBuf, String> {
    let program = target().join("debug/loftwatch");
    if program.is_file() {
        Ok(program)
    } else {
        Err("The program was not built: see the step that builds it.".to_owned())
    }
}

/// Drives the built program from real pages: one project of the browser tests.
pub(crate) fn browser(project: &str, loftwatch: &Path) -> Result<(), String> {
    browser_with(project, loftwatch, &[])
}

/// The same, told something in variables.
pub(crate) fn browser_with(project: &str, loftwatch: &Path, told: &[(&str, &str)]) -> Result<(), String> {
    let chromium = need_chromium()?;
    let folder = top().join("tests/browser");
    packages(&folder)?;
    let mut playwright = command(&folder, "npx", &["playwright", "test", "--project", project]);
    playwright.env("LOFTWATCH", loftwatch).env("CHROMIUM", chromium).envs(told.iter().copied());
    finish(playwright)
}
