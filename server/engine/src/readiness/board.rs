//! What one transmitter has said of its board: the newest of each kind, sensors' steadiness, the clock, restarts.

use std::collections::BTreeMap;

use loftwatch_radio::{Decoded, Layout, Meaning};
use serde::{Deserialize, Serialize};

use crate::packet::pressure_pa;

/// A sensor that should tremble and gives one and the same value for so long stands still, ns, and in so many packets.
const STILL_NS: i64 = 10_000_000_000;
const STILL_PACKETS: u32 = 20;
/// A jump is remembered for so long, ns.
pub(super) const JUMP_NS: i64 = 30_000_000_000;
/// Only values so near in time are compared for a jump, ns.
const NEAR_NS: i64 = 2_000_000_000;
/// Share of a new value in the running mean of a pressure: about the last ten values.
const MEAN_SHARE: f64 = 0.1;

/// A packet, as far as readiness needs it.
pub(crate) struct Heard<'a> {
    pub(crate) body: usize,
    pub(crate) receiver: &'a str,
    pub(crate) layout: &'a Layout,
    pub(crate) decoded: &'a Decoded,
    /// Station time of its receipt, ns.
    pub(crate) t_ns: i64,
    /// Clock aboard, s.
    pub(crate) onboard_s: Option<f64>,
    /// Counts restarts as heard.
    pub(crate) boot: u32,
}

/// A value and when it came.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Seen<T> {
    pub(super) value: T,
    pub(super) t_ns: i64,
}

/// One deployment channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Channel {
    pub(super) circuit: Option<Seen<Circuit>>,
    pub(super) armed: Option<Seen<bool>>,
    pub(super) fired: Option<Seen<bool>>,
}

/// An igniter's circuit as the board says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Circuit {
    Open,
    Closed,
    Short,
}

/// How steady a sensor is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Steadiness {
    last: Seen<f64>,
    same_since_ns: i64,
    same: u32,
    /// The largest recent jump and when.
    jump: Option<Seen<f64>>,
}

impl Steadiness {
    fn new(value: f64, t_ns: i64) -> Self {
        Self { last: Seen { value, t_ns }, same_since_ns: t_ns, same: 1, jump: None }
    }

    fn take(&mut self, value: f64, t_ns: i64, most: f64) {
        if value.to_bits() == self.last.value.to_bits() {
            self.same = self.same.saturating_add(1);
        } else {
            let step = libm::fabs(value - self.last.value);
            let near = t_ns.saturating_sub(self.last.t_ns) <= NEAR_NS;
            let larger = self.jump.is_none_or(|j| step >= j.value || t_ns.saturating_sub(j.t_ns) > JUMP_NS);
            if near && step > most && larger {
                self.jump = Some(Seen { value: step, t_ns });
            }
            (self.same, self.same_since_ns) = (1, t_ns);
        }
        self.last = Seen { value, t_ns };
    }

    /// Since when it has given one and the same value, ns, where that is too long.
    pub(super) fn still_since_ns(&self) -> Option<i64> {
        let long =
            self.last.t_ns.saturating_sub(self.same_since_ns) >= STILL_NS && self.same >= STILL_PACKETS;
        long.then_some(self.same_since_ns)
    }

    /// A jump that is not long ago.
    pub(super) fn jump(&self, t_ns: i64) -> Option<Seen<f64>> {
        self.jump.filter(|jump| t_ns.saturating_sub(jump.t_ns) <= JUMP_NS)
    }
}

/// Sensors that tremble by themselves, with the jump from one value to the next that nothing on a pad makes (own figures:
/// 4 m of height; five gravities, more than hands do; the swing of an igniter's load on a battery).
pub(super) const SENSORS: [(Meaning, f64, bool); 5] = [
    (Meaning::Pressure, 50.0, true),
    (Meaning::AxialSpecificForce, 50.0, true),
    (Meaning::LateralSpecificForceY, 50.0, true),
    (Meaning::LateralSpecificForceZ, 50.0, true),
    (Meaning::BatteryVoltage, 0.5, false),
];

/// One board.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Board {
    pub(super) heard_ns: i64,
    pub(super) fix: Option<Seen<bool>>,
    pub(super) satellites: Option<Seen<f64>>,
    pub(super) dilution: Option<Seen<f64>>,
    /// Latitude and longitude, rad.
    pub(super) place: Option<Seen<[f64; 2]>>,
    /// Running mean, Pa.
    pub(super) pressure_pa: Option<Seen<f64>>,
    pub(super) battery_v: Option<Seen<f64>>,
    pub(super) storage: Option<Seen<f64>>,
    pub(super) tilt_rad: Option<Seen<f64>>,
    /// Along and across the nose, m/s2.
    pub(super) axial_mps2: Option<Seen<f64>>,
    pub(super) lateral_mps2: Option<Seen<[f64; 2]>>,
    pub(super) channels: BTreeMap<String, Channel>,
    pub(super) sensors: BTreeMap<Meaning, Steadiness>,
    boot: Option<u32>,
    /// When it restarted, as heard; else since when it has been heard.
    pub(super) steady_since_ns: i64,
    pub(super) restarted: bool,
    /// Clock aboard and station time, first since the restart and newest.
    clock: Option<([f64; 2], [f64; 2])>,
}

impl Board {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let t_ns = heard.t_ns;
        self.heard_ns = self.heard_ns.max(t_ns);
        self.watch_restarts(heard);
        let number = |meaning| heard.layout.number(heard.decoded, meaning);
        let seen = |meaning| number(meaning).map(|value| Seen { value, t_ns });
        let put = |to: &mut Option<Seen<f64>>, meaning| {
            if let Some(new) = seen(meaning) {
                *to = Some(new);
            }
        };
        put(&mut self.satellites, Meaning::Satellites);
        put(&mut self.dilution, Meaning::HorizontalDilution);
        put(&mut self.battery_v, Meaning::BatteryVoltage);
        put(&mut self.storage, Meaning::StorageLeft);
        put(&mut self.tilt_rad, Meaning::Tilt);
        put(&mut self.axial_mps2, Meaning::AxialSpecificForce);
        let pair = |a, b| Some([number(a)?, number(b)?]);
        if let Some(value) = pair(Meaning::LateralSpecificForceY, Meaning::LateralSpecificForceZ) {
            self.lateral_mps2 = Some(Seen { value, t_ns });
        }
        if let Some(new) = pressure_pa(&number) {
            let value = self.pressure_pa.map_or(new, |mean| mean.value + MEAN_SHARE * (new - mean.value));
            self.pressure_pa = Some(Seen { value, t_ns });
        }
        let place = pair(Meaning::Latitude, Meaning::Longitude);
        let valid = number(Meaning::FixValid).map(|fix| fix >= 1.0);
        if let Some(there) = valid.or(place.map(|p| p != [0.0; 2])) {
            self.fix = Some(Seen { value: there, t_ns });
            if let Some(value) = place.filter(|p| there && *p != [0.0; 2]) {
                self.place = Some(Seen { value, t_ns });
            }
        }
        for (meaning, most, _) in SENSORS {
            if let Some(value) = number(meaning) {
                self.sensors
                    .entry(meaning)
                    .or_insert_with(|| Steadiness::new(value, t_ns))
                    .take(value, t_ns, most);
            }
        }
        self.hear_channels(heard);
    }

    fn hear_channels(&mut self, heard: &Heard<'_>) {
        for entry in &heard.decoded.values {
            let Some(spec) = heard.layout.spec(entry) else { continue };
            let Some(number) = entry.value.number() else { continue };
            let t_ns = heard.t_ns;
            let name = spec.channel.unwrap_or(spec.name);
            match spec.meaning {
                Meaning::Continuity => {
                    let value = circuit(number, spec.values);
                    self.channels.entry(name.to_owned()).or_default().circuit = Some(Seen { value, t_ns });
                }
                Meaning::Armed => {
                    let seen = Seen { value: number != 0.0, t_ns };
                    self.channels.entry(name.to_owned()).or_default().armed = Some(seen);
                }
                Meaning::Fired => {
                    let seen = Seen { value: number != 0.0, t_ns };
                    self.channels.entry(name.to_owned()).or_default().fired = Some(seen);
                }
                _ => {}
            }
        }
    }

    fn watch_restarts(&mut self, heard: &Heard<'_>) {
        let t_ns = heard.t_ns;
        match self.boot.replace(heard.boot) {
            None => self.steady_since_ns = t_ns,
            Some(boot) if boot != heard.boot => {
                self.steady_since_ns = t_ns;
                self.restarted = true;
                self.clock = None;
            }
            Some(_) => {}
        }
        if let Some(onboard_s) = heard.onboard_s {
            let now = [onboard_s, t_ns as f64 * 1e-9];
            self.clock = match self.clock {
                // A clock that went back wrapped or restarted: begin anew.
                Some((first, last)) if onboard_s >= last[0] => Some((first, now)),
                _ => Some((now, now)),
            };
        }
    }

    /// How much faster than the station's the clock aboard runs, as a share, and how far that may be off because packets
    /// are late now and then; `None` before it says anything.
    pub(super) fn clock_rate(&self) -> Option<(f64, f64)> {
        let (first, last) = self.clock?;
        let station_s = last[1] - first[1];
        (station_s >= 30.0).then(|| ((last[0] - first[0]) / station_s - 1.0, 0.5 / station_s))
    }
}

/// 0 is open, 2 is a short, anything else closed; unless the values have names that say so.
fn circuit(number: f64, names: &[(i64, String)]) -> Circuit {
    let raw = libm::round(number) as i64;
    let name = names.iter().find(|(value, _)| *value == raw).map(|(_, name)| name.to_lowercase());
    match (name.as_deref(), raw) {
        (Some(name), _) if name.contains("short") => Circuit::Short,
        (Some(name), _) if name.contains("open") => Circuit::Open,
        (Some(name), _) if name.contains("closed") => Circuit::Closed,
        (_, 0) => Circuit::Open,
        (_, 2) => Circuit::Short,
        _ => Circuit::Closed,
    }
}
