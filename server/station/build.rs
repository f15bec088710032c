//! Embeds the built pages and the demo flights, and watches the store's schema. It never runs the pages' build: that
//! is its own step.

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;

fn main() {
    println!("cargo::rerun-if-changed=../../migrations");
    pages();
    if let Err(error) = demos() {
        println!("cargo::error=The demo flights cannot be embedded: {error}");
    }
}

fn pages() {
    // A file that is missing counts as changed, so that pages built later are found.
    println!("cargo::rerun-if-changed=../../web/dist/index.html");
    let built = Path::new("../../web/dist");
    if built.join("index.html").is_file() {
        memory_serve::load_directory(built);
    } else if std::env::var("PROFILE").is_ok_and(|profile| profile == "debug") {
        memory_serve::load_directory("placeholder");
    } else {
        println!(
            "cargo::error=The pages are not built: `web/dist` is missing. Build them first with \
             `npm ci && npm run build` in the folder `web` (Node 20 or newer), or use `cargo demo`, which does both."
        );
    }
}

/// Writes a table of all folders in `demo-data` that hold a flight: name, setup's files, recording (gzip).
fn demos() -> Result<(), std::io::Error> {
    let root = fs::canonicalize("../../demo-data")?;
    println!("cargo::rerun-if-changed={}", root.display());
    let out = PathBuf::from(std::env::var_os("OUT_DIR").unwrap_or_default());
    let mut folders: Vec<PathBuf> =
        fs::read_dir(&root)?.map(|entry| Ok(entry?.path())).collect::<Result<_, std::io::Error>>()?;
    folders.sort();
    let mut table = String::from("[\n");
    for folder in folders.iter().filter(|folder| folder.join("flight.jsonl").is_file()) {
        let name = folder.file_name().unwrap_or_default().to_string_lossy();
        let packed = out.join(format!("{name}.jsonl.gz"));
        let mut gzip = GzEncoder::new(fs::File::create(&packed)?, Compression::best());
        gzip.write_all(&fs::read(folder.join("flight.jsonl"))?)?;
        gzip.finish()?;
        let mut files = String::new();
        for file in fs::read_dir(folder)? {
            let file = file?.path();
            if file.extension().is_some_and(|kind| kind == "toml" || kind == "csv") {
                let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
                let _ = write!(files, "({name:?}, include_str!({:?})), ", file.display().to_string());
            }
        }
        let packed = packed.display().to_string();
        let _ = writeln!(
            table,
            "    Embedded {{ name: {name:?}, files: &[{files}], recording: include_bytes!({packed:?}) }},"
        );
    }
    table.push_str("]\n");
    fs::write(out.join("demos.rs"), table)
}
