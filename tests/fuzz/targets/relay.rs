//! Any bytes over a relay's connection.
#![no_main]
#![allow(dead_code, reason = "the files hold more than the target needs")]

#[path = "../../../server/station/src/relay/said.rs"]
mod said;
#[path = "../../../server/station/src/relay/wire.rs"]
mod wire;

#[path = "../check/relay.rs"]
mod check;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::relay(data));
