"""One flight's folder: truth, packets as received, and what a perfect decoder would make of them."""
import base64
import json
import math
from pathlib import Path

import numpy as np

from . import VERSION
from .classes import BOUNDS, STRAIGHT_AIRSPEED_MPS, draw
from .flight import fly
from .framing import CRCS, Framing
from .packets import SAYS, Layout
from .radio import Fades, Loss, signal_dbm, spoil
from .sensors import Board
from .setupfile import plan_json, scaled_curve, setup_toml

A_WGS84, F_WGS84 = 6378137.0, 1 / 298.257223563


def geodetic(lat0, lon0, elev, east, north, up):
    """WGS84 latitude, longitude (rad) and height of a curvilinear east, north, up place: radii of curvature."""
    e2 = F_WGS84 * (2 - F_WGS84)
    lat = lat0 + north / (A_WGS84 * (1 - e2) / (1 - e2 * math.sin(lat0) ** 2) ** 1.5 + elev)
    mid = 0.5 * (lat + lat0)
    lat = lat0 + north / (A_WGS84 * (1 - e2) / (1 - e2 * math.sin(mid) ** 2) ** 1.5 + elev)
    return lat, lon0 + east / ((A_WGS84 / math.sqrt(1 - e2 * math.sin(lat) ** 2) + elev) * math.cos(lat)), elev + up


def layouts_of(case):
    """The flight's layouts: one packet for all, or a fast one and a GNSS one."""
    has, r = case.sensors["has"], case.radio
    text = r["framing"] == "lines"
    head = ["tx"] + (["seq"] if r["has_seq"] else []) + (["ms"] if r["has_clock"] or r["reboot"] else [])
    fast = []
    fast += ["pressure"] if has["pressure"] else []
    fast += ["axial"] if has["axial"] else []
    fast += ["laty", "latz"] if has["axial"] and has["lateral"] else []
    fast += ["tilt"] if has["tilt"] else []
    fast += ["h", "v"] if has["own"] else []
    slow = (["lat", "lon", "ell" if r.get("ellipsoid") else "amsl", "fix"] + (["hsd"] if r["big_endian"] else [])) if has["gnss"] else []
    slow += ["ve", "vn", "vd"] if has["velocity"] and has["gnss"] else []
    tail = ["boots"] if r["reboot"] else []
    tail += ["batt"] if r["rssi"] else []
    bits = r["clock_bits"] if not text else 32
    rate = case.sensors["rate_hz"]
    flags = [c["name"] for c in case.told["cue"] if c["body"] == "Body"][:8]
    use_flags = not text and r["flags"]
    end = ["rssi"] if r["rssi"] else []
    if r["split"] and fast and slow:
        return [Layout("fast packet", head + fast + tail + (["flags"] if use_flags else []) + end, text, r["big_endian"], "LF" if text else 0x31, rate, bits, flags),
                Layout("position packet", head + slow + end, text, r["big_endian"], "LP" if text else 0x32,
                       min(case.sensors["gnss"]["rate"], rate), bits, flags)]
    return [Layout("packet", head + fast + slow + tail + (["flags"] if use_flags else []) + end, text, r["big_endian"], "LW" if text else 0x21, rate, bits, flags)]


class Transmitter:
    """Sends a body's packets by its own clock."""

    def __init__(self, case, body, track, t_end, layouts, board=None):
        self.case, self.body, self.layouts, self.track = case, body, layouts, track
        self.board = board or Board(case, track, t_end, track.charges)
        rng, r = case.rng, case.radio
        self.ppm = r["ppm"] if body == 0 else rng.normal(0, 40.0)
        # sometimes the clock wraps in flight
        near = (1 << r["clock_bits"]) - int(rng.uniform(0, 60000)) if rng.random() < 0.5 else r["clock_start"]
        self.clock0 = float(near % (1 << r["clock_bits"]))
        if r["framing"] == "lines":
            self.clock0 = rng.uniform(3e4, 4e6)
        self.seq = int(rng.integers(0, 65536))
        self.reboots = []
        if r["reboot"] and body == 0:
            a, b = track.events["liftoff"], track.events["landing"]
            span = [(0.3, 0.9, track.events["apogee"] - a), (0.05, 0.3, b - a)][int(rng.integers(2))]
            at = a + rng.uniform(span[0], span[1]) * span[2]
            self.reboots = [(at, at + rng.uniform(0.8, 3.0))]
        self.t_end = t_end
        self.parent_cues = []
        self.boot_t = -case.pad_s - self.clock0 / 1000.0
        self.own_zero = 0.0

    def packets(self):
        """Yields (time measured, layout, values, boot)."""
        case, rng = self.case, self.case.rng
        times = []
        for li, lay in enumerate(self.layouts):
            t = -case.pad_s + rng.uniform(0.01, 1.0 / lay.rate)
            while t < self.t_end - 0.05:
                times.append((t, li))
                t += (1.0 / lay.rate) * (1 + self.ppm * 1e-6) + rng.normal(0, 0.0008)
        times.sort()
        boot, zero, clock_base, base_t = 0, 0.0, self.clock0, -case.pad_s
        fi, last_fix = 0, None
        b = self.board
        fix_lag_extra = 0.005
        for t, li in times:
            if any(a <= t < c for a, c in self.reboots):
                continue
            n = sum(1 for a, c in self.reboots if t >= c)
            if n != boot:
                boot = n
                base_t, clock_base = self.reboots[n - 1][1] - 0.4, 0.0
                self.seq = 0
                k = min(int((t + case.pad_s) / 0.01), len(b.t) - 1)
                zero = b.own_h[k] if b.own_h is not None else 0.0
            k = min(int((t + case.pad_s) / 0.01), len(b.t) - 1)
            v = dict(tx=self.body + 1, seq=self.seq % 65536, ms=clock_base + (t - base_t) * 1000.0 * (1 + self.ppm * 1e-6),
                     boots=3 + boot, batt=7.9 - 0.0002 * (t + case.pad_s))
            self.seq += 1
            if b.pressure is not None:
                v["pressure"] = b.pressure[k] / 100.0
            if b.axial is not None:
                v["axial"] = b.axial[k]
                if b.lateral is not None:
                    v["laty"], v["latz"] = b.lateral[0][k], b.lateral[1][k]
            if b.tilt is not None:
                v["tilt"] = math.degrees(b.tilt[k])
            if b.own_h is not None:
                v["h"], v["v"] = b.own_h[k] - zero, b.own_v[k]
            if b.fixes is not None:
                fresh = False
                while fi < len(b.fixes) and b.fixes[fi][0] + fix_lag_extra <= t:
                    last_fix, fresh, fi = b.fixes[fi], True, fi + 1
                if last_fix is not None and (fresh or case.radio["repeat_fix"] or len(self.layouts) == 2) and last_fix[7]:
                    lat, lon, amsl = geodetic(case.latitude_rad, case.longitude_rad, case.told["site"]["elevation_m"], *last_fix[1:4])
                    v.update(lat=math.degrees(lat), lon=math.degrees(lon), amsl=amsl,
                             ell=amsl + case.told["site"]["geoid_above_ellipsoid_m"], fix=1,
                             hsd=case.sensors["gnss"]["sigma"] * 1.2, ve=last_fix[4], vn=last_fix[5], vd=-last_fix[6])
                else:
                    v["fix"] = 0 if last_fix is None or not last_fix[7] else 1
            v["flags"] = self.flags(t, boot, self.layouts[li].flag_bits)
            v["body"] = self.state(t)
            yield t, li, v, boot

    def flags(self, t, boot, channels):
        """What the vehicle's own computer says by now, late and sometimes early; a restart forgets."""
        ev, says = self.track.events, self.case.radio["says"]
        since = self.reboots[boot - 1][1] if boot else -math.inf
        bits = 0
        for i, what in enumerate(SAYS):
            if what in ev and t >= ev[what] + says[what] and ev[what] > since:
                bits |= 1 << i
        done = {c["name"] for c in self.track.cues if c["t"] <= t}
        return bits | sum(1 << (i + len(SAYS)) for i, ch in enumerate(channels) if ch in done)

    def state(self, t):
        """What a body's own computer knows of its cues and of where it is in the flight."""
        ev, cues = self.track.events, self.case.told["cue"]
        done = {c["name"] for c in self.track.cues if c["t"] <= t}
        done |= {c["name"] for c in self.parent_cues if c["t"] <= t}
        name = self.case.told["body"][self.body]["name"]
        mode = 0 if t < ev["liftoff"] + 0.2 else 1 if t < ev.get("apogee", ev["landing"]) + 0.2 else 2 if t < ev["landing"] + 3 else 3
        return dict(cues={c["name"]: c["name"] in done for c in cues}, own=[c["name"] for c in cues if c["body"] == name],
                    free=self.track.freed is not None and t >= self.track.freed + 0.02, mode=mode)


def sample_of(case, body, si, t_s, t_receive_s, boot):
    """What the engine would hand to the estimator for one decoded packet."""
    s = dict(body=body, t_s=t_s, t_sd_s=0.01, t_receive_s=t_receive_s, boot=boot, pressure_pa=si.get("pressure"),
             axial_mps2=si.get("axial"), lateral_mps2=None, fix=None, velocity=None, tilt_rad=si.get("tilt"),
             own_height_m=si.get("h"), own_climb_mps=si.get("v"))
    if "laty" in si:
        s["lateral_mps2"] = [si["laty"], si["latz"]]
    if si.get("fix", 0) >= 1 and "lat" in si:
        h = si.get("amsl")
        if h is None and "ell" in si:
            h = si["ell"] - case.told["site"]["geoid_above_ellipsoid_m"]
        s["fix"] = dict(latitude_rad=si["lat"], longitude_rad=si["lon"], height_amsl_m=h,
                        horizontal_sd_m=si.get("hsd"), vertical_sd_m=None)
        if "ve" in si:
            s["velocity"] = dict(horizontal_mps=[si["ve"], si["vn"]], up_mps=-si["vd"])
    return s


def reports_of(body, si, t_s, t_receive_s, boot, said):
    """Reports that come of one packet's flags: the interval between the last packet without and the first with."""
    if "flags" not in si:
        return []
    out = []
    for i, what in enumerate(SAYS):
        key = (body, boot, what)
        if int(si["flags"]) >> i & 1:
            if said.get(key) != "done":
                out.append({"report": dict(body=body, event=what, after_s=said.get(key), by_s=round(t_s, 6), t_receive_s=round(t_receive_s, 6))})
            said[key] = "done"
        elif said.get(key) != "done":
            said[key] = round(t_s, 6)
    return out


def transmit(case, tracks, declared=None, boards=None):
    """All packets through all receivers: (pieces of bytes, packets heard, layouts, links, receivers' names).

    `declared` gives each body's layouts where a setup file was written by hand; `boards` its sensors where they
    are not those of a flight.
    """
    rng, r = case.rng, case.radio
    layouts = layouts_of(case) if declared is None else []
    framing = Framing(r["framing"], rng, crc=r.get("crc"), big=r["big_endian"])
    if r["framing"] == "fixed":
        size = CRCS[framing.crc][0]
        longest = max(len(lay.pack({n: 0 for n in lay.names})[0]) for lay in layouts)
        framing.fixed_length = 2 + longest + size
    t_down = max(t.events["landing"] for t in tracks)
    t_end = t_down + case.after_s
    names = r.get("receiver_names") or ["Mast", "Truck"][: r["receivers"]]
    links = [dict(name=f"{n.lower()} serial", receiver=n, kind="serial", path=f"/dev/serial/by-id/{n.lower()}", baud=115200,
                  layouts=[lay.name for lay in layouts], framing=framing.told()) for n in names]
    apogee = tracks[0].events.get("apogee", tracks[0].events["landing"])
    arrivals = []  # (t_receive, link, bytes, sample or None)
    for body, track in enumerate(tracks):
        own = layouts if declared is None else declared[body]
        tx = Transmitter(case, body, track, t_end, own, boards[body] if boards else None)
        tx.parent_cues = tracks[0].cues if body else []
        losses = [Loss(rng, r.get("loss_table", {}).get((n, body), r["loss"] * (1.0 if i == 0 else 1.3)), r["burst"]) for i, n in enumerate(names)]
        fades = [Fades(rng, r["fade"], apogee) for _ in names]
        for t, li, values, boot in tx.packets():
            z = float(np.interp(t, track.rec["t"], track.rec["z"])) if t > 0 else 0.0
            x = float(np.interp(t, track.rec["t"], track.rec["x"])) if t > 0 else 0.0
            for i, n in enumerate(names):
                values["rssi"] = signal_dbm(math.hypot(z, x) + 120.0, rng, -70.0 - 9.0 * i - r.get("dim", {}).get((n, body), 0.0))
                payload, si = own[li].pack(values)
                if losses[i].lost(fades[i].extra(t)):
                    continue
                frame = framing.frame(payload)
                frame, bad = spoil(rng, frame, r["flips"])
                delay = 0.004 + len(frame) * 10 / 115200 + r["delay"] + rng.exponential(r["jitter"])
                if rng.random() < 0.003:
                    delay += rng.uniform(0.05, 0.4)
                t_map = t + rng.normal(0, 0.004) if "ms" in own[li].names else None
                arrivals.append([t + delay, i, frame, None if bad else (body, li, si, t_map, boot, values["seq"])])
    # each link hands over in order
    by_link = [[a for a in sorted(arrivals, key=lambda a: a[0]) if a[1] == i] for i in range(len(names))]
    out, heard = [], []
    t0 = None
    for i, seq in enumerate(by_link):
        last = -1e9
        for a in seq:
            tr = max(a[0], last + 0.0005)
            if r["bunch"]:
                # a driver that hands over on a timer: all that came since goes in one piece
                tr = max(math.ceil(a[0] / r["bunch"]) * r["bunch"], last)
            last = tr
            frame = a[2]
            if rng.random() < r["garbage"]:
                junk = rng.integers(0, 256, int(rng.integers(1, 30))).astype(np.uint8).tobytes()
                out.append((tr - 0.0002, i, junk))
            if not r["bunch"] and rng.random() < 0.3 and len(frame) > 4:
                cut = int(rng.integers(1, len(frame)))
                out.append((max(tr - rng.uniform(0.0003, 0.003), last - 0.0004), i, frame[:cut]))
                out.append((tr, i, frame[cut:]))
            else:
                out.append((tr, i, frame))
            if a[3] is not None:
                heard.append((tr, *a[3]))
    return out, heard, layouts, links, names


def settle(case, pieces, heard):
    """Orders recording and samples on one axis whose zero is the first packet's whole UTC second."""
    utc = case.liftoff_utc
    fixed = []
    # pieces of one link must stay in the order in which they were made
    last = {}
    for tr, link, data in pieces:
        tr = max(tr, last.get(link, -1e9))
        last[link] = tr
        if case.radio["bunch"] and fixed and fixed[-1][0] == tr and fixed[-1][2] == link:
            # what a driver hands over in one read is one piece
            fixed[-1] = (tr, fixed[-1][1], link, fixed[-1][3] + data)
            continue
        fixed.append((tr, len(fixed), link, data))
    fixed.sort(key=lambda x: (x[0], x[1]))
    epoch = math.floor(utc + fixed[0][0])
    recording = [dict(t_receive=round(utc + tr, 6), link=link, bytes=base64.b64encode(data).decode()) for tr, _, link, data in fixed]
    seen, samples, said = set(), [], {}
    shift = utc - epoch
    for tr, body, li, si, t_map, boot, seq in sorted(heard, key=lambda h: h[0]):
        key = (body, li, seq, boot, round((t_map if t_map is not None else tr) / 600))
        if key in seen:
            continue
        seen.add(key)
        t_s = t_map if t_map is not None else tr - 0.06
        s = sample_of(case, body, si, round(t_s + shift, 6), round(tr + shift, 6), boot)
        if t_map is None:
            s["t_sd_s"] = 0.05
        samples.append(s)
        samples += reports_of(body, si, t_s + shift, tr + shift, boot, said)
    return recording, samples, epoch, shift


def truth_of(case, tracks, shift, epoch):
    """Everything that really happened, times on the samples' axis."""
    bodies = []
    for i, tr in enumerate(tracks):
        ev = {k: round(v + shift, 4) for k, v in tr.events.items()}
        grid = np.arange(math.ceil((min(tr.events["liftoff"], 0) - 0.5) * 10) / 10, tr.events["landing"] + 0.1, 0.1)
        cols = {k: np.interp(grid, tr.rec["t"], tr.rec[k]) for k in ("x", "y", "z", "vx", "vy", "vz", "airspeed", "press", "axial")}
        lean = lean_of(tr, grid)
        ap = tr.events.get("apogee")
        apogee = None
        if ap is not None:
            apogee = dict(t_s=round(ap + shift, 4), utc=round(ap + shift + epoch, 4), height_m=float(tr.at("z", ap)),
                          airspeed_mps=float(tr.at("airspeed", ap)),
                          ground_speed_mps=float(math.hypot(tr.at("vx", ap), tr.at("vy", ap))))
        landing = dict(tr.landing)
        landing["t_s"] = round(landing.pop("t") + shift, 4)
        bodies.append(dict(
            name=tr.name, parent=tr.parent, events=ev, apogee=apogee, landing=landing,
            cues=[{**{k: v for k, v in c.items() if k != "t"}, "t_s": round(c["t"] + shift, 4)} for c in tr.cues],
            openings=[{**{k: v for k, v in o.items() if k != "t"}, "t_s": round(o["t"] + shift, 4)} for o in tr.openings],
            state=dict(t_s=[round(x + shift, 3) for x in grid.tolist()],
                       **{n: [round(v, 3) for v in cols[k].tolist()] for k, n in
                          (("x", "east_m"), ("y", "north_m"), ("z", "height_m"), ("vx", "ve_mps"), ("vy", "vn_mps"),
                           ("vz", "climb_mps"), ("airspeed", "airspeed_mps"), ("axial", "axial_mps2"))},
                       lean_rad=[round(v, 4) for v in lean.tolist()])))
    return dict(simulator_version=VERSION, cls=case.cls, seed=case.seed, utc_epoch_s=epoch,
                liftoff_t_s=bodies[0]["events"]["liftoff"], true=case.true, bodies=bodies)


def lean_of(track, grid):
    """Path angle through the air from vertical, rad."""
    v = [np.interp(grid, track.rec["t"], track.rec[a]) - np.interp(grid, track.rec["t"], track.rec[w])
         for a, w in (("vx", "wx"), ("vy", "wy"), ("vz", "wz"))]
    return np.arctan2(np.hypot(v[0], v[1]), v[2])


def flown(cls, seed, change=None):
    """(case, tracks) of the first draw of this seed that flies and belongs to its class; `change` alters what is drawn."""
    (low, high), (mach_low, mach_high) = BOUNDS.get(cls, ((60.0, 6000.0), (0.0, 2.0)))
    for attempt in range(40):
        case = draw(cls, seed, attempt)
        if change is not None:
            change(case)
        try:
            tracks = fly(case.vehicle, case.air, case.wind, case.latitude_rad, case.rng)
        except ValueError:
            continue
        ev = tracks[0].events
        if "apogee" not in ev or "burnout" not in ev:
            continue
        if cls == "straight" and float(tracks[0].at("airspeed", ev["apogee"])) > STRAIGHT_AIRSPEED_MPS:
            continue
        up = tracks[0].rec["t"] < ev["apogee"]
        mach = float(np.max(tracks[0].rec["airspeed"][up])) / 335.0
        if low <= float(tracks[0].at("z", ev["apogee"])) <= high and mach_low <= mach <= mach_high:
            case.true["attempt"] = attempt
            case.true["greatest_mach"] = mach
            return case, tracks
    raise ValueError(f"no flight of class {cls} from seed {seed}")


def write(case, tracks, folder, recording_name="recording.jsonl", with_samples=True, header=""):
    """Makes one flight's folder; returns truth and counts."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    pieces, heard, layouts, links, names = transmit(case, tracks)
    named = [(tr, links[i]["name"], d) for tr, i, d in pieces]
    recording, samples, epoch, shift = settle(case, named, heard)
    truth = truth_of(case, tracks, shift, epoch)
    dump = lambda o: json.dumps(o, separators=(",", ":"))
    (folder / "setup.toml").write_text(setup_toml(case.told, links, [lay.told(case.radio["framing"] == "fixed") for lay in layouts], header))
    (folder / "motor.csv").unlink(missing_ok=True)
    if "curve" in case.told["motor"]:
        (folder / "motor.csv").write_text("".join(f"{t:.4f},{f:.3f}\n" for t, f in scaled_curve(case.told["motor"])))
    (folder / "plan.json").write_text(dump(plan_json(case.told)))
    (folder / recording_name).write_text("".join(dump(x) + "\n" for x in recording))
    if with_samples:
        (folder / "samples.jsonl").write_text("".join(dump(x) + "\n" for x in samples))
    (folder / "truth.json").write_text(dump(truth))
    return truth, len(samples)


def make(cls, seed, out):
    """Draws, flies and writes one flight."""
    return write(*flown(cls, seed), Path(out) / f"{cls}-{seed:04d}")
