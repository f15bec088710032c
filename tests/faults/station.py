"""Starts and ends the built program, and looks into its store from outside. Standard library only."""

import collections
import os
import pathlib
import re
import signal
import sqlite3
import subprocess
import threading
import time
import urllib.request

TOP = pathlib.Path(__file__).resolve().parents[2]


def program():
    """The built program: the variable LOFTWATCH, else the newest one in the target folder."""
    named = os.environ.get("LOFTWATCH")
    if named:
        return named
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", TOP / "target"))
    built = [target / profile / "loftwatch" for profile in ("release", "demo", "debug")]
    built = [path for path in built if path.is_file()]
    if not built:
        raise SystemExit("no built loftwatch found: build it, or name it in the variable LOFTWATCH")
    return str(max(built, key=lambda path: path.stat().st_mtime))


class Station:
    """One running station on a free port of the loopback address."""

    def __init__(self, setup, data, listen="127.0.0.1:0", extra=(), env=None):
        self.started = time.monotonic()
        command = [program(), "serve", "--setup", str(setup), "--data", str(data), "--listen", listen, *extra]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env={**os.environ, **(env or {})}
        )
        self.lines = []
        self.address = None
        self._ready = threading.Event()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))
            found = re.search(r"http://127\.0\.0\.1:(\d+)", line)
            if found and not self.address:
                self.address = f"http://127.0.0.1:{found.group(1)}"
                self._ready.set()
        self._ready.set()

    def wait_ready(self, timeout=60):
        """Seconds from start until the address was printed."""
        self._ready.wait(timeout)
        if not self.address:
            raise RuntimeError("the station did not come up:\n" + "\n".join(self.lines[-40:]))
        return time.monotonic() - self.started

    def get(self, path):
        with urllib.request.urlopen(self.address + path, timeout=10) as answer:
            return answer.read()

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def end(self):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.kill()
        return self.process.returncode


def stored_bytes(data):
    """All bytes kept, by link, in the order of their numbers; and the numbers, which must have no gap."""
    store = sqlite3.connect(f"file:{pathlib.Path(data) / 'inputs.db'}?mode=ro", uri=True)
    try:
        rows = store.execute("SELECT number, kind, link, data FROM input ORDER BY number").fetchall()
    finally:
        store.close()
    kept = collections.defaultdict(bytearray)
    for _, kind, link, piece in rows:
        if kind == "bytes":
            kept[link] += piece
    return kept, [row[0] for row in rows]
