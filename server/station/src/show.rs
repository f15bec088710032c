//! The show: one replay that one person drives and everybody follows.
//!
//! One task plays the flight and writes each message as JSON once, as the hub does for what is live; whoever follows gets
//! the newest, with the station time at which its instant was played. So pages are in step by their clocks, however long a
//! message took. The task reads stored outputs and nothing else: a flight that is live goes on undisturbed beside it.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::{mpsc, watch};
use tokio::time::Instant;

use crate::clock::Clock;
use crate::hub::Hub;
use crate::messages::Ask;
use crate::playback::{Playback, Stepper, steps};

/// Orders that wait; a driver who drags the time sends some tens a second.
const MOST_ORDERS: usize = 64;
/// How often it is looked whether a flight is in the air, in steps.
const LOOK_EVERY: u32 = 10;

/// What is to be shown, and how it is called.
#[derive(Debug)]
pub(crate) struct Shown {
    /// The flight, opened.
    pub(crate) playback: Playback,
    /// Its number in the list.
    pub(crate) number: u32,
    /// Its name, or the vehicle's.
    pub(crate) name: String,
}

/// What the show is told to do.
#[derive(Debug)]
pub(crate) enum Order {
    /// Begin with this flight, or go over to it.
    Begin(Box<Shown>),
    /// End.
    End,
    /// Somebody takes the wheel: number of their socket, and who they are.
    Take(u64, String),
    /// Somebody lets the wheel go, or is gone.
    LetGo(u64),
    /// Who holds the wheel asks for something.
    Ask(u64, Ask),
}

/// The state of the show, for those who follow.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct About {
    /// The flight that is shown: number and name.
    pub(crate) flight: Option<(u32, String)>,
    /// First and last instant, station time ns.
    pub(crate) span_ns: (i64, i64),
    /// Number of the socket that drives, and who.
    pub(crate) driver: Option<(u64, String)>,
    /// A flight that is in the air meanwhile.
    pub(crate) in_the_air: Option<u32>,
}

/// The newest messages, as one follower gets them.
#[derive(Clone, Debug)]
pub(crate) struct Newest {
    pub(crate) about: watch::Receiver<About>,
    pub(crate) now: watch::Receiver<Arc<str>>,
    pub(crate) picture: watch::Receiver<Arc<str>>,
    pub(crate) story: watch::Receiver<Arc<str>>,
}

/// The show of a station: its orders go in here, what is shown comes out.
#[derive(Debug)]
pub(crate) struct Show {
    orders: mpsc::Sender<Order>,
    /// Taken by the task.
    waiting: Mutex<Option<mpsc::Receiver<Order>>>,
    sockets: AtomicU64,
    about: watch::Sender<About>,
    now: watch::Sender<Arc<str>>,
    picture: watch::Sender<Arc<str>>,
    story: watch::Sender<Arc<str>>,
}

impl Default for Show {
    fn default() -> Self {
        let (orders, waiting) = mpsc::channel(MOST_ORDERS);
        Self {
            orders,
            waiting: Mutex::new(Some(waiting)),
            sockets: AtomicU64::new(1),
            about: watch::Sender::new(About::default()),
            now: watch::Sender::new(Arc::default()),
            picture: watch::Sender::new(Arc::default()),
            story: watch::Sender::new(Arc::default()),
        }
    }
}

impl Show {
    /// Tells it to do something. Waits only while very much is waiting already.
    pub(crate) async fn tell(&self, order: Order) {
        // Its task ends with the station alone.
        let _ = self.orders.send(order).await;
    }

    /// Somebody is gone: the wheel is free again, without waiting for it.
    pub(crate) fn gone(&self, socket: u64) {
        if self.orders.try_send(Order::LetGo(socket)).is_err() {
            let orders = self.orders.clone();
            tokio::spawn(async move { orders.send(Order::LetGo(socket)).await });
        }
    }

    /// A number for one more socket.
    pub(crate) fn socket(&self) -> u64 {
        self.sockets.fetch_add(1, Ordering::Relaxed)
    }

    /// The newest messages and those to come.
    pub(crate) fn follow(&self) -> Newest {
        Newest {
            about: self.about.subscribe(),
            now: self.now.subscribe(),
            picture: self.picture.subscribe(),
            story: self.story.subscribe(),
        }
    }

    /// How many follow.
    pub(crate) fn followers(&self) -> u32 {
        self.now.receiver_count() as u32
    }

    /// Plays what it is told to until `ending` turns true.
    pub(crate) async fn run(&self, clock: Clock, hub: &Hub, mut ending: watch::Receiver<bool>) {
        let waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner).take();
        let Some(mut orders) = waiting else { return };
        let mut stage = Stage { clock, shown: None, due: Stepper::fresh() };
        let mut steps = steps();
        let mut looked = 0;
        loop {
            let order = tokio::select! {
                order = orders.recv() => match order {
                    Some(order) => Some(order),
                    None => return,
                },
                _ = steps.tick(), if stage.shown.is_some() => None,
                _ = ending.wait_for(|ending| *ending) => return,
            };
            let done = if let Some(order) = order {
                self.obey(&mut stage, order).await
            } else {
                looked += 1;
                if looked % LOOK_EVERY == 0 {
                    self.tell_about(&stage, hub.in_the_air());
                }
                stage.pass().await
            };
            if let Err(error) = done {
                // The store is being rebuilt, or was set aside: better none than a wrong one.
                tracing::warn!(%error, "the show could not read the store and has ended");
                stage.shown = None;
                self.about.send_replace(About::default());
            }
            self.publish(&mut stage);
        }
    }

    async fn obey(&self, stage: &mut Stage, order: Order) -> Result<(), sqlx::Error> {
        match order {
            Order::Begin(shown) => {
                stage.shown = Some(shown);
                stage.due = Stepper::fresh();
            }
            Order::End => {
                stage.shown = None;
                for channel in [&self.now, &self.picture, &self.story] {
                    channel.send_replace(Arc::default());
                }
            }
            Order::Take(socket, who) => {
                self.about.send_modify(|about| about.driver = Some((socket, who)));
            }
            Order::LetGo(socket) => {
                self.about.send_if_modified(|about| {
                    let his = about.driver.as_ref().is_some_and(|(driver, _)| *driver == socket);
                    if his {
                        about.driver = None;
                    }
                    his
                });
            }
            Order::Ask(socket, ask) => {
                let drives = self.about.borrow().driver.as_ref().is_some_and(|(driver, _)| *driver == socket);
                if let Some(shown) = stage.shown.as_mut().filter(|_| drives) {
                    shown.playback.obey(&ask).await?;
                    stage.due = Stepper::fresh();
                }
            }
        }
        let in_the_air = self.about.borrow().in_the_air;
        self.tell_about(stage, in_the_air);
        Ok(())
    }

    fn tell_about(&self, stage: &Stage, in_the_air: Option<u32>) {
        let flight = stage.shown.as_ref().map(|shown| (shown.number, shown.name.clone()));
        let span_ns = stage.shown.as_ref().map_or((0, 0), |shown| shown.playback.span_ns());
        self.about.send_if_modified(|about| {
            let before = about.clone();
            (about.flight, about.span_ns, about.in_the_air) = (flight, span_ns, in_the_air);
            *about != before
        });
    }

    fn publish(&self, stage: &mut Stage) {
        let Stage { clock, shown: Some(shown), due } = stage else { return };
        let now = Instant::now();
        if due.now.take(now) {
            self.now.send_replace(shown.playback.now(clock.now_ns()).into());
        }
        if due.story.take(now) {
            self.story.send_replace(shown.playback.story().into());
        }
        if due.picture.take(now) {
            self.picture.send_replace(shown.playback.picture().into());
        }
    }
}

/// What is played.
struct Stage {
    clock: Clock,
    shown: Option<Box<Shown>>,
    due: Stepper,
}

impl Stage {
    async fn pass(&mut self) -> Result<(), sqlx::Error> {
        match &mut self.shown {
            Some(shown) => self.due.pass(&mut shown.playback).await,
            None => Ok(()),
        }
    }
}
