"""Equations of motion and their integration (classical Runge-Kutta, fixed step).

Under way with its fins on, a body has five degrees of freedom: place and the direction of its nose with its
rates; roll is given. Forces: thrust along the nose; axial drag; normal force of slender-body and cross-flow kind,
whose moment turns the nose into the relative wind (weathercocking with its real lag). After the first chute a
body is a point with drag area. The frame is east-north-up at the pad with the Coriolis term; heights are
curvilinear, so the earth's curvature is left out of the horizontal equations (some centimetres over a flight).
"""
import math

EARTH_RATE = 7.292115e-5


class Record:
    """State by time of one body: plain lists while flying."""

    NAMES = ("t", "x", "y", "z", "vx", "vy", "vz", "nx", "ny", "nz", "axial", "laty", "latz",
             "airspeed", "press", "mass", "free", "wx", "wy", "wz", "force")

    def __init__(self):
        self.rows = []

    def add(self, *row):
        self.rows.append(row)


class Place:
    """What every integration needs of the site."""

    def __init__(self, air, wind, latitude_rad):
        self.air, self.wind = air, wind
        self.oy = EARTH_RATE * math.cos(latitude_rad)
        self.oz = EARTH_RATE * math.sin(latitude_rad)


def unit(v):
    n = math.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
    return (v[0] / n, v[1] / n, v[2] / n)


class Finned:
    """Aerodynamics and thrust of a finned body; gives accelerations and what its sensors would feel."""

    def __init__(self, place, stage, side_area, gyration):
        self.place, self.stage = place, stage
        self.side_area, self.gyration = side_area, gyration
        self.extra_area = 0.0

    def forces(self, s, gust, thrust, mass, burning, offset_dir):
        """(force e, n, u without gravity; torque e, n, u; axial force; airspeed; rho)."""
        place, st = self.place, self.stage
        p, _, rho, sound = place.air.at(s[2])
        we, wn = place.wind.mean(s[2])
        ax, ay, az = s[3] - we - gust[0], s[4] - wn - gust[1], s[5] - gust[2]
        nx, ny, nz = s[6], s[7], s[8]
        v2 = ax * ax + ay * ay + az * az
        v = math.sqrt(v2)
        along = ax * nx + ay * ny + az * nz
        px, py, pz = ax - along * nx, ay - along * ny, az - along * nz
        perp = math.sqrt(px * px + py * py + pz * pz)
        area = math.pi * st.diameter ** 2 / 4.0
        mach = v / sound
        cd = st.drag.at(mach, burning)
        axial = -0.5 * rho * (cd * area + self.extra_area) * along * abs(along)
        potential = -0.5 * rho * area * st.cn_alpha * abs(along)
        cross = -0.5 * rho * self.side_area * 1.1 * perp
        side = potential + cross
        fa = axial + thrust
        fx, fy, fz = fa * nx + side * px, fa * ny + side * py, fa * nz + side * pz
        # the normal force acts behind the centre of mass: its moment turns the nose to the wind
        arm = -(st.margin * potential + 0.6 * st.margin * cross)
        ox, oy, oz = arm * (ny * pz - nz * py), arm * (nz * px - nx * pz), arm * (nx * py - ny * px)
        # thrust and drag do not pass through the centre of mass
        lever = fa * st.thrust_offset
        ex, ey, ez = offset_dir
        ox += lever * (ny * ez - nz * ey)
        oy += lever * (nz * ex - nx * ez)
        oz += lever * (nx * ey - ny * ex)
        damp = 0.5 * rho * v * area * st.cn_alpha * 0.35 * (0.5 * st.length) ** 2
        damp += 0.5 * rho * 0.02 * self.side_area * st.length ** 3 * math.sqrt(s[9] ** 2 + s[10] ** 2 + s[11] ** 2)
        ox -= damp * s[9]
        oy -= damp * s[10]
        oz -= damp * s[11]
        return (fx, fy, fz), (ox, oy, oz), fa, v, rho, p, side, (px, py, pz)

    def rate(self, s, gust, thrust, mass, burning, offset_dir, rail):
        f, o, *_ = self.forces(s, gust, thrust, mass, burning, offset_dir)
        g = self.place.air.gravity(s[2])
        place = self.place
        vx, vy, vz = s[3], s[4], s[5]
        if rail is not None:
            along = (f[0] * rail[0] + f[1] * rail[1] + f[2] * rail[2]) / mass - g * rail[2]
            return (vx, vy, vz, along * rail[0], along * rail[1], along * rail[2], 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        inertia = mass * self.gyration ** 2
        wx, wy, wz = s[9], s[10], s[11]
        nx, ny, nz = s[6], s[7], s[8]
        return (vx, vy, vz,
                f[0] / mass + 2.0 * (place.oz * vy - place.oy * vz),
                f[1] / mass - 2.0 * place.oz * vx,
                f[2] / mass - g + 2.0 * place.oy * vx,
                wy * nz - wz * ny, wz * nx - wx * nz, wx * ny - wy * nx,
                o[0] / inertia, o[1] / inertia, o[2] / inertia)

    def step(self, s, dt, gust, thrust_at, mass_at, t, offset_dir, rail):
        """One step from t to t + dt; thrust_at and mass_at are functions of time."""
        th0, th1, th2 = thrust_at(t), thrust_at(t + 0.5 * dt), thrust_at(t + dt)
        m0, m1, m2 = mass_at(t), mass_at(t + 0.5 * dt), mass_at(t + dt)
        k1 = self.rate(s, gust, th0, m0, th0 > 0.0, offset_dir, rail)
        k2 = self.rate([a + 0.5 * dt * b for a, b in zip(s, k1)], gust, th1, m1, th1 > 0.0, offset_dir, rail)
        k3 = self.rate([a + 0.5 * dt * b for a, b in zip(s, k2)], gust, th1, m1, th1 > 0.0, offset_dir, rail)
        k4 = self.rate([a + dt * b for a, b in zip(s, k3)], gust, th2, m2, th2 > 0.0, offset_dir, rail)
        out = [a + dt / 6.0 * (b + 2.0 * c + 2.0 * d + e) for a, b, c, d, e in zip(s, k1, k2, k3, k4)]
        n = math.sqrt(out[6] ** 2 + out[7] ** 2 + out[8] ** 2)
        out[6] /= n
        out[7] /= n
        out[8] /= n
        return out


class Hanging:
    """A point mass with a drag area that changes while chutes fill."""

    def __init__(self, place):
        self.place = place

    def accel(self, x, y, z, vx, vy, vz, gust, area, mass):
        p, _, rho, _ = self.place.air.at(z)
        we, wn = self.place.wind.mean(z)
        ax, ay, az = vx - we - gust[0], vy - wn - gust[1], vz - gust[2]
        v = math.sqrt(ax * ax + ay * ay + az * az)
        c = -0.5 * rho * area * v / mass
        g = self.place.air.gravity(z)
        place = self.place
        return (c * ax + 2.0 * (place.oz * vy - place.oy * vz), c * ay - 2.0 * place.oz * vx,
                c * az - g + 2.0 * place.oy * vx, v, p, -c * v)

    def step(self, s, dt, gust, area, mass):
        x, y, z, vx, vy, vz = s
        a1 = self.accel(x, y, z, vx, vy, vz, gust, area, mass)
        h = 0.5 * dt
        a2 = self.accel(x + h * vx, y + h * vy, z + h * vz, vx + h * a1[0], vy + h * a1[1], vz + h * a1[2],
                        gust, area, mass)
        v2 = (vx + h * a1[0], vy + h * a1[1], vz + h * a1[2])
        a3 = self.accel(x + h * v2[0], y + h * v2[1], z + h * v2[2], vx + h * a2[0], vy + h * a2[1], vz + h * a2[2],
                        gust, area, mass)
        v3 = (vx + h * a2[0], vy + h * a2[1], vz + h * a2[2])
        a4 = self.accel(x + dt * v3[0], y + dt * v3[1], z + dt * v3[2],
                        vx + dt * a3[0], vy + dt * a3[1], vz + dt * a3[2], gust, area, mass)
        v4 = (vx + dt * a3[0], vy + dt * a3[1], vz + dt * a3[2])
        c = dt / 6.0
        return [x + c * (vx + 2 * v2[0] + 2 * v3[0] + v4[0]), y + c * (vy + 2 * v2[1] + 2 * v3[1] + v4[1]),
                z + c * (vz + 2 * v2[2] + 2 * v3[2] + v4[2]),
                vx + c * (a1[0] + 2 * a2[0] + 2 * a3[0] + a4[0]), vy + c * (a1[1] + 2 * a2[1] + 2 * a3[1] + a4[1]),
                vz + c * (a1[2] + 2 * a2[2] + 2 * a3[2] + a4[2])], a1
