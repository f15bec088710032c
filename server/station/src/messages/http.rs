//! The answers of the HTTP interface, and the bodies that a crew member's page sends.

use loftwatch_engine::setup::AreaKind;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::now::{CueKindName, names};

/// `GET /api/about`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct About {
    /// Version of the program.
    pub(crate) version: String,
    /// Version of the engine that made the figures.
    pub(crate) engine: String,
    /// Sentences that stand on every page that could be taken for more than advice.
    pub(crate) cautions: Vec<String>,
    /// Whether this browser may act (mark, name, end), or only look.
    pub(crate) can_act: bool,
}

/// `GET /api/site`: what was told.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct SiteInfo {
    /// Name of the site.
    pub(crate) site: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// The pad, WGS84, degrees, north positive.
    pub(crate) latitude_deg: f64,
    /// The pad, WGS84, degrees, east positive.
    pub(crate) longitude_deg: f64,
    /// The pad above mean sea level, m.
    pub(crate) elevation_m: f64,
    /// Named areas on the ground.
    pub(crate) areas: Vec<AreaInfo>,
    /// The bodies in order.
    pub(crate) bodies: Vec<BodyInfo>,
    /// Keys whose value is a default, with the value in words.
    pub(crate) defaults: Vec<(String, String)>,
    /// The cues in order.
    pub(crate) cues: Vec<CueInfo>,
}

/// A named area.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct AreaInfo {
    /// Name.
    pub(crate) name: String,
    /// What it is for.
    pub(crate) kind: AreaKindName,
    /// East and north of the pad, m.
    pub(crate) points_m: Vec<[f64; 2]>,
    /// Whether it is a polygon (else a line).
    pub(crate) closed: bool,
}

/// A body.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct BodyInfo {
    /// Name.
    pub(crate) name: String,
    /// Index of the body it is attached to until freed; `null` for the vehicle.
    pub(crate) parent: Option<u32>,
}

/// A cue.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CueInfo {
    /// Name.
    pub(crate) name: String,
    /// What it does.
    #[serde(rename = "kind")]
    pub(crate) does: CueKindName,
}

/// One flight, as listed by `GET /api/flights`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FlightInfo {
    /// Number.
    pub(crate) number: u32,
    /// Name, empty if not named.
    pub(crate) name: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// When it opened, station time.
    pub(crate) opened_s: f64,
    /// First motion, station time.
    pub(crate) liftoff_s: Option<f64>,
    /// When it ended, station time; `null` while it is open.
    pub(crate) ended_s: Option<f64>,
    /// Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed.
    pub(crate) apogee_m: Option<f64>,
    /// From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s.
    pub(crate) duration_s: Option<f64>,
}

/// `GET /api/flights/N`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FlightDetail {
    /// As listed.
    #[serde(flatten)]
    pub(crate) info: FlightInfo,
    /// What was told for this flight.
    pub(crate) site: SiteInfo,
}

/// `GET /api/flights/N/track?from_s=&to_s=&most=`: the past, decimated so that extremes are kept.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Track {
    /// One a body that has estimates.
    pub(crate) bodies: Vec<TrackBody>,
}

/// The past of one body, column by column. A `null` is a gap in the line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct TrackBody {
    /// Index of the body.
    pub(crate) body: u32,
    /// Station time.
    pub(crate) t_s: Vec<f64>,
    /// Median height above the pad, m.
    pub(crate) height_m: Vec<Option<f64>>,
    /// Median vertical speed, m/s.
    pub(crate) climb_mps: Vec<Option<f64>>,
    /// Median airspeed, m/s.
    pub(crate) airspeed_mps: Vec<Option<f64>>,
    /// East of the pad, m.
    pub(crate) east_m: Vec<Option<f64>>,
    /// North of the pad, m.
    pub(crate) north_m: Vec<Option<f64>>,
}

/// Any answer that is an error: what happened, what was kept, what to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct Problem {
    /// What happened.
    pub(crate) error: String,
    /// What was kept.
    pub(crate) kept: String,
    /// What to do.
    pub(crate) hint: String,
}

/// `POST /api/act`: what a crew member does. Taken from the station's own machine only.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum Act {
    /// Marks an event.
    Mark {
        /// What happened, in a few words.
        label: String,
        /// When, station time; now if left out.
        #[serde(default)]
        t_s: Option<f64>,
        /// Who marks it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Names the flight.
    Name {
        /// The name.
        name: String,
        /// Who names it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Ends the flight.
    End {
        /// Who ends it; may be empty.
        #[serde(default)]
        who: String,
    },
}

names! {
    /// What an area is for.
    #[ts(rename = "AreaKind")]
    AreaKindName of AreaKind {
        /// People; a line is the crowd line, people on the side away from the pad.
        People,
        /// Parked cars.
        Cars,
        /// A road.
        Road,
        /// Allowed landing area.
        Landing,
    }
}
