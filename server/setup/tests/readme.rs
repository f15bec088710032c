//! The README's setups are taken, and its reference names every meaning, unit and key.
#![expect(clippy::disallowed_methods, reason = "a test reads the README")]

use loftwatch_radio::{Meaning, Unit};
use loftwatch_setup::read;

/// The README, if it is there: a crate that is packed alone has none.
fn readme() -> Option<String> {
    std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../README.md")).ok()
}

#[test]
fn every_whole_setup_in_the_readme_is_taken() {
    let Some(readme) = readme() else { return };
    let blocks: Vec<&str> = readme
        .split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .filter(|block| block.contains("liftoff_mass_kg"))
        .collect();
    assert!(blocks.len() >= 2, "{}", blocks.len());
    for block in blocks {
        let taken = read(block, "README.md", &mut |_: &str| Err("no files here".to_owned()));
        assert!(taken.is_ok(), "{}", taken.expect_err("refused"));
    }
}

#[test]
fn the_reference_names_every_meaning_unit_and_key() {
    let Some(readme) = readme() else { return };
    for meaning in Meaning::ALL {
        assert!(readme.contains(&format!("`{}`", meaning.name())), "{}", meaning.name());
        for unit in Unit::of(meaning.quantity()) {
            assert!(readme.contains(&format!("`{}`", unit.name)), "{}", unit.name);
        }
    }
    let full = include_str!("full.toml");
    for (key, _) in full.lines().filter(|l| !l.starts_with([' ', '#'])).filter_map(|l| l.split_once(" = ")) {
        assert!(readme.contains(&format!("`{key}`")) || readme.contains(&format!("`{key} = ")), "{key}");
    }
}
