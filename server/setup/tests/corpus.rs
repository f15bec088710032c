//! Replays the finds and seeds of the fuzz targets that need a setup.
#![expect(clippy::disallowed_methods, reason = "a test reads the corpus")]

#[path = "../../../tests/fuzz/check/setup.rs"]
mod check;
#[path = "../../../tests/fuzz/check/engine.rs"]
mod engine;
#[path = "../../../tests/fuzz/check/recording.rs"]
mod recording;
#[path = "../../../tests/fuzz/check/setups.rs"]
mod setups;

use loftwatch_engine::Engine;

fn replay(target: &str, fewest: usize, mut check: impl FnMut(&[u8])) {
    let folder =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/fuzz/corpus").join(target);
    let mut replayed = 0;
    for entry in std::fs::read_dir(folder).expect("a corpus") {
        check(&std::fs::read(entry.expect("an entry").path()).expect("a file that can be read"));
        replayed += 1;
    }
    assert!(replayed >= fewest, "{replayed}");
}

#[test]
fn setups_that_were_tried() {
    replay("setup", 9, check::setup);
}

#[test]
fn recordings_that_were_tried() {
    let setups = setups::setups();
    replay("recording", 5, |data| {
        for links in 0..3 {
            recording::recording(&[&[links], data.get(1..).unwrap_or_default()].concat(), &setups[0]);
        }
    });
}

/// As a restart does it.
fn thaw(engine: &Engine) -> Engine {
    let frozen = postcard::to_stdvec(engine).expect("an engine can be frozen");
    postcard::from_bytes(&frozen).expect("and thawed")
}

/// On a stack as large as that of the station's engine: unoptimised, a tracker is moved in several copies.
#[test]
fn stories_that_were_tried() {
    let tried = || {
        let setups = setups::setups();
        replay("engine", 5, |data| engine::engine(data, &setups, thaw));
    };
    let thread = std::thread::Builder::new().stack_size(64 * 1024 * 1024).spawn(tried).expect("a thread");
    thread.join().expect("what failed is told above");
}
