//! Which stage of the flight this is, and the moments between.
//!
//! Burnout is where the specific force crosses zero (or the told end of thrust, where none is felt); a later stage
//! lights when it is felt again, or at its told time; apogee is where the mean climb rate crosses zero. No change
//! hangs on one packet: what a lost one would have shown, the next two show as well.

use libm::sqrt;

use crate::canopy::CANOPY_LATE_S;
use crate::filter::{Canopy, Filter, Mark, Top};
use crate::model::Model;
use crate::opening::told_ln_sd;
use crate::output::{EventKind, Origin, Phase};
use crate::plan::{CueKind, DescentState, Told, Trigger};
use crate::predict::{Hit, Summit};
use crate::sensors::Channel;
use crate::state::{AB, AS, Blob, D, E, LNK, TAU, VU};

/// Spread of thrust's tail after the force has crossed zero, over drag, and how many time constants it lasts (common practice, no source).
/// Larger: drag is learnt later; smaller: a tail is taken for less drag.
const TAIL_SD: f64 = 0.3;
pub(crate) const TAIL_OVER_TAU: f64 = 7.0 / 3.0;
/// How much shorter and longer than the told burn's a tail may be by how steeply the force fell to zero, over it.
const TAIL_SHORTER: f64 = 0.4;
const TAIL_LONGER: f64 = 2.5;
/// Time constant where no burn is told, s.
const TAIL_UNTOLD_S: f64 = 0.15;

/// How long thrust takes to fall at the end, s (usual grains; common practice, no source).
pub(crate) const FALLS_S: f64 = 0.12;
/// What more force than before, over it, says that thrust is still fading; how long after the told burn that may go on, over
/// the burn and in s.
const DEEPER_SHARE: f64 = 0.01;
const LONGEST_TAIL_SHARE: f64 = 0.5;
const LONGEST_TAIL_S: f64 = 0.5;
/// Share of the mean thrust that a force falls by between two values where it falls slowly, and what an accelerometer's offset leaves open,
/// m/s2 (common practice, no source).
const SLOWLY_SHARE: f64 = 0.35;
const FORCE_OFF_MPS2: f64 = 0.3;
/// Share of drag that must be felt before thrust is taken to be over ahead of its told time.
const SUSTAINED_SHARE: f64 = 0.35;
/// Told thrust over drag that is not worth minding; and, where no curve is told, until which share of the burn how much of the drag must be
/// felt: nobody's motor is over so soon, but many have a tail that long (common practice, no source).
const LEAST_TOLD_SHARE: f64 = 0.3;
const TAIL_FROM_SHARE: f64 = 0.6;
const DRAG_ALONE_SHARE: f64 = 0.75;
/// Drag too faint to be told from a thrust that fades, m/s2.
const FAINT_DRAG_MPS2: f64 = 12.0;
/// Time after the told burn within which an apogee may have been called too soon, s.
const EARLY_S: f64 = 1.0;
/// Climb rate from which an apogee that was called is taken back, m/s.
const STILL_CLIMBING_MPS: f64 = 8.0;
/// Force across the path of what falls or hangs that is not known, over the one along it.
const FALLS_ROUGHLY: f64 = 0.08;
/// Silence of the accelerometer after which a stage is taken to light at its told time, s.
pub(crate) const FELT_S: f64 = 0.6;
/// ln k within which a main is taken to be out before its cue.
const OUT_ALREADY_LN: f64 = 0.5;
/// How well the moment of a cue's action has to be told to count, s, and how near to it is as thought.
const TOLD_WITHIN_S: f64 = 1.0;
const TOLD_NEAR_S: f64 = 0.3;

impl Filter {
    /// Corrected specific force for the eye on burnout and ignition; called before the belief takes it.
    pub(crate) fn watch_force(&mut self, m: &Model, t_s: f64, z: f64) {
        if self.about.is_some() {
            return;
        }
        let w = self.weights();
        let f = self.unbiased(z);
        let Some(stage) = m.stages.get(self.regime.stage) else { return };
        let since = t_s - self.regime.ignition_s;
        if self.regime.burning {
            self.watch_crossing(t_s, f, stage.mean_mps2());
            let small = f < 0.04 * stage.mean_mps2() && since > 0.75 * stage.burn_s;
            let (mut drag, mut thrust) = (0.0, 0.0);
            for (w, b) in w.iter().zip(self.blobs.iter()) {
                let force = crate::motion::axial_force(m, &self.regime, b, t_s);
                (drag, thrust) = (drag + w * force.drag, thrust + w * force.thrust);
            }
            // A draggy body may fly for seconds on a thrust that equals its drag: not before the told end does a force just
            // below zero mean that thrust is over. Nor does any, while one is told that is less than drag, that is nearer to
            // the two than to drag alone.
            let early = since < 0.9 * stage.burn_s;
            let pushes_on = stage.has_curve && thrust > LEAST_TOLD_SHARE * drag && f > 0.5 * thrust - drag;
            // Where no curve is told it may be a long tail.
            let flat = !stage.has_curve && stage.tells_burn_time() && since < TAIL_FROM_SHARE * stage.burn_s;
            let share = if flat { DRAG_ALONE_SHARE } else { SUSTAINED_SHARE };
            let below = if early { (share * drag).max(0.5) } else { 0.5 };
            let faded = small && (drag < FAINT_DRAG_MPS2 || (f < 0.5 && below <= 0.5));
            let over = !pushes_on && ((f < -below && since > 0.2 * stage.burn_s) || faded);
            if over {
                if self.tally == 0 {
                    // Remember the last powered value to date the crossing between the two.
                    let (t1, f1) = self.force.unwrap_or((t_s - 0.05, 0.0));
                    let gap = (t_s - t1).max(0.0);
                    // Thrust falls within a tenth of a second: in a longer gap the crossing may be anywhere.
                    let falls = f1 > f && gap < FALLS_S;
                    let share = if falls { (f1 / (f1 - f)).clamp(0.3, 1.0) } else { 0.5 };
                    self.over_s = t1 + share * gap;
                    let (t_s, sd_s) = self.crossed.unwrap_or((self.over_s, 0.29 * gap + 0.02));
                    let kind = self.regime.burnout();
                    self.marks[kind as usize] = Some(Mark { t_s, sd_s, origin: Origin::Detected });
                }
                self.tally += 1;
                self.under = Some((t_s, f));
            } else {
                if self.tally > 0 {
                    let kind = self.regime.burnout();
                    self.marks[kind as usize] = None;
                }
                self.tally = 0;
                self.force = Some((t_s, f));
            }
        } else if self.phase == Phase::Coasting {
            self.watch_tail(t_s, f, told_s(m, &self.regime));
            let next = self.regime.stage + 1;
            if next < m.stages.len() {
                if f > 0.25 * m.stages[next].mean_mps2() {
                    self.tally += 1;
                    if self.tally == 1 {
                        let t1 = self.force.map_or(t_s - 0.05, |v| v.0);
                        let gap = (t_s - t1).max(0.0);
                        self.mark(EventKind::ignition_of(next), t1 + 0.5 * gap, 0.29 * gap + 0.02);
                    }
                } else {
                    if self.tally > 0 {
                        self.marks[EventKind::ignition_of(next) as usize] = None;
                    }
                    self.tally = 0;
                    self.force = Some((t_s, f));
                }
            }
        }
    }

    /// When the force falls below nothing for good: that is burnout, however long a tail goes on pushing less than drag brakes.
    fn watch_crossing(&mut self, t_s: f64, f: f64, mean_mps2: f64) {
        if f >= 0.0 {
            self.pushing = Some((t_s, f));
            self.crossed = None;
        } else if let (Some((t1, f1)), None) = (self.pushing, self.crossed) {
            let (gap, fell) = ((t_s - t1).max(0.0), (f1 - f).max(1e-3));
            // What falls by a large part of its thrust between two values may have done so at any time between them.
            let slowly = gap < FALLS_S || fell < SLOWLY_SHARE * mean_mps2;
            let (share, open) = if slowly { (f1 / fell, 0.1) } else { (0.5, 0.29) };
            let noise = sqrt(self.sensors.variance(Channel::Axial) + FORCE_OFF_MPS2 * FORCE_OFF_MPS2);
            self.crossed = Some((t1 + share * gap, (open + noise / fell) * gap + 0.02));
        }
    }

    /// A force with the accelerometer's likely errors taken off.
    pub(crate) fn unbiased(&self, z: f64) -> f64 {
        let (mut ab, mut scale) = (0.0, 0.0);
        for (w, b) in self.weights().iter().zip(self.blobs.iter()) {
            ab += w * b.x[AB];
            scale += w * b.x[AS];
        }
        (z - ab) / (1.0 + scale)
    }

    /// Drag alone only gets less in coast: as long as the body is held back more and more, thrust is still fading.
    fn watch_tail(&mut self, t_s: f64, f: f64, burn_s: f64) {
        let since = t_s - self.regime.burnt_out_s;
        let out_s = t_s - self.regime.ignition_s;
        let deeper = f < self.deepest - sqrt(self.sensors.variance(Channel::Axial)) - DEEPER_SHARE * f.abs();
        if since < TAIL_OVER_TAU * self.regime.thrust_tau_s
            && out_s < (1.0 + LONGEST_TAIL_SHARE) * burn_s + LONGEST_TAIL_S
            && deeper
        {
            self.regime.burnt_out_s = t_s;
        }
        self.deepest = self.deepest.min(f);
    }

    /// After the belief took the force: ends or begins a burn that the eye has seen.
    pub(crate) fn after_force(&mut self, m: &Model, t_s: f64) {
        if self.about.is_some() {
            return;
        }
        if self.regime.burning {
            let told = told_s(m, &self.regime);
            let late = t_s - self.regime.ignition_s > 0.8 * told;
            if self.tally >= 2 || (self.tally == 1 && late) {
                self.end_burn(m, t_s);
            }
        } else if self.tally >= 1
            && self.phase == Phase::Coasting
            && let Some(mark) = self.marked(EventKind::ignition_of(self.regime.stage + 1))
        {
            let next = self.regime.stage + 1;
            if next < m.stages.len() {
                self.begin_burn(m, next, mark.t_s, true);
                self.phase = Phase::Powered;
                // What the force said beyond the told curve is not known yet: it is opened.
                let mean = m.stages[next].mean_mps2();
                for b in self.blobs.iter_mut() {
                    b.x[D] = 0.0;
                    b.reopen(D, 0.25 * mean * mean);
                }
                self.has_pushed(m, mean, (t_s - mark.t_s).max(0.0), mark.sd_s);
            }
        }
    }

    /// A stage that lit `since_s` ago, give or take, has pushed since then.
    fn has_pushed(&mut self, m: &Model, mean_mps2: f64, since_s: f64, sd_s: f64) {
        let (gained, gained_sd) = (mean_mps2 * since_s, mean_mps2 * (sd_s + 0.3 * since_s));
        for b in self.blobs.iter_mut() {
            let (a, v) = crate::motion::airspeed(m, &b.x);
            let u = a.map(|a| a / v.max(1.0));
            b.gain_speed(u, gained, gained_sd, since_s);
        }
    }

    /// Takes back that the burn is over.
    pub(crate) fn keep_burning(&mut self, m: &Model) {
        let Some(s) = m.stages.get(self.regime.stage) else { return };
        let kind = self.regime.burnout();
        self.marks[kind as usize] = None;
        self.phase = Phase::Powered;
        self.burns(s, true);
    }

    /// How fast the force fell to where it crossed zero, m/s3. Where its last value under power was felt before it began to fall
    /// that is too slow, and the tail is taken for longer than it is.
    fn fall_mps3(&self) -> Option<f64> {
        let (t1, f1) = self.force?;
        let (t2, f2) = self.under?;
        (t2 > t1 && f1 > f2).then(|| (f1 - f2) / (t2 - t1))
    }

    /// Thrust is over but for its tail.
    pub(crate) fn end_burn(&mut self, m: &Model, t_s: f64) {
        // Where the force crosses zero thrust still equals drag: it fades from something between nothing and drag, as steeply as
        // the force fell.
        let kind = self.regime.burnout();
        let mut most_left = 0.0f64;
        for b in self.blobs.iter_mut() {
            let f = crate::motion::axial_force(m, &self.regime, b, t_s);
            let left = (b.x[D] + f.thrust).clamp(0.0, f.drag.max(1.0));
            most_left = most_left.max(left);
            b.x[D] = left;
            b.reopen(D, 1.0 + 0.16 * f.drag * f.drag);
            b.x[TAU] = 0.0;
            b.reopen(TAU, 1e-6);
        }
        if self.regime.stage == 0 && self.about.is_none() {
            self.doubt_offset(m);
        }
        self.regime.burning = false;
        // The tail of thrust is not told apart from less drag while it lasts.
        let felt_over = self.over_s > self.regime.ignition_s && self.over_s <= t_s;
        self.regime.burnt_out_s =
            if felt_over { self.over_s } else { self.marked(kind).map_or(t_s, |k| k.t_s) };
        self.regime.thrust_sd = TAIL_SD * self.most_drag(m);
        let told = tail_tau_s(m, &self.regime);
        self.regime.thrust_tau_s = self
            .fall_mps3()
            .map_or(told, |rate| (most_left / rate).clamp(TAIL_SHORTER * told, TAIL_LONGER * told));
        self.regime.coasts();
        self.phase = Phase::Coasting;
        self.tally = 0;
        self.deepest = self.force.map_or(0.0, |f| f.1.min(0.0));
        self.force = None;
    }

    /// The greatest drag that any blob thinks of, m/s2.
    fn most_drag(&self, m: &Model) -> f64 {
        let drag = |b| crate::motion::axial_force(m, &self.regime, b, self.t_s).drag;
        self.blobs.iter().map(drag).fold(1.0, f64::max)
    }

    /// Before a slice of time is carried.
    pub(crate) fn before_slice(&mut self, m: &Model) {
        if self.may_hang() {
            self.regime.ln_k_rate = if self.t_s < self.open_until_s { 0.5 } else { 0.08 };
            self.regime.rough = FALLS_ROUGHLY;
        }
        if !self.regime.burning && self.regime.thrust_sd > 0.0 {
            // Nothing lights a tail again: what may still come of it fades as it does.
            let taus = (self.t_s - self.regime.burnt_out_s).max(0.0) / self.regime.thrust_tau_s;
            self.regime.thrust_sd =
                if taus > TAIL_OVER_TAU { 0.0 } else { TAIL_SD * self.most_drag(m) * libm::exp(-taus) };
        }
        if self.regime.burning && self.told_burn_over(m) {
            self.regime.thrust_tau_s = self.regime.thrust_tau_s.min(tail_tau_s(m, &self.regime));
        }
        // Without an accelerometer a later stage lights at its told time.
        if self.phase == Phase::Coasting && !self.feels(FELT_S) {
            let next = self.regime.stage + 1;
            let kind = self.regime.burnout();
            if let (Some(stage), Some(out)) = (m.stages.get(next), self.marked(kind)) {
                let due = out.t_s + stage.ignition_after_s;
                if self.t_s >= due && self.t_s < due + 1.0 {
                    let sd = sqrt(out.sd_s * out.sd_s + stage.ignition_sd_s * stage.ignition_sd_s);
                    self.mark(EventKind::ignition_of(next), due, sd);
                    self.begin_burn(m, next, due, false);
                    self.phase = Phase::Powered;
                    let (mean, since) = (stage.mean_mps2(), self.t_s - due);
                    self.has_pushed(m, mean, since, sd);
                }
            }
        }
    }

    /// Whether the axial accelerometer was heard within this many seconds.
    pub(crate) fn feels(&self, within_s: f64) -> bool {
        self.force.is_some_and(|f| self.t_s - f.0 < within_s)
    }

    /// After a slice of time was carried.
    pub(crate) fn after_slice(&mut self, m: &Model) {
        if self.phase == Phase::Powered
            && self.regime.stage == 0
            && self.marked(EventKind::RailExit).is_none()
        {
            let w = self.weights();
            let (mut along, mut speed) = (0.0, 0.0);
            for (w, b) in w.iter().zip(self.blobs.iter()) {
                for i in 0..3 {
                    along += w * b.x[E + i] * b.rail[i];
                    speed += w * b.x[3 + i] * b.rail[i];
                }
            }
            if along >= m.rail_length_m {
                let back = ((along - m.rail_length_m) / speed.max(1.0)).clamp(0.0, 0.3);
                let sd = self.marked(EventKind::Liftoff).map_or(0.1, |l| l.sd_s);
                self.mark(EventKind::RailExit, self.t_s - back, sd + 0.03);
                self.loosen_from_rail(m);
            }
        }
        if let Some(told) = self.told_out
            && self.regime.burning
            && self.regime.stage == 0
            && self.is_blind()
            && self.t_s >= told.value
        {
            let out = crate::tracker::noticed(told);
            self.mark(EventKind::Burnout, out.value, out.sd);
            let t = self.t_s;
            self.end_burn(m, t);
        }
        if self.phase == Phase::Powered {
            // Thrust is told to be over and nothing feels it: it is over.
            let silent = !self.feels(0.6);
            if silent && self.told_burn_over(m) {
                let w = self.weights();
                let stage = m.stages.get(self.regime.stage);
                let lasts_s = |b: &Blob| stage.map_or(1.0, |s| s.lasts_s(b));
                let mean = w.iter().zip(self.blobs.iter()).fold(0.0, |sum, (w, b)| sum + w * lasts_s(b));
                let mut var = 0.0;
                for (w, b) in w.iter().zip(self.blobs.iter()) {
                    let (off, own) = (lasts_s(b) - mean, stage.map_or(0.0, |s| s.lasts_sd_s(b)));
                    var += w * (off * off + own * own);
                }
                let kind = self.regime.burnout();
                let told = told_s(m, &self.regime);
                for b in self.blobs.iter_mut() {
                    if let Some(stage) = stage {
                        stage.has_spent(b, crate::motion::heading(m, b));
                    }
                }
                let lit = EventKind::ignition_of(self.regime.stage);
                let lit_sd = self.marked(lit).map_or(0.0, |k| k.sd_s);
                let sd = sqrt(var + lit_sd * lit_sd + 0.05 * 0.05 * told * told);
                self.mark(kind, self.regime.ignition_s + mean, sd);
                let t = self.t_s;
                self.ends_as_told();
                self.end_burn(m, t);
            }
        }
        self.settle_phase(m);
        self.ground_by_physics();
    }

    /// Apogee, cues that have come, and the way back where apogee was called too soon.
    pub(crate) fn settle_phase(&mut self, m: &Model) {
        if self.blobs.is_empty() {
            return;
        }
        if matches!(self.phase, Phase::Coasting | Phase::Powered | Phase::Joined) {
            let (climb, _) = self.moments(VU);
            let flown = self.marked(EventKind::Liftoff).map_or(10.0, |l| self.t_s - l.t_s);
            let under_power = self.regime.burning && flown < 1.5;
            if climb < 0.0 && !under_power && flown > 0.5 {
                self.pass_apogee(m);
            }
        }
        self.take_back_apogee(m);
        self.watch_cues(m);
    }

    /// What climbs fast, beyond doubt, has not passed its apogee: it was called too soon, by a belief that was wrong.
    fn take_back_apogee(&mut self, m: &Model) {
        // Later an ejection charge's pressure looks like a climb.
        if self.phase != Phase::Descending || !self.apogee_is_early(m) {
            return;
        }
        let (climb, var) = self.moments(VU);
        if climb - 2.5 * sqrt(var) < STILL_CLIMBING_MPS {
            return;
        }
        self.phase = Phase::Coasting;
        self.marks[EventKind::Apogee as usize] = None;
        self.top = None;
        self.canopy = None;
        self.regime.coasts();
        for (cue, at) in m.plan.cues.iter().zip(&mut self.cue_s) {
            if !matches!(cue.trigger, Trigger::AfterLiftoff(_) | Trigger::AfterBurnout(_)) {
                *at = None;
            }
        }
        let stage = self.regime.stage.min(m.stages.len().saturating_sub(1));
        if let Some(told) = m.stages.get(stage) {
            for b in self.blobs.iter_mut() {
                b.x[LNK] = told.ln_k;
                b.reopen(LNK, told.ln_k_sd * told.ln_k_sd);
            }
        }
    }

    /// Whether apogee was called so soon after the told burn that it may have been called wrongly.
    pub(crate) fn apogee_is_early(&self, m: &Model) -> bool {
        let burn_s = m.stages.first().map_or(0.0, |s| s.burn_s);
        let flown_s =
            self.marked(EventKind::Apogee).zip(self.marked(EventKind::Liftoff)).map(|(a, l)| a.t_s - l.t_s);
        flown_s.is_some_and(|s| s < burn_s + EARLY_S)
    }

    fn pass_apogee(&mut self, m: &Model) {
        let mut summit = Summit::new();
        let w = self.weights();
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            let hit = Hit::here(m, &self.regime, b, self.t_s, crate::predict::Crossing::Climb(0.0));
            summit.add(*w, &hit);
        }
        self.pass(&mut summit);
        self.descends();
        self.open_until_s = self.t_s + 1.5;
        self.low.clear();
    }

    /// Apogee was so.
    pub(crate) fn pass(&mut self, summit: &mut Summit) {
        if let Some(p) = summit.finish() {
            let sd = (p.apogee_t_s.p95 - p.apogee_t_s.p05) / 3.29;
            self.mark(EventKind::Apogee, p.apogee_t_s.p50, sd);
            self.top = Some(Top {
                height_m: p.apogee_height_m,
                t_s: p.apogee_t_s,
                airspeed_mps: p.airspeed_at_apogee_mps,
                ground_speed_mps: p.ground_speed_at_apogee_mps,
            });
        }
    }

    /// From here on it falls: nothing pushes any more.
    pub(crate) fn descends(&mut self) {
        self.phase = Phase::Descending;
        self.regime.burning = false;
        self.regime.thrust_sd = 0.0;
        self.regime.rough = FALLS_ROUGHLY;
        for b in self.blobs.iter_mut() {
            b.x[D] = 0.0;
            b.reopen(D, 1e-6);
            // Which way it points from here on is not known, nor whether something comes out early.
            b.p[LNK][LNK] += 0.5 * 0.5;
        }
    }

    /// When a cue's condition has come by the mean of the belief, its moment is kept.
    fn watch_cues(&mut self, m: &Model) {
        let (h, v) = (self.height(), self.climb());
        for (i, cue) in m.plan.cues.iter().enumerate().take(crate::plan::MAX_CUES) {
            if let Some(told) = self.told_otherwise(i) {
                self.cue_s[i] = Some(told.value);
                self.cue_acts(m, i, told.value, told.sd);
            }
            if self.cue_s[i].is_some() {
                continue;
            }
            let at = |k: EventKind| self.marks[k as usize].map(|x| x.t_s);
            let t = self.t_s;
            let due = match cue.trigger {
                Trigger::ClimbRateBelow(c) => {
                    let up =
                        matches!(self.phase, Phase::Coasting | Phase::Descending) && !self.regime.burning;
                    (up && v < c).then_some(t - ((c - v) / 9.8).clamp(0.0, 0.5))
                }
                Trigger::BeforeApogee(s) => match self.phase {
                    Phase::Coasting if v < 9.8 * s * 1.02 => Some(t),
                    Phase::Descending => at(EventKind::Apogee).map(|a| a - s),
                    _ => None,
                },
                Trigger::AfterApogee(s) => at(EventKind::Apogee).map(|a| a + s).filter(|a| *a <= t),
                Trigger::HeightBelow(z) => (self.phase == Phase::Descending && h < z && v < 0.0)
                    .then(|| t - ((z - h) / (-v).max(1.0)).clamp(0.0, 0.5)),
                Trigger::AfterLiftoff(s) => at(EventKind::Liftoff).map(|a| a + s).filter(|a| *a <= t),
                Trigger::AfterBurnout(s) => at(EventKind::Burnout).map(|a| a + s).filter(|a| *a <= t),
                Trigger::AfterCue(c, s) => {
                    self.cue_s.get(c).copied().flatten().map(|a| a + s).filter(|a| *a <= t)
                }
            };
            if let Some(at) = due {
                let acts = at + cue.delay_s.value;
                self.cue_s[i] = Some(acts);
                self.cue_acts(m, i, acts, cue.delay_s.sd);
            }
        }
    }

    /// When a cue has acted in this flight, as the vehicle says, if that is not when it was thought to. After a long gap it says no more
    /// than what follows from the plan.
    fn told_otherwise(&self, cue: usize) -> Option<Told> {
        let told = self.told_cue[cue].filter(|t| t.value <= self.t_s && t.sd < TOLD_WITHIN_S)?;
        let lifted = self.marked(EventKind::Liftoff).is_some_and(|l| told.value > l.t_s);
        let as_thought = self.cue_s[cue].is_some_and(|t| (t - told.value).abs() < TOLD_NEAR_S);
        (lifted && !as_thought).then_some(told)
    }

    /// When the first parachute came out, if what it hangs under by then is the main one already.
    fn hangs_under_main(&self, m: &Model) -> Option<Mark> {
        let first = self.marked(EventKind::FirstChute).filter(|_| self.phase == Phase::Descending)?;
        let body = m.plan.bodies.get(self.body)?;
        let (ln_k, var) = self.moments(LNK);
        let off = |main: bool| {
            let devices = body
                .descents
                .iter()
                .filter(|d| d.state.is_device() && (d.state == DescentState::Main) == main);
            devices.map(|d| (ln_k - m.ln_k_under(body, d.drag_area_m2.value)).abs()).min_by(f64::total_cmp)
        };
        let (by_main, by_other) = (off(true)?, off(false)?);
        (var < OUT_ALREADY_LN * OUT_ALREADY_LN && by_main < OUT_ALREADY_LN && by_main < by_other)
            .then_some(first)
    }

    /// What a cue's moment means for this body's own drag.
    pub(crate) fn cue_acts(&mut self, m: &Model, cue: usize, acts_s: f64, sd_s: f64) {
        let Some(body) = m.plan.bodies.get(self.body) else { return };
        let opens = body.descents.iter().find(|d| d.cue == cue);
        let mine = m.plan.cues[cue].body == self.body;
        let kind = m.plan.cues[cue].kind;
        if let Some(d) = opens {
            if d.state == DescentState::Main
                && let Some(first) = self.hangs_under_main(m)
            {
                self.mark(EventKind::MainChute, first.t_s, first.sd_s);
                return;
            }
            self.open_until_s = self.open_until_s.max(acts_s + 2.0 * sd_s + 3.0);
            let area = d.drag_area_m2;
            self.canopy = Some(Canopy {
                device: d.state.is_device(),
                main: d.state == DescentState::Main,
                ln_k: m.ln_k_under(body, area.value),
                sd: told_ln_sd(&area),
                drag_area_m2: area.value,
                from_s: acts_s - 2.0 * sd_s,
                planned_s: acts_s + 2.0 * sd_s + 0.5,
                until_s: acts_s + 2.0 * sd_s + CANOPY_LATE_S,
                tried_s: -1e300,
            });
        } else if mine && matches!(kind, CueKind::Release | CueKind::Separation) {
            // Mass leaves: k rises by what it weighed, not exactly known.
            for b in self.blobs.iter_mut() {
                b.p[LNK][LNK] += 0.15 * 0.15;
            }
            self.open_until_s = self.open_until_s.max(acts_s + 0.5);
        }
    }
}

/// Told burn time of the stage that burns or has burnt, s.
fn told_s(m: &Model, r: &crate::motion::Regime) -> f64 {
    m.stages.get(r.stage).map_or(1.0, |s| s.burn_s)
}

/// Time constant of its tail, as told, s.
pub(crate) fn tail_tau_s(m: &Model, r: &crate::motion::Regime) -> f64 {
    m.stages.get(r.stage).map_or(TAIL_UNTOLD_S, crate::motor::Stage::tail_tau_s)
}
