//! Any story into an engine.
#![no_main]

use std::sync::LazyLock;

use loftwatch_engine::{Engine, Setup};

#[path = "../check/engine.rs"]
mod check;
#[path = "../check/setups.rs"]
mod setups;

static SETUPS: LazyLock<Vec<Setup>> = LazyLock::new(setups::setups);

fn thaw(engine: &Engine) -> Engine {
    let frozen = postcard::to_stdvec(engine).expect("an engine can be frozen");
    postcard::from_bytes(&frozen).expect("and thawed")
}

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::engine(data, &SETUPS, thaw));
