"""Ground from tape, compass and level: closed forms of a right triangle, and what does not close."""

import json
from pathlib import Path

import numpy as np
import pytest

from terrain3d.errors import InputError
from terrain3d.job import judge_units
from terrain3d.opened import site_of
from terrain3d.paper.results import results_values
from terrain3d.site import Shot, Site
from terrain3d.survey.build import build_terrain
from terrain3d.survey.shots import shot_levels
from terrain3d.terrain import Mark, Mount

POLE, POST = Mount("pole", 10.0, 20.0), Mark("gate post", 10.0, 26.0)


def shots(*given: tuple[str, float, float, float, str | None]) -> list[Shot]:
    return [
        Shot.model_validate({"from": start, "bearing": bearing, "tape": tape, "drop": drop, "name": name})
        for start, bearing, tape, drop, name in given
    ]


def test_a_tape_along_the_slope_spans_less_in_plan() -> None:
    """Pythagoras: 5 m of tape with 3 m of drop is 4 m in plan; 13 with 5 is 12. Bearing 90 is east."""
    levels, doubts = shot_levels(
        shots(("pole", 90, 5, 3, None), ("pole", 180, 13, -5, None), ("pole", 0, 2, 0, None)), [POLE], []
    )
    expected = [(10, 20, 0), (14, 20, -3), (10, 8, 5), (10, 22, 0)]
    np.testing.assert_allclose(levels, expected, atol=1e-12)
    assert doubts == ()


def test_a_shot_may_go_on_from_where_an_earlier_one_ended() -> None:
    """Two of 5 m with 3 m of drop each: 8 m out, 6 m down."""
    levels, _ = shot_levels(shots(("pole", 90, 5, 3, "stake"), ("stake", 90, 5, 3, None)), [POLE], [])
    np.testing.assert_allclose(levels[-1], (18, 20, -6), atol=1e-12)


def test_a_mark_is_shot_to_and_then_shot_from() -> None:
    """Its place is the drawn one, its height that of the shot; what misses by much is told."""
    levels, doubts = shot_levels(
        shots(("pole", 0, 6.02, 0.5, "gate post"), ("gate post", 90, 4, 0, None)), [POLE], [POST]
    )
    np.testing.assert_allclose(levels[1:], [(10, 26, -0.5), (14, 26, -0.5)], atol=1e-12)
    assert doubts == ()
    levels, doubts = shot_levels(
        shots(("pole", 10, 7, 0, "gate post"), ("pole", 0, 6, -0.4, "gate post")), [POLE], [POST]
    )
    assert len(levels) == 2
    # 7 m at 10 degrees: 1.22 m east, 6.89 m north of the pole.
    assert "shot 1 ends 1.5 m from where 'gate post' lies" in doubts[0]
    assert "shot 2 puts 'gate post' 0.40 m higher than an earlier one did" in doubts[1]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((("post", 0, 2, 0, None),), "nothing that is known is called 'post'"),
        ((("pole", 0, 2, 0, None), ("gate post", 0, 2, 0, None)), "the height at 'gate post' is not known"),
        ((("stake", 0, 2, 0, "stake"),), "nothing that is known is called 'stake'"),
    ],
)
def test_a_shot_from_nowhere_is_refused(given: tuple, words: str) -> None:
    """The number of the shot and what to name are in the message."""
    with pytest.raises(InputError, match=words) as told:
        shot_levels(shots(*given), [POLE], [POST])
    assert f"shots number {len(given)}: from" in str(told.value)


def test_names_of_mounts_and_marks_differ_where_shots_name_them() -> None:
    """A mount and a mark of one name."""
    with pytest.raises(InputError, match="a mount and a mark are both named 'pole'"):
        shot_levels(shots(("pole", 0, 2, 0, None)), [POLE], [Mark("pole", 0, 0)])


def taped(**more: object) -> Site:
    """A plane that falls 1 in 10 southward, shot from a pole at its north side."""
    fan = []
    for bearing, level in ((90, 6.0), (270, 6.0), (180, 10.0), (135, 12.0), (225, 12.0)):
        drop = -0.1 * level * np.cos(np.radians(bearing))
        fan.append({"from": "pole", "bearing": bearing, "tape": float(np.hypot(level, drop)), "drop": drop})
    return Site.model_validate(
        {
            "site": {"name": "taped", "cell": 0.25},
            "ground": {"shots": fan},
            "mount": [{"name": "pole", "at": (3.0, 4.0)}],
            "mark": [{"name": "post", "at": (3.0, -2.0)}, {"name": "afar", "at": (90.0, 0.0)}],
            "protect": [{"name": "yard", "outline": [(1, -4), (5, -4), (5, 2), (1, 2)]}],
            **more,
        }
    )


def test_shots_are_ground_between_them() -> None:
    """Heights of the plane, 0 at the pole, which stands at the edge of what is spanned and yet on ground."""
    terrain = build_terrain(taped(), Path(), 12.0)
    assert terrain.ground.height_at([3.0], [4.0])[0] == pytest.approx(0.0, abs=0.02)
    x, y = np.array([3.0, 5.0, 1.0]), np.array([-2.0, -3.0, 0.0])
    np.testing.assert_allclose(terrain.ground.height_at(x, y), 0.1 * (y - 4), atol=1e-9)
    assert terrain.spacing_m is None
    assert not any("not seen" in doubt for doubt in terrain.doubts)
    post, afar = terrain.marks
    assert (post.name, post.x, post.y) == ("post", 3.0, -2.0)
    assert post.ground_z == pytest.approx(-0.6)
    assert np.isnan(afar.ground_z)


def test_a_shot_is_turned_with_the_crs() -> None:
    """Bearings are from true north whatever the grid's north: UTM's leans by 2 degrees at this place."""
    made = Site.model_validate(
        {
            "site": {"name": "t", "crs": "EPSG:32631", "cell": 0.25},
            "ground": {"shots": [
                {"from": "pole", "bearing": bearing, "tape": 10.0, "name": f"end {bearing}"}
                for bearing in (0, 90, 180, 270)
            ]},
            "mount": [{"name": "pole", "at": (700_000.0, 5_400_000.0)}],
        }
    )  # fmt: skip
    terrain = build_terrain(made, Path(), 8.0)
    west, south, east, north = terrain.ground.bounds
    assert (east - west, north - south) == pytest.approx((20, 20), abs=0.6)
    # A square that stands on its corners: its corners are north, not some degrees off.
    known = terrain.ground.known
    top = np.flatnonzero(known[-3])
    assert abs(terrain.ground.xs[top].mean()) < 0.3


def test_marks_may_be_drawn_in_a_map_program(tmp_path: Path) -> None:
    """A layer of points stands for a list of them; two of one name are refused."""
    points = [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Point", "coordinates": at}}
        for name, at in (("post", [3.0, 50.0]), ("corner", [3.0001, 50.0]))
    ]
    layer = tmp_path / "marks.geojson"
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": points}))
    made = Site.model_validate(
        {
            "site": {"name": "m", "crs": "EPSG:4326", "cell": 0.5},
            "ground": {"plane": {"fall": 0, "towards": 0, "extent": 40}},
            "mount": [{"name": "pole", "at": (3.00005, 50.0)}],
            "mark": {"file": "marks.geojson"},
        }
    )
    post, corner = build_terrain(made, tmp_path, 8.0).marks
    # A degree of longitude at 50 degrees is 71.7 km (WGS 84).
    assert corner.x - post.x == pytest.approx(7.17, abs=0.01)
    points[1]["properties"]["name"] = "post"
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": points}))
    with pytest.raises(InputError, match="two of mark are named 'post'"):
        build_terrain(made, tmp_path, 8.0)


def test_a_shot_that_cannot_be_is_refused() -> None:
    """A drop as long as the tape; one source of ground."""
    with pytest.raises(ValueError, match="a drop of 3 m is not less than the tape of 2 m"):
        shots(("pole", 0, 2, 3, None))
    with pytest.raises(ValueError, match="exactly one of file, plane, points, shots is needed"):
        taped(ground={"file": "s.laz", "shots": [{"from": "pole", "bearing": 0, "tape": 1}] * 2})


def test_marks_are_in_the_results() -> None:
    """By name, place and height; null where no ground is known."""
    terrain = build_terrain(taped(), Path(), 12.0)
    from terrain3d.cover.sighted import unit_on
    from terrain3d.detector.types import load_type

    unit = unit_on(terrain, "pole", load_type("one-head-90"), 1.0, 180)
    values = results_values(judge_units(site_of(terrain), {"south": (unit,)}))
    assert values["site"]["marks"] == [
        {"name": "post", "x": 3.0, "y": -2.0, "ground_z": pytest.approx(-0.6)},
        {"name": "afar", "x": 90.0, "y": 0.0, "ground_z": None},
    ]
