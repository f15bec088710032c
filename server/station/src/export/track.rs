//! The past of a flight for a chart: few enough points to send, with every extreme kept.
//!
//! Each bucket of time keeps its first and last point and the least and greatest of height, climb and airspeed
//! (after Jugel, Jerzak, Hackenbroich & Markl, "M4", 2014: then a line drawn at that width has the same pixels).

use std::collections::{BTreeMap, BTreeSet};

use futures_util::TryStreamExt as _;
use serde::Deserialize;
use sqlx::SqlitePool;

use crate::messages::{Track, TrackBody};
use crate::playback::Flight;

/// Points of a body if not asked otherwise, and at most.
const USUAL: usize = 600;
const MOST: usize = 20_000;
/// Estimates further apart than this are not joined by a line. They come at least once a second, in silence too;
/// longer gaps are those of the station itself.
const GAP_S: f64 = 2.5;

/// One estimate, as far as a chart needs it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) t_s: f64,
    pub(super) height_m: f64,
    pub(super) climb_mps: f64,
    pub(super) airspeed_mps: f64,
    pub(super) east_north_m: Option<[f64; 2]>,
}

/// Which path of a flight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Told {
    /// As it was told while the flight went on.
    Live,
    /// As hindsight tells it.
    Afterwards,
}

/// A stretch of a path.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stretch {
    /// From here, station time, ns.
    pub(crate) from_ns: i64,
    /// Up to here.
    pub(crate) to_ns: i64,
    /// Most points of a body.
    pub(crate) most: Option<usize>,
}

/// Reads and decimates a stretch of a flight's path.
pub(crate) async fn read(
    readers: &SqlitePool,
    epoch_ns: i64,
    flight: &Flight,
    told: Told,
    stretch: Stretch,
) -> Result<Track, sqlx::Error> {
    let freed = freed(readers, epoch_ns, flight).await?;
    let epoch_s = crate::hub::seconds(epoch_ns);
    let axis_s = |t_ns: i64| (t_ns.saturating_sub(epoch_ns)) as f64 * 1e-9;
    let mut bodies: BTreeMap<u32, Vec<Point>> = BTreeMap::new();
    // Hundreds of estimates a row: fetching them one by one would take longer than reading them.
    let query = match told {
        Told::Live => sqlx::query_scalar::<_, String>(
            "SELECT group_concat(body || char(9) || data, char(10) ORDER BY seq) FROM output \
             WHERE flight = ? AND kind = 'estimate' AND t_ns >= ? AND t_ns <= ? GROUP BY seq / 512 ORDER BY min(seq)",
        )
        .bind(flight.number)
        .bind(stretch.from_ns)
        .bind(stretch.to_ns),
        Told::Afterwards => sqlx::query_scalar::<_, String>(
            "SELECT group_concat(body || char(9) || data, char(10) ORDER BY t_s) FROM smoothed \
             WHERE flight = ? AND t_s >= ? AND t_s <= ? GROUP BY body, CAST(t_s / 20 AS INTEGER) ORDER BY body, min(t_s)",
        )
        .bind(flight.number)
        .bind(axis_s(stretch.from_ns))
        .bind(axis_s(stretch.to_ns)),
    };
    let mut rows = query.fetch(readers);
    while let Some(lines) = rows.try_next().await? {
        for line in lines.lines() {
            let (body, estimate) = parsed(line, told).map_err(|error| sqlx::Error::Decode(error.into()))?;
            let t_s = epoch_s + estimate.t_s;
            let attached =
                flight.setup.plan.bodies.get(body as usize).is_some_and(|plan| plan.parent.is_some())
                    && freed.get(&body).is_none_or(|freed_s| t_s < *freed_s);
            if attached {
                continue;
            }
            bodies.entry(body).or_default().push(Point {
                t_s,
                height_m: estimate.height_m.p50,
                climb_mps: estimate.climb_mps.p50,
                airspeed_mps: estimate.airspeed_mps.p50,
                east_north_m: estimate.east_north_m,
            });
        }
    }
    let most = stretch.most.unwrap_or(USUAL).clamp(8, MOST);
    Ok(Track { bodies: bodies.into_iter().map(|(body, points)| columns(body, &points, most)).collect() })
}

/// A body's number and its estimate, as a line of the query has them.
fn parsed(line: &str, told: Told) -> Result<(u32, Figures), serde_json::Error> {
    let (body, data) = line.split_once('\t').unwrap_or(("", line));
    let estimate = match told {
        Told::Live => serde_json::from_str::<Said>(data)?.estimate.estimate,
        Told::Afterwards => serde_json::from_str(data)?,
    };
    Ok((serde_json::from_str(body)?, estimate))
}

/// An estimate as it was told live.
#[derive(Deserialize)]
struct Said {
    estimate: OfBody,
}

/// The same inside.
#[derive(Deserialize)]
struct OfBody {
    estimate: Figures,
}

/// What of an estimate a track is made of.
#[derive(Deserialize)]
struct Figures {
    t_s: f64,
    height_m: Median,
    climb_mps: Median,
    airspeed_mps: Median,
    east_north_m: Option<[f64; 2]>,
}

/// The median of an interval.
#[derive(Deserialize)]
struct Median {
    p50: f64,
}

/// When each body was freed, station time s.
async fn freed(
    readers: &SqlitePool,
    epoch_ns: i64,
    flight: &Flight,
) -> Result<BTreeMap<u32, f64>, sqlx::Error> {
    let events: Vec<(u32, f64, bool)> = sqlx::query_as(
        "SELECT body, json_extract(data, '$.event.event.t_s'), json_extract(data, '$.event.event.withdrawn') \
         FROM output WHERE flight = ? AND kind = 'event' AND json_extract(data, '$.event.event.kind') = 'freed' \
         ORDER BY seq",
    )
    .bind(flight.number)
    .fetch_all(readers)
    .await?;
    let mut freed = BTreeMap::new();
    for (body, t_s, withdrawn) in events {
        if withdrawn {
            freed.remove(&body);
        } else {
            freed.insert(body, crate::hub::seconds(epoch_ns) + t_s);
        }
    }
    Ok(freed)
}

fn columns(body: u32, points: &[Point], most: usize) -> TrackBody {
    let mut track = TrackBody { body, ..TrackBody::default() };
    let kept = decimate(points, most);
    let some = |value: f64, decimals: i32| {
        let scale = 10f64.powi(decimals);
        value.is_finite().then(|| (value * scale).round() / scale)
    };
    let mut last: Option<usize> = None;
    for index in kept {
        let point = &points[index];
        // A gap is one between neighbours as stored, wherever decimation has taken points away.
        let gap =
            last.and_then(|last| (last..index).rfind(|at| points[at + 1].t_s - points[*at].t_s > GAP_S));
        if let Some(at) = gap {
            track.t_s.push(((points[at].t_s + points[at + 1].t_s) * 500.0).round() / 1e3);
            for column in [
                &mut track.height_m,
                &mut track.climb_mps,
                &mut track.airspeed_mps,
                &mut track.east_m,
                &mut track.north_m,
            ] {
                column.push(None);
            }
        }
        last = Some(index);
        track.t_s.push((point.t_s * 1e3).round() / 1e3);
        track.height_m.push(some(point.height_m, 2));
        track.climb_mps.push(some(point.climb_mps, 2));
        track.airspeed_mps.push(some(point.airspeed_mps, 2));
        track.east_m.push(point.east_north_m.and_then(|[east, _]| some(east, 1)));
        track.north_m.push(point.east_north_m.and_then(|[_, north]| some(north, 1)));
    }
    track
}

/// Indices of the points to keep, in order, at most `most` (8 at least).
pub(super) fn decimate(points: &[Point], most: usize) -> Vec<usize> {
    if points.len() <= most {
        return (0..points.len()).collect();
    }
    let mut buckets = most / 2;
    loop {
        let kept = keep(points, buckets.max(1));
        if kept.len() <= most || buckets <= 1 {
            return kept.into_iter().collect();
        }
        // Rarely more than three rounds: a quarter fewer each time.
        buckets = buckets * 3 / 4;
    }
}

fn keep(points: &[Point], buckets: usize) -> BTreeSet<usize> {
    let (first_s, last_s) = (points[0].t_s, points[points.len() - 1].t_s);
    let width_s = ((last_s - first_s) / buckets as f64).max(f64::MIN_POSITIVE);
    let bucket = |point: &Point| (((point.t_s - first_s) / width_s) as usize).min(buckets - 1);
    let mut kept = BTreeSet::new();
    let mut from = 0;
    while from < points.len() {
        let here = bucket(&points[from]);
        let to =
            points[from..].iter().position(|point| bucket(point) != here).map_or(points.len(), |n| from + n);
        kept.extend([from, to - 1]);
        for of in [|p: &Point| p.height_m, |p: &Point| p.climb_mps, |p: &Point| p.airspeed_mps] {
            let known = || (from..to).filter(|index| of(&points[*index]).is_finite());
            kept.extend(known().min_by(|a, b| of(&points[*a]).total_cmp(&of(&points[*b]))));
            kept.extend(known().max_by(|a, b| of(&points[*a]).total_cmp(&of(&points[*b]))));
        }
        from = to;
    }
    kept
}
