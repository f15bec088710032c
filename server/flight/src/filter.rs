//! The belief about one body: a Gaussian sum carried through time and corrected by its transmitter's samples.
//!
//! A filter is a pure fold over samples in order of their time: the tracker keeps copies to start again from when
//! a late one arrives. Its parts: `start` makes the sum at liftoff or aloft, `fuse` takes measurements, `phase` decides
//! what stage of the flight this is, `down` sees the ground.

use serde::{Deserialize, Serialize};

use crate::glance::RECENT;
use crate::model::Model;
use crate::motion::{Regime, carry};
use crate::output::{EventKind, Origin, Phase, Quantiles};
use crate::pad::{Pad, Zero};
use crate::plan::{MAX_CUES, Told};
use crate::sample::Sample;
use crate::sensors::{Channel, Sensors};
use crate::shelf::{Blank, Shelf};
use crate::state::{Blob, H, N, NEVER_S, VU};

/// Most Gaussians in the sum.
pub(crate) const BLOBS: usize = 24;
/// Longest time between packets in which a receiver may have made the fix that comes next, s: they make one a second at least.
const LONGEST_GAP_S: f64 = 1.0;
/// Kinds of events.
pub(crate) const KINDS: usize = 13;
/// Longest step while following samples, s.
const FOLLOW_STEP_S: f64 = 0.25;
/// How long a channel counts as heard after its last value, s.
const HEARD_S: f64 = 1.5;
/// Slices of a gap between which the phase is looked at, s.
const SLICE_S: f64 = 0.25;
/// How long a sum is carried as a sum when nothing is heard, s: after a minute its parts overlap, and each costs as much to carry
/// on as all of them together.
const APART_S: f64 = 60.0;

impl Blank for Blob {
    const BLANK: Self = Self::zero();
}

impl Blank for Sample {
    const BLANK: Self = Self {
        body: 0,
        t_s: 0.0,
        t_sd_s: 0.0,
        t_receive_s: 0.0,
        boot: 0,
        pressure_pa: None,
        axial_mps2: None,
        lateral_mps2: None,
        fix: None,
        velocity: None,
        tilt_rad: None,
        own_height_m: None,
        own_climb_mps: None,
    };
}

impl Blank for (f64, f64) {
    const BLANK: Self = (0.0, 0.0);
}

/// An event as the filter sees it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mark {
    pub(crate) t_s: f64,
    pub(crate) sd_s: f64,
    pub(crate) origin: Origin,
}

/// Apogee as it was.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Top {
    pub(crate) height_m: Quantiles,
    pub(crate) t_s: Quantiles,
    pub(crate) airspeed_mps: Quantiles,
    pub(crate) ground_speed_mps: Quantiles,
}

/// What GNSS told under power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Pushed {
    pub(crate) t_s: f64,
    pub(crate) climb_mps: f64,
    pub(crate) up_m: f64,
}

/// A descent state that a cue may have brought about.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Canopy {
    /// Whether it is a device (a parachute or a streamer), and the main one.
    pub(crate) device: bool,
    pub(crate) main: bool,
    /// Told ln k under it and its spread.
    pub(crate) ln_k: f64,
    pub(crate) sd: f64,
    /// Told drag area, m2.
    pub(crate) drag_area_m2: f64,
    /// When it may open, and the end of when it should, s.
    pub(crate) from_s: f64,
    pub(crate) planned_s: f64,
    pub(crate) until_s: f64,
    /// When its opening was last supposed, s.
    pub(crate) tried_s: f64,
}

/// See the module.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub(crate) struct Filter {
    /// Whose it is.
    pub(crate) body: usize,
    pub(crate) phase: Phase,
    /// Time of the belief, s.
    pub(crate) t_s: f64,
    /// Time of the newest measurement used, s.
    pub(crate) used_s: f64,
    pub(crate) blobs: Shelf<Blob, BLOBS>,
    pub(crate) regime: Regime,
    pub(crate) sensors: Sensors,
    pub(crate) pad: Pad,
    pub(crate) recent: Shelf<Sample, RECENT>,
    pub(crate) zero_baro_m: Told,
    /// What the barometer reads too much, Pa.
    pub(crate) baro_over_pa: f64,
    pub(crate) zero_own_m: Told,
    /// The one before a restart aloft.
    pub(crate) zero_own_was_m: f64,
    pub(crate) zero_gnss_m: [Told; 3],
    /// How far from vertical it stood by its own sensors, rad, where that is well beyond the told rail's tilt.
    pub(crate) stood_rad: Option<f64>,
    pub(crate) marks: [Option<Mark>; KINDS],
    /// Moment of each cue's action, as far as it has come, s.
    pub(crate) cue_s: [Option<f64>; MAX_CUES],
    pub(crate) top: Option<Top>,
    /// Newest acceleration over ground, for the lag of GNSS velocity.
    pub(crate) acceleration: [f64; 3],
    pub(crate) boot: u32,
    pub(crate) booted: bool,
    /// Until when ln k wanders freely, s.
    pub(crate) open_until_s: f64,
    /// What a cue may have opened.
    pub(crate) canopy: Option<Canopy>,
    /// When an opening was last seen, s.
    pub(crate) canopy_seen_s: f64,
    /// What a charge did to the barometer.
    pub(crate) puff: Option<crate::falling::Puff>,
    /// Last corrected specific force and its time, for burnout and ignition.
    pub(crate) force: Option<(f64, f64)>,
    /// Time (s) and force (m/s2) of the newest value that says thrust is over.
    pub(crate) under: Option<(f64, f64)>,
    /// Time (s) and force (m/s2) of the newest value that is no less than nothing under power; when it fell below since, and the spread of
    /// that, s; and when thrust was over, s.
    pub(crate) pushing: Option<(f64, f64)>,
    pub(crate) crossed: Option<(f64, f64)>,
    pub(crate) over_s: f64,
    /// The force last felt under power, with the accelerometer's errors taken off: when, s, and how much, m/s2.
    pub(crate) felt: Option<(f64, f64)>,
    /// Most negative force since burnout, m/s2.
    pub(crate) deepest: f64,
    /// Samples in a row that speak for burnout, or for ignition.
    pub(crate) tally: u32,
    /// Greatest axial value so far and how often it came in a row.
    pub(crate) axial_top: f64,
    pub(crate) axial_top_run: u32,
    /// Whether GNSS is put aside.
    pub(crate) gnss_doubted: bool,
    /// Since when, and by how much at first, m, the height of doubted fixes has agreed, or differed by the same.
    pub(crate) gnss_run: Option<(f64, f64)>,
    pub(crate) gnss_odd: Option<(f64, f64)>,
    /// When and where, east and north, m, doubted fixes began to agree, or were last before they did.
    pub(crate) gnss_from: (f64, [f64; 2]),
    /// The same of the climb that it tells, m/s, and whether its velocity is believed for that.
    pub(crate) gnss_climbs: Option<(f64, f64)>,
    pub(crate) gnss_moves: bool,
    /// The newest fix while GNSS is alone and doubted.
    pub(crate) gnss_last: Option<crate::alone::Seen>,
    /// The newest of it under power while it is alone.
    pub(crate) gnss_pushed: Option<Pushed>,
    /// Time between the last two packets, at most half a second.
    pub(crate) packet_gap_s: f64,
    /// Whether anything horizontal was ever used.
    pub(crate) flat_known: bool,
    pub(crate) tilt_known: bool,
    /// Heights on the way down, for the landing.
    pub(crate) low: Shelf<(f64, f64), 48>,
    /// Time of the last tidying of the sum, s.
    pub(crate) tidied_s: f64,
    /// When the vehicle says that it lifted off and burnt out: what to go by where nothing else can show it.
    pub(crate) told_lift: Option<Told>,
    pub(crate) told_out: Option<Told>,
    /// When the vehicle says that each cue acted, s.
    pub(crate) told_cue: [Option<Told>; MAX_CUES],
    /// The speed that power ends with by what is told, m/s, where no force is felt.
    pub(crate) told_speed: Option<Told>,
    /// With hindsight: the path about which measurements are seen. The stages of the flight are known then, as is when GNSS
    /// was to be believed: nothing is detected and nothing learnt about the sensors.
    #[serde(skip)]
    pub(crate) about: Option<[f64; N]>,
}

const NO_TOLD: Told = Told { value: 0.0, sd: 0.0 };

impl Filter {
    pub(crate) fn new(body: usize, t_s: f64) -> Self {
        Self {
            body,
            phase: Phase::Waiting,
            t_s,
            used_s: t_s,
            blobs: Shelf::new(),
            regime: Regime {
                stage: 0,
                ignition_s: t_s,
                burning: false,
                burnt_out_s: -1e300,
                thrust_sd: 0.0,
                thrust_tau_s: 0.1,
                ln_k_rate: 0.0,
                rough: 0.02,
                zeroed_aloft: false,
            },
            sensors: Sensors::new(),
            pad: Pad::new(),
            recent: Shelf::new(),
            zero_baro_m: NO_TOLD,
            baro_over_pa: 0.0,
            zero_own_m: NO_TOLD,
            zero_own_was_m: 0.0,
            zero_gnss_m: [NO_TOLD; 3],
            stood_rad: None,
            marks: [None; KINDS],
            cue_s: [None; MAX_CUES],
            top: None,
            acceleration: [0.0; 3],
            boot: 0,
            booted: false,
            open_until_s: -1e300,
            canopy: None,
            canopy_seen_s: NEVER_S,
            puff: None,
            force: None,
            under: None,
            pushing: None,
            crossed: None,
            over_s: NEVER_S,
            felt: None,
            deepest: 0.0,
            tally: 0,
            axial_top: 0.0,
            axial_top_run: 0,
            gnss_doubted: false,
            gnss_run: None,
            gnss_odd: None,
            gnss_from: (NEVER_S, [0.0; 2]),
            gnss_climbs: None,
            gnss_moves: false,
            gnss_last: None,
            gnss_pushed: None,
            packet_gap_s: 0.1,
            flat_known: false,
            tilt_known: false,
            low: Shelf::new(),
            tidied_s: t_s,
            told_lift: None,
            told_out: None,
            told_cue: [None; MAX_CUES],
            told_speed: None,
            about: None,
        }
    }

    /// Takes the next sample in order of time.
    pub(crate) fn take(&mut self, m: &Model, s: &Sample, attached: bool) {
        if self.booted && s.boot != self.boot {
            self.rebooted(s);
        }
        self.boot = s.boot;
        self.booted = true;
        match self.phase {
            Phase::Waiting if attached => {
                self.learn_pad(m, s);
                self.t_s = self.t_s.max(s.t_s);
            }
            Phase::Waiting => self.wait(m, s),
            Phase::Down => self.rest(m, s),
            _ => self.fly(m, s),
        }
    }

    /// Becomes the belief about a body that has just been let go; `own` has listened to its transmitter so far.
    pub(crate) fn let_go(&mut self, m: &Model, body: usize, own: &Self) {
        self.flies_alone(m, body);
        self.sensors = own.sensors;
        self.pad = own.pad;
        self.boot = own.boot;
        self.booted = own.booted;
        self.regime.zeroed_aloft = false;
        let lift = self.marked(EventKind::Liftoff).map_or(self.t_s, |l| l.t_s);
        self.take_zeros(m, lift);
        for b in self.blobs.iter_mut() {
            // Its own sensor in the same air.
            b.p[crate::state::BB][crate::state::BB] += self.zero_baro_m.sd * self.zero_baro_m.sd + 1.0;
        }
        for k in [EventKind::FirstChute, EventKind::MainChute, EventKind::Landing, EventKind::Reboot] {
            self.marks[k as usize] = None;
        }
        self.low.clear();
        self.canopy = None;
        self.puff = None;
        self.open_until_s = self.t_s + 1.0;
    }

    /// Has been on its own for a while unnoticed, and is this far off its parent by height.
    pub(crate) fn strayed(&mut self, off_m: f64, since_s: f64) {
        let since_s = since_s.clamp(0.5, 10.0);
        let rate_mps = 2.0 * off_m / since_s;
        for b in self.blobs.iter_mut() {
            for i in 0..3 {
                b.p[i][i] += off_m * off_m;
                b.p[crate::state::VE + i][crate::state::VE + i] += rate_mps * rate_mps;
            }
        }
    }

    /// A copy that takes off now: the nominal flight.
    pub(crate) fn supposing_liftoff(&self, m: &Model, now_s: f64) -> Self {
        let mut f = *self;
        f.t_s = now_s;
        f.lift_off_nominally(m, now_s);
        f
    }

    fn rebooted(&mut self, s: &Sample) {
        self.mark(EventKind::Reboot, s.t_s, 0.3);
        // A board that restarts aloft zeroes itself in the air.
        if self.phase != Phase::Waiting {
            if self.zero_own_m.sd > 0.0 {
                self.zero_own_was_m = self.zero_own_m.value;
            }
            self.zero_own_m = NO_TOLD;
        }
    }

    /// On the pad: learns zeros and noise, looks for first motion.
    fn wait(&mut self, m: &Model, s: &Sample) {
        self.learn_pad(m, s);
        self.recent.roll(*s);
        self.t_s = self.t_s.max(s.t_s);
        self.used_s = self.t_s;
        self.try_start(m);
    }

    fn learn_pad(&mut self, m: &Model, s: &Sample) {
        let t = s.t_s;
        if let Some(p) = s.pressure_pa.filter(|p| p.is_finite() && *p > 0.0) {
            let height_m = m.air.height_m(p);
            let noise_m = m.air.metres_per_pascal(0.0) * libm::sqrt(self.sensors.variance(Channel::Baro));
            self.pad.stir(height_m, t);
            self.pad.add_height(Zero::Baro, height_m, noise_m, t);
            self.sensors.on_pad(Channel::Baro, p, t);
        }
        if let Some(f) = s.axial_mps2.filter(|f| f.is_finite()) {
            self.pad.add(Zero::Axial, f, t);
            self.sensors.on_pad(Channel::Axial, f, t);
        }
        if let Some(h) = s.own_height_m.filter(|h| h.is_finite()) {
            let noise_m = libm::sqrt(self.sensors.variance(Channel::OwnHeight));
            self.pad.add_height(Zero::Own, h, noise_m, t);
            self.sensors.on_pad(Channel::OwnHeight, h, t);
        }
        if let Some((e, n, u)) = Self::fix_enu(m, s) {
            let same =
                self.sensors.get(Channel::FixFlat).heard && self.sensors.get(Channel::FixFlat).taken_s >= t;
            let noise = libm::sqrt(self.sensors.variance(Channel::FixUp));
            if !same && !u.is_some_and(|u| self.pad.flies_off(Zero::Up, u, noise, t)) {
                self.pad.add(Zero::East, e, t);
                self.pad.add(Zero::North, n, t);
                self.sensors.on_pad(Channel::FixFlat, e, t);
                if let Some(u) = u {
                    self.pad.add(Zero::Up, u, t);
                    self.sensors.on_pad(Channel::FixUp, u, t);
                }
            }
        }
        if let Some(v) = s.velocity {
            if let Some([e, _]) = v.horizontal_mps.filter(|v| v[0].is_finite() && v[1].is_finite()) {
                self.sensors.on_pad(Channel::SpeedFlat, e, t);
            }
            if let Some(u) = v.up_mps.filter(|v| v.is_finite()) {
                self.sensors.on_pad(Channel::SpeedUp, u, t);
            }
        }
        if let Some(v) = s.tilt_rad.filter(|v| v.is_finite()) {
            self.sensors.on_pad(Channel::Tilt, v, t);
        }
        if let Some(v) = crate::glance::stands_rad(s) {
            self.pad.add(Zero::Tilt, v, t);
        }
        if let Some(v) = s.own_climb_mps.filter(|v| v.is_finite()) {
            self.sensors.on_pad(Channel::OwnClimb, v, t);
        }
    }

    /// Aloft: carries the belief to the sample's time and takes what it brings.
    fn fly(&mut self, m: &Model, s: &Sample) {
        // Since the newest one: the belief itself may have been carried ahead in the meantime.
        self.packet_gap_s = (s.t_s - self.used_s).clamp(0.0, LONGEST_GAP_S);
        self.carry_to(m, s.t_s);
        self.may_touch_ground();
        self.fuse(m, s);
        self.bound_fall(m);
        self.see_canopy();
        self.settle_phase(m);
        self.tidy();
    }

    /// Carries the belief to an instant through whatever happens on the way.
    pub(crate) fn carry_to(&mut self, m: &Model, t_s: f64) {
        if matches!(self.phase, Phase::Waiting | Phase::Down) {
            self.t_s = self.t_s.max(t_s);
            return;
        }
        // A bound on the work of a very long silence.
        let mut slice = SLICE_S;
        let gap = t_s - self.t_s;
        if gap > 600.0 * SLICE_S {
            slice = gap / 600.0;
        }
        while self.t_s < t_s - 1e-9 {
            let span = (t_s - self.t_s).min(slice);
            if self.t_s - self.used_s > APART_S && self.blobs.len() > 1 {
                crate::mixture::join_all(&mut self.blobs);
            }
            self.before_slice(m);
            let before = self.t_s;
            let v0 = self.mean_velocity();
            for b in self.blobs.iter_mut() {
                carry(m, &self.regime, b, before, span, FOLLOW_STEP_S);
            }
            self.t_s = before + span;
            let v1 = self.mean_velocity();
            for i in 0..3 {
                self.acceleration[i] = ((v1[i] - v0[i]) / span).clamp(-3000.0, 3000.0);
            }
            self.after_slice(m);
            self.suppose_canopy();
            if self.phase == Phase::Down {
                self.t_s = t_s;
            }
        }
    }

    /// Weights of the blobs, adding up to one.
    pub(crate) fn weights(&self) -> [f64; BLOBS] {
        let mut w = [0.0; BLOBS];
        let top = self.blobs.iter().fold(f64::MIN, |t, b| t.max(b.ln_w));
        let mut sum = 0.0;
        for (w, b) in w.iter_mut().zip(self.blobs.iter()) {
            *w = libm::exp(b.ln_w - top);
            sum += *w;
        }
        for w in &mut w {
            *w /= sum.max(1e-300);
        }
        w
    }

    /// The blob of the greatest weight.
    pub(crate) fn likeliest(&self) -> Option<Blob> {
        self.blobs.iter().max_by(|a, b| a.ln_w.total_cmp(&b.ln_w)).copied()
    }

    /// Whether a value of this channel was taken lately.
    pub(crate) fn hears(&self, c: Channel) -> bool {
        let record = self.sensors.get(c);
        record.heard && self.t_s - record.taken_s < HEARD_S
    }

    /// How long ago a channel's last value was taken, s, between `least_s` and ten seconds: what errs the same way for a while is not
    /// averaged out by values that come fast.
    pub(crate) fn taken_ago_s(&self, c: Channel, least_s: f64) -> f64 {
        (self.t_s - self.sensors.get(c).taken_s).clamp(least_s, 10.0)
    }

    /// Whether neither force nor pressure is heard: only GNSS, or the vehicle's own figures.
    pub(crate) fn is_blind(&self) -> bool {
        !self.hears(Channel::Axial) && !self.hears(Channel::Baro)
    }

    /// Mean of one state and its variance over the sum.
    pub(crate) fn moments(&self, i: usize) -> (f64, f64) {
        let w = self.weights();
        let (mut mean, mut square) = (0.0, 0.0);
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            mean += w * b.x[i];
        }
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            let d = b.x[i] - mean;
            square += w * (d * d + b.p[i][i]);
        }
        (mean, square)
    }

    fn mean_velocity(&self) -> [f64; 3] {
        let w = self.weights();
        let mut v = [0.0; 3];
        for (w, b) in w.iter().zip(self.blobs.iter()) {
            for (i, v) in v.iter_mut().enumerate() {
                *v += w * b.x[crate::state::VE + i];
            }
        }
        v
    }

    pub(crate) fn height(&self) -> f64 {
        self.moments(H).0
    }

    pub(crate) fn climb(&self) -> f64 {
        self.moments(VU).0
    }

    pub(crate) fn mark(&mut self, kind: EventKind, t_s: f64, sd_s: f64) {
        self.mark_as(kind, t_s, sd_s, Origin::Detected);
    }

    pub(crate) fn mark_as(&mut self, kind: EventKind, t_s: f64, sd_s: f64, origin: Origin) {
        self.marks[kind as usize] = Some(Mark { t_s, sd_s: sd_s.clamp(1e-3, 1e4), origin });
    }

    pub(crate) fn marked(&self, kind: EventKind) -> Option<Mark> {
        self.marks[kind as usize]
    }

    /// Drops what has no weight left and joins what has become alike.
    fn tidy(&mut self) {
        if self.blobs.is_empty() {
            return;
        }
        let top = self.blobs.iter().fold(f64::MIN, |t, b| t.max(b.ln_w));
        for b in self.blobs.iter_mut() {
            b.ln_w -= top;
        }
        self.blobs.retain(|b| b.ln_w > -11.0);
        if (self.t_s - self.tidied_s).abs() >= 0.2 {
            self.tidied_s = self.t_s;
            crate::mixture::join_alike(&mut self.blobs);
        }
    }

    /// Fix as east, north and, where it has a height, up of the pad.
    pub(crate) fn fix_enu(m: &Model, s: &Sample) -> Option<(f64, f64, Option<f64>)> {
        let fix = s.fix?;
        if !(fix.latitude_rad.is_finite() && fix.longitude_rad.is_finite()) || fix.latitude_rad.abs() > 1.6 {
            return None;
        }
        let site = &m.plan.site;
        let amsl = fix.height_amsl_m.filter(|h| h.is_finite() && h.abs() < 2e5);
        let ellipsoid = amsl.unwrap_or(site.elevation_m) + site.geoid_m;
        let [e, n, _] = m.frame.enu_m(fix.latitude_rad, fix.longitude_rad, ellipsoid);
        // Further off than anything flies from a pad: a fix of another kind (0 N 0 E, a wrong sign).
        if e.abs() > 3e5 || n.abs() > 3e5 {
            return None;
        }
        Some((e, n, amsl.map(|_| m.frame.height_over_pad_m(ellipsoid))))
    }
}
