"""The small flights of each class that lie in tests/flights: how they are made, and how the program is held to them.

A recording is cut some seconds after apogee (some go to the ground) and packed with gzip; the truth keeps events,
cues and a coarse state. The seeds are none of those that are scored.
"""
import gzip
import json
import math
import statistics
from pathlib import Path

from .classes import CLASSES
from .make import flown, write
from .score import judge, run

FLIGHTS = Path(__file__).resolve().parents[1] / "flights"
SEEDS = (901, 902)
PAD_S, PAST_APOGEE_S, PAST_LANDING_S = 10.0, 8.0, 5.0
TO_THE_GROUND = {("straight", 901), ("chute_failure", 901), ("reboot", 901), ("small", 902), ("leaning", 902)}
# no flight is worth more than a tenth of the 3 MB that all may take
MOST_BYTES = 300_000


def make_all(out=FLIGHTS):
    """Writes every class's flights."""
    for cls in CLASSES:
        for n, first in enumerate(SEEDS):
            size = pack(cls, first, out / cls / str(n + 1))
            print(f"{cls} {n + 1}: {size} bytes")


def pack(cls, seed, folder):
    """Makes one flight and packs it; returns its size."""
    case, tracks = flown(cls, seed)
    case.pad_s, case.after_s = PAD_S, PAST_LANDING_S
    # the text of a recording is large: a slow radio will do here
    case.sensors["rate_hz"] = min(case.sensors["rate_hz"], 10.0 if cls != "leaning" else 5.0)
    truth, _ = write(case, tracks, folder)
    cut = math.inf
    if (cls, seed) not in TO_THE_GROUND:
        cut = truth["utc_epoch_s"] + truth["bodies"][0]["apogee"]["t_s"] + PAST_APOGEE_S
    lines = [x for x in (folder / "recording.jsonl").read_text().splitlines() if json.loads(x)["t_receive"] <= cut]
    text = ("\n".join(lines) + "\n").encode()
    with open(folder / "recording.jsonl.gz", "wb") as f, gzip.GzipFile("", "wb", 9, f, mtime=0) as z:
        z.write(text)
    for b in truth["bodies"]:
        b["state"] = {k: v[::10] for k, v in b["state"].items()}
    truth["cut_t_s"] = None if cut is math.inf else round(cut - truth["utc_epoch_s"], 3)
    (folder / "truth.json").write_text(json.dumps(truth, separators=(",", ":")) + "\n")
    for name in ("recording.jsonl", "samples.jsonl"):
        (folder / name).unlink()
    size = sum(f.stat().st_size for f in folder.iterdir())
    if size > MOST_BYTES:
        raise ValueError(f"{folder} is {size} bytes")
    return size


def unpack(folder, into):
    """A committed flight as a folder that the program and the scorer read."""
    into.mkdir(parents=True, exist_ok=True)
    for f in folder.iterdir():
        (into / f.name).write_bytes(f.read_bytes())
    (into / "recording.jsonl").write_bytes(gzip.decompress((folder / "recording.jsonl.gz").read_bytes()))
    return into


def check(binary, work):
    """Runs the program over all committed flights; returns (lines to print, complaints)."""
    said, wrong, ours, hand = [], [], [], []
    for folder in sorted(FLIGHTS.glob("*/*")):
        name = f"{folder.parent.name}-{folder.name}"
        here = unpack(folder, work / name)
        path, code, took = run(binary, here, False, work / "said")
        if code:
            wrong.append(f"{name}: exit {code}: {Path(str(path) + '.err').read_text()[:300]}")
            continue
        row = judge(here, path)
        wrong += [f"{name}: {c}" for c in complaints(row, here)]
        half = row["half"]
        if half and "h_err" in half:
            ours.append(abs(half["h_err"]))
            hand.append(abs(half.get("hand_h_err", math.inf)))
            said.append(f"{name}: apogee {row['apogee_m']:.0f} m; at half of coast off by {half['h_err']:+.2f} % ({half['h_width']:.2f} % wide), by hand "
                        f"{half.get('hand_h_err', math.nan):+.2f} %; {took:.1f} s")
    if ours and not statistics.median(ours) < statistics.median(hand):
        wrong.append(f"half of coast: median error {statistics.median(ours):.2f} % is not below the drag-free sum's {statistics.median(hand):.2f} %")
    if ours:
        said.append(f"{len(ours)} flights: median error at half of coast {statistics.median(ours):.2f} %, by hand {statistics.median(hand):.2f} %")
    return weigh(said, wrong)


def weigh(said, wrong):
    """Known shortfalls are printed and let through; one that is gone must be taken off the list."""
    known = [line for line in (FLIGHTS / "known_off.txt").read_text().splitlines() if line and not line.startswith("#")]
    new = [line for line in wrong if not any(line.startswith(start) for start in known)]
    said += [f"known shortfall: {line}" for line in wrong if line not in new]
    new += [f"no longer off, take it off the list: {start}" for start in known if not any(w.startswith(start) for w in wrong)]
    return said, new


def complaints(row, folder):
    """What no flight may show, whatever its class."""
    out = []
    truth = json.loads((folder / "truth.json").read_text())
    if row["broken"]:
        out.append(f"{row['broken']} lines are not JSON")
    if row["false_liftoffs"]:
        out.append("a liftoff was said before there was one")
    for event, most in (("liftoff", 1.0), ("apogee", 1.5)):
        err = row["events"].get(event)
        if err is None:
            out.append(f"{event} was never seen")
        elif abs(err) > most and not (event == "liftoff" and truth["cls"] in ("gnss_only", "lossy")):
            out.append(f"{event} is off by {err:.2f} s")
    for at, path in row["hindsight"].items():
        if abs(path.get("height_m_err", 0.0)) > 0.5 * row["apogee_m"]:
            out.append(f"with hindsight the height is off by {path['height_m_err']:.0f} m ({at})")
    for key in ("half", "near"):
        p = row[key]
        if not p or "h_err" not in p:
            out.append(f"no apogee prediction ({key})")
        elif abs(p["h_err"]) > {"gnss_only": 40.0}.get(truth["cls"], 15.0):
            out.append(f"apogee is off by {p['h_err']:.1f} % ({key})")
    return out

