//! What is handed out after a flight: tables, tracks, captions, audits, the flight sheet.
//!
//! Everything is made of stored outputs that the caller reads, a block at a time, and is written to whatever the caller gives:
//! the same code serves pages, HTTP and the command line. The same outputs give the same bytes, so that a broken download
//! goes on where it broke and two copies can be compared by their digests.
//!
//! Text from radios, names and notes is hostile: each form says how it keeps text text. This crate must not know sockets,
//! the store or the time of day.

pub mod audit;
pub mod block;
pub mod captions;
pub mod csv;
mod error;
pub mod estimate;
pub mod flight;
pub mod geojson;
pub mod gpx;
pub mod html;
pub mod jsonl;
pub mod kml;
#[cfg(test)]
mod made;
pub mod onboard;
pub mod parquet;
pub mod path;
pub mod rate;
pub mod remark;
pub mod sheet;
pub mod table;
mod thinned;
pub mod time;
pub mod units;
pub mod wanted;
mod xml;

pub use error::ExportError;
pub use flight::Flight;
pub use table::{Filler, Stored, Table};
pub use units::Units;
pub use wanted::{Form, How, Paper, TableFile, What};
