"""Which of the offline fit's knowledge its errors rest on: the same fit, told less, one thing at a time and all of them.

What it is not told it gets as parameters, with the spread that a crew's figures or common practice leave (no source where none
is named): then it knows what a live system knows, but sees the whole flight up to the instant at once and may think for a second.
What is left between it and the program is what the program itself costs.
"""
import json
import math
from types import SimpleNamespace

import numpy as np

from . import VERSION
from .air import told_air
from .reference import CACHE, FIT_VERSION, Fit, fit_flight
from .refmodel import Model, drag_vector

CLASSES = ["straight", "full", "arcing", "no_gnss", "transonic", "two_stage"]
UNTOLD = {"lags": "how late barometer and receiver are", "thrust": "the thrust curve's shape", "drag": "the drag curve's shape",
          "air": "the air above the pad", "wind": "the wind aloft", "sky": "when a receiver is not to be believed"}
# shares of the burn at which an untold thrust bends, and by how much (ln): its tail may do anything
KNOTS = np.array([0.0, 0.1, 0.25, 0.45, 0.65, 0.8, 0.9, 0.97])
BENDS = [0.3, 0.3, 0.25, 0.25, 0.3, 0.5, 0.7, 0.7]
# drag: where the rise is, ln of its width, its height, its decay, friction's slope, power-on drag: mean and spread
CURVE = {"middle_mach": (0.98, 0.03), "ln_width_mach": (math.log(0.06), 0.4), "peak_ratio": (1.8, 0.3), "decay": (0.6, 0.2),
         "friction_slope": (0.06, 0.04), "power_on": (0.92, 0.05)}
# the engine's own: baro lag, receiver's lag; a board's filters
LAGS = {"ln_baro_lag": (math.log(0.05), 0.7), "fix_lag": (0.25, 0.2), "ln_own_h": (math.log(0.15), 0.7), "ln_own_v": (math.log(0.35), 0.6)}
AIR = {"warmth": (0.0, 0.006), "warmth_per_km": (0.0, 0.002)}
SEVENTH = 1.0 / 7.0


class Untold(Model):
    """The reference model where parts of the world are told, or parameters, instead of true."""

    untold = frozenset()

    def __init__(self, case):
        super().__init__(case)
        # name: prior mean and spread of what takes the place of what is not told
        self.priors = {}
        if "thrust" in self.untold:
            self.priors |= {f"push_{i}_{k}": (0.0, sd) for i in range(len(self.stages)) for k, sd in enumerate(BENDS)}
        if "drag" in self.untold:
            self.priors |= CURVE
        site, weather = case.told["site"], case.told["weather"]
        if "air" in self.untold:
            self.priors |= AIR
            told = told_air(site["elevation_m"], 100 * weather["station_pressure_hpa"], weather["temperature_c"] + 273.15, case.latitude_rad)
            self.lnp, self.temp = np.array(told.lnp), np.array(told.temp)
        if "wind" in self.untold:
            sd = max(weather["wind_spread_mps"], 1.5)
            self.priors |= {"wind_e": (0.0, sd), "wind_n": (0.0, sd), "wind_e_km": (0.0, 0.8 * sd), "wind_n_km": (0.0, 0.8 * sd)}
        self.names += list(self.priors)
        self.index = {n: i for i, n in enumerate(self.names)}

    def air(self, z, th):
        if "air" in self.untold:
            # a warmer column is higher
            z = z * (1.0 - (th["warmth"] + th["warmth_per_km"] * z / 1000.0))
        return super().air(z, th)

    def blows(self, z, th):
        if "wind" not in self.untold:
            return super().blows(z, th)
        told = self.case.told["weather"]
        grow = (np.clip(z, 1.0, 600.0) / max(told["wind_height_m"], 1.0)) ** SEVENTH
        turn = math.radians(told["wind_from_deg"])
        return (-told["wind_mps"] * math.sin(turn) * grow + th["wind_e"] + th["wind_e_km"] * z / 1000.0,
                -told["wind_mps"] * math.cos(turn) * grow + th["wind_n"] + th["wind_n_km"] * z / 1000.0)

    def pushes(self, i, x, th):
        if "thrust" not in self.untold:
            return super().pushes(i, x, th)
        level = np.interp(x, [0.0, 0.03, 0.92, 1.0], [0.0, 1.0, 1.0, 0.0]) / 0.945
        at = np.clip(np.searchsorted(KNOTS, x) - 1, 0, len(KNOTS) - 2)
        share = np.clip((x - KNOTS[at]) / (KNOTS[at + 1] - KNOTS[at]), 0.0, 1.0)
        bends = np.stack([th[f"push_{i}_{k}"] for k in range(len(KNOTS))])
        sets = np.arange(len(x))
        return np.clip(x, 0.0, 1.0), level * np.exp(bends[at, sets] * (1 - share) + bends[at + 1, sets] * share)

    def holds(self, i, mach, burning, th):
        if "drag" not in self.untold:
            return super().holds(i, mach, burning, th)
        curve = SimpleNamespace(middle_mach=th["middle_mach"], width_mach=np.exp(th["ln_width_mach"]), peak_ratio=th["peak_ratio"],
                                decay=th["decay"], friction_slope=th["friction_slope"], power_on=th["power_on"])
        return drag_vector(curve, mach, burning)


def fitter(untold):
    """A fit that is not told these."""

    class Less(Fit):
        Model = type("Less", (Untold,), {"untold": frozenset(untold)})

        def more(self):
            return self.model.priors | (LAGS if "lags" in untold else {})

        def lags(self, th):
            if "lags" not in untold:
                return super().lags(th)
            late = th["fix_lag"] - self.case.sensors["gnss"]["lag"]
            return np.exp(th["ln_baro_lag"]), np.exp(th["ln_own_h"]), np.exp(th["ln_own_v"]), late

        def rows(self, samples, pad, shift, t_end, lost):
            if "sky" in untold:
                # told nothing, nobody believes a receiver from first motion until a while after the last burnout
                burnt = self.burnt_s()
                lost = [(-0.5, burnt + 2.0)]
            super().rows(samples, pad, shift, t_end, lost)

        def burnt_s(self):
            t = 0.0
            for i, stage in enumerate(self.model.stages):
                t += stage.thrust.end + (self.model.tolds[i]["ignition_after_burnout_s"] if i else 0.0)
            return t

    return Less


def ignorant(cls, seed, untold):
    """The cached fit without these, computed if it is not there."""
    path = CACHE / f"untold-v{VERSION}.{FIT_VERSION}" / f"{cls}-{seed:04d}-{'-'.join(sorted(untold))}.json"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(fit_flight(cls, seed, fitter(untold))))
    return json.loads(path.read_text())


def table(flights, single, rows, jobs):
    """Errors of the fit that knows all, of fits that are not told one thing (`single` flights of some classes) or any of them, and of
    the program where `rows` has it."""
    from concurrent.futures import ProcessPoolExecutor

    from .classes import CLASSES as DRAWN
    from .reference import fit
    from .table import fmt, md, mean, quant

    # a crew that tells nothing has no figures for the fit to be told
    ALL = [c for c in DRAWN if c != "untold"]
    ours = {(r["cls"], r["seed"]): r for r in rows}
    wanted = [(c, s, tuple(UNTOLD)) for c in ALL for s in range(1, flights + 1)]
    wanted += [(c, s, (u,)) for u in UNTOLD for c in CLASSES for s in range(1, single + 1)]
    with ProcessPoolExecutor(jobs) as pool:
        got = dict(zip(wanted, pool.map(_one, wanted)))
    knows = {(c, s): fit(c, s) for c in ALL for s in range(1, flights + 1)}

    def row(name, fits):
        fits = [f for f in fits if f]
        out = [name, len(fits)]
        for key in ("after", "half"):
            errors = [abs(f[key]["h_err"]) for f in fits if f.get(key)]
            out += [fmt(quant(errors, 0.5)), fmt(quant(errors, 0.9)), fmt(mean([f[key]["h_score"] for f in fits if f.get(key)])),
                    f"{100 * mean([f[key]['h_in90'] for f in fits if f.get(key)]):.0f}"]
        return out

    head = ["", "flights"] + [f"{at}{what}" for at in ("0.5 s after burnout: ", "half of coast: ") for what in ("height %, median", "p90", "score %", "in 90 %")]
    keys = [(c, s) for c in CLASSES for s in range(1, single + 1)]
    lines = [row("the fit that knows all", [knows[k] for k in keys])]
    lines += [row(f"not told {what}", [got[(*k, (u,))] for k in keys]) for u, what in UNTOLD.items()]
    lines += [row("told none of these", [got[(*k, tuple(UNTOLD))] for k in keys]), row("the program", [ours.get(k) for k in keys])]
    text = md(head, lines)
    lines = []
    for c in [*ALL, "all"]:
        # only flights that all three have
        seeds = [(k, s) for k in (ALL if c == "all" else [c]) for s in range(1, flights + 1)
                 if got[(k, s, tuple(UNTOLD))] and ours.get((k, s), {}).get("half") and ours[(k, s)].get("after")]
        line = [c, len(seeds)]
        by = (lambda k: knows[k], lambda k: got[(*k, tuple(UNTOLD))], lambda k: ours[k])
        middle = lambda key, what: [quant([abs(f(k)[key][what]) for k in seeds if what in f(k)[key]], 0.5) for f in by]
        for key in ("after", "half"):
            of = middle(key, "h_err")
            line += [*map(fmt, of), fmt(of[2] / of[0]), fmt(of[2] / of[1])]
        lines.append([*line, *map(fmt, middle("half", "v_err"))])
    head = ["class", "flights"] + [f"{at}{what}" for at in ("0.5 s after burnout: ", "half: ") for what in ("knows all", "told none", "program", "over the first", "over the second")]
    head += [f"half, airspeed at apogee m/s: {who}" for who in ("knows all", "told none", "program")]
    return text + "\n" + md(head, lines)


def _one(wanted):
    cls, seed, untold = wanted
    try:
        return ignorant(cls, seed, untold)
    except np.linalg.LinAlgError:
        # no optimum with a sound curvature: left out on all sides
        return None
