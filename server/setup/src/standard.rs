//! What an elevation implies: pressure and temperature of the US Standard Atmosphere 1976 below 11 km, gravity
//! of the WGS84 ellipsoid, density of dry air. Only for defaults and plausibility; the estimator has its own.

/// Sea level pressure, Pa (US Standard Atmosphere 1976, table I).
const SEA_LEVEL_PA: f64 = 101_325.0;
/// Sea level temperature, K (same place).
const SEA_LEVEL_K: f64 = 288.15;
/// Lapse rate below 11 km, K/m (same place).
const LAPSE_K_PER_M: f64 = 0.0065;
/// g0 M / (R* L): exponent of the pressure relation (eq. 33a with L = -6.5 K/km).
const EXPONENT: f64 = 5.255_88;
/// Gas constant of dry air, J/(kg K).
const AIR_J_PER_KG_K: f64 = 287.053;

/// Temperature at an elevation, K.
pub(crate) fn temperature_k(elevation_m: f64) -> f64 {
    SEA_LEVEL_K - LAPSE_K_PER_M * elevation_m
}

/// Pressure at an elevation, Pa.
pub(crate) fn pressure_pa(elevation_m: f64) -> f64 {
    SEA_LEVEL_PA * libm::pow(temperature_k(elevation_m) / SEA_LEVEL_K, EXPONENT)
}

/// The elevation that a pressure implies, m.
pub(crate) fn elevation_m(pressure_pa: f64) -> f64 {
    SEA_LEVEL_K * (1.0 - libm::pow(pressure_pa / SEA_LEVEL_PA, 1.0 / EXPONENT)) / LAPSE_K_PER_M
}

/// Density of dry air, kg/m3.
pub(crate) fn density_kg_m3(pressure_pa: f64, temperature_k: f64) -> f64 {
    pressure_pa / (AIR_J_PER_KG_K * temperature_k)
}

/// Normal gravity on the WGS84 ellipsoid (Somigliana's closed form, NIMA TR8350.2 eq. 4-1), less the free-air
/// gradient, m/s2.
pub(crate) fn gravity_mps2(latitude_rad: f64, elevation_m: f64) -> f64 {
    let s2 = libm::pow(libm::sin(latitude_rad), 2.0);
    9.780_325_335_9 * (1.0 + 0.001_931_852_652_41 * s2) / libm::sqrt(1.0 - 0.006_694_379_990_14 * s2)
        - 3.086e-6 * elevation_m
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US Standard Atmosphere 1976, table I: geopotential altitude, temperature, pressure.
    #[test]
    fn the_standard_table_is_met() {
        for (height_m, kelvin, pascal) in [
            (0.0, 288.15, 101_325.0),
            (1000.0, 281.65, 89_874.0),
            (3000.0, 268.65, 70_108.0),
            (5000.0, 255.65, 54_019.0),
        ] {
            assert!((temperature_k(height_m) - kelvin).abs() < 0.01);
            assert!((pressure_pa(height_m) - pascal).abs() < 10.0, "{} {pascal}", pressure_pa(height_m));
            assert!((elevation_m(pascal) - height_m).abs() < 1.0);
        }
    }

    /// Values at equator and pole: TR8350.2, table 3.4.
    #[test]
    fn gravity_at_equator_and_pole() {
        assert!((gravity_mps2(0.0, 0.0) - 9.780_325_335_9).abs() < 1e-9);
        assert!((gravity_mps2(std::f64::consts::FRAC_PI_2, 0.0) - 9.832_184_937_8).abs() < 1e-6);
    }
}
