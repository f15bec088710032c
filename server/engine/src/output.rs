//! What comes out. Each output carries the newest receive time that it used; nothing later is in it.

use std::collections::BTreeMap;

use loftwatch_flight as flight;
use serde::{Deserialize, Serialize};

/// One output, in order. `flight` is the number of the flight it belongs to (from 1; a station may see many),
/// 0 when none is open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Output {
    /// Number of the input that led to it, or that came last before a deadline did.
    pub input: u64,
    /// Station time at which it came about, ns: the input's, or the deadline's.
    pub t_ns: i64,
    /// Receive time (station time, ns) of the newest packet used.
    pub t_receive_ns: i64,
    /// UTC minus station time when that packet came, ns: `UTC = t_ns + utc_offset_ns`.
    pub utc_offset_ns: i64,
    /// Flight number.
    pub flight: u32,
    /// What.
    pub what: Said,
}

/// The kinds of output. All `*_s` times inside `flight` types are station time in seconds relative to
/// the engine's epoch: `t_ns = epoch_ns + t_s * 1e9` (see [`crate::Engine::epoch_ns`]).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// A frame with its verdict.
    Frame(Frame),
    /// One decoded frame: values on named channels.
    Reading(Reading),
    /// State of a body.
    Estimate {
        /// Body index.
        body: usize,
        /// The estimate.
        estimate: flight::Estimate,
    },
    /// Apogee of a body.
    Prediction {
        /// Body index.
        body: usize,
        /// The prediction.
        prediction: flight::Prediction,
    },
    /// A cue, as predicted or passed.
    Cue(flight::CuePrediction),
    /// Predicted path (at most 5 Hz).
    Path {
        /// Body index.
        body: usize,
        /// Knots from now to the ground.
        knots: Vec<flight::Knot>,
    },
    /// A landing area (at most 5 Hz).
    Landing(flight::Landing),
    /// An event or its correction.
    Event {
        /// The event.
        event: flight::Event,
        /// Label: the trade's word, a cue's name, or what the crew wrote.
        label: String,
        /// Who marked it.
        who: Option<String>,
    },
    /// A heads-up appears, changes or ends.
    HeadsUp(HeadsUp),
    /// Radio statistics (at most 2 Hz).
    Radio(Vec<RadioLine>),
    /// All radios have been silent since (station time ns), or are heard again (`None`).
    Silence {
        /// Since when.
        since_ns: Option<i64>,
    },
    /// A flight opens (on the pad), is renamed, or ends.
    Flight(FlightState),
    /// On the pad: what was heard and measured, beside its limits. All of it, whenever some of it changes (at most 1 Hz).
    Readiness(Vec<Check>),
    /// A crew member accepted what is not within limits, or took that back.
    Accepted(Accepted),
    /// After landing: the smoothed state at one instant.
    Smoothed {
        /// Body index.
        body: usize,
        /// State with intervals, hindsight included.
        estimate: flight::Estimate,
    },
}

/// A frame with its verdict; the raw bytes are found in the inputs at `link`, `offset`, `length`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Frame {
    /// Link name.
    pub link: String,
    /// Offset of its first byte in the link's byte stream since the store began.
    pub offset: u64,
    /// Length, bytes.
    pub length: u32,
    /// Name of the layout that fits, if any.
    pub layout: Option<String>,
    /// Why it is wrong, in words; `None` for a good one.
    pub wrong: Option<String>,
    /// Machine-readable reason key (`checksum`, `too_long`, ...).
    pub wrong_kind: Option<String>,
}

/// One decoded frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Link name.
    pub link: String,
    /// Receiver name.
    pub receiver: String,
    /// Layout name.
    pub layout: String,
    /// Body index.
    pub body: usize,
    /// Whether the same packet was already heard through another receiver.
    pub again: bool,
    /// Sequence number, if any.
    pub sequence: Option<u64>,
    /// Which of the instants in its packet this is, from 0: a packet with a row of values gives a reading for each.
    #[serde(default, skip_serializing_if = "is_first")]
    pub instant: u32,
    /// Instant of measurement, station time ns, from the onboard clock where there is one.
    pub t_measured_ns: i64,
    /// Values: field name, meaning (or `free`), value.
    pub values: Vec<(String, String, Value)>,
    /// Complaints about single values.
    pub complaints: Vec<String>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde calls it with a reference")]
fn is_first(instant: &u32) -> bool {
    *instant == 0
}

/// A value in SI.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Value {
    /// Yes or no.
    Flag(bool),
    /// A number, SI unit of its meaning, or as declared for free ones.
    Number(f64),
    /// Text.
    Text(String),
}

/// Something for eyes and voices.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeadsUp {
    /// Stable key, e.g. `cue_airspeed:Cam A out`.
    pub key: String,
    /// How urgent.
    pub level: Level,
    /// Whether it (still) holds.
    pub on: bool,
    /// Body index.
    pub body: usize,
    /// Cue index, if about one.
    pub cue: Option<usize>,
    /// Mass that depends on it, kg: heavier is ranked first.
    pub mass_kg: f64,
    /// The figure, SI.
    pub figure: f64,
    /// The limit, SI; `None` where there is none.
    pub limit: Option<f64>,
    /// Unit of both: `m/s`, `Pa`, `N`, `m`, `s`, `rad`.
    pub unit: String,
    /// Where the limit comes from.
    pub limit_from: String,
    /// The words to say, metric, one or two short sentences.
    pub words: String,
}

/// One figure of readiness beside its limit. It says what was heard and measured, and never that anything is ready.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// Stable key, e.g. `battery:Cam B`.
    pub key: String,
    /// Body index, if about one.
    pub body: Option<usize>,
    /// What it is about, in words.
    pub what: String,
    /// The figure, in words, metric.
    pub figure: String,
    /// Since when it has been so, station time ns, where that matters.
    pub since_ns: Option<i64>,
    /// The limit, in words.
    pub limit: String,
    /// Where the limit comes from.
    pub limit_from: String,
    /// How urgent; `None` where it is within limits.
    pub level: Option<Level>,
    /// What to do, where it is not.
    pub words: String,
    /// By whom it was accepted as it is, and why.
    pub accepted: Option<Acceptance>,
}

/// Who accepted something as it is, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acceptance {
    /// Who.
    pub who: String,
    /// Why, in their words.
    pub why: String,
}

/// That a crew member accepted what is not within limits, with the words as they stood then.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Accepted {
    /// Key of the check, or of the margin.
    pub key: String,
    /// Whether it holds; else it was taken back.
    pub on: bool,
    /// What it is about, in words.
    pub what: String,
    /// The figure then.
    pub figure: String,
    /// The limit then.
    pub limit: String,
    /// Who accepted it, or took that back.
    pub who: String,
    /// Why, in their words.
    pub why: String,
}

/// Levels of a heads-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Amber.
    Look,
    /// Red.
    Act,
}

/// How one transmitter is heard through one receiver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RadioLine {
    /// Receiver name.
    pub receiver: String,
    /// Body index.
    pub body: usize,
    /// Station time of the newest good frame, ns.
    pub last_heard_ns: Option<i64>,
    /// Loss over 10 s, 0 to 1; `None` when unknown.
    pub loss: Option<f64>,
    /// Signal, dBm, if the layout gives it.
    pub rssi_dbm: Option<f64>,
    /// Signal to noise, dB, if the layout gives it.
    #[serde(default)]
    pub snr_db: Option<f64>,
    /// Heard (1) or lost (0) packets of the last 10 s, oldest first, as a string of `1` and `0`, at most 50 long.
    pub ticks: String,
    /// Frames good, wrong; bytes.
    pub good: u64,
    /// Wrong frames on the receiver's links.
    pub wrong: u64,
    /// The same by reason ([`Frame::wrong_kind`]); beside them `not_taken`, good packets of somebody else.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub wrong_by: BTreeMap<String, u64>,
    /// Bytes of the link.
    pub bytes: u64,
}

/// A flight's state.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlightState {
    /// Number.
    pub number: u32,
    /// Name, empty if not named.
    pub name: String,
    /// When it opened, station time ns.
    pub opened_ns: i64,
    /// First motion, station time ns.
    pub liftoff_ns: Option<i64>,
    /// When it ended.
    pub ended_ns: Option<i64>,
}
