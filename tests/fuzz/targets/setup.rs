//! Any text as a setup file.
#![no_main]

#[path = "../check/setup.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::setup(data));
