//! State estimation, apogee and landing prediction for amateur high-power rockets.
//!
//! Pure and deterministic: the same samples in give the same estimates out, to the bit.
//!
//! The way of a sample: [`Tracker`] finds its body's track, which keeps five seconds for late ones; the filter of that
//! body (a Gaussian sum) carries its belief to the sample's time by the motion of a point mass through moving air and
//! takes the numbers; predictions carry a copy on to apogee, the cues and the ground.
//!
//! This crate knows numbers and nothing else: no bytes, no clock, no file, no thread, no words for people.

mod aloft;
mod alone;
mod apart;
pub mod atmosphere;
mod blown;
mod canopy;
mod cues;
mod down;
mod drag;
mod falling;
mod filter;
mod fixes;
mod force;
mod freed;
mod fuse;
pub mod geodesy;
mod glance;
mod gnss;
pub mod gravity;
mod ground;
mod join;
mod lean;
mod liftoff;
mod line;
mod linear;
mod mixture;
mod model;
mod motion;
mod motor;
pub mod nominal;
mod opening;
mod output;
mod own;
mod pad;
mod phase;
mod plan;
mod predict;
mod pressure;
mod quantiles;
mod report;
mod sample;
mod sensors;
mod shelf;
mod smooth;
mod stands_in;
mod start;
mod state;
mod track;
mod tracker;
mod wind;

pub use canopy::canopy_fill_s;
pub use glance::{RAIL_WITHIN_RAD, tilt_at_rest_rad};
pub use output::*;
pub use plan::*;
pub use sample::*;
pub use smooth::smoothed;
pub use tracker::Tracker;
