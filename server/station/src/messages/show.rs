//! What goes over the socket of the show, and the bodies of its requests.

use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// The show: a replay that one person drives and many watch.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct ShowNow {
    /// Number of the flight that is shown; `null` when there is no show.
    pub(crate) flight: Option<u32>,
    /// Its name, or the vehicle's.
    pub(crate) name: String,
    /// First instant that can be gone to, station time.
    pub(crate) from_s: f64,
    /// The last one.
    pub(crate) to_s: f64,
    /// Who drives, as they joined; empty where no name was given; `null` when nobody drives.
    pub(crate) driver: Option<String>,
    /// Whether it is this page.
    pub(crate) you_drive: bool,
    /// Whether this page may take the wheel.
    pub(crate) can_drive: bool,
    /// How many pages follow.
    pub(crate) followers: u32,
    /// Number of the flight that is in the air meanwhile, if one is: it is on Watch, and goes on undisturbed.
    pub(crate) in_the_air: Option<u32>,
}

/// A flight file was taken in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct TakenIn {
    /// Number of the flight here.
    pub(crate) number: u32,
    /// What it is called.
    pub(crate) label: String,
    /// What is to be said about it; empty when all is as it was where it came from.
    pub(crate) remark: String,
}

/// `POST /api/show`: begins a show, or ends it. Crew only.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, TS)]
pub(crate) struct ShowWanted {
    /// Number of the flight to show; `null` ends the show.
    pub(crate) flight: Option<u32>,
}
