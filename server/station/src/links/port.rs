//! Where a link's task puts what it has: bytes into the ring, its state into the ring and onto the board.

use std::sync::Arc;

use loftwatch_engine::What;
use tokio::sync::watch;

use crate::ring::Ring;
use crate::shared::LinkStatus;

/// One link's way out.
#[derive(Debug)]
pub(crate) struct Port {
    name: String,
    ring: Arc<Ring>,
    board: watch::Sender<Vec<LinkStatus>>,
    said: Option<(bool, String)>,
}

impl Port {
    pub(super) fn new(name: &str, ring: &Arc<Ring>, board: &watch::Sender<Vec<LinkStatus>>) -> Self {
        Self { name: name.to_owned(), ring: Arc::clone(ring), board: board.clone(), said: None }
    }

    /// The link's name.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Where inputs go.
    pub(super) fn ring(&self) -> &Ring {
        &self.ring
    }

    /// Bytes as read in one piece, stamped now.
    pub(super) fn bytes(&self, bytes: &[u8]) {
        self.ring.push(What::Bytes { link: self.name.clone(), bytes: bytes.to_vec() });
    }

    /// Something was lost before it could be read; how many bytes is not known. `false`: no room to say so now.
    pub(super) fn lost(&self, reason: String) -> bool {
        self.ring.push(What::Lost { link: self.name.clone(), bytes: 0, reason })
    }

    /// Waits until the ring has room: only for sources that lose nothing by waiting.
    pub(super) async fn room(&self) {
        self.ring.room().await;
    }

    /// The link is up.
    pub(super) fn up(&mut self, reason: &str) {
        tracing::info!(link = self.name, "link up: {reason}");
        self.say(true, reason);
    }

    /// The link is down. The same reason again is not recorded again.
    pub(super) fn down(&mut self, reason: &str) {
        if self.said.as_ref().is_none_or(|(up, said)| *up || said != reason) {
            tracing::warn!(link = self.name, "link down: {reason}");
            self.say(false, reason);
        }
    }

    fn say(&mut self, up: bool, reason: &str) {
        self.said = Some((up, reason.to_owned()));
        self.ring.push(What::LinkState { link: self.name.clone(), up, reason: reason.to_owned() });
        self.post(up, reason);
    }

    /// Shows other words for a link that is up; they are not recorded.
    pub(super) fn show(&self, reason: &str) {
        self.post(true, reason);
    }

    fn post(&self, up: bool, reason: &str) {
        self.board.send_modify(|board| {
            let status = LinkStatus { name: self.name.clone(), up, reason: reason.to_owned() };
            match board.iter_mut().find(|s| s.name == self.name) {
                Some(old) => *old = status,
                None => board.push(status),
            }
        });
    }
}
