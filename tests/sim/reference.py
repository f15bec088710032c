"""Offline least-squares fit to the packets heard up to an instant: the nearest thing to an information limit.

Gauss-Newton with Levenberg damping (Nocedal and Wright 2006, ch. 10) on the model of `refmodel.py`, told figures as
priors, known noise levels, Cauchy weights against what is not noise. Intervals from 200 draws of the Gaussian at the
optimum, carried through the model. Results are cached under tests/cache by simulator version, class and seed.
"""
import json
import math
from pathlib import Path

import numpy as np

from . import VERSION
from .make import A_WGS84, F_WGS84, flown
from .refmodel import Model
from .score import flight_folder, interval

CACHE = Path(__file__).resolve().parents[1] / "cache"
FIT_VERSION = 1
# nuisance parameters of the sensors and their priors' spread
SENSORS = {"p_bias": 150.0, "p_port": 0.015, "p_transonic": 0.06, "a_bias": 0.4, "a_scale": 0.012, "g_e": 2.5, "g_n": 2.5, "g_u": 4.0,
           "h_scale": 0.012, "v_scale": 0.012}


def lagged(ts, x, tau):
    """First-order lag of series (steps, K) that run straight between steps: exact."""
    y = x.copy()
    left = np.exp(-np.diff(ts).reshape(-1, 1) / tau)
    for i in range(len(ts) - 1):
        dt = ts[i + 1] - ts[i]
        slope = (x[i + 1] - x[i]) / dt
        y[i + 1] = x[i + 1] - slope * tau + (y[i] - x[i] + slope * tau) * left[i]
    return y


class Fit:
    """One flight's fit up to one instant."""

    Model = Model

    def __init__(self, case, samples, pad, shift, t_end, lost):
        self.case, self.model = case, self.Model(case)
        told = case.told
        self.names = self.model.names + list(SENSORS)
        self.n_model = len(self.model.names)
        az = math.radians(told["vehicle"]["rail_azimuth_deg"])
        tilt = math.radians(told["vehicle"]["rail_tilt_from_vertical_deg"])
        prior = dict(ln_drag=(0, 0.25), ln_impulse=(0, 0.076), ln_burn=(0, 0.04), tilt_e=(math.tan(tilt) * math.sin(az), 0.07),
                     tilt_n=(math.tan(tilt) * math.cos(az), 0.07), angle_e=(0, 0.05), angle_n=(0, 0.05), t0=(0.0, 0.5),
                     jump_e=(0, 2.5), jump_n=(0, 2.5), jump_u=(0, 1.0))
        for i in range(1, len(self.model.stages)):
            prior |= {f"ln_drag_{i}": (0, 0.25), f"ln_impulse_{i}": (0, 0.076), f"ignition_{i}": (0, 0.3)}
        prior |= {n: (0.0, sd) for n, sd in SENSORS.items()}
        more = self.more()
        self.names += [n for n in more if n not in self.names]
        prior |= more
        self.mean = np.array([prior[n][0] for n in self.names])
        self.sd = np.array([prior[n][1] for n in self.names])
        self.rows(samples, pad, shift, t_end, lost)

    def more(self):
        """Further parameters: {name: (prior mean, its spread)}."""
        return {}

    def lags(self, th):
        """How late barometer, own height and own climb are, s, and what a fix is later than its receiver's true lag."""
        cfg = self.case.sensors
        return cfg["baro"]["lag"], cfg["own"]["tau_h"], cfg["own"]["tau_v"], 0.0

    def rows(self, samples, pad, shift, t_end, lost):
        """Measurements as arrays (kind, time from ignition, value, spread)."""
        cfg = self.case.sensors
        b, a, g, o = cfg["baro"], cfg["accel"], cfg["gnss"], cfg["own"]
        kinds = {k: [] for k in ("p", "a", "ge", "gn", "gu", "gve", "gvn", "gvu", "tilt", "h", "v")}
        p_sd = math.hypot(b["noise"], b["step"] / math.sqrt(12)) + 1.0
        gap = 1.0 / cfg["rate_hz"]
        site = self.case.told["site"]
        e2 = F_WGS84 * (2 - F_WGS84)
        s2 = math.sin(self.case.latitude_rad) ** 2
        rn = A_WGS84 * (1 - e2) / (1 - e2 * s2) ** 1.5 + site["elevation_m"]
        re = (A_WGS84 / math.sqrt(1 - e2 * s2) + site["elevation_m"]) * math.cos(self.case.latitude_rad)
        last = None
        for s in samples:
            t = s["t_s"] - shift
            if s["body"] or s["t_receive_s"] - shift > t_end:
                continue
            sd_t = s["t_sd_s"] if s["t_sd_s"] > 0.02 else 0.005
            if s["pressure_pa"] is not None:
                kinds["p"].append((t - 0.005, s["pressure_pa"], p_sd, sd_t))
            if t < -0.05 and not pad:
                continue
            if s["axial_mps2"] is not None and abs(s["axial_mps2"]) < 0.97 * a["full_scale"] and t > -2.0:
                kinds["a"].append((t - 0.005, s["axial_mps2"], a["noise"] * (3.0 if s["axial_mps2"] > 5 else 1.0) + 0.3 * a["step"], sd_t))
            fix = s["fix"]
            if fix is not None and fix != last and t > -5.0:
                last = fix
                tm = t - g["lag"] - 0.5 * gap
                if not any(x <= tm <= y for x, y in lost):
                    w = math.hypot(g["white"], 0.15)
                    jitter = math.hypot(0.3 * gap, sd_t)
                    kinds["ge"].append((tm, (fix["longitude_rad"] - self.case.longitude_rad) * re, w, jitter))
                    kinds["gn"].append((tm, (fix["latitude_rad"] - self.case.latitude_rad) * rn, w, jitter))
                    if fix["height_amsl_m"] is not None:
                        kinds["gu"].append((tm, fix["height_amsl_m"] - site["elevation_m"], 1.0 * w, jitter))
                    vel = s["velocity"]
                    if vel is not None:
                        kinds["gve"].append((tm, vel["horizontal_mps"][0], g["velocity"] + 0.03, jitter))
                        kinds["gvn"].append((tm, vel["horizontal_mps"][1], g["velocity"] + 0.03, jitter))
                        kinds["gvu"].append((tm, vel["up_mps"], 1.5 * g["velocity"] + 0.03, jitter))
            if s["tilt_rad"] is not None and t > 0.5:
                kinds["tilt"].append((t, s["tilt_rad"], 0.02 + cfg["tilt"]["drift"] * math.sqrt(max(t, 0.0) + 20.0), sd_t))
            if s["boot"] == 0 and s["own_height_m"] is not None and t > 0:
                kinds["h"].append((t - 0.005, s["own_height_m"], o["noise_h"] + 0.5, sd_t))
                kinds["v"].append((t - 0.005, s["own_climb_mps"], o["noise_v"] + 0.3, sd_t))
        self.data = {k: np.array(v).T for k, v in kinds.items() if v}
        self.t_last = max(float(v[0].max()) for v in self.data.values()) + 0.6

    def residuals(self, theta):
        """(K, rows): measurement residuals over their spread."""
        m = theta[:, : self.n_model]
        ts, s = self.model.run(m, t_stop=self.t_last)
        th = {n: theta[:, i] for i, n in enumerate(self.names)}
        k = len(theta)
        p0 = math.exp(self.model.lnp[0])
        g0 = self.case.air.g_pad
        out = []
        baro_s, height_s, climb_s, late_s = self.lags(th)
        if "p" in self.data:
            port = th["p_port"] + th["p_transonic"] * np.exp(-((s["mach"] - 1) / 0.05) ** 2)
            s["baro"] = lagged(ts, s["p"] + port * s["q"], baro_s)
        if "h" in self.data:
            s["own_h"] = lagged(ts, s["z"], height_s)
            s["own_v"] = lagged(ts, s["vz"], climb_s)

        def series(name, when, late=0.0):
            """Linear interpolation per set: when (N,) minus t0 and what it is late (K,)."""
            x = when[None, :] - (th["t0"] + late)[:, None]
            i = np.clip(np.searchsorted(ts, x) - 1, 0, len(ts) - 2)
            f = np.clip((x - ts[i]) / (ts[i + 1] - ts[i]), 0.0, 1.0)
            c = np.arange(k)[:, None]
            y = s[name]
            val = y[i, c] + f * (y[i + 1, c] - y[i, c])
            slope = (y[i + 1, c] - y[i, c]) / (ts[i + 1] - ts[i])
            return val, slope, x < 0

        for kind, (when, value, sd, sd_t) in self.data.items():
            if kind == "p":
                p, slope, pad = series("baro", when)
                pred = np.where(pad, p0, p) + th["p_bias"][:, None]
            elif kind == "a":
                ax, slope, pad = series("axial", when)
                ax = np.where(pad, g0, ax)
                pred = ax * (1 + th["a_scale"][:, None]) + th["a_bias"][:, None]
            elif kind in ("ge", "gn", "gu"):
                pos, slope, pad = series({"ge": "x", "gn": "y", "gu": "z"}[kind], when, late_s)
                pred = np.where(pad, 0.0, pos) + th["g_" + kind[1]][:, None]
            elif kind in ("gve", "gvn", "gvu"):
                pred, slope, pad = series({"gve": "vx", "gvn": "vy", "gvu": "vz"}[kind], when, late_s)
                pred = np.where(pad, 0.0, pred)
            elif kind == "tilt":
                v = [series(n, when)[0] for n in ("vx", "vy", "vz")]
                pred = np.arctan2(np.hypot(v[0], v[1]), v[2])
                slope = np.zeros_like(pred)
                pad = np.zeros_like(pred, bool)
            elif kind == "h":
                pred, slope, pad = series("own_h", when)
                pred = np.where(pad, 0, pred) * (1 + th["h_scale"][:, None])
            else:
                pred, slope, pad = series("own_v", when)
                pred = np.where(pad, 0, pred) * (1 + th["v_scale"][:, None])
            slope = np.where(pad, 0.0, slope)
            spread = np.sqrt(sd[None, :] ** 2 + (np.abs(slope[0])[None, :] * sd_t[None, :]) ** 2)
            if kind == "a":
                # attitude swings and vibration move the axial force a little
                spread = np.sqrt(spread ** 2 + (0.015 * np.abs(pred[0])[None, :]) ** 2)
            out.append((pred - value[None, :]) / spread)
        return np.concatenate(out, axis=1)

    def solve(self, start, iterations=14):
        """(optimum, covariance, cost)."""
        n = len(self.names)
        x, lam = start.copy(), 1e-2
        step = 1e-3 * self.sd
        best = None
        for _ in range(iterations):
            batch = np.vstack([x] + [x + np.eye(n)[i] * step[i] for i in range(n)])
            r = self.residuals(batch)
            r0, jac = r[0], (r[1:] - r[0]).T / step
            if not np.all(np.isfinite(r0)):
                cost = math.inf
            else:
                c = 3.0
                cost = float((c * c * np.log1p((r0 / c) ** 2)).sum() + (((x - self.mean) / self.sd) ** 2).sum())
            if best is not None and not cost < best[0]:
                lam *= 10.0
                if lam > 1e7:
                    break
            else:
                done = best is not None and best[0] - cost < 0.01
                w = 1.0 / (1.0 + (r0 / 3.0) ** 2)
                jac = np.nan_to_num(jac)
                hess = jac.T @ (jac * w[:, None]) + np.diag(1 / self.sd ** 2)
                grad = jac.T @ (w * r0) + (x - self.mean) / self.sd ** 2
                best = (cost, x.copy(), hess, grad)
                lam = max(lam / 5.0, 1e-9)
                if done:
                    break
            x = best[1] - np.linalg.solve(best[2] + lam * np.diag(np.diag(best[2])), best[3])
        cov = np.linalg.inv(best[2])
        return best[1], cov, best[0]

    def predict(self, rng, draws=200):
        """Quantiles of height, time, airspeed and ground speed at apogee."""
        starts = []
        base = self.mean.copy()
        starts.append(base)
        other = base.copy()
        for n, v in (("tilt_e", 0.15), ("tilt_n", 0.1)):
            other[self.names.index(n)] += v
        if "ge" not in self.data:
            # without anything horizontal the lean may settle on the wrong side of vertical
            starts.append(other)
        x, cov, _ = min((self.solve(s) for s in starts), key=lambda r: r[2])
        root = np.linalg.cholesky(cov + 1e-12 * np.diag(np.diag(cov)))
        theta = x[None, :] + rng.standard_normal((draws, len(x))) @ root.T
        theta[0] = x
        h, t, v, g = self.model.apogee(theta[:, : self.n_model])
        pack = lambda y: dict(zip(("p05", "p25", "p50", "p75", "p95"), np.quantile(y, [0.05, 0.25, 0.5, 0.75, 0.95]).tolist()))
        q = dict(h=pack(h), t=pack(t), v=pack(v), g=pack(g))
        for k, y in (("h", h), ("t", t)):
            q[k]["p50"] = float(y[0])
        return q, dict(zip(self.names, x.tolist()))


def lost_spans(case, track):
    """When the GNSS receiver had lost the sky, with time to walk back."""
    g = case.sensors["gnss"]
    if g["habit"] == "fine":
        spans = []
    else:
        t, a = track.rec["t"], np.abs(track.rec["axial"])
        hit = t[(a > g["loses_at"]) & (track.rec["free"] < 1.5) & (t > 0)]
        spans = [(float(hit.min()) - 0.3, float(hit.max()) + g["recover"] + (2.6 if g["habit"] == "coast" else 0.3))] if len(hit) else []
    high = track.rec["t"][track.rec["z"] > g["limit_m"]]
    if len(high):
        spans.append((float(high.min()) - 0.5, float(high.max()) + 4.0))
    return spans


def fit_flight(cls, seed, fitted=Fit):
    """Errors of the fit at the two instants, as `score.judge_prediction` names them."""
    folder = flight_folder(cls, seed)
    case, tracks = flown(cls, seed)
    truth = json.loads((folder / "truth.json").read_text())
    samples = [json.loads(x) for x in (folder / "samples.jsonl").read_text().splitlines() if '"report"' not in x]
    shift = truth["liftoff_t_s"] - tracks[0].events["liftoff"]
    ap = truth["bodies"][0]["apogee"]
    ev = tracks[0].events
    burn = max(v for k, v in ev.items() if "burnout" in k)
    rng = np.random.Generator(np.random.PCG64(seed))
    out = dict(cls=cls, seed=seed)
    lost = lost_spans(case, tracks[0])
    for key, t in (("after", burn + 0.5), ("half", burn + 0.5 * (ev["apogee"] - burn))):
        fit = fitted(case, samples, True, shift, t, lost)
        q, theta = fit.predict(rng)
        row = {"theta": theta}
        for k, x, scale in (("h", ap["height_m"], 100 / ap["height_m"]), ("t", ap["t_s"] - shift, 1.0), ("v", ap["airspeed_mps"], 1.0),
                            ("g", ap["ground_speed_mps"], 1.0)):
            cover, half, width, score = interval(q[k], x)
            row |= {f"{k}_err": (q[k]["p50"] - x) * scale, f"{k}_in90": cover, f"{k}_in50": half, f"{k}_width": width * scale, f"{k}_score": score * scale}
        out[key] = row
    return out


def path_of(cls, seed):
    return CACHE / f"fit-v{VERSION}.{FIT_VERSION}" / f"{cls}-{seed:04d}.json"


def fit(cls, seed):
    """The cached fit, computed if it is not there."""
    path = path_of(cls, seed)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(fit_flight(cls, seed)))
    return json.loads(path.read_text())


def cached(rows):
    """{(class, seed): fit} of those already computed."""
    out = {}
    for r in rows:
        path = path_of(r["cls"], r["seed"])
        if path.exists():
            out[(r["cls"], r["seed"])] = json.loads(path.read_text())
    return out
