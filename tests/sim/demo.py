"""The demo flights: Tall Order, made to its hand-written setup, and three flights of the classes.

Tall Order's true figures are explicit here, so that the flight is the one that the pages are drawn with: a heavy
vehicle that leans hard and lets go of its cameras into more air than they can stand.
"""
import json
import math
import tomllib
from pathlib import Path

import numpy as np

from . import vehicle as vh
from .air import Air, normal_gravity
from .classes import Case
from .declared import Declared
from .flight import fly
from .make import flown, settle, transmit, truth_of, write
from .wind import Wind

ROOT = Path(__file__).resolve().parents[2] / "demo-data"
LIFTOFF_UTC = 1781298445.6  # 2026-06-12 21:07:25.6 UTC, 14:07:25.6 at the pad

# found by matching the wanted flight: impulse (N s), drag, lopsided load (mm), its direction, tip-off (rad/s)
TRUE = dict(impulse=4541.0, cd=1.005, offset_m=0.0240, phase=1.067, tip=0.0591, margin=0.177, wind=3.8)
SIZE = dict(diameter=0.24, length=3.4)


def tall_order_case(told, true=TRUE, seed=412):
    """Tall Order as it really flew."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([7000, seed])))
    lat, lon = math.radians(told["site"]["latitude_deg"]), math.radians(told["site"]["longitude_deg"])
    g = normal_gravity(lat, told["site"]["elevation_m"])
    air = Air(told["site"]["elevation_m"], 87635.0, lambda h: 297.8 - 0.0082 * h if h < 1500 else 285.5 - 0.0064 * (h - 1500), g)
    wind = Wind(rng, true["wind"], math.radians(256.0), 0.8)
    knots = [(0, 0), (0.02, 1.25), (0.1, 1.12), (0.5, 1.08), (0.9, 0.85), (0.97, 0.3), (1, 0)]
    thrust = vh.thrust_of(knots, 2.42, true["impulse"])
    drag = vh.Drag(true["cd"], friction_slope=0.06, power_on=0.9)
    stage = vh.Stage(thrust, 2.24, drag, SIZE["diameter"], SIZE["length"], true["margin"], 9.0, true["offset_m"])
    pieces, cues = [], []
    names = {c["name"]: i for i, c in enumerate(told["cue"])}
    bodies = {b["name"]: i for i, b in enumerate(told["body"])}
    delays = {"Cam A out": 0.14, "Cam B out": 0.07, "Cam C out": 0.12, "drogue out": 0.21, "main out": 0.3,
              "Cam A chute": 0.1, "Cam B chute": 0.05, "Cam C chute": 0.2}
    for c in told["cue"]:
        trigger = (c["when"], c["value"]) + ((names[c["of"]],) if "of" in c else ())
        cues.append(vh.Cue(c["name"], c["kind"], bodies[c["body"]], trigger, c.get("delay_s", 0.0), c.get("spread_s", 0.2), delays[c["name"]]))
    rho0 = air.at(0.0)[2]
    factor = {"Body": 1.04, "Cam A": 0.95, "Cam B": 1.03, "Cam C": 0.9}
    for b in told["body"]:
        ds = []
        for d in b["descent"]:
            area = d.get("drag_area_m2") or 2 * b["mass_kg"] * g / (rho0 * d["rate_mps"] ** 2)
            ds.append((d["state"], names[d["cue"]], area * factor[b["name"]]))
        parent = bodies[b["parent"]] if "parent" in b else None
        kick = {"Cam A": (1.2, 0.4, 1.0), "Cam B": (-0.8, 1.0, 1.4), "Cam C": (0.3, -1.3, 1.2)}.get(b["name"], (0, 0, 0))
        pieces.append(vh.Piece(b["name"], b["mass_kg"], b["drag_area_m2"] * (3.0 if parent is None else 1.2), parent,
                               names[b["freed_by"]] if "freed_by" in b else None, b["transmitter"], kick, ds))
    vehicle = vh.Vehicle("Tall Order", 34.6, [stage], pieces, cues, 3.5, math.radians(3.2), math.radians(24.0),
                         (true["tip"], 0.0), 0.03, true["phase"], 0.26)
    has = dict(pressure=True, axial=True, lateral=True, gnss=True, velocity=True, tilt=False, own=False)
    sensors = dict(has=has, rate_hz=20.0, baro=dict(noise=3.0, lag=0.04, step=1.0, bias=-40.0, drift=1.5, port=0.006, transonic=0.0, spike=1500.0),
                   accel=dict(noise=0.25, bias=0.15, scale=0.004, misalign=0.004, full_scale=235.0, step=0.01),
                   gnss=dict(rate=5.0, sigma=1.6, white=0.3, lag=0.22, velocity=0.12, loses_at=40.0, habit="coast", recover=1.2, limit_m=5e4),
                   tilt={}, own={})
    dim = {("Mast", 0): 0, ("Mast", 1): 5, ("Mast", 2): 7, ("Mast", 3): 14, ("Truck", 0): 3, ("Truck", 1): 8, ("Truck", 2): 10, ("Truck", 3): 15}
    losses = {("Mast", 0): 0.02, ("Mast", 1): 0.04, ("Mast", 2): 0.06, ("Mast", 3): 0.12,
              ("Truck", 0): 0.08, ("Truck", 1): 0.14, ("Truck", 2): 0.18, ("Truck", 3): 0.26}
    radio = dict(framing="cobs", crc="CRC-16/IBM-3740", big_endian=True, split=False, repeat_fix=True, clock_bits=32, ppm=18.0,
                 clock_start=1_204_000, loss=0.05, loss_table=losses, burst=2.5, receivers=2, fade=False, delay=0.02, jitter=0.004,
                 bunch=0.025, flips=0.002, garbage=0.004, reboot=False, rssi=True, has_seq=True, has_clock=True, dim=dim, flags=False,
                 says=dict(liftoff=0.2, burnout=0.2, apogee=0.3, landing=2.0),
                 receiver_names=["Mast", "Truck"])
    return Case("tall_order", seed, told, vehicle, air, wind, lat, lon, rng, sensors, radio, pad_s=25.0, after_s=20.0,
                liftoff_utc=LIFTOFF_UTC, true=dict(true, thrust_kind="spike", liftoff_mass_kg=34.6))


def tall_order(folder=ROOT / "tall-order"):
    """Writes recording and truth beside the hand-written setup."""
    told = tomllib.loads((folder / "setup.toml").read_text())
    case = tall_order_case(told)
    tracks = fly(case.vehicle, case.air, case.wind, case.latitude_rad, case.rng)
    layouts = {lay["name"]: Declared(lay) for lay in told["layout"]}
    per_body = [[layouts["body packet"]]] + [[layouts["camera packet"]]] * 3
    pieces, heard, _, _, _ = transmit(case, tracks, per_body)
    names = [link["name"] for link in told["link"]]
    recording, _, epoch, shift = settle(case, [(t, names[i], d) for t, i, d in pieces], heard)
    save(folder, recording, truth_of(case, tracks, shift, epoch))


def save(folder, recording, truth):
    """Recording and a small truth (state twice a second)."""
    dump = lambda o: json.dumps(o, separators=(",", ":"))
    (folder / "flight.jsonl").write_text("".join(dump(x) + "\n" for x in recording))
    for b in truth["bodies"]:
        b["state"] = {k: v[::5] for k, v in b["state"].items()}
    (folder / "truth.json").write_text(dump(truth) + "\n")


# class, seed, folder, vehicle's name
OTHERS = [("straight", 20, "straight", "Plain Kite"), ("transonic", 12, "transonic", "Thin Lizard"),
          ("two_stage", 10, "two-stage", "Second Wind")]


def other(cls, seed, folder, name):
    """A class flight under a proper name, with a short wait on the pad."""
    case, tracks = flown(cls, seed)
    case.told["vehicle"]["name"] = name
    case.told["site"]["name"] = "Dry Lake South pad"
    case.pad_s, case.after_s = 25.0, 20.0
    case.radio.update(garbage=0.002)
    truth, _ = write(case, tracks, ROOT / folder, "flight.jsonl", with_samples=False,
                     header=f"# {name}: an invented flight of the class \"{cls.replace('_', ' ')}\", written by the simulator in tests/sim.\n")
    (ROOT / folder / "plan.json").unlink()
    for b in truth["bodies"]:
        b["state"] = {k: v[::5] for k, v in b["state"].items()}
    (ROOT / folder / "truth.json").write_text(json.dumps(truth, separators=(",", ":")) + "\n")
    return truth


def all_demos():
    """Everything under demo-data."""
    tall_order()
    for args in OTHERS:
        other(*args)
