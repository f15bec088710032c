"""Packets: how values are stored, as text columns or packed fields, and the layouts that tell of it."""
import math
import struct

RAD = math.pi / 180.0
# name: (type, scale, offset, unit, meaning, SI per unit, decimals in text)
FIELDS = {
    "tx": ("u8", 1, 0, "", "transmitter", 1, 0),
    "seq": ("u16", 1, 0, "", "sequence", 1, 0),
    "ms": ("u32", 1, 0, "ms", "onboard time", 1e-3, 0),
    "pressure": ("u32", 0.001, 0, "hPa", "pressure", 100.0, 3),
    "axial": ("i16", 0.05, 0, "m/s2", "axial specific force", 1, 2),
    "laty": ("i16", 0.05, 0, "m/s2", "lateral specific force y", 1, 2),
    "latz": ("i16", 0.05, 0, "m/s2", "lateral specific force z", 1, 2),
    "lat": ("i32", 1e-7, 0, "deg", "latitude", RAD, 7),
    "lon": ("i32", 1e-7, 0, "deg", "longitude", RAD, 7),
    "amsl": ("i32", 0.1, 0, "m", "height above sea level", 1, 1),
    "ell": ("i32", 0.1, 0, "m", "height above ellipsoid", 1, 1),
    "fix": ("u8", 1, 0, "", "fix", 1, 0),
    "hsd": ("u8", 0.1, 0, "m", "horizontal spread", 1, 1),
    "ve": ("i16", 0.05, 0, "m/s", "velocity east", 1, 2),
    "vn": ("i16", 0.05, 0, "m/s", "velocity north", 1, 2),
    "vd": ("i16", 0.05, 0, "m/s", "velocity down", 1, 2),
    "tilt": ("i16", 0.01, 0, "deg", "tilt", RAD, 2),
    "h": ("i32", 0.1, 0, "m", "own height", 1, 1),
    "v": ("i16", 0.1, 0, "m/s", "own climb rate", 1, 1),
    "boots": ("u8", 1, 0, "", "restart count", 1, 0),
    "batt": ("u8", 0.05, 0, "V", "battery voltage", 1, 2),
    "flags": ("u16", 1, 0, "", None, 1, 0),
    "rssi": ("i8", 1, 0, "dBm", "rssi", 1, 0),
}
CODE = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i"}
LIMIT = {"u8": (0, 255), "i8": (-128, 127), "u16": (0, 65535), "i16": (-32768, 32767), "u32": (0, 2 ** 32 - 1),
         "i32": (-2 ** 31, 2 ** 31 - 1)}
MISSING = {"lat": -2 ** 31, "lon": -2 ** 31, "amsl": -2 ** 31, "ell": -2 ** 31, "ve": -32768, "vn": -32768, "vd": -32768,
           "hsd": 255}

# what the vehicle's own computer says, lowest bits first
SAYS = ("liftoff", "burnout", "apogee", "landing")


class Layout:
    """One kind of packet."""

    def __init__(self, name, names, text, big_endian, ident, rate, clock_bits=32, flag_bits=()):
        self.name, self.names, self.text, self.big = name, names, text, big_endian
        self.ident, self.rate, self.clock_bits = ident, rate, clock_bits
        self.flag_bits = flag_bits

    def type_of(self, name):
        if name == "ms" and self.clock_bits == 16:
            return "u16"
        return FIELDS[name][0]

    def pack(self, values):
        """(payload bytes, SI values as a decoder reads them). A value of None is written as missing."""
        if self.text:
            cols, si = [self.ident], {}
            for name in self.names:
                _, _, _, _, _, per, dec = FIELDS[name]
                v = values.get(name)
                if v is None:
                    cols.append("")
                    continue
                if name == "ms":
                    v = int(v) % (1 << self.clock_bits)
                s = f"{v:.{dec}f}"
                cols.append(s)
                si[name] = float(s) * per
            return ",".join(cols).encode(), si
        raw, si = bytearray([self.ident]), {}
        order = ">" if self.big else "<"
        for name in self.names:
            _, scale, offset, _, _, per, _ = FIELDS[name]
            kind = self.type_of(name)
            v = values.get(name)
            if v is None:
                r = MISSING[name]
            else:
                lo, hi = LIMIT[kind]
                r = int(round((v - offset) / scale))
                r = r % (hi + 1) if name in ("ms", "seq") else min(max(r, lo + 1 if lo < 0 else lo), hi)
                if name in MISSING and r == MISSING[name]:
                    r -= 1
                si[name] = (r * scale + offset) * per
            raw += struct.pack(order + CODE[kind], r)
        return bytes(raw), si

    def told(self, padded=False):
        """The layout as written in a setup file; frames of one length pad what is shorter, so no length is told."""
        d = dict(name=self.name, kind="text" if self.text else "binary")
        if self.text:
            d["separator"] = ","
            d["starts_with"] = self.ident
        else:
            d["byte_order"] = "big" if self.big else "little"
            if not padded:
                d["length"] = 1 + sum(struct.calcsize(CODE[self.type_of(n)]) for n in self.names)
        d["rate_hz"] = self.rate
        fields = [] if self.text else [dict(name="id", type="u8", **{"is": self.ident})]
        for name in self.names:
            _, scale, offset, unit, means, _, _ = FIELDS[name]
            f = dict(name=name)
            kind = self.type_of(name)
            if not self.text:
                f["type"] = kind
                if scale != 1:
                    f["scale"] = float(scale)
                if name in MISSING:
                    f["missing"] = MISSING[name]
            if unit:
                f["unit"] = unit
            if means:
                f["means"] = means
            if name == "flags":
                f["bits"] = [dict(bit=i, name=f"{what} seen", means=f"says {what}") for i, what in enumerate(SAYS)]
                f["bits"] += [dict(bit=i + len(SAYS), name=f"{ch} fired", means="fired", channel=ch) for i, ch in enumerate(self.flag_bits)]
            fields.append(f)
        d["field"] = fields
        return d
