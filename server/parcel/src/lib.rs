//! Flight files: one flight in one checked container, out of one station and into another.
//!
//! A file is a magic number and a version, then sections, each with its name, its lengths (packed and not) and the SHA-256 of
//! its contents: a head in JSON, the setup in JSON, the inputs in pieces, what the crew told about the flight in JSON, and
//! an end that holds the SHA-256 of everything before it. All numbers are little-endian. Contents are packed with DEFLATE
//! (RFC 1951) or stand as they are. The file `layout.rs` gives every byte.
//!
//! A file comes from anywhere, so nothing in it is trusted: every length is limited before room is taken for it, a section
//! is unpacked up to its told length and no further, and what is decoded is held to limits of size, count, order and
//! range before anybody computes with it. What is wrong is told, with its place, and nothing of a wrong file is used.
//! Must not know: files (a reader reads any stream of bytes), clocks, databases, what a station does with a flight.

mod error;
mod layout;
mod limits;
mod read;
mod record;
mod setup;
mod write;

pub use error::Wrong;
pub use layout::{Head, MAGIC, Told, VERSION};
pub use limits::{MOST_FILE_BYTES, MOST_INPUT_BYTES, MOST_INPUTS, MOST_SECTION_BYTES, MOST_UNPACKED_BYTES};
pub use read::{Part, Reader};
pub use write::Writer;
