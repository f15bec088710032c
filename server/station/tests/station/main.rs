//! The built program from outside: bytes in, store out, and everything that can be wrong with what it is given.

#![expect(clippy::unwrap_used, reason = "a test whose ground gives way has failed, and the line says where")]

mod bad;
mod guess;
mod harness;
mod keeps;
mod relay;
mod rerun;
