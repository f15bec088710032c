//! One transmitter's measurements of one instant, in SI, as the estimator takes them.

use serde::{Deserialize, Serialize};

/// Measurements of one instant. Any subset, at any rate, in any order of arrival.
///
/// Times are seconds on one axis that never steps (the caller's), heights metres.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// The body whose transmitter sent it (index into the plan's bodies).
    pub body: usize,
    /// When it was measured, s, mapped from the onboard clock where there is one.
    pub t_s: f64,
    /// Spread of `t_s`, one standard deviation, s. Large (0.05 or more) without an onboard clock.
    pub t_sd_s: f64,
    /// When it was received, s; never before an earlier sample's.
    pub t_receive_s: f64,
    /// Counts restarts of the transmitter seen so far: a change means it rebooted.
    pub boot: u32,
    /// Static pressure, Pa.
    pub pressure_pa: Option<f64>,
    /// Specific force along the nose, m/s2 (about +9.8 standing on the pad, drag is negative in coast).
    pub axial_mps2: Option<f64>,
    /// Specific force across the nose, two axes, m/s2.
    pub lateral_mps2: Option<[f64; 2]>,
    /// GNSS position.
    pub fix: Option<Fix>,
    /// GNSS velocity east, north, up, m/s; a missing up is NaN-free: see [`Velocity`].
    pub velocity: Option<Velocity>,
    /// Tilt of the body from vertical, rad.
    pub tilt_rad: Option<f64>,
    /// The vehicle's own height above its own zero, m.
    pub own_height_m: Option<f64>,
    /// The vehicle's own climb rate, m/s.
    pub own_climb_mps: Option<f64>,
}

impl Sample {
    /// Spread of its time as it is believed, s.
    pub(crate) fn t_sd(&self) -> f64 {
        if self.t_sd_s.is_finite() { self.t_sd_s.clamp(0.0, 2.0) } else { 0.1 }
    }
}

/// A GNSS position with its valid flag set.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// WGS84 latitude, rad.
    pub latitude_rad: f64,
    /// WGS84 longitude, rad.
    pub longitude_rad: f64,
    /// Height above mean sea level, m, if given (ellipsoidal heights are converted by the caller).
    pub height_amsl_m: Option<f64>,
    /// Horizontal spread as the receiver states it, one sigma, m, if given.
    pub horizontal_sd_m: Option<f64>,
    /// Vertical spread, likewise.
    pub vertical_sd_m: Option<f64>,
}

/// GNSS velocity over the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Velocity {
    /// East and north, m/s.
    pub horizontal_mps: Option<[f64; 2]>,
    /// Up, m/s.
    pub up_mps: Option<f64>,
}

/// Something the vehicle itself says has happened, as an interval of its own reports.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// The body that reports.
    pub body: usize,
    /// What happened.
    pub event: crate::EventKind,
    /// Last instant at which it was reported as not yet so, s.
    pub after_s: Option<f64>,
    /// First instant at which it was reported, s.
    pub by_s: f64,
    /// Receive time, s.
    pub t_receive_s: f64,
    /// That it has not happened by then.
    #[serde(default)]
    pub not_yet: bool,
}
