//! Readiness on the pad, from packets: what is within limits, what is not and why, what the crew accepted.

mod fake;

use fake::{START_NS, setup};
use loftwatch_engine::output::{Accepted, Check, Level};
use loftwatch_engine::preparation::{Board, Bound};
use loftwatch_engine::{Engine, Input, Output, Said, Setup, What};
use loftwatch_radio::{Field, Form, Layout, Meaning, Stored};

fn column(name: &str, meaning: Meaning) -> Field {
    Field { meaning, ..Field::new(name, Stored::Number) }
}

fn channel(name: &str, meaning: Meaning) -> Field {
    Field { channel: Some("drogue out".into()), ..column(name, meaning) }
}

/// A packet with all that readiness looks at.
fn layout() -> Layout {
    let degrees = std::f64::consts::PI / 180.0;
    let fields = vec![
        column("tx", Meaning::Transmitter),
        Field { si_scale: 1e-3, ..column("ms", Meaning::OnboardTime) },
        column("p", Meaning::Pressure),
        column("a", Meaning::AxialSpecificForce),
        column("ay", Meaning::LateralSpecificForceY),
        column("az", Meaning::LateralSpecificForceZ),
        column("fix", Meaning::FixValid),
        Field { si_scale: degrees, ..column("lat", Meaning::Latitude) },
        Field { si_scale: degrees, ..column("lon", Meaning::Longitude) },
        column("sats", Meaning::Satellites),
        column("hdop", Meaning::HorizontalDilution),
        channel("circuit", Meaning::Continuity),
        channel("armed", Meaning::Armed),
        column("battery", Meaning::BatteryVoltage),
        column("left", Meaning::StorageLeft),
        column("boots", Meaning::RestartCount),
    ];
    let form = Form::Text { separator: ",".into(), starts_with: Some("LW1".into()), fields };
    Layout { name: "pad packet".into(), form, body: None, rate_hz: Some(10.0) }
}

fn told() -> Setup {
    let mut told = setup();
    told.layouts = vec![layout()];
    let least = Board { battery_least_v: Some(7.4), ..Board::default() };
    told.preparation.boards = vec![least.clone(), least];
    told
}

/// What a board says.
#[derive(Clone, Copy)]
struct Says {
    pressure_pa: f64,
    force: [f64; 3],
    fix: u8,
    north_m: f64,
    satellites: u8,
    dilution: f64,
    circuit: u8,
    armed: u8,
    battery_v: f64,
    left: f64,
    boots: u32,
    trembles: bool,
    clock: f64,
}

const WELL: Says = Says {
    pressure_pa: 87_650.0,
    force: [9.79, 0.1, -0.1],
    fix: 1,
    north_m: 5.0,
    satellites: 11,
    dilution: 1.1,
    circuit: 1,
    armed: 0,
    battery_v: 7.6,
    left: 0.8,
    boots: 3,
    trembles: true,
    clock: 1.0,
};

/// An engine that is spoken to.
struct Pad {
    engine: Engine,
    out: Vec<Output>,
    inputs: u64,
    ms: i64,
}

impl Pad {
    fn new(told: Setup) -> Self {
        Self { engine: Engine::new(told, START_NS), out: Vec::new(), inputs: 0, ms: 0 }
    }

    fn push(&mut self, what: What) {
        self.inputs += 1;
        let t_ns = START_NS + self.ms * 1_000_000;
        self.engine.step(&Input { number: self.inputs, t_ns, utc_ns: t_ns, what }, &mut self.out);
    }

    /// Seconds of packets, ten a second, of the transmitters given.
    fn hear(&mut self, seconds: u32, transmitters: &[u32], says: Says) {
        for step in 0..seconds * 10 {
            self.ms += 100;
            for &tx in transmitters {
                let ripple = if says.trembles { f64::from((step * 7 + tx) % 11) - 5.0 } else { 0.0 };
                let body = format!(
                    "LW1,{tx},{:.0},{:.1},{:.2},{:.2},{:.2},{},{:.6},{:.6},{},{:.1},{},{},{:.2},{:.2},{}",
                    self.ms as f64 * says.clock + 5000.0,
                    says.pressure_pa + ripple,
                    says.force[0] + 0.01 * ripple,
                    says.force[1] + 0.01 * ripple,
                    says.force[2] + 0.01 * ripple,
                    says.fix,
                    fake::LATITUDE_DEG + says.north_m / 111_195.0,
                    fake::LONGITUDE_DEG,
                    says.satellites,
                    says.dilution,
                    says.circuit,
                    says.armed,
                    says.battery_v,
                    says.left,
                    says.boots,
                );
                let xor = body.bytes().fold(0_u8, |x, b| x ^ b);
                for link in ["mast", "table"] {
                    let bytes = format!("{body}*{xor:02X}\r\n").into_bytes();
                    self.push(What::Bytes { link: link.into(), bytes });
                }
            }
        }
    }

    fn wait(&mut self, seconds: i64) {
        self.ms += seconds * 1000;
        self.engine.advance(START_NS + self.ms * 1_000_000, &mut self.out);
    }

    /// The newest checks.
    fn checks(&self) -> Vec<Check> {
        let newest = self.out.iter().rev().find_map(|output| match &output.what {
            Said::Readiness(checks) => Some(checks.clone()),
            _ => None,
        });
        newest.unwrap_or_default()
    }

    /// Keys of what is not within limits.
    fn amiss(&self) -> Vec<(String, Level)> {
        self.checks().iter().filter_map(|c| Some((c.key.clone(), c.level?))).collect()
    }

    fn check(&self, key: &str) -> Check {
        let found = self.checks().into_iter().find(|check| check.key == key);
        found.unwrap_or_else(|| panic!("no {key} in {:?}", self.checks()))
    }
}

fn amiss_after(change: impl Fn(&mut Says)) -> Vec<(String, Level)> {
    let mut pad = Pad::new(told());
    pad.hear(12, &[1, 2], WELL);
    assert_eq!(pad.amiss(), [], "all is well before");
    let mut says = WELL;
    change(&mut says);
    pad.hear(13, &[1], says);
    pad.amiss().into_iter().filter(|(key, _)| key != "heard:Cam A" && !key.ends_with("Cam A")).collect()
}

#[test]
fn what_is_well_is_within_limits_with_figure_limit_and_source() {
    let mut pad = Pad::new(told());
    pad.hear(40, &[1, 2], WELL);
    assert_eq!(pad.amiss(), []);
    let checks = pad.checks();
    assert!(checks.len() > 20, "{}", checks.len());
    for check in &checks {
        assert!(
            !check.figure.is_empty() && !check.limit.is_empty() && !check.limit_from.is_empty(),
            "{check:?}"
        );
    }
    let what = |key: &str| {
        let check = pad.check(key);
        (check.figure, check.limit)
    };
    let words = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    assert_eq!(what("battery:Cam A"), words("7.60 V", "at least 7.40 V"));
    assert_eq!(what("satellites:Body"), words("11", "at least 6"));
    assert_eq!(what("fix:Body"), words("5 m from the pad", "within 50 m of the told pad"));
    assert_eq!(what("armed:drogue out"), words("safe", "armed only when upright"));
    assert_eq!(what("continuity:drogue out"), words("closed", "closed"));
    assert_eq!(pad.check("storage:Body").figure, "80 %");
    assert!(pad.check("clock:Body").figure.starts_with("0.0 %"), "{}", pad.check("clock:Body").figure);
}

#[test]
fn nothing_of_it_says_that_anything_is_ready_safe_to_go_or_about_the_igniter_of_the_launcher() {
    let mut pad = Pad::new(told());
    pad.hear(3, &[1], Says { circuit: 2, armed: 1, fix: 0, battery_v: 6.0, ..WELL });
    pad.wait(20);
    for check in pad
        .out
        .iter()
        .filter_map(|o| match &o.what {
            Said::Readiness(checks) => Some(checks),
            _ => None,
        })
        .flatten()
    {
        let words = format!("{} {} {} {}", check.what, check.figure, check.limit, check.words).to_lowercase();
        for never in ["ready", "is safe", "safe to", "good to go", "clear to", "launcher", "launch igniter"] {
            assert!(!words.contains(never), "{words}");
        }
    }
}

#[test]
fn each_thing_that_is_amiss_is_told_and_nothing_else_is() {
    let one = |key: &str, level| vec![(key.to_owned(), level)];
    assert_eq!(amiss_after(|s| s.fix = 0), one("fix:Body", Level::Act));
    assert_eq!(amiss_after(|s| s.north_m = 400.0), one("fix:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.satellites = 4), one("satellites:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.dilution = 6.0), one("dilution:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.circuit = 0), one("continuity:drogue out", Level::Look), "open and safe");
    assert_eq!(amiss_after(|s| s.circuit = 2), one("continuity:drogue out", Level::Act), "short");
    assert_eq!(amiss_after(|s| s.battery_v = 7.3), one("battery:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.left = 0.02), one("storage:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.boots = 4), one("restart:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.trembles = false), one("sensors:Body", Level::Look), "stands still");
    assert_eq!(amiss_after(|s| s.armed = 1), [], "armed and upright is the crew's own step");
    let lies = |s: &mut Says| s.force = [0.3, 9.7, 0.5];
    assert_eq!(amiss_after(lies), one("upright:Body", Level::Look));
    assert_eq!(amiss_after(|s| s.force = [9.5, 2.4, 0.0]), one("rail:Body", Level::Look), "14 degrees");
    assert_eq!(amiss_after(|s| s.force = [9.5, 2.4, 2.4]), [], "offsets, not a lean: more than 1 g at rest");
    let armed_lying = amiss_after(|s| {
        lies(s);
        s.armed = 1;
    });
    assert!(armed_lying.contains(&("armed:drogue out".to_owned(), Level::Act)), "{armed_lying:?}");
    let open_armed = amiss_after(|s| (s.circuit, s.armed) = (0, 1));
    assert_eq!(open_armed, one("continuity:drogue out", Level::Act));
}

#[test]
fn a_pressure_that_jumps_or_is_far_from_the_stations_is_told() {
    let mut pad = Pad::new(told());
    pad.hear(12, &[1, 2], WELL);
    pad.hear(1, &[1, 2], Says { pressure_pa: 87_650.0 - 90.0, ..WELL });
    assert!(
        pad.check("sensors:Body").figure.starts_with("pressure jumped by "),
        "{:?}",
        pad.check("sensors:Body")
    );
    pad.hear(35, &[1, 2], Says { pressure_pa: 87_650.0 - 90.0, ..WELL });
    assert_eq!(pad.amiss(), [], "after half a minute a jump is past");
    pad.hear(20, &[1, 2], Says { pressure_pa: 88_200.0, ..WELL });
    assert!(pad.amiss().contains(&("pressure:Body".to_owned(), Level::Look)), "{:?}", pad.amiss());
}

#[test]
fn a_clock_in_another_unit_than_told_is_told() {
    let mut pad = Pad::new(told());
    pad.hear(70, &[1], Says { clock: 1.024, ..WELL });
    let check = pad.check("clock:Body");
    assert_eq!(check.level, Some(Level::Look), "{check:?}");
    assert!(check.figure.starts_with("2.4 % fast"), "{}", check.figure);
}

#[test]
fn who_falls_silent_is_told_after_the_limit_and_its_old_figures_go() {
    let mut pad = Pad::new(told());
    pad.hear(5, &[1, 2], WELL);
    pad.hear(9, &[1], WELL);
    assert_eq!(pad.check("heard:Cam A").level, None);
    pad.hear(4, &[1], WELL);
    let check = pad.check("heard:Cam A");
    assert_eq!((check.level, check.figure.as_str()), (Some(Level::Act), "silent"));
    assert_eq!(check.since_ns, Some(START_NS + 5_000_000_000));
    assert!(!pad.checks().iter().any(|c| c.key == "battery:Cam A"));
    pad.wait(30);
    assert_eq!(pad.check("heard:Body").level, Some(Level::Act));
    assert_eq!(pad.check("receiver:Mast").level, Some(Level::Look));
    let said = pad.out.len();
    pad.wait(3600);
    assert!(
        !pad.out[said..].iter().any(|o| matches!(o.what, Said::Readiness(_))),
        "nothing new is not said again"
    );
}

#[test]
fn told_limits_hold_and_say_that_the_crew_told_them() {
    let mut told = told();
    told.preparation.limits.satellites_least = Bound::usual(12.0, "told by crew");
    let mut pad = Pad::new(told);
    pad.hear(3, &[1, 2], WELL);
    let check = pad.check("satellites:Body");
    assert_eq!((check.level, check.limit_from.as_str()), (Some(Level::Look), "told by crew"));
}

#[test]
fn an_acceptance_is_recorded_covers_what_was_seen_and_falls_when_it_gets_worse() {
    let accept = |on| {
        What::Accept(Box::new(Accepted {
            key: "continuity:drogue out".into(),
            on,
            what: "drogue out continuity".into(),
            figure: "open, safe".into(),
            limit: "closed".into(),
            who: "Mo".into(),
            why: "its switch stands in between".into(),
        }))
    };
    let mut pad = Pad::new(told());
    pad.hear(3, &[1, 2], Says { circuit: 0, ..WELL });
    assert_eq!(pad.check("continuity:drogue out").level, Some(Level::Look));
    pad.push(accept(true));
    let by = pad.check("continuity:drogue out").accepted;
    assert_eq!(by.map(|a| (a.who, a.why)), Some(("Mo".into(), "its switch stands in between".into())));
    let record = pad.out.iter().find(|o| matches!(&o.what, Said::Accepted(a) if a.on && a.who == "Mo"));
    assert_eq!(record.map(|o| o.flight), Some(1), "it stays in the record of the flight");
    pad.hear(3, &[1, 2], Says { circuit: 2, ..WELL });
    assert_eq!(pad.check("continuity:drogue out").accepted, None, "a short was not what was accepted");
    pad.hear(3, &[1, 2], Says { circuit: 0, ..WELL });
    assert!(pad.check("continuity:drogue out").accepted.is_some());
    pad.push(accept(false));
    assert_eq!(pad.check("continuity:drogue out").accepted, None);
    pad.push(What::EndFlight { who: "Mo".into() });
    let before = pad.out.len();
    pad.push(accept(true));
    assert!(!pad.out[before..].iter().any(|o| matches!(o.what, Said::Accepted(_))), "no flight is open");
}

#[test]
fn in_flight_it_is_silent() {
    let mut out = Vec::new();
    let mut engine = Engine::new(setup(), START_NS);
    for input in fake::inputs(fake::Story::default()) {
        engine.step(&input, &mut out);
    }
    let liftoff = out.iter().position(|o| matches!(&o.what, Said::Flight(f) if f.liftoff_ns.is_some()));
    let liftoff = liftoff.unwrap_or_else(|| panic!("it lifts off"));
    assert!(out[..liftoff].iter().any(|o| matches!(o.what, Said::Readiness(_))));
    assert!(!out[liftoff..].iter().any(|o| matches!(o.what, Said::Readiness(_))));
}
