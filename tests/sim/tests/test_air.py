"""Air and gravity against published tables."""
import math

import pytest

from sim.air import Air, normal_gravity, standard_temperature_k
from sim.motion import EARTH_RATE


def test_normal_gravity_at_equator_45_degrees_and_pole():
    # WGS84 (NIMA TR8350.2, 2000): 9.7803253359 and 9.8321849379 m/s2; between them Somigliana's form with the axes
    assert normal_gravity(0.0) == pytest.approx(9.7803253359, abs=1e-10)
    assert normal_gravity(math.pi / 2) == pytest.approx(9.8321849379, abs=1e-8)
    a, b = 6378137.0, 6356752.3142
    assert normal_gravity(math.pi / 4) == pytest.approx((a * 9.7803253359 + b * 9.8321849379) / math.sqrt(2 * (a * a + b * b)), abs=1e-8)


@pytest.mark.parametrize(("height_m", "temperature_k", "pressure_pa", "density", "sound"), [
    # US Standard Atmosphere 1976 (NOAA/NASA/USAF), table I, geometric heights
    (0.0, 288.15, 101325.0, 1.2250, 340.29),
    (1000.0, 281.651, 89876.0, 1.1117, 336.43),
    (5000.0, 255.676, 54048.0, 0.73643, 320.55),
    (10000.0, 223.252, 26500.0, 0.41351, 299.53),
    (20000.0, 216.650, 5529.3, 0.088910, 295.07),
    (30000.0, 226.509, 1197.0, 0.018410, 301.71),
])
def test_standard_atmosphere(height_m, temperature_k, pressure_pa, density, sound):
    air = Air(0.0, 101325.0, standard_temperature_k, 9.80665)
    p, temp, rho, a = air.at(height_m)
    assert temp == pytest.approx(temperature_k, abs=0.05)
    assert p == pytest.approx(pressure_pa, rel=5e-4)
    assert rho == pytest.approx(density, rel=6e-4)
    assert a == pytest.approx(sound, rel=2e-4)


def test_the_earth_turns_once_a_sidereal_day():
    # 86164.0905 s (IERS)
    assert 2 * math.pi / EARTH_RATE == pytest.approx(86164.09, abs=0.1)
