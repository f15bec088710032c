"""Real air over the pad: off-standard temperature profile, hydrostatic pressure, gravity.

Layer values of the US Standard Atmosphere 1976 (NOAA/NASA/USAF 1976, table 4) are the mean about which
the temperature profile is drawn. Pressure is integrated numerically from dp/dh = -p g(h) / (R T), so
geometric heights need no geopotential transform. Valid to 45 km above the pad.
"""
import math

R_AIR = 287.05287
GAMMA = 1.4
EARTH_RADIUS_M = 6356766.0
STEP_M = 50.0
TOP_M = 45000.0


def normal_gravity(latitude_rad, height_m=0.0):
    """WGS84 normal gravity on the ellipsoid (Somigliana 1929), inverse square with height."""
    s2 = math.sin(latitude_rad) ** 2
    g = 9.7803253359 * (1.0 + 0.00193185265241 * s2) / math.sqrt(1.0 - 0.00669437999014 * s2)
    return g * (EARTH_RADIUS_M / (EARTH_RADIUS_M + height_m)) ** 2


def standard_temperature_k(height_amsl_m):
    """US Standard Atmosphere 1976 temperature, geometric height in metres, to 47 km geopotential."""
    geo = height_amsl_m * EARTH_RADIUS_M / (EARTH_RADIUS_M + height_amsl_m)
    if geo < 11000.0:
        return 288.15 - 0.0065 * geo
    if geo < 20000.0:
        return 216.65
    if geo < 32000.0:
        return 216.65 + 0.001 * (geo - 20000.0)
    return 228.65 + 0.0028 * (min(geo, 47000.0) - 32000.0)


class Air:
    """Pressure, temperature, density and sound speed by geometric height above the pad."""

    def __init__(self, elevation_m, pressure_pa, temperature_of_height, gravity_pad):
        n = int(TOP_M / STEP_M) + 1
        self.g_pad = gravity_pad
        self.radius = EARTH_RADIUS_M + elevation_m
        self.temp = [temperature_of_height(i * STEP_M) for i in range(n)]
        lnp = [math.log(pressure_pa)]
        for i in range(n - 1):
            h_mid = (i + 0.5) * STEP_M
            t_mid = 0.5 * (self.temp[i] + self.temp[i + 1])
            lnp.append(lnp[-1] - self.gravity(h_mid) / (R_AIR * t_mid) * STEP_M)
        self.lnp = lnp
        self.top = n - 2

    def gravity(self, height_m):
        """Gravity at a height above the pad, m/s2."""
        r = self.radius / (self.radius + height_m)
        return self.g_pad * r * r

    def at(self, height_m):
        """(pressure Pa, temperature K, density kg/m3, sound speed m/s) at a height above the pad."""
        x = height_m / STEP_M
        i = int(x)
        if i < 0:
            i = 0
        elif i > self.top:
            i = self.top
        f = x - i
        temp = self.temp[i] + f * (self.temp[i + 1] - self.temp[i])
        p = math.exp(self.lnp[i] + f * (self.lnp[i + 1] - self.lnp[i]))
        return p, temp, p / (R_AIR * temp), math.sqrt(GAMMA * R_AIR * temp)


def told_air(elevation_m, pressure_pa, ground_k, latitude_rad):
    """The standard lapse from a ground temperature and pressure: what a height by pressure assumes."""
    warm = ground_k - standard_temperature_k(elevation_m)
    return Air(elevation_m, pressure_pa, lambda h: standard_temperature_k(elevation_m + h) + warm, normal_gravity(latitude_rad, elevation_m))


def drawn_air(rng, elevation_m, gravity_pad, warm_k, pressure_pa):
    """An off-standard profile: a mixed or inverted lowest layer, a drawn lapse and tropopause above."""
    t0 = standard_temperature_k(elevation_m) + warm_k
    low_top = rng.uniform(300.0, 2000.0)
    low_lapse = rng.uniform(0.003, 0.0098)
    if rng.random() < 0.15:
        low_top, low_lapse = rng.uniform(100.0, 400.0), -rng.uniform(0.005, 0.02)
    lapse = rng.normal(0.0065, 0.0006)
    tropopause = rng.normal(11500.0, 1200.0) - elevation_m
    t_low = t0 - low_lapse * low_top
    t_trop = t_low - lapse * (tropopause - low_top)
    warm_rate = rng.uniform(0.0003, 0.0012)

    def temperature(h):
        if h < low_top:
            return t0 - low_lapse * h
        if h < tropopause:
            return t_low - lapse * (h - low_top)
        return t_trop + max(0.0, h - tropopause - 6000.0) * warm_rate

    return Air(elevation_m, pressure_pa, temperature, gravity_pad)
