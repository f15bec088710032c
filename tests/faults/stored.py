"""Makes a data folder out of recordings, as if a station had received them: in seconds, not in real time.

    python3 stored.py PROGRAM DATA SETUP RECORDING [SETUP RECORDING ...]

Each recording becomes a flight; the crew ends the one before. The last one is two minutes past. Standard library only.
The program itself makes the store, and computes all outputs afterwards (`rebuild`), so that nothing of it is imitated here
but rows of inputs.
"""

import base64
import json
import os
import signal
import sqlite3
import subprocess
import sys

BEFORE_S = 120
BETWEEN_S = 600


def made(program, setup, data):
    """A store with its first setup and start."""
    process = subprocess.Popen(
        [program, "serve", "--setup", setup, "--data", data, "--listen", "127.0.0.1:0"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    while True:
        line = process.stdout.readline()
        if "http://" in line:
            break
        if not line:
            raise SystemExit("the program did not start")
    process.send_signal(signal.SIGTERM)
    process.stdout.read()
    process.wait()


def meant(program, setup):
    told = subprocess.run([program, "setup", "check", "--json", setup], check=True, capture_output=True, text=True)
    return json.loads(told.stdout)["setup"]


def pieces(recording):
    with open(recording, encoding="utf-8") as file:
        for line in file:
            if line.strip():
                one = json.loads(line)
                yield one["t_receive"], one["link"], base64.b64decode(one["bytes"])


def main(program, data, *flights):
    flights = [(flights[i], flights[i + 1]) for i in range(0, len(flights), 2)]
    made(program, flights[0][0], data)
    store = sqlite3.connect(os.path.join(data, "inputs.db"), isolation_level=None)
    number, now_ns = store.execute("SELECT max(number), max(t_ns) FROM input").fetchone()
    read = [(setup, list(pieces(recording))) for setup, recording in flights]
    length_s = sum(p[-1][0] - p[0][0] + BETWEEN_S for _, p in read)
    # What the program has written goes back in time, so that nothing lies in the future.
    back_ns = int((length_s + BEFORE_S) * 1e9)
    store.execute("BEGIN")
    store.execute("UPDATE input SET t_ns = t_ns - ?, utc_ns = utc_ns - ?", (back_ns, back_ns))
    at_ns = now_ns - back_ns
    def told(t_ns, kind, what):
        nonlocal number
        number += 1
        store.execute("INSERT INTO input (number, t_ns, utc_ns, kind, link, data) VALUES (?, ?, ?, ?, NULL, ?)",
                      (number, t_ns, t_ns, kind, json.dumps(what).encode()))
    for index, (setup, all_pieces) in enumerate(read):
        if index:
            told(at_ns, "end_flight", {"end_flight": {"who": "crew"}})
            told(at_ns + 1, "setup_change", {"setup_change": meant(program, setup)})
        begin_ns, first_s = at_ns + int(1e9), all_pieces[0][0]
        for t_s, link, piece in all_pieces:
            number += 1
            t_ns = max(begin_ns + int(round((t_s - first_s) * 1e9)), at_ns)
            store.execute("INSERT INTO input (number, t_ns, utc_ns, kind, link, data) VALUES (?, ?, ?, 'bytes', ?, ?)",
                          (number, t_ns, t_ns, link, piece))
            at_ns = t_ns
        at_ns += int(BETWEEN_S * 1e9)
    told(at_ns, "end_flight", {"end_flight": {"who": "crew"}})
    store.execute("COMMIT")
    store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    subprocess.run([program, "rebuild", "--data", data], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    print(json.dumps({"flights": len(flights), "inputs": number}))


if __name__ == "__main__":
    main(*sys.argv[1:])
