//! On the pad: zeros of every sensor, and how much moves there.
//!
//! Zeros are means over whole seconds that ended at least 1.5 s ago, so that they are dated back to before
//! liftoff whenever it is noticed.

use serde::{Deserialize, Serialize};

use crate::plan::Told;

/// Channels with a zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Zero {
    /// Barometric height.
    Baro = 0,
    /// Axial specific force.
    Axial = 1,
    /// GNSS east, north, up of the pad.
    East = 2,
    North = 3,
    Up = 4,
    /// The vehicle's own height.
    Own = 5,
    /// How far from vertical it stands.
    Tilt = 6,
}

const ZEROS: usize = 7;
/// Whole seconds kept.
const SECONDS: usize = 12;
/// Seconds before now that a zero does not look at, s.
const GUARD_S: f64 = 1.5;

/// How long gusts are remembered, s.
const STIRRED_FOR_S: f64 = 300.0;

/// Most that one height counts for in that, m (a strong gust on the ports, 100 Pa).
const MOST_STIR_M: f64 = 8.0;

/// Height above its zero that nothing on a pad has, beyond its spread, m, and how long it may be a flight, s: few climb for
/// longer (common practice, no source).
const FAR_UP_M: f64 = 25.0;
const FAR_UP_FOR_S: f64 = 40.0;

/// Sums over one second.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Second {
    number: i64,
    n: [f64; ZEROS],
    sum: [f64; ZEROS],
    squares: [f64; ZEROS],
}

impl Second {
    const fn new(number: i64) -> Self {
        Self { number, n: [0.0; ZEROS], sum: [0.0; ZEROS], squares: [0.0; ZEROS] }
    }
}

/// The pad's memory.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Pad {
    seconds: [Second; SECONDS],
    next: usize,
    /// Squared distance of the barometer's heights from its zero over the last minutes, m2; how many were told, and when the last, s.
    stir_m2: f64,
    stirs: f64,
    stirred_s: f64,
    /// Since when a channel's heights have been far above their zero, s.
    far_up_s: [Option<f64>; ZEROS],
}

impl Pad {
    pub(crate) fn new() -> Self {
        Self {
            seconds: [Second::new(i64::MIN); SECONDS],
            next: 0,
            stir_m2: 0.0,
            stirs: 0.0,
            stirred_s: -1e300,
            far_up_s: [None; ZEROS],
        }
    }

    pub(crate) fn add(&mut self, which: Zero, value: f64, t_s: f64) {
        let number = libm::floor(t_s) as i64;
        let newest = (self.next + SECONDS - 1) % SECONDS;
        let slot = if self.seconds[newest].number == number {
            newest
        } else {
            let s = self.next;
            self.seconds[s] = Second::new(number);
            self.next = (s + 1) % SECONDS;
            s
        };
        let slot = &mut self.seconds[slot];
        slot.n[which as usize] += 1.0;
        slot.sum[which as usize] += value;
        slot.squares[which as usize] += value * value;
    }

    /// Whole seconds that ended long enough before `t_s`, and not ages before.
    fn looked_at(&self, t_s: f64) -> impl Iterator<Item = &Second> {
        self.seconds.iter().filter(move |s| {
            s.number != i64::MIN && (s.number as f64) + 1.0 <= t_s - GUARD_S && (s.number as f64) > t_s - 60.0
        })
    }

    /// Of a channel in those seconds: how many values, their sum, the sum of their squares.
    fn sums(&self, which: Zero, t_s: f64) -> (f64, f64, f64) {
        let w = which as usize;
        self.looked_at(t_s).fold((0.0, 0.0, 0.0), |(n, sum, squares), s| {
            (n + s.n[w], sum + s.sum[w], squares + s.squares[w])
        })
    }

    /// The zero of a channel as of before `t_s`: value and its spread given the noise of one value, if there is any.
    pub(crate) fn zero(&self, which: Zero, t_s: f64, noise_sd: f64) -> Option<Told> {
        let (n, sum, _) = self.sums(which, t_s);
        (n > 0.0).then(|| Told { value: sum / n, sd: noise_sd / libm::sqrt(n) })
    }

    /// Whether a height is so far above its zero that it may fly: what is aloft moves no zero. What stays there for long was the
    /// zero's error.
    pub(crate) fn flies_off(&mut self, which: Zero, up_m: f64, noise_sd: f64, t_s: f64) -> bool {
        let spread = self.unrest(which, t_s).unwrap_or(0.0).max(noise_sd);
        let far = self.zero(which, t_s, 0.0).is_some_and(|z| up_m - z.value > FAR_UP_M + 6.0 * spread);
        let since = *self.far_up_s[which as usize].get_or_insert(t_s);
        if !far {
            self.far_up_s[which as usize] = None;
        }
        far && t_s - since < FAR_UP_FOR_S
    }

    /// Adds a height, unless it flies.
    pub(crate) fn add_height(&mut self, which: Zero, height_m: f64, noise_sd: f64, t_s: f64) {
        if !self.flies_off(which, height_m, noise_sd, t_s) {
            self.add(which, height_m, t_s);
        }
    }

    /// Takes note of how far a barometer's height lies from its zero.
    pub(crate) fn stir(&mut self, height_m: f64, t_s: f64) {
        let Some(zero) = self.zero(Zero::Baro, t_s, 0.0) else { return };
        // What is far above it may fly: that says little about the wind.
        let off = (height_m - zero.value).clamp(-MOST_STIR_M, MOST_STIR_M);
        self.stirs += 1.0;
        let share = ((t_s - self.stirred_s).clamp(0.0, 1.0) / STIRRED_FOR_S).max(1.0 / (self.stirs + 20.0));
        self.stir_m2 += share * (off * off - self.stir_m2);
        self.stirred_s = t_s;
    }

    /// How far a barometer's height lies from its zero while nothing flies, one standard deviation, m: noise, gusts, doors, hands.
    /// A lull says nothing about the next gust.
    pub(crate) fn restless_m(&self, t_s: f64) -> f64 {
        self.unrest(Zero::Baro, t_s).unwrap_or(0.0).max(libm::sqrt(self.stir_m2))
    }

    /// How far one value of a channel lay from the zero, one standard deviation: noise and whatever moves on the pad (gusts, hands).
    pub(crate) fn unrest(&self, which: Zero, t_s: f64) -> Option<f64> {
        let (n, sum, squares) = self.sums(which, t_s);
        (n > 1.0).then(|| libm::sqrt((squares / n - (sum / n) * (sum / n)).max(0.0)))
    }

    /// Whether any whole second is there to take a zero from.
    pub(crate) fn settled(&self, t_s: f64) -> bool {
        self.seconds.iter().any(|s| s.number != i64::MIN && (s.number as f64) + 1.0 <= t_s - GUARD_S)
    }
}
