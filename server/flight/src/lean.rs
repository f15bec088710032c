//! How the sum is laid over what is not known of the lean.
//!
//! In the rail there is one upright blob; where the upper guide leaves it the sum is laid over the direction of the airspeed:
//! one blob in the middle and two rings of six, with weights and spreads that make their sum about the Gaussian of lean and wind,
//! with more in the middle and wider tails (told spreads are guesses). Where no accelerometer can show burnout, three burn times
//! are held against each other as well. The nominal flight, which nothing corrects, is laid over the lean at once.

use libm::{cos, sin, sqrt};

use crate::filter::{BLOBS, Filter};
use crate::model::Model;
use crate::pad::Zero;
use crate::start::{OFFSET_SD_MPS2, STOOD_MOST_RAD};
use crate::state::{AB, Blob, D, E, H, N, VE, VN, VU, WE};

/// Radius of each ring over the told spread, its number of blobs, weight of the ring. A crew tells one round figure for all its
/// flights: most of them go straighter than a Gaussian of that spread has it, and a few lean much further.
const RINGS: [(f64, usize, f64); 3] = [(0.0, 1, 0.5), (1.25, 6, 0.32), (2.4, 6, 0.18)];
/// Spread of a blob over the told one, and of the one in the middle: where most flights go it is narrower.
const BLOB_SD: f64 = 0.62;
const CORE_SD: f64 = 0.4;
/// Burn times over the told one, with weights, where nothing shows burnout.
const STRETCHES: [(f64, f64); 3] = [(0.88, 0.25), (1.0, 0.5), (1.14, 0.25)];

/// How likely a vehicle whose path leans beyond what was told has stood as told all the same, and come to it off the rail (common practice,
/// no source), and how many tilts, up to its lean, are held against that.
const STOOD_AS_TOLD: f64 = 0.5;
const TILTS: usize = 5;

impl Filter {
    pub(crate) fn lay_sum(&mut self, m: &Model, t0_sd_s: f64, axial: bool) {
        let base = self.prior(m, self.t_s);
        // Lean grows from the rail to burnout as gravity turns the path: what is told there is less here.
        let sd = self.lean_off_rail_rad(m);
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

    /// Spread of the path's angle on each axis where the rail lets go: as told, and by how far the vehicle stood beyond the told tilt.
    pub(crate) fn lean_off_rail_rad(&self, m: &Model) -> f64 {
        let Some(stood) = self.stood_rad else { return m.lean_off_rail_rad };
        let told = m.rail_tilt_rad;
        // In a told azimuth it may be the rail or the board that is off; in none the told tilt is in the spread already.
        let beyond =
            if m.rail_azimuth_known { (stood - told) * (stood - told) } else { stood * stood - told * told };
        sqrt(m.lean_off_rail_rad * m.lean_off_rail_rad + 0.5 * beyond)
    }

    /// The axial offset was found by gravity along a rail that stands as told. Where a path leans beyond what tilt and wind explain the vehicle may
    /// have stood aslant already, by as much at most: it felt less of gravity then, and its offset is more than was found.
    pub(crate) fn doubt_offset(&mut self, m: &Model) {
        if self.stood_rad.is_some() || self.pad.zero(Zero::Axial, self.t_s, 0.0).is_none() {
            return;
        }
        let g = m.gravity(0.0);
        for b in self.blobs.iter_mut() {
            let lean = libm::atan2(libm::hypot(b.x[VE], b.x[VN]), b.x[VU]) / m.lean_grows;
            let beyond = (lean.min(STOOD_MOST_RAD) - m.off_rail_rad).max(0.0);
            let (mut all, mut mean, mut square) = (0.0, 0.0, 0.0);
            for k in 0..TILTS {
                let tilt = m.rail_tilt_rad + beyond * k as f64 / (TILTS - 1) as f64;
                let less = g * (cos(m.rail_tilt_rad) - cos(tilt));
                let share = if k == 0 { STOOD_AS_TOLD } else { (1.0 - STOOD_AS_TOLD) / (TILTS - 1) as f64 };
                let off = (b.x[AB] + less) / OFFSET_SD_MPS2;
                let w = share * libm::exp(-0.5 * off * off);
                (all, mean, square) = (all + w, mean + w * less, square + w * less * less);
            }
            if all > 0.0 {
                let mean = mean / all;
                b.x[AB] += mean;
                b.p[AB][AB] += (square / all - mean * mean).max(0.0);
            }
        }
    }

    /// Spread of the lean inside a blob, put in when the upper guide leaves the rail.
    pub(crate) fn loosen_from_rail(&mut self, m: &Model) {
        let upright = self.blobs.iter().all(|b| stands(b, m));
        self.loosen_lean(if upright { 1.0 } else { BLOB_SD } * self.lean_off_rail_rad(m));
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
        self.take_stood(m);
    }

    /// At first motion: one blob for each burn time, upright in the rail, which holds it that way.
    pub(crate) fn lay_upright(&mut self, m: &Model, t0_sd_s: f64, axial: bool) {
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

    /// Spread of each rail inside its blob, put in where the blob starts: it grows with the speed.
    pub(crate) fn loosen_rails(&mut self, m: &Model) {
        let sd = BLOB_SD * self.lean_off_rail_rad(m) * 3.0;
        for b in self.blobs.iter_mut() {
            b.p[VE][VE] += sd * sd;
            b.p[VN][VN] += sd * sd;
        }
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
