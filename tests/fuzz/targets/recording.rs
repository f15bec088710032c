//! Any lines of a recording.
#![no_main]

#[path = "../check/recording.rs"]
mod check;
#[path = "../check/setups.rs"]
mod setups;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::recording(data, &setups::setups()[0]));
