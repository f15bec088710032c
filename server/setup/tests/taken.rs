//! Short setups that are taken, what they mean, and the defaults that they come with.

use loftwatch_engine::Setup;
use loftwatch_flight::{DescentState, Trigger};
use loftwatch_radio::{Cut, Form, Stored};
use loftwatch_setup::{Change, changes, read, remarks};

fn take(text: &str) -> Setup {
    let mut load = |_: &str| Ok("0,0\n0.1,2000\n2.0,2000\n2.4,0\n".to_owned());
    read(text, "setup.toml", &mut load).unwrap_or_else(|report| panic!("{report}"))
}

const TEN_LINES: &str = r#"[vehicle]
liftoff_mass_kg = 2.4
diameter_m = 0.075
[motor]
total_impulse_ns = 320
[[link]]
name = "radio"
kind = "serial"
path = "/dev/ttyUSB0"
layouts = []
"#;

/// The least that a setup needs.
const LEAST: &str = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n";

#[test]
fn ten_lines_are_enough() {
    assert_eq!(TEN_LINES.lines().count(), 10);
    let setup = take(TEN_LINES);
    let plan = &setup.plan;
    assert_eq!(plan.bodies.len(), 1);
    assert!(plan.bodies[0].has_transmitter && plan.bodies[0].descents.is_empty());
    assert_eq!(plan.bodies[0].name, "vehicle");
    assert_eq!(setup.transmitters, [None]);
    assert_eq!(setup.receivers, ["radio"]);
    assert!(matches!(setup.links[0].framing.cut, Cut::Lines { .. }));
    assert!((plan.weather.pressure_pa - 101_300.0).abs() < 51.0);
    assert!((plan.weather.wind_mps.sd - 4.0).abs() < 1e-12);
    assert!((plan.vehicle.lean_sd_rad.to_degrees() - 6.0).abs() < 1e-9);
    assert!((plan.vehicle.liftoff_mass_kg.sd - 0.072).abs() < 1e-9);
    assert!((plan.motors[0].impulse_ns.sd - 22.4).abs() < 1e-9);
    // Seven times the weight: 320 / (7 * 2.4 * 9.81) s.
    assert!((plan.motors[0].burn_time_s - 1.94).abs() < 0.01);
    assert!((plan.motors[0].propellant_mass_kg - 0.163).abs() < 0.001);
    let said = |key: &str| setup.defaults.iter().find(|d| d.0 == key).map(|d| d.1.as_str());
    assert_eq!(said("vehicle.drag_coefficient"), Some("0.55"));
    assert_eq!(said("vehicle.lean_spread_deg"), Some("6 degrees"));
    assert_eq!(said("link[radio].baud"), Some("115200 baud"));
    assert_eq!(said("weather.wind_mps"), Some("0 m/s, not told"));
}

#[test]
fn a_setup_without_links_is_taken() {
    let setup =
        take("[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n");
    assert!(setup.links.is_empty() && setup.receivers.is_empty());
}

#[test]
fn a_curve_gives_impulse_and_burn_time() {
    let setup =
        take("[vehicle]\nliftoff_mass_kg = 20\ndiameter_m = 0.1\n[motor]\nthrust_curve = \"motor.csv\"\n");
    let motor = &setup.plan.motors[0];
    // By hand: 100 + 3800 + 400.
    assert!((motor.impulse_ns.value - 4300.0).abs() < 1e-9);
    assert!((motor.burn_time_s - 2.4).abs() < 1e-12);
    let scaled = take(
        "[vehicle]\nliftoff_mass_kg = 20\ndiameter_m = 0.1\n[motor]\nthrust_curve = \"m.csv\"\ntotal_impulse_ns = 8600\n",
    );
    assert!((scaled.plan.motors[0].curve[1].1 - 4000.0).abs() < 1e-9);
}

#[test]
fn the_vehicle_comes_first_and_masses_are_what_is_left() {
    let text = r#"
[vehicle]
name = "Two"
liftoff_mass_kg = 10
diameter_m = 0.1
[motor]
total_impulse_ns = 2000
propellant_mass_kg = 1
[[body]]
name = "nose"
parent = "tail"
mass_kg = 3
[[body]]
name = "tail"
[[body.descent]]
state = "drogue"
cue = "apart"
rate_mps = 20
[[cue]]
name = "apart"
kind = "separation"
when = "after apogee"
"#;
    let setup = take(text);
    let bodies = &setup.plan.bodies;
    assert_eq!((bodies[0].name.as_str(), bodies[1].name.as_str()), ("tail", "nose"));
    assert_eq!(bodies[1].parent, Some(0));
    assert!((bodies[0].mass_kg.value - 6.0).abs() < 1e-9);
    assert_eq!(bodies[0].descents[0].state, DescentState::Drogue);
    // 2 m g / (rho v^2) with 1.225 kg/m3 and 9.806 m/s2.
    assert!((bodies[0].descents[0].drag_area_m2.value - 2.0 * 6.0 * 9.806 / (1.225 * 400.0)).abs() < 2e-3);
    assert_eq!(setup.plan.cues[0].trigger, Trigger::AfterApogee(0.0));
    assert!((setup.plan.cues[0].mass_kg - 6.0).abs() < 1e-9);
}

#[test]
fn stages_take_over_what_is_not_told() {
    let text = r"
[vehicle]
liftoff_mass_kg = 20
diameter_m = 0.15
drag_coefficient = 0.5
[motor]
total_impulse_ns = 4000
propellant_mass_kg = 2
[[upper_motor]]
total_impulse_ns = 2000
dropped_mass_kg = 8
diameter_m = 0.1
";
    let setup = take(text);
    let upper = &setup.plan.motors[1];
    assert!((upper.drag_coefficient.value - 0.5).abs() < 1e-12);
    assert!((upper.drag_coefficient.sd - 0.125).abs() < 1e-12);
    assert!((upper.ignition_after_burnout_s.value - 1.0).abs() < 1e-12);
    // 20 - 2 - 8 - what the upper motor burns.
    let left = 10.0 - upper.propellant_mass_kg;
    assert!((setup.plan.bodies[0].mass_kg.value - left).abs() < 1e-9);
}

/// A booster that is told as what is dropped and as a body of its own weighs once, whichever way it is let go; a nose cone is no booster.
#[test]
fn a_stage_that_comes_down_by_itself_is_counted_once() {
    let text = |kind: &str, when: &str| {
        format!(
            r#"
[vehicle]
name = "Tall"
liftoff_mass_kg = 20
diameter_m = 0.15
[motor]
total_impulse_ns = 4000
propellant_mass_kg = 2
[[upper_motor]]
total_impulse_ns = 2000
propellant_mass_kg = 1
dropped_mass_kg = 8
[[body]]
name = "Tall"
[[body]]
name = "Part"
mass_kg = 8
freed_by = "apart"
[[cue]]
name = "apart"
kind = "{kind}"
when = "{when}"
value = 0.5
"#
        )
    };
    let left = |kind, when| take(&text(kind, when)).plan.bodies[0].mass_kg.value;
    assert!((left("separation", "after burnout") - 9.0).abs() < 1e-9);
    assert!((left("staging", "after burnout") - 9.0).abs() < 1e-9);
    assert!((left("separation", "after apogee") - 1.0).abs() < 1e-9, "a nose cone, and a stage besides");
}

#[test]
fn layouts_mean_what_they_say() {
    let text = r#"
[vehicle]
liftoff_mass_kg = 2.4
diameter_m = 0.075
[motor]
total_impulse_ns = 320
[[layout]]
name = "text"
kind = "text"
starts_with = "LW1"
[[layout.field]]
name = "t"
unit = "ms"
means = "onboard time"
[[layout.field]]
name = "note"
type = "text"
[[layout]]
name = "bytes"
kind = "binary"
byte_order = "big"
[[layout.field]]
type = "skip"
bytes = 3
[[layout.field]]
name = "flags"
type = "bits"
bits = [{ bit = 9, width = 2, name = "mode", values = { 0 = "pad", 1 = "up" } }]
[[layout.field]]
name = "temp"
type = "i16"
scale = 0.1
unit = "degC"
means = "temperature"
[[link]]
name = "in"
kind = "stdin"
"#;
    let setup = take(text);
    assert!(matches!(&setup.layouts[0].form, Form::Text { separator, .. } if separator == ","));
    let fields = setup.layouts[1].fields();
    assert_eq!(fields[0].stored, Stored::Skip(3));
    assert_eq!(fields[1].stored, Stored::Unsigned(2));
    assert_eq!(fields[1].bits[0].values, [(0, "pad".to_owned()), (1, "up".to_owned())]);
    assert!((fields[2].si_offset - 273.15).abs() < 1e-9);
    assert_eq!(setup.links[0].layouts, [0, 1]);
    assert_eq!(setup.links[0].framing.cut, Cut::Cobs);
}

#[test]
fn a_channel_that_no_cue_has_is_remarked_upon() {
    let with = |cue: &str, means: &str, channel: &str| {
        let cue = if cue.is_empty() {
            String::new()
        } else {
            format!("[[cue]]\nname = \"{cue}\"\nkind = \"chute\"\nwhen = \"after apogee\"\n")
        };
        remarks(&take(&format!(
            "{}{cue}[[layout]]\nname = \"flags\"\nkind = \"binary\"\n[[layout.field]]\nname = \"state\"\ntype = \"u8\"\n\
             bits = [{{ bit = 0, name = \"up\", means = \"{means}\", channel = \"{channel}\" }}]\n\
             [[layout.field]]\nname = \"own\"\ntype = \"u8\"\nmeans = \"{means}\"\nchannel = \"{channel} B\"\n",
            TEN_LINES.replace("layouts = []", ""),
        )))
    };
    let said = with("drogue out", "fired", "droge out");
    assert_eq!(said.len(), 2, "{said:?}");
    assert_eq!(
        said[0],
        "`layout[flags].field[state].bits[up].channel`: no cue is called \"droge out\", so what it says is kept but \
         makes no event; did you mean \"drogue out\"?"
    );
    assert!(said[1].starts_with("`layout[flags].field[own].channel`: no cue is called \"droge out B\""));
    assert_eq!(with("drogue out", "commanded", "Drogue OUT").len(), 1, "only the second channel is no cue");
    assert_eq!(with("drogue out", "armed", "droge out").len(), 0, "no event would follow from it");
    let own = with("", "fired", "buzzer");
    assert!(own.len() == 2 && !own[0].contains("did you mean"), "{own:?}");
}

#[test]
fn lines_of_columns_without_a_needed_checksum_are_remarked_upon() {
    let with = |framing: &str, kind: &str| {
        remarks(&take(&format!(
            "{LEAST}[[link]]\nname = \"csv\"\nkind = \"stdin\"\n[link.framing]\nkind = \"lines\"\n{framing}\n\
             [[layout]]\nname = \"cam\"\nkind = \"{kind}\"\n[[layout.field]]\nname = \"n\"\n"
        )))
    };
    let expected = "`link[csv].framing.checksum`: a line of \"cam\" that is cut within its last column looks whole; \
                    if its lines end in a checksum, write `checksum = \"xor\"`";
    assert_eq!(with("", "text"), [expected]);
    assert_eq!(with("checksum = \"none\"", "text"), [expected]);
    for needed in ["checksum = \"xor\"", "crc = \"CRC-16/XMODEM\""] {
        assert_eq!(with(needed, "text"), Vec::<String>::new(), "{needed}");
    }
    // Half an object is none.
    assert_eq!(with("", "json"), Vec::<String>::new());
}

#[test]
fn two_fields_of_one_key_are_remarked_upon() {
    let said = remarks(&take(&format!(
        "{LEAST}[[layout]]\nname = \"nose\"\nkind = \"json\"\n[[layout.field]]\nname = \"lat\"\nkey = \"gps.lat\"\n\
         [[layout.field]]\nname = \"lon\"\nkey = \"gps.lat\"\n"
    )));
    assert_eq!(said, ["`layout[nose].field[lon].key`: \"gps.lat\" is what `lat` reads already"]);
}

#[test]
fn changes_are_named_with_when_they_may_take_hold() {
    let old = take(TEN_LINES);
    let new = take(&TEN_LINES.replace("ttyUSB0", "ttyUSB1").replace("2.4", "2.5"));
    let all = changes(&old, &new);
    let of = |key: &str| all.iter().find(|c| c.key == key).unwrap_or_else(|| panic!("{key} in {all:?}"));
    let link = of("link[radio].source");
    assert_eq!(link.change, Change::Now);
    assert!(link.old.contains("ttyUSB0") && link.new.contains("ttyUSB1"));
    assert_eq!(of("vehicle.liftoff_mass_kg").change, Change::OnTheGround);
    assert!(all.iter().all(|c| !c.key.starts_with("site")), "{all:?}");
    assert!(changes(&old, &old).is_empty());
    let gone = changes(&old, &take(&TEN_LINES[..TEN_LINES.find("[[link]]").unwrap_or(0)]));
    assert!(gone.iter().any(|c| c.key == "link[radio].source" && c.new.is_empty()), "{gone:?}");
}
