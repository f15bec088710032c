//! Lengths of payloads that are known to occur, so that a frame glued to noise can be found again.

use serde::{Deserialize, Serialize};

/// How many lengths are remembered, for links whose layouts say no length. A transmitter has a handful of packet kinds;
/// more would let a 16-bit CRC be tried more often on damaged frames, fewer would forget the rarer kinds.
const KEPT: usize = 6;

/// The newest lengths first.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Recent {
    lengths: Vec<usize>,
}

impl Recent {
    pub(super) fn is_empty(&self) -> bool {
        self.lengths.is_empty()
    }

    pub(super) fn holds(&self, length: usize) -> bool {
        self.lengths.contains(&length)
    }

    pub(super) fn add(&mut self, length: usize) {
        if self.lengths.first() == Some(&length) {
            return;
        }
        self.lengths.retain(|known| *known != length);
        self.lengths.truncate(KEPT - 1);
        self.lengths.insert(0, length);
    }
}
