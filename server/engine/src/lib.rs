//! The one pure state machine: recorded inputs in, everything that is shown out.
//!
//! [`Engine::step`] takes one recorded input and appends what comes of it. Between inputs the engine has things
//! to say by itself (silence, carried states, landing areas): [`Engine::wants`] names the next such instant, and
//! [`Engine::advance`] lets it happen. A deadline always takes effect at its own logical time, so that neither
//! the grouping of calls nor a late wake-up changes any output.
//!
//! The engine is its own snapshot: it serialises to the bit, and a restored one goes on as the original would.
//! It never knows a clock, a file, the network or a thread; `clippy.toml` holds it to that.

mod beat;
mod heads_up;
mod heard;
mod hindsight;
pub mod input;
mod line;
mod links;
mod machine;
mod next_flight;
mod one_flight;
pub mod output;
mod packet;
mod pen;
pub mod preparation;
mod readiness;
mod recording;
mod says;
pub mod setup;
mod sound;

pub use heads_up::{depth_m, is_in};
pub use hindsight::ON_THE_PAD_S;
pub use input::{Footage, Input, RelayNews, RelayStamp, Remark, What};
pub use line::{Line, Lines};
pub use links::LinkCount;
pub use machine::{ENGINE_VERSION, Engine};
pub use one_flight::MOST_MARKS;
pub use output::{Output, Said};
pub use recording::{Recording, RecordingError};
pub use says::cue_of;
pub use setup::Setup;
