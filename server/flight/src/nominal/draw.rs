//! Where drawn figures come from: PCG32 (O'Neill 2014, "PCG: A Family of Simple Fast Space-Efficient Statistically Good
//! Algorithms for Random Number Generation", XSH RR 64/32), normal numbers by Box and Muller (1958).

use libm::{cos, log, sin, sqrt};

const MULTIPLIER: u64 = 6_364_136_223_846_793_005;

/// Cut of every normal number, standard deviations.
const CUT: f64 = 3.0;

/// A seeded stream of departures from what was told, in standard deviations.
#[derive(Clone, Debug)]
pub struct Draws {
    state: u64,
    step: u64,
    spare: Option<f64>,
    /// Nothing is drawn: all is as told.
    as_told: bool,
    /// See [`super::Flights::leaning`].
    pub(super) lean_rad: Option<f64>,
}

impl Draws {
    /// The stream of one flight.
    pub fn new(seed: u64, number: u64) -> Self {
        let mut draws =
            Self { state: 0, step: (number << 1) | 1, spare: None, as_told: false, lean_rad: None };
        draws.bits();
        draws.state = draws.state.wrapping_add(seed);
        draws.bits();
        draws
    }

    /// No departures.
    pub(super) fn none() -> Self {
        Self { as_told: true, ..Self::new(0, 0) }
    }

    /// No departures but a lean, and no wind.
    pub(super) fn leaning(lean_rad: f64) -> Self {
        Self { lean_rad: Some(lean_rad), ..Self::none() }
    }

    /// 32 random bits.
    pub fn bits(&mut self) -> u32 {
        let old = self.state;
        self.state = old.wrapping_mul(MULTIPLIER).wrapping_add(self.step);
        let shifted = (((old >> 18) ^ old) >> 27) as u32;
        shifted.rotate_right((old >> 59) as u32)
    }

    /// Uniform between 0 and 1, neither reached.
    pub fn uniform(&mut self) -> f64 {
        (f64::from(self.bits()) + 0.5) / 4_294_967_296.0
    }

    /// A standard normal number, cut at three; 0 where nothing is drawn.
    pub fn normal(&mut self) -> f64 {
        if self.as_told {
            return 0.0;
        }
        loop {
            let z = self.spare.take().unwrap_or_else(|| {
                let (u, v) = (self.uniform(), self.uniform());
                let (r, turn) = (sqrt(-2.0 * log(u)), core::f64::consts::TAU * v);
                self.spare = Some(r * sin(turn));
                r * cos(turn)
            });
            if z.abs() <= CUT {
                return z;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first round of the reference implementation's demonstration (pcg32, seed 42, sequence 54).
    #[test]
    fn the_stream_is_that_of_the_reference() {
        let mut draws = Draws::new(42, 54);
        let first: Vec<u32> = (0..6).map(|_| draws.bits()).collect();
        assert_eq!(first, [0xa15c_02b7, 0x7b47_f409, 0xba1d_3330, 0x83d2_f293, 0xbfa4_784b, 0xcbed_606e]);
    }

    #[test]
    fn normal_numbers_have_the_moments_of_a_cut_normal_distribution() {
        let mut draws = Draws::new(1, 2);
        let all: Vec<f64> = (0..100_000).map(|_| draws.normal()).collect();
        let n = all.len() as f64;
        let mean = all.iter().sum::<f64>() / n;
        let variance = all.iter().map(|z| z * z).sum::<f64>() / n;
        // Cut at three: 1 - 2 * 3 phi(3) / (2 Phi(3) - 1) = 0.9733.
        assert!(mean.abs() < 0.01 && (variance - 0.9733).abs() < 0.012, "{mean} {variance}");
        assert!(all.iter().all(|z| z.abs() <= 3.0));
    }
}
