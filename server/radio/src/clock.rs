//! From the clock aboard to the station's clock.
//!
//! Two steps. `Unwrap` makes the onboard time run on through wraps, and tells late packets from restarts.
//! The envelope then maps it: receive time minus onboard time is the clocks' difference plus a delay that is never
//! negative, so that its lower envelope over a sliding window is the difference plus the least delay, and the slope of
//! that envelope is the drift (Paxson, "On calibrating measurements of packet transit times", 1998; Moon, Skelly &
//! Towsley, "Estimation and removal of clock skew from network delay measurements", 1999: the line under all points
//! with the least distance to them, an edge of their lower convex hull). Late, repeated and bursting packets lie above
//! it and change nothing.
//! Limits: the least delay itself (airtime, serial port) cannot be seen and stays in; who knows what is usual may take it off.

mod envelope;
mod unwrap;

use serde::{Deserialize, Serialize};

use self::envelope::Envelope;
pub use self::unwrap::Arrival;
use self::unwrap::Unwrap;

/// Part of the spread that no number of packets takes away, s: the least delay of radio and serial port, 2 to 20 ms at
/// the usual rates. Common practice, no source. Larger would blur events, smaller would claim what is not known.
const LEAST_SD_S: f64 = 0.005;
/// Spread of the first packet's delay, s; it falls with the number of packets, since the least of n delays does.
const FIRST_SD_S: f64 = 0.1;
/// How fast the mapping may move against the onboard clock while it settles, s/s. Larger would squeeze the spacing of
/// measurements, smaller would follow late.
const SLEW: f64 = 0.1;
/// A difference that is not slewed but taken at once, s: the first packets came in a burst.
const STEP_S: f64 = 0.05;

/// When a packet's measurements were made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    /// Station time of the measurement, ns; never after the packet's receipt.
    pub t_measured_ns: i64,
    /// Its spread, one sigma, s.
    pub sd_s: f64,
    /// Onboard time that runs on through wraps, s. It orders and spaces the packets of one boot.
    pub onboard_s: f64,
    /// Counts the restarts seen, from 0.
    pub boot: u32,
    /// How the packet came.
    pub arrival: Arrival,
}

/// The clock of one transmitter, seen from the station.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OnboardClock {
    unwrap: Unwrap,
    envelope: Envelope,
    /// Station time from which receive times count, ns.
    base_ns: i64,
    boot: u32,
    /// The mapping last used: onboard time and difference, s.
    used: Option<(f64, f64)>,
}

impl OnboardClock {
    /// A clock that begins again after `modulus_s` seconds (2^32 ms is 4294967.296), or never. See
    /// [`crate::Layout::modulus`].
    pub fn new(modulus_s: Option<f64>) -> Self {
        Self {
            unwrap: Unwrap::new(modulus_s),
            envelope: Envelope::default(),
            base_ns: 0,
            boot: 0,
            used: None,
        }
    }

    /// A packet came that carries this onboard time.
    pub fn hear(&mut self, onboard_s: f64, t_receive_ns: i64) -> Timed {
        if self.unwrap.is_new() {
            self.base_ns = t_receive_ns;
        }
        let receive_s = t_receive_ns.saturating_sub(self.base_ns) as f64 * 1e-9;
        let heard = self.unwrap.hear(onboard_s, receive_s, self.difference_at_newest());
        if matches!(heard.arrival, Arrival::Restarted | Arrival::Jumped) {
            self.envelope = Envelope::default();
            self.used = None;
            self.boot += u32::from(heard.arrival == Arrival::Restarted);
        }
        self.envelope.add(heard.onboard_s, receive_s - heard.onboard_s);
        let difference_s = self.settle(heard.onboard_s, heard.arrival);
        let measured_s = (heard.onboard_s + difference_s).min(receive_s);
        Timed {
            t_measured_ns: self.base_ns + libm::round(measured_s * 1e9) as i64,
            sd_s: self.spread_s(),
            onboard_s: heard.onboard_s,
            boot: self.boot,
            arrival: heard.arrival,
        }
    }

    /// Drift of the onboard clock, s/s; positive if it runs slow. None before the window is long enough to tell.
    pub fn drift(&self) -> Option<f64> {
        self.envelope.line().and_then(|line| line.drift)
    }

    fn difference_at_newest(&self) -> Option<f64> {
        self.used.map(|(_, difference)| difference)
    }

    /// The difference to use: the envelope's, approached without disturbing the spacing of packets.
    fn settle(&mut self, onboard_s: f64, arrival: Arrival) -> f64 {
        let Some(line) = self.envelope.line() else { return 0.0 };
        let wanted = line.at(onboard_s);
        let Some((last_s, used)) = self.used else {
            self.used = Some((onboard_s, wanted));
            return wanted;
        };
        if arrival == Arrival::Late {
            return used;
        }
        let room = SLEW * (onboard_s - last_s).max(0.0);
        let off = wanted - used;
        let next = if libm::fabs(off) > STEP_S { wanted } else { used + off.clamp(-room, room) };
        self.used = Some((onboard_s.max(last_s), next));
        next
    }

    fn spread_s(&self) -> f64 {
        let Some(line) = self.envelope.line() else { return FIRST_SD_S };
        let settled = FIRST_SD_S / f64::from(self.envelope.points().max(1));
        libm::sqrt(LEAST_SD_S * LEAST_SD_S + line.rms_s * line.rms_s + settled * settled)
    }
}

#[cfg(test)]
mod tests;
