//! The told vehicle flown many times.

use loftwatch_engine::Setup;
use loftwatch_flight::nominal::{Flights, Flown, Point};

/// Flights in a sample.
pub(crate) const FLIGHTS: u64 = 1000;
/// Flights of which whole paths are kept.
pub(crate) const KEPT: usize = 100;
/// The stream that all samples are drawn from: the same setup gives the same figures.
const SEED: u64 = 0x10f7;
/// After apogee the climb's tail goes on for so long, s.
pub(crate) const TAIL_S: f64 = 6.0;
/// Points of paths that are kept are at most so many.
const MOST_POINTS: usize = 160;

/// A point near apogee, as a cue needs it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Near {
    pub(crate) t_s: f32,
    pub(crate) height_m: f32,
    pub(crate) climb_mps: f32,
    pub(crate) air_mps: f32,
}

/// One drawn flight, cut down to what is asked of it.
#[derive(Clone, Debug)]
pub(crate) struct One {
    pub(crate) flown: Flown,
    /// From the last burnout to a while after apogee, without anything that comes out.
    pub(crate) near: Vec<Near>,
    /// When that apogee is.
    pub(crate) apogee_s: f64,
}

/// A sample of flights, and the nominal one.
#[derive(Clone, Debug)]
pub struct Sample {
    pub(crate) flights: Flights,
    pub(crate) nominal: Flown,
    pub(crate) ones: Vec<One>,
    /// Those that never left the pad, or have no apogee.
    pub(crate) stayed: usize,
}

impl Sample {
    /// Flies it a thousand times.
    pub fn of(setup: &Setup) -> Self {
        Self::of_some(setup, FLIGHTS)
    }

    /// Flies it so many times.
    pub fn of_some(setup: &Setup, count: u64) -> Self {
        let flights = Flights::of(&setup.plan);
        let nominal = flights.nominal();
        let mut ones = Vec::new();
        let mut stayed = 0;
        for number in 0..count {
            let flown = flights.drawn(SEED, number);
            match flown.shut_apogee() {
                Some(apogee) => ones.push(cut(&flights, flown, apogee.t_s, (number as usize) < KEPT)),
                None => stayed += 1,
            }
        }
        Self { flights, nominal, ones, stayed }
    }

    /// How many flights it holds.
    pub fn len(&self) -> usize {
        self.ones.len() + self.stayed
    }

    /// Whether it holds none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

fn cut(flights: &Flights, mut flown: Flown, apogee_s: f64, whole: bool) -> One {
    let near = near(flights, &flown);
    if whole {
        thin(&mut flown.climb);
        flown.falls.iter_mut().for_each(thin);
    } else {
        flown.climb = Vec::new();
        flown.falls = Vec::new();
    }
    flown.shut = None;
    One { flown, near, apogee_s }
}

fn thin(path: &mut Vec<Point>) {
    let every = path.len().div_ceil(MOST_POINTS).max(1);
    let last = path.len().saturating_sub(1);
    let mut index = 0;
    path.retain(|_| {
        let keep = index % every == 0 || index == last;
        index += 1;
        keep
    });
}

/// From the last burnout to apogee as flown, and on in free fall: sideways as at apogee, downwards by gravity less what drag
/// leaves of it by its closed form, as if nothing came out.
fn near(flights: &Flights, flown: &Flown) -> Vec<Near> {
    let (Some(apogee), Some(out)) = (flown.shut_apogee(), flown.burnouts.last()) else { return Vec::new() };
    let of = |p: &Point| Near {
        t_s: p.t_s as f32,
        height_m: p.height_m as f32,
        climb_mps: p.velocity_mps[2] as f32,
        air_mps: p.airspeed_mps() as f32,
    };
    let shut = flown.shut.as_ref().map_or(&[][..], |s| &s.climb);
    let opens_s = shut.first().map_or(f64::INFINITY, |p| p.t_s);
    let climb = flown.climb.iter().filter(|p| p.t_s >= out.t_s && p.t_s < opens_s).chain(shut);
    let mut near: Vec<Near> = climb.map(of).collect();
    let g = flights.gravity_mps2();
    let flat = apogee.airspeed_mps();
    let steps = (TAIL_S / 0.1) as u32;
    for i in 1..=steps {
        let t = f64::from(i) * 0.1;
        // Without drag: within 2 % of the speed for the first seconds of any heavy vehicle.
        let fall = g * t;
        near.push(Near {
            t_s: (apogee.t_s + t) as f32,
            height_m: (apogee.height_m - 0.5 * g * t * t) as f32,
            climb_mps: -fall as f32,
            air_mps: libm::hypot(flat, fall) as f32,
        });
    }
    near
}

/// The state at a time, by straight lines.
pub(crate) fn at(near: &[Near], t_s: f64) -> Option<Near> {
    let after = near.partition_point(|p| f64::from(p.t_s) < t_s);
    let to = near.get(after)?;
    let Some(from) = after.checked_sub(1).and_then(|i| near.get(i)) else {
        return (f64::from(to.t_s) - t_s < 1e-3).then_some(*to);
    };
    let span = to.t_s - from.t_s;
    let f = if span > 0.0 { (t_s as f32 - from.t_s) / span } else { 1.0 };
    let mix = |a: f32, b: f32| a + (b - a) * f;
    Some(Near {
        t_s: t_s as f32,
        height_m: mix(from.height_m, to.height_m),
        climb_mps: mix(from.climb_mps, to.climb_mps),
        air_mps: mix(from.air_mps, to.air_mps),
    })
}

/// When the climb falls through a value, s.
pub(crate) fn falls_through(near: &[Near], mps: f64) -> Option<f64> {
    let first = near.first()?;
    if f64::from(first.climb_mps) <= mps {
        return Some(f64::from(first.t_s));
    }
    let below = near.iter().position(|p| f64::from(p.climb_mps) <= mps)?;
    let (from, to) = (near[below - 1], near[below]);
    let (a, b) = (f64::from(from.climb_mps), f64::from(to.climb_mps));
    Some(f64::from(from.t_s) + f64::from(to.t_s - from.t_s) * (a - mps) / (a - b).max(1e-9))
}
