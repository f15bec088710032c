"""Command line: `python -m sim make|score|pad|...`."""
import argparse
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


main()
