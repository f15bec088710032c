//! The path of a flight's bodies over the ground and what happened on it, for maps and captions.

use std::collections::BTreeMap;

use loftwatch_engine::Said;
use loftwatch_flight::geodesy::Frame as Local;
use loftwatch_flight::{EventKind, Origin};

use crate::ExportError;
use crate::estimate::Row;
use crate::flight::Flight;
use crate::thinned::Thinned;

/// Points of a body that are kept: more are thinned evenly. A day of estimates would not fit into memory.
const MOST_POINTS: usize = 60_000;

/// Something that happened, in its last revision.
#[derive(Clone, Debug, PartialEq)]
pub struct Happened {
    /// What.
    pub kind: EventKind,
    /// Body index.
    pub body: usize,
    /// When, s on the axis inside outputs.
    pub t_s: f64,
    /// One standard deviation of it, s.
    pub sd_s: f64,
    /// How it is known.
    pub origin: Origin,
    /// In words.
    pub label: String,
    /// Who marked it.
    pub who: Option<String>,
}

/// Collects events: the last revision of each counts, one that was taken back does not.
#[derive(Clone, Debug, Default)]
pub struct Events {
    newest: BTreeMap<u32, Option<Happened>>,
}

impl Events {
    /// Takes a stored output; what is no event is passed over.
    pub fn take(&mut self, data: &str) -> Result<(), ExportError> {
        if let Said::Event { event, label, who } = serde_json::from_str(data)? {
            let happened = Happened {
                kind: event.kind,
                body: event.body,
                t_s: event.t_s,
                sd_s: event.sd_s,
                origin: event.origin,
                label,
                who,
            };
            self.newest.insert(event.id, (!event.withdrawn).then_some(happened));
        }
        Ok(())
    }

    /// In order of time.
    pub fn all(self) -> Vec<Happened> {
        let mut all: Vec<Happened> = self.newest.into_values().flatten().collect();
        all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        all
    }
}

/// A state on the path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// s on the axis inside outputs.
    pub t_s: f64,
    /// Above the pad, m.
    pub height_m: f64,
    /// East and north of the pad, m; `None` if not known.
    pub east_north_m: Option<[f64; 2]>,
    /// Vertical speed, m/s.
    pub climb_mps: f64,
    /// Through the air, m/s.
    pub airspeed_mps: f64,
    /// Over the ground, m/s.
    pub ground_speed_mps: f64,
    /// Phase.
    pub phase: &'static str,
}

impl Point {
    fn of(row: &Row) -> Self {
        let [east, north] = [row.figures[31], row.figures[32]];
        Self {
            t_s: row.t_s,
            height_m: row.figures[1],
            east_north_m: (east.is_finite() && north.is_finite()).then_some([east, north]),
            climb_mps: row.figures[6],
            airspeed_mps: row.figures[11],
            ground_speed_mps: row.figures[16],
            phase: row.phase,
        }
    }
}

/// The points of a body.
#[derive(Clone, Debug)]
struct Points {
    thinned: Thinned<Point>,
    last: Option<Point>,
}

impl Points {
    const fn new() -> Self {
        Self { thinned: Thinned::new(MOST_POINTS), last: None }
    }

    fn take(&mut self, point: Point) {
        self.thinned.take(point);
        self.last = Some(point);
    }

    fn all(self) -> Vec<Point> {
        let mut points = self.thinned.into_kept();
        // The last one stays, wherever thinning has left off: it is where the body lies.
        if let Some(last) = self.last
            && points.last() != Some(&last)
        {
            points.push(last);
        }
        points
    }
}

/// A flight's path.
#[derive(Clone, Debug)]
pub struct Path {
    /// The flight.
    pub flight: Flight,
    /// Whether the points come from hindsight, or are what was shown live.
    pub hindsight: bool,
    /// What happened.
    pub events: Vec<Happened>,
    /// Points by body, each from when it was free.
    pub bodies: Vec<(usize, Vec<Point>)>,
}

/// Collects a path from estimates in order.
#[derive(Clone, Debug)]
pub struct Collector {
    path: Path,
    freed: BTreeMap<usize, f64>,
    from_s: f64,
    bodies: BTreeMap<usize, Points>,
}

impl Collector {
    /// For a flight with those events.
    pub fn new(flight: Flight, events: Vec<Happened>, hindsight: bool) -> Self {
        let freed = events
            .iter()
            .filter(|event| event.kind == EventKind::Freed)
            .map(|event| (event.body, event.t_s))
            .collect();
        // Hours on the pad are no path.
        let from_s = flight.liftoff_s().map_or(f64::NEG_INFINITY, |liftoff_s| liftoff_s - 5.0);
        Self {
            path: Path { flight, hindsight, events, bodies: Vec::new() },
            freed,
            from_s,
            bodies: BTreeMap::new(),
        }
    }

    /// Takes an estimate.
    pub fn take(&mut self, row: &Row) {
        let attached =
            self.path.flight.setup.plan.bodies.get(row.body).is_some_and(|body| body.parent.is_some())
                && self.freed.get(&row.body).is_none_or(|freed_s| row.t_s < *freed_s);
        if !attached && row.t_s >= self.from_s && row.figures[1].is_finite() {
            self.bodies.entry(row.body).or_insert(Points::new()).take(Point::of(row));
        }
    }

    /// The path.
    pub fn path(self) -> Path {
        let bodies = self.bodies.into_iter().map(|(body, points)| (body, points.all())).collect();
        Path { bodies, ..self.path }
    }
}

/// A place on earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// WGS84, degrees.
    pub latitude_deg: f64,
    /// WGS84, degrees.
    pub longitude_deg: f64,
    /// Above sea level (the geoid), m.
    pub sea_level_m: f64,
    /// Above the WGS84 ellipsoid, m.
    pub ellipsoid_m: f64,
}

/// Where a body came down, or was last.
#[derive(Clone, Debug, PartialEq)]
pub struct Landed {
    /// Body index.
    pub body: usize,
    /// The last state.
    pub point: Point,
    /// Whether a landing was noticed; else it is where the body was last.
    pub down: bool,
}

impl Path {
    /// The flight's pad as a place, or why there is none.
    pub fn pad(&self) -> Result<Local, ExportError> {
        let site = &self.flight.setup.plan.site;
        if !self.flight.has_place() {
            return Err(ExportError::Wanted(format!(
                "flight {} has no place on a map: its setup tells no `site.latitude_deg` and `site.longitude_deg`; tables and captions \
                 need none",
                self.flight.number
            )));
        }
        Ok(Local::at(site.latitude_rad, site.longitude_rad, site.elevation_m + site.geoid_m))
    }

    /// Where a point is; above the pad where nothing horizontal is known.
    pub fn place(&self, pad: &Local, point: &Point) -> Place {
        let site = &self.flight.setup.plan.site;
        let [east, north] = point.east_north_m.unwrap_or([0.0; 2]);
        let (latitude_rad, longitude_rad, _) = pad.geodetic([east, north, point.height_m]);
        Place {
            latitude_deg: latitude_rad.to_degrees(),
            longitude_deg: longitude_rad.to_degrees(),
            sea_level_m: site.elevation_m + point.height_m,
            ellipsoid_m: site.elevation_m + site.geoid_m + point.height_m,
        }
    }

    /// The state of a body nearest to an instant, if it is within two seconds.
    pub fn near(&self, body: usize, t_s: f64) -> Option<Point> {
        let points = self.of(body).or_else(|| self.of(0))?;
        let at = points.partition_point(|point| point.t_s < t_s);
        [at.checked_sub(1), Some(at)]
            .into_iter()
            .flatten()
            .filter_map(|at| points.get(at))
            .min_by(|a, b| (a.t_s - t_s).abs().total_cmp(&(b.t_s - t_s).abs()))
            .filter(|point| (point.t_s - t_s).abs() <= 2.0)
            .copied()
    }

    fn of(&self, body: usize) -> Option<&[Point]> {
        self.bodies.iter().find(|(of, _)| *of == body).map(|(_, points)| &points[..])
    }

    /// Where each body lies.
    pub fn landed(&self) -> Vec<Landed> {
        self.bodies
            .iter()
            .filter_map(|(body, points)| {
                let down = self.events.iter().any(|e| e.kind == EventKind::Landing && e.body == *body);
                points.last().map(|point| Landed { body: *body, point: *point, down })
            })
            .collect()
    }

    /// Where it comes from and what its heights are, in words.
    pub fn about(&self) -> String {
        format!(
            "{}; positions WGS84; a body whose place is not known is drawn above the pad. Advice, not range safety.",
            if self.hindsight {
                "with hindsight: every measurement of the flight was used for every point"
            } else {
                "as estimated live"
            }
        )
    }
}

/// Text without what XML 1.0 cannot hold: control characters become U+FFFD.
pub fn for_xml(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' => c,
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c => c,
        })
        .collect()
}
