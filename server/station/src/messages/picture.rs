//! The messages `picture` (what is predicted, with bands and areas) and `story` (what has happened, and the radio).

use loftwatch_flight as flight;
use serde::Serialize;
use ts_rs::TS;

use super::Q;
use super::ground::GroundNow;
use super::now::{CueNow, HeadsUpNow, LevelName, names};

/// What is predicted.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Picture {
    /// Station time.
    pub(crate) t_s: f64,
    /// Number of the flight, 0 when there is none.
    pub(crate) flight: u32,
    /// Predicted paths, one a body that has one.
    pub(crate) paths: Vec<PathNow>,
    /// Landing areas by body and case.
    pub(crate) landings: Vec<LandingArea>,
    /// All cues, in the order of the setup.
    pub(crate) cues: Vec<CueNow>,
    /// All heads-ups that hold, most urgent first.
    pub(crate) headsups: Vec<HeadsUpNow>,
}

/// The predicted path of one body.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct PathNow {
    /// Index of the body.
    pub(crate) body: u32,
    /// From now to the ground.
    pub(crate) knots: Vec<KnotNow>,
}

/// One knot of a predicted path.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct KnotNow {
    /// Station time.
    pub(crate) t_s: f64,
    /// Height above the pad, m.
    pub(crate) height_m: Q,
    /// Vertical speed, m/s.
    pub(crate) climb_mps: Q,
    /// Airspeed, m/s.
    pub(crate) airspeed_mps: Q,
    /// East and north of the pad, median, m.
    pub(crate) east_north_m: [f64; 2],
    /// Height if nothing deploys, median, m.
    pub(crate) bare_height_m: f64,
}

/// Where and when a body comes down in one case.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LandingArea {
    /// Index of the body.
    pub(crate) body: u32,
    /// What is assumed.
    pub(crate) case: CaseName,
    /// Station time.
    pub(crate) t_s: Q,
    /// Speed downwards at landing, m/s.
    pub(crate) descent_mps: Q,
    /// The area.
    pub(crate) area: AreaNow,
}

/// An area on the ground, m east and north of the pad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
#[ts(rename = "Area")]
pub(crate) enum AreaNow {
    /// An ellipse: 50 % lie within 1.177 and 90 % within 2.146 standard deviations of the middle.
    Ellipse {
        /// Middle.
        centre_m: [f64; 2],
        /// Covariance: east-east, east-north, north-north, m2.
        covariance_m2: [f64; 3],
    },
    /// A ring: the heading is not known.
    Ring {
        /// Middle.
        centre_m: [f64; 2],
        /// Distance from the middle, m: bounds of the rings of least area; an inner bound of 0 is a disc.
        radius_m: Q,
    },
}

/// What has happened, how the radio is heard, which links are up.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Story {
    /// Number of the flight, 0 when there is none.
    pub(crate) flight: u32,
    /// Events by time; withdrawn ones are left out.
    pub(crate) events: Vec<EventNow>,
    /// How each transmitter is heard through each receiver.
    pub(crate) radio: Vec<RadioNow>,
    /// The links.
    pub(crate) links: Vec<LinkNow>,
    /// Links that are passed on to another station.
    pub(crate) passing: Vec<PassingNow>,
    /// Where the pieces lie.
    pub(crate) ground: GroundNow,
    /// On the pad, and as it was last said there: what was heard and measured, beside its limits.
    pub(crate) readiness: Vec<CheckNow>,
    /// What the crew accepted for this flight.
    pub(crate) accepted: Vec<AcceptedNow>,
}

/// One figure beside its limit. It says what was heard and measured, and never that anything is ready.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CheckNow {
    /// Stable key.
    pub(crate) key: String,
    /// Index of the body, if about one.
    pub(crate) body: Option<u32>,
    /// What it is about.
    pub(crate) what: String,
    /// The figure, in words, metric.
    pub(crate) figure: String,
    /// Since when it has been so, station time, where that matters.
    pub(crate) since_t_s: Option<f64>,
    /// The limit, in words.
    pub(crate) limit: String,
    /// Where the limit comes from.
    pub(crate) limit_from: String,
    /// How urgent; `null` where it is within limits.
    pub(crate) level: Option<LevelName>,
    /// What to do, where it is not.
    pub(crate) words: String,
    /// Who accepted it as it is; `null` where nobody did, or it has got worse since.
    pub(crate) accepted_by: Option<String>,
    /// Why.
    pub(crate) accepted_why: Option<String>,
}

/// What a crew member accepted for this flight, with the words as they stood then.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct AcceptedNow {
    /// Key of the check, or of the margin.
    pub(crate) key: String,
    /// What it is about.
    pub(crate) what: String,
    /// The figure then.
    pub(crate) figure: String,
    /// The limit then.
    pub(crate) limit: String,
    /// Who.
    pub(crate) who: String,
    /// Why.
    pub(crate) why: String,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct EventNow {
    /// Number within the flight; a correction keeps it.
    pub(crate) id: u32,
    /// Index of the body.
    pub(crate) body: u32,
    /// What: `liftoff`, `rail_exit`, `burnout`, `stage_ignition`, `stage_burnout`, `third_ignition`, `third_burnout`,
    /// `apogee`, `freed`, `first_chute`, `main_chute`, `landing`, `reboot`, `mark`, or a newer word.
    pub(crate) event: String,
    /// The trade's word, a cue's name, or what the crew wrote.
    pub(crate) label: String,
    /// Station time.
    pub(crate) t_s: f64,
    /// Spread of it, one standard deviation, s.
    pub(crate) sd_s: f64,
    /// How it is known.
    pub(crate) origin: OriginName,
    /// Who marked it.
    pub(crate) who: Option<String>,
}

/// How one transmitter is heard through one receiver.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct RadioNow {
    /// Name of the receiver.
    pub(crate) receiver: String,
    /// Name of the body.
    pub(crate) body: String,
    /// Newest good frame, station time.
    pub(crate) heard_t_s: Option<f64>,
    /// Loss over 10 s, 0 to 1; `null` when not known.
    pub(crate) loss: Option<f64>,
    /// Signal, dBm, where a layout gives it.
    pub(crate) rssi_dbm: Option<f64>,
    /// Signal to noise, dB, where a layout gives it.
    pub(crate) snr_db: Option<f64>,
    /// Packets of the last 10 s, oldest first: `1` heard, `0` lost; at most 50.
    pub(crate) ticks: String,
    /// Good frames so far.
    pub(crate) good: u64,
    /// Wrong frames of the receiver so far, whoever sent them.
    pub(crate) wrong: u64,
    /// The same by reason.
    pub(crate) wrong_by: Vec<WrongNow>,
}

/// Wrong frames of one reason.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct WrongNow {
    /// The reason, as in the lines of a rerun (`wrong_kind`).
    pub(crate) reason: String,
    /// How many.
    pub(crate) count: u64,
}

/// A link.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LinkNow {
    /// Name.
    pub(crate) name: String,
    /// Whether it is up.
    pub(crate) up: bool,
    /// Why it is not, or how it is.
    pub(crate) reason: String,
    /// Bytes received so far; `null` in a replay.
    pub(crate) bytes: Option<u64>,
    /// Bytes have been coming for seconds, and no frame ended.
    pub(crate) no_frame: bool,
    /// Wrong frames so far; `null` in a replay.
    pub(crate) wrong: Option<u64>,
}

/// A link that is passed on to another station.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct PassingNow {
    /// Name of the link.
    pub(crate) link: String,
    /// Where to.
    pub(crate) to: String,
    /// Whether it is being passed on.
    pub(crate) up: bool,
    /// How it is, with the clock difference where it is known, or why not.
    pub(crate) words: String,
    /// Pieces of bytes that the other station does not have on its disk yet; `null` before it has answered.
    pub(crate) pieces: Option<u64>,
    /// Their bytes.
    pub(crate) bytes: Option<u64>,
}

names! {
    /// What is assumed to come out.
    #[ts(rename = "Case")]
    CaseName of flight::Case {
        /// Everything as planned.
        Planned,
        /// The main at apogee.
        MainAtApogee,
        /// The drogue only.
        DrogueOnly,
        /// Tumbling.
        Tumbling,
        /// Nothing deploys.
        Ballistic,
    }
}
names! {
    /// How an event is known.
    #[ts(rename = "Origin")]
    OriginName of flight::Origin {
        /// The vehicle said so.
        Reported,
        /// Worked out on the ground from what was heard.
        Detected,
        /// By the station's sums alone: a landing in a silence, a piece let go by its plan. Nobody heard it.
        Inferred,
        /// A crew member marked it.
        Marked,
    }
}
