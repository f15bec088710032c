//! From a decoded frame to what the rest of the engine works with: identity, clock, measurements, what it says.
//!
//! The only place where a reading's channels become the estimator's measurements. GNSS without a valid fix gives
//! neither position nor velocity; a position of exactly 0, 0 is no fix either. Ellipsoidal heights become heights above
//! mean sea level with the told geoid. Whether a value is stale, frozen or absurd is the estimator's to judge.

use loftwatch_flight::atmosphere::standard_pressure_pa;
use loftwatch_flight::{Fix, Sample, Velocity};
use loftwatch_radio::{Decoded, Layout, Meaning, Value};

use crate::output;

/// Horizontal spread of a GNSS position per unit of dilution, m (common practice, no source).
const SPREAD_PER_DILUTION_M: f64 = 3.0;

/// What one packet says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Packet {
    pub(crate) transmitter: Option<i64>,
    pub(crate) sequence: Option<u64>,
    /// Clock aboard, s.
    pub(crate) onboard_s: Option<f64>,
    pub(crate) restart_count: Option<i64>,
    pub(crate) rssi_dbm: Option<f64>,
    pub(crate) snr_db: Option<f64>,
    pub(crate) measured: Measured,
    /// Flags that say whether something has happened.
    pub(crate) says: Vec<(Says, bool)>,
}

/// Which thing a flag is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub(crate) enum Says {
    Liftoff,
    Burnout,
    Apogee,
    Landing,
    Freed,
    /// A deployment channel has fired.
    Fired(String),
    /// A deployment channel was commanded.
    Commanded(String),
}

/// Measurements of one instant, as [`Sample`] has them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Measured {
    pressure_pa: Option<f64>,
    axial_mps2: Option<f64>,
    lateral_mps2: Option<[f64; 2]>,
    pub(crate) fix: Option<Fix>,
    velocity: Option<Velocity>,
    tilt_rad: Option<f64>,
    own_height_m: Option<f64>,
    own_climb_mps: Option<f64>,
}

impl Measured {
    /// Whether there is anything for an estimator in it.
    pub(crate) fn is_empty(&self) -> bool {
        *self == Self::default()
    }
    /// The estimator's sample at an instant.
    pub(crate) fn sample(&self, body: usize, t_s: f64, t_sd_s: f64, t_receive_s: f64, boot: u32) -> Sample {
        Sample {
            body,
            t_s,
            t_sd_s,
            t_receive_s,
            boot,
            pressure_pa: self.pressure_pa,
            axial_mps2: self.axial_mps2,
            lateral_mps2: self.lateral_mps2,
            fix: self.fix,
            velocity: self.velocity,
            tilt_rad: self.tilt_rad,
            own_height_m: self.own_height_m,
            own_climb_mps: self.own_climb_mps,
        }
    }
}

/// Reads a decoded frame.
pub(crate) fn read(layout: &Layout, decoded: &Decoded, geoid_m: f64) -> Packet {
    let number = |meaning| layout.number(decoded, meaning);
    let whole = |meaning| number(meaning).filter(|v| libm::fabs(*v) < 9.0e15).map(|v| libm::round(v) as i64);
    let mut says = Vec::new();
    for entry in &decoded.values {
        let Some(spec) = layout.spec(entry) else { continue };
        let Some(value) = entry.value.number() else { continue };
        let channel = || spec.channel.unwrap_or(spec.name).to_owned();
        let about = match spec.meaning {
            Meaning::SaysLiftoff => Says::Liftoff,
            Meaning::SaysBurnout => Says::Burnout,
            Meaning::SaysApogee => Says::Apogee,
            Meaning::SaysLanding => Says::Landing,
            Meaning::SaysFreed => Says::Freed,
            Meaning::Fired => Says::Fired(channel()),
            Meaning::Commanded => Says::Commanded(channel()),
            _ => continue,
        };
        says.push((about, value != 0.0));
    }
    let pair = |a, b| Some([number(a)?, number(b)?]);
    Packet {
        transmitter: whole(Meaning::Transmitter),
        sequence: whole(Meaning::Sequence).and_then(|v| u64::try_from(v).ok()),
        onboard_s: number(Meaning::OnboardTime),
        restart_count: whole(Meaning::RestartCount),
        rssi_dbm: number(Meaning::Rssi),
        snr_db: number(Meaning::Snr),
        measured: Measured {
            pressure_pa: pressure_pa(&number),
            axial_mps2: number(Meaning::AxialSpecificForce),
            lateral_mps2: pair(Meaning::LateralSpecificForceY, Meaning::LateralSpecificForceZ),
            fix: fix(&number, geoid_m),
            velocity: velocity(&number),
            tilt_rad: number(Meaning::Tilt),
            own_height_m: number(Meaning::OwnHeight),
            own_climb_mps: number(Meaning::OwnClimb),
        },
        says,
    }
}

/// Reads an instant of a packet other than its own: measurements, and what they say.
pub(crate) fn of_instant(layout: &Layout, decoded: &Decoded, geoid_m: f64) -> Packet {
    Packet { rssi_dbm: None, ..read(layout, decoded, geoid_m) }
}

/// Static pressure, told as such or as a height in the standard atmosphere, Pa.
pub(crate) fn pressure_pa(number: &impl Fn(Meaning) -> Option<f64>) -> Option<f64> {
    let by_height = || number(Meaning::PressureAltitude).map(standard_pressure_pa);
    number(Meaning::Pressure).or_else(by_height).filter(|p| *p > 0.0)
}

fn has_fix(number: &impl Fn(Meaning) -> Option<f64>) -> bool {
    number(Meaning::FixValid).is_none_or(|v| v >= 0.5)
}

fn fix(number: &impl Fn(Meaning) -> Option<f64>, geoid_m: f64) -> Option<Fix> {
    let (latitude_rad, longitude_rad) = (number(Meaning::Latitude)?, number(Meaning::Longitude)?);
    let on_earth = libm::fabs(latitude_rad) <= std::f64::consts::FRAC_PI_2
        && libm::fabs(longitude_rad) <= 2.0 * std::f64::consts::PI;
    if !has_fix(number) || !on_earth || (latitude_rad == 0.0 && longitude_rad == 0.0) {
        return None;
    }
    let stated = number(Meaning::HorizontalSpread)
        .or_else(|| number(Meaning::HorizontalDilution).map(|d| d * SPREAD_PER_DILUTION_M));
    Some(Fix {
        latitude_rad,
        longitude_rad,
        height_amsl_m: number(Meaning::HeightAmsl)
            .or_else(|| number(Meaning::HeightEllipsoid).map(|h| h - geoid_m)),
        horizontal_sd_m: stated.filter(|s| *s > 0.0),
        vertical_sd_m: number(Meaning::VerticalSpread).filter(|s| *s > 0.0),
    })
}

fn velocity(number: &impl Fn(Meaning) -> Option<f64>) -> Option<Velocity> {
    if !has_fix(number) {
        return None;
    }
    let components = number(Meaning::VelocityEast).zip(number(Meaning::VelocityNorth)).map(|(e, n)| [e, n]);
    let polar = || {
        let (speed, course) = (number(Meaning::GroundSpeed)?, number(Meaning::Course)?);
        Some([speed * libm::sin(course), speed * libm::cos(course)])
    };
    let horizontal_mps = components.or_else(polar);
    let up_mps = number(Meaning::VelocityUp).or_else(|| number(Meaning::VelocityDown).map(|v| -v));
    (horizontal_mps.is_some() || up_mps.is_some()).then_some(Velocity { horizontal_mps, up_mps })
}

/// Values as they are shown and kept: field name, meaning, value.
pub(crate) fn shown(layout: &Layout, decoded: &Decoded) -> Vec<(String, String, output::Value)> {
    let shown = decoded.values.iter().filter_map(|entry| {
        let spec = layout.spec(entry)?;
        let value = match &entry.value {
            Value::Number(v) => output::Value::Number(*v),
            Value::Flag(v) => output::Value::Flag(*v),
            Value::Text(v) => output::Value::Text(v.clone()),
            Value::Named { raw, .. } => match layout.value_name(entry) {
                Some(name) => output::Value::Text(name.to_owned()),
                None => output::Value::Number(*raw as f64),
            },
        };
        let name = match layout.fields().get(usize::from(entry.field)).and_then(|field| field.repeat.as_ref())
        {
            Some(repeat) if repeat.every_s.is_none() => format!("{}[{}]", spec.name, entry.item),
            _ => spec.name.to_owned(),
        };
        Some((name, spec.meaning.name().to_owned(), value))
    });
    shown.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pressure_altitude_is_its_pressure_and_a_pressure_comes_first() {
        let told = |pressure: Option<f64>, altitude: Option<f64>| {
            pressure_pa(&|meaning| match meaning {
                Meaning::Pressure => pressure,
                Meaning::PressureAltitude => altitude,
                _ => None,
            })
        };
        // US Standard Atmosphere 1976, table I: 794.95 hPa at 2000 m of geopotential.
        let by_height = told(None, Some(2000.0)).unwrap();
        assert!((by_height - 79_495.0).abs() < 2.0, "{by_height}");
        assert_eq!(told(Some(80_000.0), Some(2000.0)), Some(80_000.0));
        assert_eq!(told(Some(-1.0), None), None);
        assert_eq!(told(None, None), None);
    }
}
