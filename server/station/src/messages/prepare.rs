//! What pages get for the time before a flight.

use loftwatch_prepare::{Clash, Margin, Picture, Want};
use loftwatch_setup::{Edit, Section};
use serde::{Deserialize, Serialize};
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

/// `GET /api/prepare/figures`, for crew: the setup file as a form.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FiguresForm {
    /// Tells this state of the file from others.
    pub(crate) edition: String,
    /// The file's name, without the folder.
    pub(crate) name: String,
    /// Figures that stand together.
    pub(crate) sections: Vec<Section>,
}

/// `POST /api/prepare/figures`: changes of the form.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
pub(crate) struct FiguresWanted {
    /// As it was got.
    pub(crate) edition: String,
    /// The changes, in order.
    pub(crate) edits: Vec<Edit>,
    /// Only looked at: nothing is changed.
    #[serde(default)]
    pub(crate) check: bool,
    /// Who wants it; may be empty.
    #[serde(default)]
    pub(crate) who: String,
}

/// A copy of a vehicle that was kept. `POST /api/prepare/vehicles` keeps one of the setup file as it is, or takes one.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct VehicleCopy {
    /// Its number.
    pub(crate) id: String,
    /// Name of the vehicle.
    pub(crate) name: String,
    /// Mass at liftoff as told, kg.
    pub(crate) mass_kg: String,
    /// Total impulse as told, N s.
    pub(crate) impulse_ns: String,
    /// When it was kept, UTC seconds.
    pub(crate) kept_utc_s: f64,
}

/// `POST /api/prepare/vehicles`
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum VehicleWanted {
    /// Keeps a copy of the setup file as it is.
    Keep,
    /// Takes vehicle, motors, bodies and cues of a copy into the setup file; site, weather, links and layouts stay.
    Take {
        /// Number of the copy.
        id: String,
        /// Edition of the file, as it was got.
        edition: String,
        /// Only looked at: nothing is changed.
        #[serde(default)]
        check: bool,
    },
}

/// `GET /api/prepare/learned`: what earlier flights of this vehicle taught, offered for the setup.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Learned {
    /// In a sentence.
    pub(crate) words: String,
    /// From which flights.
    pub(crate) from: String,
    /// The figures that it comes to.
    pub(crate) figures: Vec<LearnedFigure>,
}

/// A figure that was learned.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LearnedFigure {
    /// Its key in the form.
    pub(crate) key: String,
    /// Its value, in the form's unit.
    pub(crate) value: String,
}
