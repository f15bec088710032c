//! Finding what the steps need, and saying in a sentence what to install when it is not there.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The top of the repository.
pub(crate) fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap_or_else(|_| PathBuf::from("."))
}

/// Where cargo puts what it builds.
pub(crate) fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| top().join("target"), PathBuf::from)
}

/// What a program prints, if it can be run at all.
fn answer(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).stderr(Stdio::null()).output().ok()?;
    output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// Node 20 or newer with npm.
pub(crate) fn need_node() -> Result<(), String> {
    let version = answer("node", &["--version"]).unwrap_or_default();
    let major = version.trim_start_matches('v').split('.').next().and_then(|n| n.parse::<u32>().ok());
    match major {
        Some(major) if major >= 20 && answer("npm", &["--version"]).is_some() => Ok(()),
        Some(major) if major < 20 => Err(format!(
            "The pages need Node 20 or newer to be built; this machine has {version}.\nhint: install a newer Node.js with npm from your system's packages or from nodejs.org, then run this again."
        )),
        _ => Err("The pages need Node 20 or newer and npm to be built, and they were not found.\nhint: install Node.js with npm (Debian: `apt-get install nodejs npm`; else nodejs.org), then run this again.".to_owned()),
    }
}

/// A C compiler, which SQLite is built with.
pub(crate) fn need_c_compiler() -> Result<(), String> {
    let named = std::env::var("CC").ok();
    let found = named
        .iter()
        .map(String::as_str)
        .chain(["cc", "gcc", "clang"])
        .any(|c| answer(c, &["--version"]).is_some());
    if found {
        return Ok(());
    }
    Err("The store (SQLite) is built from C, and no C compiler was found.\nhint: install one (Debian: `apt-get install gcc libc6-dev`; macOS: `xcode-select --install`), then run this again.".to_owned())
}

/// Chromium for the browser tests; installed where that is possible without asking.
pub(crate) fn need_chromium() -> Result<String, String> {
    if let Some(path) = find_chromium() {
        return Ok(path);
    }
    let root = answer("id", &["-u"]).is_some_and(|id| id == "0");
    if root && answer("apt-get", &["--version"]).is_some() {
        eprintln!("Chromium is not here yet: installing the Debian package.");
        let quiet = |arguments: &[&str]| {
            Command::new("apt-get")
                .args(arguments)
                .env("DEBIAN_FRONTEND", "noninteractive")
                .stdout(Stdio::null())
                .status()
                .is_ok_and(|status| status.success())
        };
        let installed = quiet(&["update", "-q"])
            && quiet(&["install", "-y", "-q", "--no-install-recommends", "chromium"]);
        if let (true, Some(path)) = (installed, find_chromium()) {
            return Ok(path);
        }
    }
    Err("The browser tests need Chromium, and it was not found.\nhint: install it (Debian: `apt-get install chromium`) or name it in the variable CHROMIUM, then run this again.".to_owned())
}

fn find_chromium() -> Option<String> {
    let named = std::env::var("CHROMIUM").ok();
    let usual = ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"];
    named.into_iter().chain(usual.map(str::to_owned)).find(|path| Path::new(path).is_file())
}

/// Python with the test packages in an environment of its own, made on first use. Answers the interpreter.
pub(crate) fn need_python(requirements: &[&str]) -> Result<PathBuf, String> {
    let venv = top().join("tests/.venv");
    let python = venv.join("bin/python");
    if answer("python3", &["-c", "import sys; sys.exit(sys.version_info < (3, 10))"]).is_none() {
        return Err("The simulator needs Python 3.10 or newer, and it was not found.\nhint: install it (Debian: `apt-get install python3 python3-venv`), then run this again.".to_owned());
    }
    if !python.is_file() {
        let made = Command::new("python3")
            .args(["-m", "venv"])
            .arg(&venv)
            .status()
            .is_ok_and(|status| status.success());
        if !made {
            return Err("Python could not make an environment of its own.\nhint: install the venv module (Debian: `apt-get install python3-venv`), then run this again.".to_owned());
        }
    }
    for file in requirements {
        let path = top().join("tests").join(file);
        let wanted =
            std::fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let stamp = venv.join(format!("{file}.installed"));
        if std::fs::read_to_string(&stamp).is_ok_and(|had| had == wanted) {
            continue;
        }
        let done = Command::new(&python)
            .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r"])
            .arg(&path)
            .status()
            .is_ok_and(|status| status.success());
        if !done {
            return Err(format!(
                "The Python packages in tests/{file} could not be installed (see above).\nhint: they come from the Python package index; connect once, then run this again."
            ));
        }
        std::fs::write(&stamp, wanted).map_err(|error| format!("{}: {error}", stamp.display()))?;
    }
    Ok(python)
}
