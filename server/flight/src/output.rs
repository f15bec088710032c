//! What the estimator says: estimates, predictions, landings, events. Every figure with its interval.

use serde::{Deserialize, Serialize};

use crate::plan::DescentState;

/// A distribution by five quantiles. `p05..p95` is the 90 % interval, `p25..p75` the 50 % one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Quantiles {
    /// 5 % quantile.
    pub p05: f64,
    /// 25 % quantile.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// 75 % quantile.
    pub p75: f64,
    /// 95 % quantile.
    pub p95: f64,
}

/// Where in the flight a body is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// On the pad.
    Waiting,
    /// First heard after liftoff; where it is in the flight is not settled yet.
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

/// The state of one body at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Instant, s on the caller's axis.
    pub t_s: f64,
    /// Phase.
    pub phase: Phase,
    /// Planned descent state that its drag fits best, once descending, or climbing past a cue that opens something.
    pub descent: Option<DescentState>,
    /// Seconds since the newest measurement that was used; the state is carried by physics that long.
    pub carried_s: f64,
    /// Height above the pad, m.
    pub height_m: Quantiles,
    /// Vertical speed, m/s, up positive.
    pub climb_mps: Quantiles,
    /// Speed through the air, m/s.
    pub airspeed_mps: Quantiles,
    /// Speed over the ground, m/s. Where standing still is as likely a velocity as any, `p05` is zero and not the 5 % quantile.
    pub ground_speed_mps: Quantiles,
    /// Path angle through the air from vertical, rad; `None` when not known.
    pub lean_rad: Option<Quantiles>,
    /// East and north of the pad, m; `None` when nothing horizontal is known.
    pub east_north_m: Option<[f64; 2]>,
    /// 90 % radius of that position, m.
    pub position_radius_m: Option<f64>,
    /// Velocity over ground east and north, m/s; `None` when nothing horizontal is known.
    pub east_north_mps: Option<[f64; 2]>,
    /// Specific drag at pad density, k = rho0 Cd A / (2 m), 1/m, subsonic.
    pub drag_k_per_m: Quantiles,
    /// Mach number, median.
    pub mach: f64,
    /// Dynamic pressure, median, Pa.
    pub dynamic_pressure_pa: f64,
}

/// What apogee will be (or was, once passed), under what the plan opens before it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// Instant of the prediction, s.
    pub t_s: f64,
    /// Height above the pad at apogee, m.
    pub apogee_height_m: Quantiles,
    /// Time of apogee, s on the caller's axis.
    pub apogee_t_s: Quantiles,
    /// Airspeed there, m/s.
    pub airspeed_at_apogee_mps: Quantiles,
    /// Ground speed there, m/s; `p05` as of [`Estimate::ground_speed_mps`].
    pub ground_speed_at_apogee_mps: Quantiles,
    /// The drag-free sum from the estimated height and climb: height, m.
    pub hand_height_m: f64,
    /// The drag-free sum: time of apogee, s on the caller's axis.
    pub hand_t_s: f64,
}

/// When a cue comes and what the air does then.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CuePrediction {
    /// Index into the plan's cues.
    pub cue: usize,
    /// Instant of the prediction, s.
    pub t_s: f64,
    /// Moment of the cue, s on the caller's axis.
    pub cue_t_s: Quantiles,
    /// Height above the pad, m.
    pub height_m: Quantiles,
    /// Vertical speed, m/s.
    pub climb_mps: Quantiles,
    /// Airspeed, m/s.
    pub airspeed_mps: Quantiles,
    /// Dynamic pressure, Pa.
    pub dynamic_pressure_pa: Quantiles,
    /// Opening load, N, for a chute cue.
    pub opening_load_n: Option<Quantiles>,
    /// Probability that the cue's limit is exceeded; `None` without a limit.
    pub over_limit: Option<f64>,
    /// Whether the cue's moment has passed, as far as is known.
    pub passed: bool,
}

/// What is assumed to come out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Case {
    /// Everything as planned (from here on: what has not come out by now still may).
    Planned,
    /// Main at apogee.
    MainAtApogee,
    /// Drogue only.
    DrogueOnly,
    /// Tumbling.
    Tumbling,
    /// Ballistic: nothing deploys.
    Ballistic,
}

/// Where and when a body comes down in one case.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Landing {
    /// Body index.
    pub body: usize,
    /// What is assumed.
    pub case: Case,
    /// Instant of the prediction, s.
    pub t_s: f64,
    /// Time of landing, s on the caller's axis.
    pub landing_t_s: Quantiles,
    /// Speed over ground at landing downwards, m/s.
    pub descent_mps: Quantiles,
    /// The area.
    pub area: Area,
}

/// An area on the ground plan, metres east and north of the pad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Area {
    /// An ellipse.
    Ellipse {
        /// Middle, east and north, m.
        centre_m: [f64; 2],
        /// Covariance xx, xy, yy (east, north), m2. The 50 % area is at Mahalanobis 1.177, the 90 % at 2.146.
        covariance_m2: [f64; 3],
    },
    /// A ring about the pad: the heading is not known.
    Ring {
        /// Middle, east and north, m (drift under the chutes moves it off the pad).
        centre_m: [f64; 2],
        /// Distance from the middle, m: bounds of the rings of least area that hold 90 % (`p05` to `p95`) and 50 % (`p25` to
        /// `p75`), and its median. Where the middle is the likeliest spot they are discs and the inner bounds zero.
        radius_m: Quantiles,
    },
}

/// One knot of the predicted path.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Knot {
    /// Time, s on the caller's axis.
    pub t_s: f64,
    /// Height above the pad at that time, m.
    pub height_m: Quantiles,
    /// Vertical speed, m/s.
    pub climb_mps: Quantiles,
    /// Airspeed, m/s.
    pub airspeed_mps: Quantiles,
    /// East and north, median, m.
    pub east_north_m: [f64; 2],
    /// Height if nothing deploys, median, m.
    pub bare_height_m: f64,
}

/// What can happen to a body.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// First motion.
    Liftoff,
    /// The upper guide leaves the rail.
    RailExit,
    /// Thrust ends: specific force crosses zero.
    Burnout,
    /// The second motor lights.
    StageIgnition,
    /// The second motor burns out.
    StageBurnout,
    /// A third motor lights, or the newest of more.
    ThirdIgnition,
    /// A third motor burns out, or the newest of more.
    ThirdBurnout,
    /// Climb rate crosses zero.
    Apogee,
    /// The body lets go of its parent.
    Freed,
    /// First parachute.
    FirstChute,
    /// Main parachute.
    MainChute,
    /// On the ground.
    Landing,
    /// A transmitter restarted.
    Reboot,
    /// Something that the crew marked; its label says what. The tracker makes none.
    Mark,
}

impl EventKind {
    /// A motor after the first lights.
    pub const LATER_IGNITIONS: [Self; 2] = [Self::StageIgnition, Self::ThirdIgnition];
    /// A motor burns out, whichever.
    pub const BURNOUTS: [Self; 3] = [Self::Burnout, Self::StageBurnout, Self::ThirdBurnout];

    /// That the motor of a stage lights, counted from zero.
    pub const fn ignition_of(stage: usize) -> Self {
        match stage {
            0 => Self::Liftoff,
            1 => Self::StageIgnition,
            _ => Self::ThirdIgnition,
        }
    }

    /// That it burns out.
    pub const fn burnout_of(stage: usize) -> Self {
        match stage {
            0 => Self::Burnout,
            1 => Self::StageBurnout,
            _ => Self::ThirdBurnout,
        }
    }
}

/// How an event is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// The vehicle said so.
    Reported,
    /// Worked out on the ground from what was heard.
    Detected,
    /// By the station's sums alone: a landing in a silence, a piece let go by its plan. Nobody heard it.
    Inferred,
    /// A crew member marked it.
    Marked,
}

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Number within the flight; a correction keeps it.
    pub id: u32,
    /// Counts corrections, from 0.
    pub revision: u32,
    /// Whether this revision takes the event back.
    pub withdrawn: bool,
    /// Body index.
    pub body: usize,
    /// What.
    pub kind: EventKind,
    /// When, s on the caller's axis.
    pub t_s: f64,
    /// Spread of `t_s`, one standard deviation, s.
    pub sd_s: f64,
    /// How it is known.
    pub origin: Origin,
}
