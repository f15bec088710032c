"""Which missing knowledge costs what: the same draws, flown again with one thing exactly as told.

The offline fit knows the air, the wind and the drag curve; no live system can. Here the world is made to agree with what is
told instead, one thing at a time, and the program is scored as always. What a row gains is what not knowing it costs.
"""
import numpy as np

from .air import told_air
from .make import flown, write
from .score import OUT, score
from .wind import Wind

CLASSES = ["straight", "leaning", "transonic", "two_stage", "no_gnss", "full"]


def air(case):
    """The air as told, which has the true temperature and pressure on the ground."""
    site, weather = case.told["site"], case.told["weather"]
    ground, pressure = case.air.at(0.0)[1], case.air.at(0.0)[0]
    weather["temperature_c"], weather["station_pressure_hpa"] = ground - 273.15, pressure / 100
    case.air = told_air(site["elevation_m"], pressure, ground, case.latitude_rad)


def calm(case):
    """No wind at all, and none told."""
    case.wind = Wind(np.random.default_rng(1), 0.0, 0.0, 0.0)
    case.wind.east = [0.0] * len(case.wind.east)
    case.wind.north = [0.0] * len(case.wind.north)
    case.told["weather"].update(wind_mps=0.0, wind_spread_mps=0.3)


def figures(case):
    """Mass, impulse, burn and drag at low speed as told; their shapes stay drawn."""
    told, true = case.told, case.vehicle
    told["vehicle"]["liftoff_mass_kg"] = case.true["liftoff_mass_kg"]
    told["vehicle"]["drag_coefficient"] = true.stages[0].drag.cd
    told["motor"].update(total_impulse_ns=true.stages[0].thrust.impulse, burn_time_s=true.stages[0].thrust.end)
    for upper, stage in zip(told["upper_motor"], true.stages[1:]):
        upper.update(total_impulse_ns=stage.thrust.impulse, burn_time_s=stage.thrust.end, drag_coefficient=stage.drag.cd)


def ports(case):
    """A barometer that feels the still air's pressure alone, at any speed."""
    case.sensors["baro"].update(port=0.0, transonic=0.0)


def flat(case):
    """Drag with the coefficient the same at every speed up to Mach 0.9, the same with power on."""
    for stage in case.vehicle.stages:
        stage.drag.friction_slope, stage.drag.power_on = 0.0, 1.0


WORLDS = {"as drawn": (), "air as told": (air,), "no wind": (calm,), "mass, impulse, drag as told": (figures,), "quiet ports": (ports,),
          "flat drag curve": (flat,), "all of these": (air, calm, figures, ports, flat)}


def compare(binary, classes, count, samples=False):
    """{world: figures of each flight}"""
    rows = {}
    for name, changes in WORLDS.items():
        base = OUT / "knows" / name.replace(" ", "-").replace(",", "")

        def folder_of(cls, seed):
            def change(case):
                for one in changes:
                    one(case)
            folder = base / f"{cls}-{seed:04d}"
            write(*flown(cls, seed, change), folder)
            return folder

        rows[name] = score(binary, classes, 1, count, samples, 2, OUT / "said-knows", folder_of=folder_of)
    return rows


def report(rows):
    """A Markdown table by world and moment."""
    text = ["| world | flights | after burnout: height %, median / p90 | in 90 % | air m/s | half of coast: height %, median / p90 | in 90 % | "
            "air m/s | 1 s before: height %, median / p90 | in 90 % |", "|---" * 10 + "|"]
    for name, world in rows.items():
        cells = [name, str(sum("failed" not in r for r in world))]
        for moment in ("after", "half", "near"):
            said = [r[moment] for r in world if r.get(moment)]
            off = np.abs([x["h_err"] for x in said])
            cells += [f"{np.median(off):.2f} / {np.quantile(off, 0.9):.2f}", f"{100 * np.mean([x['h_in90'] for x in said]):.0f}"]
            if moment != "near":
                air_off = np.abs([x["v_err"] for x in said if "v_err" in x])
                cells.append(f"{np.median(air_off):.2f} / {np.quantile(air_off, 0.9):.2f}")
        text.append("| " + " | ".join(cells) + " |")
    return "\n".join(text)
