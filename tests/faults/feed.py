"""Plays a recording into pseudo-terminals, as radios' receivers would, and keeps count of what went in when.

Standard library only, so that browser tests and fault tests can use it on a bare machine.

As a program it prints one JSON line {"ports": {link: path}} and then obeys JSON lines on standard input:
    {"do": "play", "from_s": seconds into the recording, "to_s": .., "speed": 1}   plays in the background, no answer
    {"do": "write", "link": name, "bytes": base64}                                answers {"wrote_ms": milliseconds}
    {"do": "stop"}                                                                stops playing
"""

import argparse
import base64
import fcntl
import json
import os
import pathlib
import re
import struct
import sys
import tempfile
import termios
import threading
import time
import tty


def read_recording(path):
    """Lines of a recording as (seconds from the first line, link, bytes)."""
    first = None
    lines = []
    with open(path, encoding="utf-8") as file:
        for line in file:
            if not line.strip():
                continue
            record = json.loads(line)
            first = record["t_receive"] if first is None else first
            lines.append((record["t_receive"] - first, record["link"], base64.b64decode(record["bytes"])))
    return lines


class Ports:
    """One pseudo-terminal a link; the program under test opens the far side as a serial port.

    Each has a name of its own, as under /dev/serial/by-id. A station that was told the number, and outlives the terminal, would
    open the next terminal that gets it, which is somebody else's."""

    def __init__(self, links):
        self.near, self.path, self._far = {}, {}, {}
        self._folder = pathlib.Path(tempfile.mkdtemp(prefix="loftwatch-ports-"))
        for number, link in enumerate(links):
            self.path[link] = str(self._folder / f"port-{number}")
            self.open(link)

    def open(self, link):
        near, far = os.openpty()
        tty.setraw(near, termios.TCSANOW)
        tty.setraw(far, termios.TCSANOW)
        os.set_blocking(near, False)
        self.near[link], self._far[link] = near, far
        os.symlink(os.ttyname(far), self.path[link])

    def shut(self, link):
        os.unlink(self.path[link])
        os.close(self.near.pop(link))
        os.close(self._far.pop(link))

    def write(self, link, data):
        """Writes without waiting; a full line drops the rest, as a receiver without flow control does."""
        try:
            return os.write(self.near[link], data)
        except BlockingIOError:
            return 0

    def drain(self):
        """Throws away what nobody has read; answers how many bytes that was, by link."""
        unread = {}
        for link, far in self._far.items():
            unread[link] = struct.unpack("i", fcntl.ioctl(far, termios.FIONREAD, b"\0" * 4))[0]
            termios.tcflush(far, termios.TCIFLUSH)
        return unread

    def close(self):
        for link in list(self.near):
            self.shut(link)
        self._folder.rmdir()


class Player(threading.Thread):
    """Plays lines of a recording at a speed; `sent` holds (monotonic time after the write, link, bytes)."""

    def __init__(self, ports, lines, from_s=0.0, to_s=float("inf"), speed=1.0):
        super().__init__(daemon=True)
        self.ports, self.speed, self.from_s = ports, speed, from_s
        self.lines = [line for line in lines if from_s <= line[0] <= to_s]
        self.sent, self.halt = [], threading.Event()

    def run(self):
        started = time.monotonic()
        for at_s, link, data in self.lines:
            wait = started + (at_s - self.from_s) / self.speed - time.monotonic()
            if wait > 0 and self.halt.wait(wait):
                return
            if self.halt.is_set():
                return
            wrote = self.ports.write(link, data)
            self.sent.append((time.monotonic(), link, data[:wrote]))


def links_of(lines):
    return sorted({link for _, link, _ in lines})


def setup_with_ports(text, paths):
    """The setup with every [[link]] turned into a serial port at the path given for its name."""
    head, *links = re.split(r"(?m)^(?=\[\[link\]\])", text)
    out = [head]
    for block in links:
        # The link's own table and its framing stay; what follows another table header is not the link's.
        name = re.search(r'(?m)^name\s*=\s*"([^"]*)"', block).group(1)
        if name in paths:
            own, sep, rest = block.partition("[link.framing]")
            own = re.sub(r"(?m)^(kind|path|connect|listen|allow_network|baud)\s*=.*\n", "", own)
            own = own.rstrip("\n") + f'\nkind = "serial"\npath = "{paths[name]}"\nbaud = 115200\n'
            block = own + "\n" + sep + rest
        out.append(block)
    return "".join(out)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("recording")
    parser.add_argument("--setup", help="setup file to rewrite for the ports")
    parser.add_argument("--setup-out", help="where the rewritten setup goes")
    options = parser.parse_args()
    lines = read_recording(options.recording)
    ports = Ports(links_of(lines))
    if options.setup:
        with open(options.setup, encoding="utf-8") as file:
            text = setup_with_ports(file.read(), ports.path)
        with open(options.setup_out, "w", encoding="utf-8") as file:
            file.write(text)

    def answer(**what):
        print(json.dumps(what), flush=True)

    answer(ports=ports.path, seconds=lines[-1][0])
    player = None
    for order in sys.stdin:
        order = json.loads(order)
        if order["do"] == "play":
            player = Player(
                ports, lines, order.get("from_s", 0.0), order.get("to_s", float("inf")), order.get("speed", 1.0)
            )
            player.start()
        elif order["do"] == "stop" and player:
            player.halt.set()
            player.join()
        elif order["do"] == "write":
            ports.write(order["link"], base64.b64decode(order["bytes"]))
            answer(wrote_ms=time.time() * 1000)
    ports.close()


if __name__ == "__main__":
    main()
