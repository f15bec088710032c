//! The loftwatch program: a thin shell around the engine. It reads setup files and links, records every input,
//! runs the engine, keeps what it puts out, and serves the pages.

mod clock;
mod hub;
mod ring;
mod shared;
mod web;

fn main() {}
