//! The built program from outside: bytes in, store out, and everything that can be wrong with what it is given.

mod bad;
mod harness;
mod keeps;
mod rerun;
