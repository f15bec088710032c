//! The machine itself: what is remembered between inputs, and in which order things happen.

use serde::{Deserialize, Serialize};

use crate::{Input, Output, Setup};

/// Version of everything that decides an output. Snapshots and stored outputs of another version are recomputed.
pub const ENGINE_VERSION: u32 = 1;

/// One station's engine: links, transmitters, the open flight.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Engine {
    setup: Setup,
    epoch_ns: i64,
    now_ns: i64,
}

impl Engine {
    /// An engine that has heard nothing yet. `t_ns` is station time now; it becomes the epoch.
    pub fn new(setup: Setup, t_ns: i64) -> Self {
        Self { setup, epoch_ns: t_ns, now_ns: t_ns }
    }

    /// Takes one input. Deadlines due at or before `input.t_ns` fire first, each at its own time.
    pub fn step(&mut self, input: &Input, out: &mut Vec<Output>) {
        self.advance(input.t_ns, out);
        self.now_ns = self.now_ns.max(input.t_ns);
    }

    /// Lets every deadline up to and including `to_t_ns` happen. No later input may have a time at or before it.
    pub fn advance(&mut self, to_t_ns: i64, out: &mut Vec<Output>) {
        let _ = (to_t_ns, out);
    }

    /// Station time of the next deadline, if any.
    pub fn wants(&self) -> Option<i64> {
        None
    }

    /// Station time, ns, of zero on the axis of all `*_s` times in `flight` types.
    pub fn epoch_ns(&self) -> i64 {
        self.epoch_ns
    }

    /// The setup in force.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }
}
