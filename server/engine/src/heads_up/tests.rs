//! Heads-ups on made-up flights: what appears, what must not, what it says.

use loftwatch_flight::{
    Area as Spread, Body, Case, Cue, CueKind, CuePrediction, Descent, DescentState, Estimate, Landing, Limit,
    LimitOf, Motor, Phase, Plan, Prediction, Quantiles, Site, Told, Trigger, Vehicle, Weather,
};

use super::*;
use crate::setup::{Area, AreaKind};

fn told(value: f64, sd: f64) -> Told {
    Told { value, sd }
}

fn q(middle: f64, half: f64) -> Quantiles {
    Quantiles {
        p05: middle - half,
        p25: middle - 0.4 * half,
        p50: middle,
        p75: middle + 0.4 * half,
        p95: middle + half,
    }
}

/// A body of 24 kg with a drogue (1.6 m2) and one of 2 kg that tumbles down as planned.
fn plan() -> Plan {
    let body = |name: &str, parent, mass, descents| Body {
        name: name.into(),
        parent,
        freed_by: parent.map(|_| 1),
        has_transmitter: true,
        mass_kg: told(mass, 0.1),
        bare_drag_area_m2: told(0.03, 0.01),
        descents,
    };
    let cue = |name: &str, kind| Cue {
        name: name.into(),
        kind,
        body: 0,
        trigger: Trigger::AfterApogee(1.0),
        delay_s: told(0.0, 0.2),
        limit: Some(Limit { of: LimitOf::Airspeed, value: 25.0, from: "told by crew".into() }),
        mass_kg: 24.0,
    };
    let descent = |state| Descent { state, cue: 0, drag_area_m2: told(1.6, 0.24) };
    Plan {
        site: Site { latitude_rad: 0.6, longitude_rad: 0.0, elevation_m: 0.0, geoid_m: 0.0 },
        weather: Weather {
            pressure_pa: 101_325.0,
            temperature_k: 288.15,
            temperature_sd_k: 0.0,
            wind_mps: told(3.0, 1.0),
            wind_from_rad: 0.0,
            wind_height_m: 3.0,
        },
        vehicle: Vehicle {
            liftoff_mass_kg: told(30.0, 1.0),
            diameter_m: 0.2,
            drag_coefficient: told(0.5, 0.1),
            rail_length_m: 3.0,
            rail_tilt_rad: 3.0_f64.to_radians(),
            rail_azimuth_rad: None,
            lean_sd_rad: 4.0_f64.to_radians(),
        },
        motors: vec![],
        bodies: vec![
            body("Body", None, 24.0, vec![descent(DescentState::Drogue)]),
            body("Cam A", Some(0), 2.0, vec![descent(DescentState::Tumbling)]),
        ],
        cues: vec![cue("drogue out", CueKind::Chute), cue("Cam A out", CueKind::Release)],
    }
}

/// A scene that tests change and look at.
struct Scene {
    plan: Plan,
    bodies: Vec<BodyView>,
    cues: Vec<Option<CuePrediction>>,
    areas: Vec<Area>,
    landings: Vec<Landing>,
    happened: Happened,
    silent: Option<Silent>,
    openings: Openings,
    heads_ups: HeadsUps,
    t_s: f64,
}

impl Scene {
    /// Half a second after burnout: 100 m, 100 m/s, straight.
    fn new() -> Self {
        let plan = plan();
        let estimate = Estimate {
            t_s: 3.0,
            phase: Phase::Coasting,
            descent: None,
            carried_s: 0.0,
            height_m: q(100.0, 5.0),
            climb_mps: q(100.0, 2.0),
            airspeed_mps: q(100.5, 2.0),
            ground_speed_mps: q(100.5, 2.0),
            lean_rad: Some(q(0.08, 0.03)),
            east_north_m: None,
            position_radius_m: None,
            east_north_mps: None,
            drag_k_per_m: q(4e-4, 1e-4),
            mach: 0.3,
            dynamic_pressure_pa: 0.5 * 1.2 * 100.5 * 100.5,
        };
        let prediction = Prediction {
            t_s: 3.0,
            apogee_height_m: q(500.0, 20.0),
            apogee_t_s: q(12.0, 0.4),
            airspeed_at_apogee_mps: q(10.0, 4.0),
            ground_speed_at_apogee_mps: q(10.0, 4.0),
            hand_height_m: 600.0,
            hand_t_s: 13.0,
        };
        let body = BodyView { estimate: Some(estimate), prediction: Some(prediction), free: true };
        let cue = |cue| CuePrediction {
            cue,
            t_s: 3.0,
            cue_t_s: q(13.0, 0.4),
            height_m: q(495.0, 20.0),
            climb_mps: q(-10.0, 1.0),
            airspeed_mps: q(14.0, 5.0),
            dynamic_pressure_pa: q(120.0, 60.0),
            opening_load_n: None,
            over_limit: None,
            passed: false,
        };
        Self {
            bodies: vec![body, BodyView::default()],
            cues: vec![Some(cue(0)), Some(cue(1))],
            plan,
            areas: vec![],
            landings: vec![],
            happened: Happened {
                liftoff_s: Some(0.0),
                rail_exit_s: Some(0.4),
                burnout_s: Some(2.5),
                burnout_mps: Some(105.0),
                apogee_s: None,
                later_ignitions: 0,
            },
            silent: None,
            openings: Openings::default(),
            heads_ups: HeadsUps::default(),
            t_s: 3.0,
        }
    }

    fn estimate(&mut self) -> &mut Estimate {
        self.bodies[0].estimate.as_mut().unwrap()
    }

    /// Goes on for a while at 20 Hz; gives what was said.
    fn pass(&mut self, seconds: f64, mut change: impl FnMut(&mut Self)) -> Vec<HeadsUp> {
        let mut said = Vec::new();
        for step in 0..libm::round(seconds * 20.0) as u32 {
            self.t_s += 0.05;
            change(self);
            let mut view = View {
                t_s: self.t_s,
                plan: &self.plan,
                cues: &self.plan.cues,
                areas: &self.areas,
                bodies: &self.bodies,
                cue_predictions: &self.cues,
                landings: &self.landings,
                happened: self.happened,
                silent: self.silent,
                openings: &self.openings,
            };
            let openings = Openings::follow(&view);
            view.openings = &openings;
            self.heads_ups.judge(&view, step % 4 == 0, &mut |h| said.push(h));
            self.openings = openings;
        }
        said
    }

    /// Descending after apogee at 12 s, at this fall rate under `descent`.
    fn fall(&mut self, mps: f64, descent: Option<DescentState>) {
        self.happened.apogee_s = Some(12.0);
        let e = self.estimate();
        e.phase = Phase::Descending;
        e.descent = descent;
        e.climb_mps = q(-mps, 1.0);
        e.airspeed_mps = q(mps, 1.0);
        e.dynamic_pressure_pa = 0.5 * 1.2 * mps * mps;
    }
}

#[test]
fn a_good_flight_is_quiet() {
    assert_eq!(Scene::new().pass(9.0, |_| {}), []);
}

#[test]
fn lean_is_said_once_it_is_clear_and_ends_two_seconds_before_apogee() {
    let mut scene = Scene::new();
    scene.estimate().lean_rad = Some(q(0.5, 0.1));
    let said = scene.pass(2.0, |_| {});
    assert_eq!(said.len(), 1, "{said:?}");
    assert_eq!((said[0].key.as_str(), said[0].on, said[0].level), ("lean:Body", true, Level::Act));
    // Rail 3 degrees, twice 4 degrees, and 4.6 m/s of wind: 105 sin 11 + 4.6 against 100 m/s.
    assert!((said[0].limit.unwrap() - libm::atan2(20.03 + 4.645, 100.0)).abs() < 1e-3);
    assert_eq!(said[0].words, "Leaning 29°. Planned is up to 14° here.");
    let said = scene.pass(6.0, |_| {});
    assert_eq!(said.iter().map(|h| h.on).collect::<Vec<_>>(), [false]);
    assert!((scene.t_s - 11.0).abs() < 0.1);
}

#[test]
fn unknown_lean_is_no_lean() {
    let mut scene = Scene::new();
    scene.estimate().lean_rad = None;
    assert_eq!(scene.pass(5.0, |_| {}), []);
}

#[test]
fn what_is_over_and_under_by_turns_does_not_flicker() {
    let mut scene = Scene::new();
    let mut n = 0;
    let said = scene.pass(6.0, |s| {
        n += 1;
        s.estimate().lean_rad = Some(if n % 2 == 0 { q(0.5, 0.1) } else { q(0.1, 0.05) });
    });
    assert!(said.is_empty(), "{said:?}");
}

#[test]
fn a_cue_over_its_limit_is_said_with_its_figures() {
    let mut scene = Scene::new();
    scene.cues[1].as_mut().unwrap().airspeed_mps = q(43.0, 8.0);
    scene.cues[1].as_mut().unwrap().cue_t_s = q(5.4, 0.2);
    let said = scene.pass(1.2, |_| {});
    let last = said.last().unwrap();
    assert_eq!((last.key.as_str(), last.level, last.cue), ("cue:Cam A out", Level::Look, Some(1)));
    assert_eq!(last.words, "Cam A goes out in 1.3 s into 43 m/s of air. Its limit is 25 m/s.");
    assert!(said.windows(2).all(|w| w[0].words != w[1].words));
    assert!(said.len() <= 6, "words change at most four times a second");
    let ended = scene.pass(0.1, |s| s.cues[1].as_mut().unwrap().passed = true);
    assert_eq!(ended.iter().map(|h| h.on).collect::<Vec<_>>(), [false], "what has passed is over");
}

#[test]
fn a_chute_that_opens_too_fast_is_to_act_on() {
    let mut scene = Scene::new();
    scene.cues[0].as_mut().unwrap().airspeed_mps = q(40.0, 8.0);
    let said = scene.pass(0.5, |_| {});
    assert_eq!(said[0].level, Level::Act);
    assert!(said[0].words.starts_with("Body's drogue opens in 9."), "{}", said[0].words);
}

#[test]
fn the_level_does_not_flicker_either() {
    let mut scene = Scene::new();
    let mut n = 0;
    let said = scene.pass(5.0, |s| {
        n += 1;
        s.cues[0].as_mut().unwrap().airspeed_mps = if n % 3 == 0 { q(32.0, 8.0) } else { q(40.0, 8.0) };
    });
    assert!(said.iter().all(|h| h.level == Level::Act), "{said:?}");
    let said = scene.pass(3.0, |s| s.cues[0].as_mut().unwrap().airspeed_mps = q(32.0, 8.0));
    assert_eq!(said.first().map(|h| h.level), Some(Level::Act));
    assert_eq!(said.last().map(|h| h.level), Some(Level::Look), "but follows in the end");
}

#[test]
fn under_power_only_what_is_clear_is_said() {
    let mut scene = Scene::new();
    scene.estimate().phase = Phase::Powered;
    scene.cues[1].as_mut().unwrap().airspeed_mps = q(31.5, 10.0);
    assert_eq!(scene.pass(2.0, |_| {}), []);
    scene.estimate().phase = Phase::Coasting;
    assert_eq!(scene.pass(1.0, |_| {}).len(), 3, "one on, then a new countdown every 0.3 s");
}

#[test]
fn a_limit_changed_in_flight_holds_at_once() {
    let mut scene = Scene::new();
    scene.cues[1].as_mut().unwrap().over_limit = Some(0.9);
    scene.cues[1].as_mut().unwrap().airspeed_mps = q(30.0, 3.0);
    let mut cues = scene.plan.cues.clone();
    cues[1].limit.as_mut().unwrap().value = 60.0;
    let view = View {
        t_s: 4.0,
        plan: &scene.plan,
        cues: &cues,
        areas: &[],
        bodies: &scene.bodies,
        cue_predictions: &scene.cues,
        landings: &[],
        happened: scene.happened,
        silent: None,
        openings: &scene.openings,
    };
    let mut verdicts = Vec::new();
    cue::judge(&view, &mut verdicts);
    assert_eq!(verdicts[1].holds, Some(false));
}

#[test]
fn no_sign_of_the_drogue_within_three_seconds_of_its_time() {
    let mut scene = Scene::new();
    scene.t_s = 12.0;
    let mut since = None;
    let said = scene.pass(8.0, |s| {
        let fall = 9.81 * (s.t_s - 12.0);
        s.fall(fall, None);
        if s.heads_ups.held.values().any(|h| h.said.is_some()) && since.is_none() {
            since = Some(s.t_s);
        }
    });
    let first = said.first().expect("said");
    assert_eq!((first.key.as_str(), first.level, first.on), ("no_sign:Body:drogue", Level::Act, true));
    assert!(first.words.starts_with("No sign of Body's drogue, "), "{}", first.words);
    // Opening at 13.0 s, 95 % end 13.4 s.
    assert!(since.unwrap() <= 13.4 + 3.0, "said at {since:?}");
}

#[test]
fn a_drogue_that_opens_is_not_missed_however_fast_the_fall_was() {
    for at_opening in [10.0, 25.0, 60.0] {
        let mut scene = Scene::new();
        scene.t_s = 13.0;
        let mut v = at_opening;
        let said = scene.pass(10.0, |s| {
            // Opens 0.6 s late and fills in half a second.
            let filled = ((s.t_s - 13.6) / 0.5).clamp(0.02, 1.0);
            let drag = 0.5 * 1.2 * 1.6 * filled * v * v / 24.0;
            v += 0.05 * (9.81 - drag).max(-200.0);
            s.fall(v, (filled >= 1.0 && v < 20.0).then_some(DescentState::Drogue));
            s.estimate().drag_k_per_m = q(0.04 * filled, 0.004);
        });
        assert!(said.is_empty(), "{at_opening}: {said:?}");
    }
}

/// Terminal is 15.7 m/s here: 14 m/s is no speed to tell by, but a fourteenth of the told drag is.
#[test]
fn no_sign_of_a_drogue_is_seen_by_its_drag_before_the_fall_is_fast() {
    for (drag_k, missed) in [(0.003, true), (0.03, false)] {
        let mut scene = Scene::new();
        scene.t_s = 13.0;
        let said = scene.pass(4.0, |s| {
            s.fall(14.0, Some(DescentState::Ballistic));
            s.estimate().drag_k_per_m = q(drag_k, 0.001);
        });
        assert_eq!(said.iter().any(|h| h.key == "no_sign:Body:drogue"), missed, "{drag_k}: {said:?}");
    }
}

/// Where it is planned to open before apogee it is missed before apogee: it would have slowed a body that flies on. What is too slow to
/// feel it says nothing yet, nor what has been slowed.
#[test]
fn no_sign_of_a_drogue_is_seen_on_the_way_up() {
    for (airspeed, drag_k, missed) in [(30.0, 0.003, true), (30.0, 0.03, false), (8.0, 0.003, false)] {
        let mut scene = Scene::new();
        scene.t_s = 13.0;
        let said = scene.pass(2.0, |s| {
            s.fall(-9.0, None);
            let e = s.estimate();
            e.phase = Phase::Coasting;
            e.airspeed_mps = q(airspeed, 2.0);
            e.dynamic_pressure_pa = 0.5 * 1.2 * airspeed * airspeed;
            e.drag_k_per_m = q(drag_k, 0.001);
        });
        let found = said.iter().find(|h| h.key == "no_sign:Body:drogue");
        assert_eq!(found.is_some(), missed, "{airspeed} {drag_k}: {said:?}");
        assert!(found.is_none_or(|h| h.words.contains("still climbing, airspeed 30 m/s")), "{said:?}");
        // It goes on being missed as it begins to fall, however slowly.
        let later = scene.pass(0.7, |s| {
            s.fall(9.81 * (s.t_s - 15.0), None);
            let e = s.estimate();
            e.airspeed_mps = q(9.0, 2.0);
            e.dynamic_pressure_pa = 0.5 * 1.2 * 81.0;
            e.drag_k_per_m = q(drag_k, 0.001);
        });
        assert!(later.iter().all(|h| h.key != "no_sign:Body:drogue" || h.on), "{later:?}");
    }
}

#[test]
fn a_carried_fall_is_no_evidence() {
    let mut scene = Scene::new();
    scene.t_s = 13.0;
    let said = scene.pass(10.0, |s| {
        s.fall(9.81 * (s.t_s - 12.0), None);
        s.estimate().carried_s = 3.0;
    });
    assert!(said.is_empty(), "{said:?}");
}

#[test]
fn a_planned_tumble_is_never_missed() {
    let mut scene = Scene::new();
    scene.plan.bodies[0].descents[0].state = DescentState::Tumbling;
    scene.t_s = 13.0;
    let said = scene.pass(20.0, |s| s.fall((9.81 * (s.t_s - 12.0)).min(60.0), None));
    assert!(said.is_empty(), "{said:?}");
}

#[test]
fn a_torn_drogue_falls_too_fast() {
    let mut scene = Scene::new();
    scene.t_s = 13.0;
    // 24 kg under 1.6 m2 at 1.2 kg/m3: 15.7 m/s.
    let said = scene.pass(12.0, |s| s.fall(24.0, Some(DescentState::Drogue)));
    assert_eq!(said[0].key, "fast_descent:Body:drogue");
    assert_eq!(said[0].words, "Body falls at 24 m/s under its drogue. Planned is 16 m/s here.");
    let mut scene = Scene::new();
    scene.t_s = 13.0;
    assert!(scene.pass(12.0, |s| s.fall(17.5, Some(DescentState::Drogue))).is_empty(), "within its spread");
}

#[test]
fn a_main_chute_before_its_time_drifts() {
    let with_main = |state, planned_s: f64, passed| {
        let mut scene = Scene::new();
        scene.t_s = 13.0;
        let main = Descent { state: DescentState::Main, cue: 2, drag_area_m2: told(11.0, 1.1) };
        scene.plan.bodies[0].descents.push(main);
        let mut cue = scene.plan.cues[0].clone();
        cue.name = "main out".into();
        scene.plan.cues.push(cue);
        let mut planned = scene.cues[0].expect("a drogue's");
        (planned.cue, planned.cue_t_s, planned.passed) = (2, q(planned_s, 2.0), passed);
        scene.cues.push(Some(planned));
        scene.pass(8.0, |s| {
            s.fall(6.0, Some(state));
            s.estimate().height_m = q(2160.0, 5.0);
            s.estimate().drag_k_per_m = q(0.27, 0.02);
        })
    };
    let said = with_main(DescentState::Main, 380.0, false);
    let first = said.first().expect("said");
    assert_eq!((first.key.as_str(), first.level, first.on), ("early_main:Body", Level::Look, true));
    assert_eq!(first.words, "Body's main is out before its time. Falling at 6 m/s, 6 min to go: it drifts.");
    assert_eq!(with_main(DescentState::Main, 13.0, true), [], "in its time");
    assert_eq!(with_main(DescentState::Main, 20.0, false), [], "soon");
    assert_eq!(with_main(DescentState::Drogue, 380.0, false), [], "under the drogue");
}

#[test]
fn a_main_that_the_vehicle_says_it_fired_high_up_is_before_its_time() {
    let fired_at = |height_m: f64| {
        let mut scene = Scene::new();
        scene.t_s = 13.0;
        scene.plan.bodies[0].descents[0].state = DescentState::Main;
        scene.plan.cues[0].trigger = Trigger::HeightBelow(200.0);
        scene.cues[0].as_mut().expect("planned").passed = true;
        scene.pass(8.0, |s| {
            s.fall(14.0, Some(DescentState::Main));
            s.estimate().height_m = q(height_m, 5.0);
        })
    };
    let said = fired_at(1500.0);
    assert_eq!(said.first().expect("said").key, "early_main:Body");
    assert_eq!(fired_at(190.0), [], "in its time");
}

#[test]
fn a_drogue_that_comes_out_on_the_way_up_is_to_act_on() {
    let out_by = |trigger, state| {
        let mut scene = Scene::new();
        scene.plan.cues[0].trigger = trigger;
        scene.pass(1.0, |s| {
            s.estimate().descent = state;
            s.estimate().airspeed_mps = q(43.0, 4.0);
        })
    };
    let key = "early_canopy:Body:drogue";
    let said = out_by(Trigger::AfterApogee(1.0), Some(DescentState::Drogue));
    let first = said.iter().find(|h| h.key == key).expect("said");
    assert_eq!((first.level, first.on), (Level::Act, true));
    assert_eq!(first.words, "Body's drogue is out before apogee, at 43 m/s of air.");
    let none = |said: Vec<HeadsUp>| said.iter().all(|h| h.key != key);
    assert!(none(out_by(Trigger::AfterApogee(1.0), None)), "nothing is out");
    assert!(none(out_by(Trigger::ClimbRateBelow(20.0), Some(DescentState::Drogue))), "as planned");
}

#[test]
fn a_later_motor_that_does_not_light_is_to_act_on() {
    let motor = |after_s: f64| Motor {
        impulse_ns: told(1000.0, 50.0),
        burn_time_s: 2.0,
        burn_time_ln_sd: 0.0,
        propellant_mass_kg: 0.5,
        curve: vec![],
        ignition_after_burnout_s: told(after_s, 0.2),
        dropped_mass_kg: 0.0,
        drag_coefficient: told(0.5, 0.1),
        diameter_m: 0.1,
    };
    let coasting = |lit: usize| {
        let mut scene = Scene::new();
        scene.plan.motors = vec![motor(0.0), motor(1.5)];
        scene.happened.burnout_s = Some(scene.t_s);
        scene.happened.later_ignitions = lit;
        scene.pass(6.0, |_| {})
    };
    let said = coasting(0);
    let first = said.iter().find(|h| h.key == "unlit:2").expect("said");
    assert_eq!((first.level, first.on), (Level::Act, true));
    assert_eq!(first.words, "Motor 2 has not lit in its time. It may light late, or come down unburnt.");
    assert!(coasting(1).iter().all(|h| h.key != "unlit:2"), "lit");
}

#[test]
fn silence_under_power_or_soon_after_is_to_act_on() {
    let silent = |since_s, phase| Some(Silent { since_s, stale_after_s: 1.2, phase });
    let mut scene = Scene::new();
    scene.silent = silent(3.2, Phase::Coasting);
    let said = scene.pass(0.1, |_| {});
    assert_eq!(said[0].level, Level::Act);
    assert_eq!(said[0].words, "All radios silent since 0.7 s after burnout. Eyes up.");
    let mut scene = Scene::new();
    scene.t_s = 10.0;
    scene.silent = silent(8.0, Phase::Coasting);
    let said = scene.pass(0.1, |_| {});
    assert_eq!((said[0].level, said[0].words.as_str()), (Level::Look, "All radios silent for 2 s."));
    let ended = scene.pass(0.1, |s| s.silent = None);
    assert_eq!(ended.len(), 1);
    assert!(!ended[0].on);
    let mut scene = Scene::new();
    scene.silent = silent(2.0, Phase::Waiting);
    assert!(scene.pass(5.0, |_| {}).is_empty(), "on the pad people switch radios off");
}

#[test]
fn a_landing_among_people_is_said_for_the_case_that_it_is_about() {
    let mut scene = Scene::new();
    let landing = |case, north| Landing {
        body: 0,
        case,
        t_s: 3.0,
        landing_t_s: q(60.0, 5.0),
        descent_mps: q(6.0, 1.0),
        area: Spread::Ellipse { centre_m: [0.0, north], covariance_m2: [900.0, 0.0, 900.0] },
    };
    scene.areas = vec![
        Area {
            name: "crowd line".into(),
            kind: AreaKind::People,
            points_m: vec![[-400.0, -120.0], [400.0, -120.0]],
            closed: false,
        },
        Area {
            name: "field".into(),
            kind: AreaKind::Landing,
            points_m: vec![[-500.0, -100.0], [500.0, -100.0], [500.0, 900.0], [-500.0, 900.0]],
            closed: true,
        },
    ];
    scene.landings = vec![landing(Case::Planned, 300.0), landing(Case::Ballistic, -200.0)];
    let said = scene.pass(2.0, |_| {});
    let words: Vec<_> = said.iter().map(|h| (h.key.as_str(), h.level, h.words.as_str())).collect();
    assert_eq!(
        words,
        [
            (
                "landing:crowd line:ballistic:Body",
                Level::Act,
                "If nothing deploys, Body comes down 80 m beyond the crowd line."
            ),
            (
                "landing:outside:ballistic:Body",
                Level::Look,
                "If nothing deploys, Body comes down 100 m outside the landing area."
            ),
        ]
    );
    // Under its drogue it no longer comes down ballistic.
    scene.estimate().phase = Phase::Descending;
    scene.estimate().descent = Some(DescentState::Drogue);
    assert_eq!(scene.pass(1.0, |_| {}).iter().filter(|h| !h.on).count(), 2);
}

#[test]
fn the_end_of_the_flight_ends_all() {
    let mut scene = Scene::new();
    scene.estimate().lean_rad = Some(q(0.5, 0.1));
    scene.pass(1.0, |_| {});
    let mut said = Vec::new();
    scene.heads_ups.end(&mut |h| said.push(h));
    assert_eq!(said.iter().map(|h| h.on).collect::<Vec<_>>(), [false]);
}

#[test]
fn the_share_above_a_limit_is_read_off_the_quantiles() {
    let spread = q(10.0, 5.0);
    assert!((view::above(&spread, 10.0) - 0.5).abs() < 1e-12);
    assert!((view::above(&spread, 15.0) - 0.05).abs() < 1e-12);
    assert_eq!(view::above(&spread, 30.0), 0.0);
    assert_eq!(view::above(&spread, -30.0), 1.0);
    assert_eq!(view::above(&q(10.0, 0.0), 9.0), 1.0);
    assert_eq!(view::above(&q(10.0, 0.0), 11.0), 0.0);
}
