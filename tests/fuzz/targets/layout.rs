//! Any payload into a layout.
#![no_main]

#[path = "../check/layout.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::layout(data));
