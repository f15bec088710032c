//! One body's filter with the last five seconds of its samples: late, doubled and reordered ones change nothing.
//!
//! Copies of the filter are kept about every second. A late sample is put in its place and everything after it is
//! taken again from the newest copy before it, so the belief is always the fold over all samples in order of time.

use core::cmp::Ordering;

use serde::{Deserialize, Serialize};

use crate::apart::Apart;
use crate::filter::Filter;
use crate::model::Model;
use crate::output::{EventKind, Phase};
use crate::plan::Told;
use crate::sample::Sample;
use crate::stands_in::Heard;

/// How late a sample may be, s.
pub(crate) const WINDOW_S: f64 = 5.0;
/// Time between copies, s.
const SPACING_S: f64 = 1.0;
/// Step of what is carried through a silence, s.
const STEP_S: f64 = 1.0;
/// Most samples kept.
const ROOM: usize = 1024;
/// Most copies kept.
const COPIES: usize = 8;

/// A copy of the filter and the time of the newest sample in it.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Point {
    t_s: f64,
    filter: Filter,
}

/// See the module.
#[derive(Clone, Debug)]
pub(crate) struct Track {
    points: Vec<Point>,
    ring: Vec<Sample>,
    /// The belief at the newest sample.
    pub(crate) live: Filter,
    /// In a silence, the belief carried on in whole steps so far, and whether it is of `live` as it is: a piece that says nothing by itself
    /// is looked at again and again, all the way down.
    silent: Filter,
    is_silent: bool,
    /// The belief carried to now.
    pub(crate) view: Filter,
    /// When it was let go by its parent, s; the root is free from the start.
    pub(crate) freed_s: Option<f64>,
    /// Whether its filter flies; an attached body's only learns zeros and noise.
    pub(crate) attached: bool,
    /// When its parent lifted off, s: what an attached body's sensors read after that is no pad's.
    pub(crate) aloft_s: Option<f64>,
    /// Whether it still moves with its parent.
    pub(crate) apart: Apart,
    /// Who is heard of it and of those that it carries.
    pub(crate) heard: Heard,
}

/// What is stored of a track: the oldest copy and the samples since.
#[derive(Serialize, Deserialize)]
pub(crate) struct Kept {
    base: Point,
    ring: Vec<Sample>,
    freed_s: Option<f64>,
    attached: bool,
    aloft_s: Option<f64>,
    apart: Apart,
    heard: Heard,
}

impl Track {
    pub(crate) fn new(body: usize, t_s: f64, attached: bool) -> Self {
        let filter = Filter::new(body, t_s);
        let mut points = Vec::with_capacity(COPIES + 1);
        points.push(Point { t_s: -1e300, filter });
        Self {
            points,
            ring: Vec::with_capacity(ROOM + 1),
            live: filter,
            silent: filter,
            is_silent: false,
            view: filter,
            freed_s: if attached { None } else { Some(-1e300) },
            attached,
            aloft_s: None,
            apart: Apart::default(),
            heard: Heard::default(),
        }
    }

    /// Begins anew from a parent's belief at the moment of letting go.
    pub(crate) fn begin_from(&mut self, m: &Model, filter: Filter, freed_s: f64) {
        self.points.clear();
        let t_s = filter.t_s;
        self.points.push(Point { t_s, filter });
        self.live = filter;
        self.ring.retain(|s| s.t_s > t_s);
        self.freed_s = Some(freed_s);
        self.attached = false;
        self.again(m);
    }

    /// Its parent lifted off: what was taken for the pad's since then is taken back.
    pub(crate) fn aloft(&mut self, m: &Model, lift_s: f64) {
        self.aloft_s = Some(lift_s);
        let keep = self.points.partition_point(|p| p.t_s <= lift_s).max(1);
        self.points.truncate(keep);
        self.live = self.points[keep - 1].filter;
        self.again(m);
    }

    /// The vehicle says that it lifted off, burnt out, or that a cue has acted: every copy knows it from now on, and what came after that
    /// moment is taken again, or the belief would depend on when it was said.
    pub(crate) fn told(&mut self, m: &Model, kind: EventKind, cue: Option<usize>, when: Told) {
        let tell = |f: &mut Filter| {
            match kind {
                EventKind::Liftoff => f.told_lift = Some(when),
                EventKind::Burnout => f.told_out = Some(when),
                _ => {}
            }
            if let Some(told) = cue.and_then(|c| f.told_cue.get_mut(c)) {
                *told = Some(when);
            }
        };
        self.points.iter_mut().for_each(|p| tell(&mut p.filter));
        tell(&mut self.live);
        self.again_from(m, when.value);
    }

    /// Takes what came at an instant and after it again, from the newest copy from before.
    fn again_from(&mut self, m: &Model, t_s: f64) {
        let keep = self.points.partition_point(|p| p.t_s < t_s).max(1);
        self.points.truncate(keep);
        self.live = self.points[keep - 1].filter;
        self.again(m);
    }

    /// Its own transmitter is heard. What was learnt on the pad from others is forgotten then: their sensors are others.
    pub(crate) fn hears_own(&mut self, t_s: f64) {
        if self.heard.own(t_s) && self.live.phase == Phase::Waiting {
            *self = Self { heard: self.heard, ..Self::new(self.live.body, t_s - WINDOW_S, self.attached) };
        }
    }

    fn newest_s(&self) -> f64 {
        self.ring.last().map_or_else(|| self.points[0].t_s, |s| s.t_s)
    }

    /// Takes a sample; says whether anything changed.
    pub(crate) fn take(&mut self, m: &Model, s: &Sample) -> bool {
        let newest = self.newest_s();
        if s.t_s < newest - WINDOW_S || s.t_s <= self.points[0].t_s {
            return false;
        }
        let at = self.ring.partition_point(|o| order(o, s).is_le());
        if self.ring[at..].iter().take_while(|o| o.t_s == s.t_s).any(|o| same(o, s))
            || self.ring[..at].iter().rev().take_while(|o| o.t_s == s.t_s).any(|o| same(o, s))
        {
            return false;
        }
        let late = at < self.ring.len();
        self.ring.insert(at, *s);
        if late {
            self.again_from(m, s.t_s);
        } else {
            self.one(m, *s, newest);
        }
        self.forget();
        true
    }

    /// Takes all samples after the newest copy again.
    fn again(&mut self, m: &Model) {
        self.is_silent = false;
        let Some(last) = self.points.last() else { return };
        let mut before_s = last.t_s;
        let from = self.ring.partition_point(|s| s.t_s <= before_s);
        for i in from..self.ring.len() {
            let s = self.ring[i];
            self.one(m, s, before_s);
            before_s = s.t_s;
        }
    }

    fn one(&mut self, m: &Model, s: Sample, before_s: f64) {
        let last = self.points.last().map_or(-1e300, |p| p.t_s);
        if s.t_s > before_s && before_s >= last + SPACING_S && self.points.len() < COPIES {
            self.points.push(Point { t_s: before_s, filter: self.live });
        }
        self.is_silent = false;
        if !self.attached || self.aloft_s.is_none_or(|t| s.t_s <= t) {
            self.live.take(m, &s, self.attached);
        }
    }

    /// Lets go of copies and samples that no late sample can need.
    fn forget(&mut self) {
        let newest = self.newest_s();
        while self.points.len() > 1
            && (self.points[1].t_s < newest - WINDOW_S
                || self.points.len() >= COPIES
                || self.ring.len() >= ROOM)
        {
            self.points.remove(0);
            let t = self.points[0].t_s;
            let gone = self.ring.partition_point(|s| s.t_s <= t);
            self.ring.drain(..gone);
        }
        if self.ring.len() >= ROOM {
            // More samples than a copy's spacing can hold: the belief as it is becomes the oldest copy.
            self.points.clear();
            self.points.push(Point { t_s: newest, filter: self.live });
            self.ring.clear();
        }
    }

    /// Carries the view to now. In a silence it goes on from where whole steps have led, whenever it was looked at before.
    pub(crate) fn look(&mut self, m: &Model, now_s: f64) {
        if self.attached || now_s - self.live.t_s < 2.0 * STEP_S {
            self.view = self.live;
        } else {
            if !self.is_silent {
                (self.silent, self.is_silent) = (self.live, true);
            }
            while self.silent.t_s + STEP_S <= now_s {
                let next_s = self.silent.t_s + STEP_S;
                self.silent.carry_to(m, next_s);
            }
            self.view = self.silent;
        }
        if !self.attached {
            self.view.carry_to(m, now_s);
            self.view.stop_at_ground();
        }
    }

    pub(crate) fn keep(&self) -> Kept {
        Kept {
            base: self.points[0].clone(),
            ring: self.ring.clone(),
            freed_s: self.freed_s,
            attached: self.attached,
            aloft_s: self.aloft_s,
            apart: self.apart,
            heard: self.heard,
        }
    }

    pub(crate) fn restore(m: &Model, kept: Kept) -> Self {
        let mut points = Vec::with_capacity(COPIES + 1);
        let live = kept.base.filter;
        points.push(kept.base);
        let mut ring = Vec::with_capacity(ROOM + 1);
        ring.extend(kept.ring);
        let (freed_s, attached) = (kept.freed_s, kept.attached);
        let (aloft_s, apart, heard) = (kept.aloft_s, kept.apart, kept.heard);
        let (silent, view, is_silent) = (live, live, false);
        let mut track =
            Self { points, ring, live, silent, is_silent, view, freed_s, attached, aloft_s, apart, heard };
        track.again(m);
        track
    }
}

/// Order of samples: by time, and of one instant as they were received, since without a clock aboard those of a burst share theirs.
pub(crate) fn order(a: &Sample, b: &Sample) -> Ordering {
    a.t_s.total_cmp(&b.t_s).then(a.t_receive_s.total_cmp(&b.t_receive_s))
}

/// The same packet again, whenever it was received.
pub(crate) fn same(a: &Sample, b: &Sample) -> bool {
    Sample { t_receive_s: 0.0, ..*a } == Sample { t_receive_s: 0.0, ..*b }
}
