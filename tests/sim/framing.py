"""Frames around payloads: lines with XOR checksum, COBS (Cheshire and Baker 1999), SLIP (RFC 1055), sync and
length, fixed length; CRCs by their parameters in the public CRC catalogue."""
import zlib


def crc16(data, poly, init, reflect):
    crc = init
    for byte in data:
        if reflect:
            crc ^= byte
            for _ in range(8):
                crc = (crc >> 1) ^ poly if crc & 1 else crc >> 1
        else:
            crc ^= byte << 8
            for _ in range(8):
                crc = ((crc << 1) ^ poly) & 0xFFFF if crc & 0x8000 else (crc << 1) & 0xFFFF
    return crc


CRCS = {
    "CRC-16/IBM-3740": (2, lambda d: crc16(d, 0x1021, 0xFFFF, False)),
    "CRC-16/XMODEM": (2, lambda d: crc16(d, 0x1021, 0x0000, False)),
    "CRC-16/KERMIT": (2, lambda d: crc16(d, 0x8408, 0x0000, True)),
    "CRC-16/MODBUS": (2, lambda d: crc16(d, 0xA001, 0xFFFF, True)),
    "CRC-32/ISO-HDLC": (4, lambda d: zlib.crc32(d) & 0xFFFFFFFF),
}


def cobs(data):
    out, block = bytearray(), bytearray()
    for b in data:
        if b == 0:
            out += bytes([len(block) + 1]) + block
            block = bytearray()
        else:
            block.append(b)
            if len(block) == 254:
                out += b"\xff" + block
                block = bytearray()
    return bytes(out + bytes([len(block) + 1]) + block) + b"\0"


def slip(data):
    return b"\xc0" + data.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc") + b"\xc0"


class Framing:
    """One way of framing; `told` is its table in a setup file."""

    def __init__(self, kind, rng=None, crc=None, big=False):
        self.kind = kind
        names = list(CRCS)
        self.crc = crc or (names[int(rng.integers(len(names)))] if rng is not None else names[0])
        self.big = big
        self.sync = bytes([0xA5, 0x5A])
        self.counts = ["payload", "payload+crc", "whole"][int(rng.integers(3))] if rng is not None else "payload"
        self.covers = ["payload", "length+payload", "all"][int(rng.integers(3))] if rng is not None else "payload"
        self.length_type = ["u8", "u16le", "u16be"][int(rng.integers(3))] if rng is not None else "u8"
        if kind == "fixed" and self.covers == "length+payload":
            self.covers = "payload"
        self.fixed_length = None

    def check(self, data):
        size, f = CRCS[self.crc]
        return f(data).to_bytes(size, "big" if self.big else "little")

    def frame(self, payload):
        if self.kind == "lines":
            x = 0
            for b in payload:
                x ^= b
            return b"$" + payload + b"*%02X\r\n" % x
        if self.kind == "cobs":
            return cobs(payload + self.check(payload))
        if self.kind == "slip":
            return slip(payload + self.check(payload))
        size = CRCS[self.crc][0]
        if self.kind == "fixed":
            body = payload.ljust(self.fixed_length - 2 - size, b"\0")
            return self.sync + body + self.check(body if self.covers == "payload" else self.sync + body)
        width = 1 if self.length_type == "u8" else 2
        n = len(payload) + {"payload": 0, "payload+crc": size, "whole": size + width + 2}[self.counts]
        length = n.to_bytes(width, "big" if self.length_type == "u16be" else "little")
        covered = {"payload": payload, "length+payload": length + payload, "all": self.sync + length + payload}[self.covers]
        return self.sync + length + payload + self.check(covered)

    def told(self):
        if self.kind == "lines":
            return dict(kind="lines", checksum="xor")
        d = dict(kind=self.kind, crc=self.crc, crc_order="big" if self.big else "little")
        if self.kind == "sync":
            d.update(sync="A5 5A", length=self.length_type, length_counts=self.counts, crc_covers=self.covers)
        if self.kind == "fixed":
            d.update(sync="A5 5A", length=self.fixed_length, crc_covers=self.covers)
        return d
