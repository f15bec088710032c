//! One connection of a relay, at either end: sealed messages out and in, the clock difference, and silence.
//!
//! Nothing is lost when a future of it is dropped: what is to be sent waits in a buffer, what came in another.

use std::time::Duration;

use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::Instant;

use super::difference::{Difference, Estimate};
use super::wire::{GREETING, Key, NONCE_BYTES, Open, Seal, keys};
use super::{About, FromFar, WINDOW_BYTES};
use crate::clock::Clock;

/// A peer that says nothing for so long is gone: it says something every second.
const SILENCE: Duration = Duration::from_secs(10);
/// Longest wait for either end to show that it knows the key.
const PATIENCE: Duration = Duration::from_secs(5);
/// Longest first message.
const FIRST_BYTES: usize = 1024;
/// Longest message: the inputs of a window and what is about them.
const MESSAGE_BYTES: usize = 4 * WINDOW_BYTES;
/// The other side has ended the connection in order.
pub(super) const CLOSED: &str = "closed by the other side";

/// A connection whose ends have shown that they know the key.
#[derive(Debug)]
pub(crate) struct Way {
    stream: TcpStream,
    clock: Clock,
    seal: Seal,
    open: Open,
    out: Vec<u8>,
    difference: Difference,
    /// The peer's newest message: when it was sent by its clock, and came by ours.
    newest: Option<(i64, i64)>,
    heard: Instant,
}

impl Way {
    fn new(stream: TcpStream, clock: Clock, out: Key, back: Key, most: usize) -> Self {
        // Small messages are not held back for company; without it they are merely later.
        let _ = stream.set_nodelay(true);
        Self {
            stream,
            clock,
            seal: Seal::new(out),
            open: Open::new(back, most),
            out: Vec::new(),
            difference: Difference::default(),
            newest: None,
            heard: Instant::now(),
        }
    }

    /// Puts a message up to be sent, which [`Way::receive`] does.
    pub(crate) fn send(&mut self, what: &impl Serialize) -> Result<(), String> {
        let about: About = (self.clock.now_ns(), self.newest);
        let body = postcard::to_stdvec(&(about, what)).map_err(|error| error.to_string())?;
        self.seal.seal(&body, &mut self.out);
        Ok(())
    }

    /// The next message; meanwhile what is to be sent is sent. `Err`: why the connection is of no more use.
    pub(crate) async fn receive<T: DeserializeOwned>(&mut self) -> Result<T, String> {
        loop {
            if let Some(body) = self.open.next().map_err(|refused| format!("refused: {refused}"))? {
                let now_ns = self.clock.now_ns();
                let ((sent_ns, echo), what): (About, T) = postcard::from_bytes(&body)
                    .map_err(|error| format!("refused: no message of ours ({error})"))?;
                self.difference.take(sent_ns, now_ns, echo);
                self.newest = Some((sent_ns, now_ns));
                self.heard = Instant::now();
                return Ok(what);
            }
            let (mut read, mut write) = self.stream.split();
            tokio::select! {
                n = read.read_buf(&mut self.open.buffer) => match n {
                    Ok(0) => return Err(CLOSED.to_owned()),
                    Ok(_) => {}
                    Err(error) => return Err(format!("lost ({error})")),
                },
                n = write.write(&self.out), if !self.out.is_empty() => match n {
                    Ok(n) => drop(self.out.drain(..n)),
                    Err(error) => return Err(format!("lost ({error})")),
                },
                () = tokio::time::sleep_until(self.heard + SILENCE) => {
                    return Err(format!("silent for {} s", SILENCE.as_secs()));
                }
            }
        }
    }

    /// The clock difference, once something has gone both ways.
    pub(crate) fn difference(&self) -> Option<Estimate> {
        self.difference.estimate()
    }
}

fn nonce() -> Result<[u8; NONCE_BYTES], String> {
    let mut nonce = [0; NONCE_BYTES];
    getrandom::fill(&mut nonce).map_err(|error| format!("no random numbers: {error}"))?;
    Ok(nonce)
}

/// Within the time that a handshake may take.
async fn in_time<T>(what: impl Future<Output = std::io::Result<T>>) -> Result<T, String> {
    match tokio::time::timeout(PATIENCE, what).await {
        Ok(done) => done.map_err(|error| format!("lost ({error})")),
        Err(_) => Err("says nothing".to_owned()),
    }
}

/// Calls the near end; says hello. It is the near end's turn then.
pub(super) async fn call(address: &str, key: &[u8], store: i64, clock: Clock) -> Result<Way, String> {
    let mut stream = match tokio::time::timeout(PATIENCE, TcpStream::connect(address)).await {
        Ok(stream) => stream.map_err(|error| format!("cannot be reached: {error}"))?,
        Err(_) => return Err("does not answer".to_owned()),
    };
    let mut greeting = [0; GREETING.len() + NONCE_BYTES];
    in_time(stream.read_exact(&mut greeting)).await?;
    let Some((GREETING, near)) = greeting.split_first_chunk().map(|(hello, rest)| (*hello, rest)) else {
        return Err("is no relay link of a Loftwatch that this one understands".to_owned());
    };
    let near: [u8; NONCE_BYTES] = near.try_into().map_err(|_| "no random number".to_owned())?;
    let far = nonce()?;
    in_time(stream.write_all(&far)).await?;
    let (out, back) = keys(key, &near, &far);
    let mut way = Way::new(stream, clock, out, back, MESSAGE_BYTES);
    way.send(&FromFar::Hello { store })?;
    Ok(way)
}

/// Answers a call; the caller's store once it has shown that it knows the key.
pub(crate) async fn answer(mut stream: TcpStream, key: &[u8], clock: Clock) -> Result<(Way, i64), String> {
    let near = nonce()?;
    in_time(stream.write_all(&[&GREETING[..], &near[..]].concat())).await?;
    let mut far = [0; NONCE_BYTES];
    in_time(stream.read_exact(&mut far)).await?;
    let (back, out) = keys(key, &near, &far);
    let mut way = Way::new(stream, clock, out, back, FIRST_BYTES);
    match tokio::time::timeout(PATIENCE, way.receive()).await {
        Ok(Ok(FromFar::Hello { store })) => {
            way.open.allow(MESSAGE_BYTES);
            Ok((way, store))
        }
        Ok(Ok(_)) => Err("refused: it does not begin with a hello".to_owned()),
        Ok(Err(why)) => Err(why),
        Err(_) => Err("says nothing".to_owned()),
    }
}
