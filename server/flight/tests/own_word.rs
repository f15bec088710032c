//! What a vehicle says of itself, and what nobody says any more: its own figures across a restart, an apogee that cannot be, and a fall
//! that goes silent.

mod thrown;

use loftwatch_flight::{EventKind, Origin, Phase, Report, Sample, Tracker};
use thrown::{LIFTOFF_S, PLAN, STEP_S, nothing};

const BURN_S: f64 = 2.0;
const THRUST_MPS2: f64 = 62.0;
const BARE_PER_M: f64 = 4e-4;
const FALLS_AT_MPS: f64 = 9.0;

/// Height and climb rate, from liftoff in steps: up by itself, down at one rate, still on the ground.
fn path() -> Vec<(f64, f64)> {
    let (mut h, mut v) = (0.0f64, 0.0f64);
    let mut path = Vec::new();
    let (mut falls, mut lies) = (false, false);
    for i in 0..3000 {
        path.push((h, v));
        let since = f64::from(i) * STEP_S;
        let push = if since < BURN_S { THRUST_MPS2 } else { 0.0 };
        falls |= since > BURN_S && v < -FALLS_AT_MPS;
        lies |= falls && h <= 0.0;
        v = if lies {
            0.0
        } else if falls {
            -FALLS_AT_MPS
        } else {
            v + STEP_S * (push - BARE_PER_M * v * v.abs() - 9.8)
        };
        h = if lies { 0.0 } else { h + v * STEP_S };
    }
    path
}

fn noise(i: usize, of: usize) -> f64 {
    ((i * 7919 + of * 104_729) % 1000) as f64 / 1000.0 - 0.5
}

/// Own height and climb rate alone. The board may restart so long after liftoff: then it is silent for 1.5 s and has its zero where it
/// came back, and a filter that begins at rest there.
fn own_figures(path: &[(f64, f64)], restarts_s: Option<f64>) -> Vec<Sample> {
    let pad = (LIFTOFF_S / STEP_S) as usize;
    let mut samples = Vec::new();
    let (mut zero_m, mut back_s) = (0.0, f64::NEG_INFINITY);
    for i in 0..pad + path.len() {
        let since = (i as f64 - pad as f64) * STEP_S;
        let (h, v) = i.checked_sub(pad).map_or((0.0, 0.0), |k| path[k]);
        let gone = restarts_s.is_some_and(|t| since > t && since < t + 1.5);
        if gone {
            (zero_m, back_s) = (h, since);
            continue;
        }
        let settled = 1.0 - libm::exp(-(since - back_s) / 0.5);
        let mut s = nothing(i as f64 * STEP_S);
        s.boot = u32::from(back_s > 0.0);
        s.own_height_m = Some(h - zero_m + 0.4 * noise(i, 1));
        s.own_climb_mps = Some(v * settled + 0.4 * noise(i, 2));
        samples.push(s);
    }
    samples
}

#[test]
fn a_board_that_restarts_aloft_goes_on_being_heard_and_lands() {
    let plan = serde_json::from_str(PLAN).expect("a committed plan");
    let path = path();
    let lands_s = STEP_S * path.iter().rposition(|p| p.1 < 0.0).expect("lands") as f64;
    let top_m = path.iter().fold(0.0f64, |top, p| top.max(p.0));
    let mut tracker = Tracker::new(&plan, 0.0);
    let mut lowest_m = f64::INFINITY;
    for s in own_figures(&path, Some(5.0)) {
        tracker.take(&s);
        let since = s.t_s - LIFTOFF_S;
        let Some(e) = tracker.estimate(0).filter(|_| since > 1.0) else { continue };
        let (h, v) = path[(since / STEP_S).round() as usize];
        if since > 9.0 && since < lands_s {
            assert!(e.carried_s < 0.5, "{since} s: heard");
            assert!((e.climb_mps.p50 - v).abs() < 15.0, "{since} s: {:?} for {v}", e.climb_mps);
            assert!((e.height_m.p50 - h).abs() < 0.12 * top_m, "{since} s: {:?} for {h}", e.height_m);
        }
        lowest_m = lowest_m.min(e.height_m.p50);
        if since > lands_s + 8.0 {
            assert_eq!(e.phase, Phase::Down, "{since} s, {lands_s} s");
            assert!(e.height_m.p05 < 0.0 && e.height_m.p95 > 0.0, "{since} s: {:?}", e.height_m);
        }
    }
    assert!(lowest_m > -0.12 * top_m, "{lowest_m}");
}

#[test]
fn an_apogee_said_while_it_climbs_is_not_the_apogee() {
    let plan = serde_json::from_str(PLAN).expect("a committed plan");
    let path = path();
    let top_s = LIFTOFF_S + STEP_S * path.iter().position(|p| p.1 < 0.0).expect("a top") as f64;
    for (said_s, right) in [(LIFTOFF_S + 4.0, false), (top_s + 0.3, true)] {
        let mut tracker = Tracker::new(&plan, 0.0);
        let (mut events, mut all) = (Vec::new(), Vec::new());
        for s in own_figures(&path, None) {
            tracker.take(&s);
            if (s.t_s - said_s).abs() < 0.5 * STEP_S {
                let after_s = Some(said_s - STEP_S);
                tracker.report(&Report {
                    body: 0,
                    event: EventKind::Apogee,
                    by_s: said_s,
                    after_s,
                    t_receive_s: said_s,
                    not_yet: false,
                });
            }
            tracker.drain_events(&mut events);
            all.extend(events.iter().copied().filter(|e| e.kind == EventKind::Apogee));
            let early = all.iter().any(|e| e.t_s < top_s - 2.0);
            assert!(!early, "{all:?}, top at {top_s}");
        }
        let last = all.last().expect("an apogee");
        let origin = if right { Origin::Reported } else { Origin::Detected };
        assert_eq!(last.origin, origin);
        assert!(!last.withdrawn && (last.t_s - top_s).abs() < 1.0, "{last:?}, top at {top_s}");
    }
}

#[test]
fn a_fall_that_nobody_hears_of_ends_at_the_ground() {
    let plan = serde_json::from_str(PLAN).expect("a committed plan");
    let path = path();
    let mut tracker = Tracker::new(&plan, 0.0);
    let lost = path.iter().rposition(|p| p.0 > 150.0).expect("falls");
    let lost_s = LIFTOFF_S + lost as f64 * STEP_S;
    for s in own_figures(&path, None).iter().filter(|s| s.t_s < lost_s) {
        tracker.take(s);
    }
    for i in 1..600 {
        tracker.advance(lost_s + 0.5 * f64::from(i));
        let e = tracker.estimate(0).expect("has flown");
        if e.carried_s > 5.5 {
            assert!(e.height_m.p50 >= 0.0 && e.height_m.p95 >= e.height_m.p50, "{:?}", e.height_m);
        }
    }
    assert_eq!(tracker.estimate(0).expect("has flown").phase, Phase::Down);
}
