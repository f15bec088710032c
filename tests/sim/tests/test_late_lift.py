"""The lift of a nose that follows its path late, as the estimator takes it, against the equations of pitch, path and speed.

Motion in the plane of a body whose normal force and pitch damping are linear in the angle (textbook form; normal force slope 10,
inertia of a rod 12 to 20 diameters long, margins of 1.2 to 3.5 diameters, damping of 3 to 12 %: common practice, no source), solved
with SciPy's DOP853. The estimator knows only the diameter: it takes a fixed share of gravity's part across the path.
"""
import math
import re
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

G = 9.81
RHO = 1.15
VEHICLES = 40


MODEL = Path(__file__).parents[3] / "server/flight/src/model.rs"
LINE = re.search(r"fn late_lift.*?([0-9.]+) \+ ([0-9.]+) \* diameter_m\.clamp\(0\.0, ([0-9.]+)\)", MODEL.read_text(), re.DOTALL)


def share(diameter_m):
    """`late_lift` with the figures that the estimator's source has."""
    least, per_m, widest = map(float, LINE.groups())
    return least + per_m * min(diameter_m, widest)


def drawn(rng):
    diameter = math.exp(rng.uniform(math.log(0.05), math.log(0.3)))
    mass = rng.uniform(0.5, 1.6) * 30.0 * (diameter / 0.25) ** 2.2
    margin, fineness = rng.uniform(1.2, 3.5), rng.uniform(12.0, 20.0)
    wave = math.sqrt(math.pi / 4 * 10.0 * margin / (fineness**2 / 6.0) * RHO * diameter / mass)
    arm = fineness**2 / 12.0 / margin * diameter
    return dict(diameter=diameter, wave=wave, arm=arm, damping=rng.uniform(0.03, 0.12), speed=rng.uniform(30.0, 140.0),
                lean=math.radians(rng.uniform(3.0, 30.0)), k=math.exp(rng.uniform(math.log(2e-4), math.log(1.5e-3))))


def top(f, start, upward):
    """Time to apogee and the speed there."""
    def event(t, y):
        return upward(y)
    event.terminal = True
    s = solve_ivp(f, (0.0, 60.0), start, method="DOP853", events=event, rtol=1e-8, atol=1e-9)
    return s.t_events[0][0], s.y_events[0][0]


def turning(v):
    """With the nose's own motion: speed, path angle, pitch angle, pitch rate."""
    def f(_, y):
        speed, path, pitch, rate = max(y[0], 0.5), y[1], y[2], y[3]
        angle = pitch - path
        lift = (v["wave"] * speed) ** 2 * v["arm"] * math.sin(angle)
        return [-G * math.sin(path) - v["k"] * speed**2, (lift * math.cos(angle) - G * math.cos(path)) / speed, rate,
                -((v["wave"] * speed) ** 2) * math.sin(angle) - 2.0 * v["damping"] * v["wave"] * speed * rate]
    path = math.pi / 2 - v["lean"]
    t, y = top(f, [v["speed"], path, path, -G * math.cos(path) / v["speed"]], lambda y: y[1])
    return t, y[0]


def taken(v, lift):
    """A point with a share of gravity's part across the path held up."""
    def f(_, y):
        flat, up = y
        speed = max(math.hypot(flat, up), 1.0)
        across = lift * G * flat / speed
        return [-v["k"] * speed * flat - across * up / speed, -v["k"] * speed * up - G + across * flat / speed]
    t, y = top(f, [v["speed"] * math.sin(v["lean"]), v["speed"] * math.cos(v["lean"])], lambda y: y[1])
    return t, y[0]


def test_the_share_takes_most_of_what_a_late_nose_does():
    rng = np.random.default_rng(1)
    vehicles = [drawn(rng) for _ in range(VEHICLES)]
    true = np.array([turning(v) for v in vehicles])
    without = np.array([taken(v, 0.0) for v in vehicles]) - true
    with_it = np.array([taken(v, share(v["diameter"])) for v in vehicles]) - true
    rms = lambda e: np.sqrt(np.mean(e**2, axis=0))
    # A point comes early and too fast to apogee without it.
    assert without[:, 0].mean() < -0.05 and without[:, 1].mean() > 0.4, without.mean(axis=0)
    assert (rms(with_it) < 0.5 * rms(without)).all(), (rms(with_it), rms(without))
    # What is left leans one way by no more than a third or so of what did.
    assert (abs(with_it.mean(axis=0)) < 0.35 * abs(without.mean(axis=0))).all(), (with_it.mean(axis=0), without.mean(axis=0))
