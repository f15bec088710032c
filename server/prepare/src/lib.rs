//! Before a flight: margins, the nominal flight with its bands, conditions for cues.
//!
//! All of it is a function of the setup alone. [`Sample`] flies the told vehicle many times ([`loftwatch_flight::nominal`]);
//! [`margins()`] holds what comes of it against limits, each at its bad 95 % end; [`picture()`] draws it; [`plan()`] turns what
//! the crew want of a cue into a guarded condition for the flight electronics.
//! Advice: the local code, licensed practice and the range's officers decide. Nothing here says that anything is ready or safe.
//! Must not know: packets, files, clocks, pages.

mod classes;
mod margins;
mod order;
mod picture;
mod planner;
mod sample;
mod spread;

pub use classes::{Class, Distances, class_of, distances};
pub use margins::{Margin, margins};
pub use order::{Clash, order};
pub use picture::{Band, Drawn, GroundCase, Moment, Picture, picture};
pub use planner::{Condition, Lead, Plan, Safer, Want, plan, wanted};
pub use sample::Sample;
pub use spread::Spread;
