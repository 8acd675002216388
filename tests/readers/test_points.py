"""Reading LAS, LAZ and COPC: the library's own numbers, clipped, without noise, heights in metres."""

from pathlib import Path

import laspy
import numpy as np
import pytest
from made_files import slope_points, write_las

from terrain3d.errors import InputError
from terrain3d.readers import points
from terrain3d.readers.source import Box, Cloud
from terrain3d.readers.surveys import read_header, read_survey
from terrain3d.site import GroundSource
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M


def read(path: Path, box: Box | None = None, **ground: str) -> Cloud:
    header = read_header(path, GroundSource(file=str(path), **ground))
    cloud = read_survey(path, header, box)
    assert isinstance(cloud, Cloud)
    return cloud


def test_las_gives_the_librarys_own_points_with_heights_in_metres(nebraska_las: Path) -> None:
    """Against laspy: x, y, z, class and returns of every point that is no noise, z times the foot."""
    las = laspy.read(nebraska_las)
    keep = ~np.isin(las.classification, (7, 18))
    cloud = read(nebraska_las)
    np.testing.assert_allclose(cloud.xyz[:, :2], las.xyz[keep, :2], rtol=0, atol=1e-9)
    np.testing.assert_allclose(cloud.xyz[:, 2], las.z[keep] * US_SURVEY_FOOT_M, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(cloud.classes, las.classification[keep])
    np.testing.assert_array_equal(cloud.return_number, las.return_number[keep])
    np.testing.assert_array_equal(cloud.n_returns, las.number_of_returns[keep])


@pytest.mark.usefixtures("read_here")
def test_laz_is_read_in_chunks_to_the_same_points(autzen_laz: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks that do not divide the count leave no point out and none twice."""
    monkeypatch.setattr(points, "CHUNK", 7_777)
    las = laspy.read(autzen_laz)
    cloud = read(autzen_laz)
    np.testing.assert_allclose(cloud.xyz[:, :2], las.xyz[:, :2], rtol=0, atol=1e-9)
    np.testing.assert_allclose(cloud.xyz[:, 2], las.z * FOOT_M, rtol=0, atol=1e-9)


@pytest.mark.parametrize("share", [0.2, 0.9])
def test_copc_clips_to_the_box_by_query_and_in_order(oregon_copc: Path, share: float) -> None:
    """Both ways into a COPC, the octree for small boxes and the plain order for large, find the same."""
    header = read_header(oregon_copc, GroundSource(file=str(oregon_copc)))
    west, south, east, north = header.bounds
    box = (west, south, west + share * (east - west), south + share * (north - south))
    las = laspy.read(oregon_copc)
    inside = (las.x <= box[2]) & (las.y <= box[3])
    cloud = read(oregon_copc, box)
    assert 0 < len(cloud.xyz) < len(las.x)
    found, wanted = (xy[np.lexsort(xy.T)] for xy in (cloud.xyz[:, :2], las.xyz[inside, :2]))
    np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-6)


@pytest.mark.usefixtures("read_here")
@pytest.mark.parametrize("per_query", [10, 1_000_000])
def test_a_copc_asked_in_strips_gives_each_point_once(
    oregon_copc: Path, monkeypatch: pytest.MonkeyPatch, per_query: int
) -> None:
    """Strips keep memory small; no point falls between two of them, into both, or off the box's edges."""
    las = laspy.read(oregon_copc)
    # From one point of the survey to another: both lie on corners of the box.
    place = (las.xyz[:, :2] - las.xyz[:, :2].min(axis=0)) / np.ptp(las.xyz[:, :2], axis=0)
    (west, south), (east, north) = (
        las.xyz[np.hypot(*(place - share).T).argmin(), :2] for share in (0.2, 0.6)
    )
    box = (west, south, east, north)
    inside = (las.x >= west) & (las.x <= east) & (las.y >= south) & (las.y <= north)
    monkeypatch.setattr(points, "_QUERY_POINTS", per_query)
    monkeypatch.setattr(points, "_QUERY_SHARE", 1.0)
    found, wanted = read(oregon_copc, box).xyz[:, :2], las.xyz[inside, :2]
    np.testing.assert_allclose(found[np.lexsort(found.T)], wanted[np.lexsort(wanted.T)], atol=1e-6)


def test_copc_and_plain_las_of_one_survey_agree(oregon_copc: Path, no_crs_las: Path) -> None:
    """The same 1,065 points are kept in both files, in feet."""
    one, other = read(oregon_copc, vertical_unit="ft").xyz, read(no_crs_las, vertical_unit="ft").xyz
    np.testing.assert_allclose(one[np.lexsort(one.T)], other[np.lexsort(other.T)], atol=1e-6)


@pytest.mark.parametrize(
    ("point_format", "version"),
    [(0, "1.2"), (1, "1.2"), (3, "1.3"), (5, "1.3"), (6, "1.4"), (8, "1.4"), (10, "1.4")],
)
@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_every_point_format_gives_the_same_points(
    tmp_path: Path, point_format: int, version: str, suffix: str
) -> None:
    """Classes and returns stand in other bits in formats 0 to 5 than in 6 to 10 (LAS 1.4 R15)."""
    if suffix == ".laz" and point_format in (4, 5, 9, 10):
        pytest.skip("the compressor at hand writes no waveform formats")
    xyz = slope_points(4)
    path = write_las(
        tmp_path / f"survey{suffix}",
        xyz,
        classes=[2, 1, 5, 6] * 4,
        point_format=point_format,
        version=version,
        return_number=np.array([1, 2, 3, 1] * 4, np.uint8),
        number_of_returns=np.array([3, 3, 3, 1] * 4, np.uint8),
    )
    cloud = read(path)
    np.testing.assert_allclose(cloud.xyz, xyz, atol=5e-4)
    np.testing.assert_array_equal(cloud.classes, [2, 1, 5, 6] * 4)
    np.testing.assert_array_equal(cloud.return_number, [1, 2, 3, 1] * 4)
    np.testing.assert_array_equal(cloud.n_returns, [3, 3, 3, 1] * 4)


def test_legacy_classes_take_their_present_meaning(tmp_path: Path) -> None:
    """In formats 0 to 5 class 8 is a key point of the ground and 12 an overlap (LAS 1.4 R15, table 9)."""
    old = write_las(
        tmp_path / "old.las", slope_points(2), classes=[8, 12, 2, 5], point_format=1, version="1.2"
    )
    new = write_las(tmp_path / "new.las", slope_points(2), classes=[8, 12, 2, 5])
    np.testing.assert_array_equal(read(old).classes, [2, 1, 2, 5])
    np.testing.assert_array_equal(read(new).classes, [8, 12, 2, 5])


@pytest.mark.parametrize(("point_format", "version"), [(1, "1.2"), (6, "1.4")])
def test_noise_and_withheld_points_are_dropped_and_told_when_many(
    tmp_path: Path, point_format: int, version: str
) -> None:
    """Classes 7 and 18 and the withheld flag leave no point behind; half a survey lost is told."""
    noisy = 18 if point_format == 6 else 7
    path = write_las(
        tmp_path / "survey.las",
        slope_points(2),
        classes=[2, 7, noisy, 2],
        point_format=point_format,
        version=version,
        withheld=np.array([0, 0, 0, 1], np.uint8),
    )
    cloud = read(path)
    assert len(cloud.xyz) == 1
    assert any("3 of 4 points are noise" in doubt for doubt in cloud.doubts)


def test_a_box_holds_its_edges_and_nothing_else(tmp_path: Path) -> None:
    """Points on the edge of the box are in it; a point one step outside is not."""
    path = write_las(tmp_path / "survey.las", slope_points(20))
    cloud = read(path, (500_003.0, 6_000_004.0, 500_005.0, 6_000_004.999))
    np.testing.assert_allclose(cloud.xyz[:, 0], [500_003, 500_004, 500_005])
    np.testing.assert_allclose(cloud.xyz[:, 1], 6_000_004)


@pytest.mark.usefixtures("read_here")
def test_progress_rises_to_one(autzen_laz: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever shows progress is told shares of the work, in order, up to all of it."""
    monkeypatch.setattr(points, "CHUNK", 30_000)
    told: list[float] = []
    header = read_header(autzen_laz, GroundSource(file=str(autzen_laz)))
    read_survey(autzen_laz, header, None, told.append)
    assert told == sorted(told)
    assert len(told) == 4
    assert told[-1] == 1.0


def test_bounds_of_another_place_are_replaced_by_those_of_the_points(elsewhere_las: Path) -> None:
    """The header puts the survey 235,000 km away; its points say where it is."""
    header = read_header(elsewhere_las, GroundSource(file=str(elsewhere_las)))
    las = laspy.read(elsewhere_las)
    assert header.bounds == pytest.approx((las.x.min(), las.y.min(), las.x.max(), las.y.max()))
    assert any("do not hold its points" in doubt for doubt in header.doubts)


def test_bounds_too_narrow_for_later_points_are_told(tmp_path: Path) -> None:
    """A header whose bounds hold the first points only, as after careless joining, raises a doubt."""
    far = slope_points(40)
    far[1500:, 0] += 1000
    path = write_las(tmp_path / "survey.las", far)
    content = bytearray(path.read_bytes())
    content[179:187] = np.float64(500_050).tobytes()  # max x
    path.write_bytes(content)
    header = read_header(path, GroundSource(file=str(path)))
    assert header.bounds[2] == 500_050
    assert any("501039" in doubt for doubt in read(path).doubts)


def test_a_single_point_is_read(tmp_path: Path) -> None:
    """One point is a survey too; whether it is enough is for later stages to say."""
    assert read(write_las(tmp_path / "one.las", [[500_000, 6_000_000, 12]])).xyz.tolist() == [
        [500_000, 6_000_000, 12]
    ]


def test_a_box_off_the_survey_names_both_places(nebraska_las: Path) -> None:
    """No point in the box: the message says where the survey lies and which keys to check."""
    with pytest.raises(
        InputError, match=r"no point of it lies in x 0 to 1(.|\n)*2445180(.|\n)*\[ground\] crs"
    ):
        read(nebraska_las, (0, 0, 1, 1))


@pytest.mark.usefixtures("read_here")
def test_chunks_handed_on_are_the_points_read(autzen_laz: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever keeps nothing sees the same points, in order, no more than a chunk at a time."""
    monkeypatch.setattr(points, "CHUNK", 30_000)
    header = read_header(autzen_laz, GroundSource(file=str(autzen_laz)))
    taken: list[Cloud] = []
    doubts = points.pass_las(autzen_laz, header, None, taken.append)
    whole = read(autzen_laz)
    assert [len(cloud.xyz) for cloud in taken] == [30_000, 30_000, 30_000, 20_000]
    for name in ("xyz", "classes", "return_number", "n_returns"):
        together = np.concatenate([getattr(cloud, name) for cloud in taken])
        np.testing.assert_array_equal(together, getattr(whole, name))
    assert doubts == whole.doubts


def test_a_fault_of_whoever_takes_the_points_is_not_the_files(autzen_laz: Path) -> None:
    """Only the decoder's own faults are damage; another's comes out as it is."""
    header = read_header(autzen_laz, GroundSource(file=str(autzen_laz)))

    def stumble(cloud: Cloud) -> None:
        raise ZeroDivisionError(len(cloud.xyz))

    with pytest.raises(ZeroDivisionError):
        points.pass_las(autzen_laz, header, None, stumble)
