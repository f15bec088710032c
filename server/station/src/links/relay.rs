//! The near end of a relay: waits for a remote receiver's call and takes in what it passes on, each input once and in
//! order. A caller is heard when it has shown that it knows the key; it then takes the place of the one before, which is
//! most likely dead.

use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use loftwatch_engine::{RelayStamp, What};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio::time::{Instant, Interval};

use super::Port;
use super::pause::Pause;
use crate::relay::{self, Estimate, FromFar, FromNear, Passed, Way};
use crate::ring::Ring;
use crate::store::inputs::RelayEnd;

/// Callers that may be showing that they know the key at one time.
const MOST_CALLERS: usize = 8;
/// How often something is said.
const TICK: Duration = Duration::from_secs(1);
/// How often the clock difference is shown anew.
const SHOW: Duration = Duration::from_secs(10);

/// What the near ends of all relays know in common: how far each far end's store has come in here, and what is on the disk.
#[derive(Clone, Debug)]
pub(crate) struct Desk {
    ends: Arc<Mutex<BTreeMap<(String, i64), End>>>,
    kept: watch::Receiver<u64>,
}

/// The newest input of a far end's store that is in here, perhaps not yet on the disk.
#[derive(Clone, Copy, Debug, Default)]
struct End {
    relayed: RelayEnd,
    /// Its number here; 0 for one that was stored before this start.
    number: u64,
}

impl Desk {
    /// `ends`: what is stored already. `kept`: number of the newest input on the disk.
    pub(crate) fn new(ends: BTreeMap<(String, i64), RelayEnd>, kept: watch::Receiver<u64>) -> Self {
        let ends = ends.into_iter().map(|(key, relayed)| (key, End { relayed, number: 0 })).collect();
        Self { ends: Arc::new(Mutex::new(ends)), kept }
    }

    fn end(&self, link: &str, store: i64) -> End {
        let ends = self.ends.lock().unwrap_or_else(PoisonError::into_inner);
        ends.get(&(link.to_owned(), store)).copied().unwrap_or_default()
    }

    /// Takes one in. `Ok(None)`: there is no room, nothing was done. `Err`: it was in here before.
    fn take(
        &self,
        ring: &Ring,
        link: &str,
        store: i64,
        passed: &Passed,
        difference: Estimate,
    ) -> Result<Option<End>, String> {
        // Held over the push: number order is the far end's order, whoever else holds a connection of this link.
        let mut ends = self.ends.lock().unwrap_or_else(PoisonError::into_inner);
        let end = ends.entry((link.to_owned(), store)).or_default();
        if passed.number <= end.relayed.number {
            return Err(format!("refused: input {} after {}", passed.number, end.relayed.number));
        }
        let by_difference = passed.far_ns.saturating_add(difference.own_minus_other_ns);
        let heard_ns = by_difference.min(ring.now_ns()).max(end.relayed.heard_ns);
        let stamp = RelayStamp { store, number: passed.number, far_ns: passed.far_ns, heard_ns };
        let what = What::Relayed { link: link.to_owned(), stamp, news: passed.news.clone() };
        let Some(number) = ring.push_numbered(what) else { return Ok(None) };
        *end = End { relayed: RelayEnd { number: passed.number, heard_ns }, number };
        Ok(Some(*end))
    }
}

pub(super) async fn run(address: &str, key_file: &str, desk: &Desk, port: &mut Port) {
    let mut pause = Pause::new();
    let key: Arc<[u8]> = loop {
        match relay::read(Path::new(key_file)) {
            Ok(key) => break key.into(),
            Err(why) => port.down(&why),
        }
        pause.wait().await;
    };
    let listener = loop {
        match TcpListener::bind(address).await {
            Ok(listener) => break listener,
            Err(error) => port.down(&format!("cannot listen on {address}: {error}; trying again")),
        }
        pause.wait().await;
    };
    port.down(&format!("waiting for a remote receiver at {address}"));
    let mut callers: JoinSet<Answered> = JoinSet::new();
    let mut session: Option<Session> = None;
    loop {
        tokio::select! {
            caller = listener.accept(), if callers.len() < MOST_CALLERS => match caller {
                Ok((stream, peer)) => {
                    callers.spawn(answered(stream, peer.to_string(), Arc::clone(&key), port.ring().clock()));
                }
                Err(error) => {
                    // Out of file handles, most likely: it passes, and a busy loop would not help.
                    tracing::warn!("a caller could not be taken: {error}");
                    pause.wait().await;
                }
            },
            Some(answered) = callers.join_next() => match answered {
                Ok((peer, Ok((way, store)))) => {
                    if let Some(before) = &session {
                        port.down(&format!("{} is replaced by a newer call", before.peer));
                    }
                    session = Session::begin(way, peer, store, desk, port);
                    pause.reset();
                }
                Ok((peer, Err(why))) if session.is_none() => port.down(&format!("{peer}: {why}")),
                Ok((peer, Err(why))) => tracing::warn!(link = port.name(), "{peer}: {why}"),
                Err(error) => tracing::error!("a caller's task has failed: {error}"),
            },
            why = drive(&mut session, desk, port), if session.is_some() => {
                port.down(&format!("{why}; waiting for a remote receiver at {address}, which keeps all of it"));
                session = None;
            }
        }
    }
}

/// Who called, and what came of it: a connection and the caller's store, or why not.
type Answered = (String, Result<(Way, i64), String>);

async fn answered(stream: TcpStream, peer: String, key: Arc<[u8]>, clock: crate::clock::Clock) -> Answered {
    let answer = relay::answer(stream, &key, clock).await;
    (peer, answer)
}

async fn drive(session: &mut Option<Session>, desk: &Desk, port: &mut Port) -> String {
    match session {
        Some(session) => {
            let why = session.run(desk, port).await;
            format!("{}: {why}", session.peer)
        }
        None => std::future::pending().await,
    }
}

/// A remote receiver's connection. Its run may be dropped and begun again at any wait.
struct Session {
    way: Way,
    peer: String,
    store: i64,
    /// Came in and waits for room.
    waiting: VecDeque<Passed>,
    /// Taken in and not yet said to be on the disk: number here and over there.
    unsaid: VecDeque<(u64, u64)>,
    kept: watch::Receiver<u64>,
    tick: Interval,
    shown: Option<Instant>,
}

impl Session {
    fn begin(mut way: Way, peer: String, store: i64, desk: &Desk, port: &mut Port) -> Option<Self> {
        let end = desk.end(port.name(), store);
        if let Err(why) = way.send(&FromNear::Welcome { after: end.relayed.number }) {
            port.down(&format!("{peer}: {why}"));
            return None;
        }
        let mut kept = desk.kept.clone();
        kept.mark_changed();
        Some(Self {
            way,
            peer,
            store,
            waiting: VecDeque::new(),
            unsaid: VecDeque::from([(end.number, end.relayed.number)]),
            kept,
            tick: tokio::time::interval(TICK),
            shown: None,
        })
    }

    /// Takes in until the connection breaks; says why it did.
    async fn run(&mut self, desk: &Desk, port: &mut Port) -> String {
        loop {
            if let Err(why) = self.take_in(desk, port).await {
                return why;
            }
            let said = tokio::select! {
                said = self.way.receive() => match said {
                    Ok(FromFar::Inputs(inputs)) => {
                        self.waiting.extend(inputs);
                        Ok(())
                    }
                    Ok(_) => Ok(()),
                    Err(why) => Err(why),
                },
                changed = self.kept.changed() => match changed {
                    Ok(()) => self.say_kept(),
                    Err(_) => return "this station is ending".to_owned(),
                },
                _ = self.tick.tick() => self.way.send(&FromNear::Tick),
            };
            if let Err(why) = said {
                return why;
            }
            self.show(port);
        }
    }

    async fn take_in(&mut self, desk: &Desk, port: &Port) -> Result<(), String> {
        while let Some(passed) = self.waiting.front() {
            let Some(difference) = self.way.difference() else {
                return Err("refused: inputs before an echo".to_owned());
            };
            match desk.take(port.ring(), port.name(), self.store, passed, difference)? {
                Some(end) => {
                    self.waiting.pop_front();
                    self.unsaid.push_back((end.number, end.relayed.number));
                }
                // The far end keeps it as long as that takes.
                None => port.room().await,
            }
        }
        Ok(())
    }

    fn say_kept(&mut self) -> Result<(), String> {
        let kept = *self.kept.borrow_and_update();
        let on_disk = self.unsaid.iter().take_while(|(number, _)| *number <= kept).count();
        match self.unsaid.drain(..on_disk).next_back() {
            Some((_, up_to)) => self.way.send(&FromNear::Kept { up_to }),
            None => Ok(()),
        }
    }

    /// The link is up once its clock is known; how far that is off is shown now and then.
    fn show(&mut self, port: &mut Port) {
        let Some(estimate) = self.way.difference() else { return };
        if self.shown.is_some_and(|shown| shown.elapsed() < SHOW) {
            return;
        }
        let words = format!("{} passes on; {}", self.peer, estimate.in_words());
        if self.shown.is_none() {
            port.up(&words);
        } else {
            port.show(&words);
        }
        self.shown = Some(Instant::now());
    }
}
