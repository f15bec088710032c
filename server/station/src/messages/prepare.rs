//! What pages get for the time before a flight.

use loftwatch_prepare::{Clash, Margin, Picture, Want};
use serde::Serialize;
use ts_rs::TS;

use super::{AreaInfo, LimitOfName};

/// `GET /api/prepare`: a function of the setup in force alone.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Prepared {
    /// Tells this setup from others.
    pub(crate) edition: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// Name of the site.
    pub(crate) site: String,
    /// Margins, in the order of a flight.
    pub(crate) margins: Vec<Margin>,
    /// The nominal flight.
    pub(crate) picture: Picture,
    /// Cues that come too near one another, or in the wrong order.
    pub(crate) clashes: Vec<Clash>,
    /// All cues.
    pub(crate) cues: Vec<CueWanted>,
    /// The crew's own steps.
    pub(crate) checklist: Vec<StepInfo>,
    /// Named areas.
    pub(crate) areas: Vec<AreaInfo>,
    /// Names of the bodies.
    pub(crate) bodies: Vec<String>,
}

/// A cue and what the setup wants of it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CueWanted {
    /// Name.
    pub(crate) name: String,
    /// What is wanted; `null` where it goes by a clock after another.
    pub(crate) want: Option<Want>,
    /// The limit, SI.
    pub(crate) limit: Option<f64>,
    /// Of which quantity.
    pub(crate) limit_of: Option<LimitOfName>,
    /// Where it comes from; empty without one.
    pub(crate) limit_from: String,
    /// Lag of the electronics' vertical speed as told, with its spread, s.
    pub(crate) lag_s: [f64; 2],
    /// Delay of electronics and mechanism as told, with its spread, s.
    pub(crate) delay_s: [f64; 2],
}

/// A step of the checklist.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct StepInfo {
    /// What to do.
    pub(crate) step: String,
    /// Who does it; empty if not told.
    pub(crate) who: String,
}
