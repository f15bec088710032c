//! How the belief begins aloft, where the first sample comes after liftoff.

use crate::filter::Filter;
use crate::fixes::falls;
use crate::glance::{Glance, RECENT};
use crate::line::{Line, line};
use crate::model::Model;
use crate::output::Phase;
use crate::plan::Told;
use crate::pressure::column_variances;
use crate::shelf::Shelf;
use crate::state::{BB, BS, D, H, VE, VN, VU};

/// How many standard deviations of the slope heights climb or fall by where a flight is joined aloft, and how long they must have, s; longer
/// where an accelerometer feels its own weight alone.
const SURE_SD: f64 = 5.0;
const JOINS_AFTER_S: f64 = 0.6;
const RESTS_FOR_S: f64 = 1.2;
/// Least height, m, that a slow climb or fall must have with it (common practice, no source): below it
/// wind and the told pressure's error move as much.
const LEAST_HIGH_M: f64 = 20.0;

impl Filter {
    /// Sees whether the first samples ever come from a vehicle that is already flying, and begins aloft.
    pub(crate) fn try_join(&mut self, m: &Model, glances: &[Glance]) {
        let (Some(first), Some(last)) = (glances.first(), glances.last()) else { return };
        if last.t_s - first.t_s < 0.25 || glances.len() < 4 {
            return;
        }
        // A height alone says nothing where the weather was not told, and a slope of few noisy heights little.
        let seen = trend(glances, |g| g.baro_m).or_else(|| trend(glances, |g| g.gnss_up_m));
        let climb = seen.map_or(0.0, |l| l.slope_mps);
        let height = seen.map_or(0.0, |l| l.newest_m);
        let sure = seen.is_some_and(|l| climb.abs() > SURE_SD * l.slope_sd(l.scatter_m));
        let gnss: f64 = glances.iter().rev().find_map(|g| g.gnss_climb).unwrap_or(climb);
        let (mut free, mut felt) = (0_usize, 0_usize);
        for g in glances {
            if let Some(f) = g.axial {
                felt += 1;
                free += usize::from(f < 6.0);
            }
        }
        let light = felt >= 3 && 2 * free > felt;
        let high = height > 60.0 && climb.abs() > 5.0;
        let fast = climb.abs() > 12.0 && gnss.abs() > 8.0 && height > LEAST_HIGH_M;
        // What lies on a table feels as little along its nose as what falls, and a gust moves its height for a third of a second.
        let falls = light && (climb.abs() > 15.0 || (climb.abs() > 6.0 && height > LEAST_HIGH_M));
        // On the pad an accelerometer feels 1 g; under a canopy, too, but that falls for longer than a second.
        let rests = glances.iter().filter(|g| g.rests).count() * 2 > felt.max(1);
        let long = last.t_s - first.t_s >= if rests { RESTS_FOR_S } else { JOINS_AFTER_S };
        if !sure || !(light || long) || !(high || fast || falls) {
            return;
        }
        let faster = if climb.abs() > gnss.abs() { climb } else { gnss };
        let powered = felt >= 3 && 2 * free < felt && climb > 0.0;
        self.take_zeros(m, last.t_s - 1e6);
        self.join(m, last.t_s, height, faster, powered);
    }

    /// A receiver that is all there is and was silent on the way up shows a body on its way down: it is followed from there.
    pub(crate) fn join_falling(&mut self, m: &Model, glances: &[Glance], gnss_moves_m: f64) {
        let Some((height, climb)) = falls(glances, gnss_moves_m) else { return };
        self.take_zeros(m, self.t_s);
        self.join(m, self.t_s, height, climb, false);
    }

    /// Begins aloft, at a height with a climb rate, under power or not.
    fn join(&mut self, m: &Model, t_s: f64, height: f64, climb: f64, powered: bool) {
        self.zero_baro_m = Told { value: 0.0, sd: 15.0 };
        self.baro_over_pa = 0.0;
        let mut b = self.prior(m, t_s - 1e6);
        b.x[H] = height;
        b.x[VU] = climb;
        for i in 0..3 {
            b.p[i][i] = 500.0 * 500.0;
            b.p[VE + i][VE + i] = 40.0 * 40.0;
        }
        b.p[H][H] = 400.0;
        let (column, scale) = column_variances(m, height);
        b.p[BB][BB] += column;
        b.p[BS][BS] = scale;
        b.p[VU][VU] = 15.0 * 15.0;
        b.p[D][D] = 4.0;
        self.blobs.clear();
        let lean = 0.25 * b.x[VU].abs();
        for (i, (de, dn)) in [(0.0, 0.0), (1.0, 0.0), (-0.5, 0.866), (-0.5, -0.866)].into_iter().enumerate() {
            let mut c = b;
            c.x[VE] = de * lean;
            c.x[VN] = dn * lean;
            c.ln_w = if i == 0 { -0.7 } else { -1.8 };
            self.blobs.push(c);
        }
        self.t_s = t_s;
        self.tidied_s = t_s;
        self.phase = Phase::Joined;
        let stage = m.stages.first();
        self.regime.ignition_s = t_s - stage.map_or(2.0, |s| 0.5 * s.burn_s);
        if powered {
            self.begin_burn(m, 0, self.regime.ignition_s, true);
            for b in self.blobs.iter_mut() {
                b.p[D][D] = 2500.0;
            }
        } else {
            self.regime.burning = false;
            self.phase = if b.x[VU] > 0.0 { Phase::Coasting } else { Phase::Descending };
        }
        self.recent.clear();
    }
}

/// Straight line through the heights of the last second.
fn trend(glances: &[Glance], height: impl Fn(&Glance) -> Option<f64>) -> Option<Line> {
    let newest = glances.last()?.t_s;
    let mut last: Shelf<(f64, f64), RECENT> = Shelf::new();
    for g in glances.iter().filter(|g| g.t_s > newest - 1.0) {
        if let Some(h) = height(g) {
            last.push((g.t_s, h));
        }
    }
    line(&last)
}
