//! Replays the finds and seeds of the fuzz target `setup`.
#![expect(clippy::disallowed_methods, reason = "a test reads the corpus")]

#[path = "../../../tests/fuzz/check/setup.rs"]
mod check;

#[test]
fn the_corpus_holds() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/fuzz/corpus/setup");
    let mut replayed = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        check::setup(&std::fs::read(entry.unwrap().path()).unwrap());
        replayed += 1;
    }
    assert!(replayed >= 9, "{replayed}");
}
