//! How the belief begins: at first motion, dated back, with zeros and priors of everything but the lean (`lean`). `join` begins aloft.

use libm::sqrt;

use crate::filter::Filter;
use crate::glance::{Glance, Heights, RAIL_WITHIN_RAD, RECENT, rests};
use crate::liftoff::first_motion;
use crate::model::Model;
use crate::motion::axial_force;
use crate::motor::Stage;
use crate::output::{EventKind, Phase};
use crate::pad::Zero;
use crate::plan::Told;
use crate::sensors::Channel;
use crate::shelf::Shelf;
use crate::state::{
    AB, AS, BB, BLAG, BS, Blob, D, E, GH, H, LAG, LNK, N, NEVER_S, PORT, Row, SHAPE, TALL, TAU, VE, WE, WN,
};

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
/// How far from vertical a vehicle stands at most that is flown by its own sensors' word, rad: nothing is flown off a rail that lies down.
/// One that reads less than the rail's told tilt has been zeroed in its rail.
pub(crate) const STOOD_MOST_RAD: f64 = 0.8;
/// Variance over the told one from which a speed is less sure than told.
const SURER: f64 = 1.05;
/// Length of the parts in which a burn is followed as told, s, and how much longer than told one lasts at most.
const PART_S: f64 = 0.05;
const LONGEST_BURN: f64 = 1.5;
/// How long before the oldest sample kept a first motion may lie, s.
const DATED_BACK_S: f64 = 2.0;

/// Offset of an accelerometer, one standard deviation, m/s2 (common practice, no source).
pub(crate) const OFFSET_SD_MPS2: f64 = 0.6;
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
                t_sd_s: s.t_sd(),
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
        let before = *self;
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
        self.told_speed = if axial { None } else { before.speed_as_told(m, at.value) };
        let again = self.recent;
        for s in again.iter().filter(|s| s.t_s > at.value) {
            self.take_again(m, s);
        }
        if self.is_blind() && self.gnss_doubted && matches!(self.phase, Phase::Coasting | Phase::Descending) {
            let mut told = before.flown_as_told(m, at);
            let none_taken = self.sensors.get(Channel::FixUp).taken_s <= self.regime.burnt_out_s;
            if told.begin_by_fixes(m, &again) || none_taken {
                *self = told;
            }
        }
        self.recent.clear();
    }

    /// A copy that has flown as told since its liftoff, where nothing that was heard since then is believed. Dated wrongly it is on the
    /// same way, sooner or later: its burn goes with it, and no speed is gained by that.
    fn flown_as_told(&self, m: &Model, lifted: Told) -> Self {
        let now_s = self.t_s;
        let mut f = self.supposing_liftoff(m, lifted.value);
        f.mark(EventKind::Liftoff, lifted.value, lifted.sd);
        f.carry_to(m, now_s);
        let along = f.acceleration;
        for b in f.blobs.iter_mut() {
            let mut per_s = [0.0; N];
            for k in 0..3 {
                (per_s[E + k], per_s[VE + k]) = (b.x[VE + k], along[k]);
            }
            for i in 0..N {
                for j in 0..N {
                    b.p[i][j] += lifted.sd * lifted.sd * per_s[i] * per_s[j];
                }
            }
        }
        f.gnss_doubted = true;
        f
    }

    /// The speed that power ends with as told.
    fn speed_as_told(&self, m: &Model, lifted_s: f64) -> Option<Told> {
        let burn_s = m.stages.first()?.burn_s;
        let mut f = self.supposing_liftoff(m, lifted_s);
        while f.regime.burning {
            if f.t_s > lifted_s + LONGEST_BURN * burn_s + 1.0 {
                return None;
            }
            f.carry_to(m, f.t_s + PART_S);
        }
        let w = f.weights();
        let speeds = || w.iter().zip(f.blobs.iter().map(Blob::speed));
        let value = speeds().fold(0.0, |sum, (w, s)| sum + w * s.value);
        let apart = |s: Told| (s.value - value) * (s.value - value) + s.sd * s.sd;
        Some(Told { value, sd: sqrt(speeds().fold(0.0, |sum, (w, s)| sum + w * apart(s))) })
    }

    /// At burnout, where no force was felt: a first motion dated wrongly was a speed gained wrongly until now, and is none any longer, since
    /// the burn ended as much sooner or later. What is known better than told by then stays.
    pub(crate) fn ends_as_told(&mut self) {
        let Some(told) = self.told_speed.take() else { return };
        let told_var = told.sd * told.sd;
        for b in self.blobs.iter_mut() {
            let now = b.speed();
            let var = now.sd * now.sd;
            if var < SURER * told_var {
                continue;
            }
            let row = (0..3).fold(Row::new(), |row, k| row.with(VE + k, b.x[VE + k] / now.value.max(1.0)));
            let ph = b.times(&row);
            // As much as makes it as sure as told.
            let s = var + told_var * var / (var - told_var);
            b.update_but(&ph, told.value - now.value, s, &[E, E + 1, H]);
        }
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
        // A flight that is only supposed has no pad of its own, and stands as it was told to.
        self.stood_rad = self.stands_rad(m, t_s).or(self.stood_rad);
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

    /// How far from vertical it stands by its own sensors, rad, where that is well beyond the told rail's tilt.
    pub(crate) fn stands_rad(&self, m: &Model, t_s: f64) -> Option<f64> {
        let tilt = self.pad.zero(Zero::Tilt, t_s + 0.7, 0.0).map(|z| z.value);
        tilt.filter(|tilt| *tilt > m.rail_tilt_rad + RAIL_WITHIN_RAD && *tilt < STOOD_MOST_RAD)
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
        Told { value: 0.25 + 0.25 * gap_s, sd: hypot2(0.3, 0.3 * gap_s) }
    }

    /// Prior of everything but motion and lean.
    pub(crate) fn prior(&self, m: &Model, t_s: f64) -> Blob {
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
            (AB, OFFSET_SD_MPS2),
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
            let y = z.value - g * self.stood_rad.map_or(m.rail[2], libm::cos);
            if y.abs() < 3.0 {
                b.update(&ph, y, s);
            }
        }
        b
    }

    /// A stage lights.
    pub(crate) fn begin_burn(&mut self, m: &Model, stage: usize, ignition_s: f64, axial: bool) {
        let Some(s) = m.stages.get(stage) else { return };
        self.regime.stage = stage;
        self.regime.ignition_s = ignition_s;
        (self.pushing, self.crossed, self.over_s) = (None, None, NEVER_S);
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

fn hypot2(a: f64, b: f64) -> f64 {
    sqrt(a * a + b * b)
}

const _: () = assert!(N == 21 && WE + 1 == WN);
