"""Damaged, lying and mistaken survey files: always one message that names the file, never a traceback."""

import json
import random
import re
import struct
import subprocess
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import laspy
import numpy as np
import pytest
from affine import Affine
from made_files import slope_points, write_e57, write_las, write_tif
from site_files import run

from terrain3d.errors import InputError
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource

DATA = Path(__file__).parents[1] / "data"
#: Offsets in a LAS header (LAS 1.4 R15, table 1).
VERSION_MINOR, HEADER_BYTES, POINTS_AT, N_RECORDS, FORMAT, RECORD_BYTES = 25, 94, 96, 100, 104, 105
SCALE_X, MAX_X, MIN_X, N_POINTS = 131, 179, 187, 247


def read(path: Path, **ground: str) -> Any:
    header = read_header(path, GroundSource(file=str(path), **ground))
    return read_survey(path, header, None)


def patched(path: Path, at: int, layout: str, value: float) -> Path:
    content = bytearray(path.read_bytes())
    struct.pack_into(layout, content, at, value)
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(
    ("at", "layout", "value", "message"),
    [
        (N_POINTS, "<Q", 1_000_000_000, r"claims 1000000000 points, the file has room for 400"),
        (N_POINTS, "<Q", 401, r"claims 401 points, the file has room for 400"),
        (N_POINTS, "<Q", 2**64 - 1, r"claims 18446744073709551615 points, the file has room for 400"),
        (POINTS_AT, "<I", 4_000_000_000, r"points at byte 4000000000 of \d+"),
        (POINTS_AT, "<I", 10, r"points at byte 10 of"),
        (HEADER_BYTES, "<H", 60_000, r"header of 60000 bytes"),
        (N_RECORDS, "<I", 2**31, r"claims 2147483648 records"),
        (FORMAT, "<B", 33, r"point format 33 is unknown"),
        (RECORD_BYTES, "<H", 3, r"points of 3 bytes are too short"),
        (VERSION_MINOR, "<B", 9, r"says LAS 1.9"),
        (SCALE_X, "<d", 0.0, r"scales are \[0.0,"),
        (SCALE_X, "<d", float("nan"), r"scales are \[nan,"),
        (SCALE_X, "<d", -0.01, r"scales are \[-0.01,"),
    ],
)
def test_headers_that_claim_what_cannot_be(
    tmp_path: Path, at: int, layout: str, value: float, message: str
) -> None:
    """Checked against the size of the file before anything is allocated or decoded."""
    path = patched(write_las(tmp_path / "survey.las", slope_points(20)), at, layout, value)
    with pytest.raises(InputError, match=message) as fault:
        read(path)
    assert fault.value.where == str(path)
    assert fault.value.mend


def test_bounds_that_are_no_box_are_taken_from_the_points(tmp_path: Path) -> None:
    """NaN in the header's bounds costs a doubt, not the survey."""
    path = patched(write_las(tmp_path / "survey.las", slope_points(20)), MAX_X, "<d", float("nan"))
    header = read_header(path, GroundSource(file="s"))
    assert header.bounds == pytest.approx((500_000, 6_000_000, 500_019, 6_000_019))
    assert any("do not hold its points" in doubt for doubt in header.doubts)


@pytest.mark.parametrize("suffix", [".las", ".laz"])
@pytest.mark.parametrize("kept", [3, 100, 300, 0.4, 0.9, 0.999])
def test_files_cut_short(tmp_path: Path, suffix: str, kept: float) -> None:
    """Inside the signature, the header, the records or the points."""
    path = write_las(tmp_path / f"survey{suffix}", slope_points(40))
    content = path.read_bytes()
    path.write_bytes(content[: int(kept if kept > 1 else kept * len(content))])
    with pytest.raises(InputError) as fault:
        read(path)
    assert str(path) in fault.value.where


@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_surveys_without_points_to_use(tmp_path: Path, suffix: str) -> None:
    """None at all, or all of them noise."""
    with pytest.raises(InputError, match="holds no points"):
        read(write_las(tmp_path / f"none{suffix}", np.empty((0, 3))))
    with pytest.raises(InputError, match=r"all 400 points read are noise"):
        read(write_las(tmp_path / f"noise{suffix}", slope_points(20), classes=7))


def test_a_laz_that_claims_more_points_than_it_holds(tmp_path: Path) -> None:
    """Where its chunks could hold them, the decoder runs dry and the message says so."""
    path = write_las(tmp_path / "survey.laz", slope_points(20))
    patched(path, N_POINTS, "<Q", 40_000)
    with pytest.raises(InputError, match=r"cannot be decoded|only 400 could be read"):
        read(path)


def test_a_laz_table_of_chunks_is_checked_before_the_decoder_sees_it(tmp_path: Path) -> None:
    """A table beyond the file, or of four billion chunks, would make the decoder allocate for it."""
    path = write_las(tmp_path / "survey.laz", slope_points(20))
    with laspy.open(path) as reader:
        points_at = reader.header.offset_to_point_data
    content = path.read_bytes()
    table_at = struct.unpack_from("<q", content, points_at)[0]
    with pytest.raises(InputError, match="table of compressed chunks would lie at byte 1099511627776"):
        read(patched(path, points_at, "<q", 2**40))
    path.write_bytes(content)
    with pytest.raises(InputError, match="claims 4294967295 compressed chunks for 400 points"):
        read(patched(path, table_at + 4, "<I", 2**32 - 1))


#: Offsets in the record that says how a LAZ is compressed (LASzip's own, after its 54 bytes of head).
CHUNK_SIZE, N_ITEMS = 12, 32


def repacked(path: Path, at: int, layout: str, value: int) -> Path:
    record = path.read_bytes().index(b"laszip encoded") - 2 + 54
    return patched(path, record + at, layout, value)


def test_a_laz_that_claims_to_pack_billions_of_points_together(tmp_path: Path) -> None:
    """The decoder would allocate for them at once, and end the process where it cannot."""
    path = write_las(tmp_path / "survey.laz", slope_points(20))
    with pytest.raises(
        InputError, match="claims to pack 4000000000 points together, more than any file does"
    ):
        read(repacked(path, CHUNK_SIZE, "<I", 4_000_000_000))


def test_a_laz_that_claims_billions_of_points_in_one_chunk(tmp_path: Path) -> None:
    """As many points as a chunk is said to hold: the decoder would end the process where it has no room."""
    path = write_las(tmp_path / "survey.laz", slope_points(20))
    patched(repacked(path, CHUNK_SIZE, "<I", 2**31), N_POINTS, "<Q", 2**31)
    with pytest.raises(InputError, match="claims to pack 2147483648 points together"):
        read(path)
    patched(repacked(path, CHUNK_SIZE, "<I", 50_000), N_POINTS, "<Q", 2**31)
    with pytest.raises(InputError, match="2147483648 points in 1 chunks of 50000, which hold fewer"):
        read(path)


@pytest.mark.parametrize("point_format", [6, 7, 8])
def test_layers_of_a_laz_that_claim_gigabytes_are_refused_before_they_are_unpacked(
    tmp_path: Path, point_format: int
) -> None:
    """Compressed bytes that are all ones claim 4 GiB a layer; the decoder made room for them, or aborted."""
    path = write_las(tmp_path / "survey.laz", slope_points(20), point_format=point_format)
    content = path.read_bytes()
    points_at = struct.unpack_from("<I", content, POINTS_AT)[0]
    table_at = struct.unpack_from("<q", content, points_at)[0]
    ones = b"\xff" * (table_at - points_at - 8)
    path.write_bytes(content[: points_at + 8] + ones + content[table_at:])
    with pytest.raises(InputError, match=r"its chunk 1 claims \d{11} bytes of layers, and has \d{3,4} bytes"):
        read(path)
    for whole in ("simple.copc.laz", "plane.laz", "autzen_trim.laz"):
        read_header(DATA / whole, GroundSource(file=whole))


def glb(document: dict[str, Any], numbers: bytes) -> bytes:
    """A GLB of its two parts (glTF 2.0, section 4.4)."""
    words = json.dumps(document).encode()
    words += b" " * (-len(words) % 4)
    parts = struct.pack("<I4s", len(words), b"JSON") + words
    parts += struct.pack("<I4s", len(numbers), b"BIN\0") + numbers
    return struct.pack("<4sII", b"glTF", 2, 12 + len(parts)) + parts


def triangle() -> dict[str, Any]:
    """A triangle whose three corners are 36 bytes, and its corners' numbers 12."""
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": 3, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": 36},
            {"buffer": 0, "byteOffset": 36, "byteLength": 12},
        ],
        "buffers": [{"byteLength": 48}],
    }


def test_a_glb_that_claims_more_than_it_holds_is_refused_before_room_is_made(tmp_path: Path) -> None:
    """A kilobyte that claims 10^8 corners, lists without numbers, and scenes that show a part without end."""
    numbers = struct.pack("<9f3I", 0, 0, 0, 10, 0, 0, 0, 0, 10, 0, 1, 2)
    path = tmp_path / "a.glb"
    path.write_bytes(glb(triangle(), numbers))
    assert len(read(path).triangles) == 1
    many, empty, circle, doubled = triangle(), triangle(), triangle(), triangle()
    many["accessors"][0]["count"] = 10**8
    empty["accessors"][1] = {"componentType": 5125, "count": 30, "type": "SCALAR"}
    circle["nodes"] = [{"mesh": 0, "children": [0]}]
    doubled["nodes"] = [{"children": [k + 1, k + 1]} for k in range(40)] + [{"mesh": 0}]
    for document, message in (
        (many, "claims 1,200,000,000 bytes of numbers in one list"),
        (empty, "have no numbers of their own"),
        (circle, "again and again, or in a circle"),
        (doubled, "again and again, or in a circle"),
    ):
        path.write_bytes(glb(document, numbers))
        with pytest.raises(InputError, match=message):
            read(path)


def test_a_glb_in_which_a_part_is_below_itself_thousands_of_times_takes_no_room(tmp_path: Path) -> None:
    """Every look at that part brings 2,000 more to look at: 20,000 looks would be 320 MB of them."""
    document, path = triangle(), tmp_path / "a.glb"
    document["nodes"] = [{"children": [1]}, {"mesh": 0, "children": [1] * 2000}]
    path.write_bytes(glb(document, struct.pack("<9f3I", 0, 0, 0, 10, 0, 0, 0, 0, 10, 0, 1, 2)))
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match="again and again, or in a circle"):
            read(path)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_grids_that_claim_what_their_files_cannot_hold(tmp_path: Path) -> None:
    """Four million million cells in seven lines; and a strip of 4 GB in a TIFF of some kilobytes."""
    path = tmp_path / "a.asc"
    lines = ("ncols 2000000", "nrows 2000000", "xllcorner 0", "yllcorner 0", "cellsize 1", "1 2 3")
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(InputError, match=r"claims 2000000 x 2000000 cells, and is \d\d bytes long"):
        read(path)
    tif = write_tif(
        tmp_path / "a.tif", np.zeros((500, 500)), Affine(1, 0, 0, 0, -1, 500), compress="deflate",
        blockysize=500,
    )  # fmt: skip
    read(tif)
    content = bytearray(tif.read_bytes())
    # Width, length and rows a strip (TIFF 6.0, tags 256, 257 and 278) in the directory.
    at = struct.unpack_from("<I", content, 4)[0]
    for entry in range(at + 2, at + 2 + 12 * struct.unpack_from("<H", content, at)[0], 12):
        if struct.unpack_from("<H", content, entry)[0] in (256, 257, 278):
            struct.pack_into("<HII", content, entry + 2, 4, 1, 32_000)
    tif.write_bytes(content)
    with pytest.raises(InputError, match="32000 x 32000 cells packed in one piece, 4,096 MB"):
        read(tif)


@pytest.mark.parametrize("at", [SCALE_X, SCALE_X + 24])
def test_scales_and_offsets_that_lead_nowhere(tmp_path: Path, at: int) -> None:
    """A scale or an offset of 10^300 makes coordinates that no CRS has."""
    path = patched(write_las(tmp_path / "survey.las", slope_points(20)), at, "<d", 1e300)
    with pytest.raises(InputError, match=r"which is no place in any CRS|cannot be in"):
        read(path)


@pytest.mark.parametrize("way", [(1, 0), (0, 1), (1, 1), (0, 0)])
def test_points_on_a_line_or_on_one_place_are_no_ground(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], way: tuple[int, int]
) -> None:
    """Whichever way they lie, a site on them ends in words."""
    east, north = way
    (tmp_path / "a.xyz").write_text("".join(f"{east * k} {north * k} 1\n" for k in range(-50, 50)))
    (tmp_path / "site.toml").write_text(
        '[site]\nname = "a"\n[ground]\nfile = "a.xyz"\n[[mount]]\nname = "pole"\nat = [0, 0]\n'
        '[[option]]\nname = "a"\n[[option.detector]]\nname = "D1"\nmount = "pole"\ntype = "one-head-90"\n'
        "height = 1.0\nbearing = 0\n"
    )
    assert run("compare", tmp_path / "site.toml", "--out", tmp_path / "out") == 2
    err = capsys.readouterr().err
    assert "do not span any ground" in err or "nothing that the site file draws lies on the survey" in err
    assert not (tmp_path / "out").exists()


def test_a_decoder_that_panics_leaves_one_message(tmp_path: Path, ready: Callable[[str], list]) -> None:
    """Its own lines, written past Python by its own threads, do not stand beside ours."""
    path = repacked(write_las(tmp_path / "survey.laz", slope_points(45)), N_ITEMS, "<H", 0)
    run = subprocess.run(
        [*ready("from terrain3d.cli.main import main; main()"), "inspect", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2
    # This damage does bring on a panic; otherwise nothing is tried here.
    with pytest.raises(InputError) as fault:
        read(path)
    assert "PanicException" in str(fault.value.__cause__)
    assert "panicked" not in run.stderr
    assert run.stderr.startswith("terrain3d: its points cannot be decoded")
    assert len(run.stderr.splitlines()) == 3


@pytest.mark.parametrize("name", ["simple.copc.laz", "test1_4.las", "plane.laz", "simple1_1.las"])
def test_random_damage_ends_in_a_survey_or_a_message(tmp_path: Path, name: str) -> None:
    """Bytes changed anywhere, 25 times a file: what is not readable is an InputError that names the file."""
    content = (Path(__file__).parents[1] / "data" / name).read_bytes()
    path = tmp_path / name
    for seed in range(25):
        rng = random.Random(seed)
        damaged = bytearray(content)
        reach = len(damaged) if seed % 2 else 2000
        for _ in range(rng.randrange(1, 8)):
            damaged[rng.randrange(reach)] = rng.randrange(256)
        path.write_bytes(damaged)
        fault = fault_of(path)
        assert fault is None or (str(path) in fault.where or "[ground]" in fault.where)
        assert fault is None or fault.mend


def fault_of(path: Path) -> InputError | None:
    try:
        read(path)
    except InputError as fault:
        return fault
    return None


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.las", b"", "it is empty"),
        ("a.tif", b"\0" * 500, "it is empty"),
        ("a.xyz", b"\n\n  \n", "it is empty"),
        ("a.laz", b"LASF", "ends inside its header"),
        ("a.tif", b"II*\0\x08\0\0\0", "cells cannot be read"),
        ("a.tif", b"II*\0" + b"\xff" * 400, "cells cannot be read"),
        ("a.asc", b"ncols 3\nnrows 2\n1 2 3\n", "cells cannot be read"),
        ("a.las", b"PK\x03\x04" + b"x" * 90, r"a ZIP archive(.|\n)*unpack"),
        ("a.e57", b"ASTM-E57" + b"\0" * 90, r"should be 0 bytes long"),
        ("a.las", b"%PDF-1.7 ...", "a PDF"),
        ("a.gpkg", b"SQLite format 3\0" + b"\0" * 90, "GeoPackage"),
        ("a.las", b"\x01\x02\0\x03 whatever", "starts as no format known here"),
        ("a.bin", b"p\xdc\x05\xac\x06\xb8\x9e\xf1", "starts as no format known here"),
        ("a.xyz", "x y z\n1 2 3".encode("utf-16"), r"text in UTF-16(.|\n)*UTF-8"),
        ("a.las", b"just a note to self", "no x|is no point"),
        ("site.toml", b'# ours\n\n[site]\nname = "b"\n', r"such as a site file(.|\n)*terrain3d compare FILE"),
        ("a.toml", b"[[mount]] # first\nat = [0, 0]\n", "such as a site file"),
        ("a.geojson", b'{"type": "FeatureCollection", "features": []}', r"GeoJSON(.|\n)*\[\[protect\]\]"),
        ("a.json", b'{"points": []}', "is JSON"),
        ("a.gml", b"<?xml version='1.0'?>", "is XML"),
        (
            "a.kml",
            b"<?xml version='1.0'?>\n<kml><Document/></kml>",
            r"is KML, drawn shapes(.|\n)*\[\[protect\]\]",
        ),
        ("a.shp", b"\x00\x00\x27\x0a" + b"\0" * 96, r"a shapefile, drawn shapes(.|\n)*\[\[protect\]\]"),
        ("a.dwg", b"AC1032" + b"\0" * 96, r"a DWG drawing(.|\n)*DXF"),
    ],
)
def test_files_that_are_something_else(tmp_path: Path, name: str, content: bytes, message: str) -> None:
    """Empty, cut off after the signature, or another kind of file altogether."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError, match=message) as fault:
        read(path)
    assert "\\x" not in str(fault.value)


def test_missing_files_and_folders(tmp_path: Path) -> None:
    """The path itself is at fault."""
    with pytest.raises(InputError, match=r"no such file(.|\n)*check the path; in a site file it is relative"):
        read(tmp_path / "none.las")
    with pytest.raises(InputError, match="a folder"):
        read(tmp_path)


def test_a_wrong_extension_is_read_by_content_with_a_doubt(tmp_path: Path) -> None:
    """What a file is counts more than what it is called, and the doubt says so."""
    path = write_las(tmp_path / "survey.las", slope_points(3)).rename(tmp_path / "survey.tif")
    assert any("ends in .tif, but it is LAS or LAZ points" in doubt for doubt in read(path).doubts)
    grid = write_tif(tmp_path / "g.tif", np.ones((3, 3)), Affine(1, 0, 5e5, 0, -1, 6e6))
    assert any("it is a TIFF grid" in doubt for doubt in read(grid.rename(tmp_path / "g.xyz")).doubts)
    upper = write_las(tmp_path / "s.las", slope_points(3)).rename(tmp_path / "S.LAS")
    assert not any("ends in" in doubt for doubt in read(upper).doubts)


def write_dxf(path: Path) -> Path:
    """Contours, spot levels, faces and outlines."""
    drawing = ezdxf.new("R2010", units=6)
    space = drawing.modelspace()
    for n in range(6):
        space.add_lwpolyline([(5 * n, 0, 0, 0, 0.2), (5 * n, 30, 0, 0, 0)], dxfattribs={"elevation": n})
        space.add_polyline3d([(5 * n, 0, n), (5 * n, 10, n), (5 * n, 20, n)])
        space.add_point((5 * n, 31, n))
    space.add_polyface().append_face([(0, 0, 1), (5, 0, 1), (5, 5, 1)])
    with space.add_mesh().edit_data() as data:
        data.vertices, data.faces = [(0, 0, 1), (9, 0, 1), (9, 9, 2)], [(0, 1, 2)]
    drawing.saveas(path)
    return path


def write_landxml(path: Path) -> Path:
    """A surface of 200 triangles."""
    points = "".join(f'<P id="{n}">{n // 11} {n % 11} {n / 9}</P>' for n in range(121))
    corners = [11 * row + column for row in range(10) for column in range(10)]
    faces = "".join(f"<F>{k} {k + 1} {k + 11}</F><F>{k + 1} {k + 12} {k + 11}</F>" for k in corners)
    path.write_text(
        '<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units><Surfaces><Surface name="a">'
        f"<Definition><Pnts>{points}</Pnts><Faces>{faces}</Faces></Definition></Surface></Surfaces></LandXML>"
    )
    return path


def write_scan(path: Path) -> Path:
    x, y, z = slope_points(20).T
    return write_e57(
        path, {"cartesianX": x, "cartesianY": y, "cartesianZ": z, "returnIndex": np.arange(400) % 2}
    )


def write_levels(path: Path) -> Path:
    path.write_text(
        "P;E;N;Z;CODE\n" + "".join(f"{n};{3.5 * n};{n * n % 17};{n / 3:.3f};GRD\n" for n in range(99))
    )
    return path


MADE = {"a.dxf": write_dxf, "a.xml": write_landxml, "a.e57": write_scan, "a.csv": write_levels}


@pytest.mark.parametrize("name", MADE)
def test_random_damage_of_what_surveyors_send(tmp_path: Path, name: str) -> None:
    """As above: bytes changed, and files cut, at places of all kinds; nothing is said but one message."""
    path = MADE[name](tmp_path / name)
    content = path.read_bytes()
    assert fault_of(path) is None
    for seed in range(30):
        rng = random.Random(seed)
        damaged = bytearray(content)
        for _ in range(rng.randrange(1, 8)):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        path.write_bytes(damaged[: rng.randrange(len(damaged))] if seed % 3 == 0 else damaged)
        fault = fault_of(path)
        assert fault is None or (str(path) in fault.where or "[ground]" in fault.where)
        assert fault is None or fault.mend


@pytest.mark.parametrize("kept", [0, 20, 200, 0.3, 0.7, 0.98])
@pytest.mark.parametrize("name", ["a.dxf", "a.xml", "a.e57"])
def test_what_surveyors_send_cut_short(tmp_path: Path, name: str, kept: float) -> None:
    """Never read half: a bank that is missing would be taken for level ground."""
    path = MADE[name](tmp_path / name)
    content = path.read_bytes()
    if name == "a.dxf" and kept == 0.98:
        # The objects behind the entities may be missing.
        kept = content.index(b"OBJECTS") / len(content) - 0.01
    path.write_bytes(content[: int(kept if kept > 1 else kept * len(content))])
    with pytest.raises(InputError) as fault:
        read(path)
    assert str(path) in fault.value.where


@pytest.mark.parametrize(
    "code", [("90", "2"), ("92", "3"), ("93", "4"), ("90", "3"), ("71", "3"), ("72", "1")]
)
def test_drawings_that_claim_a_billion(tmp_path: Path, code: tuple[str, str]) -> None:
    """They cost no memory, and change nothing or end in one message.

    Counts of vertices, faces and corners: LWPOLYLINE 90, MESH 92, 93 and 90 of its faces, POLYLINE 71 and 72
    (DXF reference).
    """
    path = write_dxf(tmp_path / "a.dxf")
    whole = read(path, crs="EPSG:32631").vertices
    text, claim = path.read_text(), f"\n {code[0]}\n{code[1]}\n"
    assert claim in text
    path.write_text(text.replace(claim, f"\n {code[0]}\n1000000000\n"))
    tracemalloc.start()
    try:
        assert np.array_equal(read(path, crs="EPSG:32631").vertices, whole)
    except InputError as fault:
        assert fault.what.startswith("it cannot be read as DXF")  # noqa: PT017
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 50_000_000


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("\n 38\n5.0\n", "\n 38\ntall\n", "cannot be read as DXF"),
        ("\n 38\n5.0\n", "\n 38\nnan\n", "coordinates that are no numbers"),
        ("\n 38\n5.0\n", "\n 38\n1e999\n", "coordinates that are no numbers"),
        ("\n  0\nPOINT\n", "\nzero\nPOINT\n", "cannot be read as DXF"),
        ("\nENTITIES\n", "\nENTITIES\n  0\nVERTEX\n 10\n", "cannot be read as DXF"),
    ],
)
def test_drawings_with_text_where_numbers_belong(tmp_path: Path, old: str, new: str, message: str) -> None:
    """One message, that names the file."""
    path = write_dxf(tmp_path / "a.dxf")
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    with pytest.raises(InputError, match=message) as fault:
        read(path)
    assert str(path) in fault.value.where


@pytest.mark.parametrize(("name", "cut"), [("a.dxf", 0.5), ("a.xml", 0.5), ("a.e57", 0.5)])
def test_nothing_is_written_for_a_survey_cut_short(
    tmp_path: Path, name: str, cut: float, capsys: Any
) -> None:
    """Exit status 2, three lines, no folder."""
    path = MADE[name](tmp_path / name)
    path.write_bytes(path.read_bytes()[: int(cut * path.stat().st_size)])
    site = tmp_path / "site.toml"
    site.write_text(
        f'[site]\nname = "s"\n[ground]\nfile = "{name}"\n[[mount]]\nname = "m"\nat = [9, 9]\n[[option]]\n'
        'name = "o"\n[[option.detector]]\nname = "d"\nmount = "m"\ntype = "one-head-90"\nheight = 1.0\n'
        "bearing = 0\n"
    )
    assert run("cover", site, "--out", tmp_path / "out") == 2
    told = capsys.readouterr().err
    assert told.startswith("terrain3d: ")
    assert len(told.splitlines()) == 3
    assert not (tmp_path / "out").exists()


def write_far(path: Path, height: float, east: float = 9.0) -> Path:
    """A square of ground in any format, in which one point is as high and as far east as is said."""
    xyz = np.array([[x, y, 5.0] for x in range(10) for y in range(10)])
    xyz[55], xyz[99, 0] = (xyz[55, 0], xyz[55, 1], height), east
    if path.suffix == ".xyz":
        path.write_text("".join(f"{x} {y} {z}\n" for x, y, z in xyz.tolist()))
    elif path.suffix == ".csv":
        path.write_text("x,y,z\n" + "".join(f"{x},{y},{z}\n" for x, y, z in xyz.tolist()))
    elif path.suffix == ".asc":
        head = f"ncols 10\nnrows 10\nxllcorner {east - 9}\nyllcorner 0\ncellsize 1\n"
        path.write_text(head + "\n".join(" ".join(map(str, row)) for row in xyz[:, 2].reshape(10, 10)))
    elif path.suffix == ".tif":
        write_tif(path, xyz[:, 2].reshape(10, 10), Affine(1, 0, east - 9, 0, -1, 10), dtype="float64")
    elif path.suffix == ".e57":
        write_e57(path, dict(zip(("cartesianX", "cartesianY", "cartesianZ"), xyz.T, strict=True)))
    elif path.suffix == ".las":
        write_las(path, slope_points(10))
        patched(path, SCALE_X + (16 if east == 9 else 0), "<d", max(height, east))
    elif path.suffix == ".ply":
        properties = "".join(f"property double {axis}\n" for axis in "xyz")
        head = f"ply\nformat ascii 1.0\nelement vertex 100\n{properties}element face 90\n"
        path.write_text(
            f"{head}property list uchar int vertex_indices\nend_header\n"
            + "".join(f"{x} {y} {z}\n" for x, y, z in xyz.tolist())
            + "".join(f"3 {k} {k + 10} {k + 1}\n" for k in range(90))
        )
    elif path.suffix == ".obj":
        lines = [f"v {x} {y} {z}" for x, y, z in xyz.tolist()]
        path.write_text("\n".join([*lines, *(f"f {k} {k + 10} {k + 1}" for k in range(1, 91))]) + "\n")
    elif path.suffix == ".xml":
        write_landxml(path)
        changed = f'<P id="60">5 {east} {height}</P>'
        path.write_text(re.sub('<P id="60">.*?</P>', changed, path.read_text()))
    else:
        write_dxf(path)
        code, new = ("38", height) if east == 9.0 else ("10", east)
        head, entities = path.read_text().split("\nENTITIES\n")
        entities, n = re.subn(rf"\n {code}\n.*\n", f"\n {code}\n{new}\n", entities)
        assert n
        path.write_text(f"{head}\nENTITIES\n{entities}")
    return path


@pytest.mark.usefixtures("read_here")
@pytest.mark.parametrize("value", [1e300, -1e300, 2e9])
@pytest.mark.parametrize(
    "suffix", [".xyz", ".csv", ".asc", ".tif", ".e57", ".las", ".ply", ".obj", ".xml", ".dxf"]
)
def test_heights_that_none_has_are_refused(tmp_path: Path, suffix: str, value: float) -> None:
    """They are damage, or stand for no data and nobody said so; nothing overflows on the way."""
    if value < 0 and suffix in (".las", ".asc"):
        # A scale below zero is another fault, and what GDAL cannot hold in 32 bits it takes for no data.
        value = 1e200
    path = write_far(tmp_path / f"a{suffix}", value)
    with pytest.raises(InputError, match=r"no height on earth|place|is no point") as fault:
        read(path, crs="EPSG:32631")
    assert str(path) in fault.value.where
    assert fault.value.mend


@pytest.mark.usefixtures("read_here")
@pytest.mark.parametrize(
    "suffix", [".xyz", ".csv", ".asc", ".tif", ".e57", ".las", ".ply", ".obj", ".xml", ".dxf"]
)
def test_places_that_are_none_are_refused(tmp_path: Path, suffix: str) -> None:
    """The same in plan."""
    path = write_far(tmp_path / f"a{suffix}", 5.0, 1e300)
    with pytest.raises(InputError, match=r"place|is no point|cannot be in") as fault:
        read(path, crs="EPSG:32631")
    assert str(path) in fault.value.where
