"""What is told, written as a setup file (TOML) and as the resolved plan in SI (JSON)."""
import json
import math


def toml_value(v):
    if isinstance(v, bool):
        return "true" if v else "false"
    if isinstance(v, str):
        return json.dumps(v)
    if isinstance(v, (int,)):
        return str(v)
    if isinstance(v, float):
        # Scales such as 1e-7 keep their digits; lengths and angles need no more than six places.
        return repr(round(v, 6)) if 1e-3 <= abs(v) < 1e6 else repr(float(f"{v:.9g}"))
    if isinstance(v, (list, tuple)):
        return "[" + ", ".join(toml_value(x) for x in v) + "]"
    if isinstance(v, dict):
        return "{ " + ", ".join(f"{k} = {toml_value(x)}" for k, x in v.items()) + " }"
    raise TypeError(type(v))


def table(lines, name, d, array=False):
    """Appends one table; nested dicts and lists of dicts become tables of their own."""
    lines.append("")
    lines.append(f"[[{name}]]" if array else f"[{name}]")
    nested = []
    for k, v in d.items():
        if isinstance(v, dict):
            nested.append((k, v, False))
        elif isinstance(v, list) and v and isinstance(v[0], dict) and k != "bits":
            nested.extend((k, x, True) for x in v)
        elif v is not None and not (isinstance(v, list) and not v):
            lines.append(f"{k} = {toml_value(v)}")
    for k, v, arr in nested:
        table(lines, f"{name}.{k}", v, arr)


def setup_toml(told, links, layouts, header=""):
    """The setup file as a crew would write it."""
    lines = [line for line in header.splitlines()]
    lines.append("setup_version = 1")
    for key in ("site", "weather", "vehicle"):
        table(lines, key, told[key])
    motor = {k: v for k, v in told["motor"].items() if k != "curve"}
    if "curve" in told["motor"]:
        motor["thrust_curve"] = "motor.csv"
    table(lines, "motor", motor)
    for m in told["upper_motor"]:
        table(lines, "upper_motor", m, True)
    for b in told["body"]:
        table(lines, "body", b, True)
    for c in told["cue"]:
        table(lines, "cue", c, True)
    for name in dict.fromkeys(link["receiver"] for link in links):
        table(lines, "receiver", dict(name=name), True)
    for link in links:
        table(lines, "link", link, True)
    for lay in layouts:
        table(lines, "layout", lay, True)
    return "\n".join(lines) + "\n"


def scaled_curve(motor):
    """The told curve in newtons, its area equal to the told impulse."""
    c = motor["curve"]
    area = sum(0.5 * (c[i][1] + c[i + 1][1]) * (c[i + 1][0] - c[i][0]) for i in range(len(c) - 1))
    return [(t, f * motor["total_impulse_ns"] / area) for t, f in c]


def told_of(value, sd):
    return dict(value=value, sd=sd)


def filled(told):
    """What the README's tables say is taken for what nobody told, and the spreads that only a plan has."""
    elev, v, m = told["site"]["elevation_m"], told["vehicle"], told["motor"]
    weather = dict(station_pressure_hpa=1013.25 * (1 - 2.25577e-5 * elev) ** 5.25588, temperature_c=15.0 - 0.0065 * elev, wind_mps=0.0,
                   wind_spread_mps=4.0, wind_from_deg=0.0, wind_height_m=10.0) | told["weather"]
    weather["temperature_sd_k"] = 0.0 if "temperature_c" in told["weather"] else 12.0
    vehicle = dict(drag_coefficient=0.55, drag_spread_percent=25.0, liftoff_mass_spread_percent=3.0, rail_guided_length_m=2.0,
                   rail_tilt_from_vertical_deg=2.0, lean_spread_deg=6.0) | v
    burn = dict(burn_time_s=m["total_impulse_ns"] / (7.0 * v["liftoff_mass_kg"] * 9.81),
                propellant_mass_kg=m["total_impulse_ns"] / (200.0 * 9.81), impulse_spread_percent=7.0) | m
    burn["burn_time_ln_sd"] = 0.0 if "burn_time_s" in m else 0.4
    return told | dict(weather=weather, vehicle=vehicle, motor=burn)


def plan_json(told):
    """The plan as the program should resolve that setup: SI, indices instead of names."""
    rad = math.radians
    told = filled(told)
    site, w, v, m = told["site"], told["weather"], told["vehicle"], told["motor"]
    cue_no = {c["name"]: i for i, c in enumerate(told["cue"])}
    body_no = {b["name"]: i for i, b in enumerate(told["body"])}
    cd = told_of(v["drag_coefficient"], v["drag_coefficient"] * v["drag_spread_percent"] / 100)
    imp_sd = m["impulse_spread_percent"] / 100
    motors = [dict(impulse_ns=told_of(m["total_impulse_ns"], m["total_impulse_ns"] * imp_sd),
                   burn_time_s=m["burn_time_s"], burn_time_ln_sd=m["burn_time_ln_sd"], propellant_mass_kg=m["propellant_mass_kg"],
                   curve=[list(x) for x in scaled_curve(m)] if "curve" in m else [], ignition_after_burnout_s=told_of(0.0, 0.0), dropped_mass_kg=0.0,
                   drag_coefficient=cd, diameter_m=v["diameter_m"])]
    for x in told["upper_motor"]:
        motors.append(dict(impulse_ns=told_of(x["total_impulse_ns"], x["total_impulse_ns"] * 0.07),
                           burn_time_s=x["burn_time_s"], propellant_mass_kg=x["propellant_mass_kg"], curve=[],
                           ignition_after_burnout_s=told_of(x["ignition_after_burnout_s"], x["ignition_spread_s"]),
                           dropped_mass_kg=x["dropped_mass_kg"],
                           drag_coefficient=told_of(x["drag_coefficient"], x["drag_coefficient"] * v["drag_spread_percent"] / 100),
                           diameter_m=x["diameter_m"]))
    triggers = {"climb rate below": "climb_rate_below", "before apogee": "before_apogee", "after apogee": "after_apogee",
                "height below": "height_below", "after liftoff": "after_liftoff", "after burnout": "after_burnout"}
    cues = []
    for c in told["cue"]:
        if c["when"] == "after cue":
            trigger = {"after_cue": [cue_no[c["of"]], c["value"]]}
        else:
            trigger = {triggers[c["when"]]: c["value"]}
        limit = None
        if "limit_airspeed_mps" in c:
            limit = {"of": "airspeed", "value": c["limit_airspeed_mps"], "from": c["limit_from"]}
        cues.append(dict(name=c["name"], kind=c["kind"], body=body_no[c["body"]], trigger=trigger,
                         delay_s=told_of(c["delay_s"], c["spread_s"]), limit=limit, mass_kg=c["mass_kg"]))
    bodies = []
    for b in told["body"]:
        parent = b.get("parent")
        bodies.append(dict(
            name=b["name"], parent=None if parent is None else body_no[parent],
            freed_by=None if parent is None else cue_no[b["freed_by"]], has_transmitter="transmitter" in b,
            mass_kg=told_of(b["mass_kg"], b["mass_kg"] * 0.03),
            bare_drag_area_m2=told_of(b["drag_area_m2"], b["drag_area_m2"] * 0.30),
            descents=[dict(state=d["state"], cue=cue_no[d["cue"]],
                           drag_area_m2=told_of(d["drag_area_m2"], d["drag_area_m2"] * d["spread_percent"] / 100))
                      for d in b["descent"]]))
    azimuth = v.get("rail_azimuth_deg")
    return dict(
        site=dict(latitude_rad=rad(site["latitude_deg"]), longitude_rad=rad(site["longitude_deg"]),
                  elevation_m=site["elevation_m"], geoid_m=site["geoid_above_ellipsoid_m"]),
        weather=dict(pressure_pa=w["station_pressure_hpa"] * 100, temperature_k=w["temperature_c"] + 273.15, temperature_sd_k=w["temperature_sd_k"],
                     wind_mps=told_of(w["wind_mps"], w["wind_spread_mps"]), wind_from_rad=rad(w["wind_from_deg"]),
                     wind_height_m=w["wind_height_m"]),
        vehicle=dict(liftoff_mass_kg=told_of(v["liftoff_mass_kg"], v["liftoff_mass_kg"] * v["liftoff_mass_spread_percent"] / 100),
                     diameter_m=v["diameter_m"], drag_coefficient=cd, rail_length_m=v["rail_guided_length_m"],
                     rail_tilt_rad=rad(v["rail_tilt_from_vertical_deg"]),
                     rail_azimuth_rad=None if azimuth is None else rad(azimuth), lean_sd_rad=rad(v["lean_spread_deg"])),
        motors=motors, bodies=bodies, cues=cues)
