"""Whole flights: repeatable, and what they claim of themselves holds."""
import json
import math

import numpy as np
import pytest

from sim.classes import CLASSES
from sim.make import flown, geodetic, make

QUICK = ["small", "straight", "leaning", "arcing", "reboot", "chute_failure", "lossy", "gnss_only"]


@pytest.fixture(scope="module", params=QUICK)
def folder(request, tmp_path_factory):
    out = tmp_path_factory.mktemp("flights")
    make(request.param, 5, out)
    return out / f"{request.param}-0005"


def test_events_come_in_order_and_apogee_is_the_top(folder):
    truth = json.loads((folder / "truth.json").read_text())
    body = truth["bodies"][0]
    ev, st = body["events"], body["state"]
    assert ev["liftoff"] < ev["rail_exit"] < ev["burnout"] < ev["apogee"] < ev["landing"]
    assert body["apogee"]["height_m"] == pytest.approx(max(st["height_m"]), abs=0.1)
    assert body["apogee"]["utc"] == pytest.approx(truth["utc_epoch_s"] + body["apogee"]["t_s"], abs=1e-3)
    # the recorded climb is the slope of the recorded height
    h, v = np.array(st["height_m"]), np.array(st["climb_mps"])
    inner = slice(10, int((ev["apogee"] - st["t_s"][0]) * 10) - 5)
    assert np.max(np.abs(np.gradient(h, 0.1)[inner] - v[inner])) < 3.0
    if not any(c["failed"] for c in body["cues"]):
        assert 2.0 < body["landing"]["descent_mps"] < 12.0


def test_samples_come_in_order_of_receipt_after_being_measured(folder):
    samples = [json.loads(x) for x in (folder / "samples.jsonl").read_text().splitlines()]
    received = [s["t_receive_s"] for s in samples if "report" not in s]
    assert received == sorted(received)
    assert all(s["t_receive_s"] > s["t_s"] - 0.02 for s in samples if "report" not in s)
    recording = [json.loads(x)["t_receive"] for x in (folder / "recording.jsonl").read_text().splitlines()]
    assert recording == sorted(recording)


def test_pressure_tells_the_height(folder):
    truth = json.loads((folder / "truth.json").read_text())
    plan = json.loads((folder / "plan.json").read_text())
    st = truth["bodies"][0]["state"]
    samples = [json.loads(x) for x in (folder / "samples.jsonl").read_text().splitlines()]
    pad = [s["pressure_pa"] for s in samples if s.get("body") == 0 and s["pressure_pa"] and s["t_s"] < truth["liftoff_t_s"] - 1]
    if not pad:
        assert "gnss" in folder.name
        return
    apogee = truth["bodies"][0]["apogee"]
    near = [s["pressure_pa"] for s in samples if s.get("body") == 0 and s["pressure_pa"] and abs(s["t_s"] - apogee["t_s"]) < 1.0]
    if not near:
        return
    # hypsometric with the mean of pad and apogee temperatures at the standard lapse: within 4 %
    temp = plan["weather"]["temperature_k"] - 0.00325 * apogee["height_m"]
    h = 287.05287 * temp / 9.80665 * math.log(np.median(pad) / min(near))
    assert h == pytest.approx(apogee["height_m"], rel=0.04, abs=6.0)
    assert len(st["t_s"]) == len(st["height_m"])


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    make("small", 9, tmp_path / "a")
    make("small", 9, tmp_path / "b")
    for name in ("recording.jsonl", "samples.jsonl", "truth.json", "setup.toml", "plan.json"):
        assert (tmp_path / "a/small-0009" / name).read_bytes() == (tmp_path / "b/small-0009" / name).read_bytes()


def test_lossy_flights_lose_about_half():
    case, _ = flown("lossy", 3)
    assert 0.4 < case.radio["loss"] < 0.7 and "lossy" in CLASSES


def test_geodetic_agrees_with_the_meridian_arc():
    # one minute of latitude at 45 degrees is 1852.2 m long (WGS84, Karney 2013 by way of the meridian arc's series)
    lat, lon, h = geodetic(math.radians(45) - math.radians(0.5 / 60), 0.0, 0.0, 0.0, 1852.2, 7.0)
    assert math.degrees(lat) == pytest.approx(45 + 0.5 / 60, abs=1e-6) and lon == 0.0 and h == 7.0


def test_a_drivers_timer_holds_nothing_back(tmp_path):
    # four transmitters at 20 Hz through one driver: the newest packet is never older than delay, jitter, timer and a stall
    for seed in (1, 3):
        make("leaning", seed, tmp_path)
        rows = [json.loads(x) for x in (tmp_path / f"leaning-{seed:04d}/samples.jsonl").read_text().splitlines()]
        age = np.array([s["t_receive_s"] - s["t_s"] for s in rows if "report" not in s and s["t_sd_s"] < 0.02])
        assert np.median(age) < 0.15 and np.median(age[-100:]) < 0.15
