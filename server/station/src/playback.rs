//! A stored flight, played again: what the engine put out then, fed by time into the same state that live uses.
//!
//! Nothing is computed anew, so a replay shows what was shown. A seek reads only the newest output of each kind,
//! body and cue before the instant; a test holds it to the state that playing through gives.

mod brief;
#[cfg(test)]
pub(crate) mod made;
mod steps;
mod stored;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use loftwatch_engine::Setup;
use sqlx::SqlitePool;

use crate::hub::{self, Moment, Replayed, State, Touched};
use crate::messages::{Ask, LinkNow, Message};

pub(crate) use brief::Briefs;
pub(crate) use steps::{Stepper, steps};
pub(crate) use stored::{Flight, flight, flights, landed_s, newest};

/// Rates that make sense: below, nothing moves; above, nobody can follow.
const SLOWEST: f64 = 0.1;
const FASTEST: f64 = 20.0;
/// A replay begins this long before liftoff, ns.
const RUN_UP_NS: i64 = 10_000_000_000;
/// Stretches up to this long are read whole; of longer ones only the newest of each is read.
const READ_WHOLE_NS: i64 = 250_000_000;

/// One private replay.
#[derive(Debug)]
pub(crate) struct Playback {
    readers: SqlitePool,
    number: u32,
    told: Arc<Setup>,
    label: String,
    utc_offset_ns: i64,
    begins_ns: i64,
    ends_ns: i64,
    /// How the links changed, by station time, ns.
    links: Vec<(i64, LinkNow)>,
    state: State,
    at_ns: i64,
    /// 0 when paused.
    speed: f64,
}

impl Playback {
    /// A replay of a stored flight, paused shortly before liftoff.
    pub(crate) async fn open(
        readers: SqlitePool,
        inputs: &SqlitePool,
        epoch_ns: i64,
        flight: Flight,
    ) -> Result<Self, sqlx::Error> {
        let first_ns = flight.liftoff_ns.map_or(flight.opened_ns, |ns| flight.opened_ns.max(ns - RUN_UP_NS));
        let ends_ns = stored::end(&readers, flight.number).await?.max(flight.opened_ns);
        let links = stored::links(inputs, &flight.setup, flight.opened_ns, ends_ns).await?;
        let mut playback = Self {
            number: flight.number,
            label: local_time(flight.liftoff_ns.unwrap_or(flight.opened_ns) + flight.utc_offset_ns),
            told: Arc::new(flight.setup),
            utc_offset_ns: flight.utc_offset_ns,
            begins_ns: flight.opened_ns,
            ends_ns,
            links,
            state: State::new(epoch_ns),
            at_ns: first_ns,
            speed: 0.0,
            readers,
        };
        playback.seek(first_ns).await?;
        Ok(playback)
    }

    /// Does what a page asks for.
    pub(crate) async fn obey(&mut self, ask: &Ask) -> Result<(), sqlx::Error> {
        match ask {
            Ask::Play { speed } => self.play(*speed).await,
            // The nearest representable instant, held within the flight.
            Ask::Seek { t_s } => self.seek((t_s * 1e9) as i64).await,
            Ask::Step { forward } => self.step(*forward).await,
            Ask::Ping { .. } | Ask::Drive { .. } => Ok(()),
        }
    }

    /// Sets the rate: 0 pauses, else it is held within 0.1 to 20. At the end there is nothing to play.
    pub(crate) async fn play(&mut self, speed: f64) -> Result<(), sqlx::Error> {
        self.speed = if speed.is_finite() && speed > 0.0 { speed.clamp(SLOWEST, FASTEST) } else { 0.0 };
        self.stop_at_the_end().await
    }

    /// Goes to an instant (station time, ns) of the flight, playing on if it was.
    pub(crate) async fn seek(&mut self, t_ns: i64) -> Result<(), sqlx::Error> {
        let t_ns = t_ns.clamp(self.begins_ns, self.ends_ns);
        let mut state = State::new(self.state.epoch_ns());
        for output in &self.newest(i64::MIN, t_ns).await? {
            state.apply(output);
        }
        self.state = state;
        self.at_ns = t_ns;
        self.stop_at_the_end().await
    }

    /// Goes to the next instant at which something was received, or to the last one before, and pauses. Where there is none
    /// it stays.
    pub(crate) async fn step(&mut self, forward: bool) -> Result<(), sqlx::Error> {
        self.speed = 0.0;
        match stored::neighbour(&self.readers, self.number, self.at_ns, forward).await? {
            Some(t_ns) => self.seek(t_ns).await,
            None => Ok(()),
        }
    }

    /// The first and the last instant that can be gone to, station time ns.
    pub(crate) fn span_ns(&self) -> (i64, i64) {
        (self.begins_ns, self.ends_ns)
    }

    /// The instant that is shown, station time ns.
    pub(crate) fn at_ns(&self) -> i64 {
        self.at_ns
    }

    /// Whether it plays; at the end it does not.
    pub(crate) fn plays(&self) -> bool {
        self.speed > 0.0
    }

    /// Lets so much real time pass. Says which messages change.
    pub(crate) async fn pass(&mut self, real: Duration) -> Result<Touched, sqlx::Error> {
        if self.speed == 0.0 {
            return Ok(Touched::default());
        }
        let stretch_ns = (real.as_nanos() as f64 * self.speed) as i64;
        let to_ns = (self.at_ns + stretch_ns).min(self.ends_ns);
        let outputs = if to_ns - self.at_ns <= READ_WHOLE_NS {
            stored::all(&self.readers, self.number, self.at_ns, to_ns).await?
        } else {
            self.newest(self.at_ns, to_ns).await?
        };
        let links = self.links.iter().any(|(t_ns, _)| *t_ns > self.at_ns && *t_ns <= to_ns);
        let mut touched = Touched { now: true, story: links, ..Touched::default() };
        for output in &outputs {
            touched.add(self.state.apply(output));
        }
        self.at_ns = to_ns;
        self.stop_at_the_end().await?;
        Ok(touched)
    }

    /// The message `now`; `played_ns` is station time now.
    pub(crate) fn now(&self, played_ns: i64) -> String {
        let moment = Moment {
            t_ns: self.at_ns,
            utc_ns: self.at_ns + self.utc_offset_ns,
            not_kept_since_ns: None,
            disk: None,
            room_for_s: None,
            lost_bytes: 0,
            replay: Some(Replayed { label: self.label.clone(), speed: self.speed, played_ns }),
        };
        hub::fitted(self.state.now(&self.told, &moment))
    }

    /// The message `picture`.
    pub(crate) fn picture(&self) -> String {
        hub::json_text(&Message::Picture(self.state.picture(&self.told, self.at_ns)))
    }

    /// The message `story`, with the links as they were.
    pub(crate) fn story(&self) -> String {
        let newest = |name: &str| {
            let so_far = self.links.iter().take_while(|(t_ns, _)| *t_ns <= self.at_ns);
            so_far.filter(|(_, link)| link.name == name).last().map(|(_, link)| link.clone())
        };
        let links = self.told.links.iter().filter_map(|link| newest(&link.name)).collect();
        hub::json_text(&Message::Story(self.state.story(&self.told, self.at_ns + self.utc_offset_ns, links)))
    }

    async fn newest(&self, after_ns: i64, to_ns: i64) -> Result<Vec<loftwatch_engine::Output>, sqlx::Error> {
        stored::newest(&self.readers, self.number, after_ns, to_ns, &self.told).await
    }

    /// Pauses at the end, unless more was stored meanwhile (the flight is still open).
    async fn stop_at_the_end(&mut self) -> Result<(), sqlx::Error> {
        if self.speed > 0.0 && self.at_ns >= self.ends_ns {
            self.ends_ns = stored::end(&self.readers, self.number).await?.max(self.ends_ns);
            if self.at_ns >= self.ends_ns {
                self.speed = 0.0;
            }
        }
        Ok(())
    }
}

/// The first and the last instant of a stored flight that can be gone to, station time ns.
pub(crate) async fn span_ns(readers: &SqlitePool, flight: &Flight) -> Result<(i64, i64), sqlx::Error> {
    let last = stored::end(readers, flight.number).await?;
    Ok((flight.opened_ns, last.max(flight.opened_ns)))
}

/// The first and the last input that a stored flight is made of.
pub(crate) async fn inputs_of(readers: &SqlitePool, number: u32) -> Result<(u64, u64), sqlx::Error> {
    let (first, last): (i64, i64) =
        sqlx::query_as(
            "SELECT first_input, min(last_input, coalesce( \
             (SELECT min(first_input) - 1 FROM flight AS later WHERE later.number > flight.number), last_input)) \
             FROM flight WHERE number = ?",
        )
            .bind(number)
            .fetch_one(readers)
            .await?;
    Ok((first as u64, last as u64))
}

/// Hours and minutes where the station stands.
fn local_time(utc_ns: i64) -> String {
    let zone = TimeZone::system();
    Timestamp::from_nanosecond(i128::from(utc_ns))
        .map(|instant| instant.to_zoned_datetime(zone).strftime("%H:%M").to_string())
        .unwrap_or_default()
}
