"""Sections along lines on paper: to a scale of rulers that is said, with a bar, and no gap beside them."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, texts_of
from test_section_along import along_context

from terrain3d.show.lettering import page_style
from terrain3d.show.pages.section_along import along_sheet
from terrain3d.show.pages.size import SCALES, SIZES

pytestmark = pytest.mark.usefixtures("coarse_ground")

LINES = {
    "short": np.array([[-6.0, -3.0], [5.0, 3.0]]),
    "long": np.array([[-20.0, -14.0], [20.0, -14.0], [20.0, 18.0]]),
}


def drawn(outcome, line, size):
    with page_style():
        page = along_sheet(along_context(outcome, size=size), outcome.options[0], "the way", line)
        check_texts(page)
        said = " ".join(text for text, _ in texts_of(page))
    return page, said


@pytest.mark.parametrize("size", ["a4", "a3"])
@pytest.mark.parametrize("which", LINES)
def test_a_metre_on_the_paper_is_that_of_the_scale(outcome, which, size):
    """The length on paper times the scale that the page says is the length of the line (ISO 5455: 1:N)."""
    line = LINES[which]
    page, said = drawn(outcome, line, size)
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    scale = int(said.split(" on A")[0].split("1:")[-1])
    assert scale in SCALES
    axes = page.figure.axes[0]
    paper_m = axes.get_position().width * SIZES[size].width_mm / 1000
    assert paper_m * scale == pytest.approx(length, rel=1e-6)
    assert np.ptp(axes.get_xlim()) == pytest.approx(length)
    # The next scale of the ruler would not fit: nothing is drawn smaller than it has to be.
    larger = SCALES[SCALES.index(scale) - 1]
    stretch = 1.0 if "true scale" in said else float(said.split("heights stretched ")[1].split()[0])
    assert length / larger > 0.928 * SIZES[size].width_mm / 1000 or stretch == 1
    # Heights are to scale as well, as many times larger as is said.
    page_mm = SIZES[size].width_mm * page.figure.bbox.height / page.figure.bbox.width
    up_m = axes.get_position().height * page_mm / 1000
    assert up_m * scale / stretch == pytest.approx(np.ptp(axes.get_ylim()), rel=1e-6)


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_the_bar_is_as_long_as_it_says(outcome, size):
    """A bar of whole metres lies within the picture, its metres over it."""
    page, _ = drawn(outcome, LINES["long"], size)
    axes = page.figure.axes[0]
    bars = [line for line in axes.lines if np.ptp(line.get_ydata()) == 0 and len(line.get_xdata()) == 2]
    told = [text.get_text() for text in axes.texts if text.get_text().endswith(" m")]
    lengths = [float(np.ptp(bar.get_xdata())) for bar in bars if np.ptp(bar.get_xdata()) > 0]
    assert any(float(text.removesuffix(" m")) == pytest.approx(one) for text in told for one in lengths)


def test_a_screen_says_no_scale(outcome):
    """It has none: a picture on it is as large as its window."""
    page, said = drawn(outcome, LINES["long"], "screen")
    assert "1:" not in said.split(" | ")[1]
    assert " on A" not in said
    assert page.figure.axes[0].get_position().width == pytest.approx(0.928)


@pytest.mark.parametrize("size", ["screen", "a4"])
def test_beside_a_narrow_picture_stands_a_larger_plan(outcome, size):
    """A line down a slope of 40 degrees is narrow at true scale: the plan takes the rest of the width."""
    ground = outcome.terrain.ground
    y = np.broadcast_to(ground.ys[:, None], ground.z.shape)
    steep = outcome.on(replace(outcome.terrain, ground=replace(ground, z=y * np.tan(np.radians(40)))))
    page, _ = drawn(steep, np.array([[0.0, 20.0], [0.0, -20.0]]), size)
    picture, plan = (axes.get_position() for axes in page.figure.axes[:2])
    assert picture.width < 0.5
    assert plan.x0 > picture.x1
    assert plan.height > 0.4
    assert plan.x1 > 0.9 or plan.y1 > 0.86
