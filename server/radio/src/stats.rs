//! How well a receiver hears a transmitter: last heard, loss, signal, counts.
//!
//! Every packet that was due in the last 10 s is a tick, heard or lost. Sequence numbers say how many were due between
//! two packets; without them the expected rate does. In silence the rate, told or learned from the sequence numbers,
//! says what is overdue. Limits: a transmitter that restarts its count looks like a gap; a gap larger than what the
//! silence explains is taken for a restart and not counted as loss.

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

/// How far back loss is counted, ns. Shorter jumps about, longer hides a fade.
const WINDOW_NS: i64 = 10_000_000_000;
/// Most ticks kept: 10 s at 100 packets/s. A faster transmitter is judged by the newest ones.
const MOST_TICKS: usize = 1000;
/// Packets that may be missing at once: more is a clock that jumped by ages, and only the last seconds are counted anyway.
const FARTHEST: i64 = 1 << 40;
/// Most ticks in [`LinkStats::ticks`].
pub const TICKS_SHOWN: usize = 50;
/// How many times more packets than the silence explains make a gap a restart instead. A transmitter may send faster
/// than it says, so that 1 is too few; more would count a restart as a fade.
const GAP_FACTOR: f64 = 3.0;
/// Packets that a gap may have beyond that, for packets held up and then sent in a burst. Common practice, no source.
const GAP_LEAST: f64 = 10.0;
/// How old a packet may be that is heard again without a restart of the count, ns. Echoes and repeaters take less; a
/// board that restarts takes longer.
const ECHO_NS: i64 = 1_000_000_000;

/// One packet that was due.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Tick {
    t_ns: i64,
    count: i64,
    heard: bool,
}

/// A packet as heard by one receiver.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Heard {
    /// Receive time, ns.
    pub t_ns: i64,
    /// Bytes of its frame as received.
    pub bytes: usize,
    /// Sequence number and the count after which it begins again, if it has one.
    pub sequence: Option<(u64, u64)>,
    /// Signal strength, dBm, if told.
    pub rssi_dbm: Option<f64>,
    /// Signal to noise, dB, if told.
    pub snr_db: Option<f64>,
}

/// Statistics of one receiver and one transmitter (or body).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LinkStats {
    /// Receive time of the newest packet, ns.
    pub heard_ns: Option<i64>,
    /// Packets heard.
    pub good: u64,
    /// Of these, heard by another receiver before.
    pub copies: u64,
    /// Bytes of good and wrong frames.
    pub bytes: u64,
    /// Wrong frames by reason ([`crate::Wrong::reason`]).
    pub wrong: BTreeMap<String, u64>,
    /// Newest signal strength, dBm.
    pub rssi_dbm: Option<f64>,
    /// Newest signal to noise, dB.
    pub snr_db: Option<f64>,
    /// Expected rate, Hz, if told.
    told_rate_hz: Option<f64>,
    ticks: VecDeque<Tick>,
    /// Newest sequence number and its place in the unwrapped count.
    newest: Option<(u64, i64)>,
}

impl LinkStats {
    /// Nothing heard yet; the rate is what the layout tells.
    pub fn new(told_rate_hz: Option<f64>) -> Self {
        Self { told_rate_hz: told_rate_hz.filter(|rate| rate.is_finite() && *rate > 0.0), ..Self::default() }
    }

    /// A packet came.
    pub fn hear(&mut self, heard: &Heard) {
        self.good += 1;
        self.bytes += heard.bytes as u64;
        self.rssi_dbm = heard.rssi_dbm.or(self.rssi_dbm);
        self.snr_db = heard.snr_db.or(self.snr_db);
        match heard.sequence {
            Some((number, modulus)) if modulus > 1 => {
                self.hear_numbered(heard.t_ns, number % modulus, modulus);
            }
            _ => self.hear_plain(heard.t_ns),
        }
        self.heard_ns = Some(self.heard_ns.map_or(heard.t_ns, |last| last.max(heard.t_ns)));
        self.forget(heard.t_ns);
    }

    /// The packet just heard had been heard by another receiver.
    pub fn credit_copy(&mut self) {
        self.copies += 1;
    }

    /// A wrong frame came.
    pub fn hear_wrong(&mut self, reason: &str, bytes: usize) {
        self.bytes += bytes as u64;
        match self.wrong.get_mut(reason) {
            Some(count) => *count += 1,
            None => {
                self.wrong.insert(reason.to_owned(), 1);
            }
        }
    }

    /// All wrong frames.
    pub fn wrong_total(&self) -> u64 {
        self.wrong.values().sum()
    }

    /// Share of the packets due in the last 10 s that were not heard, 0 to 1; none if nothing was due or it is not
    /// known what was.
    pub fn loss(&self, now_ns: i64) -> Option<f64> {
        if self.told_rate_hz.is_none() && self.newest.is_none() {
            return None;
        }
        let since = now_ns.saturating_sub(WINDOW_NS);
        let recent = self.ticks.iter().filter(|tick| tick.t_ns > since);
        let (mut due, mut lost) =
            recent.fold((0_u64, 0_u64), |(due, lost), tick| (due + 1, lost + u64::from(!tick.heard)));
        let overdue = self.overdue(now_ns).min(MOST_TICKS) as u64;
        due += overdue;
        lost += overdue;
        (due > 0).then(|| lost as f64 / due as f64)
    }

    /// The newest packets that were due in the last 10 s, oldest first: `1` heard, `0` lost.
    pub fn ticks(&self, now_ns: i64) -> String {
        let since = now_ns.saturating_sub(WINDOW_NS);
        let overdue = self.overdue(now_ns).min(TICKS_SHOWN);
        let shown = TICKS_SHOWN - overdue;
        let mut recent: Vec<bool> = self
            .ticks
            .iter()
            .rev()
            .take_while(|tick| tick.t_ns > since)
            .take(shown)
            .map(|tick| tick.heard)
            .collect();
        recent.reverse();
        recent
            .into_iter()
            .map(|heard| if heard { '1' } else { '0' })
            .chain(std::iter::repeat_n('0', overdue))
            .collect()
    }

    /// Packets per second: as told, or learned from what is known of the last 10 s.
    pub fn rate_hz(&self) -> Option<f64> {
        self.learned_rate_hz().or(self.told_rate_hz)
    }

    fn learned_rate_hz(&self) -> Option<f64> {
        self.newest?;
        let mut heard = self.ticks.iter().filter(|tick| tick.heard);
        let (first, last) = (heard.next()?, heard.next_back()?);
        let (count, span_ns) = (last.count.saturating_sub(first.count), last.t_ns.saturating_sub(first.t_ns));
        // Packets that come in a burst say little about the rate: a tenth of a second of them is the least.
        (count >= 3 && span_ns > 100_000_000).then(|| count as f64 * 1e9 / span_ns as f64)
    }

    /// Packets of the last 10 s that should have come since the newest one. Half a period of grace: a packet is not
    /// late before the next is nearly due.
    fn overdue(&self, now_ns: i64) -> usize {
        let (Some(heard_ns), Some(rate_hz)) = (self.heard_ns, self.rate_hz()) else { return 0 };
        let silence_s = now_ns.saturating_sub(heard_ns) as f64 * 1e-9;
        let all = libm::floor(silence_s * rate_hz - 0.5).max(0.0);
        let in_window = libm::floor(WINDOW_NS as f64 * 1e-9 * rate_hz);
        all.min(in_window) as usize
    }

    fn hear_numbered(&mut self, t_ns: i64, number: u64, modulus: u64) {
        let Some((last, place)) = self.newest else {
            let place = self.ticks.back().map_or(0, |tick| tick.count.saturating_add(1));
            self.newest = Some((number, place));
            self.ticks.push_back(Tick { t_ns, count: place, heard: true });
            return;
        };
        let silence_s =
            self.heard_ns.map_or(0.0, |last_ns| t_ns.saturating_sub(last_ns).max(0) as f64 * 1e-9);
        let due = self.rate_hz().map(|rate| silence_s * rate);
        let mut ahead = ((number + modulus - last) % modulus) as i64;
        let round = modulus.min(1 << 40) as i64;
        if let Some(due) = due.filter(|due| *due > round as f64 / 4.0) {
            // Long enough for the count to have gone round: as often as the silence says.
            let rounds = libm::round((due - ahead as f64) / round as f64).max(0.0) as i64;
            ahead = ahead.saturating_add(round.saturating_mul(rounds)).min(FARTHEST);
        } else if ahead > round / 2 {
            self.hear_late(t_ns, number, place, round - ahead);
            return;
        }
        if ahead == 0 {
            return;
        }
        if due.is_some_and(|due| ahead as f64 > due * GAP_FACTOR + GAP_LEAST) {
            self.begin_anew(t_ns, number, place);
        } else {
            self.advance(t_ns, ahead, place);
            self.newest = Some((number, place.saturating_add(ahead)));
        }
    }

    /// A number that has been passed: a late packet, or an echo, or the count has begun anew.
    fn hear_late(&mut self, t_ns: i64, number: u64, place: i64, behind: i64) {
        match self.ticks.iter_mut().rev().find(|tick| tick.count == place.saturating_sub(behind)) {
            Some(tick) if !tick.heard || t_ns.saturating_sub(tick.t_ns) < ECHO_NS => tick.heard = true,
            _ => self.begin_anew(t_ns, number, place),
        }
    }

    fn begin_anew(&mut self, t_ns: i64, number: u64, place: i64) {
        self.newest = Some((number, place.saturating_add(1)));
        self.ticks.push_back(Tick { t_ns, count: place.saturating_add(1), heard: true });
    }

    fn hear_plain(&mut self, t_ns: i64) {
        let place = self.ticks.back().map_or(0, |tick| tick.count);
        let silence_s =
            self.heard_ns.map_or(0.0, |last_ns| t_ns.saturating_sub(last_ns).max(0) as f64 * 1e-9);
        let due = self.told_rate_hz.map_or(1.0, |rate| libm::round(silence_s * rate).clamp(1.0, 1e6));
        self.advance(t_ns, due as i64, place);
    }

    /// Adds the ticks up to and with a packet heard now, the lost ones evenly between.
    fn advance(&mut self, t_ns: i64, ahead: i64, place: i64) {
        let from_ns = self.heard_ns.unwrap_or(t_ns);
        let first = (ahead - MOST_TICKS as i64).max(0) + 1;
        for step in first..ahead {
            let share = step as f64 / ahead as f64;
            let at_ns =
                from_ns.saturating_add(libm::round(t_ns.saturating_sub(from_ns) as f64 * share) as i64);
            self.ticks.push_back(Tick { t_ns: at_ns, count: place.saturating_add(step), heard: false });
        }
        self.ticks.push_back(Tick { t_ns, count: place.saturating_add(ahead), heard: true });
    }

    fn forget(&mut self, now_ns: i64) {
        let since = now_ns.saturating_sub(WINDOW_NS);
        while self.ticks.len() > MOST_TICKS || self.ticks.front().is_some_and(|tick| tick.t_ns <= since) {
            self.ticks.pop_front();
        }
    }
}

#[cfg(test)]
#[path = "stats/tests.rs"]
mod tests;
