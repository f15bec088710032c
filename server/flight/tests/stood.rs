//! A vehicle that stands in its rail at an angle nobody told: its own sensors say so on the pad.

mod thrown;

use loftwatch_flight::{Estimate, Phase, Plan, Told, Tracker};
use thrown::{LIFTOFF_S, fix, nothing, plan};

const STEP_S: f64 = 0.05;
const FINE: u32 = 10;
const BURN_S: f64 = 2.0;
const THRUST_MPS2: f64 = 90.0;
const DRAG_PER_M: f64 = 4e-4;
const RAIL_M: f64 = 4.0;

/// How the vehicle tells that it stands aslant.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Board {
    /// One axis: not at all.
    Axial,
    Axes,
    /// Three axes with an offset on one of them: more than 1 g in all.
    AxesOff,
    Tilt,
    /// One axis, and a receiver that sends a place five times a second, and is this late, s.
    Places(f64),
}

fn plan_of_an_untold_lean() -> Plan {
    let mut plan = plan();
    plan.bodies.truncate(1);
    plan.cues.clear();
    let v = &mut plan.vehicle;
    v.rail_length_m = RAIL_M;
    v.rail_tilt_rad = 0.0;
    v.rail_azimuth_rad = None;
    v.lean_sd_rad = 0.06;
    plan.weather.wind_mps = Told { value: 1.0, sd: 1.0 };
    let motor = &mut plan.motors[0];
    motor.curve.clear();
    motor.burn_time_s = BURN_S;
    motor.propellant_mass_kg = 0.01;
    motor.impulse_ns = Told { value: THRUST_MPS2 * v.liftoff_mass_kg.value * BURN_S, sd: 20.0 };
    plan
}

/// What is said a second before apogee, and the true speed over ground then, m/s, which is the airspeed: there is no wind. The rail leans,
/// and the board reads what it reads.
fn before_apogee(plan: &Plan, leans_rad: f64, reads_rad: f64, board: Board) -> (Estimate, f64) {
    let scale_m = 287.053 * plan.weather.temperature_k / 9.8;
    let mut tracker = Tracker::new(plan, 0.0);
    let (mut at, mut v) = ([0.0f64; 2], [0.0f64; 2]);
    let mut been = Vec::new();
    for i in 0..800u32 {
        let t = f64::from(i) * STEP_S;
        let since = t - LIFTOFF_S;
        let (mut along, mut across) = (9.8 * libm::cos(reads_rad), 9.8 * libm::sin(reads_rad));
        if since >= 0.0 {
            for _ in 0..FINE {
                let dt = STEP_S / f64::from(FINE);
                let speed = libm::hypot(v[0], v[1]);
                let free = libm::hypot(at[0], at[1]) > RAIL_M;
                let nose = if free { libm::atan2(v[0], v[1]) } else { leans_rad };
                let thrust = if since < BURN_S { THRUST_MPS2 } else { 0.0 };
                along = thrust - DRAG_PER_M * libm::exp(-at[1] / scale_m) * speed * speed;
                across = 0.0;
                let held = if free { 0.0 } else { 9.8 * libm::sin(leans_rad) };
                v[0] += (along * libm::sin(nose) - held * libm::cos(nose)) * dt;
                v[1] += (along * libm::cos(nose) + held * libm::sin(nose) - 9.8) * dt;
                if !free {
                    let speed = v[0] * libm::sin(leans_rad) + v[1] * libm::cos(leans_rad);
                    v = [speed * libm::sin(leans_rad), speed * libm::cos(leans_rad)];
                }
                at[0] += v[0] * dt;
                at[1] += v[1] * dt;
            }
        }
        let noise = |k: u32| f64::from((i * 7919 + k * 104_729) % 1000) / 1000.0 - 0.5;
        let mut s = nothing(t);
        s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-at[1] / scale_m) + 6.0 * noise(1));
        s.axial_mps2 = Some(along + 0.4 * noise(2));
        if matches!(board, Board::Axes | Board::AxesOff) {
            let off = if board == Board::AxesOff { 4.0 } else { 0.0 };
            s.lateral_mps2 = Some([across + 0.4 * noise(3), off + 0.4 * noise(4)]);
        }
        if board == Board::Tilt {
            s.tilt_rad = (since < 0.0).then_some(reads_rad);
        }
        been.push(at);
        if let (Board::Places(late_s), true) = (board, i.is_multiple_of(4)) {
            let [east, up] = been[been.len().saturating_sub(1 + (late_s / STEP_S) as usize)];
            s.fix = Some(fix(plan, east + noise(5), up + 2.0 * noise(6)));
        }
        tracker.take(&s);
        if since > BURN_S && v[1] < 9.8 {
            let e = tracker.estimate(0).expect("flying");
            assert_eq!(e.phase, Phase::Coasting);
            return (e, v[0]);
        }
    }
    unreachable!("it comes to its apogee");
}

#[test]
fn a_lean_that_is_heard_on_the_pad_is_flown_by() {
    let plan = plan_of_an_untold_lean();
    for leans_deg in [14.0f64, 24.0] {
        let leans_rad = leans_deg.to_radians();
        for board in [Board::Axes, Board::Tilt] {
            let (said, truth) = before_apogee(&plan, leans_rad, leans_rad, board);
            let said = said.ground_speed_mps;
            assert!(said.p05 < truth && truth < said.p95, "{leans_deg} {board:?}: {said:?} for {truth}");
            assert!((said.p50 / truth - 1.0).abs() < 0.25, "{leans_deg} {board:?}: {said:?} for {truth}");
        }
    }
    let leans_rad = 24f64.to_radians();
    let (unheard, truth) = before_apogee(&plan, leans_rad, leans_rad, Board::Axial);
    let unheard = unheard.ground_speed_mps;
    assert!(unheard.p50 < 0.75 * truth, "there is something to hear: {unheard:?} for {truth}");
}

/// One axis takes an untold lean on the pad for an offset, and places seem to come from nowhere in it: they are believed in all the same, with
/// the speed that they go at and by how late they are, and the offset is doubted, so that drag tells the airspeed.
#[test]
fn a_lean_that_only_places_show_is_flown_by_once_they_do() {
    let plan = plan_of_an_untold_lean();
    for leans_deg in [16.0f64, 26.0] {
        for late_s in [0.2, 0.55] {
            let leans_rad = leans_deg.to_radians();
            let (said, truth) = before_apogee(&plan, leans_rad, leans_rad, Board::Places(late_s));
            let case = format!("{leans_deg} deg, {late_s} s late: {said:?} for {truth}");
            let (ground, air) = (said.ground_speed_mps, said.airspeed_mps);
            assert!((ground.p50 / truth - 1.0).abs() < 0.1, "{case}");
            assert!(air.p05 < truth && truth < air.p95, "{case}");
        }
    }
}

#[test]
fn offsets_that_look_like_a_lean_are_not_one() {
    let plan = plan_of_an_untold_lean();
    let (plain, _) = before_apogee(&plan, 0.02, 0.02, Board::Axial);
    let (off, _) = before_apogee(&plan, 0.02, 0.02, Board::AxesOff);
    let (off, plain) = (off.ground_speed_mps, plain.ground_speed_mps);
    assert!((off.p95 - plain.p95).abs() < 0.1 * plain.p95 + 1.0, "{off:?} {plain:?}");
}

/// In a told azimuth it may be the board that is mounted aslant.
#[test]
fn a_board_askew_in_a_told_rail_only_makes_a_straight_flight_less_certain() {
    let mut plan = plan_of_an_untold_lean();
    plan.vehicle.rail_azimuth_rad = Some(1.0);
    let (level, _) = before_apogee(&plan, 0.02, 0.0, Board::Tilt);
    let (askew, _) = before_apogee(&plan, 0.02, 0.25, Board::Tilt);
    let (level, askew) = (level.ground_speed_mps, askew.ground_speed_mps);
    assert!(askew.p95 > level.p95 && askew.p50 < 1.5 * level.p50, "{askew:?} {level:?}");
}

/// What it hears on the pad counts before liftoff, too.
#[test]
fn the_nominal_flight_stands_as_the_vehicle_does() {
    let plan = plan_of_an_untold_lean();
    let foreseen = |reads_rad: f64| {
        let mut tracker = Tracker::new(&plan, 0.0);
        for i in 0..200u32 {
            let mut s = nothing(f64::from(i) * STEP_S);
            s.pressure_pa = Some(plan.weather.pressure_pa);
            s.tilt_rad = Some(reads_rad);
            tracker.take(&s);
        }
        tracker.advance(10.0);
        tracker.prediction(0).expect("a nominal flight")
    };
    let (upright, leans) = (foreseen(0.01), foreseen(24f64.to_radians()));
    assert!(leans.ground_speed_at_apogee_mps.p50 > 2.0 * upright.ground_speed_at_apogee_mps.p50, "{leans:?}");
    assert!(leans.apogee_height_m.p50 < 0.97 * upright.apogee_height_m.p50, "{leans:?}");
}
