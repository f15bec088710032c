//! The far end: reads what its own store holds of a link and passes it on.

use std::collections::VecDeque;
use std::str::FromStr;
use std::time::Duration;

use loftwatch_engine::{Input, RelayNews, What};
use sqlx::SqlitePool;
use tokio::sync::watch;
use tokio::time::Instant;

use super::way::{CLOSED, Way, call};
use super::{Board, FromFar, FromNear, Passed, Passing, WINDOW_BYTES};
use crate::clock::Clock;
use crate::links::Pause;
use crate::store::inputs;

/// Inputs read from the store in one go.
const READ_AT_ONCE: u32 = 100;
/// Payload after which a message is closed, bytes: over a way that breaks all the time only short ones come through.
const MESSAGE_BYTES: usize = 4 * 1024;
/// What an input weighs beside its payload, bytes.
const OVERHEAD_BYTES: usize = 32;
/// How often something is said.
const TICK: Duration = Duration::from_secs(1);
/// How often the clock difference is shown anew.
const SHOW: Duration = Duration::from_secs(10);
/// What most likely ails a near end that hangs up before its welcome.
const KEYS_DIFFER: &str = "it hung up on the first message sealed with this key: most likely the keys of both ends differ, copy one file to both";

/// What is to be passed on, as told on the command line: `HOST:PORT`, or `LINK=HOST:PORT` where there are several links.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct PassOn {
    /// Name of the link.
    pub(crate) link: Option<String>,
    /// host:port of the near end.
    pub(crate) to: String,
}

impl FromStr for PassOn {
    type Err = String;

    fn from_str(told: &str) -> Result<Self, String> {
        // A name may hold anything, an address holds no `=`.
        let (link, to) = match told.rsplit_once('=') {
            Some((link, to)) => (Some(link.to_owned()), to),
            None => (None, told),
        };
        let port =
            to.rsplit_once(':').filter(|(host, _)| !host.is_empty()).map(|(_, port)| port.parse::<u16>());
        match port {
            Some(Ok(1..)) => Ok(Self { link, to: to.to_owned() }),
            _ => Err("expected HOST:PORT, or LINK=HOST:PORT".to_owned()),
        }
    }
}

/// One link that is passed on.
#[derive(Debug)]
pub(crate) struct Caller {
    /// Name of the link.
    pub(crate) link: String,
    /// host:port of the near end.
    pub(crate) to: String,
    /// The shared key.
    pub(crate) key: Vec<u8>,
    /// Station time of the store's first input: its name.
    pub(crate) store: i64,
    /// The inputs, for reading.
    pub(crate) readers: SqlitePool,
    /// Number of the newest input on the disk.
    pub(crate) kept: watch::Receiver<u64>,
    /// Station time.
    pub(crate) clock: Clock,
    /// Between calls.
    pub(crate) pause: Pause,
    /// Where it says how it stands.
    pub(crate) board: Board,
}

impl Caller {
    /// Calls again and again; ends only when it is dropped.
    pub(crate) async fn run(mut self) {
        let mut said = String::new();
        loop {
            let why = match call(&self.to, &self.key, self.store, self.clock).await {
                Ok(way) => self.pass_on(way).await,
                Err(why) => why,
            };
            if said != why {
                tracing::warn!(
                    link = self.link,
                    "not passed on: {}: {why}; calling again, all of it is kept",
                    self.to
                );
                said.clone_from(&why);
            }
            self.post(|passing| {
                passing.up = false;
                passing.words = format!("{why}; calling again, all of it is kept");
            });
            self.pause.wait().await;
        }
    }

    fn post(&self, change: impl FnOnce(&mut Passing)) {
        self.board.send_modify(|board| {
            if let Some(mine) = board.iter_mut().find(|one| one.link == self.link && one.to == self.to) {
                change(mine);
            }
        });
    }

    /// Passes on until the connection breaks; says why it did.
    async fn pass_on(&mut self, mut way: Way) -> String {
        let mut at = match way.receive().await {
            Ok(FromNear::Welcome { after }) => after,
            Ok(_) => return "refused: it does not begin with a welcome".to_owned(),
            // It says nothing to one who has not the key, so that this is all there is to go by: it greeted, and ended the
            // connection when it had the first message with a MAC.
            Err(why) if why == CLOSED => return KEYS_DIFFER.to_owned(),
            Err(why) => return why,
        };
        let newest = *self.kept.borrow();
        if at > newest {
            return format!(
                "it has input {at} of this store, whose newest is {newest}: was the data folder put back from a copy? Begin a new one with --set-aside"
            );
        }
        self.pause.reset();
        tracing::info!(link = self.link, "passing on to {} after input {at}", self.to);
        self.post(|passing| {
            passing.up = true;
            "passing on".clone_into(&mut passing.words);
            passing.there = Some(at);
        });
        // The near end can place nothing in time before it has heard an echo of its own.
        if let Err(why) = way.send(&FromFar::Tick) {
            return why;
        }
        let mut tick = tokio::time::interval(TICK);
        let mut under_way = UnderWay::default();
        let mut told: Option<Instant> = None;
        loop {
            let newest = *self.kept.borrow_and_update();
            while at < newest && under_way.bytes < WINDOW_BYTES {
                let some =
                    match inputs::read_of_link(&self.readers, &self.link, at, newest, READ_AT_ONCE).await {
                        Ok(some) => some,
                        Err(error) => return format!("its own store cannot be read: {error}"),
                    };
                at = match some.last() {
                    Some(last) if some.len() == READ_AT_ONCE as usize => last.number,
                    _ => newest,
                };
                for message in messages(some) {
                    under_way.add(&message);
                    if let Err(why) = way.send(&FromFar::Inputs(message)) {
                        return why;
                    }
                }
            }
            tokio::select! {
                said = way.receive() => match said {
                    Ok(FromNear::Kept { up_to }) => {
                        under_way.kept(up_to);
                        self.post(|passing| passing.there = Some(up_to));
                    }
                    Ok(_) => {}
                    Err(why) => return why,
                },
                changed = self.kept.changed(), if at >= newest => if changed.is_err() {
                    // The recorder has ended, and with it the station: the last of it is passed on next time.
                    return "this station is ending".to_owned();
                },
                _ = tick.tick() => if let Err(why) = way.send(&FromFar::Tick) {
                    return why;
                },
            }
            if let Some(estimate) =
                way.difference().filter(|_| told.is_none_or(|told| told.elapsed() >= SHOW))
            {
                if told.is_none() {
                    tracing::info!(link = self.link, "{}: {}", self.to, estimate.in_words());
                }
                told = Some(Instant::now());
                self.post(|passing| passing.words = format!("passing on; {}", estimate.in_words()));
            }
        }
    }
}

/// What was sent and is not yet on the near end's disk.
#[derive(Debug, Default)]
struct UnderWay {
    messages: VecDeque<(u64, usize)>,
    bytes: usize,
}

impl UnderWay {
    fn add(&mut self, message: &[Passed]) {
        let Some(last) = message.last() else { return };
        let bytes = message.iter().map(weight).sum();
        self.messages.push_back((last.number, bytes));
        self.bytes += bytes;
    }

    fn kept(&mut self, up_to: u64) {
        while let Some((number, bytes)) = self.messages.front().copied()
            && number <= up_to
        {
            self.messages.pop_front();
            self.bytes -= bytes;
        }
    }
}

fn weight(passed: &Passed) -> usize {
    OVERHEAD_BYTES
        + match &passed.news {
            RelayNews::Bytes(bytes) => bytes.len(),
            _ => 0,
        }
}

/// The inputs in messages.
fn messages(inputs: Vec<Input>) -> Vec<Vec<Passed>> {
    let mut all = Vec::new();
    let mut message: Vec<Passed> = Vec::new();
    let mut bytes = 0;
    for passed in inputs.into_iter().filter_map(passed) {
        bytes += weight(&passed);
        message.push(passed);
        if bytes >= MESSAGE_BYTES {
            all.push(std::mem::take(&mut message));
            bytes = 0;
        }
    }
    if !message.is_empty() {
        all.push(message);
    }
    all
}

fn passed(input: Input) -> Option<Passed> {
    let Input { number, t_ns, what, .. } = input;
    let (far_ns, news) = match what {
        What::Bytes { bytes, .. } => (t_ns, RelayNews::Bytes(bytes)),
        What::LinkState { up, reason, .. } => (t_ns, RelayNews::LinkState { up, reason }),
        What::Started => (t_ns, RelayNews::Started),
        What::Lost { bytes, reason, .. } => (t_ns, RelayNews::Lost { bytes, reason }),
        // From a receiver farther on: heard when that one heard it.
        What::Relayed { stamp, news, .. } => (stamp.heard_ns, news),
        _ => return None,
    };
    Some(Passed { number, far_ns, news })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_told_on_the_command_line() {
        let told = |text: &str| text.parse::<PassOn>();
        assert_eq!(told("10.0.0.2:9100"), Ok(PassOn { link: None, to: "10.0.0.2:9100".into() }));
        assert_eq!(told("a=b=[::1]:9100"), Ok(PassOn { link: Some("a=b".into()), to: "[::1]:9100".into() }));
        for wrong in ["", "host", "host:", ":9100", "host:0", "host:70000", "host:9100=mast"] {
            assert!(told(wrong).is_err(), "{wrong}");
        }
    }
}
