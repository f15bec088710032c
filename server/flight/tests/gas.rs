//! A charge before apogee: its gas presses on the barometer, or what leaves draws on its bay, for longer than six values. Neither is flown.

mod thrown;

use loftwatch_flight::{EventKind, Phase, Tracker};
use thrown::{LIFTOFF_S, STEP_S, flight, plan, true_climb};

/// When the charge fires, s after liftoff, and how long its gas takes to leave, to a third, s.
const FIRES_S: f64 = 6.0;
const LEAVES_S: f64 = 0.25;

#[test]
fn the_gas_of_a_release_before_apogee_is_not_flown() {
    let plan = plan();
    for (charge_pa, gnss) in [(2000.0, true), (-2000.0, true), (2000.0, false), (-800.0, false)] {
        let mut samples = flight(&plan, LIFTOFF_S + FIRES_S + 2.0, 4.0, gnss);
        let fired_s = LIFTOFF_S + FIRES_S + 0.3 * STEP_S;
        for s in samples.iter_mut().filter(|s| s.t_s > fired_s) {
            let gas_pa = charge_pa * libm::exp(-(s.t_s - fired_s) / LEAVES_S);
            s.pressure_pa = s.pressure_pa.map(|p| p + gas_pa);
        }
        let mut tracker = Tracker::new(&plan, 0.0);
        for s in &samples {
            tracker.take(s);
            if s.t_s < fired_s {
                continue;
            }
            let said = tracker.estimate(0).expect("flying");
            let climb_mps = true_climb(s.t_s);
            let case =
                format!("{charge_pa} Pa, gnss {gnss}, {:.1} s after: {climb_mps} {said:?}", s.t_s - fired_s);
            assert_eq!(said.phase, Phase::Coasting, "{case}");
            assert!((said.climb_mps.p50 - climb_mps).abs() < 4.0, "{case}");
            assert!(said.climb_mps.p95 - said.climb_mps.p05 < 20.0, "{case}");
        }
        let mut events = Vec::new();
        tracker.drain_events(&mut events);
        assert!(events.iter().all(|e| e.kind != EventKind::Apogee), "{charge_pa}: {events:?}");
    }
}

/// What a barometer goes on showing is so: a belief that has gone astray gives way to it as before.
#[test]
fn a_step_that_stays_is_believed() {
    let plan = plan();
    let mut samples = flight(&plan, LIFTOFF_S + FIRES_S + 4.7, 0.0, false);
    for s in samples.iter_mut().filter(|s| s.t_s > LIFTOFF_S + FIRES_S) {
        s.pressure_pa = s.pressure_pa.map(|p| p + 600.0);
        s.axial_mps2 = None;
    }
    let mut tracker = Tracker::new(&plan, 0.0);
    for s in &samples {
        tracker.take(s);
    }
    let shown_m = thrown::shown_height(&plan, &samples);
    let said = tracker.estimate(0).expect("flying").height_m.p50;
    assert!((said - shown_m).abs() < 15.0, "{said} of {shown_m}");
}
