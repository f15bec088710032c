//! How the belief begins: at first motion, dated back; or aloft, when the first sample comes after liftoff.
//!
//! In the rail there is one upright blob; where the upper guide leaves it the sum is laid over the direction of the airspeed:
//! one blob in the middle and two rings of six, with weights and spreads that make their sum about the Gaussian of lean and wind,
//! with more in the middle and wider tails (told spreads are guesses). Where no accelerometer can show burnout, three burn times
//! are held against each other as well. The nominal flight, which nothing corrects, is laid over the lean at once.

use libm::{cos, sin, sqrt};

use crate::filter::{BLOBS, Filter};
use crate::liftoff::{Glance, Heights, RECENT, falls, first_motion, rests};
use crate::line::{Line, line};
use crate::model::Model;
use crate::motion::axial_force;
use crate::motor::Stage;
use crate::output::{EventKind, Phase};
use crate::pad::Zero;
use crate::plan::Told;
use crate::pressure::column_variances;
use crate::sensors::Channel;
use crate::shelf::Shelf;
use crate::state::{
    AB, AS, BB, BLAG, BS, Blob, D, E, GH, H, LAG, LNK, N, PORT, Row, SHAPE, TALL, TAU, VE, VN, VU, WE, WN,
};

/// Radius of each ring over the told spread, its number of blobs, weight of the ring. A crew tells one round figure for all its
/// flights: most of them go straighter than a Gaussian of that spread has it, and a few lean much further.
const RINGS: [(f64, usize, f64); 3] = [(0.0, 1, 0.5), (1.25, 6, 0.32), (2.4, 6, 0.18)];
/// Spread of a blob over the told one, and of the one in the middle: where most flights go it is narrower.
const BLOB_SD: f64 = 0.62;
const CORE_SD: f64 = 0.4;
/// Spread of height by pressure over true height near the ground: thermometer and lowest layer are not the standard's (1 K off
/// over the column is 0.35 %; common practice, no source); what layers above add is in `pressure`. Larger: apogee by pressure alone is less certain than it is on a
/// standard day; smaller: GNSS and pressure quarrel on others.
pub(crate) const BARO_SCALE_SD: f64 = 0.007;
/// Share of the difference between told and read pressure on the pad that is the sensor's own offset, and not the told
/// figure's error: both are good to about a hectopascal (common practice, no source). An offset of one hectopascal is worth
/// 0.1 % of height at 2 km, 0.5 % at 5 km.
const OFFSET_SHARE: f64 = 0.6;
/// Difference beyond which one of the two is simply wrong, Pa.
const OFFSET_MOST_PA: f64 = 600.0;
/// Spread of the barometer's height after its zero on the pad, m: wind on the ports, warming since (common practice, no
/// source; 5 Pa).
const BARO_ZERO_SD_M: f64 = 0.5;
/// How far a receiver's height has wandered from its zero on the pad by the time of the flight, m: satellites come and go, the
/// ionosphere changes (common practice, no source). Smaller: height by pressure is bent to a receiver that is off.
const GNSS_WANDERS_M: f64 = 3.0;
/// Spread of a static port's error over the dynamic pressure: small holes behind a nose cone read one or two per cent
/// off (common practice, no source).
pub(crate) const PORT_SD: f64 = 0.012;
/// Spread of a height that has no zero yet: told pressure, told elevation, geoid, m (common practice, no source).
const UNSETTLED_SD_M: f64 = 15.0;
/// How much later a receiver's height is than its place, one standard deviation, s (common practice, no source: heights are smoothed
/// longer).
const TALL_LAG_SD_S: f64 = 0.05;
/// How late a barometer is: tubes, bays and filters on boards (common practice, no source).
pub(crate) const BARO_LAG_S: Told = Told { value: 0.05, sd: 0.05 };
/// How long before the oldest sample kept a first motion may lie, s.
const DATED_BACK_S: f64 = 2.0;
/// How many standard deviations of the slope heights climb or fall by where a flight is joined aloft, and how long they must have, s; longer
/// where an accelerometer feels its own weight alone.
const SURE_SD: f64 = 5.0;
const JOINS_AFTER_S: f64 = 0.6;
const RESTS_FOR_S: f64 = 1.2;
/// Burn times over the told one, with weights, where nothing shows burnout.
const STRETCHES: [(f64, f64); 3] = [(0.88, 0.25), (1.0, 0.5), (1.14, 0.25)];

impl Filter {
    /// Looks for first motion among the samples kept, and for signs of having come late.
    pub(crate) fn try_start(&mut self, m: &Model) {
        let t = self.t_s;
        let mpp = m.air.metres_per_pascal(0.0);
        let baro_sd = mpp * sqrt(self.sensors.variance(Channel::Baro));
        let gnss_sd = sqrt(self.sensors.variance(Channel::FixUp));
        let zero = self.pad.zero(Zero::Baro, t, baro_sd);
        let zero_up = self.pad.zero(Zero::Up, t, gnss_sd);
        let own_sd = sqrt(self.sensors.variance(Channel::OwnHeight));
        let zero_own = self.pad.zero(Zero::Own, t, own_sd);
        let rest = self.pad.zero(Zero::Axial, t, 0.0).map(|z| z.value);
        let settled = self.pad.settled(t);
        let mut glances: Shelf<Glance, RECENT> = Shelf::new();
        for s in self.recent.iter() {
            let baro = s.pressure_pa.filter(|p| p.is_finite() && *p > 0.0).map(|p| m.air.height_m(p));
            let up = Self::fix_enu(m, s).and_then(|f| f.2);
            glances.push(Glance {
                t_s: s.t_s,
                baro_m: baro.map(|b| b - zero.map_or(0.0, |z| z.value)),
                axial: s.axial_mps2.filter(|f| f.is_finite()),
                rests: s.axial_mps2.is_some_and(|f| f.is_finite() && rests(f, s.lateral_mps2, rest)),
                gnss_up_m: up.map(|u| u - zero_up.map_or(0.0, |z| z.value)),
                gnss_climb: s.velocity.and_then(|v| v.up_mps).filter(|v| v.is_finite()),
                own_m: s
                    .own_height_m
                    .filter(|h| h.is_finite())
                    .map(|h| h - zero_own.map_or(0.0, |z| z.value)),
            });
        }
        if !settled {
            self.try_join(m, &glances);
            if self.phase != Phase::Waiting {
                return;
            }
        }
        let thrust = m.stages.first().map_or(50.0, crate::motor::Stage::mean_mps2);
        if let Some(told) = self.told_lift
            && self.is_blind()
            && told.value <= t
        {
            self.lift(m, told);
            return;
        }
        let burn_s = m.stages.first().map_or(1.0, |s| s.burn_s);
        // What wind, doors and hands do to the pressure is no climb either.
        let gnss_sd = gnss_sd.max(1.0);
        let baro_moves = zero.map_or(UNSETTLED_SD_M, |_| self.pad.restless_m(t).max(baro_sd));
        let gnss_moves = self.pad.unrest(Zero::Up, t).map_or(UNSETTLED_SD_M, |u| u.max(gnss_sd));
        let baro = Heights { noise_m: baro_sd, moves_m: baro_moves };
        let gnss = Heights { noise_m: gnss_sd, moves_m: gnss_moves };
        let own_moves = self.pad.unrest(Zero::Own, t).map_or(UNSETTLED_SD_M, |u| u.max(own_sd).max(1.0));
        let own = Heights { noise_m: own_sd, moves_m: own_moves };
        if let Some(found) = first_motion(&glances, baro, gnss, own, thrust, burn_s, self.gnss_lag_s()) {
            if settled {
                self.lift(m, found.at);
            } else if glances.last().zip(glances.first()).is_some_and(|(b, a)| b.t_s - a.t_s > 0.3) {
                // The first second on the air already shows power: first motion lies shortly before.
                self.lift(m, found.at);
            }
        } else if settled && self.is_blind() {
            self.join_falling(m, &glances, gnss.moves_m);
        }
    }

    /// Begins at first motion and takes the samples since then again.
    fn lift(&mut self, m: &Model, at: Told) {
        let t_end = self.t_s;
        // Dated back by absurd numbers it would lie ages ago, and the way from there would take as long to compute.
        let first_s = self.recent.first().map_or(t_end, |s| s.t_s);
        let at = Told { value: at.value.clamp(first_s - DATED_BACK_S, t_end.max(first_s)), ..at };
        self.mark(EventKind::Liftoff, at.value, at.sd);
        self.take_zeros(m, at.value);
        let axial =
            self.recent.iter().any(|s| s.axial_mps2.is_some_and(f64::is_finite) && s.t_s > t_end - 2.5);
        self.phase = Phase::Powered;
        self.t_s = at.value;
        self.tidied_s = at.value;
        self.begin_burn(m, 0, at.value, axial);
        self.lay_upright(m, at.sd, axial);
        let again = self.recent;
        for s in again.iter().filter(|s| s.t_s > at.value) {
            self.take_again(m, s);
        }
        self.recent.clear();
    }

    /// The nominal flight from now on.
    pub(crate) fn lift_off_nominally(&mut self, m: &Model, now_s: f64) {
        self.phase = Phase::Powered;
        self.mark(EventKind::Liftoff, now_s, 0.01);
        self.take_zeros(m, now_s);
        self.begin_burn(m, 0, now_s, true);
        // Carried ahead without data the curve's own wandering would add up to what its impulse rules out.
        self.regime.thrust_sd *= 0.2;
        self.lay_sum(m, 0.01, true);
        self.loosen_rails(m);
    }

    /// Spread of each rail inside its blob, put in where the blob starts: it grows with the speed.
    fn loosen_rails(&mut self, m: &Model) {
        let sd = BLOB_SD * m.lean_off_rail_rad * 3.0;
        for b in self.blobs.iter_mut() {
            b.p[VE][VE] += sd * sd;
            b.p[VN][VN] += sd * sd;
        }
    }

    fn take_again(&mut self, m: &Model, s: &crate::sample::Sample) {
        if !matches!(self.phase, Phase::Waiting | Phase::Down) {
            self.take(m, s, false);
        }
    }

    pub(crate) fn take_zeros(&mut self, m: &Model, t_s: f64) {
        let mpp = m.air.metres_per_pascal(0.0);
        let sd = |c: Channel| sqrt(self.sensors.variance(c));
        let told_pad = Told { value: 0.0, sd: 15.0 };
        self.zero_baro_m = self.pad.zero(Zero::Baro, t_s + 0.7, mpp * sd(Channel::Baro)).unwrap_or(told_pad);
        self.baro_over_pa = 0.0;
        if self.zero_baro_m.sd < told_pad.sd {
            let read = m.air.pressure_pa(self.zero_baro_m.value);
            let over = read - m.air.pressure_pa(0.0);
            if over.abs() < OFFSET_MOST_PA {
                self.baro_over_pa = OFFSET_SHARE * over;
                self.zero_baro_m.value = m.air.height_m(read - self.baro_over_pa);
            }
        }
        self.zero_own_m = self
            .pad
            .zero(Zero::Own, t_s + 0.7, sd(Channel::OwnHeight))
            .unwrap_or(Told { value: 0.0, sd: 5.0 });
        let fallback = [8.0, 8.0, 15.0];
        for (i, (z, c)) in
            [(Zero::East, Channel::FixFlat), (Zero::North, Channel::FixFlat), (Zero::Up, Channel::FixUp)]
                .into_iter()
                .enumerate()
        {
            self.zero_gnss_m[i] =
                self.pad.zero(z, t_s + 0.7, sd(c)).unwrap_or(Told { value: 0.0, sd: fallback[i] });
        }
    }

    /// Time between packets as they are sent, s: the lower quartile of the gaps, since lost ones only make gaps longer.
    fn sent_gap_s(&self) -> f64 {
        let mut gaps = [0.0; RECENT];
        let mut n = 0;
        for (before, s) in self.recent.iter().zip(self.recent.iter().skip(1)) {
            let gap_s = s.t_s - before.t_s;
            if gap_s > 1e-3 && n < RECENT {
                gaps[n] = gap_s;
                n += 1;
            }
        }
        if n < 2 {
            return self.packet_gap_s;
        }
        gaps[..n].sort_unstable_by(f64::total_cmp);
        gaps[n / 4].min(2.0)
    }

    /// A receiver's own lag (common practice, no source), and what a fix waits for its packet, s: receiver and packets keep their
    /// rates, so that the wait is the same all along, anything up to a gap between packets where these are sent by a clock, and little
    /// where a new fix is sent at once.
    fn gnss_lag_s(&self) -> Told {
        let gap_s = self.sent_gap_s();
        Told { value: 0.3 + 0.35 * gap_s, sd: hypot2(0.33, 0.29 * gap_s) }
    }

    /// Prior of everything but motion and lean.
    fn prior(&self, m: &Model, t_s: f64) -> Blob {
        let mut b = Blob::zero();
        let wind_sd = m.wind.sd_mps(10.0);
        let stage = m.stages.first();
        b.x[LNK] = stage.map_or(-7.0, |s| s.ln_k);
        let sd = stage.map_or(0.3, |s| s.ln_k_sd);
        let thrust_sd = stage.map_or(0.1, |s| s.ln_thrust_sd);
        let lag_s = self.gnss_lag_s();
        for (i, sd) in [
            (LNK, sd),
            (SHAPE, 1.0),
            (WE, wind_sd),
            (WN, wind_sd),
            (TAU, thrust_sd),
            (BB, hypot2(self.zero_baro_m.sd, BARO_ZERO_SD_M)),
            (BS, m.air_scale_sd),
            (AB, 0.6),
            (AS, 0.012),
            (LAG, lag_s.sd),
            (TALL, TALL_LAG_SD_S),
            (PORT, PORT_SD),
            (BLAG, BARO_LAG_S.sd),
            (GH, hypot2(self.zero_gnss_m[2].sd, GNSS_WANDERS_M)),
        ] {
            b.p[i][i] = sd * sd;
        }
        b.x[LAG] = lag_s.value;
        b.x[BLAG] = BARO_LAG_S.value;
        // Standing on the pad the axial reading was g along the rail: offset and scale together are known.
        let noise = sqrt(self.sensors.variance(Channel::Axial));
        if let Some(z) = self.pad.zero(Zero::Axial, t_s + 0.7, noise) {
            let g = m.gravity(0.0);
            let row = Row::new().with(AB, 1.0).with(AS, g);
            let ph = b.times(&row);
            // Tilt of the rail unknown to a few degrees: g (1 - cos 4 deg) = 0.02.
            let s = row.dot(&ph) + z.sd * z.sd + 0.03 * 0.03;
            let y = z.value - g * m.rail[2];
            if y.abs() < 3.0 {
                b.update(&ph, y, s);
            }
        }
        b
    }

    pub(crate) fn lay_sum(&mut self, m: &Model, t0_sd_s: f64, axial: bool) {
        let base = self.prior(m, self.t_s);
        // Lean grows from the rail to burnout as gravity turns the path: what is told there is less here.
        let sd = m.lean_off_rail_rad;
        let (ax, ay) = across(&m.rail);
        let (a0, _) = m.stages.first().map_or((50.0, 1.0), |s| s.at(0.3 * s.burn_s, 1.0));
        let net = (a0 - 9.8).max(3.0);
        self.blobs.clear();
        let stretches: &[(f64, f64)] = if axial { &[(1.0, 1.0)] } else { &STRETCHES };
        for spot in spots(axial) {
            let (du, dv) = (spot.radius * sd * cos(spot.turn), spot.radius * sd * sin(spot.turn));
            let rail = leaned(&m.rail, &ax, &ay, du, dv);
            for &(stretch, w) in stretches {
                let mut b = base;
                b.rail = rail;
                b.stretch = stretch;
                b.ln_w = libm::log(spot.share * w);
                // A first motion dated wrongly by dt is a speed wrong by a dt ever after.
                let dv_sd = net * t0_sd_s;
                for k in 0..3 {
                    b.p[VE + k][VE + k] = 0.01 + rail[k] * rail[k] * dv_sd * dv_sd;
                    b.p[E + k][E + k] = 0.04;
                }
                let dh_sd = 0.5 * dv_sd * t0_sd_s;
                b.p[H][H] = 0.02 + dh_sd * dh_sd;
                b.p[D][D] = self.regime.thrust_sd * self.regime.thrust_sd;
                self.blobs.push(b);
            }
        }
    }

    /// Spread of the lean inside a blob, put in when the upper guide leaves the rail.
    pub(crate) fn loosen_from_rail(&mut self, m: &Model) {
        let upright = self.blobs.iter().all(|b| stands(b, m));
        self.loosen_lean(if upright { 1.0 } else { BLOB_SD } * m.lean_off_rail_rad);
        // How far the wind turns the nose is not known exactly.
        let h = self.height();
        let (told, _) = m.wind.at(h);
        for b in self.blobs.iter_mut() {
            let w = [told[0] + b.x[WE], told[1] + b.x[WE + 1]].map(|w| crate::model::TURNS_SD * w);
            for i in 0..2 {
                for j in 0..2 {
                    b.p[VE + i][VE + j] += w[i] * w[j];
                }
            }
        }
        if upright {
            self.lay_over_air(m.turns_with_wind);
        }
    }

    /// At first motion: one blob for each burn time, upright in the rail, which holds it that way.
    fn lay_upright(&mut self, m: &Model, t0_sd_s: f64, axial: bool) {
        self.lay_sum(m, t0_sd_s, axial);
        self.blobs.retain(|b| stands(b, m));
    }

    /// Where the rail lets go: lays the sum over the direction of the airspeed. The lean and the wind turn the nose alike there,
    /// and only what lies between blobs, not within one, can be weighed away later. Each blob's covariance is shared out:
    /// the parts lie along the flat airspeed's spread, with the rest of the state by regression on it, and keep a part of it.
    fn lay_over_air(&mut self, share: f64) {
        let old = self.blobs;
        let all = old.len() == 1;
        if old.len() * spots(all).count() > BLOBS {
            return;
        }
        let whole: f64 = spots(all).map(|s| s.share).sum();
        self.blobs.clear();
        for b in old.iter() {
            // The covariance of the flat airspeed that turns the nose with every state, and with itself.
            let mut with = [[0.0; N]; 2];
            for (k, row) in with.iter_mut().enumerate() {
                for (j, c) in row.iter_mut().enumerate() {
                    *c = b.p[VE + k][j] - share * b.p[WE + k][j];
                }
            }
            let own = |a: usize, c: usize| with[a][VE + c] - share * with[a][WE + c];
            let (s00, s01, s11) = (own(0, 0).max(1e-9), own(0, 1), own(1, 1).max(1e-9));
            let det = (s00 * s11 - s01 * s01).max(1e-12 * s00 * s11);
            let mut by = [[0.0; 2]; N];
            for (j, g) in by.iter_mut().enumerate() {
                *g = [
                    (with[0][j] * s11 - with[1][j] * s01) / det,
                    (with[1][j] * s00 - with[0][j] * s01) / det,
                ];
            }
            let mut explained = [[0.0; N]; N];
            for i in 0..N {
                for j in 0..N {
                    explained[i][j] = by[i][0] * with[0][j] + by[i][1] * with[1][j];
                }
            }
            // The airspeed's own axes, by Cholesky.
            let l00 = sqrt(s00);
            let l10 = s01 / l00;
            let l11 = sqrt((s11 - l10 * l10).max(0.0));
            for spot in spots(all) {
                let (a, c) = (spot.radius * cos(spot.turn), spot.radius * sin(spot.turn));
                let off = [l00 * a, l10 * a + l11 * c];
                let mut part = *b;
                let kept = if spot.radius == 0.0 { CORE_SD } else { BLOB_SD };
                for i in 0..N {
                    for j in 0..N {
                        part.p[i][j] -= (1.0 - kept * kept) * explained[i][j];
                    }
                }
                for (x, g) in part.x.iter_mut().zip(&by) {
                    *x += g[0] * off[0] + g[1] * off[1];
                }
                part.ln_w += libm::log(spot.share / whole);
                part.hold();
                self.blobs.push(part);
            }
        }
    }

    /// The same with another spread of the lean, rad.
    pub(crate) fn loosen_lean(&mut self, sd: f64) {
        for b in self.blobs.iter_mut() {
            let (ax, ay) = across(&b.rail);
            let v = sqrt(b.x[VE] * b.x[VE] + b.x[VN] * b.x[VN] + b.x[VU] * b.x[VU]);
            let var = (sd * v) * (sd * v);
            for i in 0..3 {
                for j in 0..3 {
                    b.p[VE + i][VE + j] += var * (ax[i] * ax[j] + ay[i] * ay[j]);
                }
            }
        }
    }

    /// Sees whether the first samples ever come from a vehicle that is already flying, and begins aloft.
    fn try_join(&mut self, m: &Model, glances: &[Glance]) {
        let (Some(first), Some(last)) = (glances.first(), glances.last()) else { return };
        if last.t_s - first.t_s < 0.25 || glances.len() < 4 {
            return;
        }
        // A height alone says nothing where the weather was not told, and a slope of few noisy heights little.
        let seen = trend(glances, |g| g.baro_m).or_else(|| trend(glances, |g| g.gnss_up_m));
        let climb = seen.map_or(0.0, |l| l.slope_mps);
        let height = seen.map_or(0.0, |l| l.newest_m);
        let sure = seen.is_some_and(|l| climb.abs() > SURE_SD * l.slope_sd(l.scatter_m));
        let gnss: f64 = glances.iter().rev().find_map(|g| g.gnss_climb).unwrap_or(climb);
        let (mut free, mut felt) = (0_usize, 0_usize);
        for g in glances {
            if let Some(f) = g.axial {
                felt += 1;
                free += usize::from(f < 6.0);
            }
        }
        let light = felt >= 3 && 2 * free > felt;
        let high = height > 60.0 && climb.abs() > 5.0;
        let fast = climb.abs() > 12.0 && gnss.abs() > 8.0 && height > 20.0;
        // On the pad an accelerometer feels 1 g; under a canopy, too, but that falls for longer than a second.
        let rests = glances.iter().filter(|g| g.rests).count() * 2 > felt.max(1);
        let long = last.t_s - first.t_s >= if rests { RESTS_FOR_S } else { JOINS_AFTER_S };
        if !sure || !(light || long) || !(high || fast || (light && climb.abs() > 6.0)) {
            return;
        }
        let faster = if climb.abs() > gnss.abs() { climb } else { gnss };
        let powered = felt >= 3 && 2 * free < felt && climb > 0.0;
        self.take_zeros(m, last.t_s - 1e6);
        self.join(m, last.t_s, height, faster, powered);
    }

    /// A receiver that is all there is and was silent on the way up shows a body on its way down: it is followed from there.
    fn join_falling(&mut self, m: &Model, glances: &[Glance], gnss_moves_m: f64) {
        let Some((height, climb)) = falls(glances, gnss_moves_m) else { return };
        self.take_zeros(m, self.t_s);
        self.join(m, self.t_s, height, climb, false);
    }

    /// Begins aloft, at a height with a climb rate, under power or not.
    fn join(&mut self, m: &Model, t_s: f64, height: f64, climb: f64, powered: bool) {
        self.zero_baro_m = Told { value: 0.0, sd: 15.0 };
        self.baro_over_pa = 0.0;
        let mut b = self.prior(m, t_s - 1e6);
        b.x[H] = height;
        b.x[VU] = climb;
        for i in 0..3 {
            b.p[i][i] = 500.0 * 500.0;
            b.p[VE + i][VE + i] = 40.0 * 40.0;
        }
        b.p[H][H] = 400.0;
        let (column, scale) = column_variances(m, height);
        b.p[BB][BB] += column;
        b.p[BS][BS] = scale;
        b.p[VU][VU] = 15.0 * 15.0;
        b.p[D][D] = 4.0;
        self.blobs.clear();
        let lean = 0.25 * b.x[VU].abs();
        for (i, (de, dn)) in [(0.0, 0.0), (1.0, 0.0), (-0.5, 0.866), (-0.5, -0.866)].into_iter().enumerate() {
            let mut c = b;
            c.x[VE] = de * lean;
            c.x[VN] = dn * lean;
            c.ln_w = if i == 0 { -0.7 } else { -1.8 };
            self.blobs.push(c);
        }
        self.t_s = t_s;
        self.tidied_s = t_s;
        self.phase = Phase::Joined;
        let stage = m.stages.first();
        self.regime.ignition_s = t_s - stage.map_or(2.0, |s| 0.5 * s.burn_s);
        if powered {
            self.begin_burn(m, 0, self.regime.ignition_s, true);
            for b in self.blobs.iter_mut() {
                b.p[D][D] = 2500.0;
            }
        } else {
            self.regime.burning = false;
            self.phase = if b.x[VU] > 0.0 { Phase::Coasting } else { Phase::Descending };
        }
        self.recent.clear();
    }

    /// A stage lights.
    pub(crate) fn begin_burn(&mut self, m: &Model, stage: usize, ignition_s: f64, axial: bool) {
        let Some(s) = m.stages.get(stage) else { return };
        self.regime.stage = stage;
        self.regime.ignition_s = ignition_s;
        self.burns(s, axial);
        if stage > 0 {
            for b in self.blobs.iter_mut() {
                s.takes_over(&m.stages[stage - 1], b);
                b.p[D][D] += self.regime.thrust_sd * self.regime.thrust_sd;
            }
        }
    }

    /// Thrust acts as it does while this stage burns.
    pub(crate) fn burns(&mut self, s: &Stage, axial: bool) {
        self.regime.burning = true;
        // Felt thrust is followed: it changes slowly, and where it does not, the surprise says so. Thrust that nobody feels
        // may differ from the told curve for a while.
        let (share, tau_s) = match (axial, s.has_curve) {
            (true, _) => (0.15, 1.5),
            (false, true) => (0.12, 0.35),
            (false, false) if s.tells_burn_time() => (0.4, 0.35),
            // What thrust is beyond the told one is a shorter burn: all of it at once would spend the impulse again.
            (false, false) => (0.15, 0.35),
        };
        self.regime.thrust_tau_s = tau_s;
        self.regime.thrust_sd = share * s.mean_mps2();
        self.regime.ln_k_rate = 0.01;
        self.regime.rough = 0.03;
        self.force = None;
        self.tally = 0;
    }

    /// Whether the sum's thrust is over by the told curves, for all blobs.
    pub(crate) fn told_burn_over(&self, m: &Model) -> bool {
        self.blobs.iter().all(|b| {
            let f = axial_force(m, &self.regime, b, self.t_s);
            f.thrust <= 0.0 && self.t_s > self.regime.ignition_s + 0.02
        })
    }
}

/// One part of a laid sum: how far out over the spread, in which direction, rad, and its share of the weight.
struct Spot {
    radius: f64,
    turn: f64,
    share: f64,
}

/// The parts of a laid sum. Where several burn times share the room the outer ring is left to the inner one, set further out.
fn spots(all: bool) -> impl Iterator<Item = Spot> {
    let (rings, reach) = if all { (RINGS.len(), 1.0) } else { (2, 1.2) };
    RINGS[..rings].iter().enumerate().flat_map(move |(ring, &(radius, count, share))| {
        (0..count).map(move |i| Spot {
            radius: reach * radius,
            turn: (i as f64 + 0.5 * ring as f64) / count as f64 * core::f64::consts::TAU,
            share: share / count as f64,
        })
    })
}

/// Whether a blob stands as the rail is told to.
fn stands(b: &Blob, m: &Model) -> bool {
    b.rail.iter().zip(&m.rail).all(|(a, r)| (a - r).abs() < 1e-9)
}

/// Two unit vectors across a direction.
pub(crate) fn across(r: &[f64; 3]) -> ([f64; 3], [f64; 3]) {
    let flat = sqrt(r[0] * r[0] + r[2] * r[2]).max(1e-6);
    let a = [r[2] / flat, 0.0, -r[0] / flat];
    let b = [r[1] * a[2] - r[2] * a[1], r[2] * a[0] - r[0] * a[2], r[0] * a[1] - r[1] * a[0]];
    (a, b)
}

pub(crate) fn leaned(r: &[f64; 3], a: &[f64; 3], b: &[f64; 3], u: f64, v: f64) -> [f64; 3] {
    let mut d = [0.0; 3];
    let mut len = 0.0;
    for i in 0..3 {
        d[i] = r[i] + a[i] * u - b[i] * v;
        len += d[i] * d[i];
    }
    let len = sqrt(len);
    [d[0] / len, d[1] / len, d[2] / len]
}

/// Straight line through the heights of the last second.
fn trend(glances: &[Glance], height: impl Fn(&Glance) -> Option<f64>) -> Option<Line> {
    let newest = glances.last()?.t_s;
    let mut last: Shelf<(f64, f64), RECENT> = Shelf::new();
    for g in glances.iter().filter(|g| g.t_s > newest - 1.0) {
        if let Some(h) = height(g) {
            last.push((g.t_s, h));
        }
    }
    line(&last)
}

fn hypot2(a: f64, b: f64) -> f64 {
    sqrt(a * a + b * b)
}

impl crate::shelf::Blank for Glance {
    const BLANK: Self = Glance {
        t_s: 0.0,
        baro_m: None,
        axial: None,
        rests: false,
        gnss_up_m: None,
        gnss_climb: None,
        own_m: None,
    };
}

const _: () = assert!(N == 21 && WE + 1 == WN);
