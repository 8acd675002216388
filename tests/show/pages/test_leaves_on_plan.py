"""Marks on a plan of ground whose verdict hangs on leaves."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from PIL import Image
from shapes import judged, leaves, plane, terrain, unit
from test_drape import pixels_of

from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.detector.types import load_type
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.show.legend import HANGS_ON_LEAVES
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import hanging_places, pages, plan_signs, without_verdicts
from terrain3d.show.pages.sheet import PICTURE
from terrain3d.show.pages.size import HEIGHT_PX, WIDTH_PX
from terrain3d.show.pages.stills import listed_pages, write_stills
from terrain3d.study import study_of
from terrain3d.terrain import Walk

ONE = load_type("one-head-90", Path())


def outcome_of(density):
    """A unit that looks north through a hedge."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (np.abs(x) < 3) & (y > 3) & (y < 4), 0.0, 2.0, density)
    site = terrain(on, None, hedge)
    return Outcome(site_of(site), (judged(site, unit(ONE), name="north"),), ("north",))


@pytest.fixture(scope="module")
def hedged():
    """A hedge so dense that all behind it hangs on it."""
    return outcome_of(4.0)


def test_marks_stand_on_ground_that_hangs_on_leaves_and_are_sparse(hedged):
    """Each on such a cell; together they leave three cells in four of it in the verdict's own colour."""
    option, ground, extent = hedged.options[0], hedged.terrain.ground, context_of(hedged).base.extent
    places = hanging_places(ground, option, extent)
    rows = np.rint((places[:, 1] - ground.y0) / ground.cell_m).astype(int)
    columns = np.rint((places[:, 0] - ground.x0) / ground.cell_m).astype(int)
    codes = option.without_leaves
    assert np.all((codes[rows, columns] > 0) & (codes[rows, columns] != UNKNOWN))
    hangs = int(((codes > 0) & (codes != UNKNOWN)).sum())
    assert 10 < len(places) < hangs / 4
    assert len(hanging_places(ground, without_verdicts(option), extent)) == 0


@pytest.mark.parametrize(("rise", "density", "count"), [(0.07, 0.2, 3), (-0.05, 0.15, 2)])
def test_verdicts_under_leaves_are_drawn_at_their_shares(tmp_path, rise, density, count):
    """On a wooded slope the drawn picture has each verdict's colour on as much ground under leaves as it is.

    Dots that stand for leaves, contours and names take a few pixels of each, the arc those of its rim.
    """
    on = plane(rise)
    wood = leaves(on, lambda x, y: (np.abs(x) < 9) & (y > 2.5) & (y < 11.5), 0.0, 2.2, density)
    site = terrain(on, None, wood)
    option = judged(site, unit(ONE), name="wood")
    outcome = Outcome(site_of(site), (option,), ("wood",))
    context = PageContext(outcome)
    (path,) = write_stills(context, tmp_path, ("plan",))
    with Image.open(path) as page:
        dots = np.asarray(page.convert("RGB"))
    extent, (left, low, width, height) = context.printed.extent, PICTURE
    ground = outcome.terrain.ground
    x, y = np.meshgrid(np.arange(WIDTH_PX) + 0.5, HEIGHT_PX - np.arange(HEIGHT_PX) - 0.5)
    per_m = min(width * WIDTH_PX / extent.width_m, height * HEIGHT_PX / extent.depth_m)
    east = extent.centre[0] + (x - (left + width / 2) * WIDTH_PX) / per_m
    north = extent.centre[1] + (y - (low + height / 2) * HEIGHT_PX) / per_m

    def is_inside(x, y):
        """A cell off the edge of the wood, whose outline lies on it; between the cells' own edges."""
        return (np.abs(x) < 8.625) & (y > 2.875) & (y < 11.125)

    under, cells = is_inside(east, north), is_inside(*np.meshgrid(ground.xs, ground.ys))
    assert (wood.column[cells] >= 0).all()
    told = [Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD]
    truth = np.array([(option.verdicts[cells] == verdict).sum() for verdict in told]) * ground.cell_m**2
    drawn = np.array([(pixels_of(dots, verdict) & under).sum() for verdict in told]) / per_m**2
    assert (truth > 3).sum() == count
    assert drawn / drawn.sum() == pytest.approx(truth / truth.sum(), abs=0.03)
    assert 0.65 * truth.sum() < drawn.sum() < 1.02 * truth.sum()


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize(("density", "is_there"), [(4.0, True), (0.0, False)])
def test_the_key_says_so_where_there_is_a_mark(density, is_there):
    """Leaves that take no verdict get no mark and no word."""
    outcome = outcome_of(density)
    context = context_of(outcome)
    signs = plan_signs(outcome, outcome.options, context.base.extent)
    assert (HANGS_ON_LEAVES in signs) == is_there
    with page_style():
        (page,) = pages(context)
        sheet = page.draw()
        check_texts(sheet)
        words = [text for text, _ in texts_of(sheet)]
    assert any(HANGS_ON_LEAVES.text in text for text in words) == is_there
    marks = [line for line in sheet.figure.axes[0].lines if line.get_marker() == HANGS_ON_LEAVES.mark.shape]
    assert (sum(len(line.get_xdata()) for line in marks) > 5) == is_there


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize("kind", ["plan", "causes", "fans", "animals", "walks"])
def test_a_page_has_marks_and_their_word_or_neither(hedged, kind):
    """Plans that show something else than verdicts, and small ones, have neither."""
    walk = Walk("path", np.array([[-4.0, 2.0], [4.0, 6.0]]))
    site = replace(hedged.site, terrain=replace(hedged.terrain, walks=(walk,)))
    study = study_of(replace(hedged, site=site), ("animals", "walks"))
    context = PageContext(study.outcome, study=study)
    with page_style():
        for page in listed_pages(context, (kind,)):
            sheet = page.draw()
            has_word = any(HANGS_ON_LEAVES.text in text for text, _ in texts_of(sheet))
            lines = [line for axes in sheet.figure.axes for line in axes.lines]
            marks = [line for line in lines if line.get_marker() == HANGS_ON_LEAVES.mark.shape]
            assert any(len(line.get_xdata()) for line in marks) == has_word == (kind == "plan")
