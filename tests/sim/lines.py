"""Reads the JSON Lines that the program (or the estimator's example) writes, tolerant of nested or flat quantiles.

All times come back on the samples' axis (seconds from the first packet's UTC second).
"""
import json
from datetime import datetime

LEVELS = ("p05", "p25", "p75", "p95")


def number(x):
    """A time as a number: UTC seconds, or an ISO text."""
    if isinstance(x, str):
        return datetime.fromisoformat(x.replace("Z", "+00:00")).timestamp()
    return x


def quantiles(line, *names):
    """{p05, p25, p50, p75, p95} of the first of these names that is there, else None."""
    for name in names:
        v = line.get(name)
        if isinstance(v, dict):
            return v
        if v is not None:
            out = {lv: number(line.get(f"{name}_{lv}")) for lv in LEVELS}
            out["p50"] = number(v)
            return out if all(x is not None for x in out.values()) else None
    return None


def shifted(q, by):
    """Quantiles moved by a constant."""
    return None if q is None else {k: v - by for k, v in q.items()}


class Said:
    """What the program said about one flight, sorted by kind, times on the samples' axis."""

    def __init__(self, path, epoch):
        self.epoch = epoch
        self.kinds = {}
        self.broken = 0
        with open(path, encoding="utf-8") as f:
            for text in f:
                try:
                    line = json.loads(text)
                except json.JSONDecodeError:
                    self.broken += 1
                    continue
                line["t"] = self.time(line.get("t_receive", line.get("t_receive_s", line.get("t_s"))))
                self.kinds.setdefault(line.get("kind", "?"), []).append(line)

    def time(self, x):
        """One time onto the samples' axis, whatever it was given in."""
        x = number(x)
        return None if x is None else x - self.epoch if x > 1e8 else x

    def times(self, q):
        """Quantiles of a time onto the samples' axis."""
        return None if q is None else {k: self.time(v) for k, v in q.items()}

    def of(self, kind, body=0, name=None):
        """Lines of a kind about one body, given by index or by name."""
        return [x for x in self.kinds.get(kind, []) if x.get("body") in (body, name)]

    def newest(self, kind, t, body=0, name=None, **want):
        """The newest such line not later than t."""
        best = None
        for x in self.of(kind, body, name):
            if x["t"] is not None and x["t"] <= t and all(x.get(k) == v for k, v in want.items()):
                best = x
        return best
