//! Onboard time that runs on: wraps undone, restarts found, late packets recognised.
//!
//! The number of wraps is the one that brings a packet nearest to where it should be by the receive time. What is then
//! behind is late or comes from a board that has restarted. A restarted board counts from zero: its onboard time is
//! at most the silence before it, give or take its start. Common practice, no source.

use serde::{Deserialize, Serialize};

/// How a packet came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Arrival {
    /// The newest so far.
    Fresh,
    /// After a newer one, or a repetition.
    Late,
    /// The first of a board that has restarted.
    Restarted,
    /// The onboard clock was set.
    Jumped,
}

/// A packet on the running clock.
pub(super) struct Running {
    pub(super) onboard_s: f64,
    pub(super) arrival: Arrival,
}

/// How far from where it should be a packet may stand without a doubt, s. It is also how late packets may be that are
/// still used. Larger hides quick restarts, smaller takes a burst for one.
const TOLERANCE_S: f64 = 5.0;
/// A clock that is behind by more than this was set or restarted, however old the board, s: nothing holds packets
/// back for so long on the way.
const LATEST_S: f64 = 120.0;
/// Onboard time at which a restarted board is heard first, beyond the silence that its start takes, s. Boards with a
/// slow radio or a GNSS receiver to wait for take several seconds; more would take late packets soon after power-on
/// for a restart.
const START_S: f64 = 30.0;
/// Packets in a row, all behind by the same, that make a restart of a doubt.
const PROOF: u8 = 3;
/// How equal "the same" is, s.
const EQUAL_S: f64 = 0.25;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Unwrap {
    modulus_s: Option<f64>,
    newest: Option<Newest>,
    doubt: Option<Doubt>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[expect(clippy::struct_field_names, reason = "the unit belongs to the name")]
struct Newest {
    /// As sent.
    raw_s: f64,
    /// Running on.
    onboard_s: f64,
    receive_s: f64,
}

/// Packets that are behind, perhaps of a board that has restarted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Doubt {
    /// Receive time minus onboard time as sent.
    difference_s: f64,
    raw_s: f64,
    packets: u8,
}

impl Unwrap {
    pub(super) fn new(modulus_s: Option<f64>) -> Self {
        let modulus_s = modulus_s.filter(|modulus| modulus.is_finite() && *modulus > 4.0 * TOLERANCE_S);
        Self { modulus_s, newest: None, doubt: None }
    }

    pub(super) fn is_new(&self) -> bool {
        self.newest.is_none()
    }

    /// Places a packet. `difference_s` is receive minus running onboard time by the envelope, once there is one.
    pub(super) fn hear(&mut self, raw_s: f64, receive_s: f64, difference_s: Option<f64>) -> Running {
        let Some(newest) = self.newest else {
            return self.begin(raw_s, receive_s, Arrival::Fresh);
        };
        let silence_s = (receive_s - newest.receive_s).max(0.0);
        let due_s = difference_s.map_or(newest.onboard_s + silence_s, |difference| receive_s - difference);
        let whole = newest.onboard_s - newest.raw_s + raw_s;
        let onboard_s = match self.modulus_s {
            Some(modulus) => whole + modulus * libm::round((due_s - whole) / modulus),
            None => whole,
        };
        let ahead_s = onboard_s - due_s;
        // A crystal is good to 100 ppm, a resonator to 0.5 %: after a long silence the tolerance is wider.
        let tolerance_s = TOLERANCE_S + 0.005 * silence_s;
        if onboard_s > newest.onboard_s && libm::fabs(ahead_s) <= tolerance_s {
            self.doubt = None;
            self.newest = Some(Newest { raw_s, onboard_s, receive_s });
            return Running { onboard_s, arrival: Arrival::Fresh };
        }
        let may_have_restarted = raw_s >= 0.0 && raw_s <= silence_s + START_S;
        if ahead_s >= -tolerance_s && ahead_s <= tolerance_s {
            // A little behind: late, unless a restarted board goes on being behind by the same.
            return if may_have_restarted && raw_s < newest.raw_s && self.is_proven(raw_s, receive_s) {
                self.begin(raw_s, receive_s, Arrival::Restarted)
            } else {
                Running { onboard_s, arrival: Arrival::Late }
            };
        }
        if may_have_restarted {
            return self.begin(raw_s, receive_s, Arrival::Restarted);
        }
        if ahead_s < 0.0 && ahead_s > -LATEST_S {
            return Running { onboard_s, arrival: Arrival::Late };
        }
        self.begin(raw_s, receive_s, if ahead_s < 0.0 { Arrival::Restarted } else { Arrival::Jumped })
    }

    fn begin(&mut self, raw_s: f64, receive_s: f64, arrival: Arrival) -> Running {
        self.doubt = None;
        self.newest = Some(Newest { raw_s, onboard_s: raw_s, receive_s });
        Running { onboard_s: raw_s, arrival }
    }

    /// Whether enough packets in a row have been behind by the same, each newer than the one before.
    fn is_proven(&mut self, raw_s: f64, receive_s: f64) -> bool {
        let difference_s = receive_s - raw_s;
        let packets = match self.doubt {
            Some(doubt) if libm::fabs(doubt.difference_s - difference_s) < EQUAL_S => {
                if raw_s <= doubt.raw_s {
                    return false;
                }
                doubt.packets + 1
            }
            _ => 1,
        };
        self.doubt = Some(Doubt { difference_s, raw_s, packets });
        packets >= PROOF
    }
}
