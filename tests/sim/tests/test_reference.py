"""The reference fit and the scorer on data whose answer is known."""
import math

import numpy as np
import pytest

from sim.lines import Said, quantiles
from sim.make import flown
from sim.reference import lagged
from sim.refmodel import Model
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
