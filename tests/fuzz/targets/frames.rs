//! Any bytes from a page's socket.
#![no_main]
#![allow(dead_code, reason = "the file holds more than the target needs")]

#[path = "../../../server/station/src/web/frames.rs"]
mod frames;

#[path = "../check/frames.rs"]
mod check;

use frames::{Broken, Incoming, Said};

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::frames(data));
