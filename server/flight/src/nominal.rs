//! Flights as they may come, from what was told alone: the nominal one, and as many drawn ones as wanted.
//!
//! A drawn flight takes every told figure with its spread (mass, impulse, burn time, drag and its rise near Mach 1, lean off
//! the rail, wind by height with gusts, delays, drag areas) from a seeded stream and flies the same equations of motion as
//! the estimator, by the classical fourth-order Runge-Kutta rule. Draws are cut at three standard deviations.
//! Limits: a point mass; below the first chute a body falls with its bare drag; an opening is instant.

mod ascent;
mod draw;
mod fall;

use crate::model::Model;
use crate::plan::Plan;
pub use draw::Draws;

/// A point of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Since first motion, s.
    pub t_s: f64,
    /// East and north of the pad, m.
    pub east_north_m: [f64; 2],
    /// Above the pad, m.
    pub height_m: f64,
    /// Velocity over the ground: east, north, up, m/s.
    pub velocity_mps: [f64; 3],
    /// Velocity through the air: east, north, up, m/s.
    pub air_mps: [f64; 3],
}

impl Point {
    /// Speed through the air, m/s.
    pub fn airspeed_mps(&self) -> f64 {
        let [e, n, u] = self.air_mps;
        libm::sqrt(e * e + n * n + u * u)
    }

    /// Path angle through the air from vertical, rad.
    pub fn lean_rad(&self) -> f64 {
        let [e, n, u] = self.air_mps;
        libm::atan2(libm::hypot(e, n), u)
    }

    /// The point a share `f` of the way to another.
    fn towards(&self, to: &Self, f: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * f;
        let three = |a: [f64; 3], b: [f64; 3]| core::array::from_fn(|i| mix(a[i], b[i]));
        Self {
            t_s: mix(self.t_s, to.t_s),
            east_north_m: core::array::from_fn(|i| mix(self.east_north_m[i], to.east_north_m[i])),
            height_m: mix(self.height_m, to.height_m),
            velocity_mps: three(self.velocity_mps, to.velocity_mps),
            air_mps: three(self.air_mps, to.air_mps),
        }
    }

    /// The top of a climb that ends between this point and the next.
    fn top_before(&self, next: &Self) -> Self {
        let [now, then] = [self, next].map(|p| p.velocity_mps[2]);
        self.towards(next, (now / (now - then).max(1e-9)).clamp(0.0, 1.0))
    }
}

/// Where the upper guide leaves the rail.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RailExit {
    /// Since first motion, s.
    pub t_s: f64,
    /// Speed along the rail, m/s.
    pub speed_mps: f64,
    /// Wind there, m/s.
    pub wind_mps: f64,
    /// Angle between the rail and the airspeed, rad.
    pub attack_rad: f64,
}

/// How a body reaches the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touchdown {
    /// Since first motion, s.
    pub t_s: f64,
    /// East and north of the pad, m.
    pub east_north_m: [f64; 2],
    /// Downwards, m/s.
    pub speed_mps: f64,
    /// Mass as drawn, kg.
    pub mass_kg: f64,
}

/// How fast a body fell under one planned descent state, once settled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Body index.
    pub body: usize,
    /// Index of the descent state.
    pub descent: usize,
    /// Downwards at its end, m/s.
    pub speed_mps: f64,
}

/// The end of a climb on which nothing opens.
#[derive(Clone, Debug, PartialEq)]
pub struct Shut {
    /// From where something is planned to open to apogee.
    pub climb: Vec<Point>,
    /// Highest point.
    pub apogee: Point,
}

/// One flight.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Flown {
    /// Mean thrust over weight in the first quarter of a second after thrust exceeds weight, and over the whole burn.
    pub thrust_to_weight: [f64; 2],
    /// Whether it left the pad at all. Without, nothing below is there.
    pub lifted: bool,
    /// Where the upper guide leaves the rail.
    pub rail_exit: Option<RailExit>,
    /// Burnouts, in order of the motors that lit.
    pub burnouts: Vec<Point>,
    /// Highest point, under what the plan opens before it.
    pub apogee: Option<Point>,
    /// The flight from there on, where something opens before apogee, if nothing did.
    pub shut: Option<Shut>,
    /// Greatest airspeed, m/s, Mach number, and acceleration without gravity, m/s2.
    pub greatest_mps: f64,
    /// See above.
    pub greatest_mach: f64,
    /// See above.
    pub greatest_mps2: f64,
    /// When the Mach number last fell below 0.7 going up, s; `None` where it never was above.
    pub below_mach_s: Option<f64>,
    /// From first motion to apogee, at most a twentieth of a second apart.
    pub climb: Vec<Point>,
    /// From apogee, or from letting go, to the ground, by body.
    pub falls: Vec<Vec<Point>>,
    /// By cue: its moment, where it came.
    pub cues: Vec<Option<Point>>,
    /// By body.
    pub landings: Vec<Option<Touchdown>>,
    /// The vehicle with nothing out, with the main at apogee, with the drogue only.
    pub bare: Option<Touchdown>,
    /// See above.
    pub main_at_apogee: Option<Touchdown>,
    /// See above.
    pub drogue_only: Option<Touchdown>,
    /// How fast each planned state came to be.
    pub settled: Vec<Settled>,
}

impl Flown {
    /// The point of the climb at a time, by straight lines; `None` outside of it.
    pub fn climbing_at(&self, t_s: f64) -> Option<Point> {
        at(&self.climb, t_s)
    }

    /// The same if nothing opened on the way up.
    pub fn climbing_shut_at(&self, t_s: f64) -> Option<Point> {
        self.shut.as_ref().and_then(|s| at(&s.climb, t_s)).or_else(|| at(&self.climb, t_s))
    }

    /// Highest point if nothing opened on the way up.
    pub fn shut_apogee(&self) -> Option<Point> {
        self.shut.as_ref().map(|s| s.apogee).or(self.apogee)
    }
}

/// The point of a path at a time.
fn at(path: &[Point], t_s: f64) -> Option<Point> {
    let after = path.partition_point(|p| p.t_s < t_s);
    let to = path.get(after)?;
    if after == 0 {
        return (to.t_s - t_s < 1e-9).then_some(*to);
    }
    let from = &path[after - 1];
    let span = to.t_s - from.t_s;
    Some(if span <= 0.0 { *to } else { from.towards(to, (t_s - from.t_s) / span) })
}

/// What flies, ready for any number of flights.
#[derive(Clone, Debug)]
pub struct Flights {
    m: Model,
}

impl Flights {
    /// From what was told.
    pub fn of(plan: &Plan) -> Self {
        Self { m: Model::new(plan) }
    }

    /// The flight in which everything is as told.
    pub fn nominal(&self) -> Flown {
        self.fly(&mut Draws::none())
    }

    /// One drawn flight. The same seed and number give the same flight.
    pub fn drawn(&self, seed: u64, number: u64) -> Flown {
        self.fly(&mut Draws::new(seed, number))
    }

    /// A flight as told but for its lean: the path off the rail is turned by this angle, in radians, away from the wind,
    /// and there is no wind.
    pub fn leaning(&self, lean_rad: f64) -> Flown {
        self.fly(&mut Draws::leaning(lean_rad))
    }

    /// Density of the air at a height over that at the pad, times that at the pad, kg/m3.
    pub fn density_kg_m3(&self, height_m: f64) -> f64 {
        self.m.air.density_ratio(height_m).0 * self.m.air.pad_density()
    }

    /// Gravity at the pad, m/s2.
    pub fn gravity_mps2(&self) -> f64 {
        self.m.gravity(0.0)
    }

    fn fly(&self, draws: &mut Draws) -> Flown {
        let mut flown = ascent::fly(&self.m, draws);
        if flown.lifted {
            fall::fly(&self.m, draws, &mut flown);
        }
        flown
    }
}

#[cfg(test)]
pub(crate) mod tests;
