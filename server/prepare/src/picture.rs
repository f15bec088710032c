//! The nominal flight drawn: height against distance downrange with its bands, the worst of a hundred, landing areas.
//!
//! Downrange is along the way from the pad to where the nominal flight's vehicle lands, or to below its apogee where that is
//! farther off. A band is a row of ellipses, one for each share of the climb and of the fall: the mean and the covariance of
//! distance and height of the drawn flights at that share.

use loftwatch_engine::Setup;
use loftwatch_flight::nominal::{Flown, Point};
use serde::Serialize;
use ts_rs::TS;

use crate::sample::Sample;
use crate::spread::Spread;

/// Shares of the climb, and of the fall, at which bands are told.
const STEPS: usize = 48;
/// Points of a landing area that are handed out.
const DOTS: usize = 100;

/// Everything that is drawn.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
#[ts(rename = "NominalPicture")]
pub struct Picture {
    /// Azimuth of downrange, rad from true north.
    pub azimuth_rad: f64,
    /// The nominal path of the vehicle.
    pub nominal: Vec<Drawn>,
    /// The nominal paths of the other bodies from where they are let go.
    pub others: Vec<Vec<Drawn>>,
    /// Nominal path of the vehicle if nothing deploys, from apogee: straight to the ground point.
    pub band: Vec<Band>,
    /// The drawn flight of the first hundred with the most air past it at apogee.
    pub worst: Vec<Drawn>,
    /// In words, what is bad about it.
    pub worst_airspeed_mps: f64,
    /// Rail exit, burnouts, apogee, cues, landings of the nominal flight.
    pub moments: Vec<Moment>,
    /// Landing areas.
    pub ground: Vec<GroundCase>,
    /// Apogee above the pad, m.
    pub apogee_m: Option<Spread>,
    /// Time of apogee, s.
    pub apogee_s: Option<Spread>,
    /// Airspeed at apogee, m/s.
    pub airspeed_at_apogee_mps: Option<Spread>,
    /// Lean at burnout, rad.
    pub lean_rad: Option<Spread>,
    /// How many flights were drawn.
    pub flights: usize,
    /// How many of them never came to an apogee.
    pub stayed: usize,
}

/// A point of a drawn path.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
pub struct Drawn {
    /// Since first motion, s.
    pub t_s: f64,
    /// Downrange, m.
    pub away_m: f64,
    /// Above the pad, m.
    pub height_m: f64,
    /// East and north of the pad, m.
    pub east_north_m: [f64; 2],
}

/// Where the drawn flights are at one share of the climb or of the fall.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "NominalBand")]
pub struct Band {
    /// Mean downrange and height, m.
    pub centre_m: [f64; 2],
    /// Covariance: downrange, downrange with height, height, m2.
    pub covariance_m2: [f64; 3],
}

/// A moment of the nominal flight.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
#[ts(rename = "NominalMoment")]
pub struct Moment {
    /// `rail_exit`, `burnout`, `apogee`, `cue`, `landing`.
    pub kind: String,
    /// What to call it.
    pub label: String,
    /// Index of the body.
    pub body: usize,
    /// Where and when.
    pub at: Drawn,
    /// When, over the drawn flights, s.
    pub t_s: Option<Spread>,
    /// Airspeed then, m/s.
    pub airspeed_mps: Option<Spread>,
}

/// Where a body lands in one case.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct GroundCase {
    /// Index of the body.
    pub body: usize,
    /// `planned` or `bare`.
    pub case: String,
    /// What to call it.
    pub label: String,
    /// Middle, m east and north of the pad.
    pub centre_m: [f64; 2],
    /// Covariance: east-east, east-north, north-north, m2.
    pub covariance_m2: [f64; 3],
    /// The first hundred, m east and north.
    pub dots_m: Vec<[f64; 2]>,
}

/// Draws it.
pub fn picture(setup: &Setup, sample: &Sample) -> Picture {
    let nominal = &sample.nominal;
    let of =
        |f: &dyn Fn(&Flown) -> Option<f64>| Spread::of(sample.ones.iter().filter_map(|one| f(&one.flown)));
    let Some(apogee) = nominal.apogee else {
        return Picture { flights: sample.len(), stayed: sample.stayed, ..Picture::default() };
    };
    let landed = nominal.landings.first().copied().flatten().map_or([0.0; 2], |t| t.east_north_m);
    let longer = [landed, apogee.east_north_m]
        .into_iter()
        .max_by(|a, b| libm::hypot(a[0], a[1]).total_cmp(&libm::hypot(b[0], b[1])))
        .unwrap_or_default();
    let azimuth_rad = libm::atan2(longer[0], longer[1]);
    let way = [libm::sin(azimuth_rad), libm::cos(azimuth_rad)];
    let drawn = |p: &Point| Drawn {
        t_s: p.t_s,
        away_m: p.east_north_m[0] * way[0] + p.east_north_m[1] * way[1],
        height_m: p.height_m,
        east_north_m: p.east_north_m,
    };
    let path = |flown: &Flown| -> Vec<Drawn> {
        let fall = flown.falls.first().map(Vec::as_slice).unwrap_or_default();
        thinned(flown.climb.iter().chain(fall).map(drawn).collect(), 400)
    };
    let worst = sample
        .ones
        .iter()
        .take(crate::sample::KEPT)
        .filter_map(|one| Some((one, one.flown.apogee?.airspeed_mps())))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    Picture {
        azimuth_rad,
        nominal: path(nominal),
        others: nominal
            .falls
            .iter()
            .skip(1)
            .map(|fall| thinned(fall.iter().map(drawn).collect(), 200))
            .collect(),
        band: band(sample, way),
        worst: worst.map(|(one, _)| path(&one.flown)).unwrap_or_default(),
        worst_airspeed_mps: worst.map_or(0.0, |(_, v)| v),
        moments: moments(setup, sample, &drawn),
        ground: ground(setup, sample),
        apogee_m: of(&|f| f.apogee.map(|p| p.height_m)),
        apogee_s: of(&|f| f.apogee.map(|p| p.t_s)),
        airspeed_at_apogee_mps: of(&|f| f.apogee.map(|p| p.airspeed_mps())),
        lean_rad: of(&|f| f.burnouts.last().map(Point::lean_rad)),
        flights: sample.len(),
        stayed: sample.stayed,
    }
}

fn thinned(path: Vec<Drawn>, most: usize) -> Vec<Drawn> {
    let every = path.len().div_ceil(most).max(1);
    let last = path.len().saturating_sub(1);
    path.into_iter().enumerate().filter(|(i, _)| i % every == 0 || *i == last).map(|(_, p)| p).collect()
}

/// Mean and covariance of pairs.
fn moments_of(points: &[[f64; 2]]) -> Option<([f64; 2], [f64; 3])> {
    if points.len() < 3 {
        return None;
    }
    let n = points.len() as f64;
    let mean: [f64; 2] = core::array::from_fn(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
    let cov = |i: usize, j: usize| {
        points.iter().map(|p| (p[i] - mean[i]) * (p[j] - mean[j])).sum::<f64>() / (n - 1.0)
    };
    Some((mean, [cov(0, 0), cov(0, 1), cov(1, 1)]))
}

fn along(path: &[Point], share: f64) -> Option<Point> {
    let (first, last) = (path.first()?, path.last()?);
    let t = first.t_s + share * (last.t_s - first.t_s);
    path.iter().min_by(|a, b| libm::fabs(a.t_s - t).total_cmp(&libm::fabs(b.t_s - t))).copied()
}

fn band(sample: &Sample, way: [f64; 2]) -> Vec<Band> {
    let kept = || sample.ones.iter().take(crate::sample::KEPT).map(|one| &one.flown);
    let at = |points: Vec<Point>| {
        let pairs: Vec<[f64; 2]> = points
            .iter()
            .map(|p| [p.east_north_m[0] * way[0] + p.east_north_m[1] * way[1], p.height_m])
            .collect();
        moments_of(&pairs).map(|(centre_m, covariance_m2)| Band { centre_m, covariance_m2 })
    };
    let share = |i: usize| i as f64 / STEPS as f64;
    let climb = (0..=STEPS).filter_map(|i| at(kept().filter_map(|f| along(&f.climb, share(i))).collect()));
    let fall =
        (1..=STEPS).filter_map(|i| at(kept().filter_map(|f| along(f.falls.first()?, share(i))).collect()));
    climb.chain(fall).collect()
}

fn moments(setup: &Setup, sample: &Sample, drawn: &dyn Fn(&Point) -> Drawn) -> Vec<Moment> {
    let mut all = Vec::new();
    let nominal = &sample.nominal;
    let each =
        |of: &dyn Fn(&Flown) -> Option<f64>| Spread::of(sample.ones.iter().filter_map(|one| of(&one.flown)));
    if let Some(exit) = nominal.rail_exit
        && let Some(at) = nominal.climbing_at(exit.t_s)
    {
        all.push(Moment {
            kind: "rail_exit".into(),
            label: "rail exit".into(),
            body: 0,
            at: drawn(&at),
            t_s: each(&|f| f.rail_exit.map(|e| e.t_s)),
            airspeed_mps: each(&|f| f.rail_exit.map(|e| e.speed_mps)),
        });
    }
    for (i, out) in nominal.burnouts.iter().enumerate() {
        all.push(Moment {
            kind: "burnout".into(),
            label: "burnout".into(),
            body: 0,
            at: drawn(out),
            t_s: each(&|f| f.burnouts.get(i).map(|p| p.t_s)),
            airspeed_mps: each(&|f| f.burnouts.get(i).map(Point::airspeed_mps)),
        });
    }
    if let Some(apogee) = &nominal.apogee {
        all.push(Moment {
            kind: "apogee".into(),
            label: "apogee".into(),
            body: 0,
            at: drawn(apogee),
            t_s: each(&|f| f.apogee.map(|p| p.t_s)),
            airspeed_mps: each(&|f| f.apogee.map(|p| p.airspeed_mps())),
        });
    }
    for (i, cue) in setup.plan.cues.iter().enumerate() {
        let Some(at) = nominal.cues.get(i).copied().flatten() else { continue };
        all.push(Moment {
            kind: "cue".into(),
            label: cue.name.clone(),
            body: cue.body,
            at: drawn(&at),
            t_s: each(&|f| f.cues.get(i).copied().flatten().map(|p| p.t_s)),
            airspeed_mps: each(&|f| f.cues.get(i).copied().flatten().map(|p| p.airspeed_mps())),
        });
    }
    for (i, body) in setup.plan.bodies.iter().enumerate() {
        let Some(end) = nominal.falls.get(i).and_then(|fall| fall.last()) else { continue };
        all.push(Moment {
            kind: "landing".into(),
            label: format!("{} down", body.name),
            body: i,
            at: drawn(end),
            t_s: each(&|f| f.landings.get(i).copied().flatten().map(|t| t.t_s)),
            airspeed_mps: None,
        });
    }
    all
}

fn ground(setup: &Setup, sample: &Sample) -> Vec<GroundCase> {
    let mut all = Vec::new();
    let mut put = |body: usize, case: &str, label: String, points: Vec<[f64; 2]>| {
        if let Some((centre_m, covariance_m2)) = moments_of(&points) {
            let dots_m = points.into_iter().take(DOTS).collect();
            all.push(GroundCase { body, case: case.into(), label, centre_m, covariance_m2, dots_m });
        }
    };
    for (i, body) in setup.plan.bodies.iter().enumerate() {
        let of = |f: &Flown| f.landings.get(i).copied().flatten().map(|t| t.east_north_m);
        let points = sample.ones.iter().filter_map(|one| of(&one.flown)).collect();
        put(i, "planned", body.name.clone(), points);
    }
    let bare = sample.ones.iter().filter_map(|one| one.flown.bare).map(|t| t.east_north_m).collect();
    put(0, "bare", "if nothing deploys".into(), bare);
    all
}
