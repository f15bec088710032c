"""Kills the station with SIGKILL at random moments of a flight, starts it again, and looks whether anything
received more than 100 ms before the kill is missing, and whether the restarted station carries the flight on.

usage: python3 tests/faults/kill.py [--times 50] [--at-once 4] [--seed 1]
Prints one line a kill (to standard error), those that lost something again, and a summary; exits 1 if anything was lost.
"""

import argparse
import concurrent.futures
import json
import os
import pathlib
import random
import statistics
import sys
import tempfile
import time

from feed import Player, Ports, links_of, read_recording, setup_with_ports
from station import TOP, Station, stored_bytes

PROMISE_S = 0.1


def one(demo, seed):
    """One flight with one kill. Answers a dict of figures."""
    rng = random.Random(seed)
    lines = read_recording(demo / "flight.jsonl")
    liftoff_s = json.loads((demo / "truth.json").read_text())["liftoff_t_s"]
    from_s = max(0.0, liftoff_s - 3.0)
    kill_after = rng.uniform(0.5, 16.0)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        ports = Ports(links_of(lines))
        setup = folder / "setup.toml"
        setup.write_text(setup_with_ports((demo / "setup.toml").read_text(), ports.path))
        station = Station(setup, folder / "data")
        station.wait_ready()
        time.sleep(0.7)
        player = Player(ports, lines, from_s=from_s)
        player.start()
        time.sleep(kill_after)
        killed = time.monotonic()
        station.kill()
        player.halt.set()
        player.join()
        promised, sent, when = {}, {}, {}
        for at, link, data in player.sent:
            sent[link] = sent.get(link, 0) + len(data)
            when.setdefault(link, []).append((sent[link], killed - at))
            if at < killed - PROMISE_S:
                promised.setdefault(link, bytearray()).extend(data)
        # What a station that was not let run had not read yet was not received: it lies in the port, behind all that was.
        unread = ports.drain()
        for link, data in promised.items():
            del data[sent[link] - unread[link] :]
        station = Station(setup, folder / "data")
        up_s = station.wait_ready()
        time.sleep(0.7)
        resumed = Player(ports, lines, from_s=from_s + (time.monotonic() - killed) + kill_after)
        resumed.start()
        time.sleep(2.0)
        now = json.loads(station.get("/api/now"))
        resumed.halt.set()
        resumed.join()
        station.end()
        kept, numbers = stored_bytes(folder / "data")
        ports.close()
        lost = [link for link, data in promised.items() if not bytes(kept[link]).startswith(bytes(data))]
        return {
            "kill_after_s": kill_after,
            "links_with_loss": len(lost),
            "oldest_lost_s": max((age_of(same(kept[link], promised[link]), when[link]) for link in lost), default=0.0),
            "load": os.getloadavg()[0],
            "numbers_without_gap": numbers == list(range(1, len(numbers) + 1)),
            "promised_bytes": sum(map(len, promised.values())),
            "unread_bytes": sum(unread.values()),
            "up_again_s": up_s,
            "goes_on": now["flight"] == 1 and (now["liftoff_t_s"] is not None or kill_after < 4.0),
        }


def same(a, b):
    """How many bytes two streams begin alike with."""
    return next((i for i, (x, y) in enumerate(zip(a, b)) if x != y), min(len(a), len(b)))


def age_of(index, when):
    """How long before the kill the byte with this index was sent, s."""
    return next(age for up_to, age in when if index < up_to)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--at-once", type=int, default=4, help="flights that are flown side by side")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--demo", default=str(TOP / "demo-data/tall-order"))
    options = parser.parse_args()
    results = []
    # A flight takes a quarter of a minute and little of the machine: they are flown side by side.
    with concurrent.futures.ThreadPoolExecutor(options.at_once) as flights:
        seeds = [options.seed * 1000 + number for number in range(options.times)]
        for result in flights.map(lambda seed: one(pathlib.Path(options.demo), seed), seeds):
            results.append(result)
            print(json.dumps(result), file=sys.stderr, flush=True)
    bad = [
        r
        for r in results
        if r["links_with_loss"] or not r["numbers_without_gap"] or not r["goes_on"]
    ]
    for result in bad:
        print(json.dumps(result))
    up = statistics.median(r["up_again_s"] for r in results)
    worst = max(r["up_again_s"] for r in results)
    print(
        f"{len(results)} kills, {len(results) - len(bad)} survived, {len(bad)} lost something; "
        f"up again after {up:.2f} s (median), {worst:.2f} s (worst)"
    )
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
