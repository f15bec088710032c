//! What can be wrong with the disk.

use serde::Serialize;
use ts_rs::TS;

/// What is wrong with the disk that takes the inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Disk {
    /// A commit is late; it may be a hiccup.
    Slow,
    /// No room is left.
    Full,
    /// It takes no writing.
    ReadOnly,
    /// Another program holds the store.
    Locked,
    /// Any other error.
    Failing,
}
