//! A vehicle made up for tests: its setup, its motion, its packets. Shares no code with the estimator: constant gravity,
//! an exponential atmosphere and a fixed time step are enough to see whether the engine does its work.

#![allow(dead_code, reason = "each test file uses its own part of it")]

use loftwatch_engine::setup::{Area, AreaKind, Link, Source};
use loftwatch_engine::{Engine, Input, Output, Setup, What};
use loftwatch_flight::{
    Body, Cue, CueKind, Descent, DescentState, Limit, LimitOf, Motor, Plan, Site, Told, Trigger, Vehicle,
    Weather,
};
use loftwatch_radio::{Cut, Field, Form, Framing, Layout, LineChecksum, Meaning, Stored};

/// Station time at which the tests begin, ns.
pub(crate) const START_NS: i64 = 1_800_000_000_000_000_000;
const PRESSURE_PA: f64 = 87_600.0;
const SCALE_M: f64 = 8_700.0;
const DENSITY: f64 = 1.03;
const G: f64 = 9.8;
pub(crate) const LATITUDE_DEG: f64 = 38.25;
pub(crate) const LONGITUDE_DEG: f64 = -117.35;

fn told(value: f64, sd: f64) -> Told {
    Told { value, sd }
}

fn cue(name: &str, kind: CueKind, body: usize, trigger: Trigger, limit: Option<f64>, mass_kg: f64) -> Cue {
    let from = "told by crew".to_owned();
    let limit = limit.map(|value| Limit { of: LimitOf::Airspeed, value, from });
    Cue { name: name.into(), kind, body, trigger, delay_s: told(0.1, 0.1), limit, mass_kg }
}

/// A vehicle of 34 kg with one camera, drogue and main, told truthfully.
pub(crate) fn plan() -> Plan {
    let vehicle = Vehicle {
        liftoff_mass_kg: told(34.0, 1.0),
        diameter_m: 0.24,
        drag_coefficient: told(0.65, 0.16),
        rail_length_m: 3.5,
        rail_tilt_rad: 0.05,
        rail_azimuth_rad: Some(0.35),
        lean_sd_rad: 0.1,
    };
    let motor = Motor {
        impulse_ns: told(4350.0, 300.0),
        burn_time_s: 2.4,
        burn_time_ln_sd: 0.0,
        propellant_mass_kg: 2.2,
        curve: vec![],
        ignition_after_burnout_s: told(0.0, 0.0),
        dropped_mass_kg: 0.0,
        drag_coefficient: vehicle.drag_coefficient,
        diameter_m: vehicle.diameter_m,
    };
    let descent = |state, cue, area| Descent { state, cue, drag_area_m2: told(area, 0.15 * area) };
    let body = Body {
        name: "Body".into(),
        parent: None,
        freed_by: None,
        has_transmitter: true,
        mass_kg: told(29.2, 0.9),
        bare_drag_area_m2: told(0.03, 0.01),
        descents: vec![descent(DescentState::Drogue, 0, 1.6), descent(DescentState::Main, 1, 12.0)],
    };
    let camera = Body {
        name: "Cam A".into(),
        parent: Some(0),
        freed_by: Some(2),
        has_transmitter: true,
        mass_kg: told(2.6, 0.1),
        bare_drag_area_m2: told(0.02, 0.006),
        descents: vec![descent(DescentState::Main, 3, 1.2)],
    };
    Plan {
        site: Site {
            latitude_rad: LATITUDE_DEG.to_radians(),
            longitude_rad: LONGITUDE_DEG.to_radians(),
            elevation_m: 1210.0,
            geoid_m: -24.0,
        },
        weather: Weather {
            pressure_pa: PRESSURE_PA,
            temperature_k: 297.0,
            temperature_sd_k: 0.0,
            wind_mps: told(2.0, 1.0),
            wind_from_rad: 4.4,
            wind_height_m: 3.0,
        },
        vehicle,
        motors: vec![motor],
        bodies: vec![body, camera],
        cues: vec![
            cue("drogue out", CueKind::Chute, 0, Trigger::AfterApogee(0.5), Some(30.0), 29.2),
            cue("main out", CueKind::Chute, 0, Trigger::HeightBelow(150.0), None, 29.2),
            cue("Cam A out", CueKind::Release, 0, Trigger::BeforeApogee(2.0), Some(35.0), 2.6),
            cue("Cam A chute", CueKind::Chute, 1, Trigger::AfterCue(2, 3.0), None, 2.6),
        ],
    }
}

fn column(name: &str, meaning: Meaning, si_scale: f64) -> Field {
    Field { si_scale, meaning, ..Field::new(name, Stored::Number) }
}

fn layout() -> Layout {
    let degrees = std::f64::consts::PI / 180.0;
    let fired = Field { channel: Some("drogue out".into()), ..column("drogue", Meaning::Fired, 1.0) };
    let fields = vec![
        column("tx", Meaning::Transmitter, 1.0),
        column("seq", Meaning::Sequence, 1.0),
        column("ms", Meaning::OnboardTime, 1e-3),
        column("p", Meaning::Pressure, 1.0),
        column("a", Meaning::AxialSpecificForce, 1.0),
        column("fix", Meaning::FixValid, 1.0),
        column("lat", Meaning::Latitude, degrees),
        column("lon", Meaning::Longitude, degrees),
        column("h", Meaning::HeightAmsl, 1.0),
        column("vu", Meaning::VelocityUp, 1.0),
        fired,
    ];
    let form = Form::Text { separator: ",".into(), starts_with: Some("LW1".into()), fields };
    Layout { name: "text packet".into(), form, body: None, rate_hz: Some(10.0) }
}

fn link(name: &str, receiver: &str) -> Link {
    Link {
        name: name.into(),
        receiver: receiver.into(),
        source: Source::Stdin,
        framing: Framing { cut: Cut::Lines { checksum: LineChecksum::Xor }, crc: None, max_length: 200 },
        layouts: vec![0],
        delay_s: loftwatch_engine::setup::USUAL_DELAY_S,
    }
}

/// Two receivers, a link each; crowd line south of the pad.
pub(crate) fn setup() -> Setup {
    Setup {
        vehicle_name: "Test Piece".into(),
        site_name: "Test Field".into(),
        plan: plan(),
        transmitters: vec![Some(1), Some(2)],
        areas: vec![Area {
            name: "crowd line".into(),
            kind: AreaKind::People,
            points_m: vec![[-400.0, -120.0], [400.0, -120.0]],
            closed: false,
        }],
        wind_source: "made up".into(),
        receivers: vec!["Mast".into(), "Table".into()],
        links: vec![link("mast", "Mast"), link("table", "Table")],
        layouts: vec![layout()],
        preparation: loftwatch_engine::preparation::Preparation::default(),
        defaults: vec![],
    }
}

/// What differs from a good flight.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Story {
    /// Horizontal speed at burnout, m/s, towards north.
    pub(crate) across_mps: f64,
    pub(crate) drogue_opens: bool,
    pub(crate) main_opens: bool,
    /// From this time after liftoff no packet is heard, s.
    pub(crate) silent_from_s: f64,
    /// Seconds on the pad before, and on the ground after.
    pub(crate) pad_s: f64,
    pub(crate) down_s: f64,
    pub(crate) liftoff: bool,
}

impl Default for Story {
    fn default() -> Self {
        Self {
            across_mps: 6.0,
            drogue_opens: true,
            main_opens: true,
            silent_from_s: f64::INFINITY,
            pad_s: 8.0,
            down_s: 75.0,
            liftoff: true,
        }
    }
}

/// The truth at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Truth {
    pub(crate) t_s: f64,
    pub(crate) height_m: f64,
    pub(crate) climb_mps: f64,
    pub(crate) across_mps: f64,
    pub(crate) north_m: f64,
    pub(crate) axial_mps2: f64,
    pub(crate) drogue: bool,
}

/// The body's motion at 100 Hz from liftoff on, until `down_s` after landing; and the time of apogee.
pub(crate) fn fly(story: Story) -> (Vec<Truth>, f64) {
    let dt = 0.001;
    let (mut v, mut h, mut u, mut x) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
    let (mut apogee_s, mut landed_s) = (f64::NAN, f64::NAN);
    let mut all = Vec::new();
    let mut step = 0_u32;
    loop {
        let t = f64::from(step) * dt;
        let thrust = if t < 2.4 { 4350.0 / 2.4 } else { 0.0 };
        let mass = if apogee_s.is_nan() { 34.0 - 2.2 * (t / 2.4).min(1.0) } else { 29.2 };
        let drogue = story.drogue_opens && t > apogee_s + 0.6;
        let main = story.main_opens && h < 150.0 && t > apogee_s + 1.0;
        let area = if main {
            12.0
        } else if drogue {
            1.6
        } else {
            0.65 * 0.0452
        };
        let rho = DENSITY * libm::exp(-h / SCALE_M);
        let speed = libm::hypot(v, u);
        let drag = 0.5 * rho * speed * area / mass;
        let axial = if landed_s.is_nan() { thrust / mass - drag * speed * v.signum() } else { 0.5 };
        if step.is_multiple_of(10) {
            all.push(Truth {
                t_s: t,
                height_m: h,
                climb_mps: v,
                across_mps: u,
                north_m: x,
                axial_mps2: axial,
                drogue,
            });
        }
        if landed_s.is_nan() {
            if (2.0..2.4).contains(&t) {
                u += story.across_mps / 0.4 * dt;
            }
            let climbing = v > 0.0;
            v += (thrust / mass - G - drag * v) * dt;
            u -= drag * u * dt;
            h += v * dt;
            x += u * dt;
            if climbing && v <= 0.0 {
                apogee_s = t;
            }
            if h <= 0.0 && t > 3.0 {
                landed_s = t;
                (h, v, u) = (0.0, 0.0, 0.0);
            }
        } else if t > landed_s + story.down_s {
            return (all, apogee_s);
        }
        step += 1;
    }
}

/// The camera after it was let go two seconds before apogee: bare for three seconds, then under its chute.
fn fly_camera(body: &[Truth], apogee_s: f64) -> Vec<Truth> {
    let dt = 0.001;
    let mut now = body[((apogee_s - 1.9) * 100.0) as usize];
    let released_s = now.t_s;
    let (mut all, mut step) = (Vec::new(), 0_u32);
    while all.len() < body.len() {
        let area = if now.t_s > released_s + 3.1 { 1.2 } else { 0.02 };
        let rho = DENSITY * libm::exp(-now.height_m / SCALE_M);
        let drag = 0.5 * rho * libm::hypot(now.climb_mps, now.across_mps) * area / 2.6;
        now.axial_mps2 = drag * libm::hypot(now.climb_mps, now.across_mps);
        if step.is_multiple_of(10) {
            all.push(now);
        }
        now.t_s += dt;
        step += 1;
        if now.height_m < 0.0 {
            now = Truth { t_s: now.t_s, north_m: now.north_m, axial_mps2: 0.5, ..Truth::default() };
        } else if now.height_m > 0.0 {
            now.climb_mps -= (G + drag * now.climb_mps) * dt;
            now.across_mps -= drag * now.across_mps * dt;
            now.height_m += now.climb_mps * dt;
            now.north_m += now.across_mps * dt;
        }
    }
    all
}

fn line(tx: u32, seq: u32, ms: u32, at: &Truth, noise: &mut Noise) -> Vec<u8> {
    let p = PRESSURE_PA * libm::exp(-at.height_m / SCALE_M) + 4.0 * noise.next();
    let lat = LATITUDE_DEG + (at.north_m + noise.next()) / 111_000.0;
    let body = format!(
        "LW1,{tx},{seq},{ms},{p:.1},{:.2},1,{lat:.6},{LONGITUDE_DEG:.6},{:.1},{:.2},{}",
        at.axial_mps2 + 0.3 * noise.next(),
        1210.0 + at.height_m + 2.0 * noise.next(),
        at.climb_mps + 0.2 * noise.next(),
        u8::from(at.drogue),
    );
    let xor = body.bytes().fold(0_u8, |x, b| x ^ b);
    format!("{body}*{xor:02X}\r\n").into_bytes()
}

/// A small generator of numbers spread about zero (Lehmer's, constants of Park and Miller 1988).
pub(crate) struct Noise(pub u64);

impl Noise {
    fn raw(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 0x7fff_ffff;
        self.0 as f64 / 2_147_483_647.0
    }
    /// About normal, spread 1.
    pub(crate) fn next(&mut self) -> f64 {
        (0..12).map(|_| self.raw()).sum::<f64>() - 6.0
    }
    /// From 0 up to `n`.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.raw() * n as f64) as usize % n.max(1)
    }
}

/// The inputs of a flight: body and camera at 10 Hz each through the mast, the body's also through the table.
pub(crate) fn inputs(story: Story) -> Vec<Input> {
    let (truth, apogee_s) = fly(story);
    let camera = fly_camera(&truth, apogee_s);
    let released_step = ((apogee_s - 1.9) * 100.0) as usize;
    let mut noise = Noise(42);
    let still = Truth { axial_mps2: G, ..Truth::default() };
    let liftoff_step = (story.pad_s * 100.0) as usize;
    let steps = if story.liftoff { liftoff_step + truth.len() } else { liftoff_step };
    let mut all: Vec<(i64, &str, Vec<u8>)> = Vec::new();
    for step in (0..steps).step_by(10) {
        let at = if step < liftoff_step { &still } else { &truth[step - liftoff_step] };
        let t_s = step as f64 / 100.0;
        if t_s - story.pad_s >= story.silent_from_s {
            break;
        }
        let (seq, ms) = ((step / 10) as u32, (t_s * 1000.0) as u32 + 5000);
        let t_ns = START_NS + (t_s * 1e9) as i64 + 12_000_000;
        let body = line(1, seq, ms, at, &mut noise);
        all.push((t_ns + (noise.below(3) as i64) * 1_000_000, "mast", body.clone()));
        all.push((t_ns + 9_000_000, "table", body));
        let camera_at = step.checked_sub(liftoff_step + released_step).map_or(at, |step| &camera[step]);
        all.push((t_ns + 30_000_000, "mast", line(2, seq, ms + 77, camera_at, &mut noise)));
    }
    all.sort_by_key(|(t, _, _)| *t);
    numbered(all.into_iter().map(|(t, link, bytes)| (t, What::Bytes { link: link.into(), bytes })))
}

/// Numbers inputs from 1; UTC runs three seconds ahead of station time.
pub(crate) fn numbered(all: impl IntoIterator<Item = (i64, What)>) -> Vec<Input> {
    let input = |(i, (t_ns, what)): (usize, (i64, What))| Input {
        number: i as u64 + 1,
        t_ns,
        utc_ns: t_ns + 3_000_000_000,
        what,
    };
    all.into_iter().enumerate().map(input).collect()
}

/// Runs inputs through a fresh engine and goes on to `until_ns`.
pub(crate) fn run(setup: Setup, inputs: &[Input], until_ns: i64) -> (Engine, Vec<Output>) {
    let mut engine = Engine::new(setup, START_NS);
    let mut out = Vec::new();
    for input in inputs {
        engine.step(input, &mut out);
    }
    engine.advance(until_ns, &mut out);
    (engine, out)
}

/// The end of the inputs and a while.
pub(crate) fn after(inputs: &[Input], s: f64) -> i64 {
    inputs.last().map_or(START_NS, |i| i.t_ns) + (s * 1e9) as i64
}
