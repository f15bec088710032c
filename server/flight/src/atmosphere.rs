//! The air: US Standard Atmosphere 1976 up to 86 km, and the same shifted to the pad's pressure and temperature.
//!
//! Source: US Standard Atmosphere 1976 (NOAA/NASA/USAF), equations 18, 33a, 33b, 42, 50 and table 4 (layers).
//! [`standard`] is the textbook form. [`Air`] is what the estimator flies in: the temperature profile is moved by one
//! constant offset so that it meets the pad's temperature, and pressure follows by the hydrostatic equation from
//! the pad's pressure and gravity. It is tabulated every 50 m; linear interpolation is within 2e-5 of the density and 1 cm of height.
//! Limits: dry air, one profile for the whole flight.

use libm::{exp, log, sqrt};

/// Gas constant of air, J/(kg K): 8314.32 / 28.9644 (USSA 1976, table 2).
const R_AIR: f64 = 8314.32 / 28.9644;
/// Standard gravity that defines geopotential height, m/s2.
const G0: f64 = 9.80665;
/// Earth radius of USSA 1976 for geopotential height, m.
const R_EARTH_M: f64 = 6_356_766.0;
/// Ratio of specific heats of air.
const GAMMA: f64 = 1.4;
/// Base geopotential height (m), lapse (K/m), base temperature (K) of each layer (USSA 1976, table 4).
const LAYERS: [(f64, f64, f64); 7] = [
    (0.0, -0.0065, 288.15),
    (11_000.0, 0.0, 216.65),
    (20_000.0, 0.001, 216.65),
    (32_000.0, 0.0028, 228.65),
    (47_000.0, 0.0, 270.65),
    (51_000.0, -0.0028, 270.65),
    (71_000.0, -0.002, 214.65),
];
/// Geopotential top of the tables, m (86 km geometric).
const TOP_GEOPOTENTIAL_M: f64 = 84_852.0;

/// Spacing of the table, m.
const STEP_M: f64 = 50.0;
/// Height above the pad of the table's first row, m.
const FLOOR_M: f64 = -1000.0;

/// State of the air at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirState {
    /// Temperature, K.
    pub temperature_k: f64,
    /// Static pressure, Pa.
    pub pressure_pa: f64,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Speed of sound, m/s.
    pub sound_mps: f64,
}

fn geopotential_m(amsl_m: f64) -> f64 {
    R_EARTH_M * amsl_m / (R_EARTH_M + amsl_m)
}

fn standard_temperature_k(geopotential: f64) -> f64 {
    let z = geopotential.min(TOP_GEOPOTENTIAL_M);
    let mut layer = LAYERS[0];
    for l in LAYERS {
        if z >= l.0 {
            layer = l;
        }
    }
    layer.2 + layer.1 * (z - layer.0)
}

/// US Standard Atmosphere 1976 at a geometric height above mean sea level (-5 to 86 km; clamped above).
///
/// ```
/// let air = loftwatch_flight::atmosphere::standard(0.0);
/// assert!((air.density_kg_m3 - 1.2250).abs() < 1e-4);
/// ```
pub fn standard(amsl_m: f64) -> AirState {
    let z = geopotential_m(amsl_m).min(TOP_GEOPOTENTIAL_M);
    let (t, p) = (standard_temperature_k(z), standard_pressure_pa(z));
    AirState {
        temperature_k: t,
        pressure_pa: p,
        density_kg_m3: p / (R_AIR * t),
        sound_mps: sqrt(GAMMA * R_AIR * t),
    }
}

/// Pressure of the US Standard Atmosphere 1976 at a pressure altitude, Pa: a geopotential height above its 1013.25 hPa, m, at most the
/// table's top.
pub fn standard_pressure_pa(pressure_altitude_m: f64) -> f64 {
    let z = pressure_altitude_m.min(TOP_GEOPOTENTIAL_M);
    let mut p = 101_325.0;
    for (i, &(base, lapse, t_base)) in LAYERS.iter().enumerate() {
        let top = LAYERS.get(i + 1).map_or(f64::INFINITY, |l| l.0);
        let to = z.min(top);
        let dz = to - base;
        p *= if lapse == 0.0 {
            exp(-G0 * dz / (R_AIR * t_base))
        } else {
            exp(-G0 / (R_AIR * lapse) * log((t_base + lapse * dz) / t_base))
        };
        if z <= top {
            break;
        }
    }
    p
}

/// The other way: the geopotential height, m, at which the US Standard Atmosphere 1976 has this pressure, Pa; at most the table's top.
pub fn pressure_altitude_m(pressure_pa: f64) -> f64 {
    let p = pressure_pa.max(standard_pressure_pa(TOP_GEOPOTENTIAL_M));
    let below = LAYERS.into_iter().take_while(|layer| p <= standard_pressure_pa(layer.0));
    let (base, lapse, t_base) = below.last().unwrap_or(LAYERS[0]);
    let ln = log(p / standard_pressure_pa(base)) * R_AIR / G0;
    if lapse == 0.0 { base - t_base * ln } else { base + t_base / lapse * (exp(-lapse * ln) - 1.0) }
}

/// The air over one pad, tabulated by height above it.
#[derive(Clone, Debug)]
pub struct Air {
    ln_pressure: Vec<f64>,
    density: Vec<f64>,
    sound: Vec<f64>,
    pad_density: f64,
}

impl Air {
    /// The standard profile shifted to what a pad at `elevation_m` above mean sea level measures, in air that weighs
    /// what `pad_gravity_mps2` makes of it: from equator to pole heights by pressure differ by half a per cent.
    pub fn over(
        elevation_m: f64,
        pad_pressure_pa: f64,
        pad_temperature_k: f64,
        pad_gravity_mps2: f64,
    ) -> Self {
        let pad_z = geopotential_m(elevation_m);
        let shift_k = pad_temperature_k - standard_temperature_k(pad_z);
        let temperature =
            |h: f64| (standard_temperature_k(geopotential_m(elevation_m + h)) + shift_k).max(120.0);
        // d ln p / dh = -g (R/(R+h))^2 / (R_air T), from the pad's own gravity.
        let pad_radius_m = R_EARTH_M + elevation_m;
        let slope = |h: f64| {
            let r = pad_radius_m / (pad_radius_m + h);
            -pad_gravity_mps2 * r * r / (R_AIR * temperature(h))
        };
        let rows = ((86_000.0 - FLOOR_M) / STEP_M) as usize + 1;
        let pad_row = (-FLOOR_M / STEP_M) as usize;
        let mut ln_pressure = vec![0.0; rows];
        ln_pressure[pad_row] = log(pad_pressure_pa);
        let gain = |h: f64| STEP_M / 6.0 * (slope(h) + 4.0 * slope(h + 0.5 * STEP_M) + slope(h + STEP_M));
        for i in pad_row..rows - 1 {
            ln_pressure[i + 1] = ln_pressure[i] + gain(FLOOR_M + STEP_M * i as f64);
        }
        for i in (0..pad_row).rev() {
            ln_pressure[i] = ln_pressure[i + 1] - gain(FLOOR_M + STEP_M * i as f64);
        }
        let mut density = vec![0.0; rows];
        let mut sound = vec![0.0; rows];
        for i in 0..rows {
            let t = temperature(FLOOR_M + STEP_M * i as f64);
            density[i] = exp(ln_pressure[i]) / (R_AIR * t);
            sound[i] = sqrt(GAMMA * R_AIR * t);
        }
        let pad_density = density[pad_row];
        Self { ln_pressure, density, sound, pad_density }
    }

    fn row(&self, height_m: f64) -> (usize, f64) {
        let at = ((height_m - FLOOR_M) / STEP_M).clamp(0.0, (self.density.len() - 2) as f64);
        let i = (at as usize).min(self.density.len() - 2);
        (i, at - i as f64)
    }

    /// Density over pad density, and its slope per metre, at a height above the pad.
    #[inline]
    pub fn density_ratio(&self, height_m: f64) -> (f64, f64) {
        let (i, f) = self.row(height_m);
        let (a, b) = (self.density[i], self.density[i + 1]);
        ((a + (b - a) * f) / self.pad_density, (b - a) / (STEP_M * self.pad_density))
    }

    /// Speed of sound at a height above the pad, m/s.
    #[inline]
    pub fn sound_mps(&self, height_m: f64) -> f64 {
        let (i, f) = self.row(height_m);
        self.sound[i] + (self.sound[i + 1] - self.sound[i]) * f
    }

    /// Density at the pad, kg/m3.
    pub fn pad_density(&self) -> f64 {
        self.pad_density
    }

    /// Dynamic pressure at Mach 1 at a height above the pad, Pa: half of gamma times the static one.
    pub fn dynamic_pressure_at_mach_one(&self, height_m: f64) -> f64 {
        0.5 * GAMMA * self.pressure_pa(height_m)
    }

    /// Static pressure at a height above the pad, Pa.
    pub fn pressure_pa(&self, height_m: f64) -> f64 {
        let (i, f) = self.row(height_m);
        exp(self.ln_pressure[i] + (self.ln_pressure[i + 1] - self.ln_pressure[i]) * f)
    }

    /// Metres that one pascal is worth at a height above the pad, m/Pa (positive).
    pub fn metres_per_pascal(&self, height_m: f64) -> f64 {
        let (i, f) = self.row(height_m);
        let slope = (self.ln_pressure[i] - self.ln_pressure[i + 1]) / STEP_M;
        let p = exp(self.ln_pressure[i] + (self.ln_pressure[i + 1] - self.ln_pressure[i]) * f);
        1.0 / (slope * p)
    }

    /// Height above the pad at which this pressure stands, m; clamped to the table (-1 to 86 km).
    pub fn height_m(&self, pressure_pa: f64) -> f64 {
        let l = log(pressure_pa.max(1e-3));
        let n = self.ln_pressure.len();
        if l >= self.ln_pressure[0] {
            return FLOOR_M;
        }
        if l <= self.ln_pressure[n - 1] {
            return FLOOR_M + STEP_M * (n - 1) as f64;
        }
        let i = self.ln_pressure.partition_point(|&v| v > l) - 1;
        let (a, b) = (self.ln_pressure[i], self.ln_pressure[i + 1]);
        FLOOR_M + STEP_M * (i as f64 + (l - a) / (b - a))
    }
}

#[cfg(test)]
mod tests;
