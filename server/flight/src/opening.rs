//! What the plan opens on the way up: crews let a drogue out by vertical speed, some seconds before apogee, and time it by burnout or
//! liftoff. It brakes the climb that is left, so that apogee is lower, sooner and slower.

use crate::filter::Filter;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::plan::{MAX_CUES, Told, Trigger};
use crate::state::{Blob, LNK};

/// How long after the spread of its moment a device may still open on the way up, s; and how far below the told one, in standard deviations,
/// ln k is that of what is out.
const STILL_OPENS_S: f64 = 0.5;
const OUT_SD: f64 = 3.0;

/// A device that the plan opens before apogee.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Opening {
    pub(crate) cue: usize,
    /// When it is due, s, where that is known; else the climb rate that it waits for, m/s, and how long after that it is out, s.
    pub(crate) due_s: Option<f64>,
    pub(crate) climb_mps: f64,
    pub(crate) after_s: f64,
    /// Whether it waits for that.
    pub(crate) by_climb: bool,
    /// Spread of that moment, s.
    pub(crate) sd_s: f64,
    pub(crate) ln_k: f64,
    pub(crate) ln_k_sd: f64,
    pub(crate) drag_area_m2: f64,
    /// Whether it is a canopy, which takes time to fill.
    pub(crate) fills: bool,
}

impl Opening {
    /// The first of them that the plan still has, for a blob under which it is not out.
    pub(crate) fn before_apogee(m: &Model, f: &Filter, blob: &Blob) -> Option<Self> {
        if f.top.is_some() || !matches!(f.phase, Phase::Powered | Phase::Coasting) {
            return None;
        }
        let body = m.plan.bodies.get(f.body)?;
        body.descents.iter().find_map(|d| {
            let told = m.plan.cues.get(d.cue)?;
            let (ln_k, ln_k_sd) = (m.ln_k_under(body, d.drag_area_m2.value), told_ln_sd(&d.drag_area_m2));
            let mut o = Self {
                cue: d.cue,
                due_s: None,
                climb_mps: 0.0,
                after_s: 0.0,
                by_climb: false,
                sd_s: told.delay_s.sd,
                ln_k,
                ln_k_sd,
                drag_area_m2: d.drag_area_m2.value,
                fills: d.state.is_device(),
            };
            o.waits_for(m, f, d.cue, 0)?;
            // What should be out and is not, or is, is in the belief.
            let missed = f
                .cue_s
                .get(d.cue)
                .copied()
                .flatten()
                .is_some_and(|t| f.t_s > t + 2.0 * o.sd_s + STILL_OPENS_S);
            let out = blob.x[LNK] > ln_k - OUT_SD * ln_k_sd;
            (!missed && !out).then_some(o)
        })
    }

    /// What its cue waits for, on the way up; none where it waits for something later.
    fn waits_for(&mut self, m: &Model, f: &Filter, cue: usize, depth: usize) -> Option<()> {
        let told = m.plan.cues.get(cue)?;
        if let Some(t) = f.cue_s.get(cue).copied().flatten() {
            self.due_s = Some((t + self.after_s).max(f.t_s));
            return Some(());
        }
        self.after_s += told.delay_s.value;
        let marked = |k: EventKind| f.marked(k).map(|k| k.t_s);
        match told.trigger {
            Trigger::ClimbRateBelow(c) if c > 0.0 => self.climb_mps = c,
            Trigger::BeforeApogee(s) if s > 0.0 => self.climb_mps = climb_before_apogee(s),
            Trigger::AfterLiftoff(s) => self.due_s = Some(marked(EventKind::Liftoff)? + s + self.after_s),
            Trigger::AfterBurnout(s) => self.due_s = Some(marked(EventKind::Burnout)? + s + self.after_s),
            Trigger::AfterCue(c, s) if depth < MAX_CUES => {
                self.after_s += s;
                return self.waits_for(m, f, c, depth + 1);
            }
            _ => return None,
        }
        self.by_climb = self.due_s.is_none();
        Some(())
    }
}

/// Climb rate so many seconds before apogee, m/s, where drag is next to nothing.
pub(crate) fn climb_before_apogee(s: f64) -> f64 {
    9.8 * s
}

/// Spread of a told area's logarithm.
pub(crate) fn told_ln_sd(area: &Told) -> f64 {
    (area.sd / area.value.max(1e-9)).clamp(0.1, 0.6)
}
