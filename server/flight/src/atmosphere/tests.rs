//! Against the printed tables of US Standard Atmosphere 1976 (NOAA/NASA/USAF), table I, geometric height.

use super::*;

/// Height (m), temperature (K), pressure (Pa), density (kg/m3): US Standard Atmosphere 1976, table I.
const TABLE: [(f64, f64, f64, f64); 9] = [
    (0.0, 288.150, 101_325.0, 1.2250),
    (1_000.0, 281.651, 89_876.0, 1.1117),
    (5_000.0, 255.676, 54_048.0, 0.73643),
    (10_000.0, 223.252, 26_500.0, 0.41351),
    (15_000.0, 216.650, 12_112.0, 0.19476),
    (20_000.0, 216.650, 5_529.3, 0.088910),
    (30_000.0, 226.509, 1_197.0, 0.018410),
    (50_000.0, 270.650, 79.779, 0.0010269),
    (70_000.0, 219.585, 5.2209, 8.2829e-5),
];

#[test]
fn standard_meets_the_printed_table() {
    for (h, t, p, rho) in TABLE {
        let a = standard(h);
        assert!((a.temperature_k - t).abs() < 0.002, "{h}: {}", a.temperature_k);
        assert!((a.pressure_pa / p - 1.0).abs() < 1e-4, "{h}: {}", a.pressure_pa);
        assert!((a.density_kg_m3 / rho - 1.0).abs() < 1e-4, "{h}: {}", a.density_kg_m3);
    }
    // Speed of sound at sea level, same table: 340.294 m/s.
    assert!((standard(0.0).sound_mps - 340.294).abs() < 1e-3);
}

#[test]
fn unshifted_air_over_a_pad_is_the_standard_one() {
    let elevation = 1210.0;
    let pad = standard(elevation);
    let radius = 6_356_766.0;
    let gravity = 9.80665 * (radius / (radius + elevation)) * (radius / (radius + elevation));
    let air = Air::over(elevation, pad.pressure_pa, pad.temperature_k, gravity);
    for h in [0.0, 75.0, 1234.0, 5000.0, 9790.0, 20_000.0, 33_333.0] {
        let s = standard(elevation + h);
        assert!((air.pressure_pa(h) / s.pressure_pa - 1.0).abs() < 2e-5, "{h}");
        let (ratio, _) = air.density_ratio(h);
        assert!((ratio * pad.density_kg_m3 / s.density_kg_m3 - 1.0).abs() < 5e-5, "{h}");
        assert!((air.height_m(s.pressure_pa) - h).abs() < 0.15, "{h}: {}", air.height_m(s.pressure_pa));
    }
}

#[test]
fn a_warmer_pad_stretches_the_heights() {
    // Hypsometric relation: thickness goes with mean absolute temperature.
    let cold = Air::over(0.0, 101_325.0, 288.15, 9.80665);
    let warm = Air::over(0.0, 101_325.0, 308.15, 9.80665);
    let p = 95_000.0;
    let ratio = warm.height_m(p) / cold.height_m(p);
    assert!((ratio - 308.15 / 288.15).abs() < 1e-3, "{ratio}");
}

#[test]
fn no_pressure_gives_nonsense() {
    let air = Air::over(0.0, 101_325.0, 288.15, 9.80665);
    for p in [-1.0, 0.0, 1e-300, 1e9] {
        assert!(air.height_m(p).is_finite());
    }
}

#[test]
fn heavier_air_is_less_deep() {
    // Hypsometric relation: thickness goes with one over gravity; WGS84 at the equator and at a pole.
    let p = 70_000.0;
    let equator = Air::over(0.0, 101_325.0, 288.15, 9.780_325).height_m(p);
    let pole = Air::over(0.0, 101_325.0, 288.15, 9.832_185).height_m(p);
    // With a lapse L: h = T0/L (1 - exp(-x)), x = R L/g ln(p0/p), so d ln h / d ln (1/g) = x / (exp(x) - 1).
    let x = 287.053 * 0.0065 / 9.806_65 * libm::log(101_325.0 / p);
    let ratio = libm::log(equator / pole) / libm::log(9.832_185 / 9.780_325);
    assert!((ratio - x / libm::expm1(x)).abs() < 2e-3, "{ratio}");
}

/// US Standard Atmosphere 1976, table I, by geopotential height.
#[test]
fn a_pressure_altitude_has_the_tables_pressure() {
    for (z_m, hpa) in [
        (-1000.0, 1139.29),
        (0.0, 1013.25),
        (1000.0, 898.745),
        (5000.0, 540.199),
        (11_000.0, 226.320),
        (20_000.0, 54.7487),
    ] {
        let told = super::standard_pressure_pa(z_m) / 100.0;
        assert!((told / hpa - 1.0).abs() < 1e-4, "{z_m}: {told} against {hpa}");
        let back_m = super::pressure_altitude_m(100.0 * hpa);
        assert!((back_m - z_m).abs() < 1.0, "{hpa}: {back_m} against {z_m}");
    }
}
