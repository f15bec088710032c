//! The message `now`: the newest state of every body, the heads-ups that hold and the cues to come.

use loftwatch_engine::output::Level;
use loftwatch_flight as flight;
use serde::Serialize;
use ts_rs::TS;

use super::Q;
use crate::shared::Disk;

/// The newest state. When all of it would be longer than 4 kB, the least urgent parts are left out (said in
/// `cues_left_out` and `headsups_left_out`); `picture` always has them all.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Now {
    /// Whether this is happening or is played again.
    pub(crate) mode: Mode,
    /// Local time of liftoff (or of opening) of the flight that is played again, as `14:07`; `null` when live.
    pub(crate) replay_of: Option<String>,
    /// Station time of this message (live), or of the instant that is played again.
    pub(crate) t_s: f64,
    /// When that instant was played, station time: a page goes on from there by its own clock, and so keeps in step with
    /// all others. `null` when live.
    pub(crate) played_s: Option<f64>,
    /// 1 when live; the rate of a replay, 0 when it is paused.
    pub(crate) speed: f64,
    /// UTC, s since 1970.
    pub(crate) utc_s: f64,
    /// Number of the flight, 0 when there is none.
    pub(crate) flight: u32,
    /// Its name, empty if not named.
    pub(crate) flight_name: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// Name of the site.
    pub(crate) site: String,
    /// First motion, station time.
    pub(crate) liftoff_t_s: Option<f64>,
    /// When the flight ended, station time; it is shown until the next one opens.
    pub(crate) ended_t_s: Option<f64>,
    /// All radios silent since, station time.
    pub(crate) silent_since_s: Option<f64>,
    /// Station time of the oldest input that is not on the disk though it was used; a slow disk has one for a moment now
    /// and then.
    pub(crate) not_kept_since_s: Option<f64>,
    /// What is wrong with the disk; `null` when it follows.
    pub(crate) disk: Option<Disk>,
    /// How long the room on the disk lasts at the pace of the last hour, s; `null` while that is more than a day.
    pub(crate) disk_room_s: Option<f64>,
    /// Bytes that the station has received since its start and lost, for want of room in memory while the disk took nothing.
    pub(crate) lost_bytes: u64,
    /// A figure older than this is stale: two expected intervals and one second, s.
    pub(crate) stale_after_s: f64,
    /// The bodies, in the order of the setup; the first is the vehicle.
    pub(crate) bodies: Vec<BodyNow>,
    /// Heads-ups that hold, most urgent first.
    pub(crate) headsups: Vec<HeadsUpNow>,
    /// How many further heads-ups hold.
    pub(crate) headsups_left_out: u32,
    /// Cues to come, soonest first, then those passed, newest first.
    pub(crate) cues: Vec<CueNow>,
    /// How many further cues there are.
    pub(crate) cues_left_out: u32,
}

/// Whether something is happening or is played again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Mode {
    /// Happening.
    Live,
    /// Played again.
    Replay,
}

/// One body.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct BodyNow {
    /// Name.
    pub(crate) name: String,
    /// Whether it is still attached to its parent; then its figures are its parent's and `null` here.
    pub(crate) attached: bool,
    /// Whether it has a transmitter of its own.
    pub(crate) transmitter: bool,
    /// Where in the flight it is.
    pub(crate) phase: PhaseName,
    /// Planned descent state that fits best, once descending, or climbing past a cue that opens something.
    pub(crate) descent: Option<DescentName>,
    /// Newest good frame of its transmitter, station time.
    pub(crate) heard_t_s: Option<f64>,
    /// Seconds since the newest measurement that was used: physics carried the figures that long.
    pub(crate) carried_s: f64,
    /// Instant of the figures below, station time.
    pub(crate) at_t_s: Option<f64>,
    /// Height above the pad, m.
    pub(crate) height_m: Option<Q>,
    /// Vertical speed, m/s, up positive.
    pub(crate) climb_mps: Option<Q>,
    /// Speed through the air, m/s.
    pub(crate) airspeed_mps: Option<Q>,
    /// Speed over the ground, m/s.
    pub(crate) ground_speed_mps: Option<Q>,
    /// Path angle through the air from vertical, rad; `null` when not known.
    pub(crate) lean_rad: Option<Q>,
    /// East and north of the pad, m.
    pub(crate) east_north_m: Option<[f64; 2]>,
    /// 90 % radius of that position, m.
    pub(crate) position_radius_m: Option<f64>,
    /// Mach number.
    pub(crate) mach: Option<f64>,
    /// Apogee as predicted, or as it was once passed.
    pub(crate) apogee: Option<ApogeeNow>,
    /// Landing in the planned case.
    pub(crate) landing: Option<LandingNow>,
    /// Last position from its satellite receiver.
    pub(crate) fix: Option<FixNow>,
    /// Predicted knots of the next seconds: station time, height (m), climb (m/s), airspeed (m/s).
    pub(crate) next: Vec<[f64; 4]>,
}

/// Apogee of a body.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct ApogeeNow {
    /// Height above the pad, m.
    pub(crate) height_m: Q,
    /// Station time.
    pub(crate) t_s: Q,
    /// Airspeed there, m/s.
    pub(crate) airspeed_mps: Q,
    /// Ground speed there, m/s.
    pub(crate) ground_speed_mps: Q,
    /// The drag-free sum: height, m.
    pub(crate) hand_height_m: f64,
    /// The drag-free sum: station time.
    pub(crate) hand_t_s: f64,
}

/// Landing of a body in the planned case.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LandingNow {
    /// Station time.
    pub(crate) t_s: Q,
    /// Middle of the area, east and north of the pad, m; `null` when the heading is not known.
    pub(crate) east_north_m: Option<[f64; 2]>,
    /// Speed downwards at landing, m/s.
    pub(crate) descent_mps: Q,
}

/// A position from a satellite receiver aboard.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FixNow {
    /// WGS84, degrees, north positive.
    pub(crate) latitude_deg: f64,
    /// WGS84, degrees, east positive.
    pub(crate) longitude_deg: f64,
    /// When it was received, station time.
    pub(crate) t_s: f64,
}

/// A heads-up that holds.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct HeadsUpNow {
    /// Stable key.
    pub(crate) key: String,
    /// How urgent.
    pub(crate) level: LevelName,
    /// Index of the cue (order of the setup), if it is about one.
    pub(crate) cue: Option<u32>,
    /// Index of the body.
    pub(crate) body: u32,
    /// The figure, in `unit`.
    pub(crate) figure: f64,
    /// The limit, in `unit`.
    pub(crate) limit: Option<f64>,
    /// SI unit of both.
    pub(crate) unit: String,
    /// Where the limit comes from.
    pub(crate) limit_from: String,
    /// The words to say, metric.
    pub(crate) words: String,
}

/// A cue, as predicted or passed.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CueNow {
    /// Index in the order of the setup.
    pub(crate) cue: u32,
    /// Name.
    pub(crate) name: String,
    /// What it does.
    #[serde(rename = "kind")]
    pub(crate) does: CueKindName,
    /// Index of the body that acts.
    pub(crate) body: u32,
    /// Its moment, station time.
    pub(crate) t_s: Q,
    /// Height above the pad then, m.
    pub(crate) height_m: f64,
    /// Airspeed then, m/s.
    pub(crate) airspeed_mps: Q,
    /// The limit, SI.
    pub(crate) limit: Option<f64>,
    /// Of which quantity.
    pub(crate) limit_of: Option<LimitOfName>,
    /// That quantity as predicted, SI. `null` without a limit, and where the limit is one of airspeed: then it is
    /// `airspeed_mps`.
    pub(crate) figure: Option<Q>,
    /// Where the limit comes from; empty without one.
    pub(crate) limit_from: String,
    /// Probability, 0 to 1, that the limit is exceeded.
    pub(crate) over_limit: Option<f64>,
    /// Whether its moment has passed.
    pub(crate) passed: bool,
}

/// Declares an enumeration of the messages that names the values of another one.
macro_rules! names {
    ($(#[$doc:meta])* $name:ident of $from:path { $($(#[$vdoc:meta])* $variant:ident),+ $(,)? }) => {
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, TS)]
        #[serde(rename_all = "snake_case")]
        $(#[$doc])*
        pub(crate) enum $name { $($(#[$vdoc])* $variant),+ }
        impl From<$from> for $name {
            fn from(value: $from) -> Self {
                type Of = $from;
                match value { $(Of::$variant => Self::$variant),+ }
            }
        }
    };
}
pub(super) use names;

names! {
    /// Where in the flight a body is.
    #[ts(rename = "Phase")]
    PhaseName of flight::Phase {
        /// On the pad.
        Waiting,
        /// First heard after liftoff.
        Joined,
        /// Under power.
        Powered,
        /// Unpowered before apogee.
        Coasting,
        /// After apogee.
        Descending,
        /// On the ground.
        Down,
    }
}
names! {
    /// How a body comes down.
    #[ts(rename = "Descent")]
    DescentName of flight::DescentState {
        /// Under the small first parachute.
        Drogue,
        /// Under the large parachute.
        Main,
        /// Under a streamer.
        Streamer,
        /// End over end without a parachute.
        Tumbling,
        /// Without anything out.
        Bare,
        /// Nose first.
        Ballistic,
    }
}
names! {
    /// How urgent a heads-up is: amber or red.
    #[ts(rename = "Level")]
    LevelName of Level {
        /// Amber.
        Look,
        /// Red.
        Act,
    }
}
names! {
    /// What a cue does.
    #[ts(rename = "CueKind")]
    CueKindName of flight::CueKind {
        /// Lets go of a body.
        Release,
        /// Takes the vehicle apart.
        Separation,
        /// Opens a parachute.
        Chute,
        /// Lights a later motor or drops a stage.
        Staging,
    }
}
names! {
    /// What a cue's limit is about.
    #[ts(rename = "LimitOf")]
    LimitOfName of flight::LimitOf {
        /// Airspeed, m/s.
        Airspeed,
        /// Dynamic pressure, Pa.
        DynamicPressure,
        /// Opening load, N.
        OpeningLoad,
    }
}
