//! The hub: newest outputs, shaped for those who watch.

use std::sync::Arc;

use loftwatch_engine::Output;
use tokio::sync::watch;

use crate::clock::Clock;
use crate::shared::{LinkStatus, SetupNow, Status};

/// Newest outputs, for those who watch.
#[derive(Debug)]
pub(crate) struct Hub {}

impl Hub {
    /// An empty hub. `epoch_ns`: see [`crate::shared::Shared::epoch_ns`].
    pub(crate) fn new(
        _clock: Clock,
        _epoch_ns: i64,
        _setup: watch::Receiver<Arc<SetupNow>>,
        _status: watch::Receiver<Status>,
        _links: watch::Receiver<Vec<LinkStatus>>,
    ) -> Self {
        Self {}
    }

    /// Takes what the engine put out, in order. Never waits. After a restart it is first given the stored outputs
    /// of the open flight that still matter (flight, events, heads-ups, the newest of the rest).
    pub(crate) fn take(&self, _outputs: &[Output]) {}
}
