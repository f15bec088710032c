//! What the crew told before the flight, checked and in SI: site, weather, vehicle, motors, bodies, cues.
//!
//! Told figures are priors with a spread, never truths. Angles are radians; tilt is from vertical, azimuth
//! from true north clockwise; wind is named by where it comes from. Heights are metres above the pad unless
//! the name says otherwise.

use serde::{Deserialize, Serialize};

use crate::output::EventKind;

/// The most bodies one vehicle may come apart into.
pub const MAX_BODIES: usize = 8;
/// The most cues a plan may hold.
pub const MAX_CUES: usize = 16;

/// A told figure and its spread.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// The figure, in the unit of the field that holds it.
    pub value: f64,
    /// One standard deviation, same unit.
    pub sd: f64,
}

/// Everything told, as meant.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// The pad.
    pub site: Site,
    /// The air over it.
    pub weather: Weather,
    /// What flies.
    pub vehicle: Vehicle,
    /// The motors in order of burning; at least one.
    pub motors: Vec<Motor>,
    /// The bodies, at most [`MAX_BODIES`]; the first is the vehicle itself.
    pub bodies: Vec<Body>,
    /// What the vehicle does by itself, at most [`MAX_CUES`].
    pub cues: Vec<Cue>,
}

impl Plan {
    /// Which events of which bodies a cue brings about. The first staging cue lights the second motor.
    pub fn brought_about_by(&self, cue: usize) -> Vec<(usize, EventKind)> {
        let Some(told) = self.cues.get(cue) else { return Vec::new() };
        let bodies = || self.bodies.iter().enumerate();
        match told.kind {
            CueKind::Chute => bodies()
                .filter_map(|(index, body)| {
                    let main = body.descents.iter().find(|d| d.cue == cue)?.state == DescentState::Main;
                    Some((index, if main { EventKind::MainChute } else { EventKind::FirstChute }))
                })
                .collect(),
            CueKind::Release | CueKind::Separation => bodies()
                .filter(|(_, body)| body.freed_by == Some(cue))
                .map(|(index, _)| (index, EventKind::Freed))
                .collect(),
            CueKind::Staging => {
                let before = self.cues[..cue].iter().filter(|c| c.kind == CueKind::Staging).count();
                vec![(told.body, EventKind::ignition_of(before + 1))]
            }
        }
    }
}

/// The pad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// WGS84 latitude, radians.
    pub latitude_rad: f64,
    /// WGS84 longitude, radians.
    pub longitude_rad: f64,
    /// Height of the pad above mean sea level, metres.
    pub elevation_m: f64,
    /// Geoid above the WGS84 ellipsoid here, metres.
    pub geoid_m: f64,
}

/// The air at the pad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weather {
    /// Station pressure at the pad, pascal.
    pub pressure_pa: f64,
    /// Temperature at the pad, kelvin.
    pub temperature_k: f64,
    /// Spread of it, one standard deviation, K, beyond what a thermometer leaves open: that of a figure nobody told.
    #[serde(default)]
    pub temperature_sd_k: f64,
    /// Mean wind, m/s, at [`Weather::wind_height_m`].
    pub wind_mps: Told,
    /// Where the wind comes from, radians from true north.
    pub wind_from_rad: f64,
    /// Height above ground at which the wind was measured, metres.
    pub wind_height_m: f64,
}

/// What flies, at liftoff.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Vehicle {
    /// Mass at liftoff, kg.
    pub liftoff_mass_kg: Told,
    /// Reference diameter, m.
    pub diameter_m: f64,
    /// Subsonic drag coefficient on the reference area.
    pub drag_coefficient: Told,
    /// Travel until the upper guide leaves the rail, m.
    pub rail_length_m: f64,
    /// Tilt of the rail from vertical, rad.
    pub rail_tilt_rad: f64,
    /// True azimuth towards which the rail is tilted, rad; `None` when it was not told.
    pub rail_azimuth_rad: Option<f64>,
    /// Spread of the path angle at burnout, one standard deviation on each axis, rad.
    pub lean_sd_rad: f64,
}

/// One motor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Motor {
    /// Total impulse, N s.
    pub impulse_ns: Told,
    /// Burn time, s.
    pub burn_time_s: f64,
    /// Spread of its logarithm where nobody told it, 0 where somebody did: the impulse is spent sooner by a greater thrust.
    #[serde(default)]
    pub burn_time_ln_sd: f64,
    /// Propellant mass, kg.
    pub propellant_mass_kg: f64,
    /// Thrust curve as (seconds, newtons), scaled to the impulse; empty means a flat thrust.
    pub curve: Vec<(f64, f64)>,
    /// For a later stage: ignition after the previous burnout, s. Zero for the first motor.
    pub ignition_after_burnout_s: Told,
    /// For a later stage: mass that falls away before it ignites, kg.
    pub dropped_mass_kg: f64,
    /// Drag coefficient from this motor's ignition on.
    pub drag_coefficient: Told,
    /// Reference diameter from this motor's ignition on, m.
    pub diameter_m: f64,
}

/// One piece that comes down by itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Body {
    /// Name as the crew says it.
    pub name: String,
    /// The body it is attached to until freed; `None` for the vehicle.
    pub parent: Option<usize>,
    /// The cue that frees it.
    pub freed_by: Option<usize>,
    /// Whether it has a transmitter of its own.
    pub has_transmitter: bool,
    /// Mass on its own after burnout, kg.
    pub mass_kg: Told,
    /// Drag area Cd A when bare or ballistic, m2.
    pub bare_drag_area_m2: Told,
    /// Planned descent states in order.
    pub descents: Vec<Descent>,
}

/// How a body comes down for a while.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Descent {
    /// Which state.
    pub state: DescentState,
    /// The cue that starts it.
    pub cue: usize,
    /// Drag area Cd A, m2.
    pub drag_area_m2: Told,
}

/// The ways to come down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DescentState {
    /// Under the small first parachute.
    Drogue,
    /// Under the large parachute.
    Main,
    /// Under a streamer.
    Streamer,
    /// End over end without a parachute.
    Tumbling,
    /// Without anything out, attitude not stated.
    Bare,
    /// Nose first.
    Ballistic,
}

impl DescentState {
    /// Whether something is let out for it, which may be missed.
    #[must_use]
    pub fn is_device(self) -> bool {
        matches!(self, Self::Drogue | Self::Main | Self::Streamer)
    }
}

/// Something the vehicle does by itself at a condition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cue {
    /// Name as the crew says it.
    pub name: String,
    /// What it does.
    pub kind: CueKind,
    /// The body that acts.
    pub body: usize,
    /// When it acts.
    pub trigger: Trigger,
    /// Delay of electronics and mechanism after the condition, s.
    pub delay_s: Told,
    /// What it can stand.
    pub limit: Option<Limit>,
    /// Mass that depends on it, kg.
    pub mass_kg: f64,
}

/// What a cue does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CueKind {
    /// Lets go of a body.
    Release,
    /// Takes the vehicle apart.
    Separation,
    /// Opens a parachute.
    Chute,
    /// Lights a later motor or drops a stage.
    Staging,
}

/// The condition of a cue.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trigger {
    /// Climb rate falls through this value before apogee, m/s.
    ClimbRateBelow(f64),
    /// This long before apogee, s.
    BeforeApogee(f64),
    /// This long after apogee, s.
    AfterApogee(f64),
    /// Height above the pad falls through this value on the way down, m.
    HeightBelow(f64),
    /// This long after liftoff, s.
    AfterLiftoff(f64),
    /// This long after the first burnout, s.
    AfterBurnout(f64),
    /// This long after another cue, s.
    AfterCue(usize, f64),
}

/// What a cue can stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Of which quantity.
    pub of: LimitOf,
    /// The greatest value: m/s, Pa or N.
    pub value: f64,
    /// Where the limit comes from, in the crew's words.
    pub from: String,
}

/// The quantity that a limit is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitOf {
    /// Airspeed, m/s.
    Airspeed,
    /// Dynamic pressure, Pa.
    DynamicPressure,
    /// Opening load, N.
    OpeningLoad,
}
