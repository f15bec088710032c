//! What falls silent under its canopy is predicted to land where it was when it was last heard, however long nobody hears it.

mod thrown;

use loftwatch_flight::{
    Area, Case, CueKind, EventKind, Landing, Origin, Phase, Told, Tracker, Trigger, Velocity,
};
use thrown::{LIFTOFF_S, cue, fix, nothing, plan};

const STEP_S: f64 = 0.1;
const SCALE_M: f64 = 8300.0;
/// Rate under the canopy and the wind there, m/s, and where the radio falls silent, m.
const HANGS_MPS: f64 = 6.0;
const WIND_MPS: f64 = 5.0;
const SILENT_M: f64 = 150.0;

/// The estimator, when it last heard, and where it will truly land: s, m.
fn silent_since() -> (Tracker, f64, f64, f64) {
    let mut plan = plan();
    plan.bodies.truncate(1);
    let density = plan.weather.pressure_pa / (287.053 * plan.weather.temperature_k);
    let body = &mut plan.bodies[0];
    body.descents.truncate(1);
    let area = 2.0 * body.mass_kg.value * 9.8 / (density * HANGS_MPS * HANGS_MPS);
    body.descents[0].drag_area_m2 = Told { value: area, sd: 0.1 * area };
    body.descents[0].cue = 0;
    plan.cues = vec![cue("canopy", CueKind::Chute, 0, Trigger::AfterApogee(0.0), 0.1)];
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut h, mut v, mut e, mut top) = (0.0f64, 0.0f64, 0.0f64, false);
    for i in 0..10_000u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let mut felt = 9.8;
        if since >= 0.0 {
            let thrust = if since < 2.0 { 62.0 } else { 0.0 };
            let before = v;
            v += (thrust - 4e-4 * v * v.abs() - 9.8) * STEP_S;
            top |= since > 2.0 && v < 0.0;
            v = if top { v.max(-HANGS_MPS) } else { v };
            felt = (v - before) / STEP_S + 9.8;
            h += v * STEP_S;
            e += if top { WIND_MPS * STEP_S } else { 0.0 };
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let mut s = nothing(t);
        s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-h / SCALE_M) + 4.0 * noise(1));
        s.axial_mps2 = Some(felt + 0.4 * noise(2));
        s.fix = Some(fix(&plan, e + noise(3), h + noise(4)));
        let flat = if top { WIND_MPS } else { 0.0 };
        s.velocity = Some(Velocity { horizontal_mps: Some([flat + 0.2 * noise(5), 0.0]), up_mps: Some(v) });
        tracker.take(&s);
        if top && h < SILENT_M {
            let left_s = h / HANGS_MPS;
            return (tracker, t, t + left_s, e + WIND_MPS * left_s);
        }
    }
    panic!("it falls silent on its way down");
}

fn landing(tracker: &Tracker) -> Landing {
    let mut landings = Vec::new();
    tracker.landings(0, &mut landings);
    landings.into_iter().find(|l| l.case == Case::Planned).expect("foreseen or believed")
}

fn east_and_sd(l: &Landing) -> (f64, f64) {
    let Area::Ellipse { centre_m, covariance_m2 } = l.area else { panic!("its heading is known: {l:?}") };
    (centre_m[0], covariance_m2[0].sqrt())
}

#[test]
fn a_landing_that_nobody_hears_stays_where_it_was_foreseen() {
    let (mut tracker, heard_s, down_s, east_m) = silent_since();
    tracker.advance(heard_s + 0.1);
    let (foreseen_m, foreseen_sd_m) = east_and_sd(&landing(&tracker));
    assert!((foreseen_m - east_m).abs() < 2.0 * foreseen_sd_m, "{foreseen_m} {foreseen_sd_m} {east_m}");
    tracker.advance(down_s);
    let (_, due_sd_m) = east_and_sd(&landing(&tracker));
    for after_s in [3.0, 20.0, 60.0, 300.0] {
        tracker.advance(down_s + after_s);
        let (at_m, sd_m) = east_and_sd(&landing(&tracker));
        assert!((at_m - foreseen_m).abs() < foreseen_sd_m, "{after_s}: {at_m} of {foreseen_m}");
        assert!(sd_m < 1.3 * due_sd_m, "{after_s}: {sd_m} of {due_sd_m}");
        let place = tracker.estimate(0).expect("believed").east_north_m.expect("known");
        assert!((place[0] - foreseen_m).abs() < foreseen_sd_m, "{after_s}: {place:?} of {foreseen_m}");
    }
    assert_eq!(tracker.estimate(0).expect("believed").phase, Phase::Down);
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    let said =
        events.iter().rfind(|e| e.kind == EventKind::Landing && !e.withdrawn).expect("it must be down");
    assert_eq!(said.origin, Origin::Inferred);
    assert!((said.t_s - down_s).abs() < 2.0 * said.sd_s + 2.0, "{said:?} for {down_s}");
}
