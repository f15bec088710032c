//! GNSS: position and velocity with their lag, and when a receiver is believed.
//!
//! It is put aside while it disagrees, and believed again once it has fitted for a second, by the same height all along. A
//! receiver that has lost the sky under power freezes, coasts on with its flag set, and walks back to where it is: on the
//! way it agrees by chance, but neither for long nor by the same. What it says where nothing else is heard is judged in `alone`.

use libm::{exp, hypot, sqrt};

use crate::filter::{Filter, Pushed};
use crate::fuse::{Number, View};
use crate::model::{EARTH_RADIUS_M, Model};
use crate::output::{EventKind, Phase};
use crate::plan::Told;
use crate::pressure::{column_variances, dynamic_head_m};
use crate::sample::Sample;
use crate::sensors::Channel;
use crate::state::{BB, BS, Blob, E, GH, H, LAG, LNK, PORT, Row, TALL, VE, VN, VU};

/// Time without a fix taken after which the horizontal state is as good as unknown, s.
const FLAT_LOST_S: f64 = 2.0;
/// Share of the told push that a receiver's climb must gain under power to be believed there.
const LEAST_PUSH: f64 = 0.3;
/// Time after burnout in which GNSS is not asked while something else is heard, s.
const AFTER_POWER_S: f64 = 0.7;
/// How long fixes must fit before GNSS is believed again, and differ from the barometer by the same height before that is, s.
const FITS_S: f64 = 0.95;
const ODD_S: f64 = 4.0;
/// Share of the height by which a belief is beside GNSS that the barometer as it is may lie beside GNSS and still bear it out; and how
/// far, over a second, such a belief's climb may be off (common practice, no source).
const BOTH_SHARE: f64 = 0.35;
const CLIMB_BESIDE: f64 = 0.1;
/// How long a told climb must go along with the barometer's before its velocity is believed without its place, s, and how steadily, m/s: one that is
/// frozen falls behind by g. Climbs below the third say little of a velocity, m/s; the last is what such a velocity may be
/// off by, m/s (common practice, no source).
const MOVES_S: f64 = 0.45;
const STEADY_SD_MPS: f64 = 0.5;
const TELLING_MPS: f64 = 10.0;
const MOVES_SD_MPS: f64 = 1.0;
/// Spread of each part of a speed over the ground of which nothing is known, m/s (common practice, no source).
const ANY_FLAT_MPS: f64 = 40.0;
/// Spread of ln k beside its own where the speed that it was learnt at was wrong: told drags are off by a quarter (common practice, no
/// source).
const RELEARNT_LN_K_SD: f64 = 0.25;
/// Squared surprise up to which a number of a believed receiver agrees, and of one that is doubted, or flies under hard acceleration; and the
/// same of two numbers together: as seldom beyond by chance (chi-squared of one and of two degrees of freedom, 0.02 and 0.8 %).
const AGREES: f64 = 14.0;
const FITS: f64 = 7.0;
const BOTH_AGREE: f64 = 17.0;
const BOTH_FIT: f64 = 9.7;
/// Spread that an opening canopy gives to the moment of a fix, s, and, as a share of the speed, to its velocity (common practice, no
/// source): what a receiver says is of before the opening as much as of after it.
const OPENING_SD_S: f64 = 0.2;

impl Filter {
    pub(crate) fn take_gnss(&mut self, m: &Model, s: &Sample, t_sd: f64) {
        let felt = self.acceleration.map(|a| a * a).iter().sum::<f64>();
        let hard = self.regime.burning || felt > 40.0 * 40.0;
        let burnt_out = self.regime.burnt_out_s;
        if (self.regime.burning || self.t_s < burnt_out + AFTER_POWER_S) && !self.is_blind() {
            // Something better is there. A receiver's lag reaches back over burnout for a while.
            return;
        }
        if self.regime.burning && self.coasts_on(m, s) {
            // It would hold the belief down while the vehicle leaves.
            self.gnss_doubted = true;
            return;
        }
        // A fix is as old as the last packet before this one, at most.
        let age_sd = 0.29 * self.packet_gap_s;
        let speed = {
            let w = self.weights();
            let mut v = 0.0;
            for (w, b) in w.iter().zip(self.blobs.iter()) {
                v += w * (b.x[VE] * b.x[VE] + b.x[VN] * b.x[VN] + b.x[VU] * b.x[VU]);
            }
            sqrt(v)
        };
        let opening_sd_s = if self.about.is_none() && self.is_opening() { OPENING_SD_S } else { 0.0 };
        let age_sd = libm::hypot(age_sd, opening_sd_s);
        let since = Since { t_sd: libm::hypot(t_sd, age_sd), changed_sd: opening_sd_s * speed, hard };
        // A receiver slower than the packets is heard with the same fix again and again.
        let fix_enu =
            Self::fix_enu(m, s).filter(|(e, n, _)| self.sensors.of(Channel::FixFlat).is_new(e + 1.7 * n));
        let climb = self.climb_told(s, &since);
        let by_now = climb.or_else(|| self.climb_of(s, &since).filter(|_| fix_enu.is_some()));
        if let Some(told) = by_now.filter(|_| self.about.is_none() && !self.is_blind()) {
            self.watch_climb(told);
        }
        if let Some(enu) = fix_enu {
            self.take_fix(m, s, enu, speed, &since);
        }
        self.take_gnss_velocity(s, climb, &since);
    }

    /// One fix: where it is, and whether its receiver is believed again. `speed` is how fast the body flies, m/s.
    fn take_fix(&mut self, m: &Model, s: &Sample, enu: (f64, f64, Option<f64>), speed: f64, since: &Since) {
        let (e, n, up) = enu;
        let heard_baro = self.hears(Channel::Baro);
        let told = s.fix.and_then(|f| f.horizontal_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
        let told_up = s.fix.and_then(|f| f.vertical_sd_m).filter(|v| v.is_finite()).unwrap_or(0.0);
        let flat = self.sensors.variance(Channel::FixFlat).max(told * told);
        let tall = self.sensors.variance(Channel::FixUp).max(told_up * told_up);
        let doubt = since.t_sd * since.t_sd * speed * speed;
        let at_m = [e, n, up.unwrap_or(f64::NAN)];
        let fix = Fix {
            at_m: core::array::from_fn(|k| at_m[k] - self.zero_gnss_m[k].value),
            flat_var: (flat + doubt) * since.widen(),
            tall_var: (tall + doubt) * since.widen(),
        };
        let off = up.map_or((0.0, 1.0), |_| {
            (fix.at_m[2] - self.mean_of(&up_view(self.acceleration[2])), sqrt(fix.tall_var))
        });
        let tall_agrees = up.is_none() || self.fix_up(&fix, since);
        if up.is_some() {
            let (off_m, off_sd) = off;
            let odd = !tall_agrees && !since.hard && heard_baro && self.about.is_none();
            // What is thought of air and ports puts the belief beside what the barometer shows.
            let both = odd && {
                let shown = |b: &Blob| (b.x[BB] + b.x[PORT] * dynamic_head_m(m, &b.x), Row::new());
                (off_m - self.mean_of(&shown)).abs() < BOTH_SHARE * off_m.abs()
            };
            let (by_m, long_s) = if both { (0.0, FITS_S) } else { (off_m, ODD_S) };
            if steady_for(&mut self.gnss_odd, odd, s.t_s, by_m, off_sd) > long_s {
                self.hear_both(m, off_m, both);
            }
            if self.phase == Phase::Descending && s.pressure_pa.is_none() && self.about.is_none() {
                self.watch_ground(s.t_s, fix.at_m[2], sqrt(tall), 0.0);
            }
        }
        let agrees = self.fix_flat(&fix, since) && tall_agrees;
        // With hindsight it is known when it was to be believed.
        if self.about.is_none() {
            let doubted = self.gnss_doubted;
            let flat = [fix.at_m[0], fix.at_m[1]];
            let settled = self.gnss_settles(tall_agrees && heard_baro, agrees, flat, off);
            if let Some(began) = settled.filter(|_| !agrees) {
                self.goes_where_it_is_told(m, s, flat, began);
            }
            if doubted && !self.gnss_doubted && agrees {
                // Believed again by this very fix: its velocity alone would drag the height along.
                if up.is_some() {
                    self.fix_up(&fix, since);
                }
                self.fix_flat(&fix, since);
            }
            if self.gnss_doubted && self.is_blind() {
                self.gnss_alone(m, s, up.map(|_| fix.at_m));
            } else {
                self.gnss_last = None;
            }
        }
    }

    /// Compares the fix's height, and takes it if it is believed; says whether it agrees.
    fn fix_up(&mut self, fix: &Fix, since: &Since) -> bool {
        let view = up_view(self.acceleration[2]);
        self.gnss_numbers(Channel::FixUp, &[(fix.at_m[2], fix.tall_var, &view)], since.hard)
    }

    /// The same of its place.
    fn fix_flat(&mut self, fix: &Fix, since: &Since) -> bool {
        let along = self.acceleration;
        let zero = self.zero_gnss_m;
        let view = |k: usize| {
            move |b: &Blob| {
                let (back_m, per_s) = late(b, VE + k, b.x[LAG], along[k]);
                let row = Row::new().with(E + k, 1.0).with(VE + k, -b.x[LAG]).with(LAG, -per_s);
                (b.x[E + k] - back_m, row)
            }
        };
        let variance = |k: usize| fix.flat_var + zero[k].sd * zero[k].sd * since.widen();
        let (east, north) = (view(0), view(1));
        let both: [GnssNumber; 2] = [(fix.at_m[0], variance(0), &east), (fix.at_m[1], variance(1), &north)];
        self.gnss_numbers(Channel::FixFlat, &both, since.hard)
    }

    /// The climb that is told, and its variance.
    fn climb_of(&self, s: &Sample, since: &Since) -> Option<(f64, f64)> {
        let z = s.velocity.and_then(|v| v.up_mps).filter(|v| v.is_finite())?;
        let by_time = since.t_sd * self.acceleration[2];
        let variance = self.sensors.variance(Channel::SpeedUp) + since.speed_var() + by_time * by_time;
        Some((z, variance * since.widen()))
    }

    /// The same, if it is not the last one again.
    fn climb_told(&mut self, s: &Sample, since: &Since) -> Option<(f64, f64)> {
        self.climb_of(s, since).filter(|told| self.sensors.of(Channel::SpeedUp).is_new(told.0))
    }

    /// Compares a told climb, before anything else of its packet is taken. One that is a surprise is of a receiver that has lost the sky: its
    /// place would be taken for a body that does not move sideways. One that goes along with a barometer's is of one that
    /// knows again how fast it flies, sooner than where it is.
    fn watch_climb(&mut self, (z, variance): (f64, f64)) {
        let view = self.speed_view(2);
        let surprise = self.least_surprise(&[(z, variance, &view)]);
        if surprise >= AGREES {
            self.gnss_doubted = true;
            self.gnss_run = None;
        }
        let off = z - self.mean_of(&view);
        let alike = surprise < FITS && self.hears(Channel::Baro) && z.abs() > TELLING_MPS;
        self.gnss_moves = steady_for(&mut self.gnss_climbs, alike, self.t_s, off, STEADY_SD_MPS) > MOVES_S;
    }

    /// How a blob sees a speed along an axis.
    fn speed_view(&self, axis: usize) -> impl Fn(&Blob) -> (f64, Row) + use<> {
        let along = self.acceleration[axis];
        move |b| (b.x[VE + axis] - b.x[LAG] * along, Row::new().with(VE + axis, 1.0).with(LAG, -along))
    }

    /// `climb` as `climb_told` tells it.
    fn take_gnss_velocity(&mut self, s: &Sample, climb: Option<(f64, f64)>, since: &Since) {
        if let Some((z, variance)) = climb {
            let view = self.speed_view(2);
            if !self.gnss_numbers(Channel::SpeedUp, &[(z, variance, &view)], since.hard) {
                self.gnss_run = None;
            }
        }
        let flat = s.velocity.and_then(|v| v.horizontal_mps);
        if let Some([e, n]) = flat.filter(|v| v[0].is_finite() && v[1].is_finite()) {
            let variance = (self.sensors.variance(Channel::SpeedFlat) + since.speed_var()) * since.widen();
            if self.sensors.of(Channel::SpeedFlat).is_new(e + 1.7 * n) {
                let (east, north) = (self.speed_view(0), self.speed_view(1));
                let both: [GnssNumber; 2] = [(e, variance, &east), (n, variance, &north)];
                if self.gnss_doubted && self.gnss_moves && self.about.is_none() {
                    self.moves_like_this(&both);
                } else {
                    self.gnss_numbers(Channel::SpeedFlat, &both, since.hard);
                }
            }
        }
    }

    /// Takes the velocity on the map of a receiver whose place is still doubted.
    fn moves_like_this(&mut self, numbers: &[GnssNumber<'_>; 2]) {
        if self.least_surprise(numbers) >= BOTH_FIT {
            if self.flat_known && self.taken_ago_s(Channel::SpeedFlat, 0.0) < FLAT_LOST_S {
                return;
            }
            // Nothing has told it for a while: what was thought of the direction gives way.
            self.blobs.iter_mut().for_each(forget_flat_speed);
        }
        for &(value, variance, view) in numbers {
            let variance = variance + MOVES_SD_MPS * MOVES_SD_MPS;
            self.take_number(&Number::never(Channel::SpeedFlat, value, variance), view);
        }
        self.flat_known = true;
    }

    /// Whether a receiver that is all there is keeps its velocity under power: it has lost the sky and does not say so. Its
    /// velocity is told, or lies between two of its heights.
    fn coasts_on(&mut self, m: &Model, s: &Sample) -> bool {
        let up = Self::fix_enu(m, s).and_then(|f| f.2).map(|u| u - self.zero_gnss_m[2].value);
        let told = s.velocity.and_then(|v| v.up_mps).filter(|v| v.is_finite());
        let lifted =
            self.marked(EventKind::Liftoff).map(|l| Pushed { t_s: l.t_s, climb_mps: 0.0, up_m: 0.0 });
        let Some(before) = self.gnss_pushed.or(lifted) else { return false };
        let dt = self.t_s - before.t_s;
        let by_height = up.filter(|u| *u != before.up_m).map(|u| (u - before.up_m) / dt.max(1e-3));
        let Some(climb_mps) = told.or(by_height) else { return self.gnss_doubted };
        // A velocity that comes again says nothing new, and one too soon after the last little.
        if (climb_mps == before.climb_mps && dt < 0.5) || dt < 0.15 {
            return self.gnss_doubted;
        }
        self.gnss_pushed = Some(Pushed { t_s: self.t_s, climb_mps, up_m: up.unwrap_or(before.up_m) });
        let mean = m.stages.get(self.regime.stage).map_or(0.0, crate::motor::Stage::mean_mps2);
        (climb_mps - before.climb_mps) / dt < LEAST_PUSH * (mean - 9.8)
    }

    /// Mean of what the blobs expect.
    fn mean_of(&self, view: View<'_>) -> f64 {
        let w = self.weights();
        w.iter().zip(self.blobs.iter()).fold(0.0, |sum, (w, b)| sum + w * view(b).0)
    }

    /// Barometer and GNSS go on differing by the same height: which of them is off is opened again. Where the barometer as it is shows `both`
    /// the same height, it is the belief that is beside them, and what it thinks of the air is forgotten.
    fn hear_both(&mut self, m: &Model, off_m: f64, both: bool) {
        for b in self.blobs.iter_mut() {
            let (column, scale) = column_variances(m, b.x[H]);
            if both {
                (b.x[BB], b.x[BS]) = (0.0, 0.0);
                b.p[VU][VU] += CLIMB_BESIDE * CLIMB_BESIDE * off_m * off_m;
            }
            b.reopen(BB, 1.0 + column);
            b.reopen(BS, scale);
            b.reopen(GH, 25.0);
            b.p[H][H] += 0.25 * off_m * off_m;
        }
        self.gnss_odd = None;
        self.gnss_doubted = false;
    }

    /// One GNSS number, or both of a place or of a velocity on the map; while GNSS is doubted they are only compared. Says whether they
    /// agree. Both are compared before either is taken: where the direction is open, the first would choose the few directions that it
    /// fits, and the second be held against those alone.
    fn gnss_numbers(&mut self, channel: Channel, numbers: &[GnssNumber<'_>], hard: bool) -> bool {
        let strict = self.gnss_doubted || hard;
        let most = match (numbers.len(), strict) {
            (1, false) => AGREES,
            (1, true) => FITS,
            (_, false) => BOTH_AGREE,
            (_, true) => BOTH_FIT,
        };
        let agrees = self.least_surprise(numbers) < most;
        if !agrees && self.about.is_some() {
            return false;
        }
        if agrees && self.gnss_doubted {
            return true;
        }
        if !agrees {
            self.gnss_doubted = true;
            let by_baro = self.hears(Channel::Baro);
            let flies_alone = self.phase == Phase::Coasting && !self.may_hang() && self.is_blind();
            let record = self.sensors.of(channel);
            record.rejects += numbers.len() as u32;
            // Nothing else may be left: what a receiver goes on saying for five fixes in coast is so, unless a barometer is there to
            // vouch for it, or it is alone and does not move as a body that flies.
            if hard || flies_alone || record.rejects < 10 || by_baro {
                return false;
            }
        }
        self.sensors.of(channel).rejects = 0;
        let patience = u32::from(!agrees);
        let mut taken = false;
        for &(value, variance, view) in numbers {
            taken |= self.take_number(&Number::after(patience, channel, value, variance), view);
        }
        if agrees && taken && matches!(channel, Channel::FixFlat | Channel::SpeedFlat) {
            self.flat_known = true;
        }
        agrees
    }

    /// Squared surprise of numbers heard together, of the blob that they surprise least.
    fn least_surprise(&self, numbers: &[GnssNumber<'_>]) -> f64 {
        let mut least = f64::INFINITY;
        for (w, b) in self.weights().iter().zip(self.blobs.iter()) {
            if *w <= 0.003 {
                continue;
            }
            let of = |&(value, variance, view): &GnssNumber<'_>| {
                let (expected, row) = self.seen(b, view);
                let ph = b.times(&row);
                (value - expected, row.dot(&ph).max(0.0) + variance, row, ph)
            };
            let surprise = match numbers {
                [one] => {
                    let (y, s, ..) = of(one);
                    y * y / s
                }
                [one, other] => {
                    let ((y0, s0, _, ph), (y1, s1, row, _)) = (of(one), of(other));
                    let s01 = row.dot(&ph);
                    (y0 * y0 * s1 - 2.0 * y0 * y1 * s01 + y1 * y1 * s0) / (s0 * s1 - s01 * s01).max(1e-9)
                }
                _ => f64::INFINITY,
            };
            least = least.min(surprise);
        }
        least
    }

    /// After a fix: whether GNSS is believed again, and if so when and where its fixes began to fit. Where a barometer vouches for its height
    /// for a second the receiver has found itself; if nothing horizontal was known by then the fix says where the body is, whatever was thought.
    fn gnss_settles(
        &mut self,
        vouched: bool,
        agrees: bool,
        flat: [f64; 2],
        off: (f64, f64),
    ) -> Option<(f64, [f64; 2])> {
        if self.is_blind() && self.phase == Phase::Coasting {
            // A belief that nothing has held for a while agrees with anything.
            return None;
        }
        let flat_s = self.sensors.get(Channel::FixFlat).taken_s;
        let lost = !self.flat_known || self.t_s - flat_s > FLAT_LOST_S;
        let fits = self.gnss_doubted && (agrees || (vouched && lost));
        // A belief that was carried blindly moves on beside it by what it does not know of its own climb.
        let drift = if self.is_blind() { sqrt(self.moments(VU).1) } else { 0.0 };
        let fitted_s = steady_for(&mut self.gnss_run, fits, self.t_s, off.0, off.1 + drift);
        if fitted_s == 0.0 {
            self.gnss_from = (self.t_s, flat);
        }
        if fitted_s < FITS_S {
            return None;
        }
        self.gnss_run = None;
        self.gnss_doubted = false;
        Some(self.gnss_from)
    }

    /// Where the body is on the map and how fast it goes there is forgotten for what its receiver says, which has been somewhere a while before.
    fn goes_where_it_is_told(&mut self, m: &Model, s: &Sample, at_m: [f64; 2], began: (f64, [f64; 2])) {
        let slows = self.slows_per_s();
        let told = s.velocity.and_then(|v| v.horizontal_mps).filter(|v| v.iter().all(|v| v.is_finite()));
        let moved = told.map(|v| (v, ANY_FLAT_MPS)).or_else(|| self.moved_since(began, at_m, slows));
        // The place at once: the next fix may be long in coming, while a velocity that is told follows in the same packet.
        let place_sd = sqrt(self.sensors.variance(Channel::FixFlat) + 100.0);
        for b in self.blobs.iter_mut() {
            for (k, at_m) in at_m.into_iter().enumerate() {
                let as_thought = (b.x[VE + k], hypot(ANY_FLAT_MPS, b.x[VE + k]));
                let (mps, sd) = moved.map_or(as_thought, |(v, sd)| (v[k], sd));
                let (place, speed) = (Told { value: at_m, sd: place_sd }, Told { value: mps, sd });
                b.was_at(k, place, speed, -slows * mps);
            }
            forget_drag(b);
        }
        self.doubt_offset(m);
        self.flat_known = true;
    }

    /// Share of its speed that a climbing body loses to drag, 1/s.
    fn slows_per_s(&self) -> f64 {
        let climb_mps = self.mean_of(&|b: &Blob| (b.x[VU], Row::new())).max(TELLING_MPS);
        (-(self.acceleration[2] + 9.8) / climb_mps).clamp(0.0, 1.0)
    }

    /// How fast fixes have gone on the map since they began to fit, as of the last one, and its spread, m/s.
    fn moved_since(&self, began: (f64, [f64; 2]), at_m: [f64; 2], slows: f64) -> Option<([f64; 2], f64)> {
        let (since_s, from_m) = began;
        let dt = self.t_s - since_s;
        if dt < 0.5 * FITS_S {
            return None;
        }
        // What is between two places is the speed half way.
        let lost = 0.5 * slows * dt;
        let mps: [f64; 2] = core::array::from_fn(|k| (at_m[k] - from_m[k]) / dt * exp(-lost));
        let noise = sqrt(2.0 * self.sensors.variance(Channel::FixFlat)) / dt;
        Some((mps, MOVES_SD_MPS + hypot(noise, lost * hypot(mps[0], mps[1]))))
    }
}

/// What may have become of what a receiver tells since it was measured: the spread of its moment, s, what a velocity may have changed by
/// beside, m/s, and whether that was under hard acceleration.
struct Since {
    t_sd: f64,
    changed_sd: f64,
    hard: bool,
}

impl Since {
    fn speed_var(&self) -> f64 {
        self.changed_sd * self.changed_sd + 0.09
    }

    /// What variances are widened by: under hard acceleration a receiver coasts on with its flag set.
    fn widen(&self) -> f64 {
        if self.hard { 9.0 } else { 1.0 }
    }
}

/// A number that a receiver tells, its variance, and how a blob sees it.
type GnssNumber<'a> = (f64, f64, View<'a>);

/// Forgets how fast a body flies over the ground, and the drag that was learnt from a force at that speed.
fn forget_flat_speed(b: &mut Blob) {
    for k in 0..2 {
        b.reopen(VE + k, ANY_FLAT_MPS * ANY_FLAT_MPS + b.x[VE + k] * b.x[VE + k]);
    }
    forget_drag(b);
}

/// Forgets the drag alone.
fn forget_drag(b: &mut Blob) {
    b.reopen(LNK, b.p[LNK][LNK] + RELEARNT_LN_K_SD * RELEARNT_LN_K_SD);
}

/// A fix as it is compared: east, north and up from the pad, m (up may not be told), and the variances of a place and a height.
struct Fix {
    at_m: [f64; 3],
    flat_var: f64,
    tall_var: f64,
}

/// How a blob that is accelerated upwards like this, m/s2, sees a height by GNSS.
fn up_view(upwards: f64) -> impl Fn(&Blob) -> (f64, Row) {
    move |b| {
        let bulge = (b.x[E] * b.x[E] + b.x[E + 1] * b.x[E + 1]) / (2.0 * EARTH_RADIUS_M);
        let lag_s = b.x[LAG] + b.x[TALL];
        let (back_m, per_s) = late(b, VU, lag_s, upwards);
        let row = Row::new().with(H, 1.0).with(GH, 1.0).with(VU, -lag_s).with(LAG, -per_s).with(TALL, -per_s);
        (b.x[H] + bulge + b.x[GH] - back_m, row)
    }
}

/// How far back along an axis a fix is as late as it is, with the acceleration along it, m/s2, and the slope of that over the lag.
fn late(b: &Blob, speed: usize, lag_s: f64, along: f64) -> (f64, f64) {
    (lag_s * (b.x[speed] - 0.5 * lag_s * along), b.x[speed] - lag_s * along)
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
