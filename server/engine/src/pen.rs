//! Where outputs are written down, with the marks that all of them carry.

use crate::{Output, Said};

/// Which input, which instants, which flight.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub(crate) struct Marks {
    /// Newest input.
    pub(crate) input: u64,
    /// Now, station time ns.
    pub(crate) t_ns: i64,
    /// Newest packet used, station time ns.
    pub(crate) t_receive_ns: i64,
    /// UTC minus station time of that packet, ns.
    pub(crate) utc_offset_ns: i64,
}

impl Marks {
    /// For how long nothing has been heard, ns.
    pub(crate) fn quiet_ns(&self) -> i64 {
        self.t_ns.saturating_sub(self.t_receive_ns)
    }
}

/// Writes outputs.
pub(crate) struct Pen<'a> {
    pub(crate) out: &'a mut Vec<Output>,
    pub(crate) marks: Marks,
    pub(crate) epoch_ns: i64,
    /// Number of the flight that what follows belongs to.
    pub(crate) flight: u32,
}

impl Pen<'_> {
    /// Writes one output down.
    pub(crate) fn say(&mut self, what: Said) {
        let Marks { input, t_ns, t_receive_ns, utc_offset_ns } = self.marks;
        self.out.push(Output { input, t_ns, t_receive_ns, utc_offset_ns, flight: self.flight, what });
    }
    /// Now, s on the engine's axis.
    pub(crate) fn t_s(&self) -> f64 {
        self.axis_s(self.marks.t_ns)
    }
    /// Station time to seconds on the engine's axis.
    pub(crate) fn axis_s(&self, t_ns: i64) -> f64 {
        axis_s(self.epoch_ns, t_ns)
    }
    /// Seconds on the engine's axis to station time.
    pub(crate) fn station_ns(&self, t_s: f64) -> i64 {
        self.epoch_ns.saturating_add(libm::round(t_s * 1e9) as i64)
    }
}

/// Station time to seconds on the axis that begins at the epoch.
pub(crate) fn axis_s(epoch_ns: i64, t_ns: i64) -> f64 {
    t_ns.saturating_sub(epoch_ns) as f64 * 1e-9
}
