use proptest::prelude::*;

use super::*;

/// A reproducible stream of numbers in 0..1 (Numerical Recipes' 64-bit generator constants, from memory).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Exponential with a mean.
    fn delay(&mut self, mean_s: f64) -> f64 {
        -mean_s * libm::log(1.0 - self.next())
    }
}

fn ns(s: f64) -> i64 {
    libm::round(s * 1e9) as i64
}

#[test]
fn drift_is_found_and_taken_out() {
    for ppm in [-300.0, -40.0, 0.0, 100.0, 3000.0] {
        let mut clock = OnboardClock::new(None);
        let mut chance = Chance(7);
        let mut worst: f64 = 0.0;
        for step in 0..12_000 {
            let true_s = f64::from(step) * 0.05;
            let onboard_s = 17.0 + true_s * (1.0 - ppm * 1e-6);
            let timed = clock.hear(onboard_s, ns(1000.0 + true_s + chance.delay(0.02)));
            if true_s > 60.0 {
                worst = worst.max(libm::fabs(timed.t_measured_ns as f64 * 1e-9 - 1000.0 - true_s));
            }
        }
        assert!(worst < 0.01, "{ppm} ppm: {worst}");
        let drift = clock.drift().unwrap();
        assert!(libm::fabs(drift - ppm * 1e-6) < 30e-6, "{ppm} ppm: {drift}");
    }
}

#[test]
fn a_sixteen_bit_clock_runs_on_for_hours() {
    let mut clock = OnboardClock::new(Some(65.536));
    for step in 0..72_000 {
        let true_s = f64::from(step) * 0.1;
        let raw_s = libm::fmod(40.0 + true_s, 65.536);
        let timed = clock.hear(raw_s, ns(true_s + 0.01));
        assert_eq!((timed.boot, timed.arrival), (0, Arrival::Fresh), "at {true_s} s");
        assert!(libm::fabs(timed.onboard_s - 40.0 - true_s) < 1e-6);
    }
    // Half an hour of silence, and the count of wraps is still right.
    let timed = clock.hear(libm::fmod(40.0 + 9000.0, 65.536), ns(9000.01));
    assert!(libm::fabs(timed.onboard_s - 9040.0) < 1e-6);
}

#[test]
fn a_backward_jump_is_a_restart() {
    let mut clock = OnboardClock::new(Some(4_294_967.296));
    for step in 0..200 {
        clock.hear(500.0 + f64::from(step) * 0.05, ns(f64::from(step) * 0.05));
    }
    let timed = clock.hear(0.3, ns(11.0));
    assert_eq!((timed.arrival, timed.boot), (Arrival::Restarted, 1));
    assert_eq!(timed.t_measured_ns, ns(11.0));
    let timed = clock.hear(0.35, ns(11.05));
    assert_eq!((timed.arrival, timed.boot), (Arrival::Fresh, 1));
}

#[test]
fn a_restart_soon_after_the_start_needs_three_packets_and_one_late_packet_is_none() {
    let mut clock = OnboardClock::new(None);
    for step in 0..60 {
        clock.hear(f64::from(step) * 0.05, ns(f64::from(step) * 0.05));
    }
    assert_eq!(clock.hear(2.0, ns(2.96)).arrival, Arrival::Late);
    assert_eq!(clock.hear(3.0, ns(3.0)).arrival, Arrival::Fresh);
    let arrivals: Vec<Arrival> = (0..4)
        .map(|n| clock.hear(0.2 + f64::from(n) * 0.05, ns(3.3 + f64::from(n) * 0.05)).arrival)
        .collect();
    assert_eq!(arrivals, [Arrival::Late, Arrival::Late, Arrival::Restarted, Arrival::Fresh]);
}

#[test]
fn a_sixteen_bit_clock_shows_a_restart_too() {
    let mut clock = OnboardClock::new(Some(65.536));
    for step in 0..1000 {
        clock.hear(libm::fmod(f64::from(step) * 0.05, 65.536), ns(f64::from(step) * 0.05));
    }
    let timed = clock.hear(0.4, ns(50.5));
    assert_eq!((timed.arrival, timed.boot), (Arrival::Restarted, 1));
}

#[test]
fn a_backlog_that_comes_at_once_changes_nothing() {
    let mut clock = OnboardClock::new(None);
    for step in 0..2000 {
        clock.hear(100.0 + f64::from(step) * 0.05, ns(f64::from(step) * 0.05 + 0.01));
    }
    // The link hangs for 20 s and gives all of it in 50 ms.
    for step in 2000..2400 {
        let true_s = f64::from(step) * 0.05;
        let timed = clock.hear(100.0 + true_s, ns(120.0 + f64::from(step - 2000) * 0.0001));
        assert_eq!(timed.boot, 0, "{timed:?}");
        assert!(
            libm::fabs(timed.t_measured_ns as f64 * 1e-9 - true_s - 0.01) < 0.002,
            "{timed:?} for {true_s}"
        );
    }
    let timed = clock.hear(220.1, ns(120.11));
    assert!(libm::fabs(timed.t_measured_ns as f64 * 1e-9 - 120.11) < 0.002);
}

#[test]
fn a_burst_at_the_start_is_forgotten_once_a_quick_packet_comes() {
    let mut clock = OnboardClock::new(None);
    for step in 0..40 {
        clock.hear(10.0 + f64::from(step) * 0.05, ns(2.0 + f64::from(step) * 0.0001));
    }
    let late = (40..100)
        .map(|step| clock.hear(10.0 + f64::from(step) * 0.05, ns(f64::from(step) * 0.05 + 0.01)))
        .last();
    assert!(libm::fabs(late.unwrap().t_measured_ns as f64 * 1e-9 - 4.96) < 0.002);
}

#[test]
fn one_damaged_onboard_time_does_not_pull_the_clock_along() {
    let mut clock = OnboardClock::new(None);
    for step in 0..400 {
        clock.hear(100.0 + f64::from(step) * 0.05, ns(f64::from(step) * 0.05));
    }
    let odd = clock.hear(123.0, ns(20.0));
    assert!(odd.t_measured_ns <= ns(20.0));
    let timed = clock.hear(120.05, ns(20.05));
    assert!(libm::fabs(timed.t_measured_ns as f64 * 1e-9 - 20.05) < 0.002, "{timed:?}");
}

#[test]
fn the_spread_falls_as_packets_come() {
    let mut clock = OnboardClock::new(None);
    let mut chance = Chance(3);
    let first = clock.hear(0.0, ns(0.05)).sd_s;
    let later = (1..400)
        .map(|n| clock.hear(f64::from(n) * 0.05, ns(f64::from(n) * 0.05 + chance.delay(0.01))).sd_s)
        .last()
        .unwrap();
    assert!(first >= 0.1 && (0.005..0.01).contains(&later), "{first} {later}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn order_and_receipt_are_kept_whatever_comes(seed: u64, ppm in -500.0..500.0_f64, loss in 0.0..0.6_f64, rate in 2.0..100.0_f64) {
        let mut clock = OnboardClock::new(Some(65.536));
        let mut chance = Chance(seed);
        let mut last: Option<Timed> = None;
        let mut receive_s: f64 = 0.0;
        for step in 0..1500 {
            let true_s = f64::from(step) / rate;
            receive_s = receive_s.max(true_s + 0.004 + chance.delay(0.015));
            if chance.next() < loss {
                continue;
            }
            let raw_s = libm::fmod(20.0 + true_s * (1.0 + ppm * 1e-6), 65.536);
            let timed = clock.hear(raw_s, ns(receive_s));
            prop_assert_eq!(timed.boot, 0);
            prop_assert!(timed.t_measured_ns <= ns(receive_s));
            if let Some(last) = last {
                prop_assert!(timed.onboard_s > last.onboard_s);
                if true_s > 5.0 {
                    prop_assert!(timed.t_measured_ns > last.t_measured_ns, "{:?} {:?}", last, timed);
                }
            }
            if true_s > 60.0 {
                prop_assert!(libm::fabs(timed.t_measured_ns as f64 * 1e-9 - true_s) < 0.06, "{} {:?}", true_s, timed);
            }
            last = Some(timed);
        }
        let kept: OnboardClock = serde_json::from_str(&serde_json::to_string(&clock).unwrap()).unwrap();
        prop_assert_eq!(kept, clock);
    }

    #[test]
    fn nothing_panics(steps in prop::collection::vec((any::<f64>(), any::<i64>()), 0..50), modulus in prop::option::of(any::<f64>())) {
        let mut clock = OnboardClock::new(modulus);
        for (onboard_s, t_ns) in steps {
            let timed = clock.hear(onboard_s, t_ns / 4);
            prop_assert!(timed.sd_s >= 0.0 || timed.sd_s.is_nan() && !onboard_s.is_finite());
        }
    }
}
