//! Who is heard: transmitters' clocks and restarts, copies through several receivers, statistics, silence.
//!
//! A transmitter is known by the body it rides in. Silence of one is two expected intervals and a second after its newest
//! good packet; all are silent when the last of them is.

use std::collections::BTreeMap;

use loftwatch_radio::clock::OnboardClock;
use loftwatch_radio::merge::{self, Merger, Verdict};
use loftwatch_radio::stats::{Heard as HeardNow, LinkStats};
use loftwatch_radio::{Decoded, Layout, Meaning};
use serde::{Deserialize, Serialize};

use crate::Setup;
use crate::beat::Beat;
use crate::links::LinkStream;
use crate::output::RadioLine;
use crate::packet::Packet;

/// Interval taken where neither told nor learned, s, and the longest taken: a slower transmitter would delay the alarm
/// for all of them.
const UNKNOWN_INTERVAL_S: f64 = 1.0;
const LONGEST_INTERVAL_S: f64 = 5.0;
/// Count after which a number of unknown width is taken to begin again: far beyond any flight.
const WIDEST: f64 = 281_474_976_710_656.0;

/// All that was heard.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Heard {
    transmitters: BTreeMap<usize, Transmitter>,
    /// By receiver's name and body.
    pairs: BTreeMap<(String, usize), LinkStats>,
    merger: Merger,
}

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct Transmitter {
    clock: Option<OnboardClock>,
    /// By layout, where there is no clock.
    beats: BTreeMap<String, Beat>,
    /// Newest restart count aboard, and how often it changed.
    restarts: Option<(i64, u32)>,
    newest_ns: i64,
    interval_s: f64,
}

/// A packet in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    /// Already heard through another receiver.
    pub(crate) again: bool,
    pub(crate) t_measured_ns: i64,
    pub(crate) t_sd_s: f64,
    pub(crate) boot: u32,
}

/// A packet as it came.
pub(crate) struct Arrived<'a> {
    pub(crate) receiver: &'a str,
    pub(crate) receiver_index: u16,
    pub(crate) body: usize,
    pub(crate) layout: &'a Layout,
    pub(crate) decoded: &'a Decoded,
    pub(crate) packet: &'a Packet,
    pub(crate) t_ns: i64,
    /// What its link takes at least, see [`crate::setup::Link`].
    pub(crate) delay_s: f64,
    pub(crate) bytes: usize,
    /// How long after the packet's own time the newest of its samples was taken, s; 0 where there is but one instant.
    pub(crate) newest_s: f64,
}

impl Heard {
    /// Takes a good packet.
    pub(crate) fn hear(&mut self, arrived: &Arrived<'_>) -> Placed {
        let Arrived { body, layout, packet, t_ns, .. } = *arrived;
        let verdict = self.merger.offer(&merge::Packet {
            receiver: arrived.receiver_index,
            transmitter: body as u64,
            sequence: packet.sequence,
            content: merge::content(layout, arrived.decoded),
            t_ns,
        });
        let again = matches!(verdict, Verdict::Copy { .. });
        let pair = self
            .pairs
            .entry((arrived.receiver.to_owned(), body))
            .or_insert_with(|| LinkStats::new(layout.rate_hz));
        let modulus =
            layout.modulus(Meaning::Sequence).filter(|m| (2.0..=WIDEST).contains(m)).unwrap_or(WIDEST);
        pair.hear(&HeardNow {
            t_ns,
            bytes: arrived.bytes,
            sequence: packet.sequence.map(|s| (s, modulus as u64)),
            rssi_dbm: packet.rssi_dbm,
            snr_db: packet.snr_db,
        });
        if again {
            pair.credit_copy();
        }
        let rate_hz = layout.rate_hz.or_else(|| pair.rate_hz());
        let transmitter = self.transmitters.entry(body).or_default();
        transmitter.newest_ns = transmitter.newest_ns.max(t_ns);
        transmitter.interval_s = rate_hz
            .filter(|r| *r > 0.0)
            .map_or(UNKNOWN_INTERVAL_S, |rate| 1.0 / rate)
            .min(LONGEST_INTERVAL_S);
        let delay_ns = libm::round(arrived.delay_s * 1e9) as i64;
        transmitter.place(layout, packet, t_ns.saturating_sub(delay_ns), arrived.newest_s, again)
    }

    /// When all radios count as silent if nothing more is heard, station time ns.
    pub(crate) fn silent_from_ns(&self) -> Option<i64> {
        self.transmitters.values().map(|t| t.newest_ns.saturating_add(t.stale_after_ns())).max()
    }

    /// Whether a packet heard at `heard_ns` would end a silence, now being `t_ns`.
    pub(crate) fn is_news(&self, heard_ns: i64, t_ns: i64) -> bool {
        let slowest = self.transmitters.values().map(Transmitter::stale_after_ns).max();
        slowest.is_none_or(|stale_after_ns| heard_ns.saturating_add(stale_after_ns) > t_ns)
    }

    /// Newest good packet and how long after it silence is declared, both ns.
    pub(crate) fn newest(&self) -> Option<(i64, i64)> {
        let newest_ns = self.transmitters.values().map(|t| t.newest_ns).max()?;
        Some((newest_ns, self.silent_from_ns()?.saturating_sub(newest_ns)))
    }

    /// Statistics as they are shown: every receiver with every transmitter that it could hear.
    pub(crate) fn lines(
        &self,
        links: &BTreeMap<String, LinkStream>,
        setup: &Setup,
        now_ns: i64,
    ) -> Vec<RadioLine> {
        let told = |b: &usize| setup.transmitters.get(*b).is_some_and(Option::is_some);
        let bodies = (0..setup.plan.bodies.len()).filter(|b| told(b) || self.transmitters.contains_key(b));
        let bodies: Vec<usize> = bodies.collect();
        let mut lines = Vec::new();
        for receiver in &setup.receivers {
            let streams = || {
                let of_receiver = setup.links.iter().filter(|l| &l.receiver == receiver);
                of_receiver.filter_map(|l| links.get(&l.name))
            };
            let bytes = streams().map(LinkStream::bytes).sum();
            let wrong = streams().map(LinkStream::wrong_frames).sum();
            let mut wrong_by: BTreeMap<String, u64> = BTreeMap::new();
            for (reason, count) in streams().flat_map(|stream| &stream.wrong) {
                *wrong_by.entry(reason.clone()).or_default() += count;
            }
            for &body in &bodies {
                let stats = self.pairs.get(&(receiver.clone(), body));
                lines.push(RadioLine {
                    receiver: receiver.clone(),
                    body,
                    last_heard_ns: stats.and_then(|s| s.heard_ns),
                    loss: stats.and_then(|s| s.loss(now_ns)),
                    rssi_dbm: stats.and_then(|s| s.rssi_dbm),
                    snr_db: stats.and_then(|s| s.snr_db),
                    ticks: stats.map(|s| s.ticks(now_ns)).unwrap_or_default(),
                    good: stats.map_or(0, |s| s.good),
                    wrong,
                    wrong_by: wrong_by.clone(),
                    bytes,
                });
            }
        }
        lines
    }

    /// Layouts may have changed: rates and widths are learned anew, and so is what a clock's field holds.
    pub(crate) fn forget_layouts(&mut self) {
        self.pairs.clear();
        self.transmitters.values_mut().for_each(|t| t.beats.clear());
    }
}

impl Transmitter {
    fn stale_after_ns(&self) -> i64 {
        libm::round((2.0 * self.interval_s + 1.0) * 1e9) as i64
    }

    /// Places a packet in time, received so much later than it was sent at the soonest. It was sent after its newest sample: that one's time
    /// is what receipt is compared with.
    fn place(&mut self, layout: &Layout, packet: &Packet, t_ns: i64, newest_s: f64, again: bool) -> Placed {
        if let Some(count) = packet.restart_count.filter(|_| !again) {
            self.restarts = match self.restarts {
                None => Some((count, 0)),
                Some((last, changes)) => Some((count, changes + u32::from(count > last || count < last - 1))),
            };
        }
        let timed = packet.onboard_s.map(|onboard_s| {
            let modulus = layout.modulus(Meaning::OnboardTime);
            let newest = onboard_s + newest_s;
            let newest =
                modulus.filter(|modulus| newest >= *modulus).map_or(newest, |modulus| newest - modulus);
            self.clock.get_or_insert_with(|| OnboardClock::new(modulus)).hear(newest, t_ns)
        });
        let t_sd_s = timed.map_or_else(|| self.beat(layout, t_ns, again), |t| t.sd_s);
        let newest_ns = libm::round(newest_s * 1e9) as i64;
        Placed {
            again,
            t_measured_ns: timed.map_or(t_ns, |t| t.t_measured_ns).saturating_sub(newest_ns),
            t_sd_s,
            boot: match (self.restarts, timed) {
                (Some((_, changes)), _) => changes,
                (None, Some(timed)) => timed.boot,
                (None, None) => 0,
            },
        }
    }

    /// Spread of the instant of measurement of a packet that tells no time, s.
    fn beat(&mut self, layout: &Layout, t_ns: i64, again: bool) -> f64 {
        let beat = self.beats.entry(layout.name.clone()).or_default();
        if !again {
            beat.hear(t_ns);
        }
        beat.sd_s()
    }
}
