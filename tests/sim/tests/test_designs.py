"""The compared filters where the answer is known: linear problems in closed form, consistency, coordinates."""
import json
import math

import numpy as np
import pytest
from scipy.stats import chi2

from sim.coast import H, LNK, NAMES, STEP, VE, VN, VU, WE, Cartesian, Follower, Heard, Leaned, Told
from sim.designs import AIR, DESIGNS, RINGS, SHARE, judged
from sim.filters import PUT_ASIDE, Bank, Particles, Sum, Unscented, softened
from sim.make import make

# a body with a wandering acceleration and a sensor with a constant offset, read every tenth of a second
F = np.array([[1.0, 0.1, 0.005, 0.0], [0.0, 1.0, 0.1, 0.0], [0.0, 0.0, 0.97, 0.0], [0.0, 0.0, 0.0, 1.0]])
Q = np.diag([1e-4, 1e-3, 2e-2, 0.0])
SEES = np.array([[1.0, 0.0, 0.0, 1.0], [0.0, 0.0, 1.0, 0.0]])
R = np.array([0.5, 0.3])
X0, P0 = np.array([1.0, 2.0, 3.0, 0.5]), np.diag([4.0, 3.0, 2.0, 1.0])
NOISE = lambda x: np.tile(Q, (len(x), 1, 1))
KALMAN = {
    "extended": lambda x, p, step: Bank(x, p, step),
    "iterated": lambda x, p, step: Bank(x, p, step, iterations=4),
    "unscented": lambda x, p, step: Unscented(x, p),
}


def posterior(z):
    """Mean and covariance of the last state given all measurements: weighted least squares over the prior and every noise at once."""
    n, steps = len(X0), len(z)
    size = n * (steps + 1)
    w = np.zeros((size, size))
    w[:n, :n] = P0
    for i in range(steps):
        w[n * (i + 1):n * (i + 2), n * (i + 1):n * (i + 2)] = Q
    into = np.zeros((n, size))
    into[:, :n] = np.eye(n)
    mean, rows, means = X0, [], []
    for i in range(steps):
        into, mean = F @ into, F @ mean
        into[:, n * (i + 1):n * (i + 2)] += np.eye(n)
        rows.append(SEES @ into)
        means.append(SEES @ mean)
    rows = np.concatenate(rows)
    s = rows @ w @ rows.T + np.diag(np.tile(R, steps))
    gain = np.linalg.solve(s, rows @ w @ into.T).T
    return mean + gain @ (z.ravel() - np.concatenate(means)), into @ w @ into.T - gain @ rows @ w @ into.T


def told_line(steps=30):
    rng = np.random.default_rng(3)
    x, z = X0 + np.sqrt(np.diag(P0)) * rng.standard_normal(4), []
    for _ in range(steps):
        x = F @ x + np.sqrt(np.diag(Q)) * rng.standard_normal(4)
        z.append(SEES @ x + np.sqrt(R) * rng.standard_normal(2))
    return np.array(z)


def through(f, z):
    for y in z:
        f.carry(lambda x: F @ x, NOISE)
        f.correct(y, lambda x: SEES @ x, R)
    return f


@pytest.mark.parametrize("name", KALMAN)
def test_on_a_linear_problem_it_is_the_least_squares_posterior(name):
    z = told_line()
    mean, cov = posterior(z)
    f = through(KALMAN[name](X0, P0, np.full(4, 1e-2)), z)
    assert np.allclose(f.mean(), mean, atol=1e-7)
    assert np.allclose(f.cov(), cov, atol=1e-7)


def test_particles_come_near_that_posterior():
    # what is sampled wanders, so that resampling does not wear it out: a tenth of a spread with 2000 particles
    z = told_line()
    mean, cov = posterior(z)
    f = through(Particles(X0, P0, np.full(4, 1e-2), [2], 2000, np.random.default_rng(1)), z)
    sd = np.sqrt(np.diag(cov))
    assert np.all(np.abs(f.mean() - mean) < 0.1 * sd)
    assert np.all(np.abs(f.cov() - cov) < 0.05 * np.outer(sd, sd))


def test_a_sum_laid_out_is_the_gaussian_that_it_stands_for():
    # the rings' weights and radii are round figures: mean exact, spread along the two combinations within a hundredth
    p = np.diag([4.0, 3.0, 2.0, 1.0]) + 0.5
    over = np.array([[1.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, -1.0]])
    f = Sum(X0, p, np.full(4, 1e-2), over, RINGS, SHARE)
    assert np.allclose(f.mean(), X0)
    assert f.cov() == pytest.approx(p, rel=0.01, abs=0.01)
    # each part by itself has lost that spread
    assert over @ f.p[3] @ over.T == pytest.approx(SHARE ** 2 * over @ p @ over.T)


def vertical(x, dt=0.1):
    """Height, climb rate, ln k of a body coasting straight up in air of constant density, exactly: the closed form of v' = -g - k v^2."""
    g = 9.81
    k = np.exp(x[2])
    c = np.sqrt(g / k)
    a0 = np.arctan(x[1] / c)
    a1 = a0 - np.sqrt(g * k) * dt
    return np.stack([x[0] + np.log(np.cos(a1) / np.cos(a0)) / k, c * np.tan(a1), x[2]])


@pytest.mark.parametrize("name", [*KALMAN, "particles"])
def test_errors_and_innovations_are_as_large_as_it_says(name):
    # normalised errors and innovations squared, means over runs, inside their 99.9 % bounds (Bar-Shalom, Li and Kirubarajan 2001, ch. 5.4)
    runs, steps = 60, 40
    q, r = np.diag([1e-4, 0.04, 1e-4]), np.array([1.0, 0.05])
    noise = lambda x: np.tile(q, (len(x), 1, 1))
    see = lambda x: np.stack([x[0], np.exp(x[2]) * x[1] ** 2])
    x0, p0, step = np.array([100.0, 150.0, math.log(8e-4)]), np.diag([4.0, 9.0, 0.01]), np.array([1e-2, 1e-2, 1e-4])
    nees, nis = [], []
    for i in range(runs):
        rng = np.random.default_rng(i)
        x = x0 + np.sqrt(np.diag(p0)) * rng.standard_normal(3)
        f = Particles(x0, p0, step, [2], 200, rng) if name == "particles" else KALMAN[name](x0, p0, step)
        for _ in range(steps):
            x = vertical(x[:, None])[:, 0] + np.sqrt(np.diag(q)) * rng.standard_normal(3)
            f.carry(vertical, noise)
            z = see(x) + np.sqrt(r) * rng.standard_normal(2)
            w = f.w
            y, known = f.correct(z, see, r)
            m = w @ y
            nis.append(m ** 2 / (w @ known + r + w @ (y - m) ** 2))
        d = x - f.mean()
        nees.append(d @ np.linalg.solve(f.cov(), d))
    n = 3 * runs
    assert chi2.ppf(0.0005, n) < sum(nees) < chi2.ppf(0.9995, n)
    # innovations of both channels are white and each of unit variance, if the filter is right
    n = runs * steps
    for channel in np.array(nis).T:
        assert chi2.ppf(0.0005, n) < channel.sum() < chi2.ppf(0.9995, n)


def test_a_surprise_counts_less_and_a_great_one_not_at_all():
    known, r = np.ones((2, 1)), np.array([1.0])
    assert softened(np.full((2, 1), 1.0), known, r, 8.0) == pytest.approx(1.0)
    # d2 = 8: (8 + 8) / (8 + 1)
    assert softened(np.full((2, 1), 4.0), known, r, 8.0) == pytest.approx(16.0 / 9.0)
    assert softened(np.array([[4.0], [9.0]]), known, r, 8.0)[1, 0] < PUT_ASIDE
    assert np.all(softened(np.full((2, 1), 9.0), known, r, 8.0) == PUT_ASIDE)


@pytest.fixture(scope="module")
def flight(tmp_path_factory):
    out = tmp_path_factory.mktemp("flights")
    truth, _ = make("no_gnss", 4, out)
    folder = out / "no_gnss-0004"
    readings = [json.loads(x) for x in (folder / "samples.jsonl").read_text().splitlines()]
    return json.loads((folder / "plan.json").read_text()), readings, truth["bodies"][0]


def test_coordinates_lead_back_also_straight_up(flight):
    told = Told(flight[0])
    rng = np.random.default_rng(0)
    c = np.zeros((len(NAMES), 50))
    c[H], c[VE:VU + 1], c[WE] = 300.0, rng.normal(0.0, 60.0, (3, 50)), 2.0
    we, wn, _ = told.wind(c[H, :1])
    c[VE:VU + 1, 0] = we[0] + 2.0, wn[0], 80.0
    leaned = Leaned(told)
    x = leaned.inward(c)
    assert np.hypot(x[VN], x[VU])[0] < 1e-9 and x[VE, 0] == pytest.approx(80.0)
    assert np.allclose(leaned.outward(x), c, atol=1e-9)
    # covariance by slopes is that of draws
    mean, p = c[:, 1:2].copy(), np.diag([1e-4] * len(NAMES))
    mean[VE:VU + 1, 0] = 20.0, -10.0, 100.0
    draws = np.cov(leaned.inward(mean + 1e-2 * rng.standard_normal((len(NAMES), 40000))))[VE:VU + 1, VE:VU + 1]
    sd = np.sqrt(np.diag(draws))
    assert np.all(np.abs(leaned.inward_cov(mean.T, p[None])[0][VE:VU + 1, VE:VU + 1] - draws) < 0.03 * np.outer(sd, sd))


def test_motion_agrees_with_the_closed_form(flight):
    # straight up in still air of nearly constant density: 60 m of coast, k as at the middle's density
    told = Told(flight[0])
    told.wind_e = told.wind_n = told.oy = told.oz = 0.0
    c = np.zeros((len(NAMES), 1))
    c[H], c[VU], c[LNK] = 100.0, 40.0, math.log(2e-3)
    moved = told.move(c, 2.0)
    x = np.array([[100.0], [40.0], [math.log(2e-3 * float(np.interp(130.0, told.h, told.rho)) / told.rho0)]])
    for _ in range(20):
        x = vertical(x)
    assert moved[H, 0] == pytest.approx(x[0, 0], abs=0.1) and moved[VU, 0] == pytest.approx(x[1, 0], abs=0.1)


@pytest.mark.parametrize("design", DESIGNS)
def test_every_design_finds_the_apogee_from_half_of_coast(flight, design):
    plan, readings, body = flight
    burnout, apogee = body["events"]["burnout"], body["apogee"]
    heard = Heard(plan, readings, (body["events"]["liftoff"], 0.02), burnout)
    chart, design_of = DESIGNS[design]
    f = Follower(heard, chart, lambda x, p: design_of(x, p, np.random.default_rng(1)))
    half = burnout + 0.5 * (apogee["t_s"] - burnout)
    for s in heard.readings:
        if s["t_receive_s"] < half:
            f.take(s)
    said = judged(f.apogee(np.random.default_rng(2)), apogee)
    assert abs(said["h_err"]) < 3.0 and abs(said["t_err"]) < 0.5 and said["h_width"] < 12.0
    assert f.where()[H, 0] == pytest.approx(np.interp(f.t, body["state"]["t_s"], body["state"]["height_m"]), rel=0.02)


def test_what_a_sum_is_laid_over_is_the_air():
    x = np.arange(len(NAMES), dtype=float)
    assert np.allclose(AIR @ x, [x[VE] - x[WE], x[VN] - x[WE + 1]]) and Cartesian(None).inward(x) is x and len(STEP) == len(NAMES)
