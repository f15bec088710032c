//! State estimation, apogee and landing prediction for amateur high-power rockets.
//!
//! Pure and deterministic: the same samples in give the same estimates out, to the bit.

mod output;
mod plan;
mod sample;
mod tracker;

pub use output::*;
pub use plan::*;
pub use sample::*;
pub use tracker::Tracker;
