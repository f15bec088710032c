//! The setup file as a crew member's page changes it: its text, with every mistake at its line and column.
//!
//! A page sets no file path, no listener and no target address: those that the file on the station's machine already
//! names may stay or go, others are refused; a serial port may also be one that is found on this machine. So whoever has
//! the crew's code cannot have the station read another file or connect to another host.

use std::collections::BTreeSet;
use std::path::Path;

use loftwatch_engine::Setup;
use loftwatch_engine::setup::Source;
use loftwatch_setup::Changed;
use tokio::sync::oneshot;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{load, text};
use crate::messages::SetupMistake;
use crate::ports;
use crate::store::fnv1a_64;

/// Keys of a link that say where its bytes come from.
const PLACES: [&str; 4] = ["path", "connect", "listen", "key_file"];

/// A text that is to become the setup file.
#[derive(Debug)]
pub(crate) struct Wanted {
    /// All of it.
    pub(crate) text: String,
    /// The edition of the text that it was made from.
    pub(crate) edition: String,
    /// Who wants it.
    pub(crate) who: String,
    /// Where to say what became of it.
    pub(crate) answer: oneshot::Sender<Result<Taken, NotTaken>>,
}

/// It was taken.
#[derive(Debug)]
pub(crate) struct Taken {
    /// What differs from before.
    pub(crate) changes: Vec<Changed>,
    /// What may not be meant.
    pub(crate) remarks: Vec<String>,
}

/// It was not taken.
#[derive(Debug)]
pub(crate) enum NotTaken {
    /// The file is another one by now.
    Changed,
    /// Mistakes, at least one.
    Wrong(Vec<SetupMistake>),
    /// The file cannot be read or written.
    File(String),
    /// The station's memory is full.
    NoRoom,
}

/// The text of the setup file, as pages get it.
#[derive(Debug)]
pub(crate) struct Text {
    /// All of it.
    pub(crate) text: String,
    /// Tells this state from others.
    pub(crate) edition: String,
}

impl Text {
    /// Reads the file.
    pub(crate) fn read(file: &Path) -> Result<Self, String> {
        let text = text(file)?;
        let edition = edition(&text);
        Ok(Self { text, edition })
    }

    /// What a text means that is to take this one's place, or every mistake in it.
    pub(crate) fn check(&self, file: &Path, new: &str) -> Result<Setup, Vec<SetupMistake>> {
        let serial = || ports::find().into_iter().flat_map(|port| [Some(port.device), port.stable]).flatten();
        let found = serial().map(|path| path.display().to_string()).collect();
        check(file, &self.text, new, &found)
    }
}

fn edition(text: &str) -> String {
    format!("{:016x}", fnv1a_64(text.as_bytes()))
}

/// Checks the text and writes it into the file; the text before is kept beside it. Waits for the disk.
pub(super) fn write(file: &Path, new: &str, edition: &str) -> Result<Setup, NotTaken> {
    let old = Text::read(file).map_err(NotTaken::File)?;
    if old.edition != edition {
        return Err(NotTaken::Changed);
    }
    let setup = old.check(file, new).map_err(NotTaken::Wrong)?;
    if new != old.text {
        replace(file, &old.text, new).map_err(|error| {
            NotTaken::File(format!("the setup file `{}` cannot be written: {error}", file.display()))
        })?;
    }
    Ok(setup)
}

/// Replaces the file as a whole, so that it is never half written; who may read it stays.
fn replace(file: &Path, old: &str, new: &str) -> std::io::Result<()> {
    use std::io::Write as _;
    // Where it is a link to another place, that place is written.
    let file = std::fs::canonicalize(file)?;
    let beside = |end: &str| {
        let mut name = file.file_name().unwrap_or_default().to_owned();
        name.push(end);
        file.with_file_name(name)
    };
    std::fs::write(beside(".before"), old)?;
    let fresh = beside(".new");
    let mut out = std::fs::File::create(&fresh)?;
    out.set_permissions(std::fs::metadata(&file)?.permissions())?;
    out.write_all(new.as_bytes())?;
    out.sync_all()?;
    std::fs::rename(&fresh, &file)
}

fn check(file: &Path, old: &str, new: &str, serial: &BTreeSet<String>) -> Result<Setup, Vec<SetupMistake>> {
    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let mut named = BTreeSet::new();
    // Only for the names of files in it: what is wrong with it is told elsewhere.
    let _ = loftwatch_setup::read(old, &name, &mut |file: &str| {
        named.insert(file.to_owned());
        load(&folder, file)
    });
    let mut load_named = |file: &str| {
        if named.contains(file) {
            load(&folder, file)
        } else {
            Err(format!(
                "`{file}` is not in the file on the station's machine, and a page names no new files: write it there"
            ))
        }
    };
    let setup = loftwatch_setup::read(new, &name, &mut load_named)
        .map_err(|report| report.mistakes.into_iter().map(SetupMistake::from).collect::<Vec<_>>())?;
    let before = places(old);
    let strange: Vec<SetupMistake> = places(new)
        .into_iter()
        .zip(&setup.links)
        .filter(|(place, link)| {
            let known = before.iter().any(|before| before.kind == place.kind && before.told == place.told);
            let found = matches!(&link.source, Source::Serial { path, .. } if serial.contains(path));
            !known && !found
        })
        .map(|(place, link)| strange(new, &place, &link.name))
        .collect();
    if strange.is_empty() { Ok(setup) } else { Err(strange) }
}

/// Where a link's bytes come from, as told.
struct Place {
    kind: String,
    /// Key and value.
    told: Vec<(&'static str, String)>,
    /// Where it stands in the text, bytes.
    at: usize,
}

/// The places of all links, in order.
fn places(text: &str) -> Vec<Place> {
    let (table, _) = DeTable::parse_recoverable(text);
    let Some(DeValue::Array(links)) = table.get_ref().get("link").map(Spanned::get_ref) else {
        return Vec::new();
    };
    links
        .iter()
        .map(|link| {
            let word = |key: &str| link.get_ref().as_table()?.get(key);
            let text = |value: &Spanned<DeValue<'_>>| value.get_ref().as_str().unwrap_or_default().to_owned();
            let told = PLACES.iter().filter_map(|key| Some((*key, text(word(key)?)))).collect();
            let at = PLACES.iter().find_map(|key| word(key)).unwrap_or(link).span().start;
            Place { kind: word("kind").map(text).unwrap_or_default(), told, at }
        })
        .collect()
}

fn strange(text: &str, place: &Place, link: &str) -> SetupMistake {
    let before = text.get(..place.at).unwrap_or_default();
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    let (key, found) =
        place.told.first().map_or(("kind", place.kind.clone()), |(key, value)| (*key, value.clone()));
    SetupMistake {
        line,
        column,
        key: format!("link[{link}].{key}"),
        expected: "a place that the file on the station's machine already names, or a serial port that is found there"
            .to_owned(),
        found,
        hint: Some("a page sets no new paths and addresses: write this one into the file on that machine".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n\
        [[link]]\nname = \"radio\"\nkind = \"serial\"\npath = \"/dev/ttyUSB0\"\n\
        [[link]]\nname = \"mast\"\nkind = \"tcp\"\nconnect = \"10.0.0.2:4000\"\n";

    fn checked(new: &str) -> Result<Setup, Vec<SetupMistake>> {
        let serial = BTreeSet::from(["/dev/ttyUSB1".to_owned()]);
        check(Path::new("nowhere/setup.toml"), TEXT, new, &serial)
    }

    fn mistake(new: &str) -> SetupMistake {
        let mut mistakes = checked(new).unwrap_err();
        assert_eq!(mistakes.len(), 1, "{mistakes:?}");
        mistakes.remove(0)
    }

    #[test]
    fn figures_may_change_and_links_may_go_or_take_a_port_that_is_found() {
        assert_eq!(checked(&TEXT.replace("2.4", "2.6")).unwrap().plan.vehicle.liftoff_mass_kg.value, 2.6);
        assert!(checked(&TEXT.replace("ttyUSB0", "ttyUSB1")).is_ok());
        assert!(checked(TEXT.split("[[link]]\nname = \"mast\"").next().unwrap()).is_ok());
        assert!(checked(&TEXT.replace("path =", "baud = 9600\npath =")).is_ok());
        let second = TEXT.find("[[link]]\nname = \"mast\"").unwrap();
        let first = TEXT.find("[[link]]").unwrap();
        let turned = [&TEXT[..first], &TEXT[second..], &TEXT[first..second]].concat();
        assert!(checked(&turned).is_ok(), "their order does not matter");
    }

    #[test]
    fn a_page_sets_no_path_no_listener_and_no_address() {
        for (old, new, line, column) in [
            ("/dev/ttyUSB0", "/dev/ttyUSB7", 9, 8),
            ("kind = \"serial\"\npath = \"/dev/ttyUSB0\"", "kind = \"file\"\npath = \"/etc/passwd\"", 9, 8),
            ("kind = \"serial\"\npath", "kind = \"file\"\npath", 9, 8),
            ("10.0.0.2", "10.0.0.3", 13, 11),
            ("connect = \"10.0.0.2:4000\"", "listen = \"127.0.0.1:4000\"", 13, 10),
            ("kind = \"serial\"\npath = \"/dev/ttyUSB0\"", "kind = \"stdin\"", 6, 1),
            (
                "kind = \"serial\"\npath = \"/dev/ttyUSB0\"",
                "kind = \"relay\"\nlisten = \"127.0.0.1:4000\"\nkey_file = \"/etc/passwd\"",
                9,
                10,
            ),
        ] {
            let mistake = mistake(&TEXT.replace(old, new));
            assert_eq!((mistake.line, mistake.column), (line, column), "{new}: {mistake:?}");
        }
        let curve = TEXT.replace("total_impulse_ns = 320", "thrust_curve = \"/etc/passwd\"");
        let mistake = mistake(&curve);
        assert_eq!(mistake.line, 5, "{mistake:?}");
        assert!(format!("{mistake:?}").contains("names no new files"), "{mistake:?}");
    }

    #[test]
    fn mistakes_come_all_at_once_with_line_and_column() {
        let mistakes = checked(&TEXT.replace("2.4", "\"two\"").replace("0.075", "75")).unwrap_err();
        let places: Vec<_> = mistakes.iter().map(|m| (m.line, m.column)).collect();
        assert_eq!(places, [(2, 19), (3, 14)], "{mistakes:?}");
    }

    #[test]
    fn the_file_is_replaced_only_from_the_text_that_was_seen_and_the_one_before_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("setup.toml");
        std::fs::write(&file, TEXT).unwrap();
        let seen = Text::read(&file).unwrap().edition;
        let new = TEXT.replace("2.4", "2.6");
        assert!(matches!(write(&file, &TEXT.replace("2.4", "-1"), &seen), Err(NotTaken::Wrong(_))));
        assert_eq!(std::fs::read_to_string(&file).unwrap(), TEXT, "nothing of a wrong text is taken");
        write(&file, &new, &seen).unwrap();
        assert_eq!(std::fs::read_to_string(&file).unwrap(), new);
        assert_eq!(std::fs::read_to_string(folder.path().join("setup.toml.before")).unwrap(), TEXT);
        assert!(matches!(write(&file, TEXT, &seen), Err(NotTaken::Changed)));
    }
}
