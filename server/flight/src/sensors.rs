//! What one channel of a transmitter is like: its noise as it shows, its resolution, whether it is stuck.
//!
//! The crew does not tell noise levels. On the pad half the mean squared difference of neighbours is the white
//! part (von Neumann 1941); in flight squared innovations less what the state accounts for move it on, slowly and
//! within bounds. A value that repeats to the bit while the state says that it must have changed is frozen.

use serde::{Deserialize, Serialize};

/// The channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Channel {
    Baro,
    Axial,
    FixFlat,
    FixUp,
    SpeedFlat,
    SpeedUp,
    Tilt,
    OwnHeight,
    OwnClimb,
}

impl Channel {
    /// Whether a receiver tells it.
    pub(crate) fn is_of_gnss(self) -> bool {
        matches!(self, Self::FixFlat | Self::FixUp | Self::SpeedFlat | Self::SpeedUp)
    }
}

/// Number of channels.
pub(crate) const CHANNELS: usize = 9;

/// Start, least and greatest standard deviation of each channel: Pa, m/s2, m, m, m/s, m/s, rad, m, m/s.
const RANGE: [(f64, f64, f64); CHANNELS] = [
    (6.0, 0.5, 500.0),
    (0.4, 0.02, 20.0),
    (2.5, 0.8, 50.0),
    (4.0, 1.2, 80.0),
    (0.3, 0.05, 10.0),
    (0.4, 0.05, 10.0),
    (0.05, 0.02, 0.5),
    (1.5, 0.3, 50.0),
    (1.5, 0.3, 30.0),
];

/// Weight of one in-flight innovation. Larger: follows a change of noise sooner, believes chance more.
const LEARN: f64 = 0.02;

/// One channel's record.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Record {
    variance: f64,
    seen: f64,
    /// Smallest step between different values.
    quantum: f64,
    last: f64,
    /// How often the last value has repeated.
    repeats: u32,
    /// What the state expected when the value first came.
    expected_then: f64,
    /// Rejections in a row.
    pub(crate) rejects: u32,
    /// Since when they have been rejected, s.
    pub(crate) aside_s: f64,
    /// How far off the farthest of them was, in the channel's unit.
    pub(crate) farthest: f64,
    /// Time of the last value taken, s.
    pub(crate) taken_s: f64,
    /// Whether `taken_s` means something.
    pub(crate) heard: bool,
}

/// All channels of a transmitter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Sensors {
    records: [Record; CHANNELS],
}

impl Sensors {
    pub(crate) fn new() -> Self {
        let mut records = [Record {
            variance: 1.0,
            seen: 0.0,
            quantum: 0.0,
            last: 0.0,
            repeats: 0,
            expected_then: 0.0,
            rejects: 0,
            aside_s: 0.0,
            farthest: 0.0,
            taken_s: 0.0,
            heard: false,
        }; CHANNELS];
        for (r, (start, _, _)) in records.iter_mut().zip(RANGE) {
            r.variance = start * start;
        }
        Self { records }
    }

    /// As if nothing had been heard in flight yet; what was learnt about noise stays.
    pub(crate) fn begin_again(&mut self, t_s: f64) {
        for r in &mut self.records {
            r.last = f64::NAN;
            r.repeats = 0;
            r.rejects = 0;
            r.taken_s = t_s;
        }
    }

    pub(crate) fn of(&mut self, c: Channel) -> &mut Record {
        &mut self.records[c as usize]
    }

    pub(crate) fn get(&self, c: Channel) -> &Record {
        &self.records[c as usize]
    }

    /// A value on the pad: learns white noise and resolution.
    pub(crate) fn on_pad(&mut self, c: Channel, value: f64, t_s: f64) {
        let (_, least, most) = RANGE[c as usize];
        let r = &mut self.records[c as usize];
        let held = matches!(c, Channel::FixFlat | Channel::FixUp | Channel::SpeedFlat | Channel::SpeedUp);
        if held && r.heard && value == r.last {
            // A receiver slower than the packets: the same fix again says nothing about noise.
            return;
        }
        if r.heard {
            let step = (value - r.last).abs();
            if step > 0.0 {
                r.quantum = if r.quantum == 0.0 { step } else { r.quantum.min(step) };
            }
            let limit = 36.0 * r.variance + 1e-12;
            let d = (0.5 * step * step).min(limit);
            r.seen = (r.seen + 1.0).min(200.0);
            // The start counts as four values.
            let w = 1.0 / (r.seen + 4.0);
            r.variance += w * (d - r.variance);
            r.variance = r.variance.clamp(least * least, most * most);
        }
        r.last = value;
        r.taken_s = t_s;
        r.heard = true;
    }

    /// Variance to use.
    pub(crate) fn variance(&self, c: Channel) -> f64 {
        let r = &self.records[c as usize];
        r.variance + r.quantum * r.quantum / 12.0
    }

    /// An innovation in flight: `y2` its square, `known` the part that the state's own spread accounts for.
    pub(crate) fn in_flight(&mut self, c: Channel, y2: f64, known: f64) {
        let (_, least, most) = RANGE[c as usize];
        let r = &mut self.records[c as usize];
        let all = known + r.variance;
        let d = y2.min(9.0 * all) - known;
        // Where the state is far less certain than the sensor the innovation says nothing about the sensor.
        let w = LEARN * r.variance / all;
        r.variance = (r.variance + w * (d - r.variance)).clamp(least * least, most * most);
    }
}

impl Record {
    /// Whether a value differs from the last one.
    pub(crate) fn is_new(&mut self, value: f64) -> bool {
        let new = !self.heard || value != self.last;
        self.last = value;
        self.heard = true;
        new
    }

    /// Whether a value is the last one again while the state moved on by more than `slack`.
    pub(crate) fn frozen(&mut self, value: f64, expected: f64, slack: f64) -> bool {
        if self.heard && value == self.last {
            self.repeats += 1;
            (expected - self.expected_then).abs() > slack
        } else {
            self.last = value;
            self.repeats = 0;
            self.expected_then = expected;
            false
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_noise_on_the_pad_is_found_under_a_drift() {
        let mut s = Sensors::new();
        let mut seed = 1u32;
        for i in 0..4000 {
            // Sum of twelve uniform numbers: unit variance.
            let mut g = -6.0;
            for _ in 0..12 {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                g += f64::from(seed >> 8) / f64::from(1u32 << 24);
            }
            s.on_pad(Channel::Baro, 90_000.0 + 0.05 * f64::from(i) + 7.0 * g, f64::from(i) * 0.05);
        }
        let sd = libm::sqrt(s.variance(Channel::Baro));
        assert!((sd / 7.0 - 1.0).abs() < 0.15, "{sd}");
    }

    #[test]
    fn a_repeat_is_frozen_only_if_it_should_have_moved() {
        let mut s = Sensors::new();
        let r = s.of(Channel::Baro);
        r.heard = true;
        assert!(!r.frozen(5.0, 100.0, 3.0));
        assert!(!r.frozen(5.0, 101.0, 3.0));
        assert!(r.frozen(5.0, 110.0, 3.0));
        assert!(!r.frozen(6.0, 120.0, 3.0));
    }
}
