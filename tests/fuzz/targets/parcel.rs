//! Any bytes as a flight file.
#![no_main]

#[path = "../check/parcel.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::parcel(data));
