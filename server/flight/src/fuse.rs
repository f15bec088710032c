//! Taking a sample's measurements into the belief, one number after the other.
//!
//! Each number is compared with every blob; the likelihood is Student's (heavy tails), which both weighs the blobs
//! and lessens the pull of a surprising value. What surprises every blob beyond five deviations is put aside,
//! unless it goes on saying the same. Near Mach 1 the barometer is believed only within the shock's step. GNSS
//! and the accelerometer have files of their own.

use libm::{log, sqrt};

use crate::falling::{CHARGE_LASTS_S, VENT_S};
use crate::filter::{BLOBS, Filter};
use crate::model::{EARTH_RADIUS_M, Model};
use crate::motion::{air_cov, airspeed};
use crate::output::{EventKind, Phase};
use crate::pressure::baro_lag_s;
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{BB, BLAG, Blob, D, E, H, LAG, LNK, N, PORT, Row, SHAPE, VE, VN, VU, WE, WN};

/// How far a board is askew in its vehicle, one standard deviation, rad (common practice, no source).
const ASKEW_SD_RAD: f64 = 0.04;

/// Degrees of freedom of the heavy-tailed likelihood.
const NU: f64 = 8.0;
/// Squared surprise beyond which a value is put aside.
const ASIDE: f64 = 30.0;
/// How long errors of each channel last, s: filters on boards, a receiver's own filter, multipath (common practice, no
/// source). Larger: slower to believe fast packets; smaller: intervals too narrow at high rates.
const LASTING_S: [f64; 9] = [0.05, 0.05, 1.5, 1.5, 0.4, 0.4, 1.0, 1.0, 1.0];
/// Share of the dynamic pressure by which a static port may be wrong near Mach 1.
const SHOCK_SHARE: f64 = 0.05;
/// How long a body takes through that step, s.
const SHOCK_LASTS_S: f64 = 1.5;
/// How long a charge's pressure may rise, s, and the share of its most below which it is leaving (common practice, no source). Larger: slower to
/// find out on the way up that the belief is the one that is wrong; smaller: gas is taken for a fall.
const RISES_S: f64 = 0.25;
const FADES_SHARE: f64 = 0.9;
/// Width of that step in Mach, one standard deviation: it passes the ports between Mach 0.9 and 1.1 (common practice, no source).
/// Larger: a body that slows through Mach 1 flies on drag alone for seconds; smaller: the step is believed.
const SHOCK_WIDTH: f64 = 0.055;

/// Rounds after which a value is compared where it is, and the change of ln k or of the curve's parameter that is not worth another.
const ROUNDS: usize = 4;
const ENOUGH: f64 = 0.01;

/// One number to take.
pub(crate) struct Number {
    pub(crate) channel: Channel,
    pub(crate) value: f64,
    pub(crate) variance: f64,
    /// Rejections in a row after which the belief gives way; 0 for never.
    pub(crate) patience: u32,
    /// And time for which they must have gone on, s.
    pub(crate) patience_s: f64,
    /// Time for which nothing gives way to what was farther off before, s.
    pub(crate) fades_s: f64,
}

impl Number {
    /// One to whose rejections nothing gives way.
    pub(crate) fn never(channel: Channel, value: f64, variance: f64) -> Self {
        Self::after(0, channel, value, variance)
    }

    /// One to which the belief gives way after so many rejections.
    pub(crate) fn after(patience: u32, channel: Channel, value: f64, variance: f64) -> Self {
        Self { channel, value, variance, patience, patience_s: 0.0, fades_s: 0.0 }
    }
}

/// How one blob sees a number.
pub(crate) type View<'a> = &'a dyn Fn(&Blob) -> (f64, Row);

impl Filter {
    pub(crate) fn fuse(&mut self, m: &Model, s: &Sample) {
        if self.blobs.is_empty() || self.phase == Phase::Down {
            return;
        }
        let t_sd = s.t_sd();
        let climb = self.climb();
        self.take_axial(m, s);
        if !self.take_pressure(m, s, t_sd, climb) {
            self.take_own(m, s, t_sd, climb);
        }
        self.take_gnss(m, s, t_sd);
        self.take_tilt(m, s);
    }

    /// What a blob expects, and the row: seen from its own mean, or from the path that is known with hindsight.
    pub(crate) fn seen(&self, b: &Blob, view: View<'_>) -> (f64, Row) {
        let Some(x) = self.about else { return view(b) };
        let (expected, off, row) = seen_from(b, x, view);
        (expected + off, row)
    }

    /// States that a channel does not teach now. Under thrust a receiver's lag is not one number; and a thrust that falls looks
    /// like a drag that grows, so that neither drag nor its curve is learnt from a force while something burns.
    fn considered(&self, channel: Channel) -> &'static [usize] {
        let out_s = self.marks[EventKind::Burnout as usize].map_or(self.t_s, |b| b.t_s);
        match channel {
            Channel::FixFlat | Channel::FixUp | Channel::SpeedFlat | Channel::SpeedUp
                if self.regime.burning || self.t_s - out_s < 2.0 =>
            {
                &[LAG]
            }
            // Nor, looking back, the barometer's lag, which a thrust that is a little other than felt would be taken for.
            Channel::Axial if self.regime.burning && self.about.is_some() => &[LNK, SHAPE, BLAG],
            Channel::Baro if self.regime.burning && self.about.is_some() => &[BLAG],
            Channel::Axial if self.regime.burning => &[LNK, SHAPE],
            _ => &[],
        }
    }

    /// Compares, weighs and corrects. Says whether the number was taken.
    pub(crate) fn take_number(&mut self, n: &Number, view: View<'_>) -> bool {
        if !n.value.is_finite() || !n.variance.is_finite() {
            return false;
        }
        // Errors that last longer than the time between values do not average out.
        let since = self.taken_ago_s(n.channel, 0.01);
        let lasting = LASTING_S[n.channel as usize];
        let variance = n.variance.max(1e-12) * (1.0 + lasting / since);
        let mut rows: [(f64, f64, [f64; N]); BLOBS] = [(0.0, 0.0, [0.0; N]); BLOBS];
        let weights = self.weights();
        let (mut least, mut y2, mut known) = (f64::INFINITY, 0.0, 0.0);
        // Drag goes with the exponent of ln k: one straight line from a drag that is thought half as much leads past it.
        let again = n.channel == Channel::Axial && !self.regime.burning && self.about.is_none();
        for (i, b) in self.blobs.iter().enumerate() {
            let (expected, row) = self.seen(b, view);
            let mut ph = b.times(&row);
            let mut hph = row.dot(&ph).max(0.0) + row.bent;
            let mut y = n.value - expected;
            if again {
                (y, hph, ph) = iterated(b, n.value, variance, view, (y, hph, ph));
            }
            if !y.is_finite() || !hph.is_finite() {
                return false;
            }
            if weights[i] > 0.003 {
                // With hindsight a fix that the path agrees with is not put aside, however far the belief comes from.
                let path = self.about.filter(|_| n.channel.is_of_gnss());
                let beside = path.map_or(y, |x| n.value - seen_from(b, x, view).0);
                least = least.min((y * y).min(beside * beside) / (hph + variance));
            }
            y2 += weights[i] * y * y;
            known += weights[i] * hph;
            rows[i] = (y, hph, ph);
        }
        let t_s = self.t_s;
        let record = self.sensors.of(n.channel);
        if least > ASIDE {
            let off = sqrt(y2);
            if record.rejects == 0 {
                (record.aside_s, record.farthest) = (t_s, 0.0);
            }
            record.rejects += 1;
            record.farthest = record.farthest.max(off);
            let aside_s = t_s - record.aside_s;
            let fades = aside_s < n.fades_s && (aside_s < RISES_S || off < FADES_SHARE * record.farthest);
            let soon = record.rejects < n.patience || aside_s < n.patience_s || fades;
            if n.patience == 0 || soon || self.about.is_some() {
                return false;
            }
        } else {
            record.rejects = 0;
        }
        let kept = self.considered(n.channel);
        let record = self.sensors.of(n.channel);
        let forced = record.rejects > 0;
        record.rejects = 0;
        if !forced && self.about.is_none() {
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

    /// Height by a sample's pressure above its zero, m.
    pub(crate) fn height_by_pressure(&self, m: &Model, s: &Sample) -> Option<f64> {
        let p = s.pressure_pa.filter(|p| p.is_finite() && *p > 1.0 && *p < 2e5)?;
        Some(m.air.height_m(p - self.baro_over_pa) - self.zero_baro_m.value)
    }

    fn take_pressure(&mut self, m: &Model, s: &Sample, t_sd: f64, climb: f64) -> bool {
        let (Some(p), Some(z)) = (s.pressure_pa, self.height_by_pressure(m, s)) else { return false };
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
        let since = self.taken_ago_s(Channel::Baro, 0.01);
        let shock = doubt * mpp * sqrt(1.0 + SHOCK_LASTS_S / since);
        let quick = t_sd * climb;
        let variance = noise * noise + shock * shock + quick * quick + 1e-4 * noise * noise;
        let rho0 = m.air.pad_density();
        let view = |b: &Blob| {
            let bulge = (b.x[E] * b.x[E] + b.x[E + 1] * b.x[E + 1]) / (2.0 * EARTH_RADIUS_M);
            let h = b.x[H] + bulge;
            let (air, v) = airspeed(m, &b.x);
            let (rho, _) = m.air.density_ratio(b.x[H]);
            // Metres that the port's error is worth per unit, as the barometer shows it, and its slope along the airspeed.
            let port = 0.5 * rho * rho0 * v * v * mpp - b.port_trail_m;
            let per_v = b.x[PORT] * rho * rho0 * mpp;
            // The trail goes with the square of the lag, the port's with the lag.
            let by_lag = -b.x[VU] + (2.0 * b.trail_m - b.x[PORT] * b.port_trail_m) / baro_lag_s(b);
            let row = Row::new()
                .with(H, 1.0)
                .with(BB, 1.0)
                .with(PORT, port)
                .with(VE, per_v * air[0])
                .with(VN, per_v * air[1])
                .with(VU, per_v * air[2] - b.x[BLAG])
                .with(BLAG, by_lag);
            (h + b.x[BB] + b.x[PORT] * port - b.x[BLAG] * b.x[VU] + b.trail_m, row)
        };
        // The record's variance is in pascal squared: the comparison is made in pascal.
        let scale = 1.0 / mpp;
        let view_pa = |b: &Blob| {
            let (h, row) = view(b);
            (h * scale, scaled(&row, scale))
        };
        let patience = if shock > noise { 15 } else { 6 };
        // A charge's gas is in the bay for a while: nothing gives way to that. On the way up, where what is let go early has charges too,
        // what is farther and farther off is no gas.
        let falls = self.may_hang() && self.about.is_none();
        let coasts = self.phase == Phase::Coasting && self.about.is_none();
        let patience_s = if falls { CHARGE_LASTS_S } else { 0.0 };
        let fades_s = if coasts { CHARGE_LASTS_S } else { 0.0 };
        // What is left of it lies between nothing and what its venting leaves, and errs one way all the time.
        let left_pa = if falls || coasts { 0.5 * self.puff_pa() } else { 0.0 };
        let parting_pa = self.parting_pa();
        let value = z * scale;
        let taken = self.take_number(
            &Number {
                channel: Channel::Baro,
                value: value + left_pa,
                variance: variance * scale * scale
                    + (left_pa * left_pa + parting_pa * parting_pa) * (1.0 + VENT_S / since),
                patience,
                patience_s,
                fades_s,
            },
            &view_pa,
        );
        if (falls || coasts) && !taken {
            let w = self.weights();
            let expected = w.iter().zip(self.blobs.iter()).map(|(w, b)| w * view_pa(b).0).sum::<f64>();
            // Heights in pascal: more pressure is less.
            self.notice_puff(expected - value);
        }
        if self.phase == Phase::Descending && self.about.is_none() {
            self.watch_ground(s.t_s, z, noise, 0.0);
        }
        true
    }

    fn take_tilt(&mut self, m: &Model, s: &Sample) {
        let Some(z) = s.tilt_rad.filter(|v| v.is_finite() && *v >= 0.0 && *v < 3.2) else { return };
        if !matches!(self.phase, Phase::Powered | Phase::Coasting) || self.may_hang() || self.climb() < 12.0 {
            return;
        }
        // A body points a few degrees off its path, and a gyro drifts.
        let aslant = 0.035;
        let variance = self.sensors.variance(Channel::Tilt) + aslant * aslant;
        let view = |b: &Blob| {
            let (tilt, by) = tilt_of(airspeed(m, &b.x).0, air_cov(&b.p));
            let row =
                Row::new().with(VE, by[0]).with(VN, by[1]).with(VU, by[2]).with(WE, -by[0]).with(WN, -by[1]);
            (tilt, row)
        };
        if self.take_number(&Number::never(Channel::Tilt, z, variance), &view) {
            self.tilt_known = true;
        }
    }

    /// Where the rail lets go the path leans as the vehicle stood in it by its own sensors. In a told azimuth it may be the board that is
    /// askew.
    pub(crate) fn take_stood(&mut self, m: &Model) {
        let Some(stood) = self.stood_rad.filter(|_| !m.rail_azimuth_known) else { return };
        let variance = ASKEW_SD_RAD * ASKEW_SD_RAD + m.lean_off_rail_rad * m.lean_off_rail_rad;
        for b in self.blobs.iter_mut() {
            let cov = [0, 1, 2].map(|i| [0, 1, 2].map(|j| b.p[VE + i][VE + j]));
            let (tilt, by) = tilt_of([b.x[VE], b.x[VN], b.x[VU]], cov);
            let row = Row::new().with(VE, by[0]).with(VN, by[1]).with(VU, by[2]);
            let ph = b.times(&row);
            let (y, s) = (stood - tilt, row.dot(&ph).max(0.0) + variance);
            b.ln_w += -0.5 * log(s) - 0.5 * (NU + 1.0) * libm::log1p(y * y / s / NU);
            b.update(&ph, y, s);
        }
    }
}

/// How far a velocity leads from vertical, rad, and its slope over the velocity. Its direction about the vertical may be anywhere: the
/// spread across it lengthens the flat part.
fn tilt_of(v: [f64; 3], cov: [[f64; 3]; 3]) -> (f64, [f64; 3]) {
    let speed2 = v.iter().map(|v| v * v).sum::<f64>();
    let mean = sqrt(v[0] * v[0] + v[1] * v[1]).max(0.02 * sqrt(speed2) + 0.1);
    let c = cov;
    let across =
        (v[1] * v[1] * c[0][0] - 2.0 * v[0] * v[1] * c[0][1] + v[0] * v[0] * c[1][1]) / (mean * mean);
    let flat = sqrt(mean * mean + across.max(0.0));
    let speed2 = speed2.max(1.0);
    (libm::atan2(flat, v[2]), [v[0] / flat * v[2] / speed2, v[1] / flat * v[2] / speed2, -flat / speed2])
}

/// What a blob expects as seen from `x`, what its own mean's distance from there adds by the straight line, and the line's row.
fn seen_from(b: &Blob, x: [f64; N], view: View<'_>) -> (f64, f64, Row) {
    let (expected, row) = view(&Blob { x, ..*b });
    let off = row.terms().iter().map(|&(i, c)| c * (b.x[i] - x[i])).sum::<f64>();
    (expected, off, row)
}

/// Innovation, what is known of it and the covariance times the row, seen from where the value leads to (iterated extended Kalman
/// filter, Jazwinski 1970, ch. 9.7; from memory).
fn iterated(
    b: &Blob,
    value: f64,
    variance: f64,
    view: View<'_>,
    first: (f64, f64, [f64; N]),
) -> (f64, f64, [f64; N]) {
    let (mut y, mut hph, mut ph) = first;
    let mut at = b.x;
    for _ in 0..ROUNDS {
        let gain = y / (hph + variance);
        let mut moved = 0.0f64;
        for i in 0..N {
            let to = b.x[i] + ph[i] * gain;
            if i == LNK || i == SHAPE {
                moved = moved.max((to - at[i]).abs());
            }
            at[i] = to;
        }
        if moved < ENOUGH {
            break;
        }
        let (expected, off, row) = seen_from(b, at, view);
        ph = b.times(&row);
        hph = row.dot(&ph).max(0.0) + row.bent;
        y = value - expected - off;
    }
    (y, hph, ph)
}

fn scaled(row: &Row, by: f64) -> Row {
    let mut out = Row::new();
    for &(i, v) in row.terms() {
        out = out.with(i, v * by);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the likeliest ln k by trying all: the least sum of squares of the value's and the belief's deviations.
    #[test]
    fn a_force_leads_to_the_likeliest_drag_however_far_off_it_was_thought() {
        let view = |b: &Blob| {
            let drag = 20.0 * libm::exp(b.x[LNK]);
            (-drag, Row::new().with(LNK, -drag))
        };
        let (sd, noise) = (0.5, 1.0);
        for felt in [-5.0, -10.0, -20.0, -40.0, -60.0] {
            let mut b = Blob::zero();
            b.p[LNK][LNK] = sd * sd;
            let (expected, row) = view(&b);
            let ph = b.times(&row);
            let first = (felt - expected, row.dot(&ph), ph);
            let (y, hph, ph) = iterated(&b, felt, noise * noise, &view, first);
            b.update(&ph, y, hph + noise * noise);
            let misfit = |ln_k: f64| {
                let off = (felt + 20.0 * libm::exp(ln_k)) / noise;
                off * off + ln_k * ln_k / (sd * sd)
            };
            let tried = (-30_000..30_000).map(|i| 1e-4 * f64::from(i));
            let likeliest = tried.min_by(|a, b| misfit(*a).total_cmp(&misfit(*b))).unwrap();
            assert!((b.x[LNK] - likeliest).abs() < 0.02, "{felt}: {} for {likeliest}", b.x[LNK]);
            // One straight line from what was thought leads past it.
            let line = first.2[LNK] * first.0 / (first.1 + noise * noise);
            assert!(felt == -20.0 || (line - likeliest).abs() > 0.1, "{felt}: {line} for {likeliest}");
        }
    }
}
