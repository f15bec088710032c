//! What goes over the web socket and the HTTP interface, as types: the one schema, also for strangers' scripts.
//!
//! The same types in TypeScript (`web/src/lib/messages.ts`) are generated from here by a test, which fails when the
//! committed file differs. Times named `t_s` are station time in seconds: near UTC, never stepping. All figures are SI.
//! Limits: whole numbers stay below 2^53, figures are never NaN (an unknown one is `null`).

mod ground;
mod http;
mod now;
mod picture;
mod prepare;
#[cfg(test)]
mod typescript;

/// Replays the corpus of the fuzz target.
#[cfg(test)]
#[path = "../../../../tests/fuzz/check/messages.rs"]
pub(crate) mod check;

pub(crate) use ground::*;
pub(crate) use http::*;
pub(crate) use now::*;
pub(crate) use picture::*;
pub(crate) use prepare::*;

use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// What the station sends.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum Message {
    /// The newest state: complete in itself, at most 4 kB, at most 25 a second on average. A newer one replaces an unsent one.
    Now(Box<Now>),
    /// Predicted paths and landing areas: complete, at most 5 a second.
    Picture(Picture),
    /// What changes seldom: complete, on connecting and on change, at most 2 a second.
    Story(Story),
    /// The answer to a ping.
    Pong(Pong),
}

/// What a page sends. `play` and `seek` are understood on the socket of a replay only.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum Ask {
    /// Asks for the station's time; the shortest round trip gives the offset between the clocks.
    Ping {
        /// Any number, returned in the answer.
        id: u32,
        /// The page's own clock, ms, returned in the answer.
        sent_ms: f64,
    },
    /// Sets the rate of a private replay: 0 pauses, else 0.1 to 20.
    Play {
        /// Times real time.
        speed: f64,
    },
    /// Moves a private replay to an instant of its flight.
    Seek {
        /// Station time, s.
        t_s: f64,
    },
}

/// The answer to a ping.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Pong {
    /// As asked.
    pub(crate) id: u32,
    /// As asked.
    pub(crate) sent_ms: f64,
    /// Station time at which it was answered, s.
    pub(crate) t_s: f64,
}

/// A distribution by five quantiles: `p05` to `p95` is the 90 % interval, `p25` to `p75` the 50 % one.
/// The figures are rounded to about a fiftieth of the 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, TS)]
pub(crate) struct Q {
    /// 5 % quantile.
    pub(crate) p05: f64,
    /// 25 % quantile.
    pub(crate) p25: f64,
    /// Median.
    pub(crate) p50: f64,
    /// 75 % quantile.
    pub(crate) p75: f64,
    /// 95 % quantile.
    pub(crate) p95: f64,
}
