//! The hub: newest outputs, shaped once for all who watch.
//!
//! The engine's task gives its outputs to [`Hub::take`], which never waits: it updates the state and, when [`Pace`]
//! allows it, publishes the next `now` there and then. What must wait for its mark, and the larger messages, are published by [`Hub::keep_time`]. Each message is written as JSON once and its bytes are shared;
//! a reader that falls behind finds only the newest.

mod fit;
mod ground;
mod json;
#[cfg(test)]
pub(crate) mod made;
mod now;
mod pace;
mod picture;
mod rounding;
mod state;
#[cfg(test)]
mod tests;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use loftwatch_engine::{LinkCount, Output};
use tokio::sync::{Notify, watch};
use tokio::time::Instant;

use crate::clock::{self, Clock};
use crate::messages::{LinkNow, Message, PassingNow, Story};
use crate::relay::Passing;
use crate::shared::{LinkStatus, SetupNow, Status};

pub(crate) use fit::fitted;
pub(crate) use json::text as json_text;
pub(crate) use now::{Moment, Replayed};
pub(crate) use pace::Pace;
pub(crate) use picture::word;
pub(crate) use rounding::figure;
pub(crate) use state::{Marks, State, Touched, fix, of_a_charge, seconds};

/// Newest outputs, for those who watch.
#[derive(Debug)]
pub(crate) struct Hub {
    clock: Clock,
    setup: watch::Receiver<Arc<SetupNow>>,
    status: watch::Receiver<Status>,
    links: watch::Receiver<Vec<LinkStatus>>,
    passing: watch::Receiver<Vec<Passing>>,
    /// Held only while outputs are taken or a message is put together; never across a wait.
    inner: Mutex<Inner>,
    /// Wakes `keep_time` when something is due earlier than it knew.
    changed: Notify,
    now: watch::Sender<Arc<str>>,
    picture: watch::Sender<Arc<str>>,
    story: watch::Sender<Arc<str>>,
}

#[derive(Debug)]
struct Inner {
    state: State,
    /// What came in over each link.
    counts: Vec<LinkCount>,
    now: Pace,
    picture: Pace,
    story: Pace,
}

impl Inner {
    fn touch(&mut self, touched: Touched, now: Instant) {
        self.now.touch(touched.now);
        self.now.touch_lightly(touched.now_lightly, now);
        self.picture.touch(touched.picture);
        self.story.touch(touched.story);
    }
}

/// The newest messages, as one reader follows them.
#[derive(Clone, Debug)]
pub(crate) struct Newest {
    /// Message `now`.
    pub(crate) now: watch::Receiver<Arc<str>>,
    /// Message `picture`.
    pub(crate) picture: watch::Receiver<Arc<str>>,
    /// Message `story`.
    pub(crate) story: watch::Receiver<Arc<str>>,
}

impl Hub {
    /// An empty hub. `epoch_ns`: see [`crate::shared::Shared::epoch_ns`].
    pub(crate) fn new(
        clock: Clock,
        epoch_ns: i64,
        setup: watch::Receiver<Arc<SetupNow>>,
        status: watch::Receiver<Status>,
        links: watch::Receiver<Vec<LinkStatus>>,
        passing: watch::Receiver<Vec<Passing>>,
    ) -> Self {
        let hub = Self {
            clock,
            setup,
            status,
            links,
            passing,
            inner: Mutex::new(Inner {
                state: State::new(epoch_ns),
                counts: Vec::new(),
                now: Pace::of_now(),
                picture: Pace::of_picture(),
                story: Pace::of_story(),
            }),
            changed: Notify::new(),
            now: watch::Sender::new(Arc::default()),
            picture: watch::Sender::new(Arc::default()),
            story: watch::Sender::new(Arc::default()),
        };
        hub.publish(Instant::now());
        hub
    }

    /// Takes what the engine put out, in order. Never waits. After a restart it is first given the stored outputs
    /// of the open flight that still matter (flight, events, heads-ups, the newest of the rest).
    pub(crate) fn take(&self, outputs: &[Output]) {
        let now = Instant::now();
        let text = {
            let mut inner = self.lock();
            let mut touched = Touched::default();
            for output in outputs {
                touched.add(inner.state.apply(output));
            }
            if touched == Touched::default() {
                return;
            }
            inner.touch(touched, now);
            if inner.now.take(now) { Some(self.now_text(&inner.state)) } else { None }
        };
        if let Some(text) = text {
            self.now.send_replace(text.into());
        }
        self.changed.notify_one();
    }

    /// Takes what came in over each link so far; it is shown with the radio's statistics, which come with it.
    pub(crate) fn count(&self, counts: Vec<LinkCount>) {
        let mut inner = self.lock();
        inner.counts = counts;
        inner.touch(Touched { story: true, ..Touched::default() }, Instant::now());
        drop(inner);
        self.changed.notify_one();
    }

    /// Publishes what is due, as it falls due, until `ending` turns true.
    pub(crate) async fn keep_time(&self, mut ending: watch::Receiver<bool>) {
        let (mut setup, mut status, mut links, mut passing) =
            (self.setup.clone(), self.status.clone(), self.links.clone(), self.passing.clone());
        loop {
            let due = {
                let inner = self.lock();
                [&inner.now, &inner.picture, &inner.story].into_iter().filter_map(Pace::due).min()
            };
            let due = due.unwrap_or_else(|| Instant::now() + std::time::Duration::from_secs(1));
            let touched = tokio::select! {
                () = tokio::time::sleep_until(due) => { self.publish(Instant::now()); continue; }
                () = self.changed.notified() => continue,
                // A closed channel means that the station is ending; `ending` says so.
                Ok(()) = setup.changed() => Touched { now: true, picture: true, story: true, ..Touched::default() },
                Ok(()) = status.changed() => Touched { now: true, ..Touched::default() },
                Ok(()) = passing.changed() => Touched { story: true, ..Touched::default() },
                Ok(()) = links.changed() => Touched { story: true, ..Touched::default() },
                _ = ending.wait_for(|ending| *ending) => return,
            };
            self.lock().touch(touched, Instant::now());
        }
    }

    /// The newest messages and those to come; all three are there at once.
    pub(crate) fn follow(&self) -> Newest {
        Newest { now: self.now.subscribe(), picture: self.picture.subscribe(), story: self.story.subscribe() }
    }

    /// The message `now` as of this moment.
    pub(crate) fn now_json(&self) -> String {
        self.now_text(&self.lock().state)
    }

    /// Which flight is shown, 0 for none, and the marks in it.
    pub(crate) fn marks(&self) -> Marks {
        self.lock().state.marks()
    }

    /// What stands at a key of readiness now.
    pub(crate) fn check(&self, key: &str) -> Option<loftwatch_engine::output::Check> {
        self.lock().state.check(key).cloned()
    }

    /// The flight that is in the air, if one is.
    pub(crate) fn in_the_air(&self) -> Option<u32> {
        self.lock().state.in_the_air()
    }

    fn publish(&self, now: Instant) {
        let mut inner = self.lock();
        let told = Arc::clone(&self.setup.borrow());
        let now_text = inner.now.take(now).then(|| self.now_text(&inner.state));
        let picture = inner.picture.take(now).then(|| inner.state.picture(&told.setup, self.clock.now_ns()));
        let story = inner.story.take(now).then(|| {
            let links = self.links(&inner.counts);
            Story { passing: self.passing(), ..inner.state.story(&told.setup, clock::utc_now_ns(), links) }
        });
        drop(inner);
        if let Some(text) = now_text {
            self.now.send_replace(text.into());
        }
        // The large one is written outside the lock, so that the engine's task need not wait for it.
        if let Some(picture) = picture {
            self.picture.send_replace(json::text(&Message::Picture(picture)).into());
        }
        if let Some(story) = story {
            self.story.send_replace(json::text(&Message::Story(story)).into());
        }
    }

    fn now_text(&self, state: &State) -> String {
        let told = Arc::clone(&self.setup.borrow());
        let (not_kept_since_ns, disk, room_for_s, lost_bytes) = {
            let status = self.status.borrow();
            (status.not_kept_since_ns, status.disk, status.room_for_s, status.lost_bytes)
        };
        let moment = Moment {
            t_ns: self.clock.now_ns(),
            utc_ns: clock::utc_now_ns(),
            not_kept_since_ns,
            disk,
            room_for_s,
            lost_bytes,
            replay: None,
        };
        fit::fitted(state.now(&told.setup, &moment))
    }

    fn links(&self, counts: &[LinkCount]) -> Vec<LinkNow> {
        let link = |link: &LinkStatus| {
            let count = counts.iter().find(|count| count.link == link.name);
            LinkNow {
                name: link.name.clone(),
                up: link.up,
                reason: link.reason.clone(),
                bytes: count.map(|count| count.bytes),
                no_frame: count.is_some_and(|count| count.no_frame),
                wrong: count.map(|count| count.wrong),
            }
        };
        self.links.borrow().iter().map(link).collect()
    }

    fn passing(&self) -> Vec<PassingNow> {
        let one = |one: &Passing| PassingNow {
            link: one.link.clone(),
            to: one.to.clone(),
            up: one.up,
            words: one.words.clone(),
            pieces: one.behind.map(|(pieces, _)| pieces),
            bytes: one.behind.map(|(_, bytes)| bytes),
        };
        self.passing.borrow().iter().map(one).collect()
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A panic while the lock was held leaves a state that is at worst one output behind: go on with it.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
