"""The way through the air and the ground cable: losses in bursts, fades, delays, bit flips, garbage, chunks.

Bursts follow the two-state model of Gilbert (1960) and Elliott (1963), cited from memory.
"""
import math


class Loss:
    """Two-state burst loss of one transmitter at one receiver."""

    def __init__(self, rng, loss, burst):
        self.rng, self.bad = rng, False
        self.leave = 1.0 / max(burst, 1.0)
        share = min(loss / 0.95, 0.98)
        self.enter = self.leave * share / (1.0 - share)

    def lost(self, extra=0.0):
        r = self.rng.random()
        self.bad = (r >= self.leave) if self.bad else (r < self.enter)
        return (self.bad and self.rng.random() < 0.95) or self.rng.random() < extra


class Fades:
    """Times at which an aerial's null points at the ground: near apogee, and single ones in flight."""

    def __init__(self, rng, on, apogee_t):
        self.spans = []
        if on:
            w = rng.uniform(0.5, 2.5)
            c = apogee_t + rng.normal(0.0, 1.0)
            self.spans.append((c - w, c + w, rng.uniform(0.6, 1.0)))

    def extra(self, t):
        return max((p for a, b, p in self.spans if a <= t <= b), default=0.0)


def signal_dbm(distance_m, rng, base):
    """Free-space slope with fading, rounded as radios give it."""
    return max(-125.0, min(-20.0, base - 20.0 * math.log10(max(distance_m, 10.0) / 100.0) + rng.normal(0.0, 2.0)))


def spoil(rng, frame, flips):
    """Flips bits with the given chance a frame; returns (bytes, whether spoilt)."""
    if rng.random() >= flips:
        return frame, False
    b = bytearray(frame)
    for _ in range(int(rng.integers(1, 4))):
        i = int(rng.integers(len(b)))
        b[i] ^= 1 << int(rng.integers(8))
    return bytes(b), bytes(b) != frame
