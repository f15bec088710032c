"""The reference fit and the scorer on data whose answer is known."""
import math

import numpy as np
import pytest

from sim.lines import Said, quantiles
from sim.make import flown
from sim.reference import Fit, lagged
from sim.refmodel import Model, drag_vector
from sim.score import interval


def test_the_models_coast_is_the_truths_coast():
    # given the true levels, the point mass reaches the true apogee of a straight flight within 3 %
    case, tracks = flown("straight", 3)
    model = Model(case)
    st, told = case.vehicle.stages[0], case.told
    theta = np.zeros((1, len(model.names)))
    put = lambda n, v: theta.__setitem__((0, model.index[n]), v)
    put("ln_drag", math.log(st.drag.cd / told["vehicle"]["drag_coefficient"]))
    put("ln_impulse", math.log(st.thrust.impulse / told["motor"]["total_impulse_ns"] * told["vehicle"]["liftoff_mass_kg"] / case.vehicle.mass))
    put("ln_burn", math.log(st.thrust.end / told["motor"]["burn_time_s"]))
    put("tilt_e", math.tan(case.vehicle.rail_tilt) * math.sin(case.vehicle.rail_azimuth))
    put("tilt_n", math.tan(case.vehicle.rail_tilt) * math.cos(case.vehicle.rail_azimuth))
    h, t, _, _ = model.apogee(theta)
    ap = tracks[0].events["apogee"]
    assert h[0] == pytest.approx(float(tracks[0].at("z", ap)), rel=0.03)
    assert t[0] == pytest.approx(ap, rel=0.03)


def test_lag_of_a_ramp_is_its_closed_form():
    # a ramp through a first-order lag: y = x - s tau (1 - exp(-t / tau))
    ts = np.linspace(0, 2, 41)
    y = lagged(ts, 3.0 * ts[:, None], 0.2)
    assert np.allclose(y[:, 0], 3.0 * ts - 0.6 * (1 - np.exp(-ts / 0.2)))


def test_interval_score_of_gneiting_and_raftery():
    q = dict(p05=1.0, p25=2.0, p50=2.5, p75=3.0, p95=5.0)
    assert interval(q, 2.5) == (1.0, 1.0, 4.0, 4.0)
    assert interval(q, 6.0) == (0.0, 0.0, 4.0, pytest.approx(24.0))


def test_lines_are_read_flat_or_nested_and_onto_one_axis(tmp_path):
    f = tmp_path / "x.jsonl"
    f.write_text('{"kind":"prediction","body":0,"t_receive":1000000005.5,"apogee_height_m":5,"apogee_height_m_p05":1,'
                 '"apogee_height_m_p25":2,"apogee_height_m_p75":8,"apogee_height_m_p95":9}\nrubbish\n')
    said = Said(f, 1000000000)
    line = said.newest("prediction", 6.0)
    assert line["t"] == 5.5 and said.broken == 1 and said.newest("prediction", 5.0) is None
    assert quantiles(line, "apogee_height_m") == dict(p05=1, p25=2, p50=5, p75=8, p95=9)
    assert quantiles(dict(a=dict(p50=1)), "a") == dict(p50=1)


def test_a_fit_from_which_nothing_is_withheld_is_the_fit():
    from sim.ignorant import fitter

    case, _, samples, shift = short_flight()
    plain = Fit(case, samples, True, shift, 3.0, [])
    same = fitter([])(case, samples, True, shift, 3.0, [])
    assert same.names == plain.names
    theta = plain.mean[None, :] + 0.1 * plain.sd[None, :]
    assert np.array_equal(plain.residuals(theta), same.residuals(theta))


def test_an_untold_curve_holds_the_true_one_and_an_untold_thrust_has_the_told_impulse():
    from sim.ignorant import BENDS, CURVE, KNOTS, fitter

    case, _, samples, shift = short_flight()
    fit = fitter(["drag", "thrust"])(case, samples, True, shift, 3.0, [])
    model, drag = fit.model, case.vehicle.stages[0].drag
    true = dict(middle_mach=drag.middle_mach, ln_width_mach=math.log(drag.width_mach), peak_ratio=drag.peak_ratio, decay=drag.decay,
                friction_slope=drag.friction_slope, power_on=drag.power_on)
    assert set(true) == set(CURVE)
    mach, burning = np.linspace(0.0, 3.0, 200), np.arange(200) % 2 == 0
    assert np.allclose(model.holds(0, mach, burning, {n: np.full(200, v) for n, v in true.items()}), drag_vector(drag, mach, burning))
    x = np.linspace(0.0, 1.0, 4001)
    level = {f"push_0_{k}": np.zeros(len(x)) for k in range(len(KNOTS))}
    spent, force = model.pushes(0, x, level)
    assert abs(np.trapezoid(force, x) - 1.0) < 1e-3 and spent[0] == 0.0 and spent[-1] == 1.0
    # one knot bends the thrust there and no further than to the next
    bent = level | {"push_0_3": np.full(len(x), BENDS[3])}
    ratio = model.pushes(0, x, bent)[1][1:-1] / force[1:-1]
    inside = (x[1:-1] > KNOTS[2]) & (x[1:-1] < KNOTS[4])
    assert np.allclose(ratio[~inside], 1.0) and abs(ratio.max() - math.exp(BENDS[3])) < 1e-3


def short_flight():
    """A drawn case, with pressure and force of a body that stands there."""
    case, tracks = flown("straight", 3)
    empty = dict(body=0, t_sd_s=0.005, fix=None, velocity=None, tilt_rad=None, boot=0, own_height_m=None, own_climb_mps=None)
    samples = [empty | dict(t_s=t, t_receive_s=t, pressure_pa=90000.0, axial_mps2=9.8) for t in np.arange(-1.0, 2.5, 0.25).tolist()]
    return case, tracks, samples, 0.0
