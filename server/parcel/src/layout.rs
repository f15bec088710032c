//! The bytes of a flight file. All numbers little-endian.
//!
//! | bytes | what |
//! |---|---|
//! | 8 | magic: 89 4C 46 54 0D 0A 1A 0A (not text, and told apart from itself after a change of line ends, as in PNG, ISO/IEC 15948, 5.2) |
//! | 2 | version, 1 |
//! | 6 | zero |
//! | then | sections: `HEAD`, `SETP`, any number of `INPT`, `TOLD`, `ENDS` |
//!
//! | bytes of a section | what |
//! |---|---|
//! | 4 | name, ASCII |
//! | 1 | 0: as it stands, 1: DEFLATE |
//! | 3 | zero |
//! | 8 | length of the contents, unpacked |
//! | 8 | length as it stands here |
//! | 32 | SHA-256 of the contents, unpacked |
//! | then | the contents |
//!
//! | bytes of an input in `INPT` | what |
//! |---|---|
//! | 8 | number, growing |
//! | 8 | station time, ns |
//! | 8 | wall clock, UTC ns |
//! | 1 | 0: bytes of a link; 1: bytes that a remote receiver passed on; 2: anything else, as JSON |
//! | 2 | length of the link's name, then the name, UTF-8 |
//! | 32 | only of kind 1: the far store, the number there, the time there, the time of hearing here, ns |
//! | 4 | length of the data, then the data |
//!
//! `ENDS` holds 32 bytes: the SHA-256 of all bytes of the file before that section.

use loftwatch_engine::Footage;
use serde::{Deserialize, Serialize};

/// The first eight bytes.
pub const MAGIC: [u8; 8] = [0x89, b'L', b'F', b'T', b'\r', b'\n', 0x1a, b'\n'];
/// The version that is written, and the newest that is read.
pub const VERSION: u16 = 1;
/// Bytes before the first section.
pub(crate) const FRONT: usize = 16;
/// Bytes before a section's contents.
pub(crate) const SECTION_HEAD: usize = 56;

/// What the file is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Version of the program that wrote it.
    pub program: String,
    /// Version of the engine that made `digest`.
    pub engine: u32,
    /// Number of the flight where it came from.
    pub number: u32,
    /// What it was called there.
    pub label: String,
    /// Name of the vehicle.
    pub vehicle: String,
    /// Name of the site.
    pub site: String,
    /// When it opened, station time ns.
    pub opened_ns: i64,
    /// How many inputs follow.
    pub inputs: u64,
    /// Station time up to which the engine's deadlines fired, ns.
    pub until_ns: i64,
    /// How many outputs a station keeps that computes these inputs.
    pub outputs: u64,
    /// FNV-1a, 64 bit, over those outputs in order, as sixteen hexadecimal digits; the same engine gives the same.
    pub digest: String,
}

/// What the crew told about the flight.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// Notes.
    pub notes: String,
    /// How footage stands in time.
    pub footage: Vec<Footage>,
}
