//! Every setup file in the repository is taken, and says what it is meant to say.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads the files that are shipped"
)]

use std::path::{Path, PathBuf};

use loftwatch_engine::Setup;
use loftwatch_engine::setup::Source;
use loftwatch_flight::Trigger;
use loftwatch_radio::Meaning;

fn demo_data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data")
}

fn read_file(path: &Path) -> Setup {
    let text = std::fs::read_to_string(path).unwrap();
    let mut load =
        |name: &str| std::fs::read_to_string(path.with_file_name(name)).map_err(|error| error.to_string());
    loftwatch_setup::read(&text, &path.display().to_string(), &mut load)
        .unwrap_or_else(|report| panic!("{report}"))
}

fn setups_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            setups_below(&path, found);
        } else if path.extension().is_some_and(|e| e == "toml") {
            found.push(path);
        }
    }
}

#[test]
fn every_shipped_setup_is_taken() {
    let mut found = Vec::new();
    setups_below(&demo_data(), &mut found);
    assert!(!found.is_empty());
    for path in found {
        let setup = read_file(&path);
        assert!(!setup.plan.motors.is_empty() && !setup.plan.bodies.is_empty(), "{}", path.display());
        assert!(!setup.links.is_empty() && !setup.layouts.is_empty(), "{}", path.display());
    }
}

#[test]
fn tall_order_means_what_it_says() {
    let setup = read_file(&demo_data().join("tall-order/setup.toml"));
    let plan = &setup.plan;
    assert_eq!(setup.vehicle_name, "Tall Order");
    assert_eq!(
        plan.bodies.iter().map(|b| b.name.as_str()).collect::<Vec<_>>(),
        ["Body", "Cam A", "Cam B", "Cam C"]
    );
    assert_eq!(setup.transmitters, [Some(1), Some(2), Some(3), Some(4)]);
    assert_eq!(setup.receivers, ["Mast", "Truck"]);
    assert_eq!(plan.bodies[1].freed_by, Some(0));
    assert_eq!(plan.cues[0].trigger, Trigger::ClimbRateBelow(19.6));
    assert_eq!(plan.cues[5].trigger, Trigger::AfterCue(0, 3.0));
    assert!((plan.weather.pressure_pa - 87_600.0).abs() < 1e-6);
    assert!((plan.weather.temperature_k - 297.15).abs() < 1e-9);
    assert!((plan.site.latitude_rad.to_degrees() - 38.25).abs() < 1e-12);
    // 2.6 kg at 6 m/s in air of 876 hPa and 24 degrees: m g / (rho v^2 / 2), by hand 2.6 * 9.797 / (1.027 * 18).
    let area = plan.bodies[1].descents[0].drag_area_m2;
    assert!((area.value - 1.378).abs() < 0.005, "{area:?}");
    assert!((area.sd / area.value - 0.15).abs() < 1e-12);
    assert!(matches!(
        &setup.links[0].source,
        Source::Serial { baud: 115_200, data_bits: 8, stop_bits: 1, .. }
    ));
    let pressure = setup.layouts[0].fields().iter().find(|f| f.meaning == Meaning::Pressure).unwrap();
    assert!((pressure.scale * pressure.si_scale - 1.0).abs() < 1e-12);
    let defaults: Vec<&str> = setup.defaults.iter().map(|d| d.0.as_str()).collect();
    for key in [
        "vehicle.drag_spread_percent",
        "motor.impulse_spread_percent",
        "body[Body].descent[1].spread_percent",
    ] {
        assert!(defaults.contains(&key), "{key} in {defaults:?}");
    }
    assert!(!defaults.contains(&"vehicle.drag_coefficient"));
}
