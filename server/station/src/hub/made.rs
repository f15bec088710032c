//! Made-up setups and outputs for tests: a vehicle with three released cameras, and one flight of it.

use loftwatch_engine::output::{FlightState, HeadsUp, Level, Output, RadioLine, Reading, Said, Value};
use loftwatch_engine::setup::{Area, AreaKind, Setup};
use loftwatch_flight as flight;
use loftwatch_flight::{
    Body, Case, Cue, CueKind, CuePrediction, DescentState, Estimate, Event, EventKind, Knot, Landing, Limit,
    LimitOf, Origin, Phase, Plan, Prediction, Quantiles, Told, Trigger,
};
use loftwatch_radio::{Field, Form, Layout, Meaning, Stored};

/// Station time of the epoch of made-up outputs, ns.
pub(crate) const EPOCH_NS: i64 = 1_795_600_000_000_000_000;

const fn told(value: f64, sd: f64) -> Told {
    Told { value, sd }
}

/// A vehicle with three cameras and eight cues.
pub(crate) fn setup() -> Setup {
    let body = |name: &str, parent: Option<usize>, freed_by: Option<usize>| Body {
        name: name.into(),
        parent,
        freed_by,
        has_transmitter: true,
        mass_kg: told(if parent.is_some() { 2.6 } else { 24.0 }, 0.5),
        bare_drag_area_m2: told(0.03, 0.01),
        descents: Vec::new(),
    };
    let limits = [LimitOf::Airspeed, LimitOf::DynamicPressure, LimitOf::OpeningLoad];
    let cue = |index: usize, name: &str, kind: CueKind, of: usize| Cue {
        name: name.into(),
        kind,
        body: of,
        trigger: Trigger::AfterApogee(1.0),
        delay_s: told(0.1, 0.1),
        limit: Some(Limit { of: limits[index % 3], value: 25.0, from: "told by crew".into() }),
        mass_kg: 2.6,
    };
    let cues = [
        "Cam A out",
        "Cam B out",
        "Cam C out",
        "drogue out",
        "main out",
        "Cam A chute",
        "Cam B chute",
        "Cam C chute",
    ];
    let kinds = |index: usize| if index < 3 { CueKind::Release } else { CueKind::Chute };
    let plan = Plan {
        site: flight::Site {
            latitude_rad: 0.667_6,
            longitude_rad: -2.048_1,
            elevation_m: 1210.0,
            geoid_m: -24.0,
        },
        weather: flight::Weather {
            pressure_pa: 87_600.0,
            temperature_k: 297.0,
            temperature_sd_k: 0.0,
            wind_mps: told(4.5, 1.5),
            wind_from_rad: 4.36,
            wind_height_m: 3.0,
        },
        vehicle: flight::Vehicle {
            liftoff_mass_kg: told(34.0, 1.0),
            diameter_m: 0.24,
            drag_coefficient: told(0.65, 0.16),
            rail_length_m: 3.5,
            rail_tilt_rad: 0.05,
            rail_azimuth_rad: None,
            lean_sd_rad: 0.14,
        },
        motors: Vec::new(),
        bodies: vec![
            body("Body", None, None),
            body("Cam A", Some(0), Some(0)),
            body("Cam B", Some(0), Some(1)),
            body("Cam C", Some(0), Some(2)),
        ],
        cues: cues.iter().enumerate().map(|(i, name)| cue(i, name, kinds(i), i.saturating_sub(4))).collect(),
    };
    Setup {
        vehicle_name: "Tall Order".into(),
        site_name: "Dry Lake North pad".into(),
        plan,
        transmitters: vec![Some(1), Some(2), Some(3), Some(4)],
        areas: vec![Area {
            name: "crowd line".into(),
            kind: AreaKind::People,
            points_m: vec![[-420.0, 60.0], [420.0, -120.0]],
            closed: false,
        }],
        wind_source: "handheld at the pad".into(),
        receivers: vec!["Mast".into()],
        links: Vec::new(),
        layouts: vec![layout(), charges_layout()],
        preparation: loftwatch_engine::preparation::Preparation::default(),
        defaults: vec![("weather.wind_height_m".into(), "10 m".into())],
    }
}

/// A text layout with pressure, a free field and a position.
fn layout() -> Layout {
    let field = |name: &str, meaning: Meaning, unit: &str| Field {
        unit: unit.into(),
        meaning,
        ..Field::new(name, Stored::Number)
    };
    let fields = vec![
        field("p", Meaning::Pressure, "hPa"),
        field("mode", Meaning::Free, "widgets"),
        field("lat", Meaning::Latitude, "deg"),
        field("lon", Meaning::Longitude, "deg"),
        field("own", Meaning::OwnHeight, "ft"),
    ];
    Layout {
        name: "body packet".into(),
        form: Form::Text { separator: ",".into(), starts_with: None, fields },
        body: None,
        rate_hz: Some(10.0),
    }
}

/// A text layout that tells of charges: one of a cue (the first chute's, in that setup), one of no cue.
fn charges_layout() -> Layout {
    let field = |name: &str, meaning: Meaning, channel: &str| Field {
        meaning,
        channel: Some(channel.into()),
        ..Field::new(name, Stored::Number)
    };
    let fields = vec![
        field("drogue", Meaning::Fired, "drogue out"),
        field("drogue safe off", Meaning::Armed, "drogue out"),
        field("spare", Meaning::Fired, "spare"),
    ];
    Layout {
        name: "charges".into(),
        form: Form::Text { separator: ",".into(), starts_with: None, fields },
        body: None,
        rate_hz: None,
    }
}

/// A reading about charges.
pub(crate) fn charges(body: usize, t_s: f64, drogue: bool, armed: bool, spare: bool) -> Said {
    let Said::Reading(reading) = reading(body, 0, t_s, false) else { unreachable!() };
    let flag = |name: &str, means: &str, up: bool| (name.into(), means.into(), Value::Flag(up));
    let values = vec![
        flag("drogue", "fired", drogue),
        flag("drogue safe off", "armed", armed),
        flag("spare", "fired", spare),
    ];
    Said::Reading(Reading { layout: "charges".into(), values, ..reading })
}

/// An interval about a value, `half` to either side at 90 %.
pub(crate) fn about(value: f64, half: f64) -> Quantiles {
    Quantiles {
        p05: value - half,
        p25: value - 0.4 * half,
        p50: value,
        p75: value + 0.41 * half,
        p95: value + half,
    }
}

/// One output at so many seconds after the epoch, in flight 1.
pub(crate) fn output(input: u64, t_s: f64, what: Said) -> Output {
    let t_ns = EPOCH_NS + (t_s * 1e9).round() as i64;
    Output { input, t_ns, t_receive_ns: t_ns, utc_offset_ns: 0, flight: 1, what }
}

/// The state of a body at an instant.
pub(crate) fn estimate(body: usize, t_s: f64, phase: Phase) -> Said {
    let descending = matches!(phase, Phase::Descending | Phase::Down);
    Said::Estimate {
        body,
        estimate: Estimate {
            t_s,
            phase,
            descent: descending.then_some(DescentState::Tumbling),
            carried_s: 0.051_37,
            height_m: about(1_312.457_1 + t_s, 9.331),
            climb_mps: about(-121.123_4 - t_s, 1.77),
            airspeed_mps: about(133.377_7 + t_s, 2.313),
            ground_speed_mps: about(128.911_1 + t_s, 2.013),
            lean_rad: (!descending).then(|| about(0.123_456, 0.034_5)),
            east_north_m: Some([-1_234.567 - t_s, 987.654]),
            position_radius_m: Some(12.345),
            east_north_mps: Some([1.0, 2.0]),
            drag_k_per_m: about(0.001, 0.000_1),
            mach: 0.345_678,
            dynamic_pressure_pa: 3_456.7,
        },
    }
}

/// Apogee of a body, `t_s` seconds after the epoch.
pub(crate) fn prediction(body: usize, t_s: f64) -> Said {
    Said::Prediction {
        body,
        prediction: Prediction {
            t_s,
            apogee_height_m: about(1_412.331 + t_s, 9.7),
            apogee_t_s: about(22.222_2, 0.31),
            airspeed_at_apogee_mps: about(37.123, 3.33),
            ground_speed_at_apogee_mps: about(33.456, 3.11),
            hand_height_m: 1_500.123,
            hand_t_s: 24.567,
        },
    }
}

/// A cue at `t_s` seconds after the epoch.
pub(crate) fn cue(cue: usize, t_s: f64, passed: bool) -> Said {
    Said::Cue(CuePrediction {
        cue,
        t_s,
        cue_t_s: about(20.123 + cue as f64 + 0.01 * t_s, 0.41),
        height_m: about(1_380.123, 20.0),
        climb_mps: about(-3.3, 2.0),
        airspeed_mps: about(36.666 + 0.1 * t_s, 4.321),
        dynamic_pressure_pa: about(812.345, 123.4),
        opening_load_n: Some(about(1_234.5, 234.5)),
        over_limit: Some(0.123_456),
        passed,
    })
}

/// A path of 64 knots from `t_s` on.
pub(crate) fn path(body: usize, t_s: f64) -> Said {
    let knot = |index: i32| {
        let after = f64::from(index) * 1.5;
        Knot {
            t_s: t_s + after,
            height_m: about(1_312.46 + t_s - after * 20.0, 9.3 + after),
            climb_mps: about(-21.1, 1.7),
            airspeed_mps: about(22.3, 2.3),
            east_north_m: [-1_234.5 + after, 987.6],
            bare_height_m: 1_300.0 - after * 60.0,
        }
    };
    Said::Path { body, knots: (0..64).map(knot).collect() }
}

/// A landing area.
pub(crate) fn landing(body: usize, case: Case, t_s: f64) -> Said {
    Said::Landing(Landing {
        body,
        case,
        t_s,
        landing_t_s: about(123.456, 7.89),
        descent_mps: about(5.678 + 0.001 * t_s, 0.9),
        area: flight::Area::Ellipse {
            centre_m: [-345.67, 456.78],
            covariance_m2: [1_234.5, -234.5, 2_345.6],
        },
    })
}

/// An event.
pub(crate) fn event(id: u32, body: usize, kind: EventKind, t_s: f64) -> Said {
    Said::Event {
        event: Event {
            id,
            revision: 0,
            withdrawn: false,
            body,
            kind,
            t_s,
            sd_s: 0.05,
            origin: Origin::Detected,
        },
        label: "first motion".into(),
        who: None,
    }
}

/// A heads-up about a cue.
pub(crate) fn headsup(index: usize, on: bool, t_s: f64) -> Said {
    Said::HeadsUp(HeadsUp {
        key: format!("cue_airspeed:cue number {index}"),
        level: if index.is_multiple_of(2) { Level::Act } else { Level::Look },
        on,
        body: index % 4,
        cue: Some(index % 8),
        mass_kg: 2.6 + index as f64,
        figure: 36.7 + t_s,
        limit: Some(25.0),
        unit: "m/s".into(),
        limit_from: "told by crew".into(),
        words: format!("Cue {index} comes with 37 m/s of air past it, 25 is its limit. Eyes on the release."),
    })
}

/// A reading with a position.
pub(crate) fn reading(body: usize, sequence: u64, t_s: f64, with_fix: bool) -> Said {
    let number = |name: &str, means: &str, value: f64| (name.into(), means.into(), Value::Number(value));
    let mut values = vec![number("p", "pressure", 87_000.0 - t_s), number("mode", "free", 2.0)];
    if with_fix {
        values.push(number("lat", "latitude", 0.667_6 + 1e-6 * t_s));
        values.push(number("lon", "longitude", -2.048_1));
    }
    Said::Reading(Reading {
        link: "mast serial".into(),
        receiver: "Mast".into(),
        layout: "body packet".into(),
        body,
        again: false,
        sequence: Some(sequence),
        instant: 0,
        t_measured_ns: EPOCH_NS + (t_s * 1e9) as i64,
        values,
        complaints: Vec::new(),
    })
}

/// Radio statistics.
pub(crate) fn radio(t_s: f64) -> Said {
    Said::Radio(vec![RadioLine {
        receiver: "Mast".into(),
        body: 0,
        last_heard_ns: Some(EPOCH_NS + (t_s * 1e9) as i64),
        loss: Some(0.123),
        rssi_dbm: Some(-71.5),
        snr_db: Some(9.25),
        ticks: "1101".into(),
        good: (t_s * 20.0) as u64,
        wrong: 3,
        wrong_by: [("crc".to_owned(), 2), ("partial".to_owned(), 1)].into(),
        bytes: 9_999,
    }])
}

/// Readiness with one thing that is amiss.
pub(crate) fn readiness(t_s: f64) -> Said {
    let check = |key: &str, figure: &str, level| loftwatch_engine::output::Check {
        key: key.into(),
        body: Some(0),
        what: key.into(),
        figure: figure.into(),
        since_ns: Some(EPOCH_NS + (t_s * 1e9) as i64),
        limit: "as told".into(),
        limit_from: "told by crew".into(),
        level,
        words: "Look at it.".into(),
        accepted: None,
    };
    Said::Readiness(vec![
        check("heard:Body", "heard", None),
        check("battery:Body", "7.1 V", Some(Level::Look)),
    ])
}

/// A crew member accepts it.
pub(crate) fn accepted(on: bool) -> Said {
    Said::Accepted(loftwatch_engine::output::Accepted {
        key: "battery:Body".into(),
        on,
        what: "battery:Body".into(),
        figure: "7.1 V".into(),
        limit: "as told".into(),
        who: "Mo".into(),
        why: "it is cold".into(),
    })
}

/// The flight opens, lifts off, ends.
pub(crate) fn flight(liftoff_s: Option<f64>, ended_s: Option<f64>) -> Said {
    let ns = |t_s: f64| EPOCH_NS + (t_s * 1e9) as i64;
    Said::Flight(FlightState {
        number: 1,
        name: "second try".into(),
        opened_ns: EPOCH_NS,
        liftoff_ns: liftoff_s.map(ns),
        ended_ns: ended_s.map(ns),
    })
}

/// A whole flight: 40 s, ten readings a second, cameras freed at 20 s, heads-ups that come, change and go.
pub(crate) fn whole_flight() -> Vec<Output> {
    let mut all = vec![output(1, 0.0, flight(None, None))];
    let mut say = |input: u64, t_s: f64, what: Said| all.push(output(input, t_s, what));
    for step in 0..400_u64 {
        let t_s = 0.05 + step as f64 * 0.1;
        let phase = match step {
            0..50 => Phase::Waiting,
            50..75 => Phase::Powered,
            75..220 => Phase::Coasting,
            220..380 => Phase::Descending,
            _ => Phase::Down,
        };
        let bodies = if step < 200 { 1 } else { 4 };
        for body in 0..bodies {
            say(step + 2, t_s, reading(body, step, t_s, step % 37 == 5));
            say(step + 2, t_s, estimate(body, t_s, phase));
            say(step + 2, t_s, prediction(body, t_s));
            if step % 50 == 3 {
                say(step + 2, t_s, charges(body, t_s, step > 250, step > 100, false));
            }
        }
        for index in 0..8 {
            say(step + 2, t_s, cue(index, t_s, step > 200 + 10 * index as u64));
        }
        if step.is_multiple_of(2) {
            for body in 0..bodies {
                say(step + 2, t_s, path(body, t_s));
                for case in [Case::Planned, Case::DrogueOnly, Case::Ballistic] {
                    say(step + 2, t_s, landing(body, case, t_s));
                }
            }
        }
        if step.is_multiple_of(5) {
            say(step + 2, t_s, radio(t_s));
        }
        if step < 50 && step.is_multiple_of(10) {
            say(step + 2, t_s, readiness(t_s));
        }
        if step == 20 || step == 30 || step == 45 {
            say(step + 2, t_s, accepted(step != 30));
        }
        match step {
            50 => {
                say(step + 2, t_s, flight(Some(5.0), None));
                say(step + 2, t_s, event(1, 0, EventKind::Liftoff, 5.0));
            }
            75 => say(step + 2, t_s, event(2, 0, EventKind::Burnout, 7.4)),
            80 => say(step + 2, t_s, event(2, 0, EventKind::Burnout, 7.5)),
            100 | 110 => say(step + 2, t_s, headsup(0, true, t_s)),
            120 => say(step + 2, t_s, headsup(1, true, t_s)),
            150 => say(step + 2, t_s, headsup(0, false, t_s)),
            200 => (1..4)
                .for_each(|body| say(step + 2, t_s, event(2 + body as u32, body, EventKind::Freed, 20.0))),
            220 => say(step + 2, t_s, event(6, 0, EventKind::Apogee, 22.0)),
            300 => say(step + 2, t_s, Said::Silence { since_ns: Some(EPOCH_NS + 29_000_000_000) }),
            310 => say(step + 2, t_s, Said::Silence { since_ns: None }),
            380 => say(step + 2, t_s, event(7, 0, EventKind::Landing, 38.0)),
            399 => say(step + 2, t_s, flight(Some(5.0), Some(t_s))),
            _ => {}
        }
    }
    all
}
