//! Readiness: what the radio says of a vehicle on the pad, each figure beside its limit.
//!
//! A [`Board`] gathers what one transmitter says; `rows` turns boards and receivers into checks; here it is decided when
//! they are said and what the crew has accepted. It says what was heard and measured. It never says that anything is
//! ready, safe or free to go, and it knows nothing of the launch igniter.

mod board;
mod rows;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::output::{Acceptance, Accepted, Check, Level};
use crate::{Said, Setup};
use board::Board;
pub(crate) use board::Heard;

/// Figures that move all the time are said again after so long, ns; a check that turns is said at once.
const AGAIN_NS: i64 = 5_000_000_000;
/// The most acceptances of one flight: more than there are checks.
const MOST_ACCEPTED: usize = 500;

/// All that is known of readiness.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Readiness {
    boards: BTreeMap<usize, Board>,
    /// Newest good frame by receiver, station time ns.
    receivers: BTreeMap<String, i64>,
    /// By key, with the level that was accepted.
    accepted: BTreeMap<String, (Option<Level>, Acceptance)>,
    said: Vec<Check>,
    said_ns: Option<i64>,
}

impl Readiness {
    /// Takes what a packet says of its board.
    pub(crate) fn hear(&mut self, heard: &Heard<'_>) {
        self.hear_again(heard.receiver, heard.t_ns);
        self.boards.entry(heard.body).or_default().hear(heard);
    }

    /// A packet that another receiver heard before says of its own receiver that it hears.
    pub(crate) fn hear_again(&mut self, receiver: &str, t_ns: i64) {
        let newest = self.receivers.entry(receiver.to_owned()).or_insert(t_ns);
        *newest = (*newest).max(t_ns);
    }

    /// Another flight: what was accepted for the last one does not hold for it.
    pub(crate) fn begin_anew(&mut self) {
        self.accepted.clear();
        self.said.clear();
        self.said_ns = None;
    }

    /// Another setup: bodies and channels may have other numbers and names.
    pub(crate) fn forget(&mut self) {
        self.boards.clear();
        self.said_ns = None;
    }

    /// Takes a crew member's acceptance of a check, or of a margin, of which the engine knows the words alone.
    pub(crate) fn accept(&mut self, told: &Accepted) {
        if !told.on {
            self.accepted.remove(&told.key);
            return;
        }
        if self.accepted.len() >= MOST_ACCEPTED && !self.accepted.contains_key(&told.key) {
            return;
        }
        let level = self.said.iter().find(|check| check.key == told.key).and_then(|check| check.level);
        let acceptance = Acceptance { who: told.who.clone(), why: told.why.clone() };
        self.accepted.insert(told.key.clone(), (level, acceptance));
    }

    /// What is to be said now, if anything: checks that turned at once, figures that only moved after a while.
    pub(crate) fn judge(&mut self, setup: &Setup, t_ns: i64) -> Option<Said> {
        let mut checks = rows::all(setup, &self.boards, &self.receivers, t_ns);
        for check in &mut checks {
            // An acceptance covers what was seen when it was given, and nothing worse.
            let held = self.accepted.get(&check.key).filter(|(level, _)| check.level <= *level);
            check.accepted = held.filter(|_| check.level.is_some()).map(|(_, acceptance)| acceptance.clone());
        }
        let state = |all: &[Check]| {
            all.iter().map(|c| (c.key.clone(), c.level, c.accepted.clone())).collect::<Vec<_>>()
        };
        let turned = state(&checks) != state(&self.said);
        let rested = self.said_ns.is_none_or(|said_ns| t_ns.saturating_sub(said_ns) >= AGAIN_NS);
        if !turned && (!rested || checks == self.said) {
            return None;
        }
        self.said.clone_from(&checks);
        self.said_ns = Some(t_ns);
        Some(Said::Readiness(checks))
    }
}
