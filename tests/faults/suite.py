"""Injects faults into a station while a flight is received, and looks whether more was lost than the promise allows: what
is on the disk when a commit returns is kept; what a port did not hand over, or what the station said it is not keeping, may be
lost, and is counted.

usage: python3 tests/faults/suite.py [NAME ...]
Prints a table row a fault, survived or LOST, with what was found; exits 1 if anything was lost. SIGKILL has kill.py to itself.
"""

import argparse
import contextlib
import hashlib
import json
import os
import pathlib
import random
import shutil
import socket
import sqlite3
import struct
import subprocess
import sys
import tempfile
import threading
import time

import bad
from feed import Player, Ports, links_of, read_recording, setup_with_ports
from station import TOP, Station, program, stored_bytes

DEMO = TOP / "demo-data/tall-order"
HEAD = bad.HEAD
# A packet that has been on its way for longer than this is on the disk: 50 ms for the commit, and as much for the way.
PROMISE_S = 0.1
# A port that is back is looked for twice a second; after failures in a row up to some seconds later.
HEARD_AGAIN_S = 1.5


class Faults:
    """The shim beside this file, laid over the C library of one station."""

    def __init__(self, folder):
        self.library, self.told = folder / "shim.so", folder / "faults"
        source = pathlib.Path(__file__).with_name("shim.c")
        subprocess.run(["gcc", "-shared", "-fPIC", "-O1", "-o", self.library, source, "-ldl"], check=True)
        self.told.write_bytes(bytes(32))
        self.env = {"LD_PRELOAD": str(self.library), "LOFTWATCH_FAULTS": str(self.told)}

    def _put(self, at, number):
        with open(self.told, "r+b") as file:
            file.seek(at)
            file.write(struct.pack("<q", number))

    def slow_disk(self, seconds):
        self._put(0, int(seconds * 1e9))

    def step_clock(self, seconds):
        self._put(8, int(seconds * 1e9))

    def taken(self):
        """How many syncs were held up, and how often the clock was asked for."""
        return struct.unpack("<4q", self.told.read_bytes())[2:]


class Plugs(Ports):
    """Ports that are pulled out and plugged in again."""

    def __init__(self, links):
        super().__init__(links)
        self._lock = threading.Lock()
        self.in_since = {link: time.monotonic() for link in links}
        # By link: from when to when it was plugged in, in the past.
        self.was_in = {link: [] for link in links}

    def write(self, link, data):
        with self._lock:
            return super().write(link, data) if link in self.near else 0

    def unplug(self, link):
        with self._lock:
            self.shut(link)
            self.was_in[link].append((self.in_since.pop(link), time.monotonic()))

    def plug(self, link):
        with self._lock:
            self.open(link)
            self.in_since[link] = time.monotonic()

    def is_due(self, link, at):
        """Whether a packet of that moment must be kept."""
        spans = [*self.was_in[link], (self.in_since.get(link, float("inf")), float("inf"))]
        first = min(since for since, _ in spans)
        ready = {since: since if since == first else since + HEARD_AGAIN_S for since, _ in spans}
        return any(ready[since] <= at < until - PROMISE_S for since, until in spans)


class Flight:
    """The demo flight, a station and its ports."""

    def __init__(self, folder, faults=None, plugs=False):
        self.folder, self.faults = folder, faults
        self.lines = read_recording(DEMO / "flight.jsonl")
        self.truth = json.loads((DEMO / "truth.json").read_text())
        self.from_s = self.truth["liftoff_t_s"] - 5.0
        links = links_of(self.lines)
        self.ports = Plugs(links) if plugs else Ports(links)
        self.setup, self.data = folder / "setup.toml", folder / "data"
        self.setup.write_text(setup_with_ports((DEMO / "setup.toml").read_text(), self.ports.path))
        self.start()
        time.sleep(0.7)
        self.player = Player(self.ports, self.lines, from_s=self.from_s)
        self.player.start()

    def start(self):
        self.station = Station(self.setup, self.data, env=self.faults.env if self.faults else None)
        self.station.wait_ready()

    def fly_to(self, after_liftoff_s):
        """Waits until so long after liftoff; negative: before."""
        at = self.truth["liftoff_t_s"] + after_liftoff_s
        while self.player.is_alive() and not (self.player.sent and self._played() >= at):
            time.sleep(0.02)

    def _played(self):
        return self.from_s + time.monotonic() - self.player.sent[0][0]

    def now(self):
        return json.loads(self.station.get("/api/now"))

    def land(self):
        """Plays on until a second after the landing, then ends all."""
        self.fly_to(self.truth["bodies"][0]["events"]["landing"] - self.truth["liftoff_t_s"] + 1.0)
        self.end()

    def end(self):
        self.player.halt.set()
        self.player.join()
        time.sleep(0.5)
        self.code = self.station.end()
        self.kept, self.numbers = stored_bytes(self.data)

    def close(self):
        self.ports.close()

    def missing(self, is_due=lambda link, at: True):
        """How many packets that were due are not in the store, in order, and how many were due."""
        missing = due = 0
        place = dict.fromkeys(self.kept, 0)
        for at, link, data in self.player.sent:
            if not data:
                continue
            found = bytes(self.kept[link]).find(data, place.get(link, 0)) if is_due(link, at) else None
            if found is None:
                continue
            due += 1
            missing += found < 0
            if found >= 0:
                place[link] = found + len(data)
        return missing, due

    def gapless(self):
        return self.numbers == list(range(1, len(self.numbers) + 1))

    def rerun_is_the_same(self):
        done = subprocess.run([program(), "check", "--data", str(self.data)], capture_output=True, text=True, check=False)
        return done.returncode == 0, done.stdout + done.stderr

    def events(self):
        """The newest of each of the vehicle's own events: UTC seconds on the axis of station time."""
        store = sqlite3.connect(f"file:{self.data / 'derived.db'}?mode=ro", uri=True)
        try:
            rows = store.execute(
                "SELECT json_extract(data, '$.event.event.kind'), json_extract(data, '$.event.event.t_s') FROM output "
                "WHERE kind = 'event' AND flight = 1 AND body = 0 ORDER BY seq"
            ).fetchall()
        finally:
            store.close()
        return dict(rows)

    def apogee_is_right(self):
        """Whether the flight that was followed is the one that was flown."""
        events, true = self.events(), self.truth["bodies"][0]["events"]
        if "liftoff" not in events or "apogee" not in events:
            return False, "no liftoff or no apogee"
        off = (events["apogee"] - events["liftoff"]) - (true["apogee"] - true["liftoff"])
        return abs(off) < 1.0, f"liftoff to apogee {off:+.2f} s off"


@contextlib.contextmanager
def flight(folder, **options):
    flown = Flight(folder, **options)
    try:
        yield flown
    finally:
        flown.close()


def unplugged(folder, times=5):
    """A port is pulled out in flight and plugged in again some 2 s later, both receivers at once, {times} times."""
    missing = due = 0
    again = []
    right = True
    for number in range(times):
        here = folder / str(number)
        here.mkdir()
        with flight(here, plugs=True) as flown:
            flown.fly_to(random.Random(number).uniform(1.0, 9.0))
            links = list(flown.ports.path)
            for link in links:
                flown.ports.unplug(link)
            time.sleep(random.Random(number).uniform(1.8, 2.3))
            for link in links:
                flown.ports.plug(link)
            back = time.time()
            bad.wait(lambda f=flown: (f.now()["bodies"][0]["heard_t_s"] or 0) + utc_offset(f.now()) > back, 10)
            again.append(time.time() - back)
            time.sleep(3.0)
            now = flown.now()
            flown.end()
            lost, count = flown.missing(flown.ports.is_due)
            missing, due = missing + lost, due + count
            right &= flown.gapless() and now["flight"] == 1 and now["liftoff_t_s"] is not None and flown.code == 0
    return right and not missing, (
        f"{missing} of {due} packets missing that a plugged port had handed over; heard again after {max(again):.2f} s at most; "
        f"every flight went on {right}"
    )


def utc_offset(now):
    return now["utc_s"] - now["t_s"]


def flapping(folder):
    """One receiver comes and goes every second or so for a whole flight, the other one stays."""
    rng = random.Random(3)
    with flight(folder, plugs=True) as flown:
        flown.fly_to(-2.0)
        times = 0
        while flown._played() < flown.truth["bodies"][0]["events"]["landing"]:
            flown.ports.unplug("mast serial")
            time.sleep(rng.uniform(0.1, 1.2))
            flown.ports.plug("mast serial")
            time.sleep(rng.uniform(0.1, 2.5))
            times += 1
        flown.land()
        missing, due = flown.missing(flown.ports.is_due)
        steady = sum(link == "truck serial" for _, link, data in flown.player.sent if data)
        apogee, words = flown.apogee_is_right()
        same, said = flown.rerun_is_the_same()
        right = not missing and flown.gapless() and apogee and same
        return right, (
            f"pulled {times} times, {missing} of {due} packets missing that were due (the other receiver's {steady} among them), "
            f"{words}, stored outputs are the rerun's {same}" + ("" if same else said[-300:])
        )


def slow_disk(folder):
    """Every sync takes 2 s for a whole flight of four transmitters through two receivers (100 packets/s)."""
    faults = Faults(folder)
    with flight(folder, faults=faults) as flown:
        flown.fly_to(-3.0)
        faults.slow_disk(2.0)
        oldest, told, late, asked = 0.0, 0, [], 0
        while flown.player.is_alive() and flown._played() < flown.truth["bodies"][0]["events"]["landing"]:
            now = flown.now()
            asked += 1
            if now["not_kept_since_s"] is not None:
                told += now["disk"] == "slow"
                oldest = max(oldest, now["t_s"] - now["not_kept_since_s"])
            late.append(now["t_s"] - now["bodies"][0]["heard_t_s"])
            time.sleep(0.1)
        held, _ = faults.taken()
        faults.slow_disk(0)
        caught_up = bad.wait(lambda: flown.now()["not_kept_since_s"] is None and flown.now()["disk"] is None, 15)
        flown.land()
        missing, due = flown.missing()
        apogee, words = flown.apogee_is_right()
        same, said = flown.rerun_is_the_same()
        late.sort()
        right = not missing and flown.gapless() and held > 20 and told and caught_up and apogee and same and oldest < 8.0
        return right, (
            f"{held} syncs held up; {missing} of {due} packets missing; said so {told} of {asked} times; at most {oldest:.1f} s "
            f"not kept; the vehicle was last heard {late[len(late) // 2]:.2f} s before (median), {late[-1]:.2f} s (greatest); "
            f"{words}; caught up {caught_up}; stored outputs are the rerun's {same}" + ("" if same else said[-300:])
        )


def slow_disk_and_kill(folder, times=10):
    """Every sync takes 2 s, and the station is killed: only what it had said that it does not keep may be lost, {times} times."""
    missing = due = unsaid = 0
    right = True
    greatest = 0.0
    for number in range(times):
        here = folder / str(number)
        here.mkdir()
        faults = Faults(here)
        with flight(here, faults=faults) as flown:
            flown.fly_to(-3.0)
            faults.slow_disk(2.0)
            flown.fly_to(random.Random(number).uniform(2.0, 9.0))
            now = flown.now()
            killed = time.monotonic()
            # Its own word, put on the axis of this program's clock: between the word and the kill nothing more was kept.
            said = now["not_kept_since_s"]
            since = now["t_s"] if said is None else said
            age = time.time() - (since + utc_offset(now))
            flown.station.kill()
            unsaid += said is None
            greatest = max(greatest, age)
            flown.player.halt.set()
            flown.player.join()
            faults.slow_disk(0)
            flown.start()
            time.sleep(1.0)
            again = flown.now()
            flown.end()
            lost, count = flown.missing(lambda _, at, k=killed, a=age: at < k - a - PROMISE_S)
            missing, due = missing + lost, due + count
            right &= flown.gapless() and again["flight"] == 1 and flown.code == 0
    return right and not missing, (
        f"{missing} of {due} packets missing that it had not called unkept; at most {greatest:.1f} s were unkept; "
        f"not said at all {unsaid} times; every flight went on {right}"
    )


def clock_stepped(folder):
    """The wall clock steps by +1 h, -3 h and back in flight, and the station is killed and started while it is 2 h behind."""
    faults = Faults(folder)
    with flight(folder, faults=faults) as flown:
        for after, step in ((1.0, 3600.0), (3.0, -7200.0)):
            flown.fly_to(after)
            faults.step_clock(step)
        flown.fly_to(4.0)
        killed = time.monotonic()
        flown.station.kill()
        flown.start()
        up = time.monotonic()
        flown.fly_to(14.0)
        faults.step_clock(0)
        flown.land()
        store = sqlite3.connect(f"file:{flown.data / 'inputs.db'}?mode=ro", uri=True)
        times = store.execute("SELECT t_ns, utc_ns, kind FROM input ORDER BY number").fetchall()
        store.close()
        pairs = list(zip(times, times[1:], strict=False))
        jumps = [(b[1] - a[1]) / 1e9 for a, b in pairs]
        spaces = [(b[0] - a[0]) / 1e9 for a, b in pairs if b[2] != "started"]
        missing, due = flown.missing(lambda _, at: at < killed - PROMISE_S or at > up + HEARD_AGAIN_S)
        apogee, words = flown.apogee_is_right()
        same, said = flown.rerun_is_the_same()
        stepped = max(jumps) > 3000 and min(jumps) < -3000
        steady = min(spaces) > 0 and max(spaces) < 1.0
        right = stepped and steady and not missing and flown.gapless() and apogee and same
        return right, (
            f"the recorded wall clock jumped by {min(jumps):.0f} to {max(jumps):+.0f} s, station time never back and by "
            f"{max(spaces):.2f} s at most; {missing} of {due} packets missing; {words}; stored outputs are the rerun's {same}"
            + ("" if same else said[-300:])
        )


def digest(file):
    return hashlib.sha256(file.read_bytes()).hexdigest() if file.exists() else None


def serve(setup, data, *more):
    """Starts a station and ends it: exit code and what it said, and the station's own state while it ran."""
    station = Station(setup, data, extra=more)
    with contextlib.suppress(RuntimeError):
        station.wait_ready(30)
        station.get("/api/now")
    up = station.address is not None
    return station.end(), "\n".join(station.lines), up


def truncated(folder):
    """The files of a killed station are cut short at many places: opened with all before the cut, or refused and left alone."""
    with flight(folder) as flown:
        flown.fly_to(4.0)
        flown.station.kill()
        flown.player.halt.set()
        flown.player.join()
        setup, whole = flown.setup, flown.data
    # One with everything in its file, one with the newest part in its write-ahead log.
    folded = folder / "folded"
    shutil.copytree(whole, folded)
    serve(setup, folded)
    before, _ = stored_bytes(folded)
    wrong, refused, went_on, rebuilt = [], 0, 0, 0
    page = 4096
    size, log = (folded / "inputs.db").stat().st_size, (whole / "inputs.db-wal").stat().st_size
    cuts = [(folded, "inputs.db", at) for at in (1, 50, 99, 100, 2000, page, 2 * page, size // 2, size // 2 // page * page, size - page, size - 1)]
    cuts += [(whole, "inputs.db", at) for at in (0, 1, 100, page)]
    cuts += [(whole, "inputs.db-wal", at) for at in (0, 10, 32, 100, log // 3, log // 2, log - 1)]
    for original, name, at in cuts:
        data = folder / "cut"
        shutil.rmtree(data, ignore_errors=True)
        shutil.copytree(original, data)
        os.truncate(data / name, at)
        found = {file: digest(data / file) for file in ("inputs.db", "inputs.db-wal")}
        code, said, up = serve(setup, data)
        if up and code == 0:
            went_on += 1
            kept, numbers = stored_bytes(data)
            prefix = all(bytes(before[link]).startswith(bytes(piece)) for link, piece in kept.items())
            # What a log held that is gone was not promised any more; what was folded into the file was.
            if not prefix or numbers != list(range(1, len(numbers) + 1)) or name == "inputs.db":
                wrong.append(f"{name} cut at {at}: went on with {len(numbers)} inputs")
            checked = subprocess.run([program(), "check", "--data", str(data)], capture_output=True, text=True, check=False)
            if checked.returncode:
                wrong.append(f"{name} cut at {at}: check says {checked.returncode}: {checked.stdout[-200:]}{checked.stderr[-200:]}")
        else:
            refused += 1
            same = all(digest(data / file) == was for file, was in found.items())
            if code != 3 or not same or "--set-aside" not in said:
                wrong.append(f"{name} cut at {at}: exit code {code}, files as they were {same}: {said[-200:]}")
            code, said, up = serve(setup, data, "--set-aside")
            if not up or code != 0:
                wrong.append(f"{name} cut at {at}: not set aside: {said[-200:]}")
    size = (folded / "derived.db").stat().st_size
    for at in (0, 50, page, size // 2, size - 1):
        data = folder / "cut"
        shutil.rmtree(data, ignore_errors=True)
        shutil.copytree(folded, data)
        os.truncate(data / "derived.db", at)
        _, _, up = serve(setup, data)
        checked = subprocess.run([program(), "check", "--data", str(data)], capture_output=True, text=True, check=False)
        rebuilt += 1
        if not up or checked.returncode:
            wrong.append(f"derived.db cut at {at}: up {up}, check {checked.returncode}: {checked.stdout[-300:]}")
    return not wrong, (
        f"{len(cuts)} cuts of the inputs: {went_on} went on with all before the cut, {refused} refused with a way on and left as "
        f"they were; {rebuilt} cuts of the outputs, computed again to the bit" + "".join(f"; {w}" for w in wrong)
    )


def full_disk(folder):
    """A disk that fills up while frames come in, and has room again later."""
    return bad.full_disk(folder, None)


def read_only_disk(folder):
    """A disk that takes no writing: serving is refused, looking is not."""
    return bad.read_only_disk(folder, None)


def overrun(folder):
    """A disk that stands still for 20 s while 400 MB come in over TCP: what finds no room is counted to the byte."""
    faults = Faults(folder)
    setup = folder / "setup.toml"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    setup.write_text(f'{HEAD}[[link]]\nname = "radio"\nkind = "tcp"\nlisten = "127.0.0.1:{port}"\n{bad.LINES}')
    station = Station(setup, folder / "data", env=faults.env)
    station.wait_ready()
    faults.slow_disk(20.0)
    piece = (b"x" * 999 + b"\n") * 100
    sent = 0
    with socket.create_connection(("127.0.0.1", port)) as stream:
        while sent < 400_000_000:
            stream.sendall(piece)
            sent += len(piece)
    peak = bad.peak_mb(station.process.pid)
    faults.slow_disk(0)
    done = bad.wait(lambda: json.loads(station.get("/api/now"))["not_kept_since_s"] is None, 60)
    time.sleep(1.0)
    lost_now = json.loads(station.get("/api/now"))["lost_bytes"]
    station.end()
    store = sqlite3.connect(f"file:{folder / 'data' / 'inputs.db'}?mode=ro", uri=True)
    kept = store.execute("SELECT coalesce(sum(length(data)), 0) FROM input WHERE kind = 'bytes'").fetchone()[0]
    told = store.execute(
        "SELECT coalesce(sum(json_extract(CAST(data AS TEXT), '$.lost.bytes')), 0) FROM input WHERE kind = 'lost'"
    ).fetchone()[0]
    store.close()
    right = done and kept + told + lost_now == sent and told + lost_now > 0 and peak < bad.MOST_MB
    return right, (
        f"of {sent / 1e6:.0f} MB {kept / 1e6:.0f} MB were kept, {told} bytes counted in the record and {lost_now} on the page: "
        f"{sent - kept - told - lost_now} bytes unaccounted for; at most {peak:.0f} MB of memory"
    )


def socket_overrun(folder):
    """A UDP socket overruns while the program stands still: what the system threw away is counted to the datagram."""
    setup = folder / "setup.toml"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    setup.write_text(f'{HEAD}[[link]]\nname = "radio"\nkind = "udp"\nlisten = "127.0.0.1:{port}"\n{bad.LINES}')
    station = Station(setup, folder / "data")
    station.wait_ready()
    time.sleep(0.5)
    sent = 0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        station.process.send_signal(19)
        for _ in range(40_000):
            out.sendto(b"x" * 299 + b"\n", ("127.0.0.1", port))
            sent += 1
        station.process.send_signal(18)
        time.sleep(1.0)
        # How many are missing is told with the next one that comes.
        for _ in range(20):
            out.sendto(b"x" * 299 + b"\n", ("127.0.0.1", port))
            sent += 1
            time.sleep(0.02)
    time.sleep(1.0)
    station.end()
    store = sqlite3.connect(f"file:{folder / 'data' / 'inputs.db'}?mode=ro", uri=True)
    kept = store.execute("SELECT count(*) FROM input WHERE kind = 'bytes'").fetchone()[0]
    reasons = store.execute(
        "SELECT json_extract(CAST(data AS TEXT), '$.lost.reason') FROM input WHERE kind = 'lost' AND link = 'radio'"
    ).fetchall()
    store.close()
    counted = sum(int(reason.split()[0]) for (reason,) in reasons)
    return kept < sent and kept + counted == sent, (
        f"of {sent} datagrams {kept} came in and {counted} were counted as thrown away by the system"
    )


CASES = {
    "unplugged": unplugged,
    "flapping": flapping,
    "slow-disk": slow_disk,
    "slow-disk-and-kill": slow_disk_and_kill,
    "clock": clock_stepped,
    "full-disk": full_disk,
    "read-only-disk": read_only_disk,
    "truncated": truncated,
    "overrun": overrun,
    "socket-overrun": socket_overrun,
}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", choices=[[], *CASES], help="only these")
    options = parser.parse_args()
    lost = tried = 0
    print("| fault | | what was found |\n|---|---|---|", flush=True)
    for name in options.names or CASES:
        case = CASES[name]
        with tempfile.TemporaryDirectory() as folder:
            right, found = case(pathlib.Path(folder))
        lost += right is False
        tried += right is not None
        defaults = dict(zip(("times",), case.__defaults__ or (), strict=False))
        told = case.__doc__.splitlines()[0].format(**defaults)
        verdict = {True: "survived", False: "**LOST**", None: "not tried"}[right]
        print(f"| {told} | {verdict} | {found} |", flush=True)
    print(f"\n{tried} faults, {tried - lost} survived, {lost} lost something.")
    sys.exit(bool(lost))


if __name__ == "__main__":
    main()
