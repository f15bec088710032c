//! Every setup file in the repository is taken, and says what it is meant to say.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads the files that are shipped"
)]

use std::path::{Path, PathBuf};

use base64::Engine;
use loftwatch_engine::Setup;
use loftwatch_engine::setup::Source;
use loftwatch_flight::Trigger;
use loftwatch_radio::{Hints, Meaning, Splitter};

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

/// What a shipped recording gives through its setup: readings, frames, first pressure in Pa.
fn heard(folder: &Path, setup: &Setup) -> (usize, usize, Option<f64>) {
    let links = setup.links.iter().map(|link| {
        let hints = Hints::of(link.layouts.iter().map(|&layout| &setup.layouts[layout]));
        (link.name.clone(), Splitter::with_hints(&link.framing, hints))
    });
    let mut splitters: std::collections::BTreeMap<String, Splitter> = links.collect();
    let (mut readings, mut frames, mut pressure) = (0, 0, None);
    for line in std::fs::read_to_string(folder.join("flight.jsonl")).unwrap().lines() {
        let piece: serde_json::Value = serde_json::from_str(line).unwrap();
        let name = piece["link"].as_str().unwrap();
        let bytes = base64::prelude::BASE64_STANDARD.decode(piece["bytes"].as_str().unwrap()).unwrap();
        let link = setup.links.iter().find(|link| link.name == name).unwrap();
        splitters.get_mut(name).unwrap().push(&bytes, 0, &mut |frame| {
            frames += 1;
            let Ok(payload) = frame.payload else { return };
            let layouts = link.layouts.iter().map(|&layout| &setup.layouts[layout]);
            if let Some(layout) = layouts.into_iter().find(|layout| layout.matches(payload)) {
                readings += 1;
                pressure = pressure.or_else(|| layout.number(&layout.decode(payload), Meaning::Pressure));
            }
        });
    }
    (readings, frames, pressure)
}

#[test]
fn shipped_recordings_are_read_by_their_setups() {
    let mut tried = 0;
    for entry in std::fs::read_dir(demo_data()).unwrap() {
        let folder = entry.unwrap().path();
        if !folder.join("flight.jsonl").exists() {
            continue;
        }
        let setup = read_file(&folder.join("setup.toml"));
        let (readings, frames, pressure) = heard(&folder, &setup);
        let name = folder.display();
        assert!(
            readings > 200 && readings * 10 > frames * 8,
            "{name}: {readings} readings in {frames} frames"
        );
        // On the pad: within the told station pressure's plausible error and a sensor's offset.
        let pad_pa = setup.plan.weather.pressure_pa;
        assert!(
            pressure.is_some_and(|pa| (pa - pad_pa).abs() < 1500.0),
            "{name}: {pressure:?}, pad {pad_pa}"
        );
        tried += 1;
    }
    assert!(tried >= 4, "{tried}");
}
