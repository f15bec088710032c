"""The reference fit's model: a point mass in the true mean air, integrated for many parameter sets at once.

It knows what no live system can: the true shapes of drag and thrust, the true air and mean wind. Unknown are the
levels (drag, impulse, burn time), the lean (rail direction and a steady angle between thrust and airspeed), the
moment of first motion, and a jump of velocity at the last burnout that takes up what the model leaves out
(attitude dynamics, gusts under power).
"""
import math

import numpy as np

from .air import GAMMA, R_AIR, STEP_M
from .motion import EARTH_RATE
from .wind import LAYER_M

BOOST_STEP_S = 0.025
COAST_STEP_S = 0.1
# parameters that every flight has; later stages add three each
BASE = ["ln_drag", "ln_impulse", "ln_burn", "tilt_e", "tilt_n", "angle_e", "angle_n", "t0", "jump_e", "jump_n", "jump_u"]


def drag_vector(drag, mach, burning):
    """Vector form of the true curve's shape, its level taken out."""
    rise = 0.5 * (1.0 + np.tanh((mach - drag.middle_mach) / drag.width_mach))
    over = np.maximum(mach / (drag.middle_mach + 2.0 * drag.width_mach), 1.0)
    shape = 1.0 + (drag.peak_ratio * over ** -drag.decay - 1.0) * rise
    shape = shape * (1.0 - drag.friction_slope * (np.minimum(mach, 1.0) - 0.25))
    return shape * np.where(burning, drag.power_on, 1.0)


class Model:
    """Integrates K parameter sets; `run` gives series on a common time grid from ignition."""

    def __init__(self, case):
        self.case = case
        air = case.air
        self.h_grid = np.arange(len(air.temp)) * STEP_M
        self.lnp, self.temp = np.array(air.lnp), np.array(air.temp)
        w = case.wind
        heights = [1.0, 3.0, 6.0, 12.0, 25.0, 50.0, 75.0] + [i * LAYER_M for i in range(1, len(w.east))]
        mean = [w.mean(h) for h in heights]
        self.w_h, self.w_e, self.w_n = np.array(heights), np.array([m[0] for m in mean]), np.array([m[1] for m in mean])
        told = case.told
        self.stages = case.vehicle.stages
        tolds = [dict(total_impulse_ns=told["motor"]["total_impulse_ns"], burn_time_s=told["motor"]["burn_time_s"],
                      propellant_mass_kg=told["motor"]["propellant_mass_kg"], drag_coefficient=told["vehicle"]["drag_coefficient"],
                      diameter_m=told["vehicle"]["diameter_m"], dropped_mass_kg=0.0, ignition_after_burnout_s=0.0)] + told["upper_motor"]
        self.tolds = tolds
        self.names = list(BASE)
        for i in range(1, len(self.stages)):
            self.names += [f"ln_drag_{i}", f"ln_impulse_{i}", f"ignition_{i}"]
        self.index = {n: i for i, n in enumerate(self.names)}
        self.m0 = told["vehicle"]["liftoff_mass_kg"]
        self.rail_length = told["vehicle"]["rail_guided_length_m"]
        self.oy = EARTH_RATE * math.cos(case.latitude_rad)
        self.oz = EARTH_RATE * math.sin(case.latitude_rad)
        self.fraction = []
        for st in self.stages:
            grid = np.linspace(0.0, 1.0, 400)
            self.fraction.append((grid, np.array([st.thrust.fraction(x * st.thrust.end) for x in grid]),
                                  np.array([st.thrust.at(x * st.thrust.end) for x in grid]) * st.thrust.end / st.thrust.impulse))

    def air(self, z, th):
        """Pressure, density, sound speed."""
        lnp = np.interp(z, self.h_grid, self.lnp)
        temp = np.interp(z, self.h_grid, self.temp)
        p = np.exp(lnp)
        return p, p / (R_AIR * temp), np.sqrt(GAMMA * R_AIR * temp)

    def blows(self, z, th):
        """Mean wind (east, north)."""
        return np.interp(z, self.w_h, self.w_e), np.interp(z, self.w_h, self.w_n)

    def pushes(self, i, x, th):
        """(share of impulse spent, thrust over the mean one) at a share of the burn."""
        grid, frac, force = self.fraction[i]
        return np.interp(x, grid, frac, left=0.0, right=1.0), np.interp(x, grid, force)

    def holds(self, i, mach, burning, th):
        """Drag over its level at low speed."""
        return drag_vector(self.stages[i].drag, mach, burning)

    def run(self, theta, t_stop=None, past_apogee=False):
        """theta: (K, n). Returns dict of arrays (steps, K); ends at t_stop or once all have passed apogee."""
        th = {n: theta[:, i] for n, i in self.index.items()}
        k = len(theta)
        burns = [self.tolds[0]["burn_time_s"] * np.exp(th["ln_burn"])]
        starts = [np.zeros(k)]
        for i in range(1, len(self.stages)):
            starts.append(starts[-1] + burns[-1] + self.tolds[i]["ignition_after_burnout_s"] + th[f"ignition_{i}"])
            burns.append(np.full(k, self.tolds[i]["burn_time_s"]) * np.exp(th["ln_burn"]))
        last_burnout = starts[-1] + burns[-1]
        end_boost = float(np.max(last_burnout)) + 0.2
        begins = [float(np.min(a)) for a in starts]
        ends = [float(np.max(a + b)) for a, b in zip(starts, burns)]
        fine = [(float(np.min(a)) - 0.1, float(np.max(a + b)) + 0.2) for a, b in zip(starts, burns)]
        rail = np.stack([th["tilt_e"], th["tilt_n"], np.ones(k)])
        rail /= np.linalg.norm(rail, axis=0)
        pos, vel = np.zeros((3, k)), np.zeros((3, k))
        jumped = np.zeros(k, bool)
        ts, out = [], []
        t = 0.0
        air_g = self.case.air

        angle = np.stack([th["angle_e"], th["angle_n"], np.zeros(k)])
        flags = dict(rail=True)
        area0 = np.exp(th["ln_drag"]) * self.tolds[0]["drag_coefficient"] * math.pi * self.tolds[0]["diameter_m"] ** 2 / 4

        def powered(tt, mach):
            """Mass, thrust, drag area, shape of drag, and where the first motor may still burn (None: nowhere)."""
            mass, thrust, cda, shape = np.full(k, self.m0), np.zeros(k), area0, None
            burning = np.zeros(k, bool)
            for i in range(len(self.stages)):
                told = self.tolds[i]
                if i:
                    apart = tt >= starts[i - 1] + burns[i - 1] + min(0.3, told["ignition_after_burnout_s"])
                    mass = mass - np.where(apart, told["dropped_mass_kg"], 0.0)
                    area = np.exp(th[f"ln_drag_{i}"]) * told["drag_coefficient"] * math.pi * told["diameter_m"] ** 2 / 4
                    cda = np.where(apart, area, cda)
                if tt >= ends[i]:
                    mass = mass - told["propellant_mass_kg"]
                elif tt > begins[i]:
                    x = (tt - starts[i]) / burns[i]
                    spent, force = self.pushes(i, x, th)
                    mass = mass - told["propellant_mass_kg"] * spent
                    on = (x > 0) & (x < 1)
                    scale = np.exp(th["ln_impulse"] if i == 0 else th[f"ln_impulse_{i}"])
                    thrust = thrust + np.where(on, force * told["total_impulse_ns"] * scale / burns[i], 0.0)
                    burning = burning | on
            for i in range(len(self.stages)):
                if i and tt < begins[i - 1]:
                    continue
                if i == 0 and len(self.stages) > 1 and tt > begins[1]:
                    continue
                own = self.holds(i, mach, burning, th)
                if shape is None or i == 0:
                    shape = own
                else:
                    apart = tt >= starts[i - 1] + burns[i - 1] + min(0.3, self.tolds[i]["ignition_after_burnout_s"])
                    shape = np.where(apart, own, shape)
            return mass, thrust, cda, shape, tt < starts[0] + burns[0] if tt < ends[0] else None

        def accel(tt, pos, vel):
            z = pos[2]
            p, rho, sound = self.air(np.maximum(z, -50.0), th)
            va = vel.copy()
            east, north = self.blows(z, th)
            va[0] -= east
            va[1] -= north
            v = np.sqrt((va * va).sum(0)) + 1e-9
            mass, thrust, cda, shape, first = powered(tt, v / sound)
            d = 0.5 * rho * v * v * cda * shape / mass
            dirn = va / v
            push = dirn
            if first is not None:
                push = dirn + np.where(first, 1.0, 0.0) * angle
                push = push / np.sqrt((push * push).sum(0))
            if flags["rail"]:
                on_rail = (pos * rail).sum(0) < self.rail_length
                push = np.where(on_rail, rail, push)
            g = air_g.g_pad * (air_g.radius / (air_g.radius + z)) ** 2
            a = push * (thrust / mass) - dirn * d
            specific = thrust / mass - d
            a[2] -= g
            a[0] += 2 * (self.oz * vel[1] - self.oy * vel[2])
            a[1] -= 2 * self.oz * vel[0]
            a[2] += 2 * self.oy * vel[0]
            if flags["rail"]:
                along = np.maximum((a * rail).sum(0), np.where((vel * rail).sum(0) > 0.01, -1e9, 0.0))
                a = np.where(on_rail & (tt < last_burnout), rail * along, a)
            return a, v, p, 0.5 * rho * v * v, v / sound, specific

        while True:
            a1, v, p, q, mach, spec = accel(t, pos, vel)
            ts.append(t)
            out.append((pos[0], pos[1], pos[2], vel[0], vel[1], vel[2], v, p, q, mach, spec))
            boost = t < end_boost
            if (t_stop is not None and t > t_stop and not past_apogee) or (past_apogee and not boost and np.all(vel[2] < 0)) or t > 400.0:
                break
            dt = BOOST_STEP_S if any(a <= t < b for a, b in fine) else COAST_STEP_S
            a2 = accel(t + dt / 2, pos + dt / 2 * vel, vel + dt / 2 * a1)[0]
            v2 = vel + dt / 2 * a1
            a3 = accel(t + dt / 2, pos + dt / 2 * v2, vel + dt / 2 * a2)[0]
            v3 = vel + dt / 2 * a2
            a4 = accel(t + dt, pos + dt * v3, vel + dt * a3)[0]
            v4 = vel + dt * a3
            pos = pos + dt / 6 * (vel + 2 * v2 + 2 * v3 + v4)
            vel = vel + dt / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
            t += dt
            flags["rail"] = flags["rail"] and bool(np.any((pos * rail).sum(0) < self.rail_length))
            jump = ~jumped & (t >= last_burnout)
            vel = vel + np.where(jump, np.stack([th["jump_e"], th["jump_n"], th["jump_u"]]), 0.0)
            jumped |= jump
        table = np.array(out)  # steps, quantities, K
        names = ("x", "y", "z", "vx", "vy", "vz", "v", "p", "q", "mach", "axial")
        return np.array(ts), {n: table[:, i, :] for i, n in enumerate(names)}

    def apogee(self, theta):
        """(height, time, airspeed, ground speed) at apogee of each set, times from first ignition plus t0."""
        ts, s = self.run(theta, past_apogee=True)
        k = theta.shape[0]
        after = (s["vz"] < 0) & (ts[:, None] > 0.5) & (s["z"] > 5.0)
        i = np.maximum(np.argmax(after, axis=0), 1)
        c = np.arange(k)
        f = s["vz"][i - 1, c] / (s["vz"][i - 1, c] - s["vz"][i, c])
        at = lambda n: s[n][i - 1, c] + f * (s[n][i, c] - s[n][i - 1, c])
        t = ts[i - 1] + f * (ts[i] - ts[i - 1])
        h = s["z"][i - 1, c] + 0.5 * s["vz"][i - 1, c] * f * (ts[i] - ts[i - 1])
        return h, t + theta[:, self.index["t0"]], at("v"), np.hypot(at("vx"), at("vy"))
