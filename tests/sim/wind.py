"""Wind over the pad: a mean profile with shear and veer, and turbulence carried past the body.

Mean: power law in the lowest layer (exponent drawn 0.10 to 0.25, common practice), then drawn shear and
turning per layer, with a jet near 10 km. Gusts: the Dryden forms of MIL-HDBK-1797 with its low-altitude
scale lengths and intensities (cited from memory), advanced by exact first-order steps.
"""
import math

LAYER_M = 100.0
LAYERS = 420


class Wind:
    """Mean wind by height and a gust process along the path. Vectors are (east, north, up) of air motion."""

    def __init__(self, rng, speed_10m_mps, from_rad, turbulence):
        self.speed_10 = speed_10m_mps
        self.from_rad = from_rad
        self.turbulence = turbulence
        exponent = rng.uniform(0.10, 0.25)
        top = rng.uniform(300.0, 1200.0)
        veer = math.radians(rng.uniform(-5.0, 30.0))
        jet = abs(rng.normal(0.0, 14.0))
        jet_h = rng.uniform(8500.0, 12500.0)
        jet_w = rng.uniform(2500.0, 4500.0)
        jet_from = from_rad + rng.normal(0.0, 0.6)
        self.exponent = exponent
        self.east, self.north = [], []
        walk_e = walk_n = 0.0
        for i in range(LAYERS):
            h = i * LAYER_M
            low = min(max(h, 3.0), top)
            speed = speed_10m_mps * (low / 10.0) ** exponent
            turn = from_rad + veer * min(h / top, 1.5)
            if h > top:
                walk_e += rng.normal(0.0, 0.35)
                walk_n += rng.normal(0.0, 0.35)
                walk_e *= 0.995
                walk_n *= 0.995
            j = jet * math.exp(-(((h - jet_h) / jet_w) ** 2))
            self.east.append(-speed * math.sin(turn) - j * math.sin(jet_from) + walk_e)
            self.north.append(-speed * math.cos(turn) - j * math.cos(jet_from) + walk_n)

    def mean(self, h):
        """Mean air motion (east, north) at a height above the pad, m/s."""
        if h < LAYER_M:
            # inside the lowest layer the profile is too steep for a straight line
            f = (max(h, 1.0) / LAYER_M) ** self.exponent
            return self.east[1] * f, self.north[1] * f
        x = h / LAYER_M
        i = min(int(x), LAYERS - 2)
        f = min(x - i, 1.0)
        return (self.east[i] + f * (self.east[i + 1] - self.east[i]),
                self.north[i] + f * (self.north[i + 1] - self.north[i]))


class Gust:
    """One body's gust components, stepped in time as it moves through frozen turbulence."""

    def __init__(self, rng, wind):
        self.rng = rng
        self.wind = wind
        self.u = [0.0, 0.0, 0.0]
        self.slow = [0.0, 0.0, 0.0]
        self.buffer = []

    def noise(self):
        if not self.buffer:
            self.buffer = self.rng.standard_normal(3000).tolist()
        return self.buffer.pop()

    def step(self, dt, airspeed, h):
        """Advances by dt and returns (east, north, up) gust, m/s."""
        h_ft = min(max(h, 3.0) / 0.3048, 1000.0)
        base = 0.177 + 0.000823 * h_ft
        sigma_w = 0.1 * self.wind.speed_10 * self.wind.turbulence + 0.05
        if h > 300.0:
            sigma_w *= math.exp(-(h - 300.0) / 1500.0) * 0.8 + 0.2
        scale_w = h_ft * 0.3048
        for axis in range(3):
            sigma = sigma_w if axis == 2 else sigma_w / base ** 0.4
            length = scale_w if axis == 2 else min(scale_w / base ** 1.2, 533.0)
            tau = length / max(airspeed, 1.0)
            a = math.exp(-dt / tau)
            s = sigma * math.sqrt(1.0 - a * a)
            # two processes of different length sum to a spectrum that falls as Dryden's cross form does
            self.u[axis] = a * self.u[axis] + 0.7071 * s * self.noise()
            a2 = math.exp(-0.5 * dt / tau)
            self.slow[axis] = a2 * self.slow[axis] + 0.7071 * sigma * math.sqrt(1.0 - a2 * a2) * self.noise()
        return (self.u[0] + self.slow[0], self.u[1] + self.slow[1], self.u[2] + self.slow[2])
