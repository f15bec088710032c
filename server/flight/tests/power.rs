//! Thrust, drag and burnout: what is felt and what is told, across silences and with hindsight.

mod thrown;

use loftwatch_flight::{EventKind, Phase, Quantiles, Sample, Tracker, smoothed};
use thrown::*;

#[test]
fn hindsight_is_closer_than_the_filter_and_surer() {
    let plan = plan();
    let samples = flight(&plan, 24.0, 3.0, true);
    let path = smoothed(&plan, &samples, &[]);
    let mut tracker = Tracker::new(&plan, 0.0);
    let (mut off, mut off_live, mut count, mut held) = (0.0f64, 0.0f64, 0, 0);
    let (mut wide, mut wide_live) = (0.0, 0.0);
    for s in &samples {
        tracker.take(s);
        let Some((_, e)) = path.iter().find(|(_, e)| e.t_s == s.t_s) else { continue };
        let Some(live) = tracker.estimate(0).filter(|_| s.t_s > LIFTOFF_S + 0.5) else { continue };
        let truth = true_climb(s.t_s);
        off += (e.climb_mps.p50 - truth).abs();
        off_live += (live.climb_mps.p50 - truth).abs();
        wide += e.airspeed_mps.p95 - e.airspeed_mps.p05;
        wide_live += live.airspeed_mps.p95 - live.airspeed_mps.p05;
        held += i32::from(e.climb_mps.p05 <= truth && truth <= e.climb_mps.p95);
        count += 1;
    }
    assert!(count > 80, "{count} states");
    assert!(off < off_live, "with hindsight {off}, live {off_live}");
    assert!(wide < wide_live, "with hindsight {wide}, live {wide_live}");
    assert!(held * 10 > count * 6, "{held} of {count}");
}

#[test]
fn a_thrust_that_fades_is_not_taken_for_drag() {
    // Drag is told a third of what it is, four times as far off as its spread says.
    let plan = with_more_drag(plan(), 1.85);
    // Down from full thrust over 1.2 s, the last of it below drag: long after the force has crossed zero.
    let fading = |since: f64| match since {
        t if (0.0..1.3).contains(&t) => 130.0,
        t if (1.3..2.5).contains(&t) => 130.0 * (2.5 - t) / 1.2,
        _ => 0.0,
    };
    let drag = |until_s: f64| {
        let samples = flight_under(&plan, LIFTOFF_S + until_s, 0.0, false, 1.2e-3, fading);
        fly(&plan, &samples).estimate(0).expect("aloft").drag_k_per_m
    };
    let (before, fallen, after) = (drag(1.2).p50, drag(2.1).p50, drag(3.6));
    assert!((fallen / before - 1.0).abs() < 0.02, "{before} before the thrust fell, {fallen} after");
    assert!(after.p05 < 1.2e-3 && after.p95 > 1.2e-3, "{after:?}");
}

#[test]
fn the_tail_of_a_long_burn_is_not_taken_for_less_drag() {
    let (drag_per_m, plan) = (1.2e-3, with_more_drag(plan_of_level_thrust(8.0, 100.0), 5.5));
    // Drag is nearly as much as thrust when that falls over 0.8 s: most of the fall lies beyond where the force crosses zero.
    let falling = |since: f64| match since {
        t if (0.0..7.2).contains(&t) => 100.0,
        t if (7.2..8.0).contains(&t) => 125.0 * (8.0 - t),
        _ => 0.0,
    };
    for after_s in [0.4, 0.5, 0.6, 0.8, 1.0, 2.0] {
        let samples = flight_under(&plan, LIFTOFF_S + 7.3 + after_s, 0.0, false, drag_per_m, falling);
        let k = fly(&plan, &samples).estimate(0).expect("aloft").drag_k_per_m;
        assert!(k.p05 < drag_per_m && k.p95 > drag_per_m, "{after_s} s after: {k:?}");
    }
}

/// Burnout is where the specific force crosses zero, and not where the tail ends that goes on pushing a little less than drag brakes. By
/// the samples themselves, two tenths of a second either side of the crossing.
#[test]
fn burnout_is_where_the_force_crosses_zero_however_long_the_tail() {
    let plan = with_more_drag(plan_of_level_thrust(6.0, 100.0), 5.5);
    let falling = |since: f64| match since {
        t if (0.0..4.0).contains(&t) => 100.0,
        t if (4.0..6.0).contains(&t) => 55.0,
        _ => 0.0,
    };
    let samples = flight_under(&plan, LIFTOFF_S + 8.0, 0.0, false, 1.2e-3, falling);
    let felt = |from_s: f64| samples.iter().filter(move |s| s.t_s > LIFTOFF_S + from_s);
    let below =
        felt(1.0).find(|s| s.axial_mps2.is_some_and(|f| f < -1.0)).expect("drag wins").t_s - LIFTOFF_S;
    assert!((3.5..5.5).contains(&below), "the tail goes on for long after {below}");
    let mut tracker = fly(&plan, &samples);
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    let out = events.iter().rev().find(|e| e.kind == EventKind::Burnout).expect("burnt out");
    let off = out.t_s - LIFTOFF_S - below;
    assert!(off.abs() < 0.2 && out.sd_s < 0.15, "{off} {out:?}");
}

/// A motor that ends in a long tail weaker than drag goes on pushing: what is felt then is not drag alone, and less of it is left.
#[test]
fn a_told_tail_weaker_than_drag_is_not_less_drag() {
    let drag_per_m = 1.2e-3;
    let mut plan = with_more_drag(plan_of_level_thrust(8.0, 60.0), 5.5);
    plan.motors[0].curve = vec![(0.0, 100.0), (4.0, 100.0), (4.01, 30.0), (8.0, 30.0), (8.01, 0.0)];
    plan.motors[0].propellant_mass_kg = 0.01;
    let mass_kg = plan.vehicle.liftoff_mass_kg.value;
    plan.motors[0].impulse_ns.value = (4.0 * 100.0 + 4.0 * 30.0) * mass_kg;
    let falling = |since: f64| match since {
        t if (0.0..4.0).contains(&t) => 100.0,
        t if (4.0..8.0).contains(&t) => 30.0,
        _ => 0.0,
    };
    for (seconds, phase) in [(6.0, Phase::Powered), (7.5, Phase::Powered), (10.0, Phase::Coasting)] {
        let samples = flight_under(&plan, LIFTOFF_S + seconds, 0.0, false, drag_per_m, falling);
        let e = fly(&plan, &samples).estimate(0).expect("aloft");
        assert_eq!(e.phase, phase, "{seconds} s");
        // The made-up air stays as thick as at the pad.
        let told_m = drag_per_m * libm::exp(e.height_m.p50 / 8300.0);
        let share = e.drag_k_per_m.p50 / told_m;
        assert!((0.75..1.3).contains(&share), "{seconds} s: {share}");
    }
}

#[test]
fn the_speed_under_power_is_what_was_felt_whatever_drag_was_told() {
    // Eight seconds at some 110 m/s2, far beyond Mach 1, where drag is as much as the thrust.
    let mut plan = plan_of_level_thrust(8.0, 110.0);
    let motor = &mut plan.motors[0];
    motor.impulse_ns.sd = 0.07 * motor.impulse_ns.value;
    motor.propellant_mass_kg = 0.1 * plan.vehicle.liftoff_mass_kg.value;
    let thrust = |since: f64| if (0.0..8.0).contains(&since) { 110.0 } else { 0.0 };
    let gained = |drag_per_m: f64| {
        let mut samples = flight_under(&plan, LIFTOFF_S + 7.5, 0.0, false, drag_per_m, thrust);
        // The made-up air is plainer than the estimator's: nothing but the force from liftoff on.
        samples.iter_mut().filter(|s| s.t_s >= LIFTOFF_S).for_each(|s| s.pressure_pa = None);
        let late = samples.iter().filter(|s| s.t_s >= LIFTOFF_S + 1.5);
        let felt = late.filter_map(|s| s.axial_mps2).map(|f| (f - 9.8) * STEP_S).sum::<f64>();
        let at = |until_s: f64| {
            let then: Vec<Sample> = samples.iter().filter(|s| s.t_s < until_s).copied().collect();
            fly(&plan, &then).estimate(0).expect("aloft").climb_mps.p50
        };
        (at(LIFTOFF_S + 7.5) - at(LIFTOFF_S + 1.5), felt)
    };
    for drag_per_m in [5e-5, 1e-4, 2e-4, 3e-4] {
        let (climbed, felt) = gained(drag_per_m);
        // What falls short of the thought force is still shared with a drag that is not learnt then: up to one per cent of speed.
        assert!((climbed / felt - 1.0).abs() < 0.01, "drag {drag_per_m}: {climbed} where {felt} was felt");
    }
}

#[test]
fn thrust_that_ends_in_a_silence_ends_anywhere_in_it() {
    let gap_s = 0.4;
    // What the told burn time is does not matter, as little as where in the silence the thrust really ended.
    for told_s in [1.8, 2.0, 2.2] {
        let plan = plan_of_level_thrust(told_s, 62.0);
        let (mut sum, mut held) = (0.0, 0);
        for step in 0..5 {
            let end_s = 2.0 + gap_s * f64::from(step) / 4.0;
            let thrust = |since: f64| if (0.0..end_s).contains(&since) { 62.0 } else { 0.0 };
            let mut samples = flight_under(&plan, LIFTOFF_S + 2.0 + gap_s + 0.15, 0.0, false, 4e-4, thrust);
            let silent = LIFTOFF_S + 2.0..LIFTOFF_S + 2.0 + gap_s;
            samples.retain(|s| !silent.contains(&s.t_s));
            // Nothing but the force tells of the silence.
            samples.iter_mut().filter(|s| s.t_s >= silent.end).for_each(|s| s.pressure_pa = None);
            let then = samples.last().expect("samples").t_s;
            let now = fly(&plan, &samples).estimate(0).expect("aloft").climb_mps;
            let truth = climb_under(then, 4e-4, thrust);
            sum += now.p50 - truth;
            held += i32::from(now.p05 <= truth && truth <= now.p95);
        }
        // A whole silence of thrust is 25 m/s; on average nothing of it may be left over.
        assert!((sum / 5.0f64).abs() < 4.0, "told {told_s} s: {} m/s off on average", sum / 5.0);
        assert!(held >= 4, "told {told_s} s: {held} of 5 held");
    }
}

#[test]
fn thrust_that_outlasts_its_told_time_across_a_silence_goes_on() {
    let plan = plan_of_level_thrust(2.0, 62.0);
    let thrust = |since: f64| if (0.0..3.5).contains(&since) { 62.0 } else { 0.0 };
    let mut samples = flight_under(&plan, LIFTOFF_S + 3.2, 0.0, false, 4e-4, thrust);
    samples.retain(|s| !(LIFTOFF_S + 1.6..LIFTOFF_S + 2.9).contains(&s.t_s));
    samples.iter_mut().filter(|s| s.t_s > LIFTOFF_S + 2.0).for_each(|s| s.pressure_pa = None);
    let then = samples.last().expect("samples").t_s;
    let tracker = fly(&plan, &samples);
    let (now, truth) = (tracker.estimate(0).expect("aloft"), climb_under(then, 4e-4, thrust));
    assert_eq!(now.phase, Phase::Powered);
    assert!((now.climb_mps.p50 - truth).abs() < 12.0, "{:?}, {truth} m/s true", now.climb_mps);
    assert!(now.climb_mps.p05 < truth && truth < now.climb_mps.p95, "{:?}, {truth} m/s true", now.climb_mps);
}

#[test]
fn apogee_is_no_surer_than_the_height_now() {
    let plan = plan();
    let mut tracker = Tracker::new(&plan, 0.0);
    let mut seen = 0;
    for s in flight(&plan, 30.0, 3.0, false) {
        tracker.take(&s);
        let (Some(now), Some(top)) = (tracker.estimate(0), tracker.prediction(0)) else { continue };
        if s.t_s > LIFTOFF_S + 3.0 && now.climb_mps.p50 > 0.5 && now.climb_mps.p50 < 20.0 {
            let width = |q: &Quantiles| q.p95 - q.p05;
            let (h, t) = (width(&now.height_m), width(&top.apogee_height_m));
            assert!(t > 0.9 * h, "{h} m now, {t} m at apogee, climbing with {:?}", now.climb_mps);
            seen += 1;
        }
    }
    assert!(seen > 5, "{seen}");
}

/// The predicted line goes through the predicted apogee, on the pad as in coast, and never higher.
#[test]
fn the_line_to_come_has_its_top_at_the_predicted_apogee() {
    let plan = plan();
    for seconds in [8.0, LIFTOFF_S + 1.0, LIFTOFF_S + 4.0] {
        let tracker = fly(&plan, &flight(&plan, seconds, 3.0, false));
        let predicted = tracker.prediction(0).expect("a prediction");
        let mut line = Vec::new();
        tracker.path(0, &mut line);
        let top = line.iter().max_by(|a, b| a.height_m.p50.total_cmp(&b.height_m.p50)).expect("a line");
        let (height_m, t_s) = (predicted.apogee_height_m.p50, predicted.apogee_t_s.p50);
        let case = format!("{seconds} s: {height_m} m at {t_s} s, {top:?}");
        assert!((top.height_m.p50 / height_m - 1.0).abs() < 0.01, "{case}");
        assert!((top.t_s - t_s).abs() < 0.1 * (t_s - tracker.estimate(0).expect("one").t_s), "{case}");
    }
}

/// Told by impulse and burn time alone, a motor that begins strong has that much less to come.
#[test]
fn what_is_left_of_a_motor_without_a_curve_is_its_impulse_less_what_it_gave() {
    let (burn_s, mean_mps2) = (3.0, 80.0);
    let mut plan = plan_of_level_thrust(burn_s, mean_mps2);
    plan.motors[0].propellant_mass_kg = 0.01;
    plan.motors[0].impulse_ns.sd = 0.05 * plan.motors[0].impulse_ns.value;
    // Predicted over true apogee. The made-up air is as thick all the way up: even level thrust, which is what is told, is off by a fifth.
    let over = |slope: f64, after_s: f64| {
        let thrust = |since: f64| {
            let x = since / burn_s;
            if (0.0..1.0).contains(&x) { mean_mps2 * (1.0 + slope * (1.0 - 2.0 * x)) } else { 0.0 }
        };
        let speeds = (0..).map(|i| climb_under(f64::from(i) * STEP_S, 4e-4, thrust));
        let flies = speeds.skip(((LIFTOFF_S + 0.2) / STEP_S) as usize).take_while(|v| *v > 0.0);
        let top_m: f64 = flies.map(|v| v * STEP_S).sum();
        let samples = flight_under(&plan, LIFTOFF_S + after_s, 0.0, false, 4e-4, thrust);
        let said = fly(&plan, &samples).prediction(0).expect("flying").apogee_height_m;
        assert!(said.p05 < top_m && top_m < said.p95, "{slope}, {after_s} s: {said:?} for {top_m}");
        said.p50 / top_m
    };
    for after_s in [1.0, 1.5, 2.0] {
        let level = over(0.0, after_s);
        for slope in [0.6, -0.6] {
            let off = over(slope, after_s) / level - 1.0;
            assert!(off.abs() < 0.08, "{slope}, {after_s} s: {off}");
        }
    }
}
