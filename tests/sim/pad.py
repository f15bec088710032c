"""Hours on the pad without a flight: gusts, door slams, carrying, raising, driving, a storm front, bad fixes.

Every hour is drawn anew (class "pad", seed = hour) and run through the program; any liftoff it reports is false.
Sizes are common practice or plain physics (12 Pa a metre, 0.6 rho w^2 of gust pressure), no source.
"""
import json
import math
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from .classes import draw
from .lines import Said
from .make import settle, transmit
from .score import OUT, run
from .sensors import GRID_S, lag, wander
from .setupfile import plan_json, setup_toml

STORM_EVERY = 5


@dataclass
class Still:
    """A track that never flies."""

    name: str
    rec: dict
    events: dict
    cues: list = field(default_factory=list)
    charges: list = field(default_factory=list)
    freed: float | None = None


class PadBoard:
    """Sensors of a vehicle that is waited with, opened, carried, raised and blown at."""

    def __init__(self, case, seconds, hour):
        rng, cfg = case.rng, case.sensors
        self.case, self.has = case, cfg["has"]
        n = int(seconds / GRID_S)
        t = self.t = np.arange(n) * GRID_S
        height = np.zeros(n)
        axis = np.full(n, math.radians(2.0))  # nose from vertical
        bump = np.zeros((3, n))
        east = np.zeros(n)
        press = np.zeros(n)
        speed_u = np.zeros(n)
        # gusts: pressure on the airframe follows the square of the wind
        w = np.abs(rng.uniform(1.0, 8.0) + wander(rng, n, rng.uniform(0.5, 3.0), rng.uniform(2.0, 8.0)))
        press += rng.normal(0.0, 0.35) * 1.2 * w * w
        press += wander(rng, n, rng.uniform(5.0, 40.0), 900.0)
        at = lambda: int(rng.uniform(0, n - 12000))
        for _ in range(int(rng.integers(3, 15))):  # doors, boots of cars, hands on hatches
            i, width = at(), rng.uniform(0.05, 0.6)
            k = np.arange(int(6 * width / GRID_S))
            press[i:i + len(k)] += rng.choice([-1, 1]) * rng.uniform(20.0, 250.0) * np.exp(-k * GRID_S / width) * np.cos(k * GRID_S * rng.uniform(3, 25))
        for _ in range(int(rng.integers(2, 8))):  # lifted, carried, set down, with knocks
            i, m = at(), int(rng.uniform(8.0, 90.0) / GRID_S)
            m = min(m, n - i - 1)
            ramp = np.minimum(1.0, np.minimum(np.arange(m), np.arange(m)[::-1]) * GRID_S / rng.uniform(0.6, 2.0))
            height[i:i + m] += rng.uniform(0.5, 2.0) * ramp
            axis[i:i + m] += (rng.uniform(0.2, 1.8) - axis[i:i + m]) * ramp
            bump[:, i:i + m] += wander(rng, m, rng.uniform(0.5, 2.5), 0.15) * ramp
            if rng.random() < 0.6:
                j, width = i + m - 1, int(rng.uniform(0.01, 0.08) / GRID_S) + 1
                bump[:, j:j + width] += rng.normal(0, 60.0, (3, 1)) * np.ones((3, min(width, n - j)))
        for _ in range(int(rng.integers(1, 5))):  # knocks while being worked on
            i = at()
            bump[:, i:i + int(rng.integers(1, 5))] += rng.normal(0, 80.0, (3, 1))
        if rng.random() < 0.5:  # raised from lying to standing on the rail
            i, m = at(), int(rng.uniform(3.0, 25.0) / GRID_S)
            lie = rng.uniform(1.3, 1.6)
            axis[:i] = lie
            axis[i:i + m] = np.linspace(lie, math.radians(2.0), m)
            height[:i] -= rng.uniform(0.5, 2.0)
        if rng.random() < 0.3:  # driven to the pad, up a slope
            m = int(rng.uniform(60.0, 300.0) / GRID_S)
            i = int(rng.uniform(0, n - m - 1000))
            run_m = rng.uniform(200.0, 2500.0)
            s = 0.5 - 0.5 * np.cos(np.linspace(0, math.pi, m))
            east[:i] -= run_m
            east[i:i + m] -= run_m * (1 - s)
            drop = rng.normal(0.0, 15.0)
            height[:i] += drop
            height[i:i + m] += drop * (1 - s)
            bump[:, i:i + m] += wander(rng, m, rng.uniform(0.5, 3.0), 0.05)
        if hour % STORM_EVERY == 0:  # a front: pressure jumps within a minute or two, wind with it
            i = at()
            front = rng.uniform(100.0, 400.0) / (1 + np.exp(-(t - t[i]) / rng.uniform(8.0, 60.0)))
            press += rng.choice([1.0, -0.7]) * front
            gust = rng.uniform(10.0, 22.0) * np.exp(-np.maximum(t - t[i], 0) / 900.0) * (t > t[i])
            press += rng.normal(0, 0.3) * 1.2 * (gust * (1 + 0.4 * wander(rng, n, 1.0, 1.5))) ** 2
            bump += gust / 22.0 * 0.8 * wander(rng, n, 1.0, 0.08)
        speed_u[1:] = np.diff(lag(height, 0.2)) / GRID_S
        p0 = case.air.at(0.0)[0]
        b, a, g = cfg["baro"], cfg["accel"], case.air.g_pad
        self.z = height
        p = lag(p0 - height * 12.0 * p0 / 101325.0 + press, b["lag"]) + b["bias"] + wander(rng, n, b["drift"], 60.0)
        self.pressure = np.round((p + b["noise"] * rng.standard_normal(n)) / b["step"]) * b["step"] if self.has["pressure"] else None
        self.axial = self.lateral = self.tilt = self.own_h = self.own_v = self.fixes = None
        if self.has["axial"]:
            limit = lambda x: np.round(np.clip(x * (1 + a["scale"]) + 0.15 * a["noise"] * rng.standard_normal(n), -a["full_scale"], a["full_scale"]) / a["step"]) * a["step"]
            self.axial = limit(g * np.cos(axis) + bump[0] + a["bias"])
            if self.has["lateral"]:
                self.lateral = (limit(g * np.sin(axis) + bump[1]), limit(bump[2]))
        if self.has["tilt"]:
            self.tilt = np.abs(axis + np.cumsum(rng.standard_normal(n)) * math.sqrt(GRID_S) * cfg["tilt"]["drift"] * 0.2 + 0.004 * rng.standard_normal(n))
        if self.has["own"]:
            o = cfg["own"]
            seen = height - press / 12.0
            self.own_h = lag(seen, o["tau_h"]) + o["noise_h"] * rng.standard_normal(n)
            self.own_v = np.gradient(lag(lag(seen, o["tau_h"] + 0.2), o["tau_v"])) / GRID_S + o["noise_v"] * rng.standard_normal(n)
        if self.has["gnss"]:
            self.fixes = self.gnss(rng, cfg["gnss"], east, height, speed_u)

    def gnss(self, rng, g, east, height, speed_u):
        """Fixes with jumps under cover and velocity that follows the car."""
        out, period = [], 1.0 / g["rate"]
        sig = np.array([g["sigma"], g["sigma"], 1.7 * g["sigma"]])
        err, t, jump, jump_until = sig * rng.standard_normal(3), rng.uniform(0, period), np.zeros(3), -1.0
        a = math.exp(-period / 60.0)
        while t < self.t[-1]:
            err = a * err + sig * math.sqrt(1 - a * a) * rng.standard_normal(3)
            if rng.random() < period / 700.0:
                jump, jump_until = rng.normal(0, 1, 3) * np.array([12.0, 12.0, 25.0]), t + rng.uniform(1.0, 40.0)
            k = int(t / GRID_S)
            bad = jump if t < jump_until else 0.0
            ve = (east[k] - east[max(k - 20, 0)]) / 0.2
            v = np.array([ve, 0.0, speed_u[k]]) + g["velocity"] * rng.standard_normal(3) * np.array([1, 1, 1.5])
            if t < jump_until:
                v = v + rng.normal(0, 1.0, 3)
            out.append((t, *(np.array([east[k], 0.0, height[k]]) + err + bad + g["white"] * rng.standard_normal(3)), *v, rng.random() > 0.001))
            t += period
        return out


def pad_hour(hour, base, seconds=3600.0, rate_hz=None):
    """Writes one hour's folder; packets as often as the case has it, at most ten a second, or so often."""
    folder = Path(base) / f"pad-{hour:04d}"
    folder.mkdir(parents=True, exist_ok=True)
    kinds = ["full", "straight", "pressure_only", "gnss_only", "no_gnss", "lossy"]
    case = draw(kinds[hour % len(kinds)], 100000 + hour)
    case.pad_s, case.after_s = 0.0, 0.0
    case.radio.update(fade=False, reboot=False)
    case.sensors["rate_hz"] = rate_hz or min(case.sensors["rate_hz"], 10.0)
    rec = {k: np.zeros(2) for k in ("x", "z")} | {"t": np.array([0.0, seconds])}
    track = Still("Body", rec, dict(liftoff=math.inf, landing=seconds, apogee=math.inf))
    board = PadBoard(case, seconds, hour)
    pieces, heard, layouts, links, _ = transmit(case, [track], boards=[board])
    recording, samples, epoch, _ = settle(case, [(tr, links[i]["name"], d) for tr, i, d in pieces], heard)
    dump = lambda o: json.dumps(o, separators=(",", ":"))
    (folder / "motor.csv").unlink(missing_ok=True)
    case.told["motor"].pop("curve", None)
    (folder / "setup.toml").write_text(setup_toml(case.told, links, [lay.told(case.radio["framing"] == "fixed") for lay in layouts]))
    (folder / "plan.json").write_text(dump(plan_json(case.told)))
    (folder / "recording.jsonl").write_text("".join(dump(x) + "\n" for x in recording))
    (folder / "samples.jsonl").write_text("".join(dump(x) + "\n" for x in samples))
    return folder, epoch, len(samples)


def count(binary, hours, first=1, samples=False, jobs=2, keep=False, rate_hz=None):
    """[(hour, packets, liftoffs said, of those withdrawn, flights joined aloft, exit code, seconds taken)]."""
    base = OUT / "pad"

    def one(hour):
        folder, epoch, n = pad_hour(hour, base, rate_hz=rate_hz)
        path, code, took = run(binary, folder, samples, base / "said")
        said = Said(path, epoch)
        named = lambda x: (x.get("flight"), x["id"])  # each flight counts from one
        liftoffs = [x for x in said.kinds.get("event", []) if x.get("event") == "liftoff"]
        lifted = {named(x) for x in liftoffs}
        back = {named(x) for x in liftoffs if x.get("withdrawn")}
        # A flight that is joined aloft has no liftoff.
        joined = {x.get("flight") for x in said.kinds.get("estimate", []) if x.get("phase") != "waiting"} - {x.get("flight") for x in liftoffs}
        if not keep and not lifted and not joined:
            shutil.rmtree(folder)
            path.unlink()
        return hour, n, len(lifted), len(back), len(joined), code, took

    with ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(one, range(first, first + hours)))
