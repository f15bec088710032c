"""A whole range day: 8 hours, four transmitters at 20 Hz through two receivers, 100 flights inside, hours of waiting at the end.
The store is written by the station's own code (server/station/src/store/day.rs), then a station goes on with it.

usage: python3 tests/faults/day.py [--hours 8] [--flights 100] [--folder DIR]
Prints figures; exits 1 if a start takes longer than it may.
"""

import argparse
import json
import os
import pathlib
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

from feed import Player, Ports, links_of, read_recording, setup_with_ports
from station import TOP, Station

DEMO = TOP / "demo-data/tall-order"
# With 100 flights inside; and after a kill in the middle of a wait, until all is computed that came since the snapshot.
START_S, RESTART_S = 1.0, 2.0


def write_day(folder, options):
    command = ["cargo", "test", "--locked", "--quiet", "--release", "--package", "loftwatch-station", "--bin", "loftwatch"]
    told = {"LOFTWATCH_DAY": folder, "LOFTWATCH_DAY_HOURS": options.hours, "LOFTWATCH_DAY_FLIGHTS": options.flights}
    subprocess.run(
        [*command, "writes_a_range_day", "--", "--ignored", "--nocapture"],
        cwd=TOP,
        env={**os.environ, **{key: str(value) for key, value in told.items()}},
        check=True,
    )


def resident_mb(station):
    status = pathlib.Path(f"/proc/{station.process.pid}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


def start(setup, data):
    """A station, the seconds until it served, and the seconds until all stored inputs were computed."""
    begun = time.monotonic()
    station = Station(setup, data)
    up = station.wait_ready(600)
    while not any("stored inputs computed" in line for line in station.lines):
        if time.monotonic() - begun > 600:
            raise RuntimeError("\n".join(station.lines[-20:]))
        time.sleep(0.01)
    return station, up, time.monotonic() - begun


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--flights", type=int, default=100)
    parser.add_argument("--folder", help="where the day is, or is to be written; kept")
    options = parser.parse_args()
    folder = pathlib.Path(options.folder or tempfile.mkdtemp(prefix="loftwatch-day-"))
    folder.mkdir(parents=True, exist_ok=True)
    data = folder / "data"
    if not data.exists():
        data.mkdir()
        write_day(data, options)
    for name in ("inputs.db", "derived.db"):
        print(f"{name}: {(data / name).stat().st_size / 1e6:.0f} MB")

    lines = read_recording(DEMO / "flight.jsonl")
    ports = Ports(links_of(lines))
    setup = folder / "setup.toml"
    setup.write_text(setup_with_ports((DEMO / "setup.toml").read_text(), ports.path))
    # The first one takes in the new setup; what follows is the day as it goes on, killed in the middle of the wait.
    starts, restarts, answers = [], [], []
    peak = 0.0
    for number in range(6):
        station, up, caught_up = start(setup, data)
        starts.append(up)
        restarts.append(caught_up)
        begun = time.monotonic()
        flights = json.loads(station.get("/api/flights"))
        answers.append(time.monotonic() - begun)
        player = Player(ports, lines, to_s=4.0 + number)
        player.start()
        player.join()
        peak = max(peak, resident_mb(station))
        station.kill()
        ports.drain()
    print(f"{len(flights)} flights listed in {max(answers) * 1000:.0f} ms at most")
    print(f"serving after {statistics.median(starts):.2f} s (median of {len(starts)}), {max(starts):.2f} s at most")
    print(f"all computed after {statistics.median(restarts):.2f} s, {max(restarts):.2f} s at most, after a kill in the wait")
    print(f"at most {peak:.0f} MB resident")
    said = [re.sub(r"^\S+\s+", "", line) for line in station.lines if "stored inputs" in line]
    print("\n".join(said))
    ports.close()
    if not options.folder:
        shutil.rmtree(folder)
    sys.exit(max(starts) > START_S or max(restarts) > RESTART_S)


if __name__ == "__main__":
    main()
