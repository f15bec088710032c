//! Any text from a page.
#![no_main]
#![allow(dead_code, unused_imports, reason = "the files hold more than the target needs")]

#[path = "../../../server/station/src/messages/mod.rs"]
mod messages;
#[path = "../../../server/station/src/shared/disk.rs"]
mod shared;

#[path = "../check/messages.rs"]
mod check;

use messages::{Act, Ask, Join};

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::messages(data));
