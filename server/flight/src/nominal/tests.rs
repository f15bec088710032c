//! Drawn flights against closed forms.

use super::*;
use crate::plan::{
    Body, Cue, CueKind, Descent, DescentState, Limit, LimitOf, Motor, Site, Told, Trigger, Vehicle, Weather,
};

fn told(value: f64, sd: f64) -> Told {
    Told { value, sd }
}

/// A small, slow vehicle at sea level: over its few metres of height the air has one density.
pub(crate) fn plan() -> Plan {
    let drag = told(0.6, 0.15);
    Plan {
        site: Site { latitude_rad: 0.8, longitude_rad: 0.1, elevation_m: 0.0, geoid_m: 0.0 },
        weather: Weather {
            pressure_pa: 101_325.0,
            temperature_k: 288.15,
            temperature_sd_k: 0.0,
            wind_mps: told(0.0, 1.0),
            wind_from_rad: 0.0,
            wind_height_m: 10.0,
        },
        vehicle: Vehicle {
            liftoff_mass_kg: told(10.0, 0.3),
            diameter_m: 0.15,
            drag_coefficient: drag,
            rail_length_m: 3.0,
            rail_tilt_rad: 0.0,
            rail_azimuth_rad: Some(0.0),
            lean_sd_rad: 0.1,
        },
        motors: vec![Motor {
            impulse_ns: told(500.0, 35.0),
            burn_time_s: 1.0,
            burn_time_ln_sd: 0.0,
            propellant_mass_kg: 1e-6,
            curve: vec![],
            ignition_after_burnout_s: told(0.0, 0.0),
            dropped_mass_kg: 0.0,
            drag_coefficient: drag,
            diameter_m: 0.15,
        }],
        bodies: vec![Body {
            name: "vehicle".into(),
            parent: None,
            freed_by: None,
            has_transmitter: true,
            mass_kg: told(10.0, 0.3),
            bare_drag_area_m2: told(0.0106, 0.003),
            descents: vec![Descent { state: DescentState::Main, cue: 0, drag_area_m2: told(4.0, 0.6) }],
        }],
        cues: vec![
            Cue {
                name: "chute".into(),
                kind: CueKind::Chute,
                body: 0,
                trigger: Trigger::AfterApogee(0.5),
                delay_s: told(0.1, 0.05),
                limit: Some(Limit { of: LimitOf::Airspeed, value: 20.0, from: "test".into() }),
                mass_kg: 10.0,
            },
            Cue {
                name: "camera".into(),
                kind: CueKind::Release,
                body: 0,
                trigger: Trigger::ClimbRateBelow(15.0),
                delay_s: told(0.0, 0.05),
                limit: None,
                mass_kg: 1.0,
            },
        ],
    }
}

/// Vertical coast with quadratic drag at one density (textbook closed form): k = rho Cd A / (2 m),
/// h = ln(1 + k v^2 / g) / (2 k), t = atan(v sqrt(k / g)) / sqrt(k g).
#[test]
fn coast_is_the_closed_form() {
    let flights = Flights::of(&plan());
    let flown = flights.nominal();
    let (out, top) = (flown.burnouts[0], flown.apogee.unwrap());
    let g = flights.gravity_mps2();
    let k = flights.density_kg_m3(out.height_m + 0.5 * (top.height_m - out.height_m))
        * 0.6
        * core::f64::consts::FRAC_PI_4
        * 0.15
        * 0.15
        / 20.0;
    let v = out.velocity_mps[2];
    let h = libm::log(1.0 + k * v * v / g) / (2.0 * k);
    let t = libm::atan(v * libm::sqrt(k / g)) / libm::sqrt(k * g);
    assert!((top.height_m - out.height_m - h).abs() < 0.02, "{} {h}", top.height_m - out.height_m);
    assert!((top.t_s - out.t_s - t).abs() < 0.002, "{} {t}", top.t_s - out.t_s);
}

/// Constant acceleration along the rail: v^2 = 2 a L with a = T/m - g; drag at these speeds is a thousandth of it.
#[test]
fn speed_off_the_rail_is_the_closed_form() {
    let flights = Flights::of(&plan());
    let flown = flights.nominal();
    let exit = flown.rail_exit.unwrap();
    let g = flights.gravity_mps2();
    let v = libm::sqrt(2.0 * (50.0 - g) * 3.0);
    assert!((exit.speed_mps / v - 1.0).abs() < 2e-3, "{} {v}", exit.speed_mps);
    assert!((flown.thrust_to_weight[0] - 50.0 / g).abs() < 1e-3, "{:?}", flown.thrust_to_weight);
    assert!((flown.thrust_to_weight[1] - 50.0 / g).abs() < 1e-3);
}

/// m g = 1/2 rho v^2 Cd A.
#[test]
fn landing_under_a_chute_is_at_the_terminal_speed_and_drifts_with_the_wind() {
    let mut told_plan = plan();
    told_plan.weather.wind_mps.value = 4.0;
    told_plan.weather.wind_from_rad = 1.5 * core::f64::consts::PI;
    let flights = Flights::of(&told_plan);
    let flown = flights.nominal();
    let landed = flown.landings[0].unwrap();
    let v = libm::sqrt(2.0 * 10.0 * flights.gravity_mps2() / (flights.density_kg_m3(0.0) * 4.0));
    assert!((landed.speed_mps / v - 1.0).abs() < 0.01, "{} {v}", landed.speed_mps);
    assert_eq!(flown.settled.len(), 1);
    let opened = flown.cues[0].unwrap();
    let drift = landed.east_north_m[0] - opened.east_north_m[0];
    let fell_s = landed.t_s - opened.t_s;
    // The power law's wind between 2 m and the opening is between these two.
    assert!(drift > 3.2 * fell_s && drift < 6.5 * fell_s, "{drift} in {fell_s}");
    let bare = flown.bare.unwrap();
    assert!(bare.speed_mps > 3.0 * landed.speed_mps && bare.t_s < landed.t_s);
}

/// Near apogee climb is g times the time to go, within what drag takes: 1/3 k v^2 of it.
#[test]
fn a_cue_by_climb_rate_comes_its_share_of_a_second_before_apogee() {
    let flights = Flights::of(&plan());
    let flown = flights.nominal();
    let (cue, top) = (flown.cues[1].unwrap(), flown.apogee.unwrap());
    assert!((cue.velocity_mps[2] - 15.0).abs() < 0.02, "{cue:?}");
    assert!((top.t_s - cue.t_s - 15.0 / flights.gravity_mps2()).abs() < 0.02, "{}", top.t_s - cue.t_s);
    assert!((flown.cues[0].unwrap().t_s - top.t_s - 0.6).abs() < 1e-3);
}

#[test]
fn drawn_flights_spread_as_told_and_are_the_same_every_time() {
    let flights = Flights::of(&plan());
    assert_eq!(flights.drawn(7, 3), flights.drawn(7, 3));
    assert_ne!(flights.drawn(7, 3), flights.drawn(7, 4));
    let all: Vec<Flown> = (0..600).map(|n| flights.drawn(1, n)).collect();
    let first = |f: &Flown| f.thrust_to_weight[1];
    let n = all.len() as f64;
    let mean = all.iter().map(first).sum::<f64>() / n;
    let sd = libm::sqrt(all.iter().map(|f| (first(f) - mean) * (first(f) - mean)).sum::<f64>() / n);
    // Impulse 7 %, mass 3 %, burn time 9 %: 11.8 % together.
    assert!((0.095..0.14).contains(&(sd / mean)), "{}", sd / mean);
    // Told: the lean at burnout spreads by 0.1 on each axis, so its mean square is twice 0.01; gusts add to it.
    let lean2 = all.iter().map(|f| f.burnouts[0].lean_rad()).map(|l| l * l).sum::<f64>() / n;
    assert!((0.018..0.032).contains(&lean2), "{lean2}");
}

#[test]
fn a_lean_that_is_asked_for_is_flown() {
    let flights = Flights::of(&plan());
    let flown = flights.leaning(0.5);
    // Gravity turns the path further over until burnout.
    let lean = flown.burnouts[0].lean_rad();
    assert!((0.5..0.75).contains(&lean), "{lean}");
    assert!(flown.apogee.unwrap().airspeed_mps() > 10.0);
}

#[test]
fn a_motor_that_cannot_lift_it_flies_nowhere() {
    let mut told_plan = plan();
    told_plan.motors[0].impulse_ns = told(60.0, 4.0);
    let flown = Flights::of(&told_plan).nominal();
    assert!(!flown.lifted && flown.apogee.is_none() && flown.landings.is_empty());
    assert!(flown.thrust_to_weight[1] < 1.0);
}

/// A later stage that lights after a coast: both burn out, and the first apogee is above the second burnout.
#[test]
fn a_later_stage_lights_and_burns_out() {
    let mut told_plan = plan();
    let mut second = told_plan.motors[0].clone();
    second.ignition_after_burnout_s = told(1.0, 0.2);
    second.dropped_mass_kg = 3.0;
    told_plan.motors.push(second);
    let flown = Flights::of(&told_plan).nominal();
    assert_eq!(flown.burnouts.len(), 2);
    assert!((flown.burnouts[1].t_s - flown.burnouts[0].t_s - 2.0).abs() < 0.02);
    assert!(flown.apogee.unwrap().height_m > flown.burnouts[1].height_m);
}

/// A drogue that opens by climb rate ends the climb: lower, sooner and slower than without it, and the way down with nothing out is as it
/// was. The height is that of rising under quadratic drag in closed form: ln(1 + k v^2 / g) / (2 k), upright.
#[test]
fn what_opens_before_apogee_ends_the_climb() {
    let mut plan = plan();
    plan.vehicle.rail_tilt_rad = 0.0;
    plan.weather.wind_mps = told(0.0, 0.0);
    let shut = Flights::of(&plan).nominal();
    plan.cues[0].trigger = Trigger::ClimbRateBelow(25.0);
    plan.cues[0].delay_s = told(0.0, 0.0);
    let open = Flights::of(&plan).nominal();
    let (before, after) = (shut.apogee.expect("lifts off"), open.apogee.expect("lifts off"));
    let from = open.cues[0].expect("opens");
    assert!((from.velocity_mps[2] - 25.0).abs() < 0.5, "{from:?}");
    let body = &plan.bodies[0];
    let density = Flights::of(&plan).density_kg_m3(from.height_m);
    let k = density * body.descents[0].drag_area_m2.value / (2.0 * body.mass_kg.value);
    let v = from.velocity_mps[2];
    let rise = libm::log(1.0 + k * v * v / 9.8) / (2.0 * k);
    assert!((after.height_m - from.height_m - rise).abs() < 0.03 * rise, "{after:?} {from:?} {rise}");
    assert!(after.t_s < before.t_s - 0.5 && after.height_m < before.height_m - 5.0, "{after:?} {before:?}");
    assert_eq!(open.climb.last(), Some(&after));
    assert_eq!(open.bare, shut.bare);
    // Whoever asks for the climb on which nothing opens gets that.
    assert_eq!((open.shut_apogee(), shut.shut_apogee()), (Some(before), Some(before)));
    for t in [from.t_s - 1.0, from.t_s + 0.3, before.t_s - 0.1] {
        let (a, b) = (open.climbing_shut_at(t).expect("climbs"), shut.climbing_at(t).expect("climbs"));
        assert!(
            (a.height_m - b.height_m).abs() < 0.01 && (a.velocity_mps[2] - b.velocity_mps[2]).abs() < 0.01
        );
    }
}
