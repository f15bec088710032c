//! The part of the message `story` that is about the ground: where each piece is, from the pad, and what may still be live.

use serde::Serialize;
use ts_rs::TS;

/// Where the pieces are. Nothing in it says that the range is open: that is for its officer.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct GroundNow {
    /// What a compass shows at the pad; `null` where the model says nothing (another year, near a magnetic pole).
    pub(crate) compass: Option<CompassNow>,
    /// The pieces, in the order of the setup; empty before the first is down.
    pub(crate) pieces: Vec<PieceNow>,
}

/// Magnetic declination: a compass shows the true bearing less this.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CompassNow {
    /// Declination, degrees, east positive.
    pub(crate) declination_deg: f64,
    /// One standard deviation of it by the model's own error model, degrees.
    pub(crate) sd_deg: f64,
    /// Whether the field is so weak there that a compass is to be used with caution (below 6,000 nT horizontally).
    pub(crate) caution: bool,
    /// The model, as `WMM2025`.
    pub(crate) model: String,
    /// The day for which it was computed, as `2026-11-26` (UTC).
    pub(crate) date: String,
}

/// One piece.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct PieceNow {
    /// Index of the body.
    pub(crate) body: u32,
    /// Index of the body that carries it, when nothing says that it was freed.
    pub(crate) carried_by: Option<u32>,
    /// Whether it (or what carries it) is known to be down.
    pub(crate) down: bool,
    /// Where it is; `null` when that is not known, and for a piece that is carried.
    pub(crate) place: Option<PlaceNow>,
    /// Charges that are not confirmed fired: to be treated as live.
    pub(crate) charges: Vec<ChargeNow>,
}

/// A place and its way from the pad: the geodesic on WGS84 (Karney 2013).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub(crate) struct PlaceNow {
    /// WGS84, degrees, north positive.
    pub(crate) latitude_deg: f64,
    /// WGS84, degrees, east positive.
    pub(crate) longitude_deg: f64,
    /// 90 % radius, m; `null` for a bare fix of which nobody knows how good it is.
    pub(crate) radius_m: Option<f64>,
    /// From the pad, m.
    pub(crate) distance_m: f64,
    /// From the pad, degrees from true north, clockwise.
    pub(crate) true_deg: f64,
    /// From the pad, degrees as a compass there shows.
    pub(crate) compass_deg: Option<f64>,
}

/// A charge that is not confirmed fired.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct ChargeNow {
    /// Name of its cue, or of its channel where no cue has it.
    pub(crate) name: String,
    /// What the radio last said of it.
    pub(crate) said: ChargeSaid,
}

/// What the radio last said of a charge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, TS)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ChargeSaid {
    /// Nothing: no packet has a word for it, or none came.
    Nothing,
    /// That it has not fired.
    NotFired,
    /// That it was commanded; a command is no firing.
    Commanded,
    /// That it is armed and has not fired.
    Armed,
}
