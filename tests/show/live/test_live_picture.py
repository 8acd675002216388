"""The picture for the page against the numbers: colours in plan, places under the pointer, those beside."""

import numpy as np
import pytest
from PIL import Image
from scenes import slope_outcome
from shapes import box, leaves, plane, terrain, unit

from terrain3d import palette
from terrain3d.cover.profile import line_profile
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import load_type
from terrain3d.job import judge_units
from terrain3d.opened import site_of
from terrain3d.show.live.beside import outlook_image, section_image
from terrain3d.show.live.picture import Picture
from terrain3d.show.live.state import WindowState

#: Colours that stand for each verdict in the drape: its own, its stripe, the rim of ground that is held.
COLOURS = {
    Verdict.BOTH: (palette.VERDICT_COLOURS[Verdict.BOTH], palette.BOTH_EDGE),
    Verdict.UPPER_ONLY: (palette.VERDICT_COLOURS[Verdict.UPPER_ONLY], palette.UPPER_STRIPE),
    Verdict.LOWER_ONLY: (palette.VERDICT_COLOURS[Verdict.LOWER_ONLY],),
    Verdict.DEAD: (palette.VERDICT_COLOURS[Verdict.DEAD], palette.DEAD_STRIPE),
    Verdict.OUTSIDE: (palette.VERDICT_COLOURS[Verdict.OUTSIDE],),
}


@pytest.fixture(scope="module")
def drawn():
    """A plane with a wall and a hedge in plan, with nothing over its ground: all of it has one light."""
    on = plane(-0.1, 30, cell_m=0.25)
    hedge = leaves(on, lambda x, y: (x > 2) & (x < 3) & (y > 2) & (y < 7), 0.0, 1.4, 2.0)
    site = site_of(terrain(on, box((-4, 4, -3), (0, 4.3, 1.0)), hedge))
    units = {"ahead": (unit(load_type("two-head-180"), bearing_deg=10.0),)}
    picture = Picture(WindowState(judge_units(site, units)))
    picture.look(True)
    for group in ("layers", "foliage", "solids", "names", "contours", "marks", "units", "scale"):
        picture.toggle(group)
    yield picture
    picture.close()


def test_colours_in_plan_are_the_verdicts(drawn):
    """Pixel by pixel the ground has the colour of its cell's verdict; shares agree to two in a hundred."""
    option = drawn.state.option
    ground = drawn.state.outcome.terrain.ground
    image = drawn.image()
    (place,) = drawn.places()
    height, width = image.shape[:2]
    rows, columns = np.mgrid[4:height:3, 4:width:3]
    names = [
        (verdict, np.array(palette.rgb(colour), float)) for verdict, of in COLOURS.items() for colour in of
    ]
    seen, meant = [], []
    inverse = np.linalg.inv(place.matrix)
    for py, px in zip(rows.ravel(), columns.ravel(), strict=True):
        flat = [2 * (px + 0.5) / width - 1, 1 - 2 * (py + 0.5) / height]
        x, y, _, w = inverse @ [*flat, 0.0, 1.0]
        i, j = round((x / w - ground.x0) / ground.cell_m), round((y / w - ground.y0) / ground.cell_m)
        if not (0 <= i < ground.z.shape[1] and 0 <= j < ground.z.shape[0]) or option.verdicts[j, i] > 4:
            continue
        meant.append(int(option.verdicts[j, i]))
        away = [np.abs(image[py, px] - colour).sum() for _, colour in names]
        seen.append(int(names[int(np.argmin(away))][0]))
    seen, meant = np.array(seen), np.array(meant)
    assert len(meant) > 5000
    for verdict in Verdict:
        assert (seen == verdict).mean() == pytest.approx((meant == verdict).mean(), abs=0.02)
    assert (seen == meant).mean() > 0.93


def test_the_pointer_finds_the_ground_it_is_over(drawn):
    """In three dimensions too a place of the picture leads to the ground that is drawn there."""
    drawn.look(False)
    (place,) = drawn.places()
    found = 0
    for px in range(200, 601, 100):
        for py in range(200, 401, 50):
            under = drawn.ground_under(px, py)
            if under is None:
                continue
            (x, y, z), index = under
            assert index == drawn.state.at
            u, v, _, w = place.matrix @ [x, y, z, 1.0]
            assert (u / w + 1) * place.width / 2 == pytest.approx(px, abs=0.5)
            assert (1 - v / w) * place.height / 2 == pytest.approx(py, abs=0.5)
            found += 1
    assert found > 10
    assert drawn.ground_under(2, 2) is None
    drawn.look(True)


def test_coming_nearer_keeps_what_is_under_the_pointer(drawn):
    """The ground at the pointer stays there while the view comes nearer, in plan and in three dimensions."""
    for is_plan, within in ((True, 0.05), (False, 0.6)):
        drawn.look(is_plan)
        before = drawn.ground_under(330, 300)[0]
        drawn.come_nearer(4, (330, 300))
        assert drawn.ground_under(330, 300)[0][:2] == pytest.approx(before[:2], abs=within)
    drawn.look(True)


def test_what_is_shifted_goes_along_with_the_hand(drawn):
    """In plan the ground under the pointer is under it again where the pointer was drawn to."""
    drawn.look(True)
    before = drawn.ground_under(330, 300)[0]
    drawn.shift_by(40, 25)
    assert drawn.ground_under(370, 275)[0][:2] == pytest.approx(before[:2], abs=0.05)
    drawn.look(True)


@pytest.fixture
def slope():
    """The small slope in three dimensions, with everything that is drawn on it."""
    picture = Picture(WindowState(slope_outcome()))
    yield picture
    picture.close()


def written_at(picture):
    """Where names stand, the middle of their foot, and how large they are, pixels as they are shown."""
    found = {}
    for name in picture._panes[0]._names:
        if name.actor.GetVisibility():
            x, y, _ = name.actor.GetPositionCoordinate().GetValue()
            corners = name.writing._corners.points
            box = (x, y, *(corners.max(axis=0) - corners.min(axis=0))[:2])
            found[name.tag.text] = np.array(box) / picture._share
    return found


def test_fewer_pixels_are_drawn_while_the_view_turns_and_nothing_jumps(slope):
    """Names stand where they stood, as large as they were, and the pointer finds the same ground."""
    slope.hurry(True)
    whole, names, places = slope.image().astype(int), written_at(slope), slope.places()
    under = slope.ground_under(400, 300)
    slope.turn_by(0.0, 0.0)
    fewer = slope.image()
    width, height = slope.size
    assert fewer.shape == (round(0.6 * height), round(0.6 * width), 3)
    assert slope.size == (800, 560)
    assert slope.ground_under(400, 300)[0] == pytest.approx(under[0])
    assert [(one.x, one.width, one.height) for one in slope.places()] == [
        (one.x, one.width, one.height) for one in places
    ]
    smaller = written_at(slope)
    assert smaller.keys() == names.keys()
    assert len(names) > 3
    for text, place in names.items():
        assert smaller[text] == pytest.approx(place, abs=1.0), text
    shown = np.asarray(Image.fromarray(fewer).resize((width, height), Image.Resampling.BILINEAR), int)
    # Shifted by two pixels the very picture would differ as much.
    assert np.abs(shown - whole).mean() < 0.7 * np.abs(whole[:, 2:] - whole[:, :-2]).mean()
    slope.hurry(False)
    assert slope.image().shape == (height, width, 3)


def test_a_setting_that_moves_is_drawn_on_all_pixels(slope):
    """Less than whole is drawn while the view itself moves alone: edges of verdicts are looked at."""
    slope.hurry(True)
    slope.draw()
    assert slope.image().shape == (560, 800, 3)


def test_the_strip_of_a_section_has_the_colours_of_the_line():
    """Along the ground of the small section stand the verdicts of the line, in the shares that it has."""
    outcome = slope_outcome()
    one = outcome.options[0].detectors[0]
    image = section_image(outcome.terrain, one, one.bearing_deg, outcome.figure)
    profile = line_profile(outcome.terrain, one, one.bearing_deg, outcome.figure.height_m, 0.9, 0.7)
    told = {
        verdict: (image == palette.rgb(palette.VERDICT_COLOURS[verdict])).all(axis=-1).any(axis=0).mean()
        for verdict in (Verdict.BOTH, Verdict.DEAD)
    }
    for verdict, share in told.items():
        assert share == pytest.approx((profile.codes == verdict).mean(), abs=0.06)


def test_the_outlook_is_the_same_at_rest_and_while_it_moves_but_for_its_grain():
    """Fewer directions show the same ground, solids and layers."""
    outcome = slope_outcome()
    one = outcome.options[0].detectors[0]
    fine, coarse = (outlook_image(outcome.terrain, one, is_moving) for is_moving in (False, True))
    assert fine.shape == coarse.shape == (250, 760, 3)
    assert np.abs(fine.astype(int) - coarse).mean() < 8
    assert (fine != coarse).any()
