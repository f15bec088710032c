//! The main job on the demo flight: pages, program, flight.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use crate::run::{command, finish};
use crate::tools::{need_c_compiler, need_node, target, top};

/// Builds what is not up to date, then runs `loftwatch demo` with the arguments.
pub(crate) fn run(arguments: &[String]) -> Result<(), String> {
    need_node()?;
    need_c_compiler()?;
    pages()?;
    let program = program("demo")?;
    eprintln!("Built. Starting the demo flight; end it with Ctrl-C.");
    let mut demo = command(&top(), program, &["demo"]);
    demo.args(arguments);
    finish(demo)
}

/// Builds the pages into `web/dist` where a source is newer.
pub(crate) fn pages() -> Result<(), String> {
    let web = top().join("web");
    packages(&web)?;
    let built = web.join("dist/index.html");
    let sources = ["src", "public", "index.html", "vite.config.ts", "package-lock.json"];
    if sources.iter().any(|source| newest(&web.join(source)).is_some_and(|at| at > modified(&built))) {
        eprintln!("Building the pages.");
        finish(command(&web, "npm", &["run", "--silent", "build"]))?;
    }
    Ok(())
}

/// Installs a folder's npm packages where its lock file is newer than what is installed.
pub(crate) fn packages(folder: &Path) -> Result<(), String> {
    if newer(&folder.join("package-lock.json"), &folder.join("node_modules/.package-lock.json")) {
        eprintln!("Fetching the packages of {}.", folder.display());
        finish(command(folder, "npm", &["ci", "--no-audit", "--no-fund", "--loglevel=error"]))?;
    }
    Ok(())
}

/// Builds the program in a profile and answers where it lies.
pub(crate) fn program(profile: &str) -> Result<PathBuf, String> {
    eprintln!("Building the program (profile {profile}).");
    finish(command(
        &top(),
        "cargo",
        &["build", "--locked", "--package", "loftwatch-station", "--profile", profile],
    ))?;
    // The profile `dev` has its folder under an older name.
    Ok(target().join(if profile == "dev" { "debug" } else { profile }).join("loftwatch"))
}

fn modified(path: &Path) -> SystemTime {
    path.metadata().and_then(|data| data.modified()).unwrap_or(SystemTime::UNIX_EPOCH)
}

fn newer(a: &Path, b: &Path) -> bool {
    modified(a) > modified(b)
}

/// The newest change below a path; `None` where nothing is there.
fn newest(path: &Path) -> Option<SystemTime> {
    let own = path.metadata().ok()?;
    if !own.is_dir() {
        return own.modified().ok();
    }
    std::fs::read_dir(path).ok()?.flatten().filter_map(|entry| newest(&entry.path())).max()
}
