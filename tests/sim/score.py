"""Runs the program over simulated flights and compares what it said with what was true, flight by flight.

The figures of one flight are plain numbers in a dict (see `judge`); `table.py` sums them up by class.
"""
import json
import math
import os
import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from . import FILES, VERSION
from .lines import Said, quantiles
from .make import make

OUT = Path(__file__).resolve().parents[1] / "out"
ALPHA = 0.1
# a normal distribution's 90 % interval, in standard deviations on either side
NORMAL_90 = 1.645
# time after its planned opening's 95 % end within which a missing canopy is to be told, s
SAID_WITHIN_S = 3.0


def flight_folder(cls, seed, base=OUT / "flights"):
    """The flight's folder, made anew only if this simulator has not made it before."""
    folder = base / f"{cls}-{seed:04d}"
    stamp = folder / "made"
    mark = f"{VERSION}.{FILES}"
    if not (stamp.exists() and stamp.read_text() == mark):
        make(cls, seed, base)
        stamp.write_text(mark)
    return folder


def run(binary, folder, samples, results):
    """Runs the program on one folder; returns (path of its lines, exit code, seconds)."""
    results.mkdir(parents=True, exist_ok=True)
    out = results / (folder.name + ".jsonl")
    if samples:
        args = [str(binary), str(folder / "plan.json"), str(folder / "samples.jsonl")]
    else:
        args = [str(binary), "rerun", "--setup", str(folder / "setup.toml"), str(folder / "recording.jsonl")]
    with open(out, "wb") as o, open(str(out) + ".err", "wb") as e:
        start = os.times()
        code = subprocess.run(args, stdout=o, stderr=e, check=False, timeout=900).returncode
        took = os.times().elapsed - start.elapsed
    return out, code, took


def interval(q, x):
    """(covered by 90 %, covered by 50 %, width, interval score) after Gneiting and Raftery 2007, eq. 43."""
    lo, hi = q["p05"], q["p95"]
    score = (hi - lo) + 2 / ALPHA * (max(lo - x, 0) + max(x - hi, 0))
    return float(lo <= x <= hi), float(q["p25"] <= x <= q["p75"]), hi - lo, score


def judge_prediction(said, t, apogee, name, after_liftoff_s=None):
    """Apogee prediction at one instant. On the pad it is of a motor lit at that moment: the truth is then `after_liftoff_s` on."""
    line = said.newest("prediction", t, 0, name)
    if line is None:
        return None
    if after_liftoff_s is not None:
        apogee = dict(apogee, t_s=line["t"] + after_liftoff_s)
    h = quantiles(line, "apogee_height_m")
    when = said.times(quantiles(line, "apogee_time_utc", "apogee_t_s"))
    air = quantiles(line, "airspeed_at_apogee_mps")
    ground = quantiles(line, "ground_speed_at_apogee_mps")
    hand_h = line.get("hand_height_m", line.get("hand_apogee_height_m"))
    hand_t = said.time(line.get("hand_time_utc", line.get("hand_t_s", line.get("hand_apogee_time_utc"))))
    out = dict(age=t - line["t"])
    for key, q, x, scale in (("h", h, apogee["height_m"], 100.0 / apogee["height_m"]), ("t", when, apogee["t_s"], 1.0),
                             ("v", air, apogee["airspeed_mps"], 1.0), ("g", ground, apogee["ground_speed_mps"], 1.0)):
        if q is None:
            continue
        cover, half, width, score = interval(q, x)
        out |= {f"{key}_err": (q["p50"] - x) * scale, f"{key}_in90": cover, f"{key}_in50": half, f"{key}_width": width * scale,
                f"{key}_score": score * scale}
    if hand_h is not None:
        out["hand_h_err"] = (hand_h - apogee["height_m"]) * 100.0 / apogee["height_m"]
    if hand_t is not None:
        out["hand_t_err"] = hand_t - apogee["t_s"]
    return out


def flat_area(line):
    """A landing line whose area is nested as the estimator's own types have it, in the program's flat form."""
    area = line["area"]
    if "ring" in area:
        c = area["ring"]["centre_m"]
        return line | dict(east_m=c[0], north_m=c[1], ring_radius_m=area["ring"]["radius_m"])
    c, (xx, xy, yy) = area["ellipse"]["centre_m"], area["ellipse"]["covariance_m2"]
    values, vectors = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]))
    axes = 2.145966 * np.sqrt(np.maximum(values, 0.0))
    return line | dict(east_m=c[0], north_m=c[1], ellipse_major_m_p90=axes[1], ellipse_minor_m_p90=axes[0],
                       ellipse_azimuth_rad=math.atan2(vectors[0, 1], vectors[1, 1]))


def judge_landing(said, t, body, index):
    """Landing area of a body at one instant, planned case."""
    line = None
    for case in ("planned", "Planned"):
        line = line or said.newest("landing", t, index, body["name"], case=case)
    if line is None:
        return None
    land = body["landing"]
    x = np.array([land["east_m"], land["north_m"]])
    out = {}
    if isinstance(line.get("area"), dict):
        line = flat_area(line)
    d = x - np.array([line["east_m"], line["north_m"]])
    if "ellipse_major_m_p90" in line:
        # axes of the 90 % ellipse, the longer one's azimuth from north
        az, major, minor = (line[f"ellipse_{k}"] for k in ("azimuth_rad", "major_m_p90", "minor_m_p90"))
        along, across = d[0] * math.sin(az) + d[1] * math.cos(az), d[0] * math.cos(az) - d[1] * math.sin(az)
        out["err"] = float(np.hypot(*d))
        out["in90"] = float((along / max(major, 1e-9)) ** 2 + (across / max(minor, 1e-9)) ** 2 <= 1.0)
        out["area90"] = math.pi * major * minor
    else:
        q = quantiles(line, "ring_radius_m")
        r = float(np.hypot(*d))
        out = dict(ring=1.0, err=abs(r - q["p50"]), in90=float(q["p05"] <= r <= q["p95"]))
    when = said.times(quantiles(line, "landing_time_utc", "landing_t_s"))
    if when:
        out["t_err"] = when["p50"] - land["t_s"]
        out["t_in90"] = float(when["p05"] <= land["t_s"] <= when["p95"])
    return out


def events_of(said, index, name):
    """{event: (time, sd, time first said)} after all corrections and withdrawals."""
    by_id, first = {}, {}
    for x in said.of("event", index, name):
        key = x.get("event", x.get("what"))
        by_id[x["id"]] = (key, x)
        first.setdefault(x["id"], x["t"])
    out = {}
    for i, (key, x) in by_id.items():
        if x.get("withdrawn"):
            continue
        out.setdefault(str(key).lower().replace(" ", "_"), (said.time(x.get("t_utc", x.get("t_s"))), x.get("t_sd_s", x.get("sd_s")), first[i]))
    return out


def judge_cues(said, truth, plan, samples):
    """For every cue with a limit: whether it went over, and when it was warned of.

    The program says its heads-ups. The estimator alone (samples) has none: there even odds after liftoff count."""
    out = []
    events = truth["bodies"][0]["events"]
    liftoff, burnout = events["liftoff"], events["burnout"]
    for body in truth["bodies"]:
        for c in body["cues"]:
            if c["cue"] >= len(plan["cues"]):
                # Nobody told of it.
                continue
            limit = plan["cues"][c["cue"]]["limit"]
            # What comes later than it was told to cannot be foretold, and what has failed never comes.
            if limit is None or c["late_s"] > 0:
                continue
            warned = None
            for x in said.kinds.get("headsup", []):
                if x.get("on") and x.get("cue") in (c["cue"], c["name"]) and str(x.get("key", "")).startswith("cue:") and x["t"] <= c["t_s"]:
                    warned = x["t"] if warned is None else warned
            if samples:
                for x in said.kinds.get("cue", []):
                    if x.get("cue") in (c["cue"], c["name"]) and (x.get("over_limit") or 0) > 0.5 and liftoff < x["t"] <= c["t_s"] and not x.get("passed"):
                        warned = x["t"]
                        break
            deadline = max(c["t_s"] - 3.0, burnout + 1.0)
            # predicted airspeed at the cue, at the deadline
            line = None
            for x in said.kinds.get("cue", []):
                if x.get("cue") in (c["cue"], c["name"]) and x["t"] <= deadline:
                    line = x
            q = quantiles(line, "airspeed_mps") if line else None
            row = dict(cue=c["name"], true=c["airspeed_mps"], limit=limit["value"], over=c["airspeed_mps"] / limit["value"],
                       warned_in_time=float(warned is not None and warned <= deadline), warned=float(warned is not None))
            if q:
                row |= dict(v_err=q["p50"] - c["airspeed_mps"], v_in90=float(q["p05"] <= c["airspeed_mps"] <= q["p95"]))
            when = said.times(quantiles(line, "cue_time_utc", "cue_t_s")) if line else None
            if when:
                row["t_err"] = when["p50"] - c["t_s"]
                row["t_in90"] = float(when["p05"] <= c["t_s"] <= when["p95"])
            out.append(row)
    return out


def least_delay(samples):
    """By how much the program's axis is late: nobody on the ground can tell a radio that is late from a flight that is later.
    The fastest packet's way, s."""
    return min((x["t_receive_s"] - x["t_s"] for x in samples if x.get("body") == 0 and "t_s" in x), default=0.0)


def judge_hindsight(said, name, state, instants, late):
    """The smoothed path against the truth at some instants, from the line nearest to each (within a second)."""
    own = lambda x: said.time(x.get("t_utc", x.get("t_s"))) - late
    lines = [(own(x), x) for x in said.of("smoothed", 0, name)]
    out = {}
    for key, t in instants.items():
        near = min(lines, key=lambda x: abs(x[0] - t), default=None)
        if near is None or abs(near[0] - t) > 1.0:
            continue
        row = {}
        for field in ("height_m", "climb_mps", "airspeed_mps"):
            q, x = quantiles(near[1], field), float(np.interp(near[0], state["t_s"], state[field]))
            if q:
                row |= {f"{field}_err": q["p50"] - x, f"{field}_in90": interval(q, x)[0]}
        out[key] = row
    return out


def judge(folder, lines_path, samples_only=False):
    """All figures of one flight."""
    truth = json.loads((folder / "truth.json").read_text())
    plan = json.loads((folder / "plan.json").read_text())
    said = Said(lines_path, truth["utc_epoch_s"])
    body = truth["bodies"][0]
    ev, ap = body["events"], body["apogee"]
    name = body["name"]
    last_burn = max(v for k, v in ev.items() if "burnout" in k)
    out = dict(cls=truth["cls"], seed=truth["seed"], broken=said.broken, apogee_m=ap["height_m"])
    half = last_burn + 0.5 * (ap["t_s"] - last_burn)
    for key, t in (("after", last_burn + 0.5), ("half", half), ("near", ap["t_s"] - 1.0)):
        out[key] = judge_prediction(said, t, ap, name)
        if out[key] is not None:
            newest = said.newest("estimate", t, 0, name)
            # It has not been seen to fly: the prediction is of a motor lit at that moment.
            out[key]["waits"] = newest is not None and newest.get("phase") == "waiting"
    pad = judge_prediction(said, ev["liftoff"] - 0.5, ap, name, ap["t_s"] - ev["liftoff"])
    out["pad"] = pad
    st = body["state"]
    kept = folder / "samples.jsonl"
    samples = [json.loads(x) for x in kept.read_text().splitlines()] if kept.exists() else []
    # An estimator that is fed the measurements' own times is not late.
    late = 0.0 if samples_only else least_delay(samples)
    line = said.newest("estimate", half, 0, name)
    if line is not None:
        lean = quantiles(line, "lean_rad")
        instant = said.time(line.get("t_utc", line.get("t_s", line["t"]))) - late
        x = float(np.interp(instant, st["t_s"], st["lean_rad"]))
        out["lean"] = None if lean is None else dict(err=math.degrees(lean["p50"] - x), in90=interval(lean, x)[0], width=math.degrees(interval(lean, x)[2]))
        for key, field in (("height_m", "height_m"), ("climb_mps", "climb_mps"), ("airspeed_mps", "airspeed_mps")):
            q = quantiles(line, key)
            x = float(np.interp(instant, st["t_s"], st[field]))
            if q:
                out["state_" + key] = dict(err=q["p50"] - x, in90=interval(q, x)[0])
    out["hindsight"] = judge_hindsight(said, name, st, dict(half=half, apogee=ap["t_s"], descent=0.5 * (ap["t_s"] + body["landing"]["t_s"])), late)
    seen = events_of(said, 0, name)
    out["events"], out["events_in90"] = {}, {}
    for key, true_key in (("liftoff", "liftoff"), ("burnout", "burnout"), ("apogee", "apogee"), ("landing", "landing"), ("rail_exit", "rail_exit"),
                          ("first_chute", "first_chute"), ("main_chute", "main_chute"), ("stage_ignition", "stage_ignition_1"),
                          ("stage_burnout", "stage_burnout_1")):
        if true_key in ev:
            got = seen.get(key)
            out["events"][key] = None if got is None or got[0] is None else got[0] - ev[true_key]
            if out["events"][key] is not None and got[1] is not None:
                out["events_in90"][key] = abs(out["events"][key]) <= NORMAL_90 * got[1]
    first = min((s["t_receive_s"] for s in samples if "report" not in s and s["body"] == 0 and s["t_s"] > ev["liftoff"] + 0.02), default=None)
    if "liftoff" in seen and first is not None:
        out["liftoff_seen_after_s"] = seen["liftoff"][2] - first
    out["false_liftoffs"] = sum(1 for x in said.of("event", 0, name) if x.get("event") == "liftoff" and x["t"] < ev["liftoff"] - 0.3)
    out["cues"] = judge_cues(said, truth, plan, samples_only)
    out["landings"] = []
    for i, b in enumerate(truth["bodies"]):
        for key, t in (("apogee", ap["t_s"]), ("chute", b["events"].get("first_chute", 1e18) + 10.0)):
            # Where no descent was told there is none to come down by.
            if t < b["landing"]["t_s"] - 1.0 and plan["bodies"][i]["descents"]:
                row = judge_landing(said, t, b, i)
                if row:
                    out["landings"].append(dict(row, body=i, at=key))
    out["chute_failed"] = any(c["failed"] for c in body["cues"])
    # A separation opens no device: a body that was to tumble has nothing to show a sign of.
    devices = {d["cue"] for d in plan["bodies"][0]["descents"] if d["state"] in ("drogue", "main", "streamer")}
    failed = [c for c in body["cues"] if c["failed"] and c["cue"] in devices and falls_on(body, due_end(c, plan))]
    out["device_failed"] = bool(failed)
    out["chute_late"] = any(c["late_s"] > 0 for c in body["cues"])
    out["no_chute_said"] = no_chute_said(said, name)
    if failed:
        out["no_chute_due"] = min(due_end(c, plan) for c in failed)
    return out


def falls_on(body, due_s):
    """Whether something can be missed for as long as it may take to say so: the body is not on the ground by then, nor under
    another canopy."""
    until = due_s + SAID_WITHIN_S
    return until < body["landing"]["t_s"] and not any(due_s - 1.0 < o["t_s"] < until for o in body["openings"])


def due_end(cue, plan):
    """The 95 % end of the moment at which a failed chute should have opened, plus filling time of a second."""
    return cue["t_s"] + 1.645 * plan["cues"][cue["cue"]]["delay_s"]["sd"]


def no_chute_said(said, name):
    """When 'no sign of a chute' was first said, if ever."""
    for x in said.kinds.get("headsup", []):
        key = str(x.get("key", "")).lower()
        if x.get("on") and x.get("body") in (0, name) and (key.startswith("no_sign")):
            return x["t"]
    return None


def score(binary, classes, first, count, samples=False, jobs=2, results=None, quiet=False, folder_of=flight_folder):
    """Scores flights; returns list of figures."""
    kept = results is not None
    if not kept:
        # Of its own: another run over the same flights would write and remove the same files.
        OUT.mkdir(parents=True, exist_ok=True)
    results = Path(results or tempfile.mkdtemp(prefix="said-", dir=OUT))

    def one(pair):
        cls, seed = pair
        folder = folder_of(cls, seed)
        path, code, took = run(binary, folder, samples, results)
        try:
            row = judge(folder, path, samples)
        except (KeyError, TypeError, ValueError) as e:
            row = dict(cls=cls, seed=seed, failed=f"{type(e).__name__}: {e}")
        row["exit"], row["took_s"] = code, took
        if not kept and code == 0:
            # A flight's lines are megabytes, a report's flights are thousands.
            path.unlink()
        return row

    pairs = [(c, s) for c in classes for s in range(first, first + count)]
    rows = []
    with ThreadPoolExecutor(jobs) as pool:
        for row in pool.map(one, pairs):
            rows.append(row)
            if not quiet and ("failed" in row or row["exit"]):
                print(f"{row['cls']}-{row['seed']:04d}: exit {row['exit']} {row.get('failed', '')}", flush=True)
    if not kept and not any(results.iterdir()):
        results.rmdir()
    return rows
