//! A body that is still attached, as it will fly once it is let go: from there on with its own drag and no motor.

use crate::cues::moment_of;
use crate::filter::Filter;
use crate::mixture::join_all;
use crate::model::Model;
use crate::predict::Ahead;
use crate::state::{LNK, PORT, VE, VU};

/// Least climb rate at its release from which on a body's own flight is another one than the carrier's, m/s: later all of it comes from
/// apogee.
const RISES_MPS: f64 = 3.0;
/// Spread of the push that lets it go, m/s, and of ln k from then on (common practice, no source).
const PUSH_SD_MPS: f64 = 2.0;
const BARE_LN_SD: f64 = 0.6;
/// Spread of its static port's error over the dynamic pressure: the ports are its own, and lie behind an edge (common practice, no source).
const BARE_PORT_SD: f64 = 0.03;

impl Filter {
    /// What the body itself is and has from the moment on when it flies alone.
    pub(crate) fn flies_alone(&mut self, m: &Model, body: usize) {
        self.body = body;
        self.regime.burning = false;
        // Whatever is still to be lit is the carrier's.
        self.regime.stage = m.stages.len();
        for b in self.blobs.iter_mut() {
            b.x[LNK] = m.bare_ln_k[body.min(m.bare_ln_k.len() - 1)];
            b.reopen(LNK, BARE_LN_SD * BARE_LN_SD);
            b.x[PORT] = 0.0;
            b.reopen(PORT, BARE_PORT_SD * BARE_PORT_SD);
            for i in VE..=VU {
                b.p[i][i] += PUSH_SD_MPS * PUSH_SD_MPS;
            }
        }
    }

    /// The belief about a body that this one carries, as far as it is another one than the carrier's: at the moment when it is let go, if
    /// that comes on the way up. As one Gaussian where `as_one`: for a fraction of the work.
    pub(crate) fn carried(&self, m: &Model, body: usize, as_one: bool) -> Self {
        let mut f = *self;
        f.body = body;
        if as_one {
            join_all(&mut f.blobs);
        }
        let cue = m.plan.bodies.get(body).and_then(|b| b.freed_by);
        let Some(cue) = cue.filter(|c| f.top.is_none() && self.cue_s.get(*c).is_some_and(Option::is_none))
        else {
            return f;
        };
        let weights = f.weights();
        let (mut at_s, mut climb, mut spread, mut all) = (0.0, 0.0, 0.0, 0.0);
        for (w, b) in weights.iter().zip(f.blobs.iter()) {
            let Some(hit) = moment_of(m, &f, b, cue) else { return f };
            at_s += w * hit.t_s;
            climb += w * hit.velocity[2];
            spread += w * hit.t_var;
            all += w;
        }
        if all <= 0.0 || climb < RISES_MPS * all {
            return f;
        }
        let at_s = (at_s / all).max(f.t_s);
        let delay = m.plan.cues[cue].delay_s.sd;
        let late_var = 9.8 * 9.8 * (spread / all + delay * delay);
        let mut regime = f.regime;
        let before = f;
        for b in f.blobs.iter_mut() {
            let mut ahead = Ahead::from(m, &before, b);
            ahead.reach_time(at_s);
            *b = ahead.blob;
            b.p[VU][VU] += late_var;
            regime = ahead.regime;
        }
        f.t_s = at_s;
        f.regime = regime;
        f.regime.coasts();
        f.regime.thrust_sd = 0.0;
        f.phase = crate::output::Phase::Coasting;
        f.canopy = None;
        f.cue_s[cue] = Some(at_s);
        f.flies_alone(m, body);
        f
    }
}
