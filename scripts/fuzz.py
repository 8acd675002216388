"""Broken and hostile files: .venv/bin/python scripts/fuzz.py [CASES] [--first N] [--keep DIR] [--kills N]

Good files of every format that is read are changed in ways that mean something to the format - a count, an
offset, a number of the text, a tag, a length with its content - and given to a command. It has to end by
itself, with status 0 or 2, in one message of ours at most: no traceback, no fault in the program, no signal,
no noise of a library, no letter that steers a terminal, within a minute and 2 GiB; nothing that it was given
is changed, nothing is left half-written, and nobody is called over the network.

With --kills N, each command that writes is killed at N random moments instead: what is found then has to be
all old or all new, and the next run has to bring it to its end.

Case N is the same on every run. What fails is told with its number, and its files are put into the folder of
--keep. Each case is a process of its own, forked from one that has loaded everything.
"""

import argparse
import contextlib
import hashlib
import json
import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import struct
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

#: Seconds of a processor and bytes within which a command comes to its end; and seconds of a busy machine.
MOST_S, MOST_BYTES, MOST_WAIT_S = 60, 2 << 30, 600
#: What every line of a message of ours begins with, and what no line may have.
_OURS = re.compile(r"terrain3d: |Usage: |Try |  |the site has changed since |finished mounts are kept ")
_NOISE = re.compile(
    r"Traceback|fault in the program|Warning|panicked|Error:|ERROR|terminate called|GDAL|HDF5"
)
_STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")

SITE = """\
[site]
name = "slope"
cell = 1.0
[ground]
plane = { fall = 5, towards = 180, extent = 24 }
[[solid]]
name = "wall"
path = [[2, 2], [5, 2], [5, 4]]
height = 1.2
thickness = 0.2
[[foliage]]
name = "hedge"
path = [[-6, -3], [6, -3]]
height = 1.4
thickness = 0.6
density = "medium"
[[mount]]
name = "pole"
at = [0, 8]
heights = [1.0]
[[protect]]
name = "yard"
outline = [[-3, -2], [3, -2], [3, 4], [-3, 4]]
weight = 1.0
[[walk]]
name = "across"
path = [[-9, 0], [9, 0]]
[boundary]
outline = [[-11, -11], [11, -11], [11, 11], [-11, 11]]
[[nuisance]]
name = "vent"
kind = "vent"
at = [0, 2]
width = 0.4
height = 1.2
[[mark]]
name = "gate post"
at = [4, 8]
[supply]
volts = 13.8
lowest_volts = 11.0
standby_hours = 12
battery_ah = 7
[[supply.run]]
to = "pole"
length = 20
mm2 = 0.5
[[option]]
name = "one"
[[option.detector]]
name = "D1"
mount = "pole"
type = "own.toml"
height = 1.0
bearing = 180
"""
GROUND = "plane = { fall = 5, towards = 180, extent = 24 }"


class Case(NamedTuple):
    """A command's words, and the folder of its files in which it is run."""

    form: str
    words: list[str]


# Good files of every format.

X0, Y0 = 500_000.0, 6_000_000.0
_PLY = """ply
format {how} 1.0
element vertex {n}
property double x
property double y
property double z
element face {m}
property list uchar int vertex_indices
end_header
"""


def good_files(folder: Path) -> dict[str, bytes]:
    """A small file of each format, by its name. Those in a CRS lie about (X0, Y0) in EPSG:32631."""
    import numpy as np
    import pyogrio
    import pyproj
    import shapely
    import trimesh
    from affine import Affine

    made_files, bad_files = import_module("made_files"), import_module("readers.test_bad_files")

    n = 25
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(n) - 12.0, np.arange(n) - 12.0))
    z = 100 + 0.1 * x + (x * y % 3) * 0.01
    near, far = np.column_stack([x, y, z]), np.column_stack([x + X0, y + Y0, z])
    for name, point_format in (("a.las", 6), ("b.las", 1), ("a.laz", 7), ("b.laz", 3)):
        version = "1.4" if point_format > 5 else "1.2"
        made_files.write_las(folder / name, far, point_format=point_format, version=version)
    shutil.copy(ROOT / "tests" / "data" / "simple.copc.laz", folder / "a.copc.laz")
    heights, placed = z.reshape(n, n), Affine(1, 0, X0 - 12, 0, -1, Y0 + 12)
    made_files.write_tif(folder / "a.tif", heights, placed)
    made_files.write_tif(folder / "b.tif", heights, placed, compress="deflate", predictor=2)
    made_files.write_tif(
        folder / "c.tif", heights, placed, tiled=True, blockxsize=16, blockysize=16, compress="lzw"
    )
    rows = "\n".join(" ".join(f"{value:.2f}" for value in row) for row in heights)
    head = "ncols 25\nnrows 25\nxllcorner -12\nyllcorner -12\ncellsize 1\nNODATA_value -9999\n"
    (folder / "a.asc").write_text(head + rows + "\n")
    (folder / "a.xyz").write_text("".join(f"{a:.2f} {b:.2f} {c:.2f}\n" for a, b, c in near))
    lines = (f"{k};{a:.2f};{b:.2f};{c:.2f};GRD\n" for k, (a, b, c) in enumerate(near))
    (folder / "a.csv").write_text("P;E;N;Z;CODE\n" + "".join(lines))
    corners = [(r * n + c, r * n + c + 1, r * n + c + n) for r in range(n - 1) for c in range(n - 1)]
    corners += [(r * n + c + 1, r * n + c + n + 1, r * n + c + n) for r in range(n - 1) for c in range(n - 1)]
    mesh = trimesh.Trimesh(near, corners, process=False)
    for name in ("a.stl", "a.obj", "a.glb"):
        mesh.export(folder / name)
    head = _PLY.format(how="ascii", n=n * n, m=len(corners))
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in corners)
    (folder / "a.ply").write_text(head + "".join(f"{a} {b} {c}\n" for a, b, c in near) + faces)
    packed = b"".join(struct.pack("<B3i", 3, *corner) for corner in corners)
    head = _PLY.format(how="binary_little_endian", n=n * n, m=len(corners))
    (folder / "b.ply").write_bytes(head.encode() + near.astype("<f8").tobytes() + packed)
    bad_files.write_dxf(folder / "a.dxf")
    bad_files.write_landxml(folder / "a.xml")
    made_files.write_e57(
        folder / "a.e57", {"cartesianX": x, "cartesianY": y, "cartesianZ": z, "returnIndex": x % 2 > 0}
    )
    yards = [shapely.box(-3, -2, 3, 4), shapely.Polygon([(-8, -8), (-5, -8), (-5, -5)])]
    far_yards = shapely.transform(yards, lambda at: at + np.array([X0, Y0]))
    to_degrees = pyproj.Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True)
    degrees = shapely.transform(far_yards, lambda at: np.column_stack(to_degrees.transform(*at.T)))
    drawn = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"name": f"yard {k}"},
                "geometry": json.loads(shapely.to_geojson(one)),
            }
            for k, one in enumerate(degrees)
        ],
    }
    (folder / "a.geojson").write_text(json.dumps(drawn))
    names = [np.array(["yard 0", "yard 1"], object)]
    told = {"geometry_type": "Polygon", "crs": "EPSG:32631"}
    for name, driver in (("a.gpkg", "GPKG"), ("a.shp", "ESRI Shapefile")):
        shapes = shapely.to_wkb(far_yards)
        pyogrio.raw.write(folder / name, shapes, names, ["name"], layer="yards", driver=driver, **told)
    with contextlib.closing(sqlite3.connect(folder / "a.gpkg", isolation_level=None)) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute("VACUUM")
    rings = "".join(
        f"<Placemark><name>yard {k}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
        + " ".join(f"{a},{b},0" for a, b in one.exterior.coords)
        + "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
        for k, one in enumerate(degrees)
    )
    (folder / "a.kml").write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{rings}</Document></kml>'
    )
    (folder / "own.toml").write_bytes(
        (ROOT / "terrain3d" / "detector" / "builtin" / "one-head-90.toml").read_bytes()
    )
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


# Changes.

NUMBERS = (
    "0", "-1", "1e300", "-1e300", "1e-300", "nan", "inf", "-inf", "9" * 400, "1e17", "2147483648", "0x10",
    "1_0", "4294967295", "-0.0", "", "1,5", "1e5", "123456789012345678901234567890",
)  # fmt: skip
WORDS = (
    "\x1b[31m", "\x07", "\u202e", "\u00a0", "w" * 10_000, "<b>", "../../x", "/dev/zero", "http://127.0.0.1:9/",
    "\n" * 40, " " * 3000, "[" * 900, "{a=" * 300, "'''", '"', "#", "\ufeff", "\0", "<shape>", "=cmd|x",
    "é" * 300, "/vsicurl/http://127.0.0.1:9/x.tif", "//srv/x", "+proj=tmerc +k=1e300 +units=m",
    "EPSG:99999999",
)  # fmt: skip
INTEGERS = (0, 1, 2, 255, 256, 65535, 2**31 - 1, 2**31, 2**32 - 1, 2**16, 10**8, 12, 7)
DOUBLES = (0.0, -1.0, 1e300, -1e300, 1e-300, float("nan"), float("inf"), 1e17, 1e9, -1e9, 360.0)
TOKEN = re.compile(rb"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?|[A-Za-z_]{2,}|\S")


def changed_text(rng: random.Random, content: bytes) -> bytes:
    """A number, a word, a line or a separator of a text is another."""
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        act = rng.randrange(7)
        lines = content.split(b"\n")
        at = rng.randrange(len(lines))
        if act == 0:
            del lines[at]
        elif act == 1:
            lines.insert(at, lines[rng.randrange(len(lines))])
        elif act == 2:
            lines[at : at + 1] = [lines[at]] * rng.choice((2, 50, 3000))
        elif act == 3:
            lines = lines[:at]
        else:
            tokens = list(TOKEN.finditer(content))
            if not tokens:
                return content + rng.choice(WORDS).encode()
            token = rng.choice(tokens)
            new = rng.choice(NUMBERS if act < 6 and token[0][:1] in b"-+0123456789" else WORDS)
            if act == 6:
                new = rng.choice(tokens)[0].decode("latin-1")
            content = content[: token.start()] + new.encode("utf-8", "replace") + content[token.end() :]
            continue
        content = b"\n".join(lines)
    return content


def changed_bytes(rng: random.Random, content: bytes, head: int = 512) -> bytes:
    """A whole number or a real one of a head is another; or bytes are lost, doubled, all ones, or cut off."""
    damaged = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        reach = len(damaged) if rng.random() < 0.4 else min(head, len(damaged))
        if not reach:
            break
        at, act = rng.randrange(reach), rng.randrange(9)
        if act < 3:
            layout, value = rng.choice(
                (("<I", 2**32), ("<H", 2**16), ("<B", 2**8), ("<Q", 2**64), (">I", 2**32))
            )
            size = struct.calcsize(layout)
            at = at // size * size if rng.random() < 0.5 else at
            if at + size <= len(damaged):
                number = rng.choice((*INTEGERS, 2**40, 2**63, rng.randrange(2**32)))
                struct.pack_into(layout, damaged, at, number % value)
        elif act == 3:
            if at + 8 <= len(damaged):
                struct.pack_into("<d", damaged, at, rng.choice(DOUBLES))
        elif act == 4:
            damaged[at] ^= 1 << rng.randrange(8)
        elif act == 5:
            end = min(len(damaged), at + rng.choice((4, 64, 5000, len(damaged))))
            damaged[at:end] = rng.choice((b"\xff", b"\0")) * (end - at)
        elif act == 6:
            del damaged[at : at + rng.choice((1, 8, 300))]
        elif act == 7:
            damaged[at:at] = damaged[at : at + rng.choice((1, 8, 300))]
        else:
            del damaged[at:]
    return bytes(damaged)


def changed_las(rng: random.Random, content: bytes) -> bytes:
    """A field of the header (LAS 1.4 R15, table 3), of a record's head, or of how it is compressed."""
    damaged = bytearray(content)
    act = rng.randrange(5)
    if act == 0:
        at, layout = rng.choice(
            [(25, "B"), (94, "<H"), (96, "<I"), (100, "<I"), (104, "B"), (105, "<H"), (107, "<I"),
             (235, "<Q"), (243, "<I"), (247, "<Q"), (6, "<H"), (90, "<H")]
        )  # fmt: skip
        number = rng.choice((*INTEGERS, len(content), len(content) // 20, rng.randrange(2**20)))
        if at + struct.calcsize(layout) <= len(damaged):
            struct.pack_into(layout, damaged, at, number % (1 << 8 * struct.calcsize(layout)))
        return bytes(damaged)
    if act == 1:
        struct.pack_into("<d", damaged, 131 + 8 * rng.randrange(12), rng.choice(DOUBLES))
        return bytes(damaged)
    points_at = struct.unpack_from("<I", damaged, 96)[0]
    mark = content.find(b"laszip encoded")
    if act == 2 and mark > 0:
        at = mark - 2 + 54 + rng.choice((0, 2, 4, 5, 6, 8, 12, 16, 24, 32, 34, 36, 38))
        struct.pack_into("<I", damaged, at, rng.choice((*INTEGERS, 5_000_000, 50_000)) % 2**32)
        return bytes(damaged)
    if act == 3 and mark > 0 and points_at + 8 < len(damaged):
        table = struct.unpack_from("<q", damaged, points_at)[0]
        table = table if points_at < table < len(damaged) else len(damaged)
        at = rng.randrange(points_at + 8, table)
        end = rng.choice((table, min(table, at + rng.randrange(1, 600))))
        if rng.random() < 0.5:
            damaged[at:end] = rng.choice((b"\xff", b"\0")) * (end - at)
        else:
            damaged[at:end] = rng.randbytes(end - at)
        return bytes(damaged)
    return changed_bytes(rng, content, 375)


def changed_tif(rng: random.Random, content: bytes) -> bytes:
    """An entry of the directory: its tag, its kind, how many it has, or its value (TIFF 6.0, section 2)."""
    damaged = bytearray(content)
    if rng.random() < 0.25 or content[:4] != b"II*\0":
        return changed_bytes(rng, content)
    at = struct.unpack_from("<I", damaged, 4)[0]
    n_entries = struct.unpack_from("<H", damaged, at)[0]
    for _ in range(rng.choice((1, 1, 2, 3))):
        entry = at + 2 + 12 * rng.randrange(n_entries)
        if entry + 12 > len(damaged):
            return bytes(damaged)
        act = rng.randrange(4)
        number = rng.choice((*INTEGERS, 30_000, 4, 5, 3))
        if act == 0:
            struct.pack_into("<H", damaged, entry + 2, rng.choice((1, 2, 3, 4, 5, 12, 16, 99)))
        elif act == 1:
            struct.pack_into("<I", damaged, entry + 4, number % 2**32)
        else:
            struct.pack_into("<HII", damaged, entry + 2, rng.choice((3, 4)), 1, number % 2**32)
    return bytes(damaged)


def changed_json(rng: random.Random, content: bytes) -> bytes:
    """A value somewhere in a document is another, missing, or holds itself many times."""
    document = json.loads(content)
    for _ in range(rng.choice((1, 1, 2, 4))):
        places: list[tuple[Any, Any]] = []
        pending: list[Any] = [document]
        while pending:
            here = pending.pop()
            keys = (
                here.keys() if isinstance(here, dict) else range(len(here)) if isinstance(here, list) else ()
            )
            for key in list(keys):
                places.append((here, key))
                pending.append(here[key])
        if not places:
            break
        holder, key = rng.choice(places)
        act = rng.randrange(6)
        if act == 0:
            del holder[key]
        elif act == 1 and isinstance(holder, list):
            holder[key:key] = [holder[key]] * rng.choice((1, 3000))
        else:
            bad: list[Any] = [
                None, [], {}, [[]], 0, -1, 1e300, -1e300, 1e-300, float("nan"), float("inf"), True, 10**8,
                2**31, 10**400, "", *WORDS, [[0, 0]], [1], [0, 0, 0, 0],
                {"type": "Polygon", "coordinates": [[[1, 1]]]},
                holder if act == 5 and len(json.dumps(document)) < 1e6 else "Polygon",
            ]  # fmt: skip
            value = rng.choice(bad)
            holder[key] = json.loads(json.dumps(value)) if value is holder else value
    text = json.dumps(document, ensure_ascii=rng.random() < 0.5)
    return text.encode("utf-8", "surrogatepass")


def changed_glb(rng: random.Random, content: bytes) -> bytes:
    """What its JSON says is not what its numbers are, with lengths that fit (glTF 2.0, 4.4)."""
    if rng.random() < 0.2:
        return changed_bytes(rng, content)
    length = struct.unpack_from("<I", content, 12)[0]
    words = changed_json(rng, content[20 : 20 + length])
    words += b" " * (-len(words) % 4)
    rest = content[20 + length :]
    head = struct.pack("<4sII", b"glTF", 2, 20 + len(words) + len(rest))
    return head + struct.pack("<I4s", len(words), b"JSON") + words + rest


def changed_e57(rng: random.Random, content: bytes) -> bytes:
    """Its XML says something else, and all lengths and checksums fit (ASTM E2807)."""
    if rng.random() < 0.3:
        return changed_bytes(rng, content, 48)
    crc32c = import_module("made_files").crc32c

    stream = b"".join(content[k : k + 1020] for k in range(0, len(content), 1024))
    xml_at, length = struct.unpack_from("<QQ", content, 24)
    start = xml_at // 1024 * 1020 + xml_at % 1024
    xml = changed_text(rng, stream[start : start + length])[:200_000]
    stream = stream[:start] + xml
    stream += bytes(-len(stream) % 1020)
    stream = stream[:16] + struct.pack("<QQQ", 1024 * (len(stream) // 1020), xml_at, len(xml)) + stream[40:]
    pages = (stream[k : k + 1020] for k in range(0, len(stream), 1020))
    # Pages that are as they were keep their checksum: making one takes a while.
    known = {content[k : k + 1020]: content[k + 1020 : k + 1024] for k in range(0, len(content), 1024)}
    return b"".join(page + (known.get(page) or struct.pack(">I", crc32c(page))) for page in pages)


def changed_gpkg(rng: random.Random, content: bytes) -> bytes:
    """A shape in it, a name, or a word of its tables is another (OGC 12-128, GeoPackage)."""
    if rng.random() < 0.3:
        return changed_bytes(rng, content, 100)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.gpkg"
        path.write_bytes(content)
        with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
            act = rng.randrange(4)
            (shape,) = database.execute("SELECT geom FROM yards").fetchone()
            if act == 0:
                database.execute("UPDATE yards SET geom = ?", (changed_bytes(rng, shape, len(shape)),))
            elif act == 1:
                database.execute("UPDATE yards SET name = ?", (rng.choice((*WORDS, *DOUBLES)),))
            elif act == 2:
                column = rng.choice(("table_name", "data_type", "srs_id", "identifier"))
                value = rng.choice((*WORDS, *INTEGERS, None))
                with contextlib.suppress(sqlite3.Error):
                    database.execute(f"UPDATE gpkg_contents SET {column} = ?", (value,))
            else:
                value = rng.choice((*WORDS, *INTEGERS, "EPSG"))
                with contextlib.suppress(sqlite3.Error):
                    database.execute("UPDATE gpkg_spatial_ref_sys SET definition = ?", (value,))
        return path.read_bytes()


Change = Callable[[random.Random, bytes], bytes]

#: What is done to a file of each ending.
CHANGES: dict[str, Change] = {
    ".las": changed_las, ".laz": changed_las, ".tif": changed_tif, ".asc": changed_text, ".xyz": changed_text,
    ".csv": changed_text, ".stl": changed_bytes, ".obj": changed_text, ".ply": changed_text,
    ".glb": changed_glb, ".dxf": changed_text, ".xml": changed_text, ".e57": changed_e57,
    ".geojson": changed_json, ".gpkg": changed_gpkg, ".kml": changed_text, ".shp": changed_bytes,
    ".dbf": changed_bytes, ".toml": changed_text,
}  # fmt: skip
SURVEYS = (
    ".las",
    ".laz",
    ".tif",
    ".asc",
    ".xyz",
    ".csv",
    ".stl",
    ".obj",
    ".ply",
    ".glb",
    ".dxf",
    ".xml",
    ".e57",
)
SHAPES = (".geojson", ".gpkg", ".kml", ".shp", ".dbf", ".dxf")
#: Surveys in a CRS, as those of `good_files` are.
_IN_CRS = (".las", ".laz", ".tif")
QUIET = ["--stills", "none", "--out", "out"]
_HAVE_NO_STILLS = {"supply": [], "sheet": ["--out", "out"], "walktest": ["--out", "out"]}


def moved(text: str, x0: float, y0: float) -> str:
    """The site with its coordinates about another place."""

    def pair(match: re.Match[str]) -> str:
        return f"[{float(match[1]) + x0:g}, {float(match[2]) + y0:g}]" if not x0 else (
            f"[{float(match[1]) + x0:.1f}, {float(match[2]) + y0:.1f}]"
        )  # fmt: skip

    return re.sub(r"\[(-?[\d.]+), (-?[\d.]+)\]", pair, text)


def prepared(number: int, good: dict[str, bytes]) -> Case:
    """Write the files of a case into the current folder."""
    rng = random.Random(number)
    names = [name for name in good if "/" not in name and Path(name).suffix in CHANGES]
    # The files that everything begins with, and what is read back, are changed as often as all surveys are.
    name = rng.choice((rng.choice(names), rng.choice(names), "site.toml", "own.toml", "back", "walked"))
    for needed in ("own.toml", "a.shp", "a.shx", "a.dbf", "a.prj", "a.cpg"):
        if needed in good:
            Path(needed).write_bytes(good[needed])
    kind = Path(name).suffix
    site = SITE
    if kind in SURVEYS and not (kind == ".dxf" and rng.random() < 0.5):
        Path(name).write_bytes(CHANGES[kind](rng, good[name]) if kind != ".ply" or name == "a.ply" else (
            changed_bytes(rng, good[name])
        ))  # fmt: skip
        if rng.random() < 0.7:
            return Case(kind, ["inspect", name])
        if kind in _IN_CRS:
            site = moved(SITE, X0, Y0).replace('name = "slope"', 'name = "slope"\ncrs = "EPSG:32631"')
        site = site.replace(GROUND, f'file = "{name}"')
    elif kind in SHAPES:
        Path(name).write_bytes(CHANGES[kind](rng, good[name]))
        Path("far.las").write_bytes(good["a.las"])
        drawn = name.replace(".dbf", ".shp")
        site = moved(SITE, X0, Y0).replace('name = "slope"', 'name = "slope"\ncrs = "EPSG:32631"')
        site = site.replace(GROUND, 'file = "far.las"')
        key = rng.choice(("solid", "protect", "foliage", "boundary", "beyond"))
        more = {"solid": "height = 1.0", "foliage": "height = 1.0\ndensity = 1", "beyond": 'kind = "road"'}
        if key == "boundary":
            site = re.sub(r"outline = (.*)\n\[\[nuisance", f'file = "{drawn}"\n[[nuisance', site)
        else:
            site += f'[[{key}]]\nfile = "{drawn}"\n{more.get(key, "")}\n'
    elif name == "own.toml":
        Path(name).write_bytes(changed_text(rng, good[name]))
    elif name == "back":
        return _read_back(rng, good)
    elif name == "walked":
        return _walked(rng)
    text = site.encode()
    if name == "site.toml":
        text = changed_text(rng, text) if rng.random() < 0.9 else changed_bytes(rng, text)
        Path("site.toml").write_bytes(text)
        command = rng.choice(
            ("compare", "compare", "cover", "mounts", "study", "supply", "sheet", "walktest")
        )
    else:
        Path("site.toml").write_bytes(text)
        command = rng.choice(("compare", "compare", "compare", "study"))
    words = _HAVE_NO_STILLS.get(command, QUIET)
    return Case(kind if name != "site.toml" else "site", [command, "site.toml", *words])


def _walked(rng: random.Random) -> Case:
    """A sheet of a walk test as somebody brings it back."""
    Path("site.toml").write_text(SITE)
    Path("walked.csv").write_bytes(changed_text(rng, WALKED.encode()))
    return Case("walked", ["walktest", "site.toml", "--read", "walked.csv", "--out", "out"])


def _read_back(rng: random.Random, good: dict[str, bytes]) -> Case:
    """What the program wrote itself, and reads again: lists of files, finished mounts, results."""
    text = SITE.replace("bearing = 180\n", "bearing = 180\n[search]\nbearing_step = 30\ntilts = [0]\n")
    Path("site.toml").write_text(text)
    for name, content in good.items():
        if name.startswith("back/"):
            place = Path(name.removeprefix("back/"))
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(content)
    name = rng.choice([name for name in good if name.startswith("back/")])
    change = changed_bytes if name.endswith((".npz", ".tif")) else changed_text
    Path(name.removeprefix("back/")).write_bytes(change(rng, good[name]))
    return Case("read back", [rng.choice(("search", "compare")), "site.toml", *QUIET])


# Kills.

#: Commands that write, and what of theirs is to be the old or the new, whole.
WRITING = (
    ["cover", "site.toml", *QUIET], ["compare", "site.toml", *QUIET],
    ["study", "site.toml", "--part", "animals", "--part", "heat", *QUIET],
    ["search", "site.toml", "--write", *QUIET], ["mounts", "site.toml", "--write", *QUIET],
    ["stills", "site.toml", "--kind", "contact", "--out", "out"], ["type", "own.toml", "--out", "out"],
    ["sheet", "site.toml", "--out", "out"], ["walktest", "site.toml", "--out", "out"],
    ["walktest", "site.toml", "--read", "walked.csv", "--write", "--on", "2026-05-03", "--out", "out"],
    ["pack", "site.toml", "--only", "tables", "--out", "out"],
)  # fmt: skip
#: A sheet of a walk test that was filled in.
WALKED = """\
point,unit,x,y,direction,length,posture,seen
1,D1,1.5,5.5,239,1.5,person,yes
2,D1,-0.5,6.5,288,1.5,person,yes
3,D1,-3.5,3.5,308,1.5,person,no
4,D1,-5.5,1.5,310,1.9,person,yes
5,D1,-8.5,0.5,319,2.6,person,no
"""


def to_be_read(folder: Path) -> dict[str, bytes]:
    """The results and the site file, as whoever opens them reads them; hidden files left out."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
        and ".judged" not in str(path)
        and ".before-" not in path.name
    }


def kills(words: list[str], count: int, top: Path, good: dict[str, bytes]) -> tuple[int, list[str]]:
    """Kill a command at so many random moments, over what another site's run had left; say what is mixed.

    What is found has to be the old or the new, in every file of a group that changes together, and the next
    run has to leave what a run that nobody killed does.
    """
    rng = random.Random(" ".join(words))
    folder, said, told = top / "killed", top / "said", top / "told"
    faults_found, n_new = [], 0

    def begin() -> None:
        for place in (folder, folder.with_name("killed.judged")):
            shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(begun, folder, symlinks=True)

    begun = top / "begun"
    shutil.rmtree(begun, ignore_errors=True)
    begun.mkdir()
    (begun / "own.toml").write_bytes(good["own.toml"].replace(b"arc = 90", b"arc = 80"))
    (begun / "walked.csv").write_text(WALKED)
    searched = SITE + "[search]\nbearing_step = 30\ntilts = [0]\n"
    (begun / "site.toml").write_text(searched.replace("fall = 5", "fall = 9"))
    (begun / "mine.txt").write_text("mine")
    run_case(Case("", [word for word in words if word != "--write"]), begun, said, told)
    (begun / "own.toml").write_bytes(good["own.toml"])
    (begun / "site.toml").write_text(searched)
    begin()
    old = to_be_read(folder)
    began = time.monotonic()
    status, _, _ = run_case(Case("", words), folder, said, told)
    seconds, new = time.monotonic() - began, to_be_read(folder)
    if status or new == old:
        return 0, [f"{' '.join(words)}: it writes nothing new, so that nothing is tried"]
    for number in range(count):
        begin()
        pid = os.fork()
        if pid == 0:
            _be_the_command(words, folder, said, told)
        # Half of them near the end, where files take their place.
        time.sleep(seconds * (rng.uniform(0.0, 1.1) if number % 2 else rng.uniform(0.75, 1.05)))
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        os.wait4(pid, 0)
        found = to_be_read(folder)
        for group in ("out/", "site.toml", "mine.txt", "walked.csv"):
            there, before, after = (
                {name: one[name] for name in one if name.startswith(group)} for one in (found, old, new)
            )
            if there not in (before, after):
                mixed = [name for name in {*there, *before} if there.get(name) != before.get(name)]
                faults_found.append(f"{' '.join(words)}, kill {number}: {group} is mixed: {mixed}")
        n_new += found == new
        (folder / "site.toml").write_text(searched)
        # As long as it takes now: a machine that is busier than at first would kill all of them early.
        began = time.monotonic()
        run_case(Case("", words), folder, said, told)
        seconds = time.monotonic() - began
        if to_be_read(folder) != new:
            faults_found.append(f"{' '.join(words)}, kill {number}: the next run left something else")
        left = [str(path) for path in folder.rglob(".*") if path.name != ".written-by-terrain3d"]
        if left:
            faults_found.append(f"{' '.join(words)}, kill {number}: the next run left {left}")
    return n_new, faults_found


# A case as a process of its own.


def contents(folder: Path) -> dict[str, str]:
    """The digests of all files."""
    found = {}
    for path in folder.rglob("*"):
        if path.is_file():
            found[str(path.relative_to(folder))] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def run_case(case: Case, folder: Path, out: Path, err: Path) -> tuple[int, float, int]:
    """The wait status of a command, its seconds of a processor and its most bytes."""
    began = time.monotonic()
    for place in (out, err):
        place.unlink(missing_ok=True)
    pid = os.fork()
    if pid == 0:
        _be_the_command(case.words, folder, out, err)
    done = 0
    while not done:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if not done and time.monotonic() > began + MOST_WAIT_S:
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.002)
    seconds = used.ru_utime + used.ru_stime
    return status, seconds, used.ru_maxrss * 1024


def _be_the_command(words: list[str], folder: Path, out: Path, err: Path) -> None:
    status = 99
    try:
        os.chdir(folder)
        for number, name in ((0, os.devnull), (1, out), (2, err)):
            handle = os.open(name, os.O_RDONLY if number == 0 else os.O_WRONLY | os.O_CREAT | os.O_APPEND)
            os.dup2(handle, number)
            os.close(handle)
        held = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
        resource.setrlimit(resource.RLIMIT_AS, (held + 2 * MOST_BYTES, held + 2 * MOST_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
        sys.addaudithook(_no_calls)
        from terrain3d.cli.start import main

        sys.argv = ["terrain3d", *words]
        try:
            main()
        except SystemExit as leaving:
            status = leaving.code if isinstance(leaving.code, int) else 98
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:  # noqa: BLE001  whatever it is, it is what this looks for
        traceback.print_exc()
    finally:
        os._exit(status)


def _no_calls(event: str, args: tuple[object, ...]) -> None:
    if event in ("socket.connect", "socket.getaddrinfo", "socket.sendto") or event.startswith("urllib."):
        os.write(2, f"Traceback: a call over the network, {event} {args!r}\n".encode())


def faults(status: int, seconds: float, n_bytes: int, told: str, said: str) -> list[str]:
    """What is wrong with how a command ended."""
    found = []
    if os.WIFSIGNALED(status):
        found.append(f"signal {os.WTERMSIG(status)}" + (" at its minute" if seconds > MOST_S - 1 else ""))
    elif os.WEXITSTATUS(status) not in (0, 2):
        found.append(f"status {os.WEXITSTATUS(status)}")
    if n_bytes > MOST_BYTES:
        found.append(f"{n_bytes / 2**30:.1f} GiB")
    if match := _NOISE.search(told):
        found.append(f"noise {match[0]!r}")
    if match := _STEERS.search(told + said):
        found.append(f"steering letter {match[0]!r}")
    if os.WIFEXITED(status) and os.WEXITSTATUS(status) == 2:
        lines = told.splitlines()
        if (
            sum(line.startswith("terrain3d: ") for line in lines) + sum("Usage" in line for line in lines)
            != 1
        ):
            found.append("not one message")
        if strange := [line for line in lines if not _OURS.match(line)]:
            found.append(f"line {strange[0][:80]!r}")
        if len(told) > 6000:
            found.append(f"{len(told)} letters")
    return found


def main() -> int:
    """Run the cases asked for; status 1 where any of them fails."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("cases", type=int, nargs="?", default=1000)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--step", type=int, default=1, help="from one case's number to the next one's")
    parser.add_argument("--keep", type=Path, help="folder for the files of cases that fail")
    parser.add_argument("--kills", type=int, metavar="N", help="kill each command that writes at N moments")
    asked = parser.parse_args()
    if asked.kills:
        return _killed(asked.kills)
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        top = Path(name)
        good = _ready(top)
        counts: Counter[str] = Counter()
        failed = 0
        worst_s, worst_bytes = (0.0, 0), (0, 0)
        for number in range(asked.first, asked.first + asked.cases * asked.step, asked.step):
            folder = top / "case"
            folder.mkdir()
            os.chdir(folder)
            case = prepared(number, good)
            before = contents(folder)
            status, seconds, n_bytes = run_case(case, folder, top / "said", top / "told")
            told = (top / "told").read_text("utf-8", "backslashreplace")
            said = (top / "said").read_text("utf-8", "backslashreplace")
            found = faults(status, seconds, n_bytes, told, said)
            after = contents(folder)
            is_done = os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0
            rewritten = {file for file in before if file.startswith("out")}
            if any(after.get(file) != before[file] for file in before.keys() - rewritten):
                found.append("a file it was given was touched")
            if not is_done and after.keys() - before.keys() - {*_kept(after)}:
                found.append(f"left {sorted(after.keys() - before.keys())[:3]}")
            counts[f"{case.form}: {'done' if is_done else 'told'}"] += 1
            worst_s, worst_bytes = max(worst_s, (seconds, number)), max(worst_bytes, (n_bytes, number))
            if found:
                failed += 1
                print(f"case {number}, {' '.join(case.words)}: {'; '.join(found)}", flush=True)
                print("    " + told[:400].replace("\n", "\n    "), flush=True)
                if asked.keep:
                    shutil.rmtree(asked.keep / str(number), ignore_errors=True)
                    shutil.copytree(folder, asked.keep / str(number), symlinks=True)
            os.chdir(top)
            shutil.rmtree(folder)
    print("; ".join(f"{form} {count}" for form, count in sorted(counts.items())))
    print(
        f"{asked.cases} cases in {time.monotonic() - began:.0f} s, {failed} failed;"
        f" the longest {worst_s[0]:.1f} s (case {worst_s[1]}),"
        f" the largest {worst_bytes[0] / 2**30:.2f} GiB (case {worst_bytes[1]})"
    )
    return 1 if failed else 0


def _killed(count: int) -> int:
    failed = 0
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        good = _ready(Path(name))
        for words in WRITING:
            n_new, found = kills(words, count, Path(name), good)
            failed += len(found)
            print(f"{' '.join(words[:3])}: {count} kills, {n_new} after all was new, {len(found)} faults")
            print("".join(f"    {fault}\n" for fault in found), end="", flush=True)
            os.chdir(name)
    return 1 if failed else 0


def _kept(names: dict[str, str]) -> list[str]:
    """What a search keeps of finished mounts, as it says, whatever comes after."""
    return [name for name in names if name.startswith("out.judged/")]


def _ready(top: Path) -> dict[str, bytes]:
    """Good files, and everything loaded in this process, which has no thread but one when it forks."""
    import matplotlib

    matplotlib.use("Agg")
    folder = top / "good"
    folder.mkdir()
    good = good_files(folder)
    os.chdir(folder)
    (folder / "site.toml").write_text(
        SITE.replace("bearing = 180\n", "bearing = 180\n[search]\nbearing_step = 30\n")
    )
    for module in ("dxfground", "e57", "grids", "landxml", "meshes", "points", "shapes", "textpoints"):
        import_module(f"terrain3d.readers.{module}")
    import_module("terrain3d.survey.inspect")
    from terrain3d.cli.main import main as command
    from terrain3d.sight import parts

    with (
        (folder / "said").open("w") as said,
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        for words in (["study"], ["search"], ["mounts"], ["compare"]):
            with contextlib.suppress(SystemExit):
                command([*words, "site.toml", *QUIET])
    for path in [*folder.glob("out/*"), *folder.glob("out/.w*"), *folder.glob("out.judged/*")]:
        good[f"back/{path.relative_to(folder)}"] = path.read_bytes()
    pool = getattr(parts, "_pool", None)
    if pool is not None and pool.cache_info().currsize:
        pool().shutdown()
        pool.cache_clear()
    return good


if __name__ == "__main__":
    sys.exit(main())
