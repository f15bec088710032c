"""Command line: `python -m sim make|score|pad|...`."""
import argparse
import json
import sys
import time

from .classes import CLASSES


def seeds(text):
    """`7` or `1..20`."""
    a, _, b = text.partition("..")
    return range(int(a), int(b or a) + 1)


def main(argv=None):
    p = argparse.ArgumentParser(prog="sim")
    sub = p.add_subparsers(dest="what", required=True)
    m = sub.add_parser("make", help="write flights' folders")
    m.add_argument("--class", dest="cls", default="straight", help="a class, or 'all'")
    m.add_argument("--seed", type=seeds, default=seeds("1"))
    m.add_argument("--out", required=True)
    c = sub.add_parser("score", help="run the program over flights and compare with truth")
    c.add_argument("--binary", required=True, help="the program, or with --samples the estimator's example")
    c.add_argument("--flights", type=int, default=20, help="flights a class")
    c.add_argument("--first", type=int, default=1, help="first seed")
    c.add_argument("--class", dest="cls", action="append", help="a class; may be given again; default all")
    c.add_argument("--samples", action="store_true", help="feed plan.json and samples.jsonl instead of the recording")
    c.add_argument("--jobs", type=int, default=2)
    c.add_argument("--report", help="write the Markdown report here")
    c.add_argument("--rows", help="write each flight's figures here as JSON Lines")
    c.add_argument("--results", help="keep the program's lines in this folder")
    c.add_argument("--fits", action="store_true", help="put the cached offline fits beside")
    c.add_argument("--plots", help="draw the figures by class into this folder, and name them in the report")
    q = sub.add_parser("pad", help="hours on the pad: count false liftoffs")
    q.add_argument("--binary", required=True)
    q.add_argument("--hours", type=int, default=10)
    q.add_argument("--first", type=int, default=1)
    q.add_argument("--samples", action="store_true")
    q.add_argument("--jobs", type=int, default=2)
    q.add_argument("--rate", type=float, help="packets a second, whatever the case has")
    f = sub.add_parser("untold", help="the offline fit told less, beside the program's rows: which missing knowledge costs what")
    f.add_argument("--flights", type=int, default=24, help="of every class")
    f.add_argument("--single", type=int, default=12, help="flights of some classes that are not told one thing at a time")
    f.add_argument("--rows", action="append", required=True, help="a file that `score --rows` wrote; may be given again")
    f.add_argument("--jobs", type=int, default=2)
    f = sub.add_parser("fit", help="compute (and cache) the offline fits")
    f.add_argument("--class", dest="cls", action="append")
    f.add_argument("--seed", type=seeds, default=seeds("1..24"))
    g = sub.add_parser("designs", help="filter designs beside each other and the program, on the same readings")
    g.add_argument("--binary", required=True, help="the program, or with --samples the estimator's example")
    g.add_argument("--flights", type=int, default=8, help="flights a class")
    g.add_argument("--first", type=int, default=1, help="first seed")
    g.add_argument("--class", dest="cls", action="append", help="a class of one stage; may be given again")
    g.add_argument("--samples", action="store_true", help="feed plan.json and samples.jsonl instead of the recording")
    g.add_argument("--jobs", type=int, default=2)
    g.add_argument("--rows", help="write each flight's figures here as JSON Lines")
    r = sub.add_parser("planner", help="the cue planner's conditions on simulated flights, against what was wanted and predicted")
    r.add_argument("--binary", required=True, help="the program")
    r.add_argument("--class", dest="cls", action="append", help="a class; may be given again; default straight, leaning")
    r.add_argument("--flights", type=int, default=24)
    r.add_argument("--first", type=int, default=101)
    r.add_argument("--learn", type=int, default=24, help="earlier flights that teach the spread of the lean; 0: as told")
    r.add_argument("--jobs", type=int, default=2)
    w = sub.add_parser("knows", help="which missing knowledge costs what: the same flights with one thing as told")
    w.add_argument("--binary", required=True, help="the program, or with --samples the estimator's example")
    w.add_argument("--flights", type=int, default=24, help="flights a class")
    w.add_argument("--class", dest="cls", action="append", help="a class; may be given again")
    w.add_argument("--samples", action="store_true", help="feed plan.json and samples.jsonl instead of the recording")
    sub.add_parser("pack", help="write the committed flights")
    k = sub.add_parser("check", help="hold the program to the committed flights")
    k.add_argument("--binary", required=True)
    d = sub.add_parser("demo", help="write demo-data")
    d.add_argument("which", nargs="?", default="all", choices=["all", "tall-order", "others"])
    a = p.parse_args(argv)
    if a.what == "make":
        from .make import make
        for cls in CLASSES if a.cls == "all" else [a.cls]:
            for s in a.seed:
                t = time.perf_counter()
                truth, n = make(cls, s, a.out)
                b = truth["bodies"][0]
                ap = b["apogee"] or {"height_m": float("nan"), "airspeed_mps": float("nan"), "t_s": float("nan")}
                print(f"{cls}-{s:04d}: apogee {ap['height_m']:.0f} m at T+{ap['t_s'] - truth['liftoff_t_s']:.1f} with "
                      f"{ap['airspeed_mps']:.1f} m/s of air, {n} packets, {time.perf_counter() - t:.1f} s", file=sys.stderr)
    elif a.what == "planner":
        from .planner import learned_lean_deg, summed, trial
        for cls in a.cls or ["straight", "leaning"]:
            lean = learned_lean_deg(a.binary, cls, 1, a.learn, a.jobs) if a.learn else None
            rows = trial(a.binary, cls, a.first, a.flights, 1, a.jobs, lean)
            print(json.dumps(dict(cls=cls, lean_deg=lean, **summed(rows))), flush=True)
    elif a.what == "score":
        from .score import score
        from .table import report
        rows = score(a.binary, a.cls or CLASSES, a.first, a.flights, a.samples, a.jobs, a.results)
        if a.rows:
            with open(a.rows, "w", encoding="utf-8") as f:
                f.writelines(json.dumps(r) + "\n" for r in rows)
        fits = None
        if a.fits:
            from .reference import cached
            fits = cached(rows)
        text = report(rows, fits)
        if a.plots:
            from pathlib import Path

            from .plots import draw
            folder = Path(a.plots)
            pictures = draw(rows, fits, folder)
            text += "\n" + "\n\n".join(f"![{title}]({folder.name}/{file})\n\n*{title}*" for file, title in pictures) + "\n"
        print(text)
        if a.report:
            with open(a.report, "w", encoding="utf-8") as f:
                f.write(text)
    elif a.what == "designs":
        from . import designs
        rows = designs.compare(a.binary, a.cls or designs.CLASSES, a.first, a.flights, a.samples, a.jobs)
        if a.rows:
            with open(a.rows, "w", encoding="utf-8") as f:
                f.writelines(json.dumps(r) + "\n" for r in rows)
        print(designs.report(rows))
    elif a.what == "knows":
        from . import knows
        print(knows.report(knows.compare(a.binary, a.cls or knows.CLASSES, a.flights, a.samples)))
    elif a.what == "pad":
        from .pad import count
        rows = count(a.binary, a.hours, a.first, a.samples, a.jobs, rate_hz=a.rate)
        for hour, _, lifted, back, joined, code, _ in rows:
            if lifted or joined or code:
                print(f"hour {hour}: {lifted} liftoffs said, {back} taken back, {joined} flights joined aloft, exit {code}")
        print(f"{len(rows)} hours, {sum(r[1] for r in rows)} packets: {sum(r[2] for r in rows)} liftoffs said, {sum(r[3] for r in rows)} of them taken back, "
              f"{sum(r[4] for r in rows)} flights joined aloft; {sum(r[6] for r in rows):.0f} s of the program")
        return 1 if any(r[2] or r[4] or r[5] for r in rows) else 0
    elif a.what == "pack":
        from .committed import make_all
        make_all()
    elif a.what == "check":
        import tempfile
        from pathlib import Path

        from .committed import check
        with tempfile.TemporaryDirectory() as work:
            said, wrong = check(a.binary, Path(work))
        print("\n".join(said + wrong))
        return 1 if wrong else 0
    elif a.what == "untold":
        from .ignorant import table
        print(table(a.flights, a.single, [json.loads(line) for path in a.rows for line in open(path, encoding="utf-8")], a.jobs))
    elif a.what == "fit":
        from .reference import fit
        for s in a.seed:
            for cls in a.cls or CLASSES:
                t = time.perf_counter()
                r = fit(cls, s)
                said = [f"{k}: height {r[k]['h_err']:.2f} % (width {r[k]['h_width']:.2f}), air {r[k]['v_err']:.2f} m/s" for k in ("after", "half")]
                print(f"{cls}-{s:04d}: {'; '.join(said)}; {time.perf_counter() - t:.1f} s", flush=True)
    elif a.what == "demo":
        from . import demo
        if a.which in ("all", "tall-order"):
            demo.tall_order()
        if a.which in ("all", "others"):
            for args in demo.OTHERS:
                demo.other(*args)

    return 0


if __name__ == "__main__":
    sys.exit(main())
