//! Copies of vehicles: setup texts kept in the folder `vehicles` of the data folder, one a vehicle and state of it.
//!
//! A page names no file: a copy is known by its number, the FNV-1a of its text, and is found in the list of what is there.

use std::path::{Path, PathBuf};

use crate::messages::VehicleCopy;
use crate::store::fnv1a_64;

/// The most copies that are kept, and the longest text, bytes.
const MOST: usize = 200;
const LONGEST: u64 = 1024 * 1024;

/// All copies, newest first.
pub(crate) fn list(folder: &Path) -> Vec<VehicleCopy> {
    let mut all: Vec<VehicleCopy> =
        files(folder).into_iter().filter_map(|(file, text)| about(&file, &text)).collect();
    all.sort_by(|a, b| b.kept_utc_s.total_cmp(&a.kept_utc_s).then(a.id.cmp(&b.id)));
    all
}

/// Keeps a copy of a text; says what stands in its way.
pub(crate) fn keep(folder: &Path, text: &str, vehicle: &str) -> Result<(), String> {
    let id = id(text);
    let known = files(folder);
    if known.iter().any(|(_, other)| self::id(other) == id) {
        return Ok(());
    }
    if known.len() >= MOST {
        return Err(format!("there are {MOST} copies already; take some out of `{}`", folder.display()));
    }
    let plain: String = vehicle
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .take(40)
        .collect();
    let file = folder.join(format!("{}-{id}.toml", plain.trim_matches('-')));
    std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(&file, text))
        .map_err(|error| format!("`{}` cannot be written: {error}", file.display()))
}

/// The text of a copy.
pub(crate) fn text(folder: &Path, wanted: &str) -> Option<String> {
    files(folder).into_iter().map(|(_, text)| text).find(|text| id(text) == wanted)
}

fn files(folder: &Path) -> Vec<(PathBuf, String)> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| entry.path())
        .filter(|file| file.extension().is_some_and(|end| end == "toml"))
        .filter(|file| std::fs::metadata(file).is_ok_and(|about| about.is_file() && about.len() <= LONGEST))
        .filter_map(|file| Some((std::fs::read_to_string(&file).ok()?, file)))
        .map(|(text, file)| (file, text))
        .collect()
}

fn about(file: &Path, text: &str) -> Option<VehicleCopy> {
    let kept = std::fs::metadata(file).ok()?.modified().ok()?;
    let since = kept.duration_since(std::time::UNIX_EPOCH).ok()?;
    let all = loftwatch_setup::figures(text, &[]).ok()?;
    let figure = |key: &str| {
        let found = all.iter().flat_map(|section| &section.figures).find(|figure| figure.key == key);
        found.and_then(|figure| figure.value.clone()).unwrap_or_default()
    };
    Some(VehicleCopy {
        id: id(text),
        name: figure("vehicle.name"),
        mass_kg: figure("vehicle.liftoff_mass_kg"),
        impulse_ns: figure("motor.total_impulse_ns"),
        kept_utc_s: since.as_secs_f64().floor(),
    })
}

fn id(text: &str) -> String {
    format!("{:016x}", fnv1a_64(text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str =
        "[vehicle]\nname = \"Tall / Order\"\nliftoff_mass_kg = 34.0\n[motor]\ntotal_impulse_ns = 4350\n";

    #[test]
    fn a_copy_is_kept_once_and_found_by_its_number_alone() {
        let folder = tempfile::tempdir().unwrap();
        let copies = folder.path().join("vehicles");
        assert!(list(&copies).is_empty());
        keep(&copies, TEXT, "Tall / Order").unwrap();
        keep(&copies, TEXT, "Tall / Order").unwrap();
        keep(&copies, &TEXT.replace("34.0", "35.5"), "../../etc").unwrap();
        std::fs::write(copies.join("broken.toml"), "= no").unwrap();
        let all = list(&copies);
        assert_eq!(all.len(), 2, "{all:?}");
        let first = all.iter().find(|copy| copy.mass_kg == "34.0").unwrap();
        assert_eq!(first.name, "Tall / Order");
        assert_eq!(text(&copies, &first.id).as_deref(), Some(TEXT));
        assert_eq!(text(&copies, "../tall"), None);
        let names: Vec<_> =
            std::fs::read_dir(folder.path()).unwrap().flatten().map(|e| e.file_name()).collect();
        assert_eq!(names, ["vehicles"], "nothing is written outside");
    }
}
