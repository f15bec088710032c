//! The store: two SQLite files in one data folder.
//!
//! *Inputs* (`inputs.db`) is append-only, migrated, and written by the recorder alone: committed to the system at once, and synced to
//! the disk beside that.
//! *Derived* (`derived.db`) holds what the engine put out; it is disposable and computed again when its version is
//! not ours. The engine acts when an input is on the disk; if a disk takes longer than 50 ms it acts all the
//! same and says "not kept since ...", and what is later written or lost is counted.

mod check;
#[cfg(test)]
mod day;
pub(crate) mod derived;
mod error;
mod flights;
pub(crate) mod folder;
mod hash;
mod heard;
pub(crate) mod inputs;
pub(crate) mod kept;
mod make;
pub(crate) mod outputs;
pub(crate) mod recorder;
pub(crate) mod remarks;
pub(crate) mod room;
#[cfg(test)]
mod speed;
pub(crate) mod sync;

pub(crate) use error::StoreError;
pub(crate) use folder::Folder;
pub(crate) use hash::fnv1a_64;
pub(crate) use heard::Heard;
