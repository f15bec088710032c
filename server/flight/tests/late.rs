//! What is seen late, or by little: a receiver alone, silences through liftoff, bursts, beliefs that are led astray.

mod thrown;

use loftwatch_flight::{EventKind, Fix, Phase, Plan, Sample, Tracker};
use thrown::*;

/// The flight as a lone receiver tells it: a fix every `every` samples, no velocities, standing still (but for its noise) in
/// between two instants.
fn by_fixes_alone(plan: &Plan, every: usize, lost: std::ops::Range<f64>) -> Vec<Sample> {
    let samples = flight(plan, 24.0, 3.0, true);
    let mut held = None;
    let mut told = Vec::new();
    for (i, s) in samples.iter().enumerate().filter(|(_, s)| s.fix.is_some()) {
        let mut s = Sample { pressure_pa: None, axial_mps2: None, velocity: None, ..*s };
        if lost.contains(&s.t_s) {
            let stands: Fix = *held.get_or_insert(s.fix.expect("a fix"));
            let jitter = 0.3 * (i % 5) as f64;
            s.fix = Some(Fix { height_amsl_m: stands.height_amsl_m.map(|h| h + jitter), ..stands });
        }
        if (i / 2) % every == 0 {
            told.push(s);
        }
    }
    told
}

#[test]
fn a_fix_a_second_without_velocities_shows_a_liftoff() {
    let plan = plan();
    let samples = by_fixes_alone(&plan, 5, 0.0..0.0);
    let tracker = fly(&plan, &samples[..17]);
    let last = samples[16].t_s;
    let height = tracker.estimate(0).expect("aloft").height_m;
    assert!((last - 16.0).abs() < 1e-9, "{last}");
    let truth = true_height(last);
    assert!(
        height.p05 < truth && truth < height.p95 && height.p50 > 0.5 * truth,
        "{height:?} against {truth}"
    );
    // Somebody who carries it up a hill does not lift off.
    let mut tracker = Tracker::new(&plan, 0.0);
    for (i, s) in by_fixes_alone(&plan, 5, 12.0..24.0).iter().enumerate() {
        let fix = s.fix.map(|f| Fix { height_amsl_m: Some(plan.site.elevation_m + 2.0 * i as f64), ..f });
        tracker.take(&Sample { fix, ..*s });
    }
    assert_eq!(tracker.estimate(0).map(|e| e.phase), Some(loftwatch_flight::Phase::Waiting));
}

#[test]
fn a_lone_receiver_that_stood_still_under_power_is_not_followed_and_is_believed_when_it_flies() {
    let plan = plan();
    // It is seen to climb for 0.6 s, stands still until 2 s after burnout, and is right from there on.
    let samples = by_fixes_alone(&plan, 1, 12.6..16.0);
    let mut tracker = Tracker::new(&plan, 0.0);
    for s in &samples {
        tracker.take(s);
        let e = tracker.estimate(0).expect("an estimate");
        let truth = true_height(s.t_s);
        if (15.0..16.0).contains(&s.t_s) && e.phase == loftwatch_flight::Phase::Coasting {
            assert!(e.height_m.p50 > 0.4 * truth, "followed down at {}: {:?} of {truth}", s.t_s, e.height_m);
        }
        if (18.5..20.0).contains(&s.t_s) {
            assert!((e.height_m.p50 - truth).abs() < 0.15 * truth, "{}: {:?} of {truth}", s.t_s, e.height_m);
        }
    }
}

/// Packets of a board without a clock come in bursts of one instant each: they are taken as they came, the oldest first, and not by
/// what is in them.
#[test]
fn bursts_of_one_instant_are_taken_as_they_came() {
    let plan = plan();
    let samples = flight_under(&plan, 17.0, 0.0, false, 4e-4, |since| {
        // Thrust that falls: taken backwards it rises, and power seems to go on.
        if (0.0..2.0).contains(&since) { 92.0 - 30.0 * since } else { 0.0 }
    });
    let bursts: Vec<Sample> = samples
        .chunks(6)
        .flat_map(|burst| {
            let newest = burst[burst.len() - 1];
            burst.iter().map(move |s| Sample {
                t_s: newest.t_s,
                t_sd_s: 0.17,
                t_receive_s: newest.t_receive_s,
                ..*s
            })
        })
        .collect();
    let predicted = |samples: &[Sample]| fly(&plan, samples).prediction(0).expect("in coast");
    let (plain, burst) = (predicted(&samples), predicted(&bursts));
    // They lie half a second apart in truth, which the spread of their times says: the airspeed is as little known.
    let (known, told) = (plain.airspeed_at_apogee_mps, burst.airspeed_at_apogee_mps);
    assert!(told.p05 < known.p50 && known.p50 < told.p95, "{known:?} {told:?}");
    assert!(
        (burst.apogee_height_m.p50 / plain.apogee_height_m.p50 - 1.0).abs() < 0.05,
        "{plain:?} {burst:?}"
    );
    // Taken backwards the first push has the last one's height, and seems to have come first by so much more.
    let mut events = Vec::new();
    fly(&plan, &bursts).drain_events(&mut events);
    let liftoff = events.iter().find(|e| e.kind == EventKind::Liftoff).expect("a liftoff");
    assert!((liftoff.t_s - LIFTOFF_S).abs() < 0.15, "{liftoff:?}");
}

/// What lies on a table feels as little along its nose as what falls, and the first gust that it is heard in looks like a fall: no flight
/// is joined.
#[test]
fn what_lies_in_the_wind_when_it_is_first_heard_does_not_fall() {
    let plan = plan();
    let mut tracker = Tracker::new(&plan, 0.0);
    let gust = [0.0, 12.0, 20.0, 23.0, 26.0, 25.0, 22.0, 24.0, 21.0, 23.0];
    for i in 0..60 {
        let mut s = nothing(0.1 * f64::from(i));
        s.pressure_pa = Some(plan.weather.pressure_pa + 85.0 + gust[(i as usize).min(gust.len() - 1)]);
        s.axial_mps2 = Some(1.55 + 0.01 * f64::from(i % 3));
        tracker.take(&s);
        assert_eq!(tracker.estimate(0).expect("heard").phase, Phase::Waiting, "{} s", s.t_s);
    }
}

/// A silence through liftoff: what comes first says when it was, be it a push at the pad's height or heights far above it.
#[test]
fn a_liftoff_that_nobody_heard_is_dated_by_what_is_heard_first() {
    let plan = plan_of_level_thrust(3.0, 62.0);
    let thrust = |since: f64| if (0.0..3.0).contains(&since) { 62.0 } else { 0.0 };
    // Silent from so long before liftoff to so long after it; whether the force is told.
    for (before_s, after_s, felt) in
        [(1.3, 0.15, true), (0.5, 1.0, true), (1.3, 2.4, true), (1.3, 2.4, false)]
    {
        let mut samples = flight_under(&plan, LIFTOFF_S + after_s + 0.7, 0.0, false, 4e-4, thrust);
        samples.retain(|s| !(LIFTOFF_S - before_s..LIFTOFF_S + after_s).contains(&s.t_s));
        if !felt {
            for s in &mut samples {
                s.axial_mps2 = None;
            }
        }
        let mut tracker = fly(&plan, &samples);
        let mut events = Vec::new();
        tracker.drain_events(&mut events);
        let liftoff = events.iter().rfind(|e| e.kind == EventKind::Liftoff).expect("a liftoff");
        let off = (liftoff.t_s - LIFTOFF_S).abs();
        let case = format!("silent from {before_s} s before to {after_s} s after, felt {felt}: {liftoff:?}");
        assert!(off < 0.2 + 0.25 * after_s && off < 2.5 * liftoff.sd_s, "{case}");
        let (height, truth) = (tracker.estimate(0).expect("aloft").height_m, shown_height(&plan, &samples));
        assert!((height.p50 - truth).abs() < 5.0 + 0.15 * truth, "{case}: {height:?} of {truth}");
    }
}

/// A receiver that froze at liftoff and a barometer whose port errs lead a belief astray together that nobody told the weather and half of
/// the drag. Once both say the same again it follows them.
#[test]
fn a_belief_beside_both_gnss_and_barometer_gives_way() {
    let thrust = |since: f64| if (0.0..1.6).contains(&since) { 140.0 } else { 0.0 };
    let mut plan = with_more_drag(plan_of_level_thrust(1.6, 110.0), 0.6);
    plan.weather.temperature_sd_k = 12.0;
    let mut samples = flight_under(&plan, LIFTOFF_S + 9.0, 0.0, true, 4e-4, thrust);
    let stands = samples.iter().rfind(|s| s.t_s < LIFTOFF_S && s.fix.is_some()).and_then(|s| s.fix);
    let truth: Vec<f64> = samples.iter().map(|s| shown_height(&plan, core::slice::from_ref(s))).collect();
    for s in &mut samples {
        let climb = climb_under(s.t_s, 4e-4, thrust);
        s.pressure_pa = s.pressure_pa.map(|p| p + 0.05 * 0.6 * climb * climb);
        (s.axial_mps2, s.velocity) = (None, None);
        if (LIFTOFF_S..LIFTOFF_S + 6.0).contains(&s.t_s) && s.fix.is_some() {
            s.fix = stands;
        }
    }
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut astray, mut back) = (0.0f64, f64::INFINITY);
    for (s, height) in samples.iter().zip(truth) {
        tracker.take(s);
        let off = tracker.estimate(0).map_or(0.0, |e| (e.height_m.p50 - height).abs() / height.max(1.0));
        if (4.0..6.0).contains(&(s.t_s - LIFTOFF_S)) {
            astray = astray.max(off);
        }
        back = off;
    }
    assert!(astray > 0.1, "nothing led it astray: {astray}");
    assert!(back < 0.04, "{back} of the height beside both");
}

/// A fix a second sees a short burn too late to have believed any of it: what is predicted then is no wider than what was told on the
/// pad, and the next fixes make it narrow.
#[test]
fn fixes_that_were_not_believed_under_power_leave_no_more_open_than_the_pad() {
    let plan = plan_of_level_thrust(0.6, 170.0);
    let thrust = |since: f64| if (0.0..0.6).contains(&since) { 170.0 } else { 0.0 };
    let samples = flight_under(&plan, LIFTOFF_S + 7.5, 1.0, true, 4e-4, thrust);
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut pad, mut widest, mut last) = (f64::NAN, 0.0f64, f64::NAN);
    for s in samples.iter().filter(|s| s.fix.is_some()).step_by(5) {
        tracker.take(&Sample { pressure_pa: None, axial_mps2: None, velocity: None, ..*s });
        let (Some(e), Some(p)) = (tracker.estimate(0), tracker.prediction(0)) else { continue };
        let width = p.apogee_height_m.p95 - p.apogee_height_m.p05;
        match e.phase {
            Phase::Waiting => pad = width,
            Phase::Coasting => (widest, last) = (widest.max(width), width),
            _ => {}
        }
    }
    assert!(widest > 0.0 && widest < pad, "{widest} after {pad} on the pad");
    assert!(last < 0.4 * pad, "{last} at the end, {pad} on the pad");
}
