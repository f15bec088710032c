//! What a crew did not tell, and senders that are silent or all there is: a flight is noticed, followed and not ended before its time.

use loftwatch_flight::{EventKind, Fix, Phase, Plan, Sample, Tracker, Velocity};

const PLAN: &str = include_str!("../../../tests/flights/straight/1/plan.json");
const LIFTOFF_S: f64 = 12.0;
const STEP_S: f64 = 0.05;
const BARE_PER_M: f64 = 4e-4;
const THRUST_MPS2: f64 = 62.0;
const BURN_S: f64 = 2.0;

/// What is sent, and how well.
#[derive(Clone, Copy)]
struct Board {
    pressure: bool,
    axial: bool,
    own: bool,
    /// A fix a second, from so many seconds after liftoff on and up to liftoff; none is sent between.
    fixes_from_s: Option<f64>,
    noise_pa: f64,
    /// What the pressure is off from the told one, Pa.
    weather_pa: f64,
    /// How late the vehicle's own figures are, s.
    own_lag_s: f64,
    /// Whether a packet is heard, by seconds since liftoff.
    heard: fn(f64) -> bool,
}

const PRESSURE: Board = Board {
    pressure: true,
    axial: false,
    own: false,
    fixes_from_s: None,
    noise_pa: 6.0,
    weather_pa: 0.0,
    own_lag_s: 0.0,
    heard: |_| true,
};

/// Straight up from one second after another; true height and climb beside every sample. A canopy that falls at 6 m/s opens at once
/// one second after apogee, and again what is felt is weight.
struct Flight {
    t_s: f64,
    h: f64,
    v: f64,
    felt: f64,
    burn_s: f64,
    past: Vec<(f64, f64, f64)>,
    opened: bool,
}

impl Flight {
    fn new(burn_s: f64) -> Self {
        Self { t_s: 0.0, h: 0.0, v: 0.0, felt: 9.8, burn_s, past: Vec::new(), opened: false }
    }

    fn step(&mut self) {
        let since = self.t_s - LIFTOFF_S;
        for _ in 0..20 {
            if since < 0.0 {
                break;
            }
            let thrust = if since < self.burn_s { THRUST_MPS2 * BURN_S / self.burn_s } else { 0.0 };
            self.opened |= self.v < -9.8;
            let k = if self.opened { 9.8 / 36.0 } else { BARE_PER_M };
            self.felt = thrust - k * self.v * self.v.abs();
            self.v += (self.felt - 9.8) * STEP_S / 20.0;
            self.h += self.v * STEP_S / 20.0;
            if self.h < 0.0 && self.opened {
                (self.h, self.v, self.felt) = (0.0, 0.0, 9.8);
            }
        }
        self.past.push((self.t_s, self.h, self.v));
        self.t_s += STEP_S;
    }

    fn ago(&self, lag_s: f64) -> (f64, f64) {
        let at = self.past.iter().rev().find(|p| p.0 <= self.t_s - STEP_S - lag_s);
        at.map_or((0.0, 0.0), |p| (p.1, p.2))
    }

    fn sample(&self, plan: &Plan, board: Board) -> Sample {
        let t = self.t_s - STEP_S;
        let i = (t / STEP_S) as u32;
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let scale_m = 287.053 * plan.weather.temperature_k / 9.8;
        let own = self.ago(board.own_lag_s);
        let since = t - LIFTOFF_S;
        let fixed = board.fixes_from_s.filter(|from| i.is_multiple_of(20) && (since < 0.0 || since > *from));
        Sample {
            body: 0,
            t_s: t,
            t_sd_s: 0.005,
            t_receive_s: t + 0.05,
            boot: 0,
            pressure_pa: board.pressure.then(|| {
                plan.weather.pressure_pa * libm::exp(-self.h / scale_m)
                    + board.weather_pa
                    + 3.46 * board.noise_pa * noise(1)
            }),
            axial_mps2: board.axial.then(|| self.felt + 0.4 * noise(2)),
            lateral_mps2: None,
            fix: fixed.map(|_| Fix {
                latitude_rad: plan.site.latitude_rad,
                longitude_rad: plan.site.longitude_rad,
                height_amsl_m: Some(plan.site.elevation_m + self.h + 3.0 * noise(3)),
                horizontal_sd_m: None,
                vertical_sd_m: None,
            }),
            velocity: fixed
                .map(|_| Velocity { horizontal_mps: Some([0.0; 2]), up_mps: Some(self.v + noise(4)) }),
            tilt_rad: None,
            own_height_m: board.own.then_some(own.0),
            own_climb_mps: board.own.then_some(own.1),
        }
    }
}

fn plan() -> Plan {
    let mut plan: Plan = serde_json::from_str(PLAN).expect("a committed plan");
    plan.bodies.truncate(1);
    let motor = &mut plan.motors[0];
    motor.curve.clear();
    motor.burn_time_s = BURN_S;
    motor.impulse_ns.value = THRUST_MPS2 * BURN_S * plan.vehicle.liftoff_mass_kg.value;
    motor.propellant_mass_kg = 0.01;
    plan
}

/// Flies until `until` says so, given true flight and tracker; gives both.
fn fly(
    plan: &Plan,
    board: Board,
    burn_s: f64,
    until: impl Fn(&Flight, &Tracker) -> bool,
) -> (Flight, Tracker) {
    let mut flight = Flight::new(burn_s);
    let mut tracker = Tracker::new(plan, 0.0);
    for _ in 0..4000 {
        flight.step();
        if (board.heard)(flight.t_s - STEP_S - LIFTOFF_S) {
            tracker.take(&flight.sample(plan, board));
        }
        tracker.advance(flight.t_s);
        if until(&flight, &tracker) {
            return (flight, tracker);
        }
    }
    panic!("never");
}

fn phase(tracker: &Tracker) -> Phase {
    tracker.estimate(0).map_or(Phase::Waiting, |e| e.phase)
}

#[test]
fn a_canopy_that_nobody_told_of_is_no_ground() {
    let mut plan = plan();
    plan.bodies[0].descents.clear();
    plan.cues.clear();
    for board in [PRESSURE, Board { noise_pa: 15.0, ..PRESSURE }, Board { axial: true, ..PRESSURE }] {
        let (flight, _) = fly(&plan, board, BURN_S, |_, t| phase(t) == Phase::Down);
        assert!(flight.h < 1.0, "down at {} m", flight.h);
    }
}

#[test]
fn a_noisy_barometer_in_weather_that_nobody_told_of_joins_no_flight_on_the_pad() {
    let plan = plan();
    for weather_pa in [-1100.0, -600.0, 800.0] {
        let board = Board { noise_pa: 30.0, weather_pa, ..PRESSURE };
        for board in [board, Board { axial: true, ..board }] {
            let (flight, _) = fly(&plan, board, BURN_S, |f, t| f.v > 20.0 || phase(t) != Phase::Waiting);
            assert!(flight.v > 0.0, "off the pad at {} s", flight.t_s - LIFTOFF_S);
        }
    }
}

#[test]
fn the_vehicles_own_height_alone_lifts_off_and_its_lag_is_no_speed() {
    let plan = plan();
    let board = Board { pressure: false, own: true, own_lag_s: 0.3, ..PRESSURE };
    let (_, tracker) =
        fly(&plan, board, BURN_S, |f, t| phase(t) != Phase::Waiting || f.t_s > LIFTOFF_S + 2.0);
    assert_eq!(phase(&tracker), Phase::Powered);
    let board = Board { axial: true, ..board };
    let (flight, tracker) = fly(&plan, board, BURN_S, |f, _| f.t_s > LIFTOFF_S + BURN_S + 0.5);
    let climb = tracker.estimate(0).expect("aloft").climb_mps;
    assert!(climb.p05 < flight.v && flight.v < climb.p95, "{climb:?} {}", flight.v);
}

#[test]
fn a_receiver_that_comes_back_high_up_shows_the_flight() {
    let plan = plan();
    let fixes = |from_s: f64| Board { pressure: false, fixes_from_s: Some(from_s), ..PRESSURE };
    // In the climb, and when it falls already.
    let (flight, tracker) = fly(&plan, fixes(4.0), BURN_S, |f, t| phase(t) != Phase::Waiting || f.v < 0.0);
    assert_eq!(phase(&tracker), Phase::Coasting, "at {} s", flight.t_s - LIFTOFF_S);
    let (flight, tracker) =
        fly(&plan, fixes(14.0), BURN_S, |f, t| phase(t) != Phase::Waiting || f.h < 50.0 && f.opened);
    assert_eq!(phase(&tracker), Phase::Descending, "at {} m", flight.h);
    let found = tracker.estimate(0).expect("aloft").height_m.p50;
    assert!((found - flight.h).abs() < 30.0, "{found} {}", flight.h);
}

#[test]
fn what_is_heard_between_silences_aloft_moves_no_zero() {
    // Silent over liftoff, two packets, silence again: the zero must not have learnt from those.
    let heard = |since: f64| {
        since < -1.0 || [2.0, 2.6].iter().any(|t| (since - t).abs() < 0.5 * STEP_S) || since > 5.5
    };
    let plan = plan();
    for board in [Board { axial: true, heard, ..PRESSURE }, Board { heard, ..PRESSURE }] {
        let (flight, tracker) = fly(&plan, board, BURN_S, |f, t| {
            f.v < 0.0 || (f.t_s > LIFTOFF_S + 7.0 && phase(t) != Phase::Waiting)
        });
        assert_ne!(phase(&tracker), Phase::Waiting, "{} s after liftoff", flight.t_s - LIFTOFF_S);
        let found = tracker.estimate(0).expect("aloft").height_m.p50;
        assert!((found / flight.h - 1.0).abs() < 0.05, "{found} {}", flight.h);
    }
}

#[test]
fn an_impulse_is_not_spent_twice_where_nobody_told_the_burn_time() {
    let mut plan = plan();
    let after = |plan: &Plan, burn_s: f64| {
        let (flight, tracker) = fly(plan, PRESSURE, burn_s, |f, _| f.t_s > LIFTOFF_S + burn_s + 0.5);
        let mut cues = Vec::new();
        (flight, tracker.foresee(0, &mut cues).expect("aloft").apogee_height_m)
    };
    // Three times the thrust for a third of the time.
    let (flight, told) = after(&plan, BURN_S / 3.0);
    plan.motors[0].burn_time_ln_sd = 0.4;
    let (_, untold) = after(&plan, BURN_S / 3.0);
    let (real, _) = fly(&plan, PRESSURE, BURN_S / 3.0, |f, _| f.v < 0.0);
    let off = |p50: f64| (p50 / real.h - 1.0).abs();
    assert!(
        off(untold.p50) < 0.35 && off(untold.p50) < 0.5 * off(told.p50),
        "{} {told:?} {untold:?}",
        real.h
    );
    assert!(untold.p05 < real.h && real.h < untold.p95, "{} {untold:?} at {} m", real.h, flight.h);
}

#[test]
fn a_temperature_that_nobody_told_makes_heights_vaguer() {
    let mut plan = plan();
    let width = |plan: &Plan| {
        let (_, tracker) = fly(plan, PRESSURE, BURN_S, |f, _| f.v < 20.0 && f.h > 100.0);
        let h = tracker.estimate(0).expect("aloft").height_m;
        (h.p95 - h.p05) / h.p50
    };
    let told = width(&plan);
    plan.weather.temperature_sd_k = 12.0;
    let untold = width(&plan);
    // 12 K of 288 are 4 % of the air; thrust and drag know some of it better.
    assert!(told < 0.03 && untold > 2.0 * told, "{told} {untold}");
}

#[test]
fn events_are_dated_by_what_is_heard() {
    let plan = plan();
    let mut events = Vec::new();
    let (_, mut tracker) =
        fly(&plan, Board { axial: true, ..PRESSURE }, BURN_S, |_, t| phase(t) == Phase::Down);
    tracker.drain_events(&mut events);
    let at =
        |kind: EventKind| events.iter().rfind(|e| e.kind == kind && !e.withdrawn).map(|e| e.t_s - LIFTOFF_S);
    assert!(at(EventKind::Liftoff).expect("lifted off").abs() < 0.15);
    assert!((at(EventKind::Burnout).expect("burnt out") - BURN_S).abs() < 0.2);
}
