"""The site changed: things gone, leaves off, hedges grown."""

import math

import numpy as np
import pytest
from shapes import box, judged, plane, terrain, unit

from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.sight.panorama import panorama
from terrain3d.site import ScenarioShape
from terrain3d.survey.leaves import Prism, Profiles, foliage
from terrain3d.survey.scenarios import grown_on, scenarios_of, thinned, without_foliage
from terrain3d.survey.surface import plane as relief

ONE = load_type("one-head-90")
HEDGE = Prism(np.array([[-4.0, 4], [4, 4], [4, 5], [-4, 5]]), 0.0, 1.5, 2.0, "hedge")
ARBOUR = Prism(np.array([[-4.0, 7], [4, 7], [4, 9], [-4, 9]]), 1.25, 2.5, 1.0, "arbour")


def shape(**said):
    return ScenarioShape(name="then", **said)


def changed(site, **said):
    """The site under one scenario."""
    return scenarios_of(site, [shape(**said)])[0].terrain


def hedged():
    """Level ground with a hedge, an arbour clear of the ground, and a wall."""
    grown = foliage(relief(0, 0, 30, 0.25), [HEDGE, ARBOUR])
    return terrain(plane(0.0), box((-6, 10, -1), (6, 10.2, 1.2)), grown)


def test_drawn_foliage_keeps_its_names():
    """Each column says which hedge it is of."""
    grown = hedged().foliage
    assert grown.names == ("hedge", "arbour")
    j, i = np.argwhere(grown.column >= 0).T
    y = grown.y0 + grown.cell_m * j
    assert {grown.names[k] for k in grown.owners[grown.column[j, i][y < 6]]} == {"hedge"}
    assert {grown.names[k] for k in grown.owners[grown.column[j, i][y > 6]]} == {"arbour"}


def test_a_thing_left_out_is_gone_and_the_rest_stays():
    """Without the hedge, the arbour and the wall are as they were; without both nothing grows."""
    site = hedged()
    one = changed(site, without=("hedge",))
    assert one.foliage.above.sum() == pytest.approx(site.foliage.above[site.foliage.owners == 1].sum())
    assert len(one.solids.triangles) == len(site.solids.triangles)
    assert changed(site, without=("hedge", "arbour", "box")).foliage.base_z.size == 0
    assert changed(site, without=("box",)).solids.triangles.size == 0
    assert without_foliage(site.foliage, []).above.sum() == pytest.approx(site.foliage.above.sum())


def test_of_things_that_grow_in_one_place_one_can_go():
    """A hedge under a crown, both over a read thicket: what is left is as if the one had never been."""
    crown = Prism(HEDGE.outline + np.array([1.0, 0.5]), 2.0, 5.0, 0.5, "crown")
    on = relief(5, 20, 30, 0.25)
    profiles = Profiles(np.full(on.ground.z.shape, -1), np.zeros(1), np.full((1, 6), 0.7), np.zeros(1, bool))
    profiles.row[70:78, 40:60] = 0
    profiles.base_z[0] = float(on.feet_z[70:78, 40:60].min())
    whole = foliage(on, [HEDGE, crown], profiles)
    for gone, rest in (("hedge", [crown]), ("crown", [HEDGE])):
        left, never = without_foliage(whole, [gone]), foliage(on, rest, profiles)
        assert np.array_equal(left.column >= 0, never.column >= 0)
        mine, theirs = at_heights(left), at_heights(never)
        assert mine == pytest.approx(theirs, abs=1e-9)
        assert gone not in {left.names[k] for k in left.owners}


def at_heights(grown):
    """Leaf area of all columns from 0.05 m over level zero up, by column and height."""
    tops = np.arange(-2.0, 9.0, 0.5)
    found = []
    for j, i in np.argwhere(grown.column >= 0):
        k = grown.column[j, i]
        edges = grown.base_z[k] + grown.step_m * np.arange(grown.above.shape[1])
        found.append(np.interp(tops, edges, grown.above[k], left=0.0, right=grown.above[k, -1]))
    return np.array(found)


def test_an_unknown_name_is_refused_with_the_nearest():
    """A slip of the pen names what was meant; a site without anything says so."""
    with pytest.raises(InputError, match=r"no solid or foliage 'hegde'(.|\n)*nearest is 'hedge'"):
        changed(hedged(), without=("hegde",))
    with pytest.raises(InputError, match="nothing stands there"):
        changed(terrain(plane(0.0)), without=("hedge",))


def test_a_scenario_that_changes_nothing_is_refused():
    """It would only cost time, and most likely a key is missing."""
    with pytest.raises(ValueError, match="changes nothing"):
        shape()


def test_light_through_part_of_the_leaves_is_a_power_of_the_light_through_all():
    """Beer-Lambert: with a fifth of the leaf area exp(-d / 5) is let through where exp(-d) was."""
    site = hedged()
    few = terrain(site.ground, site.solids, thinned(site.foliage, 0.2))
    for here, share in ((site, 1.0), (few, 0.2)):
        seen = panorama(here, (0.0, 0.0, 1.0), 6.5)
        k = int(np.argmin(np.hypot(seen.east * seen.distance - 0.125, seen.north * seen.distance - 6.125)))
        low = seen.pieces[seen.piece_start[k]]
        slant = math.hypot(1.0, 0.125 / 6.125)  # the line runs a little askew through 1 m of hedge
        level = slant * math.hypot(1.0, 0.95 / 6.125)
        assert low[2] == pytest.approx(math.exp(-0.5 * 2.0 * share * level), rel=0.01)


def test_growth_goes_up_and_outwards_and_leaves_what_is_clear():
    """0.5 m more on every side and on top: two cells all around; the arbour stays clear of the ground."""
    site = hedged()
    grown = grown_on(site.foliage, 0.5)
    height = grown.above.shape[1] - 1
    for name, (wide, deep), top in (("hedge", (9.0, 2.0), 2.0), ("arbour", (9.0, 3.0), 3.0)):
        owned = grown.owners == grown.names.index(name)
        cells = np.isin(grown.column, np.flatnonzero(owned))
        j, i = np.nonzero(cells)
        assert (np.ptp(i) + 1) * grown.cell_m == pytest.approx(wide)
        assert (np.ptp(j) + 1) * grown.cell_m == pytest.approx(deep)
        density = grown.density[owned].max(axis=0)
        assert np.flatnonzero(density > 0)[-1] + 1 == round(top / grown.step_m)
        assert height * grown.step_m >= top
    arbour = grown.density[grown.owners == 1].max(axis=0)
    assert arbour[: round(1.2 / grown.step_m)].max() == 0
    # A corner grows round: its outermost cell is covered in part.
    j, i = np.nonzero(grown.column >= 0)
    corner, beside = grown.column[j.min(), i.min()], grown.column[j.min(), i.min() + 3]
    assert 0 < grown.above[corner, -1] < 0.5 * grown.above[beside, -1]


def test_growth_by_part_of_a_cell_takes_part_of_it():
    """0.3 m over cells of 0.25 m: the next cell whole, of the one after it a fifth."""
    grown = grown_on(hedged().foliage, 0.3)
    middle = round(-grown.x0 / grown.cell_m)
    row = grown.column[:, middle]
    leaf = np.array([grown.above[k, -1] if k >= 0 else 0.0 for k in row])
    south = leaf[: np.argmax(leaf)][-3:]
    ys = grown.y0 + grown.cell_m * np.arange(len(row))
    before = {round(float(4.125 - y) / 0.25): leaf[j] for j, y in enumerate(ys) if 3 < y < 4.2}
    assert before[1] == pytest.approx(before[0])
    assert before[2] == pytest.approx(0.2 * before[0], rel=0.01)
    assert before[3] == 0
    assert south.max() > 0


@pytest.mark.parametrize("shift_m", [0.0, 0.06, 0.125, 0.21])
def test_a_hedge_that_has_grown_is_as_one_drawn_so_much_larger(shift_m):
    """Across the middle of a hedge: as much leaf area, cell by cell, as 0.3 m more on every side."""
    grown_m = 0.3
    small = Prism(HEDGE.outline + shift_m, 0.0, 1.5, 2.0, "hedge")
    (x0, y0), (x1, y1) = small.outline[0] - grown_m, small.outline[2] + grown_m
    large = Prism(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), 0.0, 1.5 + grown_m, 2.0, "hedge")
    on = relief(0, 0, 30, 0.25)
    grown, meant = grown_on(foliage(on, [small]), grown_m), foliage(on, [large])
    assert across(grown) == pytest.approx(across(meant), abs=0.02)
    assert sum(across(meant).values()) > 20


def across(grown):
    """Leaf area of the cells in a row across the middle, by their northing, where there is any."""
    column = grown.column[:, round(-grown.x0 / grown.cell_m)]
    area = {round(grown.y0 + j * grown.cell_m, 3): grown.above[k, -1] for j, k in enumerate(column) if k >= 0}
    return {y: leaf for y, leaf in area.items() if leaf > 1e-6}


def test_a_hedge_that_grows_holds_no_more_and_leaves_off_hold_no_less():
    """Verdicts follow: worse or the same when grown, better or the same when thinned."""
    site = hedged()
    held = {
        name: judged(there, unit(ONE)).verdicts == Verdict.BOTH
        for name, there in (
            ("now", site),
            ("grown", changed(site, growth=0.5)),
            ("bare", changed(site, leaves=0.0)),
        )
    }
    assert np.all(held["now"] | ~held["grown"])
    assert np.all(held["bare"] | ~held["now"])
    assert held["grown"].sum() < held["now"].sum() < held["bare"].sum()
