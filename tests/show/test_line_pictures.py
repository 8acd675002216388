"""The small pictures of the sheets: one ink, the same bytes, names as they are."""

import re
from typing import Any
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.text import Text
from site_files import EVERYTHING, option_text, written

from terrain3d.fixing.places import Taped
from terrain3d.fixing.unit import option_fixing
from terrain3d.job import run
from terrain3d.sentences.along import stretch_note
from terrain3d.show import line_pictures
from terrain3d.show.line_pictures import unit_plan_svg, unit_section_svg, walk_plan_svg
from terrain3d.walktest.plan import WalkPoint
from terrain3d.walktest.spots import Proof


@pytest.fixture(scope="module")
def pictures(tmp_path_factory) -> list[str]:
    """All kinds, twice."""
    marks = '[[mark]]\nname = "<gate> & $post$"\nat = [4, 2]\n[[mark]]\nname = "corner"\nat = [-6, 0]\n'
    site = written(tmp_path_factory.mktemp("site"), EVERYTHING + marks + option_text("one"))
    outcome = run(site)
    option = outcome.option("one")
    (fixing,) = option_fixing(outcome, "one", None, None)
    point = WalkPoint(
        1, "D1", 0.0, 2.0, 90.0, 2.0, "person", 1.7, True, Proof("held"), Taped("corner", 6.0, 6.0, 80.0)
    )
    return [
        text
        for _ in range(2)
        for text in (
            unit_plan_svg(outcome, option.units[0], fixing),
            unit_section_svg(outcome, fixing),
            walk_plan_svg(outcome, option.units[0], [point], 170.0, 92.0),
        )
    ]


def test_they_are_svg_in_one_ink(pictures):
    """Well-formed, and every colour in them is a grey, black or white."""
    for text in pictures:
        assert ElementTree.fromstring(text).tag.endswith("svg")
        colours = set(re.findall(r"#([0-9a-fA-F]{6})\b", text))
        assert colours
        assert all(colour[0:2] == colour[2:4] == colour[4:6] for colour in colours)


def test_they_are_the_same_again(pictures):
    """No day and no number of the run is in them."""
    assert pictures[:3] == pictures[3:]


def test_names_of_marks_are_written_in_every_script_whatever_the_settings(tmp_path):
    """Chinese and Korean as letters: matplotlib warns of one that no typeface has, and a warning fails."""
    name = "\u4e2d\u5ead \ub098\ubb34"
    marks = f'[[mark]]\nname = "{name}"\nat = [4, 2]\n[[mark]]\nname = "corner"\nat = [-6, 0]\n'
    outcome = run(written(tmp_path, EVERYTHING + marks + option_text("one")))
    (fixing,) = option_fixing(outcome, "one", None, None)
    (unit,) = outcome.option("one").units
    assert name in {tape.name for tape in fixing.tapes}
    plain = unit_plan_svg(outcome, unit, fixing)
    with mpl.rc_context({"axes.facecolor": "red", "lines.markersize": 30.0, "lines.markeredgewidth": 9.0}):
        assert unit_plan_svg(outcome, unit, fixing) == plain


@pytest.mark.parametrize("fall", [5, 70])
def test_a_section_says_how_its_heights_are_drawn(tmp_path, monkeypatch, fall):
    """As its axes have them, on gentle ground and on steep, which finds no room at twice its height."""
    kept: list[Any] = []
    monkeypatch.setattr(line_pictures, "_plain", kept.append)
    site = re.sub(r"fall = [\d.]+", f"fall = {fall}", EVERYTHING)
    outcome = run(written(tmp_path, site + option_text("one")))
    (fixing,) = option_fixing(outcome, "one", None, None)
    text = unit_section_svg(outcome, fixing)
    (axes,) = kept
    box = axes.get_window_extent()
    stretch = (box.height / np.ptp(axes.get_ylim())) / (box.width / np.ptp(axes.get_xlim()))
    assert (stretch == pytest.approx(2)) == (fall == 5)
    # Beside the outlines of its letters each text stands in a comment.
    (said,) = re.findall(r"<!-- along \d+°, (.*) -->", text)
    assert said == stretch_note(round(stretch, 1))


def lines_of(axes: Any) -> list[Text]:
    return [text for text in axes.texts if text.get_text()]


def test_a_layer_that_leaves_by_the_top_of_a_section_keeps_its_name(tmp_path, monkeypatch):
    """Nose up a steep hill the upper layer runs out of the picture; both names are in it, and are drawn."""
    kept: list[Any] = []
    monkeypatch.setattr(line_pictures, "_plain", kept.append)
    site = re.sub(r"fall = [\d.]+", "fall = 45", EVERYTHING)
    outcome = run(written(tmp_path, site + option_text("one", bearing=0, tilt=-30)))
    (fixing,) = option_fixing(outcome, "one", None, None)
    unit_section_svg(outcome, fixing)
    (axes,) = kept
    top = axes.get_ylim()[1]
    rays = [line for line in axes.lines if len(line.get_xdata()) > 2]
    assert max(float(np.max(line.get_ydata())) for line in rays) > top
    places = {text.get_text(): text.xy for text in lines_of(axes)}
    # matplotlib leaves out a note whose place is outside its axes.
    assert {"upper", "lower"} <= set(places)
    assert all(places[name][1] <= top for name in ("upper", "lower"))


def walked(tmp_path, monkeypatch, names: tuple[str, ...], at: tuple[float, float]) -> Any:
    """The axes of a plan of walks about a unit, all taped from the places named there."""
    kept: list[Any] = []
    monkeypatch.setattr(line_pictures, "_plain", kept.append)
    marks = "".join(f'[[mark]]\nname = "{name}"\nat = {list(at)}\n' for name in names)
    outcome = run(written(tmp_path, EVERYTHING + marks + option_text("one")))
    (unit,) = outcome.option("one").units
    points = [
        WalkPoint(
            number, "D1", x, y, 90.0, 1.5, "person", 1.7, True, Proof("edge"), Taped(name, 6.0, 6.0, 80.0)
        )
        for number, (name, x, y) in enumerate([(name, *where) for name in names for where in _WALKS], 1)
    ]  # fmt: skip
    walk_plan_svg(outcome, unit, points, 182.0, 112.0)
    return kept[0]


#: Far enough apart for the plan to be small.
_WALKS = ((-15.0, -14.0), (15.0, 14.0))


def test_the_way_of_a_walk_is_seen_beside_its_number(tmp_path, monkeypatch):
    """On a plan so small that the walk itself is hidden by the disc of its number, the arrow is not."""
    axes = walked(tmp_path, monkeypatch, ("stile",), (-6.0, 3.0))
    a_point = np.ptp(axes.get_xlim()) / line_pictures._size_in_points(axes)[0]
    discs = [text for text in axes.texts if text.get_text() in {"1", "2"}]
    arrows = [text for text in axes.texts if not text.get_text()]
    assert len(discs) == len(arrows) == 2
    assert 1.5 / 2 / a_point < line_pictures._DISC
    for arrow in arrows:
        assert np.hypot(*np.subtract(arrow.xy, arrow.get_position())) / 2 / a_point > line_pictures._DISC + 5


def test_the_pole_of_a_unit_is_not_drawn_over_it(tmp_path, monkeypatch):
    """A place that is taped from and bears the unit has the unit's own sign, and its name."""
    far = walked(tmp_path, monkeypatch, ("stile",), (-6.0, 3.0))
    (unit,) = [line for line in far.lines if line.get_marker() == "o"]
    own = float(unit.get_xdata()[0]), float(unit.get_ydata()[0])
    near = walked(tmp_path, monkeypatch, ("stile",), own)
    triangles = [[line for line in axes.lines if line.get_marker() == "^"] for axes in (far, near)]
    assert [len(one) for one in triangles] == [1, 0]
    assert "stile" in {text.get_text() for text in near.texts}


def test_names_crowded_about_a_corner_do_not_cover_each_other(tmp_path, monkeypatch):
    """Five long names at one corner are all there, and a line leads to those that stand off."""
    names = tuple(f"corner {letter} of the long shed" for letter in "ABCDE")
    axes = walked(tmp_path, monkeypatch, names, (-6.0, 3.0))
    shown = [text for text in axes.texts if text.get_text().startswith("corner")]
    assert len(shown) == 5
    boxes = [Text.get_window_extent(text) for text in shown]
    assert not any(one.overlaps(other) for k, one in enumerate(boxes) for other in boxes[:k])
    assert any(text.arrow_patch is not None for text in shown)


def test_letters_are_large_and_names_stand_clear(tmp_path, monkeypatch):
    """On every picture of a sheet no letter is under ten points, and no name over the rim or another name."""
    kept: list[Any] = []
    inner = line_pictures.draw_as_meant
    monkeypatch.setattr(
        line_pictures, "draw_as_meant", lambda texts: (kept.append(list(texts)), inner(kept[-1]))
    )
    marks = "".join(
        f'[[mark]]\nname = "{name}"\nat = {at}\n'
        for name, at in (("столб нижних ворот", [4, 2]), ("عمود البوابة", [-6, 0]), ("倉庫の角", [9, -3]))
    )
    outcome = run(written(tmp_path, EVERYTHING + marks + option_text("one")))
    (fixing,) = option_fixing(outcome, "one", None, None)
    (unit,) = outcome.option("one").units
    # Points one upon another, as a walk test of edges has them.
    points = [
        WalkPoint(
            number, "D1", x, y, 90.0, 2.0, "person", 1.7, number % 2 == 0, Proof("edge"),
            Taped("倉庫の角", 6.0, 6.0, 80.0),
        )
        for number, (x, y) in enumerate([(0, 2), (0, 2), (0.2, 2.1), (3, 1), (0.1, 1.8), (-4, 3)], 8)
    ]  # fmt: skip
    unit_plan_svg(outcome, unit, fixing)
    unit_section_svg(outcome, fixing)
    walk_plan_svg(outcome, unit, points, 182.0, 112.0)
    assert len(kept) == 3
    for texts in kept:
        shown = [text for text in texts if text.get_text() and text.get_visible()]
        assert len(shown) >= 5
        assert min(text.get_fontsize() for text in shown) >= 10
        boxes = [Text.get_window_extent(text) for text in shown]
        rim = shown[0].figure.bbox
        for k, box in enumerate(boxes):
            assert rim.x0 <= box.x0, shown[k].get_text()
            assert box.x1 <= rim.x1, shown[k].get_text()
            assert rim.y0 <= box.y0 < box.y1 <= rim.y1
            for other in range(k):
                apart = (
                    box.x1 <= boxes[other].x0
                    or boxes[other].x1 <= box.x0
                    or box.y1 <= boxes[other].y0
                    or boxes[other].y1 <= box.y0
                )
                assert apart, (shown[k].get_text(), shown[other].get_text())
