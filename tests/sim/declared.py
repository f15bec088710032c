"""Packets packed by the layouts that a hand-written setup file declares.

Values come in SI under their meaning; free fields are left at zero. Only what the demo setups use is supported:
little-endian binary fields, bits, skips, scale, and the units in the table.
"""
import math
import struct

from .packets import CODE, FIELDS, LIMIT

UNIT = {"": 1.0, "ms": 1e-3, "hPa": 100.0, "deg": math.pi / 180, "mm": 1e-3, "cm/s": 0.01, "m/s2": 1.0, "m/s": 1.0,
        "V": 1.0, "degC": 1.0, "m": 1.0, "dBm": 1.0}


def meant(values):
    """The simulator's values by meaning and channel, in SI."""
    out = {}
    for name, v in values.items():
        if name in FIELDS and FIELDS[name][4] and v is not None:
            out[FIELDS[name][4]] = v * FIELDS[name][5]
    if "velocity down" in out:
        out["velocity up"] = -out["velocity down"]
    out["satellites"] = 11 if out.get("fix") else 0
    out["temperature"] = 301.0
    body = values["body"]
    for cue, fired in body["cues"].items():
        out[("fired", cue)] = out[("commanded", cue)] = fired
        out[("continuity", cue)] = not fired
        out[("armed", cue)] = True
    own = [fired for cue, fired in body["cues"].items() if cue in body["own"]]
    # A board that has one charge says of it by no name, or as its chute: one layout does for all cameras.
    for channel in (None, "chute"):
        out[("fired", channel)] = any(own)
        out[("continuity", channel)] = not any(own)
    out[("says freed", None)] = body["free"]
    out["recording"] = 1
    out["mode"] = body["mode"]
    return out


class Declared:
    """One binary layout of a setup file."""

    def __init__(self, told, clock_bits=32):
        self._told, self.name, self.rate = told, told["name"], told["rate_hz"]
        self.fields = told["field"]
        self.clock_bits = clock_bits
        self.flag_bits = ()
        self.names = ["ms"]

    def pack(self, values):
        """(payload, SI values by meaning as a decoder reads them)."""
        raw, si = bytearray(), {}
        values = meant(values)
        for f in self.fields:
            if f["type"] == "skip":
                raw += bytes(f["bytes"])
                continue
            kind = f["type"]
            lo, hi = LIMIT[kind]
            if "is" in f:
                r = f["is"]
            elif "bits" in f:
                r = 0
                for b in f["bits"]:
                    v = values.get((b.get("means"), b.get("channel")), values.get(b["name"], 0))
                    r |= (int(v) & ((1 << b.get("width", 1)) - 1)) << b["bit"]
            else:
                means = f.get("means", "free")
                v = values.get(means)
                per, scale = UNIT[f.get("unit", "")], f.get("scale", 1.0)
                if v is None:
                    r = f.get("missing", 0)
                else:
                    if f.get("unit") == "degC":
                        v = v - 273.15
                    r = int(round(v / per / scale))
                    r = r % (hi + 1) if means in ("sequence", "onboard time") else min(max(r, lo), hi)
                    si[means] = r * scale * per
            raw += struct.pack("<" + CODE[kind], r)
        return bytes(raw), si

    def told(self):
        return self._told
