//! The setup file: from what was typed to what is meant, with every mistake told at once.
//!
//! [`read()`] walks the file's tree of values itself, so that one wrong field never hides the next; each concern
//! (site, weather, vehicle, ...) has a file that turns what was told into what is meant, in SI units, with defaults
//! written out and likely mix-ups refused with the guess said. [`remarks()`] says what is taken but looks odd,
//! [`changes`] compares two setups key by key.
//! Must not know: files (the caller loads what the setup names), links as they run, what the engine makes of it.

mod added;
mod area;
mod body;
mod change;
mod cue;
mod curve;
mod field;
mod figures;
mod fixed;
mod framing;
mod layout;
mod link;
mod mistake;
mod mixup;
mod motor;
mod nearest;
mod notes;
mod preparation;
mod read;
mod remark;
mod site;
mod standard;
mod told;
mod tree;
mod vehicle;
mod weather;

pub use change::{Change, Changed, changes};
pub use figures::{Edit, Figure, Kind as FigureKind, Section, Unfit, edit, figures, with_vehicle_of};
pub use mistake::{Mistake, Report};
pub use read::read;
pub use remark::remarks;
