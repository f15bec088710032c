//! Margins and the picture of whole setups, against closed forms and told figures.

use loftwatch_engine::Setup;
use loftwatch_engine::output::Level;
use loftwatch_flight::Tracker;
use loftwatch_prepare::{Margin, Sample, margins, order, picture};

const TALL_ORDER: &str = include_str!("../../../demo-data/tall-order/setup.toml");

fn take(text: &str) -> Setup {
    loftwatch_setup::read(text, "setup.toml", &mut |_| Err("no files here".into()))
        .unwrap_or_else(|report| panic!("{report}"))
}

/// All margins of the demo's setup with another text.
fn of(change: impl Fn(&str) -> String) -> Vec<Margin> {
    let setup = take(&change(TALL_ORDER));
    let sample = Sample::of_some(&setup, 400);
    margins(&setup, &sample)
}

fn find<'a>(all: &'a [Margin], key: &str) -> &'a Margin {
    all.iter().find(|m| m.key == key).unwrap_or_else(|| panic!("no {key}"))
}

#[test]
fn each_row_has_figure_limit_source_and_what_to_change() {
    let all = of(str::to_owned);
    for m in &all {
        assert!(m.figure.is_some() || !m.figure_words.is_empty(), "{m:?}");
        if m.judged {
            assert!(m.limit.is_some() && !m.limit_from.is_empty() && !m.change.is_empty(), "{m:?}");
        }
        let words = format!("{} {} {} {}", m.what, m.note, m.change, m.limit_words).to_lowercase();
        for never in ["ready", "is safe", "safe to", "good to go"] {
            assert!(!words.contains(never), "{words}");
        }
    }
    let mut keys: Vec<&str> = all.iter().map(|m| m.key.as_str()).collect();
    keys.sort_unstable();
    keys.dedup();
    assert_eq!(keys.len(), all.len(), "keys tell rows apart");
    assert!(find(&all, "margin:stability").note.contains("Nothing is said about stability"));
    assert!(find(&all, "margin:ceiling").note.contains("No ceiling is told"));
}

/// With spreads next to none the figures are the closed forms: thrust over weight F / (m g); v^2 = 2 (F/m - g cos tilt) L;
/// terminal speed by m g = 1/2 rho v^2 Cd A; energy 1/2 m v^2; wind + 1.645 of its spread.
#[test]
fn figures_are_the_closed_forms_where_nothing_spreads() {
    let all = of(|t| {
        t.replace(
            "liftoff_mass_kg = 34.0",
            "liftoff_mass_kg = 34.0\nliftoff_mass_spread_percent = 0.5\ndrag_spread_percent = 0.5",
        )
        .replace("total_impulse_ns = 4350.0", "total_impulse_ns = 4350.0\nimpulse_spread_percent = 0.5")
        .replace("wind_mps = 4.5", "wind_mps = 0.0")
        .replace("wind_spread_mps = 1.5", "wind_spread_mps = 0.1")
        .replace("drag_area_m2 = 16.0", "drag_area_m2 = 16.0\nspread_percent = 0.5")
    });
    let g = 9.7972; // WGS84 normal gravity at 38.25 degrees and 1210 m: 9.80100 - 1210 * 3.086e-6
    let figure = |key: &str| find(&all, key).figure.unwrap();
    // The burn time spreads by 9 % by itself: its slow end is 1 / (1 + 1.645 * 0.09) of the mean thrust.
    let mean = 4350.0 / 2.4 / 34.0;
    let slow = mean / (1.0 + 1.645 * 0.09);
    assert!(
        (figure("margin:thrust_mean") / (slow / g) - 1.0).abs() < 0.03,
        "{}",
        figure("margin:thrust_mean")
    );
    let exit = libm::sqrt(2.0 * (slow * 34.0 / 33.7 - g * 0.99863) * 3.5);
    assert!((figure("margin:rail_exit") / exit - 1.0).abs() < 0.03, "{} {exit}", figure("margin:rail_exit"));
    let rho = 87_600.0 / (287.053 * 297.15);
    let landing = libm::sqrt(2.0 * 24.0 * g / (rho * 16.0));
    let speed = figure("margin:landing_speed:Body");
    assert!((speed / landing - 1.0).abs() < 0.02, "{speed} {landing}");
    let energy = figure("margin:landing_energy:Body");
    assert!((energy / (0.5 * 24.0 * landing * landing) - 1.0).abs() < 0.04, "{energy}");
    assert!((figure("margin:wind") - 1.645 * 0.1).abs() < 1e-3);
    assert_eq!(find(&all, "margin:class").figure_words, "L, 4350 N s");
    // The crowd line passes 120 m south of the pad; people for L and one motor: 300 ft.
    let line = find(&all, "margin:distance:crowd line");
    assert!((line.figure.unwrap() - 120.0).abs() < 1e-9 && (line.limit.unwrap() - 91.44).abs() < 1e-9);
}

/// The larger column for clusters: 500 ft.
#[test]
fn a_cluster_takes_the_larger_distances() {
    let all = of(|t| t.replace("[motor]", "[motor]\ncluster = 3"));
    let line = find(&all, "margin:distance:crowd line");
    assert!((line.limit.unwrap() - 152.4).abs() < 1e-9 && line.level == Some(Level::Act), "{line:?}");
}

#[test]
fn told_limits_parts_centres_ceiling_and_receivers_are_judged() {
    let told = "[limits]\nrail_exit_least_mps = 30\nceiling_m = 1700\nceiling_above = \"sea level\"\n\
        ceiling_window = \"until 16:00\"\nceiling_authority = \"area control\"\n\n[weather]";
    let all = of(|t| {
        t.replace("[weather]", told)
            .replace(
                "lean_spread_deg = 8.0",
                "lean_spread_deg = 8.0\ncentre_of_gravity_m = 2.0\ncentre_of_pressure_m = 2.12\n\
                 [[vehicle.part]]\nname = \"all\"\nmass_kg = 37",
            )
            .replacen(
                "mass_kg = 24.0",
                "mass_kg = 24.0\ngnss_greatest_acceleration_g = 4\ngnss_dynamics = \"portable\"",
                1,
            )
    });
    let exit = find(&all, "margin:rail_exit");
    assert_eq!((exit.level, exit.limit_from.as_str()), (Some(Level::Look), "told by crew"));
    let ceiling = find(&all, "margin:ceiling");
    // About 650 m at the 95 % end, above a pad at 1210 m.
    assert!((ceiling.figure.unwrap() - 1860.0).abs() < 60.0, "{ceiling:?}");
    assert_eq!((ceiling.level, ceiling.limit_from.as_str()), (Some(Level::Act), "area control"));
    assert!(ceiling.note.contains("until 16:00"));
    let stability = find(&all, "margin:stability");
    assert!((stability.figure.unwrap() - 0.5).abs() < 1e-9 && stability.level == Some(Level::Look));
    assert_eq!(find(&all, "margin:masses").level, Some(Level::Look), "37 kg weighed, 34 told");
    let receiver = find(&all, "margin:gnss_acceleration:Body");
    assert!(receiver.level == Some(Level::Look) && receiver.note.contains("portable"), "{receiver:?}");
}

/// A motor that cannot lift it at all is refused by the setup, at its field; one that only just can is told here.
#[test]
fn a_motor_that_hardly_lifts_it_is_told_in_words() {
    let weak = |ns: &str| {
        TALL_ORDER
            .replace("total_impulse_ns = 4350.0", &format!("total_impulse_ns = {ns}"))
            .replace("propellant_mass_kg = 2.2", "propellant_mass_kg = 0.5")
    };
    let refused = loftwatch_setup::read(&weak("600"), "setup.toml", &mut |_| Err("none".into())).unwrap_err();
    let words = refused.to_string();
    assert!(words.contains("`motor.total_impulse_ns`") && words.contains("34.000 kg weigh"), "{words}");
    let setup = take(&weak("840"));
    let sample = Sample::of_some(&setup, 200);
    let all = margins(&setup, &sample);
    let row = find(&all, "margin:lifts");
    assert!(row.level == Some(Level::Act) && row.change.contains("it does not fly"), "{row:?}");
    assert!(!all.iter().any(|m| m.key == "margin:rail_exit"));
    assert!(picture(&setup, &sample).stayed > 10);
}

/// Two roads to one answer: the drawn flights, and the estimator's own prediction on the pad, which is a Gaussian sum.
#[test]
fn drawn_flights_agree_with_what_the_estimator_predicts_on_the_pad() {
    let setup = take(TALL_ORDER);
    let sample = Sample::of(&setup);
    let drawn = picture(&setup, &sample);
    let pad = Tracker::new(&setup.plan, 0.0).prediction(0).unwrap();
    let apogee = drawn.apogee_m.unwrap();
    let width = pad.apogee_height_m.p95 - pad.apogee_height_m.p05;
    for (a, b) in [
        (apogee.p05, pad.apogee_height_m.p05),
        (apogee.p50, pad.apogee_height_m.p50),
        (apogee.p95, pad.apogee_height_m.p95),
    ] {
        assert!((a - b).abs() < 0.12 * width, "{a} {b} of {width}");
    }
    let air = drawn.airspeed_at_apogee_mps.unwrap();
    assert!((air.p50 / pad.airspeed_at_apogee_mps.p50 - 1.0).abs() < 0.2, "{air:?} {pad:?}");
}

#[test]
fn cues_that_meet_are_told_and_those_that_do_not_are_not() {
    let setup = take(TALL_ORDER);
    let sample = Sample::of_some(&setup, 400);
    for clash in order(&setup, &sample) {
        assert!(clash.near < 0.05, "{clash:?}");
    }
    // The drogue wanted half a second after apogee, with its delay a tenth behind the camera at apogee that is on the same body.
    let text =
        TALL_ORDER.replace("when = \"after apogee\"\nvalue = 1.5", "when = \"after apogee\"\nvalue = 0.05");
    let setup = take(&text);
    let sample = Sample::of_some(&setup, 400);
    let clashes = order(&setup, &sample);
    let met = clashes.iter().find(|c| c.first == "Cam B out" && c.second == "drogue out");
    assert!(met.is_some_and(|c| c.near > 0.5 && c.reversed > 0.02), "{clashes:?}");
}

#[test]
fn the_picture_has_bands_moments_and_areas_with_and_without_chutes() {
    let setup = take(TALL_ORDER);
    let sample = Sample::of_some(&setup, 200);
    let drawn = picture(&setup, &sample);
    assert!(drawn.nominal.len() > 50 && drawn.band.len() > 40 && drawn.worst.len() > 50);
    let top = drawn.nominal.iter().map(|p| p.height_m).fold(0.0, f64::max);
    assert!((400.0..640.0).contains(&top), "{top}");
    let kinds: Vec<&str> = drawn.moments.iter().map(|m| m.kind.as_str()).collect();
    for kind in ["rail_exit", "burnout", "apogee", "cue", "landing"] {
        assert!(kinds.contains(&kind), "{kind}");
    }
    assert_eq!(drawn.ground.iter().filter(|g| g.case == "planned").count(), 4);
    let bare = drawn.ground.iter().find(|g| g.case == "bare").unwrap();
    assert!(bare.covariance_m2[0] > 0.0 && bare.dots_m.len() == 100);
}
