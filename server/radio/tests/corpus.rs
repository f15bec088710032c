//! Replays the corpus of the fuzz targets without the fuzzer, each file as it is and cut short.

#![expect(clippy::disallowed_methods, reason = "the corpus is in files")]

#[path = "../../../tests/fuzz/check/guess.rs"]
mod guess;
#[path = "../../../tests/fuzz/check/layout.rs"]
mod layout;
#[path = "../../../tests/fuzz/check/splitter.rs"]
mod splitter;

fn replay(target: &str, check: fn(&[u8])) {
    let folder = format!("{}/../../tests/fuzz/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut files = 0;
    for file in std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder}: {error}")) {
        let bytes = std::fs::read(file.expect("an entry").path()).expect("a file that can be read");
        for length in 0..=bytes.len() {
            check(&bytes[..length]);
        }
        // The same bytes before every other framing or layout.
        for which in 0..=32 {
            check(&[&[which], bytes.get(1..).unwrap_or_default()].concat());
        }
        files += 1;
    }
    assert!(files >= 5, "{folder} holds {files} files");
}

#[test]
fn what_the_splitter_has_been_tried_with() {
    replay("splitter", splitter::splitter);
}

#[test]
fn what_has_been_guessed_at() {
    let folder = format!("{}/../../tests/fuzz/corpus/guess", env!("CARGO_MANIFEST_DIR"));
    let mut files = 0;
    for file in std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder}: {error}")) {
        let bytes = std::fs::read(file.expect("an entry").path()).expect("a file that can be read");
        for from in [0, 1, bytes.len() / 3] {
            guess::guesses(&bytes[from.min(bytes.len())..]);
        }
        files += 1;
    }
    assert!(files >= 6, "{folder} holds {files} files");
}

#[test]
fn what_layouts_have_been_tried_with() {
    replay("layout", layout::layout);
}
