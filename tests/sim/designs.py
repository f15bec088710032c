"""Filter designs beside each other on the same readings, with the same told figures, and the tested program last.

The designs are kept here and out of the product: this is where it shows whether another would be the better choice.
"""
import json
import math
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from .coast import LNK, NAMES, STEP, VE, VN, VU, WE, WN, Cartesian, Follower, Heard, Leaned
from .filters import Bank, Particles, Sum, Unscented
from .lines import Said
from .score import OUT, flight_folder, interval, judge_prediction, run
from .table import TITLES, absolute, at, fmt, md, mean, percent, quant

HEAVY = 8.0
PARTICLES = 400
AIR = np.array([[(n == v) - (n == w) for n in range(len(NAMES))] for v, w in ((VE, WE), (VN, WN))], float)
# radius in deviations, parts, weight of each ring, and a part's spread over the whole one: together a unit Gaussian
RINGS, SHARE = [(0.0, 1, 0.14), (0.75, 6, 0.38), (1.4, 8, 0.32), (2.16, 10, 0.16)], 0.45
# state of motion and filter, from a Gaussian and a generator
DESIGNS = {
    "extended, Cartesian": (Cartesian, lambda x, p, rng: Bank(x, p, STEP, heavy=HEAVY)),
    "square-root unscented, Cartesian": (Cartesian, lambda x, p, rng: Unscented(x, p, heavy=HEAVY)),
    "square-root unscented, speed and lean": (Leaned, lambda x, p, rng: Unscented(x, p, heavy=HEAVY)),
    "iterated extended, speed and lean": (Leaned, lambda x, p, rng: Bank(x, p, STEP, iterations=4, heavy=HEAVY)),
    "particles over lean and ln k": (Leaned, lambda x, p, rng: Particles(x, p, STEP, [VN, VU, LNK], PARTICLES, rng, HEAVY)),
    "Gaussian sum over the airspeed's direction": (Cartesian, lambda x, p, rng: Sum(x, p, STEP, AIR, RINGS, SHARE, HEAVY)),
}
PRODUCT = "the program"
CLASSES = ["straight", "leaning", "transonic", "high", "pressure_only", "no_gnss", "gnss_only", "lossy"]


def judged(top, apogee):
    """Draws of apogee against the truth, in the terms of `score.judge_prediction`."""
    out = {}
    for key, x, true, scale in (("h", top[0], apogee["height_m"], 100.0 / apogee["height_m"]), ("t", top[1], apogee["t_s"], 1.0),
                                ("v", top[2], apogee["airspeed_mps"], 1.0)):
        q = dict(zip(("p05", "p25", "p50", "p75", "p95"), np.nanquantile(x, [0.05, 0.25, 0.5, 0.75, 0.95]).tolist()))
        cover, _, width, score = interval(q, true)
        out |= {f"{key}_err": (q["p50"] - true) * scale, f"{key}_in90": cover, f"{key}_width": width * scale, f"{key}_score": score * scale}
    return out


def followed(heard, design, seed, instants, apogee):
    """One design over one flight: figures at each instant, and milliseconds a reading."""
    chart, make = DESIGNS[design]
    rng = np.random.Generator(np.random.PCG64(seed))
    out, spent, count = {}, 0.0, 0
    follower = Follower(heard, chart, lambda x, p: make(x, p, rng))
    waiting = sorted(instants.items(), key=lambda i: i[1])
    for s in [*heard.readings, None]:
        while waiting and (s is None or s["t_receive_s"] > waiting[0][1]):
            out[waiting.pop(0)[0]] = judged(follower.apogee(np.random.Generator(np.random.PCG64([seed, 1]))), apogee)
        if not waiting:
            break
        start = time.process_time()
        follower.take(s)
        spent += time.process_time() - start
        count += 1
    return out | dict(ms=1e3 * spent / max(count, 1))


def dated(said, body, kind):
    """(time, spread) of an event as the program found it itself: what a vehicle reports of itself comes late."""
    lines = [x for x in said.of("event", 0, body) if x.get("event") == kind and not x.get("withdrawn")]
    own = [x for x in lines if x.get("origin") == "detected"] or lines
    return (said.time(own[-1].get("t_utc", own[-1].get("t_s"))), own[-1].get("t_sd_s", own[-1].get("sd_s"))) if own else None


def one(binary, cls, seed, samples, results):
    """All designs and the program over one flight: rows with class, seed, design and figures."""
    folder = flight_folder(cls, seed)
    path, code, took = run(binary, folder, samples, results)
    truth = json.loads((folder / "truth.json").read_text())
    readings = [json.loads(x) for x in (folder / "samples.jsonl").read_text().splitlines()]
    body = truth["bodies"][0]
    burnout, apogee = body["events"]["burnout"], body["apogee"]
    instants = dict(after=burnout + 0.5, half=burnout + 0.5 * (apogee["t_s"] - burnout))
    said = Said(path, truth["utc_epoch_s"])
    path.unlink()
    liftoff, out = dated(said, body["name"], "liftoff"), dated(said, body["name"], "burnout")
    head = dict(cls=cls, seed=seed)
    if code or liftoff is None:
        return [dict(head, design=PRODUCT, failed=f"exit {code}, liftoff {'not seen' if liftoff is None else 'seen'}")]
    heard = Heard(json.loads((folder / "plan.json").read_text()), readings, liftoff, out[0] if out else math.inf)
    rows = []
    for design in DESIGNS:
        try:
            rows.append(dict(head, design=design, **followed(heard, design, seed, instants, apogee)))
        except (ValueError, np.linalg.LinAlgError) as e:
            rows.append(dict(head, design=design, failed=f"{type(e).__name__}: {e}"))
    product = {k: judge_prediction(said, t, apogee, body["name"]) for k, t in instants.items()}
    return rows + [dict(head, design=PRODUCT, ms=1e3 * took / max(len(readings), 1), **product)]


def compare(binary, classes, first, count, samples=False, jobs=2):
    """Rows of all flights, in order."""
    pairs = [(c, s) for c in classes for s in range(first, first + count)]
    rows = []
    with ProcessPoolExecutor(jobs) as pool:
        for found in pool.map(one, [binary] * len(pairs), *zip(*pairs), [samples] * len(pairs), [OUT / "designs"] * len(pairs)):
            rows += found
            for r in found:
                if "failed" in r:
                    print(f"{r['cls']}-{r['seed']:04d}, {r['design']}: {r['failed']}", file=sys.stderr, flush=True)
    return rows


def report(rows):
    """A table for all classes together, then one a class: every design at both instants, the program last."""
    head = ["at", "design", "n", "height %: median", "p90", "in 90 %", "score", "time s: median", "p90", "in 90 %", "score", "air m/s: median", "p90", "in 90 %", "score"]
    parts = ["Median and 90th percentile of the error of the predicted apogee, how often the 90 % interval holds the truth (%), and the interval's score "
             "(width and penalties, Gneiting and Raftery 2007; less is better). The program's phases are the designs' too.\n"]
    good = [r for r in rows if "failed" not in r]
    classes = list(dict.fromkeys(r["cls"] for r in rows))
    designs = [d for d in [*DESIGNS, PRODUCT] if any(r["design"] == d for r in rows)]
    for cls in (["all"] if len(classes) > 1 else []) + classes:
        table = []
        for key in ("after", "half"):
            for design in designs:
                rs = [r for r in good if r["design"] == design and cls in ("all", r["cls"])]
                row = [TITLES[key], design, len(at(rs, key, "h_err"))]
                for q in "htv":
                    err = absolute(at(rs, key, f"{q}_err"))
                    row += [fmt(quant(err, 0.5)), fmt(quant(err, 0.9)), percent(mean(at(rs, key, f"{q}_in90"))), fmt(mean(at(rs, key, f"{q}_score")))]
                table.append(row)
        parts += [f"### {cls}\n", md(head, table)]
    cost = {d: quant([r["ms"] for r in good if r["design"] == d], 0.5) for d in designs}
    parts += ["### Cost of a reading\n", md(["design", "ms", "over the first"], [[d, fmt(ms), fmt(ms / cost[designs[0]])] for d, ms in cost.items()]),
              "The designs are NumPy, without their predictions; the program is compiled, with everything it does for a whole flight.\n"]
    failed = [r for r in rows if "failed" in r]
    return "\n".join(parts + [f"Designs that failed on a flight: {len(failed)} of {len(rows)}.\n"])
