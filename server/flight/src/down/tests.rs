//! Falls against fine steps and closed forms.

use super::*;
use crate::nominal::tests::plan;
use crate::plan::{Descent, Told};

/// A drogue soon after apogee and a main at 200 m.
fn model() -> Model {
    let mut plan = plan();
    let area = |value: f64| Told { value, sd: 0.15 * value };
    plan.bodies[0].descents = vec![
        Descent { state: DescentState::Drogue, cue: 0, drag_area_m2: area(0.5) },
        Descent { state: DescentState::Main, cue: 1, drag_area_m2: area(4.0) },
    ];
    plan.cues[1].trigger = Trigger::HeightBelow(200.0);
    plan.cues[1].delay_s.value = 0.0;
    Model::new(&plan)
}

fn from_rest(height_m: f64) -> Hit {
    Hit {
        t_s: 0.0,
        t_var: 0.0,
        height_m,
        height_var: 0.0,
        place: [0.0; 2],
        place_cov: [[0.0; 2]; 2],
        velocity: [0.0; 3],
        velocity_cov: [[0.0; 3]; 3],
        air: [0.0; 3],
        air_cov: [[0.0; 3]; 3],
    }
}

/// Long slices end where the main opens, and take the air half way down: against steps of a millisecond.
#[test]
fn a_fall_is_the_one_of_fine_steps() {
    let m = model();
    let f = Filter::new(0, 0.0);
    for height_m in [900.0, 3000.0, 15_000.0] {
        let mut fall = Fall::from(&m, &f, &from_rest(height_m), 0.0);
        fall.planned_until(0.0);
        let k_of = |area: f64| exp(m.ln_k_under(&m.plan.bodies[0], area));
        let (mut h, mut v, mut t, dt) = (height_m, 0.0_f64, 0.0, 0.001);
        let (mut main_s, mut fill_s) = (f64::NAN, 0.0);
        let fills = |since: f64, fill: f64| {
            let filled = (since / fill).clamp(0.0, 1.0);
            filled * filled
        };
        let bare = exp(m.bare_ln_k[0]);
        let drogue_fill_s = canopy_fill_s(0.5, 0.6 * m.gravity(h));
        while h > 0.0 {
            if main_s.is_nan() && h < 200.0 {
                (main_s, fill_s) = (t, canopy_fill_s(4.0, v));
            }
            let under_drogue = bare + (k_of(0.5) - bare) * fills(t - 0.6, drogue_fill_s);
            let k = if main_s.is_nan() {
                under_drogue
            } else {
                under_drogue + (k_of(4.0) - under_drogue) * fills(t - main_s, fill_s)
            };
            v += (m.gravity(h) - k * m.air.density_ratio(h).0 * v * v) * dt;
            h -= v * dt;
            t += dt;
        }
        assert!((fall.t_s / t - 1.0).abs() < 0.004, "from {height_m} m: {} s, {t}", fall.t_s);
        assert!((fall.speed_mps / v - 1.0).abs() < 0.01, "{} m/s, {v}", fall.speed_mps);
        // Half of the told spread of the areas, at the least, is in the time.
        assert!(sqrt(fall.t_var) > 0.05 * t, "{} {t}", fall.t_var);
    }
}

/// What a first-order process that has gone on for ever adds up to has variance 2 sigma^2 tau^2 (T/tau - 1 + exp(-T/tau)).
#[test]
fn gusts_add_up_as_their_closed_form() {
    let m = model();
    let mut fall = Fall::from(&m, &Filter::new(0, 0.0), &from_rest(5000.0), 0.0);
    let (height_m, speed_mps, dt) = (5000.0, 20.0, 0.5);
    for _ in 0..600 {
        fall.gust(height_m, speed_mps, dt);
    }
    let (sigma, tau, t) = (m.wind.gust_mps() / speed_mps, gust_length_m(height_m) / speed_mps, 300.0);
    let want = 2.0 * sigma * sigma * tau * tau * (t / tau - 1.0 + exp(-t / tau));
    assert!((fall.gust_var / want - 1.0).abs() < 0.05, "{} {want}", fall.gust_var);
}
