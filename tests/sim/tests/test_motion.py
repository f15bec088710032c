"""Motion against closed forms and another integrator."""
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.air import drawn_air
from sim.motion import Finned, Hanging, Place
from sim.vehicle import Drag, Stage, Thrust, drawn_thrust_shape, thrust_of
from sim.wind import Wind


class FlatAir:
    """Constant density and gravity, for closed forms."""

    g_pad = 9.81

    def at(self, height_m):
        return 101325.0, 288.15, 1.225, 340.0

    def gravity(self, height_m):
        return 9.81


class NoWind:
    def mean(self, h):
        return 0.0, 0.0


def still_place(air=None):
    place = Place(air or FlatAir(), NoWind(), 0.0)
    place.oy = place.oz = 0.0
    return place


def test_vertical_coast_with_quadratic_drag_has_the_closed_form():
    # h = ln(1 + k v^2 / g) / (2 k), t = atan(v sqrt(k / g)) / sqrt(k g)
    area, mass, v0, g = 0.02, 5.0, 180.0, 9.81
    k = 1.225 * area / (2 * mass)
    s, t, dt = [0.0, 0.0, 0.0, 0.0, 0.0, v0], 0.0, 0.01
    point = Hanging(still_place())
    while True:
        nxt, _ = point.step(s, dt, (0, 0, 0), area, mass)
        if nxt[5] <= 0:
            break
        s, t = nxt, t + dt
    rest = s[5] / g
    assert s[2] + 0.5 * s[5] * rest == pytest.approx(math.log(1 + k * v0 ** 2 / g) / (2 * k), rel=1e-6)
    assert t + rest == pytest.approx(math.atan(v0 * math.sqrt(k / g)) / math.sqrt(k * g), rel=1e-6)


def test_a_finned_body_straight_up_follows_the_same_closed_form():
    diameter, mass, v0, g = 0.1, 5.0, 150.0, 9.81
    stage = Stage(Thrust([0, 1], [0, 0]), 0.0, Drag(0.5, middle_mach=3.0, friction_slope=0.0), diameter, 1.5, 0.2, 9.0, 0.0)
    body = Finned(still_place(), stage, 0.1, 0.4)
    k = 1.225 * 0.5 * math.pi * diameter ** 2 / 4 / (2 * mass)
    s, t = [0.0, 0.0, 0.0, 0.0, 0.0, v0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0], 0.0
    while True:
        nxt = body.step(s, 0.01, (0, 0, 0), lambda _: 0.0, lambda _: mass, t, (1, 0, 0), None)
        if nxt[5] <= 0:
            break
        s, t = nxt, t + 0.01
    assert s[2] + 0.5 * s[5] ** 2 / g == pytest.approx(math.log(1 + k * v0 ** 2 / g) / (2 * k), rel=1e-5)
    assert abs(s[0]) < 1e-9 and abs(s[1]) < 1e-9


def test_without_drag_energy_is_kept_though_the_earth_turns():
    rng = np.random.default_rng(1)
    air = drawn_air(rng, 500.0, 9.8, 0.0, 95000.0)
    point = Hanging(Place(air, NoWind(), 0.7))
    energy = lambda s: 0.5 * (s[3] ** 2 + s[4] ** 2 + s[5] ** 2) - air.g_pad * air.radius ** 2 / (air.radius + s[2])
    s = [0.0, 0.0, 0.0, 120.0, -80.0, 700.0]
    e0 = energy(s)
    for _ in range(4000):
        s, _ = point.step(s, 0.02, (0, 0, 0), 0.0, 3.0)
    assert energy(s) == pytest.approx(e0, abs=0.05)
    # and it is turned aside: eastward going, on the northern half, it is pressed south
    assert s[1] < -80.0 * 80.0


def test_integration_agrees_with_dop853():
    rng = np.random.default_rng(2)
    air = drawn_air(rng, 200.0, 9.81, 5.0, 99000.0)
    place = Place(air, Wind(rng, 6.0, 1.0, 1.0), 0.6)
    point = Hanging(place)
    s = s0 = [0.0, 0.0, 50.0, 30.0, 10.0, 160.0]
    for _ in range(500):
        s, _ = point.step(s, 0.02, (0.5, -0.3, 0.1), 0.01, 4.0)
    rate = lambda t, y: [*y[3:], *point.accel(*y, (0.5, -0.3, 0.1), 0.01, 4.0)[:3]]
    other = solve_ivp(rate, (0.0, 10.0), s0, method="DOP853", rtol=1e-10, atol=1e-9, max_step=0.05)
    assert np.allclose(s, other.y[:, -1], atol=2e-3)


def test_under_a_chute_it_comes_down_at_terminal_speed():
    s, area, mass = [0.0, 0.0, 2000.0, 0.0, 0.0, 0.0], 3.0, 6.0
    point = Hanging(still_place())
    for _ in range(1000):
        s, _ = point.step(s, 0.02, (0, 0, 0), area, mass)
    assert -s[5] == pytest.approx(math.sqrt(2 * mass * 9.81 / (1.225 * area)), rel=1e-6)


def test_a_stable_body_swings_about_the_wind_at_its_natural_rate():
    # small swings: omega^2 = q A CNalpha margin / (m r^2), without damping
    diameter, mass, margin, cn, gyration, v = 0.1, 6.0, 0.15, 10.0, 0.5, 100.0
    stage = Stage(Thrust([0, 1], [0, 0]), 0.0, Drag(0.0), diameter, 1e-6, margin, cn, 0.0)
    body = Finned(still_place(), stage, 0.0, gyration)
    area = math.pi * diameter ** 2 / 4
    omega = math.sqrt(0.5 * 1.225 * v * v * area * cn * margin / (mass * gyration ** 2))
    a0, dt = 0.01, 0.002
    s = [0.0, 0.0, 0.0, v, 0.0, 0.0, math.cos(a0), 0.0, math.sin(a0), 0.0, 0.0, 0.0]
    crossings, t, last = [], 0.0, s[8]
    while len(crossings) < 2:
        s = body.step(s, dt, (0, 0, 0), lambda _: 0.0, lambda _: mass, t, (0, 1, 0), None)
        # held on course, so that only the attitude moves
        s[3:6] = [v, 0.0, 0.0]
        t += dt
        if last > 0 >= s[8] or last < 0 <= s[8]:
            crossings.append(t)
        last = s[8]
    assert math.pi / (crossings[1] - crossings[0]) == pytest.approx(omega, rel=0.01)


def test_thrust_shapes_hold_their_impulse():
    rng = np.random.default_rng(3)
    for _ in range(50):
        _, knots = drawn_thrust_shape(rng)
        thrust = thrust_of(knots, 2.5, 1000.0)
        t = np.linspace(0, thrust.end, 20001)
        f = np.array([thrust.at(x) for x in t])
        assert np.trapezoid(f, t) == pytest.approx(1000.0, rel=1e-3)
        assert thrust.fraction(thrust.end) == 1.0 and (np.diff([thrust.fraction(x) for x in t[::100]]) >= 0).all()
