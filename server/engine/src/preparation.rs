//! What is told for the time before a flight alone: parts as weighed, stability, limits, receivers' own limits, checklist.
//!
//! The estimator knows none of it. A limit that is not told has a default, with the words where it comes from; a default
//! that no source was found for says so.

use loftwatch_flight::Told;
use serde::{Deserialize, Serialize};

/// The most steps of a checklist, and the most parts.
pub const MOST_STEPS: usize = 100;
/// Words for a limit of the crew's own.
pub const BY_CREW: &str = "told by crew";
/// Words for a limit that is usual, without a source for it.
pub const COMMON: &str = "common practice, no source";

/// Told for the time before a flight.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Preparation {
    /// Parts as weighed.
    pub parts: Vec<Part>,
    /// Centres of gravity and of pressure at liftoff, m behind the tip of the nose.
    pub centres_m: Option<[f64; 2]>,
    /// How many motors light together at liftoff; 0 and 1 are one.
    pub cluster: u32,
    /// By body index; short where nothing was told.
    pub boards: Vec<Board>,
    /// Lag of the electronics' own vertical speed behind the true one, s, by cue index.
    pub lags_s: Vec<Told>,
    /// What figures are held against.
    pub limits: Limits,
    /// The greatest height allowed.
    pub ceiling: Option<Ceiling>,
    /// The crew's own steps, in order.
    pub checklist: Vec<Step>,
}

/// A part as weighed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Name.
    pub name: String,
    /// Mass, kg.
    pub mass_kg: f64,
}

/// What was told of the electronics of one body.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Board {
    /// Least voltage of its battery, V.
    pub battery_least_v: Option<f64>,
    /// Greatest height above sea level at which its satellite receiver works, m.
    pub gnss_height_m: Option<f64>,
    /// Greatest speed, m/s.
    pub gnss_speed_mps: Option<f64>,
    /// Greatest acceleration, m/s2.
    pub gnss_acceleration_mps2: Option<f64>,
    /// Its dynamics setting, in the crew's words.
    pub gnss_dynamics: Option<String>,
}

/// The greatest height allowed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ceiling {
    /// m, above what `above` says.
    pub height_m: f64,
    /// Above the ground at the pad, or above mean sea level.
    pub above: Above,
    /// When it holds, in words; empty if not told.
    pub window: String,
    /// Who granted it, in words; empty if not told.
    pub authority: String,
}

/// What a height is above.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Above {
    /// The ground at the pad (AGL).
    Ground,
    /// Mean sea level (AMSL).
    SeaLevel,
}

/// One step of the checklist.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// What to do.
    pub step: String,
    /// Who does it; empty if not told.
    pub who: String,
}

/// A limit and where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bound {
    /// In the unit of the field that holds it.
    pub value: f64,
    /// Where it comes from, in words.
    pub from: String,
}

impl Bound {
    /// A limit that is taken where none is told.
    pub fn usual(value: f64, from: &str) -> Self {
        Self { value, from: from.to_owned() }
    }
}

/// What figures are held against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// A transmitter, or a receiver, not heard for longer is missing, s.
    pub heard_within_s: Bound,
    /// Least number of satellites.
    pub satellites_least: Bound,
    /// Greatest horizontal dilution of precision.
    pub dilution_most: Bound,
    /// Greatest distance of a fix from the told pad, m.
    pub fix_within_m: Bound,
    /// Greatest difference of a board's pressure from the station's, Pa.
    pub pressure_within_pa: Bound,
    /// Greatest tilt of a vehicle that counts as upright, rad.
    pub upright_within_rad: Bound,
    /// Least storage left, 0 to 1.
    pub storage_least: Bound,
    /// A board that restarted more recently is looked at, s.
    pub steady_for_s: Bound,
    /// Least thrust to weight at first motion.
    pub thrust_to_weight_least: Bound,
    /// Least speed where the upper guide leaves the rail, m/s.
    pub rail_exit_least_mps: Bound,
    /// Greatest tilt of the rail from vertical, rad.
    pub rail_tilt_most_rad: Bound,
    /// Greatest wind at the pad, m/s.
    pub wind_most_mps: Bound,
    /// Greatest angle of attack where the upper guide leaves the rail, rad.
    pub attack_most_rad: Bound,
    /// Least distance of the centre of pressure behind that of gravity, diameters.
    pub stability_least: Bound,
    /// Greatest rate of descent under a drogue or streamer, m/s.
    pub drogue_most_mps: Bound,
    /// Greatest speed at landing, m/s.
    pub landing_most_mps: Bound,
    /// Greatest kinetic energy of a body at landing, J.
    pub landing_most_j: Bound,
}

impl Default for Limits {
    fn default() -> Self {
        let deg = |degrees: f64| degrees * core::f64::consts::PI / 180.0;
        Self {
            heard_within_s: Bound::usual(10.0, "default"),
            satellites_least: Bound::usual(6.0, COMMON),
            dilution_most: Bound::usual(2.5, COMMON),
            fix_within_m: Bound::usual(50.0, "default"),
            pressure_within_pa: Bound::usual(300.0, "default"),
            upright_within_rad: Bound::usual(deg(20.0), "default"),
            storage_least: Bound::usual(0.1, "default"),
            steady_for_s: Bound::usual(60.0, "default"),
            thrust_to_weight_least: Bound::usual(5.0, COMMON),
            rail_exit_least_mps: Bound::usual(15.0, COMMON),
            rail_tilt_most_rad: Bound::usual(
                deg(20.0),
                "NFPA 1127, launcher within 20° of vertical; from memory, the local code decides",
            ),
            wind_most_mps: Bound::usual(
                8.94,
                "NFPA 1127, 20 miles an hour; from memory, the local code decides",
            ),
            attack_most_rad: Bound::usual(deg(15.0), COMMON),
            stability_least: Bound::usual(1.0, COMMON),
            drogue_most_mps: Bound::usual(35.0, COMMON),
            landing_most_mps: Bound::usual(6.5, COMMON),
            landing_most_j: Bound::usual(100.0, COMMON),
        }
    }
}
