"""The nearest change that would hold a place, against every setting judged whole."""

from dataclasses import replace

import numpy as np
import pytest
from shapes import box, plane, terrain

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import Detector
from terrain3d.detector.types import load_type
from terrain3d.job import judge_units, with_units
from terrain3d.opened import site_of
from terrain3d.search.would_hold import would_hold
from terrain3d.sight import hits
from terrain3d.sight.panorama import remembered
from terrain3d.terrain import Area, Mount

ONE, TWO = load_type("one-head-90"), load_type("two-head-180")
YARD = Area("yard", np.array([[-5.0, 2], [5, 2], [5, 9], [-5, 9]]))


def hillside(rise: float = 0.12):
    """A slope with a wall across it, a yard above, and two poles."""
    wall = box((-4, 4, -3), (3, 4.3, 1.5))
    land = terrain(plane(rise, 10, cell_m=0.5), wall, None, (YARD,))
    at = {name: (x, y, float(land.ground.height_at(x, y))) for name, x, y in (("low", 0, 0), ("high", 6, 8))}
    mounts = tuple(Mount(name, x, y) for name, (x, y, _) in at.items())
    return site_of(replace(land, mounts=mounts)), at


def placed(at, mount="low", kind=ONE, bearing=0.0, tilt=0.0, height=1.0):
    return Detector("D1", kind, mount, *at[mount], height, bearing, tilt)


def cell_of(ground, x, y):
    return round((y - ground.y0) / ground.cell_m), round((x - ground.x0) / ground.cell_m)


def test_every_change_holds_the_place_and_costs_what_it_says():
    """Judged whole with the change in place, the cell is held, and the ground that counts differs as told."""
    site, at = hillside()
    outcome = judge_units(site, {"one": (placed(at),), "other": (placed(at, "high", TWO, 225.0),)})
    weight = protected_weight(site.terrain.ground, (YARD,)) > 0
    look, told = remembered(200), 0
    for x, y in ((0.3, 6.3), (-3.2, 7.3), (5.3, 3.3), (-6.2, -1.3), (2.3, 3.2)):
        for option in outcome.options:
            j, i = cell_of(site.terrain.ground, x, y)
            found = would_hold(outcome, option, x, y, look)
            if option.verdicts[j, i] == Verdict.BOTH:
                assert found == ()
            for change in found:
                told += 1
                new = with_units(outcome, option.name, (change.unit,), look).option(option.name)
                assert new.verdicts[j, i] == Verdict.BOTH
                held, was = new.verdicts == Verdict.BOTH, option.verdicts == Verdict.BOTH
                cell_m2 = site.terrain.ground.cell_m**2
                assert change.gained_m2 == pytest.approx((held & ~was & weight).sum() * cell_m2)
                assert change.lost_m2 == pytest.approx((was & ~held & weight).sum() * cell_m2)
    assert told > 5


def test_no_nearer_bearing_or_tilt_holds_it():
    """Every bearing and every tilt nearer to what is set, judged whole, leaves the place open."""
    site, at = hillside()
    outcome = judge_units(site, {"one": (placed(at),)})
    option, look = outcome.options[0], remembered(50)
    for x, y in ((4.3, 1.2), (-3.2, 7.3), (0.3, 6.3)):
        j, i = cell_of(site.terrain.ground, x, y)
        for change in would_hold(outcome, option, x, y, look):
            if change.what == "bearing":
                off = abs((change.unit.bearing_deg + 180) % 360 - 180)
                nearer = [
                    replace(change.before, bearing_deg=side % 360)
                    for k in np.arange(2.5, off, 2.5)
                    for side in (k, -k)
                ]
            elif change.what == "tilt":
                off = abs(change.unit.tilt_deg)
                nearer = [
                    replace(change.before, tilt_deg=side)
                    for k in np.arange(1.0, off, 1.0)
                    for side in (k, -k)
                ]
            else:
                continue
            for tried in nearer:
                judged = with_units(outcome, "one", (tried,), look).options[0]
                assert judged.verdicts[j, i] != Verdict.BOTH


def test_where_the_pole_stays_no_ray_is_cast(monkeypatch):
    """Bearing, tilt, range and height are told with nothing that casts rays at hand."""
    site, at = hillside()
    site = replace(site, terrain=replace(site.terrain, mounts=site.terrain.mounts[:1]))
    outcome = judge_units(site, {"one": (placed(at),)})

    def nobody(*_):
        raise AssertionError("a ray is cast")

    for name in ("first_hits", "solid_hits", "ground_distances"):
        monkeypatch.setattr(hits, name, nobody)
    found = would_hold(outcome, outcome.options[0], 0.3, 6.3, remembered())
    assert {change.what for change in found} <= {"bearing", "tilt", "range", "height", "aim"}
    assert found


def test_limits_of_a_housing_hold_here_too():
    """A housing flat on a wall that faces north turns 10 degrees each way: no answer turns it farther."""
    watched = load_type("one-head-90-watched")
    site, at = hillside(0.0)
    walled = (Mount("low", 0.0, 0.0, wall_deg=0.0),)
    site = replace(site, terrain=replace(site.terrain, mounts=walled))
    outcome = judge_units(site, {"one": (placed(at, kind=watched),)})
    for x, y in ((6.2, 3.3), (7.3, 1.3), (-5.3, -5.2)):
        for change in would_hold(outcome, outcome.options[0], x, y, remembered()):
            turned = abs((change.unit.bearing_deg + 180) % 360 - 180)
            assert turned <= 10.0 + 1e-9


def test_a_mount_that_is_not_for_a_type_is_none():
    """Where a mount says that a type may not be fixed to it, it is not proposed."""
    site, at = hillside()
    barred = (site.terrain.mounts[0], replace(site.terrain.mounts[1], not_for=("one-head-90",)))
    for mounts, is_offered in ((site.terrain.mounts, True), (barred, False)):
        land = replace(site, terrain=replace(site.terrain, mounts=mounts))
        outcome = judge_units(land, {"one": (placed(at),)})
        found = would_hold(outcome, outcome.options[0], 3.3, 9.3, remembered())
        assert any(change.what == "mount" for change in found) is is_offered


def test_ground_past_the_site_has_no_answer():
    """Off the grid, and where no ground is known, nothing is proposed."""
    site, at = hillside()
    outcome = judge_units(site, {"one": (placed(at),)})
    assert would_hold(outcome, outcome.options[0], 900.0, 0.0, remembered()) == ()


def test_a_unit_far_above_what_its_type_allows_is_brought_down_to_it():
    """At 3 m its layers pass over a person 4 m away; the first height that the type allows holds that."""
    site = site_of(replace(terrain(plane(0.0, 10, cell_m=0.5)), mounts=(Mount("low", 0.0, 0.0),)))
    outcome = judge_units(site, {"one": (placed({"low": (0.0, 0.0, 0.0)}, height=3.0),)})
    found = would_hold(outcome, outcome.options[0], 0.25, 4.25, remembered(50))
    assert [change.unit.height_m for change in found if change.what == "height"] == [ONE.mount_height[1]]
