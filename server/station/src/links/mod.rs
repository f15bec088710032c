//! Sources of bytes: serial ports, TCP, UDP, files, standard input. Each link is a task of its own that stamps and
//! pushes what it reads into the ring at once; it never waits for a disk. A link that fails says why, tries again
//! with growing pauses and takes nobody else down.

mod file;
mod pause;
mod port;
mod relay;
mod serial;
mod tcp;
mod udp;

use std::collections::BTreeMap;
use std::sync::Arc;

use loftwatch_engine::setup::{Link, Source};
use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::ring::Ring;
use crate::shared::LinkStatus;

pub(crate) use pause::Pause;
pub(crate) use port::Port;
pub(crate) use relay::Desk;

/// The running links.
#[derive(Debug)]
pub(crate) struct Links {
    ring: Arc<Ring>,
    board: watch::Sender<Vec<LinkStatus>>,
    running: BTreeMap<String, (Link, JoinHandle<()>)>,
    /// Bytes of each link that the store holds already: where a file goes on after a restart.
    stored: BTreeMap<String, u64>,
    /// Where what remote receivers pass on is taken in.
    desk: Desk,
}

impl Links {
    /// No links yet. `stored`: bytes of each link already recorded.
    pub(crate) fn new(ring: Arc<Ring>, stored: BTreeMap<String, u64>, desk: Desk) -> Self {
        Self { ring, board: watch::Sender::new(Vec::new()), running: BTreeMap::new(), stored, desk }
    }

    /// The state of the links, for those who watch.
    pub(crate) fn watch(&self) -> watch::Receiver<Vec<LinkStatus>> {
        self.board.subscribe()
    }

    /// Starts, restarts and ends links so that exactly `wanted` run; those that stay the same are not touched.
    pub(crate) fn apply(&mut self, wanted: &[Link]) {
        let same_way = |a: &Link, b: &Link| a.source == b.source;
        let ended: Vec<String> = self
            .running
            .iter()
            .filter(|(name, (link, _))| !wanted.iter().any(|w| w.name == **name && same_way(w, link)))
            .map(|(name, _)| name.clone())
            .collect();
        for name in ended {
            if let Some((link, task)) = self.running.remove(&name) {
                task.abort();
                Port::new(&link.name, &self.ring, &self.board).down("ended by a change of the setup");
            }
        }
        self.board.send_modify(|board| board.retain(|status| wanted.iter().any(|w| w.name == status.name)));
        for link in wanted {
            if !self.running.contains_key(&link.name) {
                let port = Port::new(&link.name, &self.ring, &self.board);
                let from = self.stored.remove(&link.name).unwrap_or(0);
                let task = tokio::spawn(run(link.source.clone(), port, from, self.desk.clone()));
                self.running.insert(link.name.clone(), (link.clone(), task));
            }
        }
    }
}

impl Drop for Links {
    fn drop(&mut self) {
        for (_, task) in self.running.values() {
            task.abort();
        }
    }
}

async fn run(source: Source, mut port: Port, from: u64, desk: Desk) {
    match source {
        Source::Serial { path, baud, data_bits, parity, stop_bits, flow } => {
            serial::run(&serial::Wanted { path, baud, data_bits, parity, stop_bits, flow }, &mut port).await;
        }
        Source::TcpConnect { address } => tcp::connect(&address, &mut port).await,
        Source::TcpListen { address } => tcp::listen(&address, &mut port).await,
        Source::Udp { address, .. } => udp::run(&address, &mut port).await,
        Source::File { path } => file::run(&path, from, &mut port).await,
        Source::Stdin => file::stdin(&mut port).await,
        Source::Relay { address, key_file, .. } => relay::run(&address, &key_file, &desk, &mut port).await,
    }
}
