//! Nothing that is no number goes out: an estimator's figure that is not finite is not shown at all.

use loftwatch_flight::{Area, CuePrediction, Estimate, Event, Knot, Landing, Prediction, Quantiles};

/// Whether every figure is finite.
pub(crate) trait Sound {
    /// Whether every figure is finite.
    fn is_sound(&self) -> bool;
}

fn all(figures: &[f64]) -> bool {
    figures.iter().all(|f| f.is_finite())
}

impl Sound for Quantiles {
    fn is_sound(&self) -> bool {
        all(&[self.p05, self.p25, self.p50, self.p75, self.p95])
    }
}

impl Sound for Estimate {
    fn is_sound(&self) -> bool {
        let quantiles =
            [&self.height_m, &self.climb_mps, &self.airspeed_mps, &self.ground_speed_mps, &self.drag_k_per_m];
        quantiles.iter().all(|q| q.is_sound())
            && self.lean_rad.is_none_or(|q| q.is_sound())
            && self.east_north_m.is_none_or(|p| all(&p))
            && self.east_north_mps.is_none_or(|p| all(&p))
            && self.position_radius_m.is_none_or(f64::is_finite)
            && all(&[self.t_s, self.carried_s, self.mach, self.dynamic_pressure_pa])
    }
}

impl Sound for Prediction {
    fn is_sound(&self) -> bool {
        let quantiles = [
            &self.apogee_height_m,
            &self.apogee_t_s,
            &self.airspeed_at_apogee_mps,
            &self.ground_speed_at_apogee_mps,
        ];
        quantiles.iter().all(|q| q.is_sound()) && all(&[self.t_s, self.hand_height_m, self.hand_t_s])
    }
}

impl Sound for CuePrediction {
    fn is_sound(&self) -> bool {
        let quantiles =
            [&self.cue_t_s, &self.height_m, &self.climb_mps, &self.airspeed_mps, &self.dynamic_pressure_pa];
        quantiles.iter().all(|q| q.is_sound())
            && self.opening_load_n.is_none_or(|q| q.is_sound())
            && self.over_limit.is_none_or(f64::is_finite)
    }
}

impl Sound for Knot {
    fn is_sound(&self) -> bool {
        [&self.height_m, &self.climb_mps, &self.airspeed_mps].iter().all(|q| q.is_sound())
            && all(&[self.t_s, self.east_north_m[0], self.east_north_m[1], self.bare_height_m])
    }
}

impl Sound for Landing {
    fn is_sound(&self) -> bool {
        let area = match self.area {
            Area::Ellipse { centre_m, covariance_m2 } => all(&centre_m) && all(&covariance_m2),
            Area::Ring { centre_m, radius_m } => all(&centre_m) && radius_m.is_sound(),
        };
        area && self.landing_t_s.is_sound() && self.descent_mps.is_sound()
    }
}

impl Sound for Event {
    fn is_sound(&self) -> bool {
        all(&[self.t_s, self.sd_s])
    }
}
