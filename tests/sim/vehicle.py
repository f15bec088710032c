"""What flies, as it really is: drag curves, thrust curves, mass and attitude figures, bodies and cues.

The told figures live beside the true ones; the truth never reads them.
"""
import math
from bisect import bisect_right
from dataclasses import dataclass, field


@dataclass
class Drag:
    """Cd(M): friction falls slowly with speed, a transonic rise of drawn place, width and height, then decay."""

    cd: float
    middle_mach: float = 0.98
    width_mach: float = 0.06
    peak_ratio: float = 1.8
    decay: float = 0.6
    friction_slope: float = 0.0
    power_on: float = 0.92

    def at(self, mach, burning):
        rise = 0.5 * (1.0 + math.tanh((mach - self.middle_mach) / self.width_mach))
        over = max(mach / (self.middle_mach + 2.0 * self.width_mach), 1.0)
        shape = 1.0 + (self.peak_ratio * over ** -self.decay - 1.0) * rise
        shape *= 1.0 - self.friction_slope * (min(mach, 1.0) - 0.25)
        return self.cd * shape * (self.power_on if burning else 1.0)


class Thrust:
    """Piecewise linear thrust; `fraction` is the share of impulse spent."""

    def __init__(self, times, newtons):
        self.t, self.f = list(times), list(newtons)
        self.cum = [0.0]
        for i in range(len(self.t) - 1):
            self.cum.append(self.cum[-1] + 0.5 * (self.f[i] + self.f[i + 1]) * (self.t[i + 1] - self.t[i]))
        self.impulse = self.cum[-1]
        self.end = self.t[-1]

    def at(self, t):
        if t <= self.t[0] or t >= self.end:
            return 0.0
        i = bisect_right(self.t, t) - 1
        f = (t - self.t[i]) / (self.t[i + 1] - self.t[i])
        return self.f[i] + f * (self.f[i + 1] - self.f[i])

    def fraction(self, t):
        if t <= self.t[0]:
            return 0.0
        if t >= self.end:
            return 1.0
        i = bisect_right(self.t, t) - 1
        dt = t - self.t[i]
        f = self.f[i] + 0.5 * dt / (self.t[i + 1] - self.t[i]) * (self.f[i + 1] - self.f[i])
        return (self.cum[i] + f * dt) / self.impulse


def drawn_thrust_shape(rng):
    """Knots (share of burn time, relative thrust) of one of several kinds of grain, with ignition and tail-off."""
    kind = rng.choice(["neutral", "regressive", "progressive", "spike", "saddle", "long tail"])
    ramp, tail = rng.uniform(0.01, 0.06), rng.uniform(0.85, 0.97)
    start, middle, end = {
        "neutral": (1.0, 1.05, 1.0), "regressive": (1.4, 1.1, 0.6), "progressive": (0.7, 1.0, 1.3),
        "spike": (1.8, 1.0, 0.9), "saddle": (1.3, 0.85, 1.15), "long tail": (1.3, 1.1, 0.5)}[str(kind)]
    if kind == "long tail":
        tail = rng.uniform(0.6, 0.75)
    wob = lambda: 1.0 + 0.05 * rng.standard_normal()
    knots = [(0.0, 0.0), (ramp, start * wob())]
    if kind == "spike":
        knots += [(ramp + 0.08, 1.0 * wob())]
    knots += [(0.5 * (ramp + tail), middle * wob()), (tail, end * wob())]
    if kind == "long tail":
        knots += [(tail + 0.4 * (1 - tail), 0.15)]
    knots += [(1.0, 0.0)]
    return str(kind), knots


def thrust_of(knots, burn_time, impulse):
    """A Thrust of that shape, burn time and total impulse."""
    raw = Thrust([k[0] * burn_time for k in knots], [k[1] for k in knots])
    return Thrust(raw.t, [f * impulse / raw.impulse for f in raw.f])


@dataclass
class Stage:
    """One burning configuration, true figures. Masses in kg, lengths in m."""

    thrust: Thrust
    propellant: float
    drag: Drag
    diameter: float
    length: float
    margin: float
    cn_alpha: float
    thrust_offset: float
    ignition_after_burnout: float = 0.0
    dropped: float = 0.0


@dataclass
class Piece:
    """One body as it comes down."""

    name: str
    mass: float
    bare_area: float
    parent: int | None = None
    freed_by: int | None = None
    transmitter: int | None = None
    kick: tuple = (0.0, 0.0, 0.0)
    descents: list = field(default_factory=list)  # (state, cue index, true area)


@dataclass
class Cue:
    """A cue as it really acts: told trigger, true delay, and whether it fails."""

    name: str
    kind: str
    body: int
    trigger: tuple  # (kind, value[, of])
    delay_told: float
    spread_told: float
    delay: float
    fails: bool = False
    late: float = 0.0
    limit: float | None = None
    mass: float = 0.0


@dataclass
class Vehicle:
    """The whole, true."""

    name: str
    mass: float
    stages: list
    pieces: list
    cues: list
    rail_length: float
    rail_tilt: float
    rail_azimuth: float
    tip_off: tuple
    roll_rate: float
    offset_phase: float
    gyration: float
    hardware_delay: float = 0.0
