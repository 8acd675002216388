"""The picture of the ground against the grid it is made from."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.show.drape import drape, relief

COLOURS = {
    Verdict.BOTH: (palette.VERDICT_COLOURS[Verdict.BOTH], palette.BOTH_EDGE),
    Verdict.UPPER_ONLY: (palette.VERDICT_COLOURS[Verdict.UPPER_ONLY], palette.UPPER_STRIPE),
    Verdict.LOWER_ONLY: (palette.VERDICT_COLOURS[Verdict.LOWER_ONLY],),
    Verdict.DEAD: (palette.VERDICT_COLOURS[Verdict.DEAD], palette.DEAD_STRIPE),
    Verdict.OUTSIDE: (palette.VERDICT_COLOURS[Verdict.OUTSIDE],),
    UNKNOWN: (palette.UNKNOWN_GROUND, palette.UNKNOWN_STRIPE),
}


def pixels_of(image, code):
    """Where a picture shows a verdict."""
    return np.any([(image == palette.rgb(colour)).all(axis=-1) for colour in COLOURS[code]], axis=0)


grids = arrays(
    np.uint8,
    st.tuples(st.integers(2, 12), st.integers(2, 12)),
    elements=st.sampled_from([0, 1, 2, 3, 4, UNKNOWN]),
)


@settings(max_examples=40, deadline=None)
@given(grids, st.integers(0, 255), st.floats(0.7, 1.1))
def test_neither_slope_nor_photograph_changes_a_verdicts_colour(codes, grey, bright):
    """Verdicts keep the colours of their key; ground outside them shows what it looks like, thinned."""
    seen = np.full((*codes.shape, 3), grey, np.uint8), np.ones(codes.shape, bool)
    flat = drape(codes, pixels=40)
    image = drape(codes, np.full(codes.shape, bright), 40, seen)
    k = image.shape[0] // codes.shape[0]
    cells = codes.repeat(k, axis=0).repeat(k, axis=1)
    told = (cells != Verdict.OUTSIDE) & (cells != UNKNOWN)
    assert (image[told] == flat[told]).all()
    outside = image[cells == Verdict.OUTSIDE]
    # Half of it is paper; on the level, where nothing is lit or shaded.
    level = drape(codes, None, 40, seen)[cells == Verdict.OUTSIDE]
    assert (level == int(255 - 0.5 * (255 - grey))).all()
    assert outside.shape == level.shape


@settings(max_examples=40, deadline=None)
@given(grids)
def test_every_pixel_tells_its_cell(codes):
    """Every cell is drawn in its own verdict, all of it and nowhere else, whatever lies beside it."""
    image = drape(codes, pixels=60)
    k = image.shape[0] // codes.shape[0]
    cells = codes.repeat(k, axis=0).repeat(k, axis=1)
    for code in COLOURS:
        assert np.array_equal(pixels_of(image, code), cells == code)


def test_edge_marks_where_both_ends_within_reach():
    """The rim of ground held by both layers is drawn against open ground, not against what is outside."""
    codes = np.full((3, 9), Verdict.BOTH, np.uint8)
    codes[:, :3], codes[:, 6:] = Verdict.OUTSIDE, Verdict.LOWER_ONLY
    image = drape(codes, pixels=90)
    rim = (image == palette.rgb(palette.BOTH_EDGE)).all(axis=-1)
    assert rim.any(axis=0).nonzero()[0].tolist() == [59]


def test_relief_follows_the_light():
    """A face turned to the north-west is brighter than level ground, one turned away darker.

    On a plain slope there is nothing to tell apart: it is paper, whichever way it faces.
    """
    x, y = np.meshgrid(np.arange(-20.0, 20.0), np.arange(-20.0, 20.0))
    along = (x - y) * np.sqrt(0.5)
    bank = relief(0.3 * np.clip(np.abs(along) - 10, None, 0) * -1, 1.0)
    towards, away = (along > -9) & (along < -1), (along > 1) & (along < 9)
    level = np.abs(along) > 12
    assert (bank[level] == 1).all()
    assert (bank[towards] > 1).all()
    assert (bank[away] < 1).all()
    assert np.allclose(relief((x - y) * 0.3, 1.0), 1)
    assert (relief(np.full((3, 3), np.nan), 1.0) == 1).all()


def test_shade_of_one_changes_nothing():
    """Level ground shows the verdict colours themselves."""
    codes = np.array([[0, 1, 2], [3, 4, UNKNOWN]], np.uint8)
    assert np.array_equal(drape(codes, np.ones(codes.shape), 30), drape(codes, None, 30))
