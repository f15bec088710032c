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
    let masses = find(&all, "margin:masses");
    assert_eq!(masses.level, Some(Level::Look), "37 kg weighed, 34 told");
    assert!((masses.figure.unwrap() - 3.0).abs() < 1e-9 && (masses.limit.unwrap() - 1.02).abs() < 1e-9);
    assert!((find(&all, "margin:rail_tilt").figure.unwrap() - 3_f64.to_radians()).abs() < 1e-9);
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
    // F / (m g) as told: 840 N s in 2.4 s under 34 kg.
    assert!((row.figure.unwrap() - 840.0 / 2.4 / 34.0 / 9.797).abs() < 2e-3, "{row:?}");
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

/// The setup of the two checks by SciPy below, with lines of its own.
fn one_motor(site: &str, wind_mps: f64, rest: &str) -> Setup {
    take(&format!(
        "[site]\nlatitude_deg = 45\nlongitude_deg = 0\nelevation_m = 990\n{site}[weather]\nstation_pressure_hpa = 900\n\
         temperature_c = 18\nwind_mps = {wind_mps}\nwind_from_deg = 0\nwind_height_m = 2\nwind_spread_mps = 0.1\n\
         [vehicle]\nliftoff_mass_kg = 8\nliftoff_mass_spread_percent = 0.5\ndiameter_m = 0.1\ndrag_coefficient = 0.5\n\
         drag_spread_percent = 0.5\nrail_guided_length_m = 2\nrail_tilt_from_vertical_deg = 0\nlean_spread_deg = 0.5\n\
         [motor]\ntotal_impulse_ns = 1700\nimpulse_spread_percent = 0.5\nburn_time_s = 2.6\npropellant_mass_kg = 0.9\n\
         [[body]]\nname = \"B\"\ngnss_greatest_height_m = 9000\ngnss_greatest_speed_mps = 900\n\
         gnss_greatest_acceleration_g = 90\n{rest}\
         [[link]]\nname = \"radio\"\nkind = \"serial\"\npath = \"/dev/ttyUSB0\"\n"
    ))
}

/// What the receivers, cues and chutes of a vertical flight see: the greatest speed, felt acceleration and height, and
/// speed, density and dynamic pressure two seconds before apogee are SciPy's (`solve_ivp`, relative tolerance 1e-9, as
/// for the nominal flight below); load q Cd A and terminal speed sqrt(2 m g / (rho Cd A)) are closed forms, at the 95 %
/// end of a drag area whose logarithm is normal with 0.15.
#[test]
fn receivers_cues_and_descents_see_what_scipy_and_closed_forms_give() {
    let cue = |name: &str, limit: &str| {
        format!(
            "[[cue]]\nname = \"{name}\"\nkind = \"chute\"\nwhen = \"before apogee\"\nvalue = 2\nspread_s = 0.001\n{limit}\n"
        )
    };
    let rest = [
        "[[body.descent]]\nstate = \"drogue\"\ncue = \"load\"\ndrag_area_m2 = 0.3\n".to_owned(),
        "[[body.descent]]\nstate = \"main\"\ncue = \"main\"\ndrag_area_m2 = 3\n".to_owned(),
        cue("air", "limit_airspeed_mps = 10"),
        cue("pressure", "limit_dynamic_pressure_pa = 100"),
        cue("load", "limit_opening_load_n = 50"),
        "[[cue]]\nname = \"main\"\nkind = \"chute\"\nwhen = \"height below\"\nvalue = 150\nspread_s = 0.001\n".to_owned(),
        "[limits]\nceiling_m = 2000\nceiling_above = \"sea level\"\n".to_owned(),
    ]
    .concat();
    let setup = one_motor("", 0.0, &rest);
    let all = margins(&setup, &Sample::of(&setup));
    // The burn time spreads by 9 % by itself: thrust at its slow and at its hard end.
    let (slow, hard) = (1.0 + 1.645 * 0.09, 1.0 - 1.645 * 0.09);
    let large = libm::exp(1.645 * 0.15);
    for (key, wanted, share) in [
        ("thrust_first", 1700.0 / 2.6 / 8.0 / 9.8031 / slow, 0.03),
        // A short burn loses less to gravity, 9.8 m/s2 of its time; half a per cent each of impulse and mass beside.
        ("gnss_speed:B", 190.923 + 1.645 * libm::hypot(9.8 * 2.6 * 0.09, 190.923 * 0.00707), 0.01),
        ("gnss_acceleration:B", 84.062 / hard, 0.03),
        ("gnss_height:B", 990.0 + 1524.460, 0.02),
        ("ceiling", 990.0 + 1524.460, 0.02),
        // Beside 19.663 m/s of climb, sideways and normal on each of two axes: 3.05 m/s of wind that nobody told (0.5 m/s and 0.2 %
        // of the height), 1.67 m/s of lean (0.5 degrees at burnout); 5.991 is chi2.ppf(0.95, 2).
        ("cue:air", libm::sqrt(19.663 * 19.663 + 5.991 * (3.05 * 3.05 + 1.67 * 1.67)), 0.03),
        ("cue:pressure", 0.5 * 0.93111 * (19.663 * 19.663 + 5.991 * (3.05 * 3.05 + 1.67 * 1.67)), 0.05),
        // Four million draws of numpy of that pressure times 0.3 m2 with its spread.
        ("cue:load", 74.754, 0.05),
        // 7.1 kg at 150 m above the pad, 1.0616 kg/m3, under the small end of its area.
        ("descent:B:drogue", 20.906 * libm::sqrt(large), 0.03),
    ] {
        let figure = find(&all, &format!("margin:{key}")).figure.unwrap();
        assert!((figure / wanted - 1.0).abs() < share, "{key}: {figure}, {wanted}");
    }
}

/// atan(w / v): v is SciPy's 17.023 m/s two metres up, spread by half of the burn time's 9 %; the wind is told at that height,
/// and gusts of at least 0.5 m/s are on it.
#[test]
fn the_angle_of_attack_is_that_of_the_wind_against_the_speed() {
    let setup = one_motor("", 4.0, "");
    let all = margins(&setup, &Sample::of(&setup));
    let share = libm::hypot(libm::hypot(0.1, 0.5) / 4.0, 0.045);
    let wanted = libm::atan(4.0 / 17.023 * (1.0 + 1.645 * share));
    let figure = find(&all, "margin:attack").figure.unwrap();
    assert!((figure / wanted - 1.0).abs() < 0.04, "{} {}", figure.to_degrees(), wanted.to_degrees());
}

/// Areas that hold everything, and one far away: shares of one and none. Without a chute in still air it comes down within
/// the distance that its lean takes it.
#[test]
fn shares_of_landings_are_all_or_none_where_an_area_holds_all_or_none() {
    let square = |name: &str, kind: &str, east: f64| {
        format!(
            "[[site.area]]\nname = \"{name}\"\nkind = \"{kind}\"\nclosed = true\npoints_m = [[{}, -9000], [{}, -9000], [{}, 9000], [{}, 9000]]\n",
            east - 9000.0,
            east + 9000.0,
            east + 9000.0,
            east - 9000.0
        )
    };
    let site =
        [square("all", "landing", 0.0), square("town", "people", 0.0), square("far", "people", 30_000.0)];
    let setup = one_motor(&site.concat(), 0.0, "");
    let all = margins(&setup, &Sample::of_some(&setup, 200));
    let figure = |key: &str| find(&all, key).figure.unwrap();
    assert_eq!(figure("margin:place:bare:outside"), 0.0);
    assert_eq!((figure("margin:place:bare:town"), figure("margin:place:bare:far")), (1.0, 0.0));
    assert!(find(&all, "margin:place:bare:town").level == Some(Level::Act));
    // The pad is in the one, and 21 km from the other.
    assert_eq!((figure("margin:distance:town"), figure("margin:distance:far")), (0.0, 21_000.0));
    let drift = figure("margin:drift:bare");
    assert!((10.0..300.0).contains(&drift), "{drift}");
}

/// SciPy's `solve_ivp` (relative tolerance 1e-9) on the same vertical equations: flat thrust, mass falling evenly, the US Standard
/// Atmosphere's lapse from the pad's own pressure and temperature (eq. 33a), normal gravity, Cd flat up to Mach 0.8.
#[test]
fn the_nominal_flight_is_what_scipy_makes_of_it() {
    const BURNOUT_M: f64 = 248.325;
    const APOGEE_M: f64 = 1524.460;
    const APOGEE_S: f64 = 17.8304;
    let text = "[site]\nlatitude_deg = 45\nlongitude_deg = 0\nelevation_m = 990\n[weather]\nstation_pressure_hpa = 900\n\
        temperature_c = 18\nwind_mps = 0\nwind_from_deg = 0\n[vehicle]\nliftoff_mass_kg = 8\ndiameter_m = 0.1\n\
        drag_coefficient = 0.5\nrail_guided_length_m = 2\nrail_tilt_from_vertical_deg = 0\nrail_azimuth_deg = 0\n\
        [motor]\ntotal_impulse_ns = 1700\nburn_time_s = 2.6\npropellant_mass_kg = 0.9\n\
        [[link]]\nname = \"radio\"\nkind = \"serial\"\npath = \"/dev/ttyUSB0\"\n";
    let setup = take(text);
    let drawn = picture(&setup, &Sample::of_some(&setup, 30));
    let at = |kind: &str| drawn.moments.iter().find(|m| m.kind == kind).unwrap().at;
    let (out, top) = (at("burnout"), at("apogee"));
    let near = |value: f64, scipy: f64, share: f64| (value / scipy - 1.0).abs() < share;
    assert!(near(out.height_m, BURNOUT_M, 1e-3), "{} {BURNOUT_M}", out.height_m);
    assert!(near(top.height_m, APOGEE_M, 1e-3), "{} {APOGEE_M}", top.height_m);
    assert!((top.t_s - APOGEE_S).abs() < 0.01, "{} {APOGEE_S}", top.t_s);
}
