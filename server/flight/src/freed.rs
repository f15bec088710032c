//! A body that is still attached, as it will fly once it is let go: from there on with its own drag and no motor.

use crate::cues::moment_of;
use crate::filter::Filter;
use crate::mixture::join_all;
use crate::model::Model;
use crate::output::Phase;
use crate::plan::{MAX_CUES, Trigger};
use crate::predict::{Ahead, Summit, tops};
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
    /// that comes on the way up.
    pub(crate) fn carried(&self, m: &Model, body: usize) -> Self {
        let mut f = *self;
        f.body = body;
        match f.lets_go(m, body) {
            Some(let_go) if let_go.climb_mps >= RISES_MPS => f.freed_at(m, body, &let_go),
            _ => f,
        }
    }

    /// The same as one Gaussian, for a fraction of the work, and let go after apogee, too: its cues may follow soon. And the variance of
    /// that moment, s2.
    pub(crate) fn carried_to_its_cues(&self, m: &Model, body: usize) -> (Self, f64) {
        let mut f = *self;
        f.body = body;
        join_all(&mut f.blobs);
        match f.lets_go(m, body) {
            Some(let_go) => {
                let over = let_go.climb_mps < 0.0 && f.top.is_none();
                let mut freed = f.freed_at(m, body, &let_go);
                if over {
                    freed.comes_from_apogee(m, &f);
                }
                (freed, let_go.t_var)
            }
            None => (f, 0.0),
        }
    }

    /// When its cue lets a body go that is still attached. A release at a height is left out until it has come: the canopies on the way to
    /// it are not in a way ahead, which is carried on bare.
    fn lets_go(&self, m: &Model, body: usize) -> Option<LetGo> {
        let cue = m.plan.bodies.get(body).and_then(|b| b.freed_by)?;
        let has_come = self.cue_s.get(cue)?.is_some();
        if !has_come && comes_by_height(m, cue) {
            return None;
        }
        let (mut t_s, mut climb, mut t_var, mut all) = (0.0, 0.0, 0.0, 0.0);
        for (w, b) in self.weights().iter().zip(self.blobs.iter()) {
            let hit = moment_of(m, self, b, cue)?;
            t_s += w * hit.t_s;
            climb += w * hit.velocity[2];
            t_var += w * hit.t_var;
            all += w;
        }
        let delay = m.plan.cues[cue].delay_s.sd;
        (all > 0.0).then(|| LetGo {
            cue,
            t_s: (t_s / all).max(self.t_s),
            t_var: t_var / all + delay * delay,
            climb_mps: climb / all,
        })
    }

    /// Where it will be let go, by itself from then on.
    fn freed_at(&self, m: &Model, body: usize, let_go: &LetGo) -> Self {
        let mut f = *self;
        let mut regime = f.regime;
        for b in f.blobs.iter_mut() {
            let mut ahead = Ahead::from(m, self, b);
            ahead.reach_time(let_go.t_s);
            *b = ahead.blob;
            b.p[VU][VU] += 9.8 * 9.8 * let_go.t_var;
            regime = ahead.regime;
        }
        f.t_s = let_go.t_s;
        f.regime = regime;
        f.regime.coasts();
        f.regime.thrust_sd = 0.0;
        if f.top.is_none() {
            f.phase = Phase::Coasting;
        }
        f.canopy = None;
        f.cue_s[let_go.cue] = Some(let_go.t_s);
        f.flies_alone(m, body);
        f
    }

    /// Its apogee was its carrier's, which is still to come.
    fn comes_from_apogee(&mut self, m: &Model, carrier: &Self) {
        let mut summit = Summit::new();
        for (w, top) in carrier.weights().iter().zip(tops(m, carrier)) {
            if let Some(hit) = top {
                summit.add(*w, &hit);
            }
        }
        self.pass(&mut summit);
        self.phase = Phase::Descending;
    }
}

/// When a body is let go.
struct LetGo {
    cue: usize,
    t_s: f64,
    t_var: f64,
    climb_mps: f64,
}

/// Whether a cue comes at a height, or after one that does.
fn comes_by_height(m: &Model, cue: usize) -> bool {
    let mut at = cue;
    for _ in 0..MAX_CUES {
        match m.plan.cues.get(at).map(|c| c.trigger) {
            Some(Trigger::HeightBelow(_)) => return true,
            Some(Trigger::AfterCue(before, _)) => at = before,
            _ => return false,
        }
    }
    true
}
