//! A carrier that nobody hears: what a body that it carries sends is where it is, too.

use serde::{Deserialize, Serialize};

use crate::filter::Filter;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::pad::Zero;
use crate::sample::Sample;

/// How long a carrier is silent before another stands in for it, in flight and on the pad, s: packets are lost, and a zero is no
/// matter of a moment.
const SILENT_S: f64 = 1.0;
const SILENT_ON_PAD_S: f64 = 10.0;
/// What an accelerometer along the nose reads while it stands, m/s2: a piece may lie in its carrier any way.
const STANDS_MPS2: core::ops::Range<f64> = 8.3..11.3;

/// Who is heard of those that fly together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Heard {
    /// Newest sample of its own transmitter, s.
    own_s: Option<f64>,
    /// Who stands in, and that one's newest sample, s.
    other: Option<(usize, f64)>,
}

impl Heard {
    /// Takes note of a sample of its own; says whether until now only others were heard, so that what was learnt on the pad is theirs.
    pub(crate) fn own(&mut self, t_s: f64) -> bool {
        let first = self.own_s.is_none() && self.other.is_some();
        self.own_s = Some(self.own_s.map_or(t_s, |own| own.max(t_s)));
        first
    }

    /// Whether its own transmitter has been silent for a while before an instant.
    fn is_silent(&self, f: &Filter, t_s: f64) -> bool {
        let wait_s = if f.phase == Phase::Waiting { SILENT_ON_PAD_S } else { SILENT_S };
        self.own_s.is_none_or(|own| t_s > own + wait_s)
    }

    /// What a body that it carries says, as if it had said so itself: one of them at a time.
    pub(crate) fn by_other(
        &mut self,
        m: &Model,
        own: &Filter,
        other: &Filter,
        s: &Sample,
        root: usize,
    ) -> Option<Sample> {
        let taken = self.other.is_some_and(|(who, t_s)| who != s.body && s.t_s < t_s + SILENT_S);
        if taken || !self.is_silent(own, s.t_s) {
            return None;
        }
        self.other = Some((s.body, self.other.map_or(s.t_s, |(_, t_s)| t_s.max(s.t_s))));
        let on_pad_s = own.marked(EventKind::Liftoff).map_or(s.t_s, |l| l.t_s);
        let zero = |f: &Filter| f.pad.zero(Zero::Baro, on_pad_s, 0.0).map(|z| m.air.pressure_pa(z.value));
        // Two barometers differ by as much as they did on the pad.
        let apart_pa = match (self.own_s, zero(own), zero(other)) {
            (Some(_), Some(own), Some(other)) => own - other,
            _ => 0.0,
        };
        let never = self.own_s.is_none();
        let upright =
            other.pad.zero(Zero::Axial, on_pad_s, 0.0).is_some_and(|z| STANDS_MPS2.contains(&z.value));
        Some(Sample {
            body: root,
            boot: own.boot,
            pressure_pa: s.pressure_pa.map(|p| p + apart_pa),
            axial_mps2: s.axial_mps2.filter(|_| never && upright),
            lateral_mps2: None,
            tilt_rad: None,
            own_height_m: s.own_height_m.filter(|_| never),
            own_climb_mps: s.own_climb_mps.filter(|_| never),
            ..*s
        })
    }
}
