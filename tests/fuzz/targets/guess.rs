//! Any bytes to be guessed at.
#![no_main]

#[path = "../check/guess.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::guesses(data));
