"""Damaged, lying and mistaken survey files: always one message that names the file, never a traceback."""

import random
import struct
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import pytest
from affine import Affine
from made_files import slope_points, write_las, write_tif

from terrain3d.errors import InputError
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource

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
    """The size says nothing here: the decoder runs dry and the message says so, without a huge array."""
    path = write_las(tmp_path / "survey.laz", slope_points(20))
    patched(path, N_POINTS, "<Q", 10**12)
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
    with pytest.raises(InputError, match="claims to pack 4000000000 points together, and has 400"):
        read(repacked(path, CHUNK_SIZE, "<I", 4_000_000_000))


@pytest.mark.parametrize(("at", "layout", "value"), [(CHUNK_SIZE, "<I", 80), (N_ITEMS, "<H", 0)])
def test_a_decoder_that_panics_leaves_one_message(
    tmp_path: Path, ready: Callable[[str], list], at: int, layout: str, value: int
) -> None:
    """Its own lines, written past Python by its own threads, do not stand beside ours."""
    path = repacked(write_las(tmp_path / "survey.laz", slope_points(45)), at, layout, value)
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
    assert type(fault.value.__cause__).__name__ == "PanicException"
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
        ("a.e57", b"ASTM-E57" + b"\0" * 90, r"an E57 scan(.|\n)*LAZ"),
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
