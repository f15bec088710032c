"""A flight of ten minutes: Tall Order with four times its impulse, and parachutes for a slow way down, four bodies that send twenty
times a second until they are on the ground. As much as a long flight leaves to be stored, opened and played again.

    python -m sim.long FOLDER
"""
import re
import sys
import tomllib
from pathlib import Path

from .declared import Declared
from .demo import ROOT, TRUE, save, tall_order_case
from .flight import fly
from .make import settle, transmit, truth_of


def main(folder):
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    text = (ROOT / "tall-order" / "setup.toml").read_text()
    text = text.replace("drag_area_m2 = 2.2", "drag_area_m2 = 44.0").replace("drag_area_m2 = 16.0", "drag_area_m2 = 60.0")
    text = text.replace("propellant_mass_kg = 2.2", "propellant_mass_kg = 6.1").replace("mass_kg = 24.0", "mass_kg = 20.0")
    text = text.replace("total_impulse_ns = 4350.0", "total_impulse_ns = 17500.0")
    text = re.sub(r"rate_mps = 6\.0", "rate_mps = 3.2", text).replace('name = "Tall Order"', 'name = "Long Way Down"')
    (folder / "setup.toml").write_text(text)
    told = tomllib.loads(text)
    case = tall_order_case(told, dict(TRUE, impulse=18000.0))
    tracks = fly(case.vehicle, case.air, case.wind, case.latitude_rad, case.rng)
    layouts = {lay["name"]: Declared(lay) for lay in told["layout"]}
    pieces, heard, _, _, _ = transmit(case, tracks, [[layouts["body packet"]]] + [[layouts["camera packet"]]] * 3)
    names = [link["name"] for link in told["link"]]
    recording, _, epoch, shift = settle(case, [(t, names[i], d) for t, i, d in pieces], heard)
    save(folder, recording, truth_of(case, tracks, shift, epoch))
    print(f"{recording[-1]['t_receive'] - recording[0]['t_receive']:.0f} s, {len(recording)} pieces of bytes")


if __name__ == "__main__":
    main(sys.argv[1])
