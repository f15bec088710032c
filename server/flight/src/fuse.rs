//! Taking a sample's measurements into the belief, one number after the other.
//!
//! Each number is compared with every blob; the likelihood is Student's (heavy tails), which both weighs the blobs
//! and lessens the pull of a surprising value. What surprises every blob beyond five deviations is put aside,
//! unless it goes on saying the same. GNSS is put aside while it disagrees and taken again once it has agreed
//! for a second with its lag. Near Mach 1 the barometer is believed only within the shock's step.

use libm::{log, sqrt};

use crate::filter::{BLOBS, Filter, Seen};
use crate::model::{EARTH_RADIUS_M, Model};
use crate::motion::{airspeed, axial_force};
use crate::output::Phase;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::start::BARO_SCALE_SD;
use crate::state::{
    AB, AS, BB, BLAG, BS, Blob, D, E, GH, H, LAG, LNK, N, PORT, Row, SHAPE, TAU, VE, VN, VU, WE, WN,
};

/// Degrees of freedom of the heavy-tailed likelihood.
const NU: f64 = 8.0;
/// Squared surprise beyond which a value is put aside.
const ASIDE: f64 = 30.0;
/// How long errors of each channel last, s: filters on boards, a receiver's own filter, multipath (common practice, no
/// source). Larger: slower to believe fast packets; smaller: intervals too narrow at high rates.
const LASTING_S: [f64; 9] = [0.05, 0.05, 1.5, 1.5, 0.4, 0.4, 1.0, 1.0, 1.0];
/// Share of the dynamic pressure by which a static port may be wrong near Mach 1.
const SHOCK_SHARE: f64 = 0.05;
/// Time without a fix taken after which the horizontal state is as good as unknown, s.
const FLAT_LOST_S: f64 = 5.0;
/// Time after burnout in which GNSS is not asked while something else is heard, s.
const AFTER_POWER_S: f64 = 0.7;
/// How long fixes must fit before GNSS is believed again, and differ from the barometer by the same height before that is, s.
const FITS_S: f64 = 0.95;
const ODD_S: f64 = 4.0;
/// How long a fix must move as a free body does before it is believed against everything else, s.
const ALONE_S: f64 = 0.7;
/// Spread of a force at the end of the accelerometer's range, over that end.
const SATURATED_SHARE: f64 = 0.1;
/// How long a body takes through that step, s.
const SHOCK_LASTS_S: f64 = 1.5;
/// Width of that step in Mach, one standard deviation.
const SHOCK_WIDTH: f64 = 0.08;

/// One number to take.
struct Number {
    channel: Channel,
    value: f64,
    variance: f64,
    /// Rejections in a row after which the belief gives way; 0 for never.
    patience: u32,
}

/// How one blob sees a number.
type View<'a> = &'a dyn Fn(&Blob) -> (f64, Row);

impl Filter {
    pub(crate) fn fuse(&mut self, m: &Model, s: &Sample) {
        if self.blobs.is_empty() || self.phase == Phase::Down {
            return;
        }
        let t_sd = if s.t_sd_s.is_finite() { s.t_sd_s.clamp(0.0, 2.0) } else { 0.1 };
        let climb = self.climb();
        self.take_axial(m, s);
        if !self.take_pressure(m, s, t_sd, climb) {
            self.take_own(s, t_sd, climb);
        }
        self.take_gnss(m, s, t_sd);
        self.take_tilt(m, s);
    }

    /// Compares, weighs and corrects. Says whether the number was taken.
    fn take_number(&mut self, n: &Number, view: View<'_>) -> bool {
        if !n.value.is_finite() || !n.variance.is_finite() {
            return false;
        }
        // Errors that last longer than the time between values do not average out.
        let since = (self.t_s - self.sensors.get(n.channel).taken_s).clamp(0.01, 10.0);
        let lasting = LASTING_S[n.channel as usize];
        let variance = n.variance.max(1e-12) * (1.0 + lasting / since);
        let mut rows: [(f64, f64, [f64; N]); BLOBS] = [(0.0, 0.0, [0.0; N]); BLOBS];
        let weights = self.weights();
        let (mut least, mut y2, mut known) = (f64::INFINITY, 0.0, 0.0);
        for (i, b) in self.blobs.iter().enumerate() {
            let (expected, row) = view(b);
            let ph = b.times(&row);
            let hph = row.dot(&ph).max(0.0);
            let y = n.value - expected;
            if !y.is_finite() || !hph.is_finite() {
                return false;
            }
            if weights[i] > 0.003 {
                least = least.min(y * y / (hph + variance));
            }
            y2 += weights[i] * y * y;
            known += weights[i] * hph;
            rows[i] = (y, hph, ph);
        }
        let record = self.sensors.of(n.channel);
        if least > ASIDE {
            record.rejects += 1;
            if n.patience == 0 || record.rejects < n.patience {
                return false;
            }
        } else {
            record.rejects = 0;
        }
        // Under thrust a receiver's lag is not one number: it is taken into account, not learnt.
        let gnss =
            matches!(n.channel, Channel::FixFlat | Channel::FixUp | Channel::SpeedFlat | Channel::SpeedUp);
        let since_power =
            self.t_s - self.marks[crate::EventKind::Burnout as usize].map_or(self.t_s, |b| b.t_s);
        let kept = (gnss && (self.regime.burning || since_power < 2.0)).then_some(LAG);
        let forced = record.rejects > 0;
        record.rejects = 0;
        if !forced {
            // Part of what the sum leaves open between its blobs is known, too.
            self.sensors.in_flight(
                n.channel,
                y2,
                known + (n.variance - self.sensors.variance(n.channel)).max(0.0),
            );
        }
        for (b, (y, hph, ph)) in self.blobs.iter_mut().zip(rows) {
            let s = hph + variance;
            let d2 = y * y / s;
            b.ln_w += -0.5 * log(s) - 0.5 * (NU + 1.0) * libm::log1p(d2 / NU);
            // The belief gives way: spread so that the value is at two deviations.
            let s = if forced { s } else { s.max(hph + variance * ((NU + d2) / (NU + 1.0)).max(1.0)) };
            if forced && d2 > 4.0 && n.channel == Channel::Axial {
                // A force that goes on being other than thought is another drag, or thrust after all.
                b.p[LNK][LNK] += 0.25;
                b.p[D][D] += y * y / 4.0;
                continue;
            }
            if forced && d2 > 4.0 {
                let grow = y * y / 4.0;
                let flat = matches!(n.channel, Channel::FixFlat | Channel::SpeedFlat);
                for i in 0..if flat { 2 } else { 3 } {
                    b.p[E + i][E + i] += grow;
                    b.p[VE + i][VE + i] += grow.min(400.0);
                }
                continue;
            }
            b.update_but(&ph, y, s, kept);
        }
        self.used_s = self.t_s;
        self.sensors.of(n.channel).taken_s = self.t_s;
        true
    }

    fn take_axial(&mut self, m: &Model, s: &Sample) {
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
        let record = self.sensors.get(Channel::Axial);
        let gap = if record.heard { (self.t_s - record.taken_s).clamp(0.0, 2.0) } else { 0.0 };
        for b in self.blobs.iter_mut() {
            let f = axial_force(m, &self.regime, b, t);
            let y = z - (f.f * (1.0 + b.x[AS]) + b.x[AB]);
            if y * y > 4.0 * (b.p[D][D] + variance) {
                let (air, v) = airspeed(m, &b.x);
                let step = y * y;
                b.p[D][D] += step;
                for i in 0..3 {
                    let along = if v > 1.0 { air[i] / v } else { b.rail[i] };
                    let with_d = 0.5 * gap * step * along;
                    b.p[D][VE + i] += with_d;
                    b.p[VE + i][D] += with_d;
                    for j in 0..3 {
                        let other = if v > 1.0 { air[j] / v } else { b.rail[j] };
                        b.p[VE + i][VE + j] += step * gap * gap / 3.0 * along * other;
                    }
                }
            }
        }
    }

    fn take_force(&mut self, m: &Model, t: f64, z: f64, variance: f64) {
        let regime = self.regime;
        let view = |b: &Blob| {
            let f = axial_force(m, &regime, b, t);
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
            (g * f.f + b.x[AB], row)
        };
        self.take_number(&Number { channel: Channel::Axial, value: z, variance, patience: 5 }, &view);
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

    /// Mean Mach number, its variance, and mean dynamic pressure of the sum.
    fn mach_and_q(&self, m: &Model) -> (f64, f64, f64) {
        let w = self.weights();
        let (mut mach, mut square, mut q) = (0.0, 0.0, 0.0);
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            let (_, v) = airspeed(m, &b.x);
            let (rho, _) = m.air.density_ratio(b.x[H]);
            let sound = m.air.sound_mps(b.x[H]);
            mach += w * v / sound;
            square += w * (v * v + b.p[VU][VU]) / (sound * sound);
            q += w * 0.5 * rho * m.air.pad_density() * v * v;
        }
        (mach, (square - mach * mach).max(0.0), q)
    }

    fn take_pressure(&mut self, m: &Model, s: &Sample, t_sd: f64, climb: f64) -> bool {
        let Some(p) = s.pressure_pa.filter(|p| p.is_finite() && *p > 1.0 && *p < 2e5) else { return false };
        let z = m.air.height_m(p - self.baro_over_pa) - self.zero_baro_m.value;
        let h = self.height();
        let mpp = m.air.metres_per_pascal(h.max(-500.0));
        let noise = mpp * sqrt(self.sensors.variance(Channel::Baro));
        if self.sensors.of(Channel::Baro).frozen(p, h, 5.0 * noise + 8.0) {
            return false;
        }
        let (mach, mach_var, q) = self.mach_and_q(m);
        // The shock passes the ports near Mach 1, wherever in its spread the Mach number is; some doubt beyond.
        let width2 = SHOCK_WIDTH * SHOCK_WIDTH + mach_var;
        let near = libm::exp(-0.5 * (mach - 1.0) * (mach - 1.0) / width2) * SHOCK_WIDTH / sqrt(width2);
        let at_one = m.air.dynamic_pressure_at_mach_one(h);
        let doubt = SHOCK_SHARE * sqrt(near) * at_one + if mach > 1.0 { 0.003 * q } else { 0.0 };
        // It errs the same way as long as it lasts, however many values come.
        let since = (self.t_s - self.sensors.get(Channel::Baro).taken_s).clamp(0.01, 10.0);
        let shock = doubt * mpp * sqrt(1.0 + SHOCK_LASTS_S / since);
        let quick = t_sd * climb;
        let variance = noise * noise + shock * shock + quick * quick + 1e-4 * noise * noise;
        let rho0 = m.air.pad_density();
        let view = |b: &Blob| {
            let bulge = (b.x[E] * b.x[E] + b.x[E + 1] * b.x[E + 1]) / (2.0 * EARTH_RADIUS_M);
            let h = b.x[H] + bulge;
            let (air, v) = airspeed(m, &b.x);
            let (rho, _) = m.air.density_ratio(b.x[H]);
            // Metres that the port's error is worth per unit, and its slope along the airspeed.
            let port = 0.5 * rho * rho0 * v * v * mpp;
            let per_v = b.x[PORT] * rho * rho0 * mpp;
            let row = Row::new()
                .with(H, 1.0 + b.x[BS])
                .with(BB, 1.0)
                .with(BS, h)
                .with(PORT, port)
                .with(VE, per_v * air[0])
                .with(VN, per_v * air[1])
                .with(VU, per_v * air[2] - b.x[BLAG])
                .with(BLAG, -b.x[VU]);
            (h * (1.0 + b.x[BS]) + b.x[BB] + b.x[PORT] * port - b.x[BLAG] * b.x[VU], row)
        };
        // The record's variance is in pascal squared: the comparison is made in pascal.
        let scale = 1.0 / mpp;
        let view_pa = |b: &Blob| {
            let (h, row) = view(b);
            (h * scale, scaled(&row, scale))
        };
        let patience = if shock > noise { 15 } else { 6 };
        self.take_number(
            &Number {
                channel: Channel::Baro,
                value: z * scale,
                variance: variance * scale * scale,
                patience,
            },
            &view_pa,
        );
        if self.phase == Phase::Descending {
            self.watch_ground(s.t_s, z, noise);
        }
        true
    }

    fn take_own(&mut self, s: &Sample, t_sd: f64, climb: f64) {
        if let Some(z) = s.own_height_m.filter(|h| h.is_finite() && h.abs() < 2e5)
            && self.zero_own_m.sd > 0.0
        {
            let h = self.height();
            let noise = sqrt(self.sensors.variance(Channel::OwnHeight));
            if !self.sensors.of(Channel::OwnHeight).frozen(z, h, 5.0 * noise + 10.0) {
                // The vehicle's own filter lags: a tenth of a second of climb, and its errors repeat.
                let lag = 0.1 * climb;
                let variance = noise * noise + 4.0 + lag * lag + (t_sd * climb) * (t_sd * climb);
                let view = |b: &Blob| (b.x[H] + b.x[BB], Row::new().with(H, 1.0).with(BB, 1.0));
                let value = z - self.zero_own_m.value;
                self.take_number(
                    &Number { channel: Channel::OwnHeight, value, variance, patience: 10 },
                    &view,
                );
                if self.phase == Phase::Descending {
                    self.watch_ground(s.t_s, value, noise + 0.5);
                }
            }
        }
        if let Some(z) = s.own_climb_mps.filter(|v| v.is_finite() && v.abs() < 5000.0) {
            let noise = self.sensors.variance(Channel::OwnClimb);
            let lag = 0.15 * self.acceleration[2];
            let variance = noise + 4.0 + lag * lag;
            let view = |b: &Blob| (b.x[VU], Row::new().with(VU, 1.0));
            self.take_number(&Number { channel: Channel::OwnClimb, value: z, variance, patience: 0 }, &view);
        }
    }

    fn take_gnss(&mut self, m: &Model, s: &Sample, t_sd: f64) {
        let felt = self.acceleration.map(|a| a * a).iter().sum::<f64>();
        let hard = self.regime.burning || felt > 40.0 * 40.0;
        let heard = |c: Channel| {
            let r = self.sensors.get(c);
            r.heard && self.t_s - r.taken_s < 1.5
        };
        let heard_baro = heard(Channel::Baro);
        let heard_axial = heard(Channel::Axial);
        let burnt_out = self.regime.burnt_out_s;
        if (self.regime.burning || self.t_s < burnt_out + AFTER_POWER_S) && (heard_axial || heard_baro) {
            // Something better is there. A receiver's lag reaches back over burnout for a while.
            return;
        }
        // A fix is as old as the last packet before this one, at most.
        let age_sd = 0.29 * self.packet_gap_s;
        // Under hard acceleration a receiver coasts on with its flag set.
        let widen = if hard { 9.0 } else { 1.0 };
        let speed = {
            let w = self.weights();
            let mut v = 0.0;
            for (w, b) in w.iter().zip(self.blobs.iter()) {
                v += w * (b.x[VE] * b.x[VE] + b.x[VN] * b.x[VN] + b.x[VU] * b.x[VU]);
            }
            sqrt(v)
        };
        if let Some((e, n, up)) = Self::fix_enu(m, s) {
            let told = s.fix.and_then(|f| f.horizontal_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
            let told_up = s.fix.and_then(|f| f.vertical_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
            let flat = self.sensors.variance(Channel::FixFlat).max(told * told);
            let tall = self.sensors.variance(Channel::FixUp).max(told_up * told_up);
            // A receiver slower than the packets is heard with the same fix again and again.
            if self.sensors.of(Channel::FixFlat).is_new(e + 1.7 * n) {
                let doubt = (t_sd * t_sd + age_sd * age_sd) * speed * speed;
                let mut agrees = true;
                let (mut off_m, mut off_sd) = (0.0, 1.0);
                if let Some(u) = up {
                    let z = u - self.zero_gnss_m[2].value;
                    let variance = (tall + doubt) * widen;
                    let view = |b: &Blob| {
                        let bulge = (b.x[E] * b.x[E] + b.x[E + 1] * b.x[E + 1]) / (2.0 * EARTH_RADIUS_M);
                        (
                            b.x[H] + bulge + b.x[GH] - b.x[LAG] * b.x[VU],
                            Row::new().with(H, 1.0).with(GH, 1.0).with(VU, -b.x[LAG]).with(LAG, -b.x[VU]),
                        )
                    };
                    off_m = z - self.mean_of(&view);
                    off_sd = sqrt(variance);
                    agrees = self.gnss_number(Channel::FixUp, z, variance, hard, &view);
                    let odd = !agrees && !hard && heard_baro;
                    if steady_for(&mut self.gnss_odd, odd, s.t_s, off_m, off_sd) > ODD_S {
                        self.hear_both(off_m);
                    }
                    if self.phase == Phase::Descending && s.pressure_pa.is_none() {
                        self.watch_ground(s.t_s, z, sqrt(tall));
                    }
                }
                self.gnss_tall_agrees = agrees;
                let vouched = agrees && up.is_some() && heard_baro;
                let flat_m = [e - self.zero_gnss_m[0].value, n - self.zero_gnss_m[1].value];
                for (k, z) in flat_m.into_iter().enumerate() {
                    let sd0 = self.zero_gnss_m[k].sd;
                    let variance = (flat + doubt + sd0 * sd0) * widen;
                    let view = |b: &Blob| {
                        (
                            b.x[E + k] - b.x[LAG] * b.x[VE + k],
                            Row::new().with(E + k, 1.0).with(VE + k, -b.x[LAG]).with(LAG, -b.x[VE + k]),
                        )
                    };
                    agrees &= self.gnss_number(Channel::FixFlat, z, variance, hard, &view);
                }
                self.gnss_settles(vouched, agrees, flat_m, (off_m, off_sd));
                if self.gnss_doubted && !heard_baro && !heard_axial {
                    self.gnss_alone(m, s, flat_m, up.map(|u| u - self.zero_gnss_m[2].value));
                } else {
                    self.gnss_last = None;
                }
            }
        }
        if let Some(v) = s.velocity {
            let a = self.acceleration;
            if let Some(z) = v.up_mps.filter(|v| v.is_finite()) {
                let variance0 = self.sensors.variance(Channel::SpeedUp);
                if self.sensors.of(Channel::SpeedUp).is_new(z) {
                    let age_var = (t_sd * t_sd + age_sd * age_sd) * a[2] * a[2];
                    let variance = (variance0 + 0.09 + age_var) * widen;
                    let view =
                        |b: &Blob| (b.x[VU] - b.x[LAG] * a[2], Row::new().with(VU, 1.0).with(LAG, -a[2]));
                    if !self.gnss_number(Channel::SpeedUp, z, variance, hard, &view) {
                        self.gnss_tall_agrees = false;
                        self.gnss_run = None;
                    }
                }
            }
            if let Some([e, n]) = v.horizontal_mps.filter(|v| v[0].is_finite() && v[1].is_finite()) {
                let variance0 = self.sensors.variance(Channel::SpeedFlat);
                if self.sensors.of(Channel::SpeedFlat).is_new(e + 1.7 * n) {
                    for (k, z) in [(0, e), (1, n)] {
                        let variance = (variance0 + 0.09) * widen;
                        let view = |b: &Blob| {
                            (b.x[VE + k] - b.x[LAG] * a[k], Row::new().with(VE + k, 1.0).with(LAG, -a[k]))
                        };
                        self.gnss_number(Channel::SpeedFlat, z, variance, hard, &view);
                    }
                }
            }
        }
    }

    /// Mean of what the blobs expect.
    fn mean_of(&self, view: View<'_>) -> f64 {
        let w = self.weights();
        w.iter().zip(self.blobs.iter()).fold(0.0, |sum, (w, b)| sum + w * view(b).0)
    }

    /// Barometer and GNSS go on differing by the same height: which of them is off is opened again.
    fn hear_both(&mut self, off_m: f64) {
        for b in self.blobs.iter_mut() {
            b.reopen(BS, BARO_SCALE_SD * BARO_SCALE_SD);
            b.reopen(GH, 25.0);
            b.p[H][H] += 0.25 * off_m * off_m;
        }
        self.gnss_odd = None;
        self.gnss_doubted = false;
    }

    /// One GNSS number; while GNSS is doubted it is only compared. Says whether it agrees.
    fn gnss_number(
        &mut self,
        channel: Channel,
        value: f64,
        variance: f64,
        hard: bool,
        view: View<'_>,
    ) -> bool {
        let weights = self.weights();
        let mut least = f64::INFINITY;
        for (w, b) in weights.iter().zip(self.blobs.iter()) {
            if *w > 0.003 {
                let (expected, row) = view(b);
                let hph = row.dot(&b.times(&row)).max(0.0);
                let y = value - expected;
                least = least.min(y * y / (hph + variance));
            }
        }
        let baro = self.sensors.get(Channel::Baro);
        let by_baro = baro.heard && self.t_s - baro.taken_s < 1.5;
        let agrees = least < if self.gnss_doubted || hard { 7.0 } else { 14.0 };
        if !agrees {
            self.gnss_doubted = true;
            let record = self.sensors.of(channel);
            record.rejects += 1;
            // Nothing else may be left: what a receiver goes on saying for ten fixes in coast is so, unless the barometer
            // knows that its height is wrong.
            let tall = matches!(channel, Channel::FixUp | Channel::SpeedUp);
            if hard || record.rejects < 10 || (by_baro && (tall || !self.gnss_tall_agrees)) {
                return false;
            }
            record.rejects = 0;
            self.take_number(&Number { channel, value, variance, patience: 1 }, view);
            return false;
        }
        if self.gnss_doubted {
            return true;
        }
        self.sensors.of(channel).rejects = 0;
        let taken = self.take_number(&Number { channel, value, variance, patience: 0 }, view);
        if taken && matches!(channel, Channel::FixFlat | Channel::SpeedFlat) {
            self.flat_known = true;
        }
        true
    }

    /// After a fix: whether GNSS is believed again. Where a barometer vouches for its height for a second the receiver has
    /// found itself; if nothing horizontal was known by then the fix says where the body is, whatever was thought.
    fn gnss_settles(&mut self, vouched: bool, agrees: bool, flat: [f64; 2], off: (f64, f64)) {
        let flat_s = self.sensors.get(Channel::FixFlat).taken_s;
        let lost = !self.flat_known || self.t_s - flat_s > FLAT_LOST_S;
        let fits = self.gnss_doubted && (agrees || (vouched && lost));
        if steady_for(&mut self.gnss_run, fits, self.t_s, off.0, off.1) < FITS_S {
            return;
        }
        self.gnss_run = None;
        self.gnss_doubted = false;
        if !agrees {
            for b in self.blobs.iter_mut() {
                for (k, z) in flat.into_iter().enumerate() {
                    let y = z - b.x[E + k];
                    b.reopen(E + k, y * y + 100.0);
                    b.reopen(VE + k, 40.0 * 40.0 + b.x[VE + k] * b.x[VE + k]);
                }
            }
        }
    }

    /// GNSS is all there is and is doubted: fixes that move as a free body does, place by velocity and velocity by gravity and
    /// drag, for a while, are where it is. A receiver that coasts on after losing the sky keeps its velocity.
    fn gnss_alone(&mut self, m: &Model, s: &Sample, flat_m: [f64; 2], up_m: Option<f64>) {
        let velocity = s.velocity.and_then(|v| v.horizontal_mps.zip(v.up_mps));
        let (Some(up), Some(([ve, vn], vu))) = (up_m, velocity) else { return };
        let now = Seen { t_s: self.t_s, up_m: up, climb_mps: vu, since: None };
        let Some(before) = self.gnss_last.replace(now) else { return };
        let dt = now.t_s - before.t_s;
        let a = (vu - before.climb_mps) / dt;
        let off = up - before.up_m - 0.5 * (vu + before.climb_mps) * dt;
        let free = a < -4.0 && a > -80.0 && off.abs() < 2.0 + 0.15 * (vu * dt).abs();
        if !(0.02..2.0).contains(&dt) || !free {
            return;
        }
        let since = before.since.unwrap_or((before.t_s, before.climb_mps));
        self.gnss_last = Some(Seen { since: Some(since), ..now });
        let span = now.t_s - since.0;
        if span < ALONE_S || (vu - since.1) / span > -7.0 {
            return;
        }
        if self.regime.burning {
            self.end_burn(m, self.t_s);
        }
        let Some(best) = self.blobs.iter().max_by(|a, b| a.ln_w.total_cmp(&b.ln_w)).copied() else { return };
        self.blobs.clear();
        let mut b = best;
        b.ln_w = 0.0;
        let (lag, lag_sd) = (b.x[LAG], sqrt(b.p[LAG][LAG]));
        let speed = sqrt(ve * ve + vn * vn + vu * vu);
        for (i, v) in [ve, vn, vu].into_iter().enumerate() {
            let place = if i < 2 { flat_m[i] } else { up };
            b.x[E + i] = place + lag * v;
            b.x[VE + i] = v + if i == 2 { lag * a } else { 0.0 };
            b.reopen(E + i, 9.0 + lag_sd * lag_sd * v * v);
            b.reopen(VE + i, 1.0 + (lag_sd * a) * (lag_sd * a) + 1e-4 * speed * speed);
        }
        self.blobs.push(b);
        self.gnss_doubted = false;
        self.gnss_last = None;
        self.flat_known = true;
    }

    fn take_tilt(&mut self, m: &Model, s: &Sample) {
        let Some(z) = s.tilt_rad.filter(|v| v.is_finite() && *v >= 0.0 && *v < 3.2) else { return };
        if !matches!(self.phase, Phase::Powered | Phase::Coasting) || self.climb() < 12.0 {
            return;
        }
        // A body points a few degrees off its path, and a gyro drifts.
        let aslant = 0.035;
        let variance = self.sensors.variance(Channel::Tilt) + aslant * aslant;
        let view = |b: &Blob| {
            let (a, v) = airspeed(m, &b.x);
            let flat = sqrt(a[0] * a[0] + a[1] * a[1]).max(0.02 * v + 0.1);
            let v2 = (v * v).max(1.0);
            let by = [a[0] / flat * a[2] / v2, a[1] / flat * a[2] / v2, -flat / v2];
            let row =
                Row::new().with(VE, by[0]).with(VN, by[1]).with(VU, by[2]).with(WE, -by[0]).with(WN, -by[1]);
            (libm::atan2(flat, a[2]), row)
        };
        if self.take_number(&Number { channel: Channel::Tilt, value: z, variance, patience: 0 }, &view) {
            self.tilt_known = true;
        }
    }
}

/// How long, s, a height has been off by the same while `holds`; `run` keeps when and by how much it began. A receiver that
/// walks back to where it is agrees by chance on its way, but not by the same for long.
fn steady_for(run: &mut Option<(f64, f64)>, holds: bool, t_s: f64, off_m: f64, off_sd: f64) -> f64 {
    if !holds {
        *run = None;
        return 0.0;
    }
    match *run {
        Some((since_s, first)) if (off_m - first).abs() < 1.0 + 2.0 * off_sd => t_s - since_s,
        _ => {
            *run = Some((t_s, off_m));
            0.0
        }
    }
}

fn scaled(row: &Row, by: f64) -> Row {
    let mut out = Row::new();
    for &(i, v) in row.terms() {
        out = out.with(i, v * by);
    }
    out
}

/// Whether a value lies at the end of a usual range, to half a per cent: makers' full scales are whole numbers of g.
fn full_scale(z: f64) -> bool {
    [8.0, 16.0, 24.0, 32.0, 50.0, 64.0, 100.0, 200.0].iter().any(|n| (z / (n * 9.806_65) - 1.0).abs() < 0.005)
}
