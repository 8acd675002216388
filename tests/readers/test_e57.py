"""E57 scans: written by libE57, and read beside pye57's own reading and scipy's rotations."""

import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pye57
import pyproj
import pytest
from made_files import crc32c, e57_with_xml, write_e57
from scipy.spatial.transform import Rotation
from site_files import run

from terrain3d.errors import InputError
from terrain3d.readers import e57
from terrain3d.readers.source import Cloud
from terrain3d.readers.surveys import pass_points, read_header, read_survey
from terrain3d.site import GroundSource, Site
from terrain3d.survey.build import build_terrain

PLACE = np.array([500_000.123456789, 6_000_000.5, 100.0])
TURN = Rotation.from_euler("zyx", [137.0, 3.0, -2.0], degrees=True)


def axes(points: Any) -> dict[str, Any]:
    return dict(zip(("cartesianX", "cartesianY", "cartesianZ"), np.asarray(points, float).T, strict=True))


def pose(turn: Rotation = TURN, place: Any = PLACE) -> dict[str, Any]:
    return {"rotation": np.roll(turn.as_quat(), 1), "translation": place}


def some_points(n: int = 200, seed: int = 0) -> Any:
    return np.random.default_rng(seed).uniform([-20, -20, -2], [20, 20, 2], (n, 3))


def read(path: Path, box: Any = None, **ground: str) -> Cloud:
    found = read_survey(path, read_header(path, GroundSource(file=path.name, **ground)), box)
    assert isinstance(found, Cloud)
    return found


def test_scans_are_turned_moved_and_joined(tmp_path: Path) -> None:
    """To the nanometre as scipy turns them, and as pye57 reads them itself; the second has no pose."""
    points, more = some_points(), some_points(50, 1) + PLACE
    path = write_e57(tmp_path / "a.e57", axes(points) | pose(), axes(more))
    cloud = read(path)
    np.testing.assert_allclose(cloud.xyz[:200], TURN.apply(points) + PLACE, rtol=0, atol=2e-9)
    np.testing.assert_array_equal(cloud.xyz[200:], more)
    with pye57.E57(str(path)) as other:
        table = other.read_scan(0, ignore_missing_fields=True)
    theirs = np.column_stack([table[name] for name in axes(points)])
    np.testing.assert_allclose(cloud.xyz[:200], theirs, rtol=0, atol=2e-9)
    assert set(cloud.classes.tolist()) == {0}
    assert any("1 of its 2 scans state no pose" in doubt for doubt in cloud.doubts)


def test_what_pye57_writes(tmp_path: Path) -> None:
    """Colours and intensity do no harm, and single precision is its own choice."""
    points = some_points().round(2)
    path = tmp_path / "a.e57"
    columns = axes(points) | {"intensity": np.linspace(0, 1, 200)}
    columns |= {f"color{name}": np.arange(200).astype(np.uint8) for name in ("Red", "Green", "Blue")}
    with pye57.E57(str(path), mode="w") as other:
        other.write_scan_raw(columns, rotation=pose()["rotation"], translation=PLACE)
    np.testing.assert_allclose(read(path).xyz, TURN.apply(points) + PLACE, atol=2e-6)


def test_invalid_points_are_left_out_and_counted(tmp_path: Path) -> None:
    """State 1 gives a direction alone, 2 nothing (E2807); a place of noughts alone is the scanner."""
    points = some_points(6)
    points[4], points[5] = 0.0, np.nan
    cloud = read(
        write_e57(tmp_path / "a.e57", axes(points) | {"cartesianInvalidState": np.array([0, 1, 2, 0, 0, 0])})
    )
    np.testing.assert_array_equal(cloud.xyz, points[[0, 3]])
    assert any("4 points marked invalid, or without a place" in doubt for doubt in cloud.doubts)


def test_points_by_range_and_angles(tmp_path: Path) -> None:
    """Azimuth anticlockwise from x, elevation up from level (E2807, spherical coordinates)."""
    columns = {
        "sphericalRange": np.array([10.0, 10.0, 10.0, 10.0]),
        "sphericalAzimuth": np.radians([0.0, 90.0, 90.0, 10.0]),
        "sphericalElevation": np.radians([0.0, 0.0, 30.0, 0.0]),
        "sphericalInvalidState": np.array([0, 0, 0, 2]),
    }
    cloud = read(write_e57(tmp_path / "a.e57", columns | pose(Rotation.identity(), PLACE)))
    wanted = np.array([[10, 0, 0], [0, 10, 0], [0, 10 * np.cos(np.pi / 6), 5]]) + PLACE
    np.testing.assert_allclose(cloud.xyz, wanted, atol=2e-9)


def test_classes_and_returns_where_they_are_given(tmp_path: Path) -> None:
    """A class in a field of an extension; returns count from 0 (E2807, returnIndex). Noise is left out."""
    columns = axes(some_points(4)) | {
        "las:classification": np.array([2, 6, 7, 5]),
        "returnIndex": np.array([0, 1, 0, 0]),
        "returnCount": np.array([1, 2, 1, 1]),
    }
    cloud = read(write_e57(tmp_path / "a.e57", columns))
    assert cloud.classes.tolist() == [2, 6, 5]
    assert cloud.return_number.tolist() == [1, 2, 1]
    assert cloud.n_returns.tolist() == [1, 2, 1]


def test_colours_and_dates_are_taken(tmp_path: Path) -> None:
    """Of 8 bits as they are; GPS time began on 6 January 1980, a week has 604800 seconds (IS-GPS-200)."""
    colours = {f"color{name}": np.array([0, 128, 255]) for name in ("Red", "Green", "Blue")}
    times = {"times": (2294 * 604800.0 + 100, 2294 * 604800.0 + 86400 + 100)}
    path = write_e57(tmp_path / "a.e57", axes(some_points(3)) | colours | times)
    assert read(path).rgb.tolist() == [[0, 0, 0], [128, 128, 128], [255, 255, 255]]
    dated = read_header(path, GroundSource(file="a")).dated
    assert dated is not None
    # GPS week 2294 began on Sunday, 24 December 2023.
    assert (dated.first.isoformat(), dated.last.isoformat(), dated.is_flown) == (
        "2023-12-24",
        "2023-12-25",
        True,
    )
    assert (
        read_header(write_e57(tmp_path / "b.e57", axes(some_points(3))), GroundSource(file="b")).dated is None
    )


def test_the_crs_is_taken_from_its_wkt(tmp_path: Path) -> None:
    """coordinateMetadata holds WKT (E2807); other words are told. Metres are the standard's."""
    wkt = pyproj.CRS("EPSG:32631").to_wkt("WKT1_GDAL")
    path = write_e57(tmp_path / "a.e57", axes(some_points()) | pose(), metadata=wkt)
    header = read_header(path, GroundSource(file="a"))
    assert header.crs is not None
    assert header.crs.to_epsg() == 32631
    assert header.vertical_unit_from == "the E57 standard"
    other = write_e57(tmp_path / "b.e57", axes(some_points()), metadata="site grid 7")
    assert any("'site grid 7', cannot be understood" in doubt for doubt in read(other).doubts)


@pytest.mark.usefixtures("read_here")
def test_a_box_takes_what_lies_in_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunk by chunk, with nothing lost between them."""
    monkeypatch.setattr(e57, "CHUNK", 70)
    points, more = some_points(1000), some_points(1000, 1)
    path = write_e57(tmp_path / "a.e57", axes(points), axes(more))
    everything = np.vstack([points, more])
    np.testing.assert_array_equal(read(path).xyz, everything)
    inside = np.all((everything[:, :2] >= -5) & (everything[:, :2] <= 5), axis=1)
    np.testing.assert_array_equal(read(path, (-5, -5, 5, 5)).xyz, everything[inside])
    passed: list[Cloud] = []
    pass_points(path, read_header(path, GroundSource(file="a")), passed.append)
    assert max(len(cloud.xyz) for cloud in passed) <= 70
    np.testing.assert_array_equal(np.vstack([cloud.xyz for cloud in passed]), everything)
    with pytest.raises(InputError, match=r"no point of it lies in(.|\n)*it covers|covers"):
        read(path, (100, 100, 110, 110))


def test_a_site_stands_on_a_scan(tmp_path: Path) -> None:
    """Ground is found among the points of all scans."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(-15, 15, 0.25), np.arange(-15, 15, 0.25)))
    points = np.column_stack([x, y, 0.1 * x - 1.5])
    path = write_e57(tmp_path / "a.e57", axes(points[::2]), axes(points[1::2]))
    site = Site.model_validate(
        {
            "site": {"name": "scan"},
            "ground": {"file": path.name},
            "mount": [{"name": "tripod", "at": (0.5, 0.5)}],
        }
    )
    terrain = build_terrain(site, tmp_path, 6.0)
    at = terrain.frame.to_local([0.5, 4.0], [0.5, 2.0], None)
    assert terrain.ground.height_at(*at) == pytest.approx([-1.45, -1.1], abs=0.01)


def test_inspect_tells_a_scan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Version, scans, points, and what is doubtful."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()) | pose(), axes(some_points()) | pose())
    assert run("inspect", path, "--crs", "EPSG:32631") == 0
    told = capsys.readouterr().out
    assert "E57 1.0, 2 scans" in told
    assert "Points           400" in told
    assert "WGS 84 / UTM zone 31N" in told


def changed(path: Path, at: int, layout: str, value: float) -> Path:
    content = bytearray(path.read_bytes())
    struct.pack_into(layout, content, at, value)
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("kept", [20, 60, 0.5, 0.99])
def test_files_cut_short(tmp_path: Path, kept: float) -> None:
    """The header says how long the file should be."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()))
    content = path.read_bytes()
    path.write_bytes(content[: int(kept if kept > 1 else kept * len(content))])
    with pytest.raises(InputError, match=r"ends inside its header|it was cut short") as fault:
        read(path)
    assert str(path) in fault.value.where


@pytest.mark.parametrize(
    ("at", "value"), [(24, 2**40), (24, 2**63), (32, 2**40), (32, 0), (40, 0), (40, 2**62), (40, 3)]
)
def test_headers_that_claim_what_cannot_be(tmp_path: Path, at: int, value: int) -> None:
    """Place and length of the XML, size of a page: held against the file before anything is read."""
    path = changed(write_e57(tmp_path / "a.e57", axes(some_points())), at, "<Q", value)
    with pytest.raises(InputError, match="its header cannot be"):
        read(path)


def test_the_checksum_is_that_of_the_format() -> None:
    """The value of RFC 3720 for 32 bytes of nought."""
    assert crc32c(bytes(32)) == 0x8A9136AA


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (b'recordCount="200"', b'recordCount="9E9"', "is no number"),
        (
            b'recordCount="200"',
            b'recordCount="1000000000"',
            "claims 1000000000 points, more than the file has room for",
        ),
        (b'recordCount="200"', b'recordCount="201"', "only 200 could be read|cannot be decoded"),
        (b'recordCount="200"', b'recordCount="-99"', "claims -99 points"),
        (b"cartesianX", b"cartesianQ", "no coordinates that are known|is wrong"),
        (b"<translation ", b"<translatiox ", "cut off or wrong"),
        (b"<e57Root ", b"<e58Root ", "cut off or wrong"),
    ],
)
def test_xml_that_claims_what_cannot_be(tmp_path: Path, old: bytes, new: bytes, message: str) -> None:
    """Counts, coordinates and poses, before the library makes room for them."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()) | pose())
    with pytest.raises(InputError, match=message) as fault:
        read(e57_with_xml(path, old, new))
    assert str(path) in fault.value.where
    assert fault.value.mend


def test_a_document_type_is_refused(tmp_path: Path) -> None:
    """With it would come entities; the library's own parser would take them."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()), metadata="x" * 80)
    with pytest.raises(InputError, match="declares a document type"):
        read(e57_with_xml(path, b"<e57Root", b"<!DOCTYPE e57Root [<!ENTITY a 'b'>]><e57Root"))


def test_damaged_points_are_told(tmp_path: Path) -> None:
    """Every page has its checksum."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()))
    with pytest.raises(InputError, match="cannot be decoded"):
        read(changed(path, 300, "<Q", 12345))


def test_scans_without_a_valid_point(tmp_path: Path) -> None:
    """All of them marked."""
    columns = axes(some_points(3)) | {"cartesianInvalidState": np.array([2, 2, 2])}
    with pytest.raises(InputError, match="holds no valid points"):
        read(write_e57(tmp_path / "a.e57", columns))
    with pytest.raises(InputError, match="holds no scans"):
        read(write_e57(tmp_path / "b.e57"))


@pytest.mark.usefixtures("read_here")
def test_without_the_library_the_line_that_installs_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is an extra."""
    path = write_e57(tmp_path / "a.e57", axes(some_points()))
    monkeypatch.setitem(sys.modules, "pye57", None)
    with pytest.raises(InputError, match=r"not installed(.|\n)*terrain3d\[e57\]"):
        read(path)
