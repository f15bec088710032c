"""The classes of flights and how one flight of a class is drawn: what is told and what is true.

Sizes aim at a nominal apogee: the impulse is found by a plain vertical sum, then everything true is drawn
about the told figures (impulse 7 %, mass 3 %, drag 25 %) with its own thrust and drag shape.
"""
import math
from dataclasses import dataclass, field

import numpy as np

from . import vehicle as vh
from .air import drawn_air, normal_gravity, standard_temperature_k
from .wind import Wind

CLASSES = ["small", "straight", "leaning", "arcing", "transonic", "high", "two_stage", "pressure_only", "gnss_only",
           "no_gnss", "full", "lossy", "told_wrong", "reboot", "chute_failure", "untold", "opens_early"]
# what a flight must have done to belong to its class: apogee height (m) and greatest Mach number
BOUNDS = {"small": ((80.0, 360.0), (0.0, 0.9)), "transonic": ((800.0, 7000.0), (1.0, 1.45)),
          "high": ((9000.0, 32000.0), (1.0, 4.5)), "two_stage": ((300.0, 12000.0), (0.0, 3.0))}
# what "straight" means: the greatest airspeed at apogee, m/s
STRAIGHT_AIRSPEED_MPS = 22.0


@dataclass
class Case:
    """One drawn flight: told figures (as in a setup file), truth, and how it is measured and heard."""

    cls: str
    seed: int
    told: dict
    vehicle: vh.Vehicle
    air: object
    wind: object
    latitude_rad: float
    longitude_rad: float
    rng: object
    sensors: dict
    radio: dict
    pad_s: float = 20.0
    after_s: float = 20.0
    liftoff_utc: float = 0.0
    true: dict = field(default_factory=dict)


def rng_of(cls, seed, attempt=0):
    """The flight's generator: PCG64 of (class number, seed, attempt)."""
    number = CLASSES.index(cls) if cls in CLASSES else 1000 + sum(map(ord, cls))
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([number, seed, attempt])))


def vertical_sum(impulse, burn_s, mass, propellant, diameter, cd, rho0):
    """Apogee height and greatest speed of a plain vertical flight, Euler at 20 ms."""
    h = v = t = vmax = 0.0
    area = math.pi * diameter ** 2 / 4
    while True:
        thrust = impulse / burn_s if t < burn_s else 0.0
        m = mass - propellant * min(t / burn_s, 1.0)
        rho = rho0 * math.exp(-h / 8500.0)
        mach = v / 335.0
        c = cd * (1.0 + 0.6 / (1 + math.exp(-(mach - 0.98) / 0.04)))
        a = (thrust - 0.5 * rho * c * area * v * abs(v)) / m - 9.81
        v += a * 0.02
        h += v * 0.02
        t += 0.02
        vmax = max(vmax, v)
        if v <= 0 and t > 0.2 * burn_s or t > 300:
            return h, vmax


def impulse_for(target, dry, thrust_to_weight, isp, diameter, cd, rho0):
    """(impulse, burn time, propellant) that reach a target apogee, by bisection."""
    lo, hi = dry * 5.0, dry * 4000.0
    for _ in range(34):
        mid = math.sqrt(lo * hi)
        prop = mid / (9.81 * isp)
        burn = mid / (9.81 * (dry + prop) * thrust_to_weight)
        h, _ = vertical_sum(mid, burn, dry + prop, prop, diameter, cd, rho0)
        if h < target:
            lo = mid
        else:
            hi = mid
    return mid, burn, prop


def draw(cls, seed, attempt=0):
    """Draws one flight of a class."""
    rng = rng_of(cls, seed, attempt)
    u, n = rng.uniform, rng.normal
    pick = lambda *a: a[int(rng.integers(len(a)))]
    lat, lon = math.radians(u(-45.0, 60.0)), math.radians(u(-170.0, 170.0))
    elev = float(u(0.0, 1800.0))
    g = normal_gravity(lat, elev)
    p_std = 101325.0 * (1 - 2.25577e-5 * elev) ** 5.25588
    p0 = p_std + n(0.0, 600.0)
    air = drawn_air(rng, elev, g, n(0.0, 9.0), p0)
    rho0 = air.at(0.0)[2]
    w10 = float(min(abs(n(4.5, 2.5)), 10.0))
    wind_from = u(0.0, 2 * math.pi)
    wind = Wind(rng, w10, wind_from, u(0.6, 1.3))

    # size
    s = dict(target=u(300, 1500), dry=u(2, 12), d=u(0.075, 0.15), cd=u(0.4, 0.7), tw=u(6, 12), isp=u(180, 215))
    tilt, offset, margin_cal = abs(n(0.0, 1.5)), abs(n(0.0, 0.4)), u(1.3, 2.5)
    tip = 0.06
    if cls == "small":
        s.update(target=u(100, 300), dry=u(0.25, 1.2), d=u(0.038, 0.075), cd=u(0.45, 0.8), tw=u(8, 16), isp=u(80, 190))
    elif cls == "leaning":
        s.update(target=u(420, 750), dry=u(18, 45), d=u(0.2, 0.3), cd=u(0.5, 0.8), tw=u(4.6, 6.0))
        tilt, offset, margin_cal, tip = u(1, 5), u(3.0, 11.0), u(0.8, 1.6), 0.12
    elif cls == "arcing":
        s.update(target=u(500, 2000), tw=u(4, 8))
        tilt, offset, margin_cal, tip = u(4, 14), u(0.5, 3.0), u(1.5, 4.5), 0.15
        if w10 < 5:
            wind = Wind(rng, u(5, 10), wind_from, u(0.8, 1.4))
    elif cls == "transonic":
        s.update(target=u(2300, 4200), dry=u(2, 14), d=u(0.054, 0.1), cd=u(0.35, 0.6), tw=u(11, 20))
    elif cls == "high":
        s.update(target=math.exp(u(math.log(10000), math.log(30000))), dry=u(15, 45), d=u(0.11, 0.2),
                 cd=u(0.35, 0.5), tw=u(7, 13), isp=u(195, 230))
        tilt = u(1.0, 5.0)
    elif cls == "two_stage":
        s.update(target=u(700, 2200), dry=u(6, 18), d=u(0.1, 0.15), tw=u(7, 11))
    elif cls in ("pressure_only", "gnss_only", "no_gnss", "full", "lossy", "told_wrong", "reboot", "chute_failure", "untold"):
        s.update(target=math.exp(u(math.log(300), math.log(3000))), dry=u(1.5, 20), d=u(0.06, 0.16))
        if rng.random() < 0.35:
            tilt, offset, margin_cal, tip = u(3, 10), u(0.5, 3.0), u(0.9, 2.5), 0.12
    elif cls == "opens_early":
        s.update(target=math.exp(u(math.log(300), math.log(2500))), dry=u(2, 40), d=u(0.08, 0.3), tw=u(4.6, 9))
        if rng.random() < 0.6:
            tilt, offset, margin_cal, tip = u(3, 10), u(0.5, 3.0), u(0.9, 2.5), 0.12
    impulse, burn, prop = impulse_for(s["target"], s["dry"], s["tw"], s["isp"], s["d"], s["cd"], rho0)
    if cls == "transonic":
        # the class is defined by its speed: draw the impulse down or up until it is there
        for _ in range(30):
            vmax = vertical_sum(impulse, burn, s["dry"] + prop, prop, s["d"], s["cd"], rho0)[1]
            if vmax < 1.02 * 330:
                # a shorter burn first, as long as the airframe would stand it
                brisk = impulse / burn < 24.0 * 9.81 * (s["dry"] + prop)
                burn, impulse, prop = burn * (0.93 if brisk else 1.03), impulse * 1.03, prop * 1.03
            elif vmax > 1.36 * 330:
                impulse, prop = impulse * 0.95, prop * 0.95
            else:
                break
    length = s["d"] * u(12, 20)
    liftoff_mass = s["dry"] + prop
    k = 2.0 if cls == "told_wrong" else None
    err = lambda sd: 1.0 + sd * (pick(-2.0, 2.0) if k else float(np.clip(n(), -3, 3)))
    logerr = lambda sd: math.exp(sd * (pick(-2.0, 2.0) if k else float(np.clip(n(), -2.5, 2.5))))

    def true_stage(imp, burn_s, pr, dia, cd, length_):
        kind, knots = vh.drawn_thrust_shape(rng)
        thrust = vh.thrust_of(knots, burn_s * (1 + 0.04 * n()), imp * err(0.07))
        drag = vh.Drag(cd / logerr(0.25), middle_mach=u(0.93, 1.02), width_mach=u(0.03, 0.09), peak_ratio=u(1.4, 2.3),
                       decay=u(0.3, 1.0), friction_slope=u(0.0, 0.12), power_on=u(0.84, 1.0))
        cal = margin_cal
        return vh.Stage(thrust, pr * (1 + 0.02 * n()), drag, dia, length_, cal * dia, u(8.0, 14.0), offset * 1e-3 *
                        dia / 0.1), kind, knots

    true0, kind, knots = true_stage(impulse, burn, prop, s["d"], s["cd"], length)
    stages = [true0]
    told_upper = []
    upper_dry = 0.0
    if cls == "two_stage":
        d2, up_dry, up_cd = s["d"] * u(0.5, 0.75), s["dry"] * u(0.3, 0.45), u(0.38, 0.55)
        i2, b2, p2 = impulse_for(u(1500, 4500), up_dry, u(8, 14), s["isp"], d2, up_cd, rho0)
        dropped = s["dry"] - up_dry - p2
        if dropped < 0.15 * s["dry"]:
            up_dry = 0.85 * s["dry"] - p2
            dropped = 0.15 * s["dry"]
            if up_dry < 0.1 * s["dry"]:
                p2 *= 0.4
                i2 *= 0.4
                b2 *= 0.6
                up_dry = 0.85 * s["dry"] - p2
        delay = u(0.5, 5.0)
        st2, _, _ = true_stage(i2, b2, p2, d2, up_cd, d2 * u(14, 20))
        st2.ignition_after_burnout = max(delay + n(0.0, 0.2), 0.1)
        st2.dropped = dropped
        st2.margin = true0.margin
        stages.append(st2)
        told_upper = [dict(total_impulse_ns=i2, burn_time_s=b2, propellant_mass_kg=p2, ignition_after_burnout_s=delay,
                           ignition_spread_s=0.3, dropped_mass_kg=dropped, drag_coefficient=up_cd, diameter_m=d2)]
        upper_dry = up_dry
    true_mass = liftoff_mass * err(0.03)
    for st in stages:
        st.propellant = min(st.propellant, 0.8 * true_mass)

    # pieces and cues
    final_dry = upper_dry or s["dry"]
    delta = true_mass - liftoff_mass
    pieces, cues, told_bodies, told_cues = recovery(cls, rng, final_dry, delta, stages[-1].diameter, rho0)
    veh = vh.Vehicle("Flight", true_mass, stages, pieces, cues, rail_length=u(1.2, 2.0) if cls == "small" else u(2.0, 4.0),
                     rail_tilt=math.radians(tilt), rail_azimuth=u(0, 2 * math.pi),
                     tip_off=(n(0, tip), n(0, tip)), roll_rate=n(0, 0.4) if offset > 1.4 else n(0, 6.0),
                     offset_phase=u(0, 6.28), gyration=0.27)
    # what the crew tells
    hh = pick(2.0, 3.0, 10.0)
    we, wn = wind.mean(hh)
    told_wind = max(math.hypot(we, wn) + n(0, 0.2 * math.hypot(we, wn) + 0.5), 0.0)
    told_from = math.atan2(-we, -wn) + n(0, 0.25)
    told = dict(
        site=dict(name="Range", latitude_deg=math.degrees(lat), longitude_deg=math.degrees(lon), elevation_m=elev,
                  geoid_above_ellipsoid_m=float(round(n(0, 25)))),
        weather=dict(station_pressure_hpa=(p0 + n(0, 60)) / 100, temperature_c=air.at(0)[1] - 273.15 + n(0, 0.8),
                     wind_mps=told_wind, wind_from_deg=math.degrees(told_from) % 360, wind_height_m=hh,
                     wind_spread_mps=0.3 * told_wind + 1.0),
        vehicle=dict(name=f"{cls.replace('_', ' ').title()} {seed}", liftoff_mass_kg=liftoff_mass,
                     liftoff_mass_spread_percent=3.0, diameter_m=s["d"], drag_coefficient=s["cd"],
                     drag_spread_percent=25.0, rail_guided_length_m=veh.rail_length,
                     rail_tilt_from_vertical_deg=max(tilt + n(0, 0.5), 0.0),
                     rail_azimuth_deg=math.degrees(veh.rail_azimuth + n(0, 0.1)) % 360,
                     lean_spread_deg=pick(6.0, 8.0, 10.0) if cls not in ("leaning", "arcing") else pick(10.0, 15.0)),
        motor=dict(total_impulse_ns=impulse, impulse_spread_percent=7.0, burn_time_s=burn, propellant_mass_kg=prop),
        upper_motor=told_upper, body=told_bodies, cue=told_cues)
    if rng.random() < 0.4:
        # some crews hand in a curve, of about the right shape
        told["motor"]["curve"] = [(k0 * burn, max(k1 * (1 + 0.08 * n()), 0.0)) for k0, k1 in knots]
    if cls == "untold":
        say_little(told, rng)
    return Case(cls, seed, told, veh, air, wind, lat, lon, rng, sensors_of(cls, rng), radio_of(cls, rng),
                liftoff_utc=1781380000.0 + seed * 137.25 + CLASSES.index(cls) * 86400.0,
                true=dict(thrust_kind=kind, impulse_ns=true0.thrust.impulse, burn_s=true0.thrust.end,
                          liftoff_mass_kg=true_mass, cd=true0.drag.cd, wind_10m_mps=w10, lopsided_mm=offset,
                          margin_calibres=margin_cal))


def recovery(cls, rng, dry, delta, diameter, rho0):
    """True pieces and cues, and what is told of them."""
    u, n = rng.uniform, rng.normal
    area_of = lambda m, rate: 2 * m * 9.81 / (rho0 * rate ** 2)
    spread = lambda: math.exp(0.15 * float(np.clip(n(), -2.5, 2.5)))
    bare = 0.6 * math.pi * diameter ** 2 / 4
    told_bodies, told_cues, pieces, cues = [], [], [], []
    body_mass = dry
    cams = []
    if cls == "leaning":
        cams = [("Cam A", u(1.5, 3.0)), ("Cam B", u(1.5, 3.0)), ("Cam C", u(1.5, 3.0))]
        body_mass = dry - sum(c[1] for c in cams)

    def cue(name, kind, body, when, value, of=None, delay=0.1, spread_s=0.2, limit=None, mass=0.0, fails=False, late=0.0):
        d = dict(name=name, kind=kind, body="Body" if body == 0 else cams[body - 1][0], when=when, value=value,
                 delay_s=delay, spread_s=spread_s)
        trigger = (when, value)
        if of is not None:
            d["of"] = told_cues[of]["name"]
            trigger = (when, value, of)
        if limit:
            d.update(limit_airspeed_mps=limit, limit_from="told by crew")
        d["mass_kg"] = mass
        told_cues.append(d)
        true_trigger = trigger
        if when == "climb rate below":
            true_trigger = (when, value + n(0, 0.7))
        elif when == "height below":
            true_trigger = (when, value + n(0, 4.0))
        cues.append(vh.Cue(name, kind, body, true_trigger, delay, spread_s, max(delay + n(0, spread_s), 0.0), fails, late, limit, mass))
        return len(told_cues) - 1

    fail_drogue = fail_main = False
    late = 0.0
    if cls == "chute_failure":
        what = rng.integers(4)
        fail_drogue, fail_main = what in (0, 1), what in (0, 2)
        late = u(3.0, 8.0) if what == 3 else 0.0
    single = cls in ("small", "untold") or (cls == "straight" and rng.random() < 0.3)
    drogueless = not single and cls not in ("leaning", "high", "two_stage", "opens_early") and rng.random() < 0.15
    descents = []
    if single:
        c = cue("chute out", "chute", 0, "after apogee", float(round(u(0.0, 1.5), 1)), limit=25.0, mass=body_mass, fails=fail_drogue, late=late)
        descents.append(("main", c, area_of(body_mass, u(4.5, 7.5))))
    else:
        kinds = "tumbling" if drogueless else "drogue"
        name = "separation" if drogueless else "drogue out"
        if cls == "opens_early":
            when, value = "climb rate below", float(round(u(5.0, 22.0), 1))
        else:
            when, value = "after apogee", 1.5 if cls == "leaning" else float(round(u(0, 2), 1))
        c = cue(name, "separation" if drogueless else "chute", 0, when, value,
                limit=None if drogueless else float(round(u(25, 40))), mass=body_mass, fails=fail_drogue, late=late)
        rate = u(22, 35) if drogueless else u(16, 26)
        descents.append((kinds, c, area_of(body_mass, rate)))
        c = cue("main out", "chute", 0, "height below", float(round(u(120, 300), -1)), limit=float(round(u(25, 40))), mass=body_mass, fails=fail_main)
        descents.append(("main", c, area_of(body_mass, u(4.5, 7.5))))
    extra = delta - sum(0.0 for _ in cams)
    pieces.append(vh.Piece("Body", body_mass + extra, bare * (8 if drogueless else 3),
                           transmitter=1, descents=[(st, ci, a / spread()) for st, ci, a in descents]))
    told_bodies.append(dict(name="Body", transmitter=1, mass_kg=body_mass, drag_area_m2=bare,
                            descent=[dict(state=st, cue=told_cues[ci]["name"], drag_area_m2=a, spread_percent=15.0)
                                     for st, ci, a in descents]))
    for i, (name, m) in enumerate(cams):
        j = i + 1
        if i == 0:
            out = cue(f"{name} out", "release", 0, "climb rate below", 19.6, limit=25.0, mass=m)
        elif i == 1:
            out = cue(f"{name} out", "release", 0, "climb rate below", 0.0, limit=30.0, mass=m)
        else:
            out = cue(f"{name} out", "release", 0, "after apogee", 0.8, limit=30.0, mass=m)
        chute = cue(f"{name} chute", "chute", j, "after cue", float(round(u(0.5, 2.0), 1)), of=out, limit=35.0, mass=m)
        a_told = area_of(m, u(5.0, 7.5))
        bare_told = 0.02
        pieces.append(vh.Piece(name, m, bare_told * spread() ** 2, parent=0, freed_by=out, transmitter=j + 1,
                               kick=(n(0, 1.5), n(0, 1.5), u(0.5, 3.0)), descents=[("main", chute, a_told / spread())]))
        told_bodies.append(dict(name=name, parent="Body", freed_by=f"{name} out", transmitter=j + 1, mass_kg=m,
                                drag_area_m2=bare_told, descent=[dict(state="main", cue=f"{name} chute", drag_area_m2=a_told, spread_percent=15.0)]))
    return pieces, cues, told_bodies, told_cues


def say_little(told, rng):
    """A crew that tells ten lines: what flies and where; no weather, burn, spreads, cues or descents. What it leaves out is the program's guess."""
    told["weather"] = {}
    keep = ("name", "liftoff_mass_kg", "diameter_m") + (("drag_coefficient",) if rng.random() < 0.5 else ())
    told["vehicle"] = {k: v for k, v in told["vehicle"].items() if k in keep}
    told["motor"] = {"total_impulse_ns": told["motor"]["total_impulse_ns"]}
    told["cue"] = []
    for body in told["body"]:
        body["descent"] = []


def sensors_of(cls, rng):
    """Which sensors fly, and how good they are."""
    u = rng.uniform
    has = dict(pressure=True, axial=True, lateral=rng.random() < 0.4, gnss=rng.random() < 0.7, velocity=rng.random() < 0.7,
               tilt=rng.random() < 0.3, own=rng.random() < 0.5)
    if cls == "pressure_only":
        has = dict.fromkeys(has, False) | dict(pressure=True)
    elif cls == "gnss_only":
        has = dict.fromkeys(has, False) | dict(gnss=True, velocity=rng.random() < 0.7)
    elif cls == "no_gnss":
        has.update(gnss=False, velocity=False, tilt=False)
    elif cls == "full":
        has = dict.fromkeys(has, True)
    elif cls == "high":
        has.update(gnss=True)
    elif cls == "small":
        has.update(gnss=rng.random() < 0.3)
    elif cls == "untold" and rng.random() < 0.5:
        # an altimeter sends its own figures, with an accelerometer or without
        has = dict.fromkeys(has, False) | dict(own=True, axial=rng.random() < 0.5)
    has["velocity"] = has["velocity"] and has["gnss"]
    return dict(has=has, rate_hz=float(rng.choice([5.0, 10.0, 20.0])) if cls == "small" else float(rng.choice([4.0, 5.0, 10.0, 20.0])),
                baro=dict(noise=u(1.0, 6.0), lag=u(0.01, 0.12), step=float(rng.choice([0.1, 1.0, 2.0, 4.0])),
                          bias=rng.normal(0, 80.0), drift=u(0.5, 4.0), port=rng.normal(0, 0.012), transonic=rng.normal(0, 0.05),
                          spike=u(300.0, 6000.0)),
                accel=dict(noise=u(0.1, 0.6), bias=rng.normal(0, 0.3), scale=rng.normal(0, 0.01), misalign=rng.normal(0, 0.01),
                           full_scale=float(rng.choice([157.0, 235.0, 314.0, 981.0])), step=float(rng.choice([0.0048, 0.05, 0.1]))),
                gnss=dict(rate=float(rng.choice([1.0, 2.0, 5.0, 10.0])), sigma=u(1.2, 3.0), white=u(0.2, 0.8), lag=u(0.1, 0.5),
                          velocity=u(0.08, 0.35), loses_at=u(25.0, 60.0), habit=str(rng.choice(["coast", "freeze", "lose", "fine"], p=[0.4, 0.2, 0.2, 0.2])),
                          recover=u(0.5, 3.0), limit_m=float(rng.choice([12000.0, 18000.0, 50000.0, 80000.0]))),
                tilt=dict(drift=u(0.0005, 0.004), noise=0.004),
                own=dict(tau_h=u(0.05, 0.4), tau_v=u(0.15, 0.7), noise_h=u(0.2, 1.0), noise_v=u(0.1, 0.5)))


def radio_of(cls, rng):
    """Packet format, losses, delays, clocks."""
    u = rng.uniform
    loss = float(rng.choice([0.0, u(0.0, 0.1), u(0.05, 0.3)], p=[0.3, 0.4, 0.3]))
    if cls == "lossy":
        loss = u(0.45, 0.65)
    receivers = 2 if (cls == "leaning" or rng.random() < 0.3) else 1
    return dict(framing=str(rng.choice(["lines", "cobs", "slip", "sync", "fixed"])), split=bool(rng.random() < 0.4),
                repeat_fix=bool(rng.random() < 0.5), clock_bits=int(rng.choice([16, 32, 32])), ppm=rng.normal(0, 40.0),
                clock_start=int(rng.integers(0, 2 ** 32)), loss=loss, burst=u(1.5, 6.0), receivers=receivers,
                fade=bool(rng.random() < (0.5 if cls == "lossy" else 0.25)), delay=u(0.01, 0.08), jitter=u(0.001, 0.015), bunch=0.016 if rng.random() < 0.3 else 0.0,
                flips=u(0.0, 0.004), garbage=u(0.0, 0.01), reboot=cls == "reboot", big_endian=bool(rng.random() < 0.4), rssi=bool(rng.random() < 0.5),
                has_seq=bool(rng.random() < 0.8), has_clock=bool(rng.random() < 0.93), flags=bool(rng.random() < 0.5),
                says=dict(liftoff=u(0.05, 0.4), burnout=u(0.05, 0.5), apogee=rng.normal(0.4, 0.4), landing=u(1.0, 6.0)))
