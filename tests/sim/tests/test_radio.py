"""Frames, checksums and losses against their published definitions."""
import numpy as np
import pytest

from sim.framing import CRCS, Framing, cobs, slip
from sim.packets import Layout
from sim.radio import Loss


@pytest.mark.parametrize(("name", "check"), [
    # "check" column of the public CRC catalogue, over the text 123456789
    ("CRC-16/IBM-3740", 0x29B1), ("CRC-16/XMODEM", 0x31C3), ("CRC-16/KERMIT", 0x2189), ("CRC-16/MODBUS", 0x4B37),
    ("CRC-32/ISO-HDLC", 0xCBF43926),
])
def test_crc_catalogue(name, check):
    assert CRCS[name][1](b"123456789") == check


def test_cobs_examples():
    # Cheshire and Baker 1999
    assert cobs(b"\x11\x22\x00\x33") == b"\x03\x11\x22\x02\x33\x00"
    assert cobs(b"\x00") == b"\x01\x01\x00"
    long = bytes(range(1, 255))
    assert cobs(long)[0] == 0xFF and 0 not in cobs(long)[:-1]


def test_slip_escapes():
    # RFC 1055
    assert slip(b"\xc0\xdb\x01") == b"\xc0\xdb\xdc\xdb\xdd\x01\xc0"


def test_lines_carry_the_exclusive_or():
    frame = Framing("lines").frame(b"LW,1,2")
    body, _, check = frame[1:-2].partition(b"*")
    x = 0
    for b in body:
        x ^= b
    assert body == b"LW,1,2" and int(check, 16) == x and frame[:1] == b"$" and frame[-2:] == b"\r\n"


def test_packing_reads_back_to_the_step():
    lay = Layout("p", ["tx", "seq", "ms", "pressure", "axial", "lat"], False, True, 0x21, 10.0, 16)
    payload, si = lay.pack(dict(tx=1, seq=70000, ms=70000, pressure=876.5432, axial=-12.34, lat=None))
    assert len(payload) == lay.told()["length"]
    assert si["pressure"] == pytest.approx(87654.32, abs=0.06) and si["axial"] == pytest.approx(-12.35, abs=0.03)
    assert si["seq"] == 70000 % 65536 and si["ms"] == pytest.approx((70000 % 65536) / 1000) and "lat" not in si


@pytest.mark.parametrize("loss", [0.05, 0.3, 0.6])
def test_burst_loss_has_its_mean_and_comes_in_bursts(loss):
    model = Loss(np.random.Generator(np.random.PCG64(5)), loss, 4.0)
    lost = np.array([model.lost() for _ in range(60000)])
    assert lost.mean() == pytest.approx(loss, abs=0.02)
    edges = np.diff(lost.astype(int))
    assert lost.sum() / max((edges == 1).sum(), 1) > 1.2 / (1 - loss)
