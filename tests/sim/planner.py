"""The cue planner tried on simulated flights: a board of our own making follows the guarded condition, and what it does is
held against what was wanted.

The board knows what electronics know: an axial specific force, from which it detects liftoff (20 m/s2 for a tenth of a second)
and burnout (below nothing for a tenth of a second after it), a height from static pressure, and a vertical speed that lags.
The speed is either the true one with a first-order lag and noise, as a good inertial filter gives it, or the barometer's
alone, with the pressure error of the transonic shock in it, smoothed and lagging by as much.
"""
import json
import math
import subprocess
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from .make import flown
from .setupfile import scaled_curve, setup_toml

STEP_S = 0.02
LAG = (0.15, 0.04)
DELAY = (0.12, 0.05)
WANTED_S = 2.0
LIMIT_MPS = 25.0
CUE = "trial"


def told_setup(case, folder, lead_s=WANTED_S, lean_deg=None):
    """The case's setup with one more cue, as a file; the spread of the lean told otherwise where given."""
    told = dict(case.told)
    if lean_deg is not None:
        told["vehicle"] = dict(told["vehicle"], lean_spread_deg=lean_deg)
    told["cue"] = [*told["cue"], dict(name=CUE, kind="release", body="Body", when="before apogee", value=lead_s,
                                      delay_s=DELAY[0], spread_s=DELAY[1], lag_s=LAG[0], lag_spread_s=LAG[1],
                                      limit_airspeed_mps=LIMIT_MPS, mass_kg=1.0)]
    link = dict(name="radio", receiver="radio", kind="serial", path="/dev/ttyUSB0")
    if "curve" in told["motor"]:
        rows = scaled_curve(told["motor"])
        (folder / "motor.csv").write_text("".join(f"{t:.5f},{f:.4f}\n" for t, f in rows))
    (folder / "setup.toml").write_text(setup_toml(told, [link], []))
    return folder / "setup.toml"


def planned(binary, setup):
    """What the program makes of it."""
    out = subprocess.run([binary, "prepare", str(setup), "--json", "--cue", CUE], capture_output=True, text=True, check=True)
    said = json.loads(out.stdout)
    return dict(said["plans"][0], lean_rad=said["prepared"]["picture"]["lean_rad"])


def place(value, quantiles):
    """Where a value stands among drawn flights, 0 to 1, by their quantiles; half as far again beyond the outermost."""
    x = [quantiles[name] for name in ("p05", "p25", "p50", "p75", "p95")]
    ends = [x[0] - (x[1] - x[0]) / 2], [x[4] + (x[4] - x[3]) / 2]
    return float(np.interp(value, ends[0] + x + ends[1], [0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0]))


class Board:
    """One flight as the electronics see it, every 20 ms from before liftoff."""

    def __init__(self, case, track, rng, barometer=False):
        rec = track.rec
        ev = track.events
        self.t = np.arange(ev["liftoff"] - 5.0, min(ev["apogee"] + 8.0, rec["t"][-1]), STEP_S)
        at = lambda name: np.interp(self.t, rec["t"], rec[name])
        self.axial = at("axial") + rng.normal(0, 0.3, len(self.t))
        self.true_climb, self.airspeed = at("vz"), at("airspeed")
        lag = max(rng.normal(*LAG), 0.01)
        height = at("z")
        if barometer:
            air = [case.air.at(max(h, 0.0)) for h in height]
            rho = np.array([a[2] for a in air])
            mach = self.airspeed / np.array([a[3] for a in air])
            g = case.air.gravity(0.0)
            # the shock passing the port: a tenth of the dynamic pressure, within 0.06 of Mach 1
            error_pa = 0.10 * 0.5 * rho * self.airspeed ** 2 * np.exp(-(((mach - 1.0) / 0.06) ** 2))
            seen = height - error_pa / (rho * g) + rng.normal(0, 0.4, len(self.t))
            smooth = filtered(filtered(seen, lag / 2), lag / 2)
            self.climb = np.gradient(smooth, STEP_S)
            self.height = smooth
        else:
            self.climb = filtered(self.true_climb, lag) + rng.normal(0, 0.25, len(self.t))
            self.height = filtered(height, lag)
        self.liftoff = first_for(self.t, self.axial > 20.0, 0.1)
        self.burnout = first_for(self.t, (self.axial < 0.0) & (self.t > self.liftoff), 0.1)
        self.delay = max(rng.normal(*DELAY), 0.0)

    def release(self, condition):
        """When the mechanism has acted, by the condition as told; and whether only the timer did it."""
        after = self.t - self.liftoff
        go = (self.t > self.burnout) & (after >= condition["earliest_s"]) & (self.height >= condition["least_height_m"])
        if condition["mach_lockout_s"] is not None:
            go &= after >= condition["mach_lockout_s"]
        go &= self.climb <= condition["climb_at_most"]
        at = first_for(self.t, go, condition["hold_s"])
        over = (after >= condition["timer_s"]) & (self.height >= condition["least_height_m"])
        timer = first_for(self.t, over, 0.0)
        return min(at, timer) + self.delay, timer <= at

    def bare(self, threshold):
        """When a bare speed would have gone off: no guard at all, from power-up on."""
        return first_for(self.t, self.climb <= threshold, 0.0)


def filtered(x, tau):
    y = np.empty_like(x)
    y[0] = x[0]
    a = 1.0 - math.exp(-STEP_S / tau)
    for i in range(1, len(x)):
        y[i] = y[i - 1] + a * (x[i] - y[i - 1])
    return y


def first_for(t, true, hold_s):
    """End of the first stretch of so long on which it holds; infinity if there is none."""
    need = max(int(round(hold_s / STEP_S)), 1)
    run = 0
    for i, ok in enumerate(true):
        run = run + 1 if ok else 0
        if run > need or (need == 1 and run == 1):
            return float(t[i])
    return math.inf


def one(job):
    """One flight: what was predicted of it and what happened."""
    cls, seed, binary, boards, lean_deg = job
    case, tracks = flown(cls, seed)
    track = tracks[0]
    with tempfile.TemporaryDirectory() as folder:
        plan = planned(binary, told_setup(case, Path(folder), lean_deg=lean_deg))
    condition = plan["condition"]
    row = dict(cls=cls, seed=seed, planned=condition is not None, over_predicted=plan["over"], mach=case.true["greatest_mach"])
    if condition is None:
        return row
    condition = dict(condition, climb_at_most=condition["climb_mps"])
    apogee = track.events["apogee"]
    row["runs"] = []
    for n in range(boards):
        rng = np.random.default_rng([seed, n, 77])
        for barometer in (False, True):
            board = Board(case, track, rng, barometer)
            t, timer = board.release(condition)
            row["runs"].append(dict(
                barometer=barometer, error_s=t - (apogee - WANTED_S), timer=bool(timer),
                airspeed_mps=float(np.interp(t, board.t, board.airspeed)),
                before_burnout=bool(t < track.events["burnout"]),
                bare_s=board.bare(condition["climb_at_most"]) - board.liftoff))
    return row


def trial(binary, cls, first, count, boards=2, jobs=2, lean_deg=None):
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(one, [(cls, s, binary, boards, lean_deg) for s in range(first, first + count)]))


def lean_at_burnout(track):
    """Path angle through the air at the last burnout, rad."""
    out = max(t for name, t in track.events.items() if "burnout" in name)
    e, n, u = (float(track.at(v, out)) - float(track.at(w, out)) for v, w in (("vx", "wx"), ("vy", "wy"), ("vz", "wz")))
    return math.atan2(math.hypot(e, n), u)


def _places(job):
    cls, seed, binary, spreads = job
    case, tracks = flown(cls, seed)
    was = lean_at_burnout(tracks[0])
    with tempfile.TemporaryDirectory() as folder:
        return [place(was, planned(binary, told_setup(case, Path(folder), lean_deg=d))["lean_rad"]) for d in spreads]


def learned_lean_deg(binary, cls, first, count, jobs=2, spreads=(4.0, 7.0, 10.0, 14.0)):
    """The spread of the lean with which these flights stand, on the average, in the middle of those drawn for each of them: what
    a crew learns of its own flights, with the wind's part left to the wind. Medians of all flights would tell it badly: most of
    what a lean is, each flight's rail and wind tell."""
    with ProcessPoolExecutor(jobs) as pool:
        rows = list(pool.map(_places, [(cls, s, binary, spreads) for s in range(first, first + count)]))
    # A wider spread puts what was flown lower among what is drawn.
    middle = np.mean(np.array(rows), axis=0)
    return float(np.interp(-0.5, -middle, spreads))


def summed(rows):
    """Figures of one class as a dictionary."""
    flown_rows = [r for r in rows if r["planned"]]
    runs = [x for r in flown_rows for x in r["runs"]]
    inertial = [x for x in runs if not x["barometer"]]
    errors = np.array([x["error_s"] for x in inertial])
    return dict(
        flights=len(rows), planned=len(flown_rows),
        error_median_s=float(np.median(np.abs(errors))), error_p95_s=float(np.quantile(np.abs(errors), 0.95)),
        baro_error_median_s=float(np.median([abs(x["error_s"]) for x in runs if x["barometer"]])),
        over=float(np.mean([x["airspeed_mps"] > LIMIT_MPS for x in inertial])),
        over_predicted=float(np.mean([r["over_predicted"] for r in flown_rows])),
        too_early=int(sum(x["before_burnout"] or x["error_s"] < -1.5 for x in runs)),
        by_timer=float(np.mean([x["timer"] for x in inertial])),
        bare_too_early=int(sum(x["bare_s"] < 0.5 for x in runs)))
