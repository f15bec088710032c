//! Any bytes into the splitter.
#![no_main]

#[path = "../check/splitter.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::splitter(data));
