"""One whole flight: from the pad through rail, burns, coast, releases and chutes to every body's landing.

Time here is seconds from ignition of the first motor; first motion comes when thrust exceeds weight.
"""
import math
from dataclasses import dataclass, field

import numpy as np

from .motion import Finned, Hanging, Place, Record, unit
from .wind import Gust

UP_STEP_S = 0.01
PAD_S = 3.0


@dataclass
class Track:
    """A body's whole motion as arrays, with what happened to it."""

    name: str
    rec: dict
    events: dict = field(default_factory=dict)
    openings: list = field(default_factory=list)
    cues: list = field(default_factory=list)
    charges: list = field(default_factory=list)
    point_from: float = math.inf
    parent: int | None = None
    freed: float | None = None
    min_vz: float = 0.0

    def at(self, name, t):
        return np.interp(t, self.rec["t"], self.rec[name])


def arrays(rec):
    table = np.array(rec.rows)
    return {name: table[:, i] for i, name in enumerate(Record.NAMES)}


class Chutes:
    """Drag area of a hanging body while its chutes fill and replace each other."""

    def __init__(self, base):
        self.base, self.target, self.t0, self.fill, self.start = base, base, -1e9, 1.0, base

    def open(self, t, area, airspeed):
        """Whether what comes out carries: beside a larger canopy a smaller one changes nothing."""
        if area <= self.target:
            return False
        self.start = self.area(t)
        self.target, self.t0 = area, t
        # filling time of some diameters travelled (common practice), never instant
        self.fill = min(max(8.0 * math.sqrt(area / 0.6) / max(airspeed, 5.0), 0.12), 2.5)
        return True

    def area(self, t):
        f = min(max((t - self.t0) / self.fill, 0.0), 1.0)
        return self.start + (self.target - self.start) * f * f


def fly(vehicle, air, wind, latitude_rad, rng):
    """Truth of all bodies."""
    return _Run(vehicle, air, wind, latitude_rad, rng).all()


class _Run:
    def __init__(self, vehicle, air, wind, latitude_rad, rng):
        self.v, self.rng = vehicle, rng
        self.place = Place(air, wind, latitude_rad)
        self.cue_time = {}
        self.cue_state = {}
        self.tracks = [None] * len(vehicle.pieces)
        self.births = {}

    def all(self):
        self.main_body()
        order = [i for i in range(1, len(self.v.pieces))]
        for i in order:
            if i in self.births:
                self.released(i)
        return self.tracks

    # --- the vehicle itself
    def main_body(self):
        v, place = self.v, self.place
        rail = (math.sin(v.rail_tilt) * math.sin(v.rail_azimuth),
                math.sin(v.rail_tilt) * math.cos(v.rail_azimuth), math.cos(v.rail_tilt))
        rec, ev = Record(), {}
        track = Track(v.pieces[0].name, None, ev)
        gust = Gust(self.rng, place.wind)
        stage_i, ignition, mass0 = 0, 0.0, v.mass
        st = v.stages[0]
        self.set_stage(st)
        s = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, rail[0], rail[1], rail[2], 0.0, 0.0, 0.0]
        u1 = unit((rail[2], 0.0, -rail[0]))
        t, dt = 0.0, UP_STEP_S
        on_rail, moving = True, False
        attached = [i for i, p in enumerate(v.pieces) if p.parent == 0]
        g0 = place.air.gravity(0.0)
        rec.add(-PAD_S, 0, 0, 0, 0, 0, 0, *rail, g0 * rail[2], g0 * rail[0], g0 * rail[1], 0.0, place.air.at(0)[0],
                mass0, 0, 0, 0, 0, 0)
        burning_until = ignition + st.thrust.end
        burnt_out = False
        chute = False
        lost = 0.0
        while True:
            mass_at = lambda tt: mass0 - lost - st.propellant * st.thrust.fraction(tt - ignition)
            thrust_at = lambda tt: st.thrust.at(tt - ignition)
            mass, thrust = mass_at(t), thrust_at(t)
            phase = v.offset_phase + v.roll_rate * t
            n = (s[6], s[7], s[8])
            dot = u1[0] * n[0] + u1[1] * n[1] + u1[2] * n[2]
            u1 = unit((u1[0] - dot * n[0], u1[1] - dot * n[1], u1[2] - dot * n[2]))
            u2 = (n[1] * u1[2] - n[2] * u1[1], n[2] * u1[0] - n[0] * u1[2], n[0] * u1[1] - n[1] * u1[0])
            c, sn = math.cos(phase), math.sin(phase)
            e1 = (c * u1[0] + sn * u2[0], c * u1[1] + sn * u2[1], c * u1[2] + sn * u2[2])
            e2 = (-sn * u1[0] + c * u2[0], -sn * u1[1] + c * u2[1], -sn * u1[2] + c * u2[2])
            speed = math.sqrt(s[3] ** 2 + s[4] ** 2 + s[5] ** 2)
            gu = gust.step(dt, max(speed, 3.0), s[2])
            force, _, fa, airspeed, _, press, side, perp = self.aero.forces(s, gu, thrust, mass, thrust > 0, e1)
            if not moving:
                if force[0] * rail[0] + force[1] * rail[1] + force[2] * rail[2] > mass * g0 * rail[2]:
                    moving = True
                    ev["liftoff"] = t
            axial = fa / mass if moving else g0 * rail[2]
            lat = ((side * (perp[0] * e1[0] + perp[1] * e1[1] + perp[2] * e1[2]) / mass,
                    side * (perp[0] * e2[0] + perp[1] * e2[1] + perp[2] * e2[2]) / mass) if not on_rail else
                   (g0 * rail[0], g0 * rail[1]))
            we, wn = place.wind.mean(s[2])
            rec.add(t, *s[:6], *n, axial, lat[0], lat[1], airspeed, press, mass, 1.0 if moving else 0.0,
                    we + gu[0], wn + gu[1], gu[2], mass * abs(axial))
            if moving:
                s = self.aero.step(s, dt, gu, thrust_at, mass_at, t, e1, rail if on_rail else None)
            t += dt
            if on_rail and moving:
                if s[0] * rail[0] + s[1] * rail[1] + s[2] * rail[2] >= v.rail_length:
                    on_rail = False
                    ev["rail_exit"] = t
                    s[9:12] = [v.tip_off[0] * a + v.tip_off[1] * b for a, b in zip(u1, u2)]
            elif not moving and t > 3.0:
                raise ValueError("does not lift off")
            # specific force crossing zero ends the burn
            if not burnt_out and moving and t > ignition + 0.3 * st.thrust.end and (
                    thrust_at(t) + fa - thrust < 0.0 or t > burning_until):
                burnt_out = True
                ev["burnout" if stage_i == 0 else f"stage_burnout_{stage_i}"] = t
            if burnt_out and stage_i + 1 < len(v.stages) and t >= burning_until:
                nxt = v.stages[stage_i + 1]
                if t >= burning_until + min(0.3, nxt.ignition_after_burnout) and "separation" not in ev:
                    ev["separation"] = t
                    lost += nxt.dropped
                    self.set_stage(nxt)
                if t >= burning_until + nxt.ignition_after_burnout:
                    mass0 = mass_at(t) + lost
                    stage_i, ignition, st = stage_i + 1, t, nxt
                    burning_until, burnt_out = t + st.thrust.end, False
                    ev[f"stage_ignition_{stage_i}"] = t
            done_burning = stage_i + 1 == len(v.stages)
            if done_burning and "burnout" in ev and s[5] <= 0.0 and "apogee" not in ev:
                ev["apogee"] = t
            self.check_cues(0, t, s, ev, burnt_out and done_burning, airspeed, press)
            for ci in self.fired(0, t):
                self.note(track, ci, t, s, airspeed)
                cue = v.cues[ci]
                if cue.kind == "release":
                    for i in attached:
                        if v.pieces[i].freed_by == ci and i not in self.births:
                            p = v.pieces[i]
                            k = p.kick
                            self.births[i] = (t, [s[0], s[1], s[2], s[3] + k[0] * e1[0] + k[1] * e2[0] + k[2] * n[0],
                                                  s[4] + k[0] * e1[1] + k[1] * e2[1] + k[2] * n[1],
                                                  s[5] + k[0] * e1[2] + k[1] * e2[2] + k[2] * n[2]])
                            lost += p.mass
                elif cue.kind in ("chute", "separation"):
                    track.charges.append(t)
                    if not cue.fails:
                        chute = True
            if chute or s[2] < 0.0 and t > 2.0:
                break
        left = [i for i in attached if i not in self.births]
        track.point_from = t if chute else math.inf
        if not chute:
            self.ground(track, rec, ev, t, s)
        else:
            self.hang(0, track, rec, t, s[:6], gust, mass_at(t), first=True, attached=left)
        track.rec = arrays(rec)
        self.tracks[0] = track

    def set_stage(self, st):
        side = 0.8 * st.length * st.diameter
        self.aero = Finned(self.place, st, side, max(self.v.gyration * st.length, 0.05))

    # --- cues
    def check_cues(self, body, t, s, ev, coasting, airspeed, press):
        for ci, cue in enumerate(self.v.cues):
            if cue.body != body or ci in self.cue_time:
                continue
            kind, value = cue.trigger[0], cue.trigger[1]
            due = False
            if kind == "climb rate below":
                due = coasting and s[5] <= value
            elif kind == "after apogee":
                due = "apogee" in ev and t >= ev["apogee"] + value
            elif kind == "height below":
                due = "apogee" in ev and s[2] <= value and s[5] < 0
            elif kind == "after liftoff":
                due = "liftoff" in ev and t >= ev["liftoff"] + value
            elif kind == "after burnout":
                due = "burnout" in ev and t >= ev["burnout"] + value
            elif kind == "after cue":
                of = self.cue_time.get(cue.trigger[2])
                due = of is not None and t >= of + value
            if due:
                self.cue_time[ci] = t + max(cue.delay, 0.0) + cue.late

    def fired(self, body, t):
        out = []
        for ci, when in self.cue_time.items():
            if self.v.cues[ci].body == body and when <= t and ci not in self.cue_state:
                self.cue_state[ci] = t
                out.append(ci)
        return out

    def note(self, track, ci, t, s, airspeed):
        rho = self.place.air.at(s[2])[2]
        cue = self.v.cues[ci]
        track.cues.append({"cue": ci, "name": cue.name, "t": t, "height_m": s[2], "climb_mps": s[5],
                           "airspeed_mps": airspeed, "dynamic_pressure_pa": 0.5 * rho * airspeed ** 2,
                           "failed": cue.fails, "late_s": cue.late})

    # --- hanging bodies
    def hang(self, body, track, rec, t, s, gust, mass, first, attached=()):
        v, place = self.v, self.place
        piece = v.pieces[body]
        point = Hanging(place)
        chutes = Chutes(piece.bare_area)
        ev = track.events
        states = {ci: (state, area) for state, ci, area in piece.descents}

        def act(ci, airspeed):
            cue = v.cues[ci]
            state, area = states.get(ci, ("", 0.0))
            if not cue.fails and chutes.open(t, area, airspeed):
                track.openings.append({"state": state, "cue": ci, "t": t, "airspeed_mps": airspeed,
                                       "drag_area_m2": area})
                if state in ("main", "drogue", "streamer"):
                    ev.setdefault("first_chute", t)
                if state == "main":
                    ev.setdefault("main_chute", t)

        airspeed = math.sqrt(sum(a * a for a in s[3:6]))
        for ci in list(self.cue_state):
            if v.cues[ci].body == body and first:
                act(ci, airspeed)
        dt, t_act = 0.02, t
        attached = list(attached)
        while True:
            dt = 0.02 if t - t_act < 6.0 or s[2] < 60.0 else 0.05
            gu = gust.step(dt, max(airspeed, 3.0), s[2])
            area = chutes.area(t)
            nxt, a = point.step(s, dt, gu, area, mass)
            airspeed = a[3]
            we, wn = place.wind.mean(s[2])
            speed = max(airspeed, 1e-6)
            up = [-(s[3] - we - gu[0]) / speed, -(s[4] - wn - gu[1]) / speed, -(s[5] - gu[2]) / speed]
            rec.add(t, *s, *up, a[5], 0.0, 0.0, airspeed, a[4], mass, 2.0, we + gu[0], wn + gu[1], gu[2], a[5] * mass)
            was, s = s, nxt
            t += dt
            if was[5] > 0.0 >= s[5] and "apogee" not in ev:
                ev["apogee"] = t
            self.check_cues(body, t, s, ev, True, airspeed, a[4])
            for ci in self.fired(body, t):
                self.note(track, ci, t, s, airspeed)
                cue = v.cues[ci]
                if cue.kind == "release":
                    for i in attached:
                        if v.pieces[i].freed_by == ci and i not in self.births:
                            p = v.pieces[i]
                            self.births[i] = (t, s[:3] + [a_ + b for a_, b in zip(s[3:6], p.kick)])
                            mass -= p.mass
                else:
                    track.charges.append(t)
                    act(ci, airspeed)
                t_act = t
            if s[2] <= 0.0:
                break
            if t > 5000.0:
                raise ValueError("never lands")
        self.ground(track, rec, ev, t, s)

    def ground(self, track, rec, ev, t, s):
        ev["landing"] = t
        track.landing = {"t": t, "east_m": s[0], "north_m": s[1], "descent_mps": -s[5],
                         "ground_speed_mps": math.hypot(s[3], s[4])}
        g = self.place.air.gravity(0.0)
        press = self.place.air.at(0.0)[0]
        a = self.rng.uniform(0.0, math.pi)
        for dt in (0.06, 4000.0):
            rec.add(t + dt, s[0], s[1], 0.0, 0.0, 0.0, 0.0, math.sin(a), 0.0, math.cos(a), g * math.cos(a),
                    g * math.sin(a), 0.0, 0.0, press, rec.rows[-1][15], 3.0, 0, 0, 0, 0)

    def released(self, i):
        t, s = self.births[i]
        rec = Record()
        p = self.v.pieces[i]
        track = Track(p.name, None, {"freed": t}, parent=p.parent, freed=t, point_from=t)
        gust = Gust(self.rng, self.place.wind)
        if s[5] <= 0.0:
            track.events["apogee"] = t
        self.hang(i, track, rec, t, s, gust, p.mass, first=False)
        parent = self.tracks[p.parent]
        track.rec = arrays(rec)
        # before release it moves with its parent
        cut = np.searchsorted(parent.rec["t"], t)
        track.rec = {k: np.concatenate([parent.rec[k][:cut], track.rec[k]]) for k in track.rec}
        for name in ("liftoff", "rail_exit", "burnout"):
            track.events[name] = parent.events[name]
        self.tracks[i] = track
