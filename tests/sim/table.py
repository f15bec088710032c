"""Sums up scored flights by class as Markdown tables."""
import math

import numpy as np

from .score import SAID_WITHIN_S

ORDER = ("after", "half", "near")
TITLES = {"after": "0.5 s after burnout", "half": "half of coast", "near": "1 s before apogee", "pad": "on the pad"}


def quant(values, q):
    values = [v for v in values if v is not None and math.isfinite(v)]
    return float(np.quantile(values, q)) if values else float("nan")


def mean(values):
    values = [v for v in values if v is not None]
    return float(np.mean(values)) if values else float("nan")


def fmt(x, digits=3):
    return "–" if x is None or not math.isfinite(x) else f"{x:.{digits}g}"


def percent(x):
    return "–" if not math.isfinite(x) else f"{100 * x:.0f}"


def md(head, rows):
    return "\n".join(["| " + " | ".join(head) + " |", "|" + "---|" * len(head)] + ["| " + " | ".join(map(str, r)) + " |" for r in rows]) + "\n"


def groups(rows):
    """Rows by class in order, then all."""
    out = {}
    for r in rows:
        if "failed" not in r:
            out.setdefault(r["cls"], []).append(r)
    if len(out) > 1:
        out["all"] = [r for rs in list(out.values()) for r in rs]
    return out


def at(rs, key, name):
    return [r[key].get(name) for r in rs if r.get(key) and r[key].get(name) is not None]


def absolute(values):
    return [abs(v) for v in values]


def apogee_table(rows, key, fits=None):
    """Errors of apogee at one instant, beside the hand sum and, where there is one, the offline fit."""
    head = ["class", "n", "height %: median", "p90", "in 90 %", "in 50 %", "width %", "score %", "hand median", "hand p90", "time s: median",
            "p90", "in 90 %", "air m/s: median", "p90", "in 90 %"]
    if fits:
        head += ["fit height: median", "p90", "fit time: median", "fit air: median", "ratio of medians (same flights)", "fit score %"]
    out = []
    for cls, rs in groups(rows).items():
        a = lambda n: at(rs, key, n)
        row = [cls, len(a("h_err")), fmt(quant(absolute(a("h_err")), 0.5)), fmt(quant(absolute(a("h_err")), 0.9)), percent(mean(a("h_in90"))),
               percent(mean(a("h_in50"))), fmt(quant(a("h_width"), 0.5)), fmt(mean(a("h_score"))), fmt(quant(absolute(a("hand_h_err")), 0.5)),
               fmt(quant(absolute(a("hand_h_err")), 0.9)), fmt(quant(absolute(a("t_err")), 0.5)), fmt(quant(absolute(a("t_err")), 0.9)),
               percent(mean(a("t_in90"))), fmt(quant(absolute(a("v_err")), 0.5)), fmt(quant(absolute(a("v_err")), 0.9)), percent(mean(a("v_in90")))]
        if fits:
            fr = [(r, fits[(r["cls"], r["seed"])][key]) for r in rs if (r["cls"], r["seed"]) in fits and fits[(r["cls"], r["seed"])].get(key)]
            mine = absolute([r[key]["h_err"] for r, f in fr if r.get(key) and "h_err" in r[key]])
            theirs = absolute([f["h_err"] for r, f in fr])
            row += [fmt(quant(theirs, 0.5)), fmt(quant(theirs, 0.9)), fmt(quant(absolute([f["t_err"] for _, f in fr]), 0.5)),
                    fmt(quant(absolute([f["v_err"] for _, f in fr]), 0.5)),
                    fmt(quant(mine, 0.5) / quant(theirs, 0.5)) if theirs and mine else "–", fmt(mean([f["h_score"] for _, f in fr]))]
        out.append(row)
    return md(head, out)


def event_table(rows):
    """Errors of events: median / 90th percentile, how many 90 % intervals hold (and how many were never seen)."""
    names = ["liftoff", "rail_exit", "burnout", "apogee", "first_chute", "main_chute", "landing", "stage_ignition", "stage_burnout"]
    out = []
    for cls, rs in groups(rows).items():
        row = [cls, len(rs)]
        for n in names:
            have = [r["events"][n] for r in rs if n in r["events"]]
            got = [abs(v) for v in have if v is not None]
            held = [r["events_in90"][n] for r in rs if n in r.get("events_in90", {})]
            row.append("–" if not have else f"{fmt(quant(got, 0.5), 2)} / {fmt(quant(got, 0.9), 2)}, {percent(mean(held))} ({len(have) - len(got)})")
        seen = [r["liftoff_seen_after_s"] for r in rs if "liftoff_seen_after_s" in r]
        row += [fmt(quant(seen, 0.5), 2), fmt(quant(seen, 1.0), 2), sum(r["false_liftoffs"] for r in rs)]
        out.append(row)
    return md(["class", "n"] + [f"{n.replace('_', ' ')} s" for n in names] + ["liftoff seen after, median", "most", "false liftoffs"], out)


def cue_table(rows):
    """Warnings about airspeed at cues."""
    out = []
    for cls, rs in groups(rows).items():
        cs = [c for r in rs for c in r["cues"]]
        over = [c for c in cs if c["over"] >= 1.2]
        under = [c for c in cs if c["over"] < 1.0]
        # Until a late chute is out, a warning of what comes after it is right.
        false_flights = sum(any(c["warned"] and c["over"] < 1.0 for c in r["cues"]) and not r["chute_late"] for r in rs)
        out.append([cls, len(cs), len(over), percent(mean([c["warned_in_time"] for c in over])), percent(mean([c["warned"] for c in over])), len(under),
                    percent(false_flights / max(len(rs), 1)), fmt(quant(absolute([c["v_err"] for c in cs if "v_err" in c]), 0.5)),
                    percent(mean([c["v_in90"] for c in cs if "v_in90" in c])), fmt(quant(absolute([c["t_err"] for c in cs if "t_err" in c]), 0.5)),
                    percent(mean([c["t_in90"] for c in cs if "t_in90" in c]))])
    return md(["class", "cues", "over by a fifth", "warned in time %", "warned at all %", "within", "flights with a false warning %",
               "air at cue m/s: median error", "in 90 %", "cue time s: median error", "in 90 %"], out)


def landing_table(rows):
    """Landing points."""
    out = []
    for cls, rs in groups(rows).items():
        for when in ("apogee", "chute"):
            ls = [x for r in rs for x in r["landings"] if x["at"] == when and not (r["chute_failed"] and x["body"] == 0)]
            pts = [x for x in ls if not x.get("ring")]
            rings = [x for x in ls if x.get("ring")]
            out.append([cls, "apogee" if when == "apogee" else "10 s after first chute", len(pts), fmt(quant([x["err"] for x in pts], 0.5)),
                        fmt(quant([x["err"] for x in pts], 0.9)), percent(mean([x["in90"] for x in pts])), len(rings),
                        percent(mean([x["in90"] for x in rings])), fmt(quant(absolute([x["t_err"] for x in ls if "t_err" in x]), 0.5)),
                        percent(mean([x["t_in90"] for x in ls if "t_in90" in x]))])
    return md(["class", "at", "points", "error m: median", "p90", "in 90 %", "rings", "ring in 90 %", "time s: median", "in 90 %"], out)


def hindsight_table(rows):
    """The path with hindsight: median, 90th percentile and greatest of the errors, and how often the 90 % interval holds."""
    out = []
    for cls, rs in groups(rows).items():
        row = [cls, sum("half" in r["hindsight"] for r in rs)]
        for at in ("half", "apogee", "descent"):
            for field in ("height_m", "climb_mps", "airspeed_mps"):
                have = [r["hindsight"][at] for r in rs if f"{field}_err" in r["hindsight"].get(at, {})]
                errors = absolute([h[f"{field}_err"] for h in have])
                row.append(f"{fmt(quant(errors, 0.5), 2)} / {fmt(quant(errors, 0.9), 2)} / {fmt(quant(errors, 1.0), 2)} ({percent(mean([h[field + '_in90'] for h in have]))})")
        out.append(row)
    return md(["class", "n"] + [f"{what} at {at}" for at in ("half of coast", "apogee", "half of descent") for what in ("height m", "climb m/s", "airspeed m/s")], out)


def other_table(rows):
    """Lean, state, chutes."""
    out = []
    for cls, rs in groups(rows).items():
        known = [r["lean"] for r in rs if r.get("lean")]
        unknown = sum(1 for r in rs if "lean" in r and r["lean"] is None)
        st = lambda k, n: [r["state_" + k][n] for r in rs if "state_" + k in r]
        failed = [r for r in rs if r["device_failed"]]
        said = [r for r in failed if r["no_chute_said"] is not None and r["no_chute_said"] <= r["no_chute_due"] + SAID_WITHIN_S]
        good = [r for r in rs if not r["chute_failed"] and not r["chute_late"]]
        out.append([cls, len(known), unknown, fmt(quant(absolute([k["err"] for k in known]), 0.5)), fmt(quant(absolute([k["err"] for k in known]), 0.9)),
                    percent(mean([k["in90"] for k in known])), percent(mean(st("height_m", "in90"))), percent(mean(st("climb_mps", "in90"))),
                    percent(mean(st("airspeed_mps", "in90"))), len(failed), percent(len(said) / len(failed)) if failed else "–",
                    percent(sum(r["no_chute_said"] is not None for r in good) / len(good)) if good else "–"])
    return md(["class", "lean known", "not known", "lean error °: median", "p90", "in 90 %", "height in 90 %", "climb in 90 %", "airspeed in 90 %",
               "chute failures", "said in time %", "said on good flights %"], out)


def refused(rows, key, field, told=0.9, level=0.01):
    """(share held in all, classes whose share cannot be the told one) by a two-sided binomial test of each class at a level that
    holds for all of them together (Holm 1979, "A simple sequentially rejective multiple test procedure")."""
    from scipy.stats import binomtest

    tests = []
    for cls, rs in groups(rows).items():
        held = at(rs, key, field)
        if held and cls != "all":
            tests.append((binomtest(int(sum(held)), len(held), told).pvalue, cls, mean(held), len(held)))
    out = []
    for i, (p, cls, share, _) in enumerate(sorted(tests)):
        if p > level / (len(tests) - i):
            break
        out.append((cls, share))
    return sum(share * n for _, _, share, n in tests) / max(sum(n for *_, n in tests), 1), out


def refused_table(rows):
    """What Holm's test says of the 90 % intervals of apogee."""
    out = []
    for key in ("pad",) + ORDER:
        for field, name in (("h_in90", "height"), ("t_in90", "time"), ("v_in90", "airspeed")):
            share, classes = refused(rows, key, field)
            out.append([TITLES[key], name, percent(share), ", ".join(f"{c} {percent(s)}" for c, s in classes) or "none"])
    return md(["at", "of apogee", "in 90 %", "not 90 % by Holm's test at the 1 % level"], out)


def waiting_line(rows, key):
    """How many flights of each class had not been seen to lift off by then, and how many times of the others hold."""
    parts = []
    for cls in dict.fromkeys(r["cls"] for r in rows):
        of = [r[key] for r in rows if r["cls"] == cls and r.get(key)]
        held = [x["t_in90"] for x in of if not x.get("waits") and "t_in90" in x]
        if len(held) < len(of) and held:
            parts.append(f"{cls} {len(of) - len(held)} ({100 * sum(held) / len(held):.0f} % of the others' times hold)")
    return "Not seen to lift off by then: " + (", ".join(parts) or "none") + ".\n"


def report(rows, fits=None):
    """The whole report."""
    bad = [r for r in rows if "failed" in r or r.get("exit")]
    parts = []
    for key in ("pad",) + ORDER:
        parts += [f"### Apogee, {TITLES[key]}\n", apogee_table(rows, key, fits if key in ("after", "half") else None)]
        if key == "after":
            parts.append(waiting_line(rows, key))
    parts += ["### Intervals that do not hold as told\n", refused_table(rows)]
    parts += ["### Events: median / 90th percentile of the error, in 90 % (never seen)\n", event_table(rows), "### Airspeed at cues\n", cue_table(rows),
              "### Landing\n", landing_table(rows), "### Lean at half of coast, state there, chutes\n", other_table(rows),
              "### With hindsight: median / 90th percentile / greatest of the error (in 90 %)\n", hindsight_table(rows)]
    took = [r["took_s"] for r in rows if "took_s" in r]
    if took:
        parts.append(f"Program's time per flight: median {quant(took, 0.5):.2f} s, most {max(took):.2f} s. Flights that failed to run or to be read: {len(bad)}.\n")
    return "\n".join(parts)
