//! States of the bodies over time, with their intervals, read at any instant.

use std::collections::BTreeMap;

use crate::estimate::Row;
use crate::thinned::Thinned;

/// States that are kept of a body: more are thinned evenly.
const MOST: usize = 20_000;
/// States further apart are not joined, s.
const GAP_S: f64 = crate::rate::GAP_S;

/// Which figure of a state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    Height,
    Climb,
    Airspeed,
    GroundSpeed,
    Lean,
    Drag,
}

impl Of {
    const fn first(self) -> usize {
        match self {
            Self::Height => 1,
            Self::Climb => 6,
            Self::Airspeed => 11,
            Self::GroundSpeed => 16,
            Self::Lean => 21,
            Self::Drag => 26,
        }
    }
}

/// The path that everything is held against.
#[derive(Clone, Debug, Default)]
pub struct Track {
    /// Whether it comes from hindsight.
    pub hindsight: bool,
    bodies: BTreeMap<usize, Thinned<Row>>,
}

impl Track {
    /// An empty one.
    pub fn new(hindsight: bool) -> Self {
        Self { hindsight, bodies: BTreeMap::new() }
    }

    /// Takes the next state, in order of time for each body.
    pub fn take(&mut self, row: &Row) {
        self.bodies.entry(row.body).or_insert(Thinned::new(MOST)).take(*row);
    }

    /// All states of a body.
    pub fn rows(&self, body: usize) -> &[Row] {
        self.bodies.get(&body).map_or(&[], Thinned::kept)
    }

    /// A figure at an instant: median, 5 % and 95 %; straight lines between states, nothing across a gap. Before a body is
    /// free its state is its parent's, so `bodies` are tried in order.
    pub(super) fn at(&self, bodies: &[usize], of: Of, t_s: f64) -> Option<[f64; 3]> {
        bodies.iter().find_map(|body| self.at_of(*body, of, t_s))
    }

    fn at_of(&self, body: usize, of: Of, t_s: f64) -> Option<[f64; 3]> {
        let rows = self.rows(body);
        let next = rows.partition_point(|row| row.t_s <= t_s);
        // The path begins at liftoff, give or take a packet.
        let first_s = rows.first()?.t_s;
        if next == 0 && first_s - t_s < 0.5 && t_s < first_s {
            return self.at_of(body, of, first_s);
        }
        let before = rows.get(next.checked_sub(1)?)?;
        let first = of.first();
        let read = |row: &Row| [row.figures[first], row.figures[first + 1], row.figures[first + 4]];
        let a = read(before);
        let value = match rows.get(next) {
            Some(after) if after.t_s - before.t_s <= GAP_S => {
                let share = (t_s - before.t_s) / (after.t_s - before.t_s);
                let b = read(after);
                [0, 1, 2].map(|i| a[i] + share * (b[i] - a[i]))
            }
            _ if t_s - before.t_s <= GAP_S => a,
            _ => return None,
        };
        value[0].is_finite().then_some(value)
    }

    /// A figure at an instant that is itself only known to `sd_s`: the interval takes in what the figure is at both ends of
    /// the instant's own 90 % interval, as independent of the figure's.
    pub(super) fn about(&self, bodies: &[usize], of: Of, t_s: f64, sd_s: f64) -> Option<super::Figure> {
        let [value, low, high] = self.at(bodies, of, t_s)?;
        let reach_s = 1.645 * sd_s;
        let ends = [t_s - reach_s, t_s + reach_s].map(|t_s| self.at(bodies, of, t_s).map_or(value, |v| v[0]));
        let least = ends.into_iter().fold(value, f64::min);
        let most = ends.into_iter().fold(value, f64::max);
        super::Figure::new(
            value,
            value - libm::hypot(value - low, value - least),
            value + libm::hypot(high - value, most - value),
        )
    }

    /// The first instant in `from_s..to_s` at which a figure's median passes a value going down (or up).
    pub(super) fn crossing(
        &self,
        body: usize,
        of: Of,
        value: f64,
        down: bool,
        from_s: f64,
        to_s: f64,
    ) -> Option<f64> {
        let place = of.first();
        let rows = self.rows(body);
        rows.windows(2).find_map(|pair| {
            let [a, b] = pair else { return None };
            if a.t_s < from_s || b.t_s > to_s {
                return None;
            }
            let (va, vb) = (a.figures[place] - value, b.figures[place] - value);
            let passes = if down { va >= 0.0 && vb < 0.0 } else { va <= 0.0 && vb > 0.0 };
            passes.then(|| a.t_s + (b.t_s - a.t_s) * va / (va - vb))
        })
    }
}
