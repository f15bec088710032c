//! The one pure state machine: recorded inputs in, everything that is shown out.

pub mod input;
pub mod output;
pub mod setup;
