//! A predicted landing outside the allowed area or where people or cars are, for the planned descent and for none.
//!
//! The probability of a place is the share of a fixed set of equally likely points of the predicted area that lie
//! in it: no random numbers. A crowd line has its people on the side away from the pad: a point is among them if the
//! straight way to it from the pad crosses the line.

use loftwatch_flight::{Area as Spread, Case, DescentState, Landing, Phase};

use super::view::View;
use super::{Level, Verdict};
use crate::setup::{Area, AreaKind};

/// Probability at which a place is said, and at which it ends.
const SAY: f64 = 0.5;
const END: f64 = 0.3;
/// Radii and bearings of the points: 8 x 16 = 128.
const RADII: usize = 8;
const BEARINGS: usize = 16;

pub(super) fn judge(view: &View<'_>, verdicts: &mut Vec<Verdict>) {
    if !view.in_flight() && view.bodies.iter().all(|b| !b.free) {
        return;
    }
    for landing in view.landings {
        if is_judged(view, landing) {
            judge_one(view, landing, verdicts);
        }
    }
}

fn is_judged(view: &View<'_>, landing: &Landing) -> bool {
    let Some(state) = view.bodies.get(landing.body) else { return false };
    let down = state.estimate.as_ref().is_some_and(|e| matches!(e.phase, Phase::Down | Phase::Waiting));
    let braked = state.estimate.as_ref().and_then(|e| e.descent).is_some_and(DescentState::is_device);
    match landing.case {
        Case::Planned => !down,
        // What a piece would do with nothing out is of interest while it may still come to that.
        Case::Ballistic => !down && state.free && !braked,
        _ => false,
    }
}

fn judge_one(view: &View<'_>, landing: &Landing, verdicts: &mut Vec<Verdict>) {
    let points = points(&landing.area);
    let Some(told) = view.plan.bodies.get(landing.body) else { return };
    let (Spread::Ellipse { centre_m, .. } | Spread::Ring { centre_m, .. }) = landing.area;
    let (case, subject) = match landing.case {
        Case::Ballistic => ("ballistic", format!("If nothing deploys, {} comes down", told.name)),
        _ => ("planned", format!("{} comes down", told.name)),
    };
    let mut push = |about: String, p: f64, level, figure: f64, from: &str, words: String| {
        verdicts.push(Verdict {
            about,
            holds: if p >= SAY {
                Some(true)
            } else if p < END {
                Some(false)
            } else {
                None
            },
            settle_s: 0.0,
            level,
            body: landing.body,
            cue: None,
            mass_kg: told.mass_kg.value,
            figure,
            limit: Some(0.0),
            unit: "m",
            limit_from: from.into(),
            words,
        });
    };
    for area in view.areas {
        let (level, who) = match area.kind {
            AreaKind::People => (Level::Act, "people"),
            AreaKind::Cars if area.closed => (Level::Look, "cars"),
            AreaKind::Road if area.closed => (Level::Look, "the road"),
            _ => continue,
        };
        let p = share(&points, |point| is_in(area, point));
        let depth = depth_m(&[area], centre_m, is_in(area, centre_m));
        let words = match (area.closed, depth > 0.0) {
            (false, true) => format!("{subject} {} m beyond the {}.", tens(depth), plain(&area.name)),
            (false, false) => format!("{subject} beyond the {}.", plain(&area.name)),
            (true, _) => format!("{subject} among {who}, in the {}.", plain(&area.name)),
        };
        push(format!("{}:{case}:{}", area.name, told.name), p, level, depth, &area.name, words);
    }
    let allowed: Vec<&Area> = view.areas.iter().filter(|a| a.kind == AreaKind::Landing && a.closed).collect();
    if !allowed.is_empty() {
        let outside = |point| !allowed.iter().any(|a| is_in(a, point));
        let p = share(&points, outside);
        let depth = depth_m(&allowed, centre_m, outside(centre_m));
        let words = if depth > 0.0 {
            format!("{subject} {} m outside the landing area.", tens(depth))
        } else {
            format!("{subject} outside the landing area.")
        };
        push(format!("outside:{case}:{}", told.name), p, Level::Look, depth, &allowed[0].name, words);
    }
}

/// An area's name as it stands after "the".
fn plain(name: &str) -> &str {
    name.strip_prefix("the ").or_else(|| name.strip_prefix("The ")).unwrap_or(name)
}

/// Metres as one says them: to ten below a thousand, to a hundred above.
fn tens(m: f64) -> String {
    let step = if m < 1000.0 { 10.0 } else { 100.0 };
    format!("{:.0}", libm::round(m / step).max(1.0) * step)
}

fn share(points: &[[f64; 2]], holds: impl Fn([f64; 2]) -> bool) -> f64 {
    points.iter().filter(|p| holds(**p)).count() as f64 / points.len().max(1) as f64
}

/// Equally likely points of a predicted area.
fn points(area: &Spread) -> Vec<[f64; 2]> {
    let bearings = (0..BEARINGS).map(|j| (j as f64 + 0.5) * 2.0 * std::f64::consts::PI / BEARINGS as f64);
    let ranks = (0..RADII).map(|i| (i as f64 + 0.5) / RADII as f64);
    match *area {
        Spread::Ellipse { centre_m, covariance_m2: [xx, xy, yy] } => {
            // Cholesky factor of the covariance; the radius of rank p of two unit normals is sqrt(-2 ln(1 - p)).
            let a = libm::sqrt(xx.max(0.0));
            let b = if a > 0.0 { xy / a } else { 0.0 };
            let c = libm::sqrt((yy - b * b).max(0.0));
            ranks
                .flat_map(|p| {
                    let r = libm::sqrt(-2.0 * libm::log(1.0 - p));
                    bearings.clone().map(move |t| (r * libm::cos(t), r * libm::sin(t)))
                })
                .map(|(u, v)| [centre_m[0] + a * u, centre_m[1] + b * u + c * v])
                .collect()
        }
        Spread::Ring { centre_m, radius_m: q } => {
            // A disc of least area has no tail inside; beyond it lies what a Rayleigh distribution has there.
            let knots = if q.p05 > 0.0 {
                [
                    (0.0, q.p05),
                    (0.05, q.p05),
                    (0.25, q.p25),
                    (0.5, q.p50),
                    (0.75, q.p75),
                    (0.95, q.p95),
                    (1.0, q.p95),
                ]
            } else {
                [
                    (0.0, 0.0),
                    (0.1, 0.39 * q.p50),
                    (0.25, 0.64 * q.p50),
                    (0.5, q.p50),
                    (0.9, q.p95),
                    (0.95, 1.14 * q.p95),
                    (1.0, 1.3 * q.p95),
                ]
            };
            let radius = move |p: f64| {
                let w = knots.windows(2).find(|w| p <= w[1].0).unwrap_or(&knots[5..7]);
                w[0].1 + (w[1].1 - w[0].1) * (p - w[0].0) / (w[1].0 - w[0].0).max(1e-9)
            };
            ranks
                .flat_map(|p| bearings.clone().map(move |t| (p, t)))
                .map(|(p, t)| {
                    let r = radius(p);
                    [centre_m[0] + r * libm::sin(t), centre_m[1] + r * libm::cos(t)]
                })
                .collect()
        }
    }
}

fn sides(area: &Area) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    let closing =
        area.closed.then(|| area.points_m.last().copied().zip(area.points_m.first().copied())).flatten();
    area.points_m.windows(2).map(|w| (w[0], w[1])).chain(closing)
}

/// Whether a point is in an area: inside a polygon (even-odd rule along a ray), or beyond a line as seen from the pad. Points are
/// m east and north of the pad.
pub fn is_in(area: &Area, [x, y]: [f64; 2]) -> bool {
    if area.closed {
        let crossings = sides(area).filter(|(a, b)| {
            (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        });
        crossings.count() % 2 == 1
    } else {
        let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
            (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        };
        let pad = [0.0, 0.0];
        let p = [x, y];
        let crossings = sides(area).filter(|(a, b)| {
            (turn(pad, p, *a) > 0.0) != (turn(pad, p, *b) > 0.0)
                && (turn(*a, *b, pad) > 0.0) != (turn(*a, *b, p) > 0.0)
        });
        crossings.count() % 2 == 1
    }
}

/// Distance of a point (m east and north of the pad) from the nearest edge, m: positive where `wrong`, negative where not.
pub fn depth_m(areas: &[&Area], p: [f64; 2], wrong: bool) -> f64 {
    let nearest = areas
        .iter()
        .flat_map(|a| sides(a))
        .map(|(a, b)| {
            let d = [b[0] - a[0], b[1] - a[1]];
            let length2 = d[0] * d[0] + d[1] * d[1];
            let along = ((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / length2.max(1e-12);
            let along = along.clamp(0.0, 1.0);
            libm::hypot(p[0] - a[0] - along * d[0], p[1] - a[1] - along * d[1])
        })
        .fold(f64::INFINITY, f64::min);
    if wrong { nearest } else { -nearest }
}

#[cfg(test)]
mod tests {
    use loftwatch_flight::Quantiles;

    use super::*;

    fn line() -> Area {
        Area {
            name: "crowd line".into(),
            kind: AreaKind::People,
            points_m: vec![[-420.0, 60.0], [-60.0, -120.0], [420.0, -120.0]],
            closed: false,
        }
    }

    #[test]
    fn people_stand_on_the_far_side_of_the_crowd_line() {
        assert!(is_in(&line(), [0.0, -200.0]));
        assert!(is_in(&line(), [-500.0, -100.0]));
        assert!(!is_in(&line(), [0.0, -100.0]));
        assert!(!is_in(&line(), [0.0, 800.0]));
        assert!(!is_in(&line(), [900.0, 10.0]), "beyond the end of the line is not behind it");
        assert!((depth_m(&[&line()], [0.0, -200.0], true) - 80.0).abs() < 1e-9);
    }

    #[test]
    fn a_square_has_an_inside() {
        let square = Area {
            name: "field".into(),
            kind: AreaKind::Landing,
            points_m: vec![[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]],
            closed: true,
        };
        assert!(is_in(&square, [0.0, 0.0]) && !is_in(&square, [1.5, 0.0]) && !is_in(&square, [-3.0, 0.5]));
        assert!((depth_m(&[&square], [3.0, 0.0], true) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn points_have_the_told_mean_and_covariance() {
        let area = Spread::Ellipse { centre_m: [10.0, -20.0], covariance_m2: [400.0, 150.0, 900.0] };
        let p = points(&area);
        let n = p.len() as f64;
        let mean = |k: usize| p.iter().map(|q| q[k]).sum::<f64>() / n;
        let cov = |i: usize, j: usize| p.iter().map(|q| (q[i] - mean(i)) * (q[j] - mean(j))).sum::<f64>() / n;
        assert!((mean(0) - 10.0).abs() < 1e-9 && (mean(1) + 20.0).abs() < 1e-9);
        // Eight equal ranks cut the tail: a few percent short.
        for (got, told) in [(cov(0, 0), 400.0), (cov(0, 1), 150.0), (cov(1, 1), 900.0)] {
            assert!((got / told - 1.0).abs() < 0.08, "{got} {told}");
        }
    }

    #[test]
    fn a_ring_about_the_pad_lies_half_behind_a_long_line() {
        let q = Quantiles { p05: 300.0, p25: 350.0, p50: 400.0, p75: 450.0, p95: 500.0 };
        let ring = points(&Spread::Ring { centre_m: [0.0, 0.0], radius_m: q });
        let long = Area { points_m: vec![[-1e6, -1.0], [1e6, -1.0]], ..line() };
        assert!((share(&ring, |p| is_in(&long, p)) - 0.5).abs() < 0.01);
    }
}
