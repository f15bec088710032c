//! Estimates at a rate of one's own: straight lines between neighbours of a body, on a grid that begins at liftoff.
//!
//! Nothing is made up across a gap: where neighbours are further apart than [`GAP_S`] the grid has no rows. Phase, descent
//! state and the age of the newest measurement are those of the earlier neighbour.

use std::collections::BTreeMap;

use crate::estimate::Row;

/// Estimates further apart than this are not joined. They come at least once a second, in silence too; longer gaps are
/// those of the station itself.
pub const GAP_S: f64 = 2.5;

/// The method, in words for the file that was made with it.
pub fn method(rate_hz: f64) -> String {
    format!(
        "{rate_hz} Hz, on a grid through liftoff; linear between neighbouring estimates of a body, no rows across gaps above \
         {GAP_S} s; phase, descent and carried are those of the earlier neighbour"
    )
}

/// Turns the estimates of one flight, in order, into others on a grid.
#[derive(Clone, Debug)]
pub struct Resampler {
    step_s: f64,
    zero_s: f64,
    last: BTreeMap<usize, Row>,
}

impl Resampler {
    /// A grid of that rate, in Hz, through `zero_s`.
    pub fn new(rate_hz: f64, zero_s: f64) -> Self {
        Self { step_s: 1.0 / rate_hz, zero_s, last: BTreeMap::new() }
    }

    /// Takes an estimate and puts out what lies between it and the one before of the same body: after that one's instant, up
    /// to and with this one's.
    pub fn take(&mut self, row: &Row, mut put: impl FnMut(&Row)) {
        let Some(before) = self.last.insert(row.body, *row) else { return };
        let gap_s = row.t_s - before.t_s;
        if !(gap_s > 0.0) || gap_s > GAP_S {
            return;
        }
        // A millionth of a step: an instant on the grid counts as on it, however it was rounded.
        let place = |t_s: f64| libm::floor((t_s - self.zero_s) / self.step_s + 1e-6);
        let mut at = place(before.t_s) + 1.0;
        while at <= place(row.t_s) {
            let t_s = self.zero_s + at * self.step_s;
            let share = ((t_s - before.t_s) / gap_s).clamp(0.0, 1.0);
            let mut between = Row { t_s, ..before };
            // The first figure is `carried`: how long that state has been carried since.
            between.figures[0] = before.figures[0] + (t_s - before.t_s);
            for (figure, next) in between.figures[1..].iter_mut().zip(&row.figures[1..]) {
                *figure += share * (next - *figure);
            }
            put(&between);
            at += 1.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::FIGURES;

    fn row(body: usize, t_s: f64, height_m: f64) -> Row {
        let mut figures = [f64::NAN; FIGURES];
        figures[0] = 0.0;
        figures[1] = height_m;
        Row { body, t_s, phase: "coasting", descent: None, figures }
    }

    #[test]
    fn a_straight_line_stays_one_and_gaps_stay_empty() {
        let mut resampler = Resampler::new(10.0, 100.0);
        let mut got = Vec::new();
        for (t_s, height_m) in
            [(99.93, 0.0), (100.13, 20.0), (100.17, 24.0), (100.40, 47.0), (104.0, 0.0), (104.1, 10.0)]
        {
            resampler.take(&row(0, t_s, height_m), |row| got.push((row.t_s, row.figures[1])));
        }
        let want = [(100.0, 7.0), (100.1, 17.0), (100.2, 27.0), (100.3, 37.0), (100.4, 47.0), (104.1, 10.0)];
        assert_eq!(got.len(), want.len(), "{got:?}");
        for (got, want) in got.iter().zip(want) {
            assert!((got.0 - want.0).abs() < 1e-9 && (got.1 - want.1).abs() < 1e-6, "{got:?} {want:?}");
        }
    }

    #[test]
    fn bodies_do_not_mix() {
        let mut resampler = Resampler::new(1.0, 0.0);
        let mut got = Vec::new();
        for (body, t_s, height_m) in [(0, 0.5, 0.0), (1, 0.6, 500.0), (0, 1.5, 100.0), (1, 1.6, 600.0)] {
            resampler.take(&row(body, t_s, height_m), |row| got.push((row.body, row.figures[1].round())));
        }
        assert_eq!(got, [(0, 50.0), (1, 540.0)]);
    }
}
