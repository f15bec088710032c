//! Specific force along the nose: thrust minus drag under power, drag alone in coast.
//!
//! Under power it is followed, whatever the told curve says; a surprise is a step of thrust. At the end of the
//! accelerometer's range it says "at least so much".

use libm::sqrt;

use crate::filter::Filter;
use crate::fuse::Number;
use crate::model::Model;
use crate::motion::{air_cov, airspeed, axial_force};
use crate::output::Phase;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{AB, AS, Blob, D, H, LNK, Row, SHAPE, TAU, VE, VN, VU, WE, WN};

/// Spread of a force at the end of the accelerometer's range, over that end.
const SATURATED_SHARE: f64 = 0.1;

impl Filter {
    pub(crate) fn take_axial(&mut self, m: &Model, s: &Sample) {
        let Some(z) = s.axial_mps2.filter(|f| f.is_finite() && f.abs() < 5000.0) else { return };
        if matches!(self.phase, Phase::Descending | Phase::Down) {
            return;
        }
        // At the end of its range: the greatest value, over 5 g, more than once.
        if z > self.axial_top {
            self.axial_top = z;
            self.axial_top_run = 0;
        } else if z == self.axial_top {
            self.axial_top_run += 1;
        }
        let saturated = (z >= self.axial_top && z > 49.0 && self.axial_top_run >= 1) || full_scale(z);
        let (mean_f, slack) = self.expected_force(m);
        let noise = self.sensors.variance(Channel::Axial);
        if saturated {
            // At least so much.
            self.watch_force(m, s.t_s, z);
            if self.regime.burning && mean_f < z {
                let spread = SATURATED_SHARE * z;
                self.open_thrust(m, s.t_s, z, spread * spread);
                self.take_force(m, s.t_s, z, spread * spread);
            } else {
                self.sensors.of(Channel::Axial).taken_s = self.t_s;
            }
            self.after_force(m, s.t_s);
            return;
        }
        if self.sensors.of(Channel::Axial).frozen(z, mean_f, 5.0 * sqrt(noise) + 0.5 + 2.0 * slack) {
            return;
        }
        self.watch_force(m, s.t_s, z);
        let burning = self.regime.burning;
        let share = if burning { 0.01 } else { 0.0 };
        // A long body flies a little aslant: part of drag is felt across.
        let slant = 0.02 * mean_f.abs();
        let variance = noise + (share * z) * (share * z) + slant * slant;
        if burning {
            self.open_thrust(m, s.t_s, z, variance);
        }
        self.take_force(m, s.t_s, z, variance);
        self.after_force(m, s.t_s);
    }

    /// Thrust may do anything. A surprise is a step at some moment since the last value: it opens thrust, and with it the
    /// speed that a step of this size gives when it comes anywhere in the gap.
    fn open_thrust(&mut self, m: &Model, t: f64, z: f64, variance: f64) {
        if self.about.is_some() {
            // A smoother's thrust wanders as much before a step as after it.
            return;
        }
        let record = self.sensors.get(Channel::Axial);
        let gap = if record.heard { (self.t_s - record.taken_s).clamp(0.0, 2.0) } else { 0.0 };
        for b in self.blobs.iter_mut() {
            let f = axial_force(m, &self.regime, b, t);
            let y = z - (f.f * (1.0 + b.x[AS]) + b.x[AB]);
            if y * y > 4.0 * (b.p[D][D] + variance) {
                let (air, v) = airspeed(m, &b.x);
                let along = if v > 1.0 { air.map(|a| a / v) } else { b.rail };
                let step = y * y;
                b.p[D][D] += step;
                for i in 0..3 {
                    let with_d = 0.5 * gap * step * along[i];
                    b.p[D][VE + i] += with_d;
                    b.p[VE + i][D] += with_d;
                    for j in 0..3 {
                        b.p[VE + i][VE + j] += step * gap * gap / 3.0 * along[i] * along[j];
                    }
                }
            }
        }
    }

    fn take_force(&mut self, m: &Model, t: f64, z: f64, variance: f64) {
        let regime = self.regime;
        let known = self.about.is_some();
        let view = |b: &Blob| {
            let f = axial_force(m, &regime, b, t);
            // Drag goes with the square of an airspeed whose direction may be anywhere on a ring: its mean over the blob is not
            // that of the blob's mean (second-order filter, Jazwinski 1970, ch. 9; from memory).
            let (more, bent) = if known { (0.0, 0.0) } else { bend(m, b, f.drag) };
            let g = 1.0 + b.x[AS];
            let row = Row::new()
                .with(H, g * f.by_h)
                .with(VE, g * f.by_v[0])
                .with(VN, g * f.by_v[1])
                .with(VU, g * f.by_v[2])
                .with(LNK, -g * f.drag)
                .with(SHAPE, g * f.by_shape)
                .with(WE, -g * f.by_v[0])
                .with(WN, -g * f.by_v[1])
                .with(TAU, g * f.thrust)
                .with(D, g)
                .with(AB, 1.0)
                .with(AS, f.f);
            (g * (f.f - more) + b.x[AB], row.and_bent(g * g * bent))
        };
        self.take_number(
            &Number { channel: Channel::Axial, value: z, variance, patience: 5, patience_s: 0.0 },
            &view,
        );
    }

    /// Mean expected axial reading and its spread.
    fn expected_force(&self, m: &Model) -> (f64, f64) {
        let w = self.weights();
        let (mut f, mut d) = (0.0, 0.0);
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            f += w * axial_force(m, &self.regime, b, self.t_s).f;
            d += w * b.p[D][D];
        }
        (f, sqrt(d))
    }
}

/// What a blob's spread adds to its mean drag, m/s2, and the variance of that: drag is exp(ln k) times the square of the airspeed.
fn bend(m: &Model, b: &Blob, drag: f64) -> (f64, f64) {
    let (air, v) = airspeed(m, &b.x);
    if v < 1.0 {
        return (0.0, 0.0);
    }
    let cov = air_cov(&b.p);
    let per = drag / (v * v);
    let (mut trace, mut square, mut cross) = (0.0, 0.0, 0.0);
    for i in 0..3 {
        trace += cov[i][i];
        for j in 0..3 {
            square += cov[i][j] * cov[i][j];
        }
        let own = b.p[LNK][VE + i] - if i < 2 { b.p[LNK][WE + i] } else { 0.0 };
        cross += air[i] * own;
    }
    let more = per * (trace + 2.0 * cross + 0.5 * v * v * b.p[LNK][LNK]);
    (more, 2.0 * per * per * square)
}

/// Whether a value lies at the end of a usual range, to half a per cent: makers' full scales are whole numbers of g.
fn full_scale(z: f64) -> bool {
    [8.0, 16.0, 24.0, 32.0, 50.0, 64.0, 100.0, 200.0].iter().any(|n| (z / (n * 9.806_65) - 1.0).abs() < 0.005)
}
