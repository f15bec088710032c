//! What must hold whatever is measured: figures stay finite and in order, grouping and doubling of packets change
//! nothing, late packets end in the same place, and a mirrored wind gives the mirrored flight.

mod thrown;

use loftwatch_flight::{Area, Estimate, Fix, Quantiles, Sample, Tracker, Velocity, smoothed};
use proptest::prelude::*;
use thrown::*;

fn in_order(q: &Quantiles) -> bool {
    let all = [q.p05, q.p25, q.p50, q.p75, q.p95];
    all.iter().all(|v| v.is_finite()) && all.windows(2).all(|w| w[0] <= w[1])
}

/// Everything that a tracker says now is finite and in order.
fn check_sound(tracker: &Tracker) {
    if let Some(e) = tracker.estimate(0) {
        for q in [&e.height_m, &e.climb_mps, &e.airspeed_mps, &e.ground_speed_mps, &e.drag_k_per_m] {
            assert!(in_order(q), "{e:?}");
        }
        assert!(e.lean_rad.as_ref().is_none_or(in_order), "{e:?}");
        assert!(e.mach.is_finite() && e.dynamic_pressure_pa >= 0.0 && e.carried_s >= 0.0, "{e:?}");
        assert!(e.position_radius_m.is_none_or(|r| r.is_finite() && r >= 0.0), "{e:?}");
    }
    if let Some(p) = tracker.prediction(0) {
        for q in [&p.apogee_height_m, &p.apogee_t_s, &p.airspeed_at_apogee_mps, &p.ground_speed_at_apogee_mps]
        {
            assert!(in_order(q), "{p:?}");
        }
    }
    let mut landings = Vec::new();
    tracker.landings(0, &mut landings);
    for l in &landings {
        assert!(in_order(&l.landing_t_s) && in_order(&l.descent_mps), "{l:?}");
        match &l.area {
            Area::Ellipse { centre_m, covariance_m2: [xx, xy, yy] } => {
                assert!(centre_m.iter().all(|c| c.is_finite()), "{l:?}");
                assert!(*xx >= 0.0 && *yy >= 0.0 && xx * yy - xy * xy >= -1e-6 * xx * yy, "{l:?}");
            }
            Area::Ring { radius_m, .. } => assert!(in_order(radius_m), "{l:?}"),
        }
    }
    let mut cues = Vec::new();
    tracker.cues(&mut cues);
    for c in &cues {
        assert!(in_order(&c.cue_t_s) && in_order(&c.airspeed_mps), "{c:?}");
    }
}

/// Any number, and often one that means harm.
fn any_value() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(f64::NEG_INFINITY),
        Just(0.0),
        -1e6..1e6f64,
        -100.0..100.0f64,
    ]
}

prop_compose! {
    fn any_sample()(at in 0usize..250, v in prop::collection::vec(prop::option::of(any_value()), 12), boot in 0u32..3, late in -6.0..3.0f64, sd in any_value()) -> (usize, Sample) {
        let mut s = nothing(at as f64 * STEP_S + late);
        s.t_receive_s = at as f64 * STEP_S + 0.06;
        s.boot = boot;
        s.t_sd_s = sd;
        s.pressure_pa = v[0];
        s.axial_mps2 = v[1];
        s.fix = v[2].zip(v[3]).map(|(latitude_rad, longitude_rad)| Fix {
            latitude_rad,
            longitude_rad,
            height_amsl_m: v[4],
            horizontal_sd_m: v[5],
            vertical_sd_m: v[6],
        });
        s.velocity = Some(Velocity { horizontal_mps: v[7].zip(v[8]).map(|(e, n)| [e, n]), up_mps: v[9] });
        s.tilt_rad = v[10];
        s.own_height_m = v[11];
        s.own_climb_mps = v[4];
        (at, s)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nothing_measured_makes_nonsense(wild in prop::collection::vec(any_sample(), 1..25), gnss in any::<bool>()) {
        let plan = plan();
        let mut tracker = Tracker::new(&plan, 0.0);
        for (i, s) in flight(&plan, 26.0, 4.0, gnss).iter().enumerate() {
            tracker.take(s);
            for (_, w) in wild.iter().filter(|(at, _)| *at == i) {
                tracker.take(w);
                check_sound(&tracker);
            }
            if i % 40 == 0 {
                check_sound(&tracker);
            }
        }
        check_sound(&tracker);
    }

    #[test]
    fn looking_and_doubling_change_nothing(looks in prop::collection::vec(0usize..180, 0..30), twice in prop::collection::vec(0usize..180, 0..30)) {
        let plan = plan();
        let samples = flight(&plan, 18.0, 4.0, true);
        let mut plain = fly(&plan, &samples);
        let mut other = Tracker::new(&plan, 0.0);
        for (i, s) in samples.iter().enumerate() {
            other.take(s);
            if looks.contains(&i) {
                other.advance(s.t_s + 0.04);
                let _ = other.prediction(0);
            }
            if twice.contains(&i) {
                other.take(&Sample { t_receive_s: s.t_receive_s + 0.3, ..*s });
            }
        }
        plain.advance(18.2);
        other.advance(18.2);
        prop_assert_eq!(plain.estimate(0), other.estimate(0));
        prop_assert_eq!(plain.prediction(0), other.prediction(0));
    }

    #[test]
    fn late_packets_end_in_the_same_place(late in prop::collection::vec((0usize..160, 1usize..18), 0..20)) {
        let plan = plan();
        let samples = flight(&plan, 18.0, 4.0, true);
        let plain = fly(&plan, &samples);
        // Each of these comes some places later.
        let mut order: Vec<usize> = (0..samples.len()).collect();
        for (at, by) in late {
            let s = order.remove(at);
            order.insert((at + by).min(samples.len() - 1), s);
        }
        let shuffled: Vec<Sample> = order.iter().map(|i| samples[*i]).collect();
        let other = fly(&plan, &shuffled);
        let (a, b) = (plain.estimate(0).unwrap(), other.estimate(0).unwrap());
        prop_assert_eq!(a, b);
    }
}

/// Mirrors east and west; the earth's turning is not mirrored, which is worth some metres at most here.
#[test]
fn mirrored_wind_gives_the_mirrored_flight() {
    let east = plan();
    let mut west = east.clone();
    west.weather.wind_from_rad = -west.weather.wind_from_rad;
    west.vehicle.rail_azimuth_rad = west.vehicle.rail_azimuth_rad.map(|a| -a);
    let a = fly(&east, &flight(&east, 20.0, 6.0, true));
    let b = fly(&west, &flight(&west, 20.0, -6.0, true));
    let (ea, eb) = (a.estimate(0).unwrap(), b.estimate(0).unwrap());
    assert!((ea.height_m.p50 - eb.height_m.p50).abs() < 1.0, "{ea:?} {eb:?}");
    let (va, vb) = (ea.east_north_mps.unwrap(), eb.east_north_mps.unwrap());
    assert!((va[0] + vb[0]).abs() < 0.7 && (va[1] - vb[1]).abs() < 0.7, "{va:?} {vb:?}");
    assert!(va[0] > 5.0, "it was pushed east: {va:?}");
    let (mut la, mut lb) = (Vec::new(), Vec::new());
    a.landings(0, &mut la);
    b.landings(0, &mut lb);
    let centre = |l: &[loftwatch_flight::Landing]| match l[0].area {
        Area::Ellipse { centre_m, .. } | Area::Ring { centre_m, .. } => centre_m,
    };
    let (ca, cb) = (centre(&la), centre(&lb));
    assert!((ca[0] + cb[0]).abs() < 12.0 && (ca[1] - cb[1]).abs() < 12.0, "{ca:?} {cb:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn hindsight_is_sound_whatever_was_measured(wild in prop::collection::vec(any_sample(), 0..60)) {
        let plan = plan();
        let mut samples = flight(&plan, 24.0, 2.0, true);
        for (at, s) in wild {
            samples.insert(at.min(samples.len()), s);
        }
        let mut last = f64::NEG_INFINITY;
        for (body, e) in smoothed(&plan, &samples, &[]) {
            prop_assert_eq!(body, 0);
            prop_assert!(e.t_s >= last, "{} after {}", e.t_s, last);
            last = e.t_s;
            for q in [&e.height_m, &e.climb_mps, &e.airspeed_mps, &e.ground_speed_mps, &e.drag_k_per_m] {
                prop_assert!(in_order(q), "{:?}", e);
            }
        }
    }

    #[test]
    fn hindsight_does_not_mind_the_order_of_arrival(swaps in prop::collection::vec((0usize..200, 1usize..12), 0..40)) {
        let plan = plan();
        let samples = flight(&plan, 20.0, 2.0, true);
        let mut mixed = samples.clone();
        for (at, by) in swaps {
            let to = (at + by).min(mixed.len() - 1);
            let (a, b) = (mixed[at].t_receive_s, mixed[to].t_receive_s);
            mixed[at].t_receive_s = b.max(mixed[at].t_s + 0.01);
            mixed[to].t_receive_s = a.max(mixed[to].t_s + 0.01);
        }
        mixed.sort_by(|a, b| a.t_receive_s.total_cmp(&b.t_receive_s));
        let by_time = |path: Vec<(usize, Estimate)>| path.into_iter().map(|(_, e)| (e.t_s, e.height_m)).collect::<Vec<_>>();
        prop_assert_eq!(by_time(smoothed(&plan, &samples, &[])), by_time(smoothed(&plan, &mixed, &[])));
    }
}
