//! Everything that is handed out of a stored flight or day: read here, written by `loftwatch-export`. Page, HTTP and command
//! line all come through [`make::write`].

pub(crate) mod audits;
pub(crate) mod bundle;
mod frames;
pub(crate) mod make;
mod pages;
pub(crate) mod source;
pub(crate) mod spool;
mod sqlite;
#[cfg(test)]
mod tests;
pub(crate) mod track;
mod written;

pub(crate) use make::{Progress, Trouble};
pub(crate) use source::{Selection, Source};
