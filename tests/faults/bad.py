"""Bad input that is too big, or needs too much of the machine, for the tests of the server: random bytes by the megabyte, a line
without an end. The cases of full and of read-only disks (tried where this may mount a small disk of its own: as root on Linux)
are run by suite.py.

usage: python3 tests/faults/bad.py [--line-mb 1000]
Prints one line a case with what was found; exits 1 if any is not as it should be.
"""

import argparse
import json
import os
import pathlib
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time

from feed import Ports
from station import Station, program, stored_bytes

HEAD = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n"
LINES = (
    '[link.framing]\nkind = "lines"\n'
    '[[layout]]\nname = "count"\nkind = "text"\nstarts_with = "LW"\n[[layout.field]]\nname = "n"\n'
)
# Memory that a station may take, whatever comes: its two queues of 64 MB, SQLite's caches, the program itself.
MOST_MB = 500


def setup(folder, link):
    file = folder / "setup.toml"
    file.write_text(f'{HEAD}[[link]]\nname = "radio"\n{link}\n{LINES}')
    return file


def peak_mb(pid):
    status = pathlib.Path(f"/proc/{pid}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def wait(true, seconds):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if true():
            return True
        time.sleep(0.1)
    return False


def kept(data):
    return sum(map(len, stored_bytes(data)[0].values()))


def good_frames(data):
    """Of a second on the pad one good frame is kept, but each reading that was heard first."""
    store = sqlite3.connect(f"file:{data / 'derived.db'}?mode=ro", uri=True)
    try:
        return store.execute("SELECT count(*) FROM output WHERE kind = 'reading'").fetchone()[0]
    finally:
        store.close()


def garbage(folder, _):
    """5 MB of random bytes through a pseudo-terminal, then a good line."""
    ports = Ports(["radio"])
    os.set_blocking(ports.near["radio"], True)
    station = Station(setup(folder, f'kind = "serial"\npath = "{ports.path["radio"]}"'), folder / "data")
    station.wait_ready()
    time.sleep(0.5)
    noise = random.Random(1).randbytes(5_000_000)
    for at in range(0, len(noise), 1024):
        ports.write("radio", noise[at : at + 1024])
    before = b"\n$LW,1*06\n" * 20
    ports.write("radio", before)
    whole = wait(lambda: kept(folder / "data") == len(noise) + len(before), 60)
    answers = "bodies" in json.loads(station.get("/api/now"))
    peak, code = peak_mb(station.process.pid), station.end()
    ports.close()
    good = good_frames(folder / "data")
    return whole and answers and code == 0 and good >= 20 and peak < MOST_MB, (
        f"all kept {whole}, page answers {answers}, {good} good frames, at most {peak:.0f} MB, exit code {code}"
    )


def endless_line(folder, options):
    """A line without an end on standard input, then a good one."""
    file = setup(folder, 'kind = "stdin"')
    command = [program(), "serve", "--setup", str(file), "--data", str(folder / "data"), "--listen", "127.0.0.1:0"]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    piece = b"x" * 1_000_000

    def pour():
        for _ in range(options.line_mb):
            child.stdin.write(piece)
        child.stdin.write(b"\nlast\n")
        child.stdin.flush()

    thread = threading.Thread(target=pour)
    thread.start()
    thread.join(600)
    size = options.line_mb * len(piece) + 6
    store = sqlite3.connect(f"file:{folder / 'data' / 'inputs.db'}?mode=ro", uri=True)
    total = "SELECT sum(length(data)) FROM input WHERE kind = 'bytes'"
    whole = wait(lambda: store.execute(total).fetchone()[0] == size, 300)
    store.close()
    peak = peak_mb(child.pid)
    child.terminate()
    code = child.wait(60)
    return whole and code == 0 and peak < MOST_MB, f"all kept {whole}, at most {peak:.0f} MB, exit code {code}"


def endless_recording(folder, options):
    """The same as a recording."""
    file = setup(folder, 'kind = "stdin"')
    command = [program(), "rerun", "--setup", str(file), "-"]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    peak = 0.0
    for number in range(options.line_mb):
        child.stdin.write(b"x" * 1_000_000)
        if number % 50 == 0:
            peak = max(peak, peak_mb(child.pid))
    out, said = child.communicate()
    right = child.returncode == 3 and b"line 1 of the recording" in said and not out
    return right and peak < MOST_MB, f"at most {peak:.0f} MB, exit code {child.returncode}"


class SmallDisk:
    """A disk of a few megabytes, or None where it cannot be mounted."""

    def __init__(self, folder, size):
        self.path = folder / "disk"
        self.path.mkdir()
        self.is_there = self._mount("-t", "tmpfs", "-o", f"size={size}", "none")

    def _mount(self, *what):
        return subprocess.run(["mount", *what, str(self.path)], capture_output=True, check=False).returncode == 0

    def remount(self, how):
        return self._mount("-o", f"remount,{how}")

    def end(self):
        if self.is_there:
            subprocess.run(["umount", str(self.path)], check=False)


def full_disk(folder, _):
    """A disk that fills up while frames come in, and has room again later."""
    disk = SmallDisk(folder, "3m")
    if not disk.is_there:
        return None, "not tried: no disk can be mounted here"
    try:
        ports = Ports(["radio"])
        os.set_blocking(ports.near["radio"], True)
        file = setup(folder, f'kind = "serial"\npath = "{ports.path["radio"]}"')
        station = Station(file, disk.path / "data")
        station.wait_ready()
        time.sleep(0.5)
        sent = 0
        for _ in range(400):
            sent += ports.write("radio", b"x" * 9_000 + b"\n")
            time.sleep(0.01)
        def told():
            now = json.loads(station.get("/api/now"))
            return now["not_kept_since_s"] is not None and now["disk"] == "full"

        said = wait(told, 10)
        words = any("disk full" in line for line in station.lines)
        disk.remount("size=60m")
        whole = wait(lambda: kept(disk.path / "data") == sent, 20)
        over = wait(lambda: json.loads(station.get("/api/now"))["disk"] is None, 10)
        code = station.end()
        ports.close()
        return said and words and whole and over and code == 0, (
            f"said on the page {said} and in the log {words}, all kept once there was room {whole}, "
            f"said so {over}, exit code {code}"
        )
    finally:
        disk.end()


def read_only_disk(folder, _):
    """A disk that takes no writing: serving is refused, looking is not."""
    disk = SmallDisk(folder, "20m")
    if not disk.is_there:
        return None, "not tried: no disk can be mounted here"
    try:
        file = setup(folder, 'kind = "stdin"')
        station = Station(file, disk.path / "data")
        station.wait_ready()
        station.end()
        disk.remount("ro")
        codes = {}
        for command in (["serve", "--setup", str(file), "--listen", "127.0.0.1:0"], ["flights"], ["rerun"]):
            done = subprocess.run(
                [program(), *command, "--data", str(disk.path / "data")],
                capture_output=True,
                text=True,
                timeout=60,
                check=False,
            )
            codes[command[0]] = done.returncode
            if command[0] == "serve":
                named = "cannot be written" in done.stderr and "mounted for writing" in done.stderr
        return codes == {"serve": 3, "flights": 0, "rerun": 0} and named, f"exit codes {codes}, reason given {named}"
    finally:
        disk.end()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--line-mb", type=int, default=1000, help="length of the line without an end, MB")
    options = parser.parse_args()
    failed = 0
    for case in (garbage, endless_line, endless_recording):
        with tempfile.TemporaryDirectory() as folder:
            right, found = case(pathlib.Path(folder), options)
        failed += right is False
        verdict = {True: "right", False: "WRONG", None: "-"}[right]
        print(f"{verdict}: {case.__doc__.splitlines()[0]} {found}", flush=True)
    sys.exit(bool(failed))


if __name__ == "__main__":
    main()
