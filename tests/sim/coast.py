"""What every compared filter is told and how it sees a flight: air, wind, drag, motion, readings, noise, priors.

The figures are those that the estimator under test takes from the same setup and common practice (kept apart here, in
NumPy columns), so that designs differ in how they compute and not in what they know. Under power a measured specific force
is integrated as it is (strapdown); where none is measured the told thrust is followed. Moments of first motion and burnout are
the tested program's own. A stage above the first is beyond this.
"""
import copy
import math

import numpy as np

from .air import GAMMA, R_AIR, STEP_M, told_air
from .filters import ASIDE, slopes
from .make import A_WGS84, F_WGS84
from .motion import EARTH_RATE

NAMES = ("east", "north", "height", "ve", "vn", "vu", "ln_k", "rise", "wind_e", "wind_n", "extra", "ln_thrust", "ln_burn", "baro", "baro_scale",
         "port", "baro_lag", "acc", "acc_scale", "gnss_lag", "gnss_height")
E, N, H, VE, VN, VU, LNK, RISE, WE, WN, EXTRA, TAU, BURN, BARO, BSCALE, PORT, BLAG, ACC, ASCALE, GLAG, GH = range(len(NAMES))
# what motion depends on, and the differences at which slopes are taken
MOVING = [H, VE, VN, VU, LNK, RISE, WE, WN, EXTRA, TAU, BURN, ACC, ASCALE]
STEP = np.array([1e-2] * 3 + [1e-2] * 3 + [1e-4, 1e-3, 1e-2, 1e-2, 1e-2, 1e-4, 0.03, 1e-2, 1e-5, 1e-5, 1e-4, 1e-3, 1e-5, 1e-4, 1e-2])
# first guess, least and greatest noise of a channel, and how long its errors last, s
NOISE = dict(baro=(6.0, 0.5, 500.0, 0.05), axial=(0.4, 0.02, 20.0, 0.05), flat=(2.5, 0.8, 50.0, 1.5), up=(4.0, 1.2, 80.0, 1.5),
             flat_v=(0.3, 0.05, 10.0, 0.4), up_v=(0.4, 0.05, 10.0, 0.4), tilt=(0.05, 0.02, 0.5, 1.0))
TAIL_S, TAIL_TAU_S = 0.35, 0.15
# longest gap between two forces that is bridged by a straight line, s
GAP_S = 0.4


def saturated(f):
    """Whether a force lies at the end of a usual range: makers' full scales are whole numbers of g."""
    return any(abs(f / (n * 9.80665) - 1.0) < 0.005 for n in (8, 16, 24, 32, 50, 64, 100, 200))


def noise_of(channel, values):
    """Variance of a channel by its neighbours' differences on the pad (von Neumann 1941), the first guess counting as four."""
    start, low, high, _ = NOISE[channel]
    d = np.abs(np.diff(values))
    var = (4.0 * start ** 2 + 0.5 * (d * d).sum()) / (4.0 + len(d))
    quantum = d[d > 0].min() if (d > 0).any() else 0.0
    return min(max(var, low ** 2), high ** 2) + quantum ** 2 / 12.0


class Told:
    """The plan as air, wind, gravity, thrust and drag."""

    def __init__(self, plan):
        site, weather, v, m = plan["site"], plan["weather"], plan["vehicle"], plan["motors"][0]
        self.elevation, self.latitude, self.longitude = site["elevation_m"], site["latitude_rad"], site["longitude_rad"]
        self.air = told_air(self.elevation, weather["pressure_pa"], weather["temperature_k"], self.latitude)
        self.h = np.arange(len(self.air.temp)) * STEP_M
        self.lnp, self.temp = np.array(self.air.lnp), np.array(self.air.temp)
        self.rho = np.exp(self.lnp) / (R_AIR * self.temp)
        self.rho0, self.sound = self.rho[0], np.sqrt(GAMMA * R_AIR * self.temp)
        self.wind_height = min(max(weather["wind_height_m"], 1.0), 600.0)
        blows = weather["wind_mps"]["value"], weather["wind_from_rad"]
        self.wind_e, self.wind_n, self.wind_sd = -blows[0] * math.sin(blows[1]), -blows[0] * math.cos(blows[1]), weather["wind_mps"]["sd"]
        self.oy, self.oz = EARTH_RATE * math.cos(self.latitude), EARTH_RATE * math.sin(self.latitude)
        azimuth, tilt = v["rail_azimuth_rad"] or 0.0, v["rail_tilt_rad"] if v["rail_azimuth_rad"] is not None else 0.0
        self.rail = np.array([math.sin(tilt) * math.sin(azimuth), math.sin(tilt) * math.cos(azimuth), math.cos(tilt)])
        self.rail_length, self.lean_sd = v["rail_length_m"], v["lean_sd_rad"]
        curve = m["curve"] or [(0.0, 1.0), (m["burn_time_s"], 1.0)]
        self.burn_s = curve[-1][0]
        self.grid = np.linspace(0.0, self.burn_s, 129)
        thrust = np.interp(self.grid, *np.array(curve).T)
        spent = np.concatenate([[0.0], np.cumsum(0.5 * (thrust[1:] + thrust[:-1]))]) * self.burn_s / 128
        self.thrust, spent = thrust * m["impulse_ns"]["value"] / spent[-1], spent / spent[-1]
        mass = v["liftoff_mass_kg"]
        self.mass = mass["value"] - m["propellant_mass_kg"] * spent
        cd, mass_sd = m["drag_coefficient"], mass["sd"] / mass["value"]
        self.ln_k = math.log(self.rho0 * cd["value"] * math.pi * m["diameter_m"] ** 2 / 8.0 / self.mass[-1])
        self.ln_k_sd = math.hypot(cd["sd"] / cd["value"], mass_sd)
        self.ln_thrust_sd = math.hypot(m["impulse_ns"]["sd"] / m["impulse_ns"]["value"], mass_sd)
        self.mean_thrust = m["impulse_ns"]["value"] / self.burn_s / (mass["value"] - 0.5 * m["propellant_mass_kg"])
        self.thrust_sd = (0.05 if m["curve"] else 0.15) * self.mean_thrust

    def gravity(self, h):
        return self.air.g_pad * (self.air.radius / (self.air.radius + h)) ** 2

    def wind(self, h):
        """Mean air motion (east, north) and the spread of each: power law of 1/7 to 600 m, 2 m/s a km not known (common practice, no source)."""
        ratio = (np.clip(h, 2.0, 600.0) / self.wind_height) ** (1.0 / 7.0)
        return self.wind_e * ratio, self.wind_n * ratio, np.sqrt((self.wind_sd * ratio) ** 2 + np.clip(0.002 * h, 0.0, 15.0) ** 2 + 0.25)

    def airspeed(self, c):
        """Velocity through the air (3, K) and its length."""
        we, wn, _ = self.wind(c[H])
        a = np.stack([c[VE] - we - c[WE], c[VN] - wn - c[WN], c[VU]])
        return a, np.sqrt((a * a).sum(0)) + 1e-9

    def drag(self, c, v):
        """Drag over mass after burnout, and Mach: level from ln k, a rise between Mach 0.8 and 1.1 that decays (Hoerner 1965, from memory)."""
        mach = v / np.interp(c[H], self.h, self.sound)
        u = np.clip((mach - 0.8) / 0.3, 0.0, 1.0)
        over = np.maximum(mach - 1.1, 0.0)
        shape = 1.0 + 0.55 * np.exp(0.45 * np.clip(c[RISE], -4, 4)) * u * u * (3.0 - 2.0 * u) / np.sqrt(1.0 + 2.5 * over)
        return np.exp(c[LNK]) * np.interp(c[H], self.h, self.rho) / self.rho0 * shape * v * v, mach

    def push(self, c, v, t, force):
        """Specific force along the airspeed: as measured, or told thrust less drag at t seconds after first motion."""
        if force is not None:
            return (force - c[ACC]) / (1.0 + c[ASCALE]) + c[EXTRA]
        drag = self.drag(c, v)[0]
        if t is None:
            return c[EXTRA] - drag
        x = t * np.exp(-c[BURN])
        mass = np.interp(x, self.grid, self.mass)
        thrust = np.where((x < 0) | (x > self.burn_s), 0.0, np.interp(x, self.grid, self.thrust)) * np.exp(c[TAU] - c[BURN])
        return thrust / mass + c[EXTRA] - drag * self.mass[-1] / mass

    def accel(self, c, t=None, force=None, rail=None):
        a, v = self.airspeed(c)
        push = self.push(c, v, t, force)
        g = self.gravity(c[H])
        if rail is not None:
            on = (c[:3] * rail).sum(0) < self.rail_length
            along = np.maximum(push - g * rail[2], 0.0)
        out = push / (v + 0.5 * (t is not None or force is not None)) * a
        out[0] += 2.0 * (self.oz * c[VN] - self.oy * c[VU])
        out[1] -= 2.0 * self.oz * c[VE]
        out[2] += 2.0 * self.oy * c[VE] - g
        return out if rail is None else np.where(on, rail * along, out)

    def move(self, c, dt, t=None, force=None, tau=TAIL_TAU_S, longest=0.25, rail=None):
        """Carries columns by dt; t is the time since first motion while told thrust may act, force the measured one at both ends."""
        c = c.copy()
        steps = max(math.ceil(dt / longest - 1e-9), 1)
        h = dt / steps
        for i in range(steps):
            k = []
            for f, of in ((0.0, None), (0.5, 0), (0.5, 1), (1.0, 2)):
                x = c.copy()
                if of is not None:
                    x[:3] += f * h * k[of][:3]
                    x[VE:VU + 1] += f * h * k[of][3:]
                x[EXTRA] *= math.exp(-f * h / tau)
                at = (i + f) / steps
                k.append(np.concatenate([x[VE:VU + 1], self.accel(x, None if t is None else t + at * dt,
                                                                  None if force is None else force[0] + at * (force[1] - force[0]), rail)]))
            c[:6] += h / 6.0 * (k[0] + 2.0 * k[1] + 2.0 * k[2] + k[3])
            c[EXTRA] *= math.exp(-h / tau)
            c[WE:WN + 1] *= self.wind_fade(c[VU], h)
        return c

    def wind_fade(self, climb, dt):
        return np.exp(-(np.abs(climb) / 1200.0 + 1.0 / 300.0) * dt)

    def rates(self, c, dt, powered=False):
        """Variances that dt adds to velocity (each axis), ln k and wind: what the model leaves out."""
        a, v = self.airspeed(c)
        drag, mach = self.drag(c, v)
        lift = 0.0 if powered else 0.01 * self.gravity(c[H]) * np.minimum(np.hypot(a[0], a[1]) / np.maximum(v, 1.0), 1.0)
        rough = 0.03 * self.mean_thrust if powered else 0.02 * drag
        q = (0.6 * rough ** 2 + (0.02 + 0.0004 * v) ** 2 + 2.0 * lift ** 2) * dt
        fade = self.wind_fade(c[VU], dt)
        return q, (0.015 + 0.05 * np.clip((mach - 0.7) / 0.2, 0.0, 1.0)) ** 2 * dt, self.wind(c[H])[2] ** 2 * (1.0 - fade ** 2)

    def height(self, p):
        """Height above the pad at which this pressure is told to be."""
        below = min(self.lnp[0] - math.log(p), 0.0)
        return float(np.interp(-math.log(p), -self.lnp, self.h)) + below * self.metres(0.0) * math.exp(self.lnp[0])

    def metres(self, h):
        """Metres that a pascal is worth."""
        return float(R_AIR * np.interp(h, self.h, self.temp) / (self.gravity(h) * np.exp(np.interp(h, self.h, self.lnp))))

    def enu(self, fix):
        e2 = F_WGS84 * (2 - F_WGS84)
        s2 = math.sin(self.latitude) ** 2
        rn = A_WGS84 * (1 - e2) / (1 - e2 * s2) ** 1.5 + self.elevation
        re = (A_WGS84 / math.sqrt(1 - e2 * s2) + self.elevation) * math.cos(self.latitude)
        up = fix["height_amsl_m"]
        return np.array([(fix["longitude_rad"] - self.longitude) * re, (fix["latitude_rad"] - self.latitude) * rn, 0.0 if up is None else up - self.elevation])


class Cartesian:
    """Motion as velocity over ground."""

    speed = VU

    def __init__(self, told):
        self.told = told

    def inward(self, c):
        return c

    def outward(self, x):
        return x

    def inward_cov(self, c, p):
        """Covariances (M, n, n) about Cartesian means (M, n), in these coordinates."""
        return p


class Leaned(Cartesian):
    """Motion as airspeed and the path's angle from vertical times its heading (east, north): regular straight up, where angle and
    heading by themselves are not."""

    speed = VE

    def inward(self, c):
        a, v = self.told.airspeed(c)
        flat = np.hypot(a[0], a[1])
        per = np.where(flat > 1e-9, np.arctan2(flat, a[2]) / np.maximum(flat, 1e-9), 1.0 / v)
        x = c.copy()
        x[VE], x[VN], x[VU] = v, per * a[0], per * a[1]
        return x

    def outward(self, x):
        v, angle = x[VE], np.hypot(x[VN], x[VU])
        flat = v * np.sinc(angle / math.pi)
        we, wn, _ = self.told.wind(x[H])
        c = x.copy()
        c[VE], c[VN], c[VU] = flat * x[VN] + we + x[WE], flat * x[VU] + wn + x[WN], v * np.cos(angle)
        return c

    def inward_cov(self, c, p):
        j = slopes(self.inward, c, STEP, [H, VE, VN, VU, WE, WN])[1]
        return j @ p @ j.mT


class Heard:
    """One flight's readings with what the pad has shown, first motion and burnout as the tested program dates them."""

    def __init__(self, plan, samples, liftoff, burnout):
        self.told = told = Told(plan)
        self.t0, self.t0_sd, self.burnout = liftoff[0], max(liftoff[1], 0.01), burnout
        own = [s for s in samples if "report" not in s and s["body"] == 0]
        pad = [s for s in own if self.t0 - 60.0 < s["t_s"] < self.t0 - 1.0]
        self.readings = [s for s in own if s["t_s"] > self.t0]
        column = lambda name: np.array([s[name] for s in pad if s[name] is not None])
        p, f = column("pressure_pa"), column("axial_mps2")
        fixes = [s["fix"] for i, s in enumerate(pad) if s["fix"] and (i == 0 or s["fix"] != pad[i - 1]["fix"])]
        speeds = [s["velocity"] for i, s in enumerate(pad) if s["velocity"] and (i == 0 or s["velocity"] != pad[i - 1]["velocity"])]
        self.var = {k: NOISE[k][0] ** 2 for k in NOISE}
        self.baro_sd, self.gnss_sd, self.over, self.zero_m, self.zero_enu = 15.0, np.array([8.0, 8.0, 15.0]), 0.0, 0.0, np.zeros(3)
        if len(p):
            self.var["baro"] = noise_of("baro", p)
            # told and read pressure are both good to a hectopascal: part of their difference is the sensor's own
            self.over = 0.6 * (p.mean() - math.exp(told.lnp[0])) if abs(p.mean() - math.exp(told.lnp[0])) < 600.0 else 0.0
            self.zero_m = told.height(p.mean() - self.over)
            self.baro_sd = told.metres(0.0) * math.sqrt(self.var["baro"] / len(p))
        self.force_zero = None
        if len(f):
            self.var["axial"] = noise_of("axial", f)
            self.force_zero = f.mean() - told.gravity(0.0) * told.rail[2], self.var["axial"] / len(f)
        if fixes:
            at = np.array([told.enu(x) for x in fixes])
            self.zero_enu = at.mean(0)
            self.var["flat"], self.var["up"] = noise_of("flat", at[:, 0]), noise_of("up", at[:, 2])
            self.gnss_sd = np.sqrt([self.var["flat"], self.var["flat"], self.var["up"]]) / math.sqrt(len(fixes))
        if speeds:
            self.var["flat_v"] = noise_of("flat_v", np.array([v["horizontal_mps"][0] for v in speeds]))
            self.var["up_v"] = noise_of("up_v", np.array([v["up_mps"] for v in speeds]))
        felt = [(s["t_s"], s["axial_mps2"]) for s in self.readings if s["axial_mps2"] is not None]
        self.felt = np.array(felt).T if felt else None

    def force(self, t, dt):
        """Specific force at both ends of a span, where it was measured often enough and within the sensor's range; else None."""
        if self.felt is None:
            return None
        i, j = np.searchsorted(self.felt[0], [t + 1e-9, t + dt - 1e-9])
        span = self.felt[:, max(i - 1, 0):j + 1]
        before = self.t0 if i == 0 else span[0, 0]
        if span.shape[1] == 0 or np.diff(span[0], prepend=before).max() > GAP_S or any(saturated(f) for f in span[1]):
            return None
        return np.interp([t, t + dt], *self.felt)

    def start(self):
        """(time, mean, covariance) where the rail has let go, Cartesian: differences of whole runs with first motion and lean moved."""
        told, g = self.told, self.told.gravity(0.0)
        r = told.rail
        ax = np.array([r[2], 0.0, -r[0]]) / math.hypot(r[0], r[2])
        # the lean grows from the rail to burnout as gravity turns the path: less of what is told is there at the rail
        lean = 0.85 * told.lean_sd
        rails = np.array([r, r, r + lean * ax, r + lean * np.cross(r, ax)]).T
        rails /= np.linalg.norm(rails, axis=0)
        x = np.zeros((len(NAMES), 4))
        x[LNK], x[BLAG], x[GLAG] = told.ln_k, 0.05, 0.22
        dt, t = 0.01, self.t0
        late = np.array([0.0, self.t0_sd, 0.0, 0.0])
        while t < self.t0 + 2.5 * self.t0_sd or x[VU, 0] < 12.0 or (x[:3, 0] * r).sum() < told.rail_length:
            if t > self.t0 + 3.0:
                raise ValueError("does not leave the rail by what was measured")
            y = told.move(x, dt, t - self.t0, self.force(t, dt), rail=rails)
            x = np.where(t >= self.t0 + late, y, x)
            t += dt
        d = x[:, 1:] - x[:, :1]
        p = d @ d.T
        sd = {E: 0.2, N: 0.2, H: 0.14, VE: 0.1, VN: 0.1, VU: 0.1, LNK: told.ln_k_sd, RISE: 1.0, WE: told.wind(10.0)[2], WN: told.wind(10.0)[2],
              EXTRA: told.thrust_sd if self.force(t - dt, dt) is None else 1e-4, TAU: told.ln_thrust_sd, BURN: 0.08,
              BARO: math.hypot(self.baro_sd, 0.5), BSCALE: 0.0035, PORT: 0.009, BLAG: 0.05, ACC: 0.6, ASCALE: 0.012, GLAG: 0.15,
              GH: math.hypot(self.gnss_sd[2], 1.5)}
        p += np.diag([sd[i] ** 2 for i in range(len(NAMES))])
        x = x[:, 0]
        if self.force_zero is not None:
            row = np.zeros(len(NAMES))
            row[ACC], row[ASCALE] = 1.0, g
            gain = p @ row / (row @ p @ row + self.force_zero[1] + 0.03 ** 2)
            x, p = x + gain * self.force_zero[0], p - np.outer(gain, row @ p)
        return t, x, 0.5 * (p + p.T)


class Follower:
    """One filter on one flight: carries it from reading to reading, offers each channel with its doubts."""

    def __init__(self, heard, chart, make):
        self.heard, self.told, self.chart = heard, heard.told, chart(heard.told)
        self.t, c, p = heard.start()
        self.filter = make(self.chart.inward(c[:, None])[:, 0], self.chart.inward_cov(c[None, :], p[None])[0])
        self.var, self.taken, self.rejects = dict(heard.var), {}, {}
        self.burnt = heard.felt is None
        self.fix, self.trusted, self.fits, self.misfits = None, True, None, 0

    def where(self):
        """Mean (n, 1), Cartesian."""
        return self.chart.outward(self.filter.mean()[:, None])

    def open(self, **variances):
        """The belief gives way in the Cartesian states named."""
        p = np.diag([variances.get(n, 0.0) for n in NAMES])
        self.filter.open(self.chart.inward_cov(self.where().T, p[None])[0])

    def carry_to(self, t):
        if not self.burnt and t >= self.heard.burnout:
            self.carry(max(self.heard.burnout, self.t))
            self.burnt = True
            # where the force crosses zero thrust still equals drag; it fades from something between nothing and that
            c = self.where()
            self.open(extra=1.0 + (0.6 * float(self.told.drag(c, self.told.airspeed(c)[1])[0][0])) ** 2)
        self.carry(t)

    def carry(self, t):
        dt = t - self.t
        if dt <= 1e-6:
            return
        told, since = self.told, self.t - self.heard.t0
        force = None if self.burnt else self.heard.force(self.t, dt)
        unfelt = force is None and (not self.burnt or self.heard.felt is None) and since < 1.3 * told.burn_s
        tau = 0.35 if unfelt else TAIL_TAU_S
        longest = 0.05 if force is not None or unfelt else 0.25
        flow = lambda x: self.chart.inward(told.move(self.chart.outward(x), dt, since if unfelt else None, force, tau, longest))
        self.filter.carry(flow, lambda x: self.noise(x, dt, force, unfelt, tau), MOVING)
        self.t = t

    def noise(self, x, dt, force, unfelt, tau):
        told, since = self.told, self.t - self.heard.t0
        c = self.chart.outward(x.T)
        q = np.zeros((len(x), len(NAMES), len(NAMES)))
        v, k, w = told.rates(c, dt, force is not None or unfelt)
        for i, rate in ((VE, v), (VN, v), (VU, v), (LNK, k), (WE, w), (WN, w), (BARO, 0.006 * dt), (GH, 0.2 * dt)):
            q[:, i, i] = rate
        a, speed = told.airspeed(c)
        extra = 0.0
        if force is not None:
            # a step of the force came anywhere between two readings; each reading has noise of its own
            var = (force[1] - force[0]) ** 2 * dt ** 2 / 12.0 + (self.var["axial"] + (0.01 * force[1]) ** 2) * dt ** 2
            u = (a / speed).T
            q[:, VE:VU + 1, VE:VU + 1] += var * u[:, :, None] * u[:, None, :]
        elif unfelt:
            extra = told.thrust_sd if since < told.burn_s else 0.0
        elif self.heard.felt is not None and self.t < self.heard.burnout + TAIL_S:
            extra = 0.3 * told.drag(c, speed)[0]
        q[:, EXTRA, EXTRA] = extra ** 2 * (1.0 - math.exp(-2.0 * dt / tau)) + 1e-12
        return self.chart.inward_cov(c.T, q)

    # --- measurements: (channel, value, variance, what columns make of it (c, airspeed vector, airspeed), unit of its noise)
    def take(self, s):
        """One reading, in order of receipt; one that was measured a little before the newest is taken as of now."""
        if s["t_s"] < self.t - 0.1 or not self.burnt and s["axial_mps2"] is None:
            return
        if s["t_s"] > self.t:
            self.carry_to(s["t_s"])
        told, c = self.told, self.where()
        t_sd = min(max(s["t_sd_s"], 0.0), 2.0)
        views = []
        if s["pressure_pa"] is not None:
            views.append(self.pressure(s["pressure_pa"], c, t_sd * float(c[VU, 0])))
        z = s["axial_mps2"]
        if z is not None and self.burnt:
            views.append(("axial", z, self.var["axial"] + (0.02 * z) ** 2, lambda c, a, v: (c[EXTRA] - told.drag(c, v)[0]) * (1.0 + c[ASCALE]) + c[ACC], 1.0))
        if s["tilt_rad"] is not None and c[VU, 0] > 12.0:
            # a body points a few degrees off its path
            views.append(("tilt", s["tilt_rad"], self.var["tilt"] + 0.035 ** 2, lambda c, a, v: np.arctan2(np.hypot(a[0], a[1]) + 1e-9, a[2]), 1.0))
        if views:
            self.learn(views, *self.correct(self.filter, views))
        if s["fix"] and s["fix"] != self.fix:
            self.fix = s["fix"]
            self.gnss(s, c, t_sd)

    def since(self, channel):
        return min(max(self.t - self.taken.get(channel, self.t - 10.0), 0.01), 10.0)

    def correct(self, filter_, views):
        """Lets a filter take them; (innovations, what the state accounts for, variances of the measurements)."""
        def see(x):
            c = self.chart.outward(x)
            a, v = self.told.airspeed(c)
            return np.stack([view[3](c, a, v) for view in views])
        # errors that last longer than the time between values do not average out
        r = np.array([v[2] * (1.0 + NOISE[v[0]][3] / self.since(v[0])) for v in views])
        return *filter_.correct(np.array([v[1] for v in views]), see, r), r

    def learn(self, views, y, known, r):
        """Moves each channel's noise with its surprises, and gives way to a channel that goes on saying the same."""
        w = self.filter.w
        for i, (name, _, variance, _, unit) in enumerate(views):
            var, (_, low, high, _) = self.var[name], NOISE[name]
            y2 = float(w @ y[:, i] ** 2)
            if (y[:, i] ** 2 / (known[:, i] + r[i])).min() > ASIDE:
                self.rejects[name] = self.rejects.get(name, 0) + 1
                if self.rejects[name] < (15 if name == "baro" else 6):
                    continue
                if name == "axial":
                    self.open(ln_k=0.25, extra=0.25 * y2)
                else:
                    give = min(0.25 * y2, 400.0)
                    self.open(height=0.25 * y2, ve=give, vn=give, vu=give)
            else:
                rest = float(w @ known[:, i]) / unit ** 2 + max(variance / unit ** 2 - var, 0.0)
                step = 0.02 * var / (rest + var) * (min(y2 / unit ** 2, 9.0 * (rest + var)) - rest - var)
                self.var[name], self.taken[name] = min(max(var + step, low ** 2), high ** 2), self.t
            self.rejects[name] = 0

    def pressure(self, p, c, quick):
        """Height by pressure with its port, lag and the shock near Mach 1."""
        told, h = self.told, float(c[H, 0])
        mpp = told.metres(h)
        sound, static = float(np.interp(h, told.h, told.sound)), math.exp(float(np.interp(h, told.h, told.lnp)))
        i = self.chart.speed
        mach, mach_var = float(told.airspeed(c)[1][0]) / sound, self.filter.cov()[i, i] / sound ** 2
        width2 = 0.08 ** 2 + mach_var
        near = math.exp(-0.5 * (mach - 1.0) ** 2 / width2) * 0.08 / math.sqrt(width2)
        doubt = (0.05 * math.sqrt(near) + (0.003 * mach ** 2 if mach > 1.0 else 0.0)) * 0.5 * GAMMA * static
        shock = doubt * mpp * math.sqrt(1.0 + 1.5 / self.since("baro"))

        def view(c, a, v):
            return c[H] * (1.0 + c[BSCALE]) + c[BARO] + c[PORT] * 0.5 * np.interp(c[H], told.h, told.rho) * v * v * mpp - c[BLAG] * c[VU]
        return "baro", told.height(p - self.heard.over) - self.heard.zero_m, mpp ** 2 * self.var["baro"] + shock ** 2 + quick ** 2, view, mpp

    def gnss(self, s, c, t_sd):
        """A receiver is asked when power is over, put aside while it disagrees, believed again when it has fitted for a second."""
        told, alone = self.told, self.heard.felt is None and s["pressure_pa"] is None
        if not alone and (not self.burnt or self.t < self.heard.burnout + 0.7):
            return
        acc = told.accel(c, self.t - self.heard.t0 if alone else None)[:, 0]
        hard = np.linalg.norm(acc) > 40.0
        wide = 9.0 if hard else 1.0
        doubt = (t_sd ** 2 + 0.03 ** 2) * float((c[VE:VU + 1] ** 2).sum())
        z = told.enu(s["fix"]) - self.heard.zero_enu
        flat = max(self.var["flat"], (s["fix"]["horizontal_sd_m"] or 0.0) ** 2) + doubt
        place = lambda i: lambda c, a, v: c[i] + (c[GH] if i == H else 0.0) - c[GLAG] * c[VE + i] + 0.5 * c[GLAG] ** 2 * acc[i]
        speed = lambda i: lambda c, a, v: c[VE + i] - c[GLAG] * acc[i]
        views = [("flat", z[i], (flat + self.heard.gnss_sd[i] ** 2) * wide, place(i), 1.0) for i in (E, N)]
        if s["fix"]["height_amsl_m"] is not None:
            views.append(("up", z[2], (self.var["up"] + doubt) * wide, place(H), 1.0))
        if s["velocity"]:
            for i, u in enumerate([*s["velocity"]["horizontal_mps"], s["velocity"]["up_mps"]]):
                name = "flat_v" if i < 2 else "up_v"
                views.append((name, u, (self.var[name] + 0.09 + t_sd ** 2 * acc[i] ** 2) * wide, speed(i), 1.0))
        tried = copy.copy(self.filter)
        y, known, r = self.correct(tried, views)
        d2 = (y ** 2 / (known + r)).min(axis=0)
        if self.trusted and d2.max() < (7.0 if hard else 14.0):
            self.filter, self.misfits = tried, 0
            self.learn(views, y, known, r)
            return
        self.trusted = False
        # where a barometer is heard its height vouches for a receiver that has found the sky again
        tall = [d for d, v in zip(d2, views) if v[0].startswith("up")]
        if (d2.max() if alone or not tall else max(tall)) > 7.0:
            self.fits, self.misfits = None, self.misfits + 1
            if alone and self.misfits >= 10:
                self.misfits = 0
                self.open(east=1e4, north=1e4, height=1e4, ve=400.0, vn=400.0, vu=400.0)
            return
        self.fits = self.t if self.fits is None else self.fits
        if self.t - self.fits >= 0.95:
            self.trusted, self.fits = True, None
            if d2.max() > 14.0:
                self.open(east=1e4, north=1e4, ve=400.0, vn=400.0)

    def apogee(self, rng, count=500):
        """The belief carried on by draws, with what the model leaves out: (height, time, airspeed) at apogee, (3, count)."""
        told = self.told
        c, t = self.chart.outward(self.filter.draw(rng, count)), self.t
        top = np.full((3, count), np.nan)
        a, v = told.airspeed(c)
        share = 0.005 * (1.0 + np.hypot(a[0], a[1]) / v)
        while np.isnan(top[0]).any() and t < self.t + 200.0:
            since = t - self.heard.t0
            powered = self.heard.felt is None and since < 1.3 * told.burn_s
            dt = 0.05 if powered else float(np.clip(c[VU, np.isnan(top[0])].max() / 200.0, 0.05, 0.5))
            was, c = c, told.move(c, dt, since if powered else None, longest=1.0)
            kick = rng.standard_normal((6, count))
            q, k, w = told.rates(c, dt, powered)
            c[VE:VU + 1] += np.sqrt(q) * kick[:3]
            c[LNK] += np.sqrt(k) * kick[3]
            c[WE:WN + 1] += np.sqrt(w) * kick[4:]
            now = np.isnan(top[0]) & (c[VU] <= 0.0) & (not powered or since > told.burn_s)
            if now.any():
                f = np.clip(was[VU] / np.maximum(was[VU] - c[VU], 1e-9), 0.0, 1.0)
                top[:, now] = np.stack([was[H] + 0.5 * was[VU] * f * dt, t + f * dt, told.airspeed(was + f * (c - was))[1]])[:, now]
            t += dt
        # a nose that follows the falling path late lifts the body a little, by an amount that nobody told
        lift, to_go = share * rng.standard_normal(count), np.maximum(top[1] - self.t, 0.0)
        top[0] += lift * 0.5 * told.gravity(c[H]) * to_go ** 2
        top[1] += lift * to_go + 0.02 * rng.standard_normal(count)
        return top
