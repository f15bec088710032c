//! Those who watch what is live: one thread writes each message to every socket in turn.
//!
//! To wake a task for each socket and message costs as much as the writing itself, and thousands of pages leave no room for
//! that beside a flight. So the thread writes to whoever takes a message whole. Who does not is left to its own task: that
//! sends the rest, then what came meanwhile, of each kind only the newest, and hands the socket back. Encrypted sockets
//! are not in the crowd; each follows by itself.

use std::io::{ErrorKind, IoSlice};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};

use tokio::net::TcpStream;
use tokio::sync::{Notify, watch};

use super::frames::{self, Head};
use crate::hub::Newest;

/// Kinds of messages, in the order in which they are due: the quick one goes before the large ones.
const NOW: usize = 0;
const STORY: usize = 1;
const PICTURE: usize = 2;
const KINDS: usize = 3;
/// So many get a large message before it is seen whether there is a quick one.
const SLICE: usize = 64;
/// So many get a large message between two quick ones, however close these follow each other.
const SLICES_AT_LEAST: usize = 8;

/// All sockets that watch, and what they are to have.
#[derive(Debug, Default)]
pub(crate) struct Crowd {
    /// The newest of each kind. Locked after a pen, never before.
    board: Mutex<[Posted; KINDS]>,
    /// Who has come and is not known to the thread yet.
    comers: Mutex<Vec<Weak<Seat>>>,
}

/// A message on the board.
#[derive(Clone, Debug, Default)]
struct Posted {
    /// Counts up from 1; 0: there was none yet.
    number: u64,
    text: Arc<str>,
}

/// One plain socket.
#[derive(Debug)]
pub(super) struct Seat {
    pub(super) stream: TcpStream,
    pen: Mutex<Pen>,
    /// Calls the seat's task, to which the pen was left.
    called: Notify,
}

/// Who may write to a socket.
#[derive(Debug)]
struct Pen {
    /// The seat's own task may, and the thread may not.
    own: bool,
    /// The newest of each kind that was sent, or begun.
    sent: [u64; KINDS],
    rest: Option<Rest>,
}

/// A text of which the front was sent.
#[derive(Clone, Debug)]
pub(super) struct Rest {
    pub(super) text: Arc<str>,
    /// Bytes of its frame that were sent.
    pub(super) done: usize,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Seat {
    /// A socket to which its own task writes, until it joins the crowd.
    pub(super) fn new(stream: TcpStream) -> Self {
        Self {
            stream,
            pen: Mutex::new(Pen { own: true, sent: [0; KINDS], rest: None }),
            called: Notify::new(),
        }
    }

    /// Takes the pen for the seat's own task. What is returned must be sent before anything else.
    pub(super) fn take_pen(&self) -> Option<Rest> {
        let mut pen = lock(&self.pen);
        pen.own = true;
        pen.rest.take()
    }

    /// Waits until the thread has left the pen.
    pub(super) async fn called(&self) {
        self.called.notified().await;
    }

    /// Writes one message, unless the seat's own task writes or it was sent. Never waits.
    fn offer(&self, kind: usize, posted: &Posted) {
        let mut pen = lock(&self.pen);
        if pen.own || pen.sent[kind] >= posted.number {
            return;
        }
        let head = Head::new(frames::TEXT, posted.text.len());
        let slices = [IoSlice::new(head.as_bytes()), IoSlice::new(posted.text.as_bytes())];
        match self.stream.try_write_vectored(&slices) {
            Ok(done) => {
                pen.sent[kind] = posted.number;
                if done == head.as_bytes().len() + posted.text.len() {
                    return;
                }
                pen.rest = Some(Rest { text: Arc::clone(&posted.text), done });
            }
            Err(error) if error.kind() == ErrorKind::WouldBlock => {}
            // Its task finds out when it writes, and ends.
            Err(error) => tracing::debug!(%error, "a socket takes no more"),
        }
        pen.own = true;
        self.called.notify_one();
    }
}

impl Crowd {
    /// Lets a socket in: its task has the pen, and catches up.
    pub(super) fn join(&self, seat: &Arc<Seat>) {
        lock(&self.comers).push(Arc::downgrade(seat));
    }

    /// What the task that has a seat's pen is to send next. `None`: nothing; the pen is with the thread.
    pub(super) fn next(&self, seat: &Seat) -> Option<Rest> {
        let mut pen = lock(&seat.pen);
        if !pen.own {
            return None;
        }
        if let Some(rest) = pen.rest.take() {
            return Some(rest);
        }
        let board = lock(&self.board);
        for (posted, sent) in board.iter().zip(&mut pen.sent) {
            if posted.number > *sent {
                *sent = posted.number;
                return Some(Rest { text: Arc::clone(&posted.text), done: 0 });
            }
        }
        pen.own = false;
        None
    }

    /// Posts a message and takes in who has come. In this order: who comes later finds it on the board.
    fn post(&self, kind: usize, text: Arc<str>, seats: &mut Vec<Weak<Seat>>) -> Posted {
        let posted = {
            let mut board = lock(&self.board);
            board[kind] = Posted { number: board[kind].number + 1, text };
            board[kind].clone()
        };
        seats.append(&mut lock(&self.comers));
        posted
    }

    /// Writes what the hub publishes to all, until `ending` turns true: work for a thread of its own.
    pub(super) async fn keep_posted(&self, mut newest: Newest, mut ending: watch::Receiver<bool>) {
        let mut seats = Vec::new();
        let mut large = [(STORY, Round::default()), (PICTURE, Round::default())];
        for channel in [&mut newest.now, &mut newest.story, &mut newest.picture] {
            channel.mark_changed();
        }
        loop {
            let idle = large.iter().all(|(_, round)| round.left == 0);
            if idle {
                seats.retain(|seat: &Weak<Seat>| seat.strong_count() > 0);
            }
            let changed = async {
                tokio::select! {
                    biased;
                    Ok(()) = newest.now.changed() => Some(NOW),
                    Ok(()) = newest.story.changed() => Some(STORY),
                    Ok(()) = newest.picture.changed() => Some(PICTURE),
                    () = std::future::ready(()), if !idle => None,
                }
            };
            let kind = tokio::select! {
                biased;
                _ = ending.wait_for(|ending| *ending) => return,
                kind = changed => kind,
            };
            let slices = match kind {
                Some(NOW) => {
                    let text = newest.now.borrow_and_update().clone();
                    let posted = self.post(NOW, text, &mut seats);
                    for seat in seats.iter().filter_map(Weak::upgrade) {
                        seat.offer(NOW, &posted);
                    }
                    SLICES_AT_LEAST
                }
                Some(kind) => {
                    let channel = if kind == STORY { &mut newest.story } else { &mut newest.picture };
                    let text = channel.borrow_and_update().clone();
                    large[kind - STORY].1.posted = self.post(kind, text, &mut seats);
                    large[kind - STORY].1.left = seats.len();
                    continue;
                }
                None => 1,
            };
            for _ in 0..slices {
                if let Some((kind, round)) = large.iter_mut().find(|(_, round)| round.left > 0) {
                    round.slice(*kind, &seats);
                }
            }
        }
    }
}

/// How far a large message has come on its way round.
#[derive(Debug, Default)]
struct Round {
    posted: Posted,
    /// The seat that is next. It goes on where it was when a newer message comes: nobody is left out for those in front.
    next: usize,
    /// Seats that are still to be visited.
    left: usize,
}

impl Round {
    fn slice(&mut self, kind: usize, seats: &[Weak<Seat>]) {
        for _ in 0..SLICE.min(self.left) {
            self.next = if self.next < seats.len() { self.next } else { 0 };
            if let Some(seat) = seats.get(self.next).and_then(Weak::upgrade) {
                seat.offer(kind, &self.posted);
            }
            self.next += 1;
            self.left -= 1;
        }
    }
}
