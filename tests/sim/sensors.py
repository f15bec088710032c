"""What the boards aboard measure of the truth: noise, lag, bias, saturation, and the bad habits of each sensor.

All series are worked out on a regular 100 Hz grid from before liftoff to after landing and read at the packets'
times, so a packet carries the newest value, not a perfect one.
"""
import math

import numpy as np

GRID_S = 0.01


def lag(x, tau, dt=GRID_S):
    """First-order lag of a regular series."""
    if tau <= 0:
        return x.copy()
    from scipy.signal import lfilter
    a = math.exp(-dt / tau)
    return lfilter([1 - a], [1, -a], x, zi=[a * x[0]])[0]


def wander(rng, n, sigma, tau, dt=GRID_S):
    """Ornstein-Uhlenbeck series."""
    from scipy.signal import lfilter
    a = math.exp(-dt / tau)
    w = rng.standard_normal(n) * sigma * math.sqrt(1 - a * a)
    return lfilter([1.0], [1.0, -a], w, zi=[a * sigma * rng.standard_normal()])[0]


def pressure_altitude(pa):
    """Geopotential height, m, of the US Standard Atmosphere 1976 (eqs. 33a, 33b) to 20 km, from memory."""
    low = 44330.77 * (1.0 - (pa / 101325.0) ** 0.190263)
    return np.where(pa > 22632.0, low, 11000.0 + 6341.62 * np.log(22632.0 / np.maximum(pa, 1.0)))


class Board:
    """One transmitter's sensors along one body's motion."""

    def __init__(self, case, track, t_end, charges):
        rng, cfg = case.rng, case.sensors
        has = cfg["has"]
        self.case, self.has = case, has
        self.t = np.arange(-case.pad_s, t_end, GRID_S)
        n = len(self.t)
        pad = self.t < 0
        get = lambda name: np.interp(self.t, track.rec["t"], track.rec[name])
        self.z = np.where(pad, 0.0, get("z"))
        self.vz = np.where(pad, 0.0, get("vz"))
        airspeed = np.where(pad, 0.0, get("airspeed"))
        free = get("free")
        press = get("press")
        self.pressure = self.axial = self.lateral = self.tilt = self.own_h = self.own_v = None
        b = cfg["baro"]
        temp_ratio = airspeed / 335.0
        q = 0.7 * press * temp_ratio ** 2
        if has["pressure"] or has["own"]:
            flying = (free > 0.5) & (free < 1.5)
            port = b["port"] * q * flying
            step = b["transonic"] * q * flying * np.exp(-((temp_ratio - 1.0) / 0.05) ** 2)
            p = lag(press + port + step, b["lag"])
            p = p + b["bias"] * np.ones(n) + wander(rng, n, b["drift"], 60.0)
            for c in charges:
                after = self.t - c
                width = rng.uniform(0.03, 0.25)
                p = p + np.where(after >= 0, b["spike"] * np.exp(-np.maximum(after, 0.0) / width), 0.0)
            clean_h = self.z + (b["bias"] * 0)
            p = p + b["noise"] * rng.standard_normal(n)
            self.pressure = np.round(p / b["step"]) * b["step"]
        if has["axial"]:
            self.accel(case, rng, cfg["accel"], get, free, track, charges)
        if has["tilt"]:
            nz = np.clip(get("nz"), -1, 1)
            drift = np.cumsum(rng.standard_normal(n)) * math.sqrt(GRID_S) * cfg["tilt"]["drift"] + abs(rng.normal(0, 0.004))
            tilt = np.abs(np.arccos(nz) + drift + cfg["tilt"]["noise"] * rng.standard_normal(n))
            hang = free > 1.5
            swing = np.abs(wander(rng, n, 0.4, 1.5)) + 0.1
            self.tilt = np.where(hang, swing, tilt)
        if has["own"]:
            o = cfg["own"]
            # its own height comes from its own barometer, through its own filter
            scale = rng.normal(1.0, 0.01)
            # four altimeters in five take the day's air for the standard's (drawn beside the stream, which others go on from)
            z, vz = self.z, self.vz
            if rng.spawn(1)[0].random() < 0.8:
                z = pressure_altitude(press) - pressure_altitude(press[0])
                vz = np.gradient(z, GRID_S)
            self.own_h = lag(z, o["tau_h"]) * scale + wander(rng, n, 0.5, 30.0) + o["noise_h"] * rng.standard_normal(n)
            self.own_v = lag(vz, o["tau_v"]) * scale + o["noise_v"] * rng.standard_normal(n)
        self.fixes = self.gnss(case, rng, cfg["gnss"], track) if has["gnss"] else None

    def accel(self, case, rng, a, get, free, track, charges):
        n = len(self.t)
        ax, ly, lz = get("axial"), get("laty"), get("latz")
        # hanging or tumbling, the board turns under the force
        hang = (free > 1.5) & (free < 2.5)
        turn = wander(rng, n, 0.5, 1.0)
        if rng.random() < 0.4:
            turn = turn + rng.uniform(3.0, 12.0) * self.t
        face = rng.choice([-1.0, 1.0])
        mag = ax.copy()
        ax = np.where(hang, face * mag * np.cos(turn), ax)
        ly = np.where(hang, mag * np.sin(turn) * 0.8, ly)
        lz = np.where(hang, mag * np.sin(turn) * 0.6, lz)
        for c in charges:
            after = self.t - c
            jerk = np.where((after >= 0) & (after < 0.03), rng.normal(0, 300.0), 0.0)
            ax, ly = ax + jerk, ly + 0.5 * jerk
        vib = np.where((free > 0.5) & (free < 1.5), 1.0, 0.15)
        power = np.where(ax > 5.0, 3.0, 1.0) * vib
        out = []
        for s, bias in ((ax, a["bias"]), (ly, rng.normal(0, 0.3)), (lz, rng.normal(0, 0.3))):
            s = s * (1 + a["scale"]) + bias + a["noise"] * power * rng.standard_normal(n)
            s = np.clip(s, -a["full_scale"], a["full_scale"])
            out.append(np.round(s / a["step"]) * a["step"])
        out[0] = np.clip(out[0] + a["misalign"] * ly, -a["full_scale"], a["full_scale"])
        self.axial = out[0]
        self.lateral = (out[1], out[2]) if self.has["lateral"] else None

    def gnss(self, case, rng, g, track):
        """List of (time it is ready, east, north, up, ve, vn, vu, valid) at the receiver's own rate."""
        period = 1.0 / g["rate"]
        out = []
        err = np.zeros(3)
        sig = np.array([g["sigma"], g["sigma"], 1.7 * g["sigma"]])
        a = math.exp(-period / 60.0)
        err = sig * rng.standard_normal(3)
        held = None
        lost_until = -1e9
        t = self.t[0] + rng.uniform(0, period)
        while t < self.t[-1]:
            err = a * err + sig * math.sqrt(1 - a * a) * rng.standard_normal(3)
            tm = t - g["lag"]
            if tm < 0.0:
                pos, vel, load, z = np.zeros(3), np.zeros(3), 0.0, 0.0
            else:
                pos = np.array([track.at(k, tm) for k in "xyz"])
                vel = np.array([track.at(k, tm) for k in ("vx", "vy", "vz")])
                load = abs(float(track.at("axial", tm))) if float(track.at("free", tm)) < 1.5 else 9.8
                z = pos[2]
            fix = pos + err + g["white"] * rng.standard_normal(3)
            v = vel + g["velocity"] * rng.standard_normal(3) * np.array([1, 1, 1.5])
            valid = True
            if load > g["loses_at"] and g["habit"] != "fine" and tm > 0:
                lost_until = tm + g["recover"]
            if z > g["limit_m"]:
                lost_until = max(lost_until, tm + 1.0)
            if tm < lost_until:
                if held is None:
                    held = (t, fix, v)
                if g["habit"] == "lose":
                    valid = False
                elif g["habit"] == "freeze" or z > g["limit_m"]:
                    fix, v = held[1], held[2]
                else:
                    # keeps on with the last velocity, its flag still set
                    dt = t - held[0]
                    fix = held[1] + held[2] * dt
                    v = held[2] + 0.3 * rng.standard_normal(3)
            elif held is not None:
                # found again: walks in from where it thought it was
                w = math.exp(-(tm - lost_until) / 0.6) if g["habit"] == "coast" else 0.0
                if w < 0.02:
                    held = None
                else:
                    wrong = held[1] + held[2] * (t - held[0])
                    fix = fix * (1 - w) + wrong * w
                    v = v * (1 - w) + held[2] * w
            out.append((t, *fix, *v, valid))
            t += period
        return out
