//! Framings, layouts, decoding and link statistics: from bytes to values.

mod framing;
mod layout;
mod meaning;
pub mod spelling;

pub use framing::*;
pub use layout::*;
pub use meaning::*;
