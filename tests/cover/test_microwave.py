"""What the microwave of a unit reaches: closed forms on planes, brute force on small grids, and both senses.

The radar equation - power received falls with the fourth power of the distance and with twice the loss - is
textbook; so is the form of the leaves' loss (tests/reference/test_microwaves.py).
"""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from microwave_types import kind
from shapes import box, ground, judged, leaves, plane, terrain, unit

from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.cover.layer_outcomes import BEYOND, BROKEN, NOT_REACHED, OUTSIDE_ARC
from terrain3d.cover.sighted import SightedUnit, sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import HeadSetting, head_axes
from terrain3d.terrain import Area, Solids, Terrain

FLAT = terrain(plane(0.0))
PERSON_M = 1.7
#: A bearing that the middles of cells lie on.
DIAGONAL = 45.0


def seen_by(own, site: Terrain = FLAT) -> SightedUnit:
    """A unit with what it sees of a site."""
    return sighted(site, own)


def azimuth_deg(one: SightedUnit) -> np.ndarray:
    """Bearing of each cell from north, within half a turn."""
    return np.degrees(np.arctan2(one.seen.east, one.seen.north))


def farthest_m(one: SightedUnit, within_deg: float = 5.0) -> float:
    """How far off the farthest cell straight ahead is that the microwave reaches."""
    ahead = one.reached(PERSON_M) & (np.abs(azimuth_deg(one)) <= within_deg)
    return float(one.seen.distance[ahead].max(initial=0.0))


def passable(solid: Solids, db: float) -> Solids:
    """The same, through which microwaves pass."""
    return replace(solid, microwave_db={0: db})


@pytest.mark.parametrize(
    ("arc", "range_m", "bearing"), [(80.0, 10.0, 0.0), (120.0, 7.0, 130.0), (200.0, 11.0, 301.0)]
)
def test_on_a_plane_the_lobe_is_a_sector(tmp_path, arc, range_m, bearing):
    """In the open a whole person is sensed within the arc and out to the range, on every cell."""
    one = seen_by(unit(kind(tmp_path, arc=arc, range_m=range_m), 1.0, bearing))
    off = (azimuth_deg(one) - bearing + 180) % 360 - 180
    d = one.seen.distance
    expected = (np.abs(off) <= arc / 2) & (d <= range_m) & (d > 1e-3)
    # A cell on the very edge of the arc may fall to either side.
    near_edge = np.abs(np.abs(off) - arc / 2) < 1e-6
    assert ((one.reached(PERSON_M) == expected) | near_edge).all()
    outcomes = one.layer_maps(FLAT.ground, PERSON_M).outcomes["microwave"].ravel()[one.seen.cells]
    assert set(np.unique(outcomes[d > 1e-3])) == {BROKEN, BEYOND, OUTSIDE_ARC}


def test_a_lobe_that_looks_up_passes_over_a_person(tmp_path):
    """Lower edge 10 degrees up from 1.0 m: what is lit of 1.7 m, and so how far, by the same equation."""
    one = seen_by(unit(kind(tmp_path, elevation=30.0, thickness=40.0, range_m=10.0), 1.0, DIAGONAL))
    ahead = (np.abs(azimuth_deg(one) - DIAGONAL) < 30) & (one.seen.distance > 1e-3)
    d = one.seen.distance
    lit = np.clip((PERSON_M - 1.0 - d * math.tan(math.radians(10.0))) / PERSON_M, 0.0, 1.0)
    expected = ahead & (lit >= (d / 10.0) ** 4) & (lit > 0)
    assert (one.reached(PERSON_M)[ahead] == expected[ahead]).all()
    assert 3.0 < d[expected].max() < 0.7 / math.tan(math.radians(10.0))
    # Nose down by the same 10 degrees it is level again, and lights what is above the eye.
    level = one.set_to(replace(one.unit, tilt_deg=10.0))
    straight = np.abs(azimuth_deg(level) - DIAGONAL) < 1e-6
    assert np.isclose(d[level.reached(PERSON_M) & straight].max(), 10.0 * (0.7 / 1.7) ** 0.25, atol=0.3)


def test_a_tilted_lobe_begins_where_its_edge_leaves_the_feet(tmp_path):
    """Upper edge 20 degrees down from 1.0 m: nothing is lit past 1 m / tan 20, all of it is near before."""
    low = kind(tmp_path, elevation=-20.0, thickness=20.0, range_m=12.0)
    one = seen_by(unit(low, 1.0, DIAGONAL, tilt_deg=10.0))
    # Axis 30 degrees down, edges 20 and 40 degrees down.
    straight = (np.abs(azimuth_deg(one) - DIAGONAL) < 1e-6) & (one.seen.distance > 1e-3)
    d = one.seen.distance[straight]
    low, high = (1.0 - d * math.tan(math.radians(angle)) for angle in (40.0, 20.0))
    lit = np.clip(np.minimum(high, PERSON_M) - np.maximum(low, 0.0), 0.0, None) / PERSON_M
    assert (one.reached(PERSON_M)[straight] == ((lit >= (d / 12.0) ** 4) & (lit > 0))).all()
    assert d[one.reached(PERSON_M)[straight]].max() < 1.0 / math.tan(math.radians(20.0))


@pytest.mark.parametrize("db", [0.0, 3.0, 6.0])
def test_a_wall_that_is_crossed_takes_its_decibels_once(tmp_path, db):
    """Loss L everywhere leaves range * 10^(-L / 20); a wall is crossed once, whatever its faces."""
    wall = passable(box((-9, 2, -1), (9, 2.2, 4)), db)
    one = seen_by(unit(kind(tmp_path, range_m=12.0), 1.0), terrain(plane(0.0), wall))
    assert farthest_m(one) == pytest.approx(12.0 * 10 ** (-db / 20), abs=0.26)
    assert farthest_m(one) <= 12.0 * 10 ** (-db / 20)
    opaque = seen_by(one.unit, terrain(plane(0.0), box((-9, 2, -1), (9, 2.2, 4))))
    assert farthest_m(opaque) < 2.3


def test_each_wall_takes_its_own(tmp_path):
    """Two walls of one thing are crossed twice; two things add up."""
    first, second = box((-9, 2, -1), (9, 2.2, 4)), box((-9, 3, -1), (9, 3.2, 4))
    of_one = Solids(
        np.vstack([first.vertices, second.vertices]),
        np.vstack([first.triangles, second.triangles + len(first.vertices)]),
        np.zeros(24, np.int64),
        ("fences",),
    )
    twice = seen_by(unit(kind(tmp_path, range_m=12.0), 1.0), terrain(plane(0.0), passable(of_one, 3.0)))
    both = passable(first, 2.0).joined(passable(second, 4.0))
    added = seen_by(twice.unit, terrain(plane(0.0), both))
    assert farthest_m(twice) == farthest_m(added) == pytest.approx(12.0 * 10**-0.3, abs=0.26)


def test_half_a_person_behind_a_wall_is_sensed_out_to_the_fourth_root(tmp_path):
    """A wall right before the eye lets 1.0 of 2.0 m stand over it: range * (1 / 2)^(1/4)."""
    wall = box((-9, 0.5, -1), (9, 0.7, 1.0))
    one = seen_by(unit(kind(tmp_path, range_m=12.0), 1.0), terrain(plane(0.0), wall))
    ahead = one.reached(2.0) & (np.abs(azimuth_deg(one)) < 5)
    assert one.seen.distance[ahead].max() == pytest.approx(12.0 * 0.5**0.25, abs=0.26)


def test_the_ground_takes_all(tmp_path):
    """Behind a bank as high as the eye the feet are gone; behind a higher one everything."""
    for top, is_reached in ((1.0, True), (2.0, False)):
        bank = ground(lambda x, y, top=top: np.where((y > 3) & (y < 4), top, 0.0))
        one = seen_by(unit(kind(tmp_path), 1.0), terrain(bank))
        behind = (np.abs(azimuth_deg(one)) < 20) & (one.seen.north * one.seen.distance > 5)
        near = behind & (one.seen.distance < 7)
        assert one.reached(PERSON_M)[near].all() == one.reached(PERSON_M)[near].any() == is_reached


def test_leaves_dim_and_masks_do_not(tmp_path):
    """A hedge of a metre takes 3.87 of its 4 dB/m (test_microwaves); a mask on the window takes nothing."""
    flat = plane(0.0)
    hedge = leaves(flat, lambda x, y: (y > 2) & (y < 3), 0.0, 5.0, 4.0)
    one = seen_by(unit(kind(tmp_path, range_m=12.0, needs="either"), 1.0), terrain(flat, foliage=hedge))
    meant = 12.0 * 10 ** (-60 * (1 - math.exp(-4 / 60)) / 20)
    assert farthest_m(one, 1.0) == pytest.approx(meant, abs=0.26)
    assert farthest_m(one.without_leaves(), 1.0) == pytest.approx(12.0, abs=0.26)
    thin = replace(hedge, db_per_m=np.full(len(hedge.base_z), 1.0))
    assert farthest_m(seen_by(one.unit, terrain(flat, foliage=thin)), 1.0) > meant + 1
    masked = one.set_to(replace(one.unit, heads=(HeadSetting(masked=tuple(range(1, 10))),)))
    assert (masked.reached(PERSON_M) == one.reached(PERSON_M)).all()
    assert ((masked.codes(PERSON_M) == Verdict.BOTH) == one.reached(PERSON_M)).all()


def _boxes() -> list[tuple[np.ndarray, np.ndarray, float]]:
    """Solids of the brute force: corners, and what they take."""
    return [
        (np.array([-5.0, 2.0, -2.0]), np.array([-1.0, 2.3, 1.1]), 4.0),
        (np.array([-3.0, 4.0, -2.0]), np.array([2.0, 4.4, 1.3]), 7.0),
        (np.array([1.5, 2.5, -2.0]), np.array([4.0, 3.5, 0.9]), math.inf),
    ]


@cache
def _small_site() -> Terrain:
    """Waves with two walls that microwaves pass, one that they do not, and a hedge."""
    hills = ground(lambda x, y: 0.06 * y + 0.15 * np.sin(x) * np.cos(0.7 * y), cell_m=0.5, extent_m=20.0)
    solids = None
    for low, high, db in _boxes():
        solid = box(low, high)
        solid = replace(solid, microwave_db={0: db}) if db < math.inf else solid
        solids = solid if solids is None else solids.joined(solid)
    hedge = leaves(hills, lambda x, y: (x > -8) & (x < 3) & (y > 5.5) & (y < 6.5), 0.0, 1.5, 2.0)
    return terrain(hills, solids, hedge)


def _slowly(site: Terrain, own, figure_m: float) -> tuple[np.ndarray, np.ndarray]:
    """For each cell what comes back over what is needed, and its azimuth in the unit, by plain sampling."""
    microwave, land = own.type.microwave, site.ground
    eye = np.array(own.eye)
    right, forward, up = head_axes(own.bearing_deg, own.tilt_deg, own.roll_deg)
    x, y = (a.ravel() for a in np.meshgrid(land.xs, land.ys))
    z = land.z.ravel()
    share = np.zeros(len(x))
    rise = np.arange(0.02, figure_m, 0.04)
    along = (np.arange(400) + 0.5) / 400
    boxes = _boxes()
    for k in range(len(x)):
        target = np.column_stack([np.full(len(rise), x[k]), np.full(len(rise), y[k]), z[k] + rise])
        way = target - eye
        length = np.linalg.norm(way, axis=1)
        points = eye + along[None, :, None] * way[:, None, :]
        is_under = (land.height_at(points[..., 0], points[..., 1]) > points[..., 2] + 1e-9).any(axis=1)
        lost = np.where(is_under, math.inf, 0.0)
        for low, high, db in boxes:
            is_met = ((points >= low) & (points <= high)).all(axis=2).any(axis=1)
            lost = lost + np.where(is_met, db, 0.0)
        i = np.rint((points[..., 0] - land.x0) / land.cell_m).astype(int)
        j = np.rint((points[..., 1] - land.y0) / land.cell_m).astype(int)
        row = site.foliage.column[np.clip(j, 0, 39), np.clip(i, 0, 39)]
        base = site.foliage.base_z[np.maximum(row, 0)]
        leafy = (row >= 0) & (points[..., 2] > base) & (points[..., 2] < base + 1.5)
        metres = leafy.mean(axis=1) * length
        lost = lost + 60.0 * (1 - np.exp(-metres * 4.0 / 60.0))
        elevation = np.degrees(np.arctan2(way @ up, np.hypot(way @ right, way @ forward)))
        is_lit = np.abs(elevation - microwave.elevation) <= microwave.thickness / 2
        nearest = np.abs(way[:, 2]).min()
        square = (x[k] - eye[0]) ** 2 + (y[k] - eye[1]) ** 2 + nearest**2
        needed = figure_m * square**2 / microwave.range**4
        back = (is_lit * 10 ** (-0.2 * lost)).sum() * 0.04
        share[k] = 0.0 if square > microwave.range**2 else back / needed
    turned = np.column_stack([x - eye[0], y - eye[1], np.zeros(len(x))])
    return share, np.degrees(np.arctan2(turned @ right, turned @ forward))


@pytest.mark.parametrize(
    ("needs", "bearing", "tilt", "elevation", "thickness", "figure_m"),
    [
        ("also", 0.0, 0.0, 0.0, 30.0, 1.7),
        ("either", 20.0, 4.0, 5.0, 12.0, 1.7),
        ("either", 340.0, -5.0, -8.0, 9.0, 0.7),
    ],
)
def test_reach_and_verdict_are_those_of_plain_sampling(
    tmp_path, needs, bearing, tilt, elevation, thickness, figure_m
):
    """Ground, walls, leaves, lobe and both ways of needing it, by numpy that shares nothing with them."""
    lobe = {"elevation": elevation, "thickness": thickness, "range_m": 9.0, "needs": needs}
    own = unit(kind(tmp_path, **lobe), 1.0, bearing, tilt_deg=tilt)
    site = _small_site()
    own = replace(own, ground_z=float(site.ground.height_at(0.0, 0.0)))
    one = seen_by(own, site)
    share, azimuth = (values[one.seen.cells] for values in _slowly(site, own, figure_m))
    in_arc, reached = np.abs(azimuth) <= 40.0, one.reached(figure_m)
    sure = (np.abs(np.abs(azimuth) - 40.0) > 1.0) & (one.seen.distance > 1e-3)
    # Sums of steps of 0.1 m and of samples differ by some percent.
    clear = sure & (np.abs(np.log(np.maximum(share, 1e-12))) > 0.15)
    assert clear.sum() > 0.9 * sure.sum()
    wrong = clear & (reached != (in_arc & (share >= 1.0)))
    assert wrong.sum() <= 0.01 * clear.sum()
    assert reached.sum() > 20
    assert (clear & in_arc & (share > 0) & ~reached).sum() > 20
    # The verdict, by the layers as they are without any microwave.
    bare = replace(own, type=own.type.model_copy(update={"microwave": None}))
    layers = one.set_to(bare).codes(figure_m)
    held = layers == Verdict.BOTH
    expected = np.where(held & ~reached, Verdict.UPPER_ONLY, layers)
    if needs == "either":
        expected = np.where(reached, Verdict.BOTH, layers)
    assert (one.codes(figure_m) == expected).all()


def test_of_layers_of_which_any_will_do_the_broken_ones_are_told(tmp_path):
    """Where the microwave alone lacks under `alarm = "any"`, upper only and lower only are told apart."""
    up = terrain(plane(0.08))
    own = unit(kind(tmp_path, range_m=2.0, alarm="any"), 1.0)
    one = seen_by(own, up)
    far = (one.seen.distance > 2.1) & (np.abs(azimuth_deg(one)) < 40)
    broken = one.broken(PERSON_M)
    codes = one.codes(PERSON_M)
    assert (codes[far & broken[0]] == Verdict.UPPER_ONLY).all()
    assert (codes[far & ~broken[0] & broken[1]] == Verdict.LOWER_ONLY).all()
    # Close in the lower layer is over a low figure, far out only the upper is left.
    assert (far & broken[0]).any()
    low = one.codes(0.7)
    only_lower = far & ~one.broken(0.7)[0] & one.broken(0.7)[1]
    assert only_lower.any()
    assert (low[only_lower] == Verdict.LOWER_ONLY).all()


def test_what_the_microwave_lacks_is_told_with_its_thing(tmp_path):
    """Behind a wall that only the microwave minds: one cause a cell, by the wall's name."""
    # Over the wall's top a line falls by 0.12, the lower layer's axis by 0.08, the lobe's upper edge by 0.21.
    yard = Area("yard", np.array([[-2.0, 2.5], [2.0, 2.5], [2.0, 4.0], [-2.0, 4.0]]))
    wall = box((-4, 2, -1), (4, 2.1, 0.75))
    site = terrain(plane(0.0), wall, protect=(yard,))
    low = kind(tmp_path, elevation=-18.0, thickness=12.0, range_m=12.0)
    option = judged(site, unit(low, 1.0))
    outcomes = option.layer_outcomes["microwave"]
    assert (outcomes == NOT_REACHED).any()
    (loss,) = [loss for loss in option.protect[0].lost_to if loss.cause == CAUSE_KEYS[NOT_REACHED]]
    assert (loss.name, loss.area_m2 > 1) == ("box", True)
    assert sum(loss.area_m2 for loss in option.protect[0].lost_to) == pytest.approx(
        option.protect[0].area_m2 * (1 - option.protect[0].both_fraction)
    )
    assert option.taken_by["microwave"]["box"] > 1
    assert option.lost_m2["microwave"]["microwave does not reach"] > 1


def test_a_layer_that_is_not_broken_is_blamed_before_the_microwave(tmp_path):
    """Past the range of the lobe and outside the layers' reach the ground is lost to the layers."""
    yard = Area("yard", np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 11.0], [-2.0, 11.0]]))
    option = judged(terrain(plane(0.15), protect=(yard,)), unit(kind(tmp_path, range_m=3.0), 1.0))
    lost = {loss.cause: loss.area_m2 for loss in option.protect[0].lost_to}
    assert option.protect[0].both_fraction == 0
    assert lost["lands short"] > 1
    assert lost["beyond range"] > 0
    assert sum(lost.values()) == pytest.approx(option.protect[0].area_m2)


def test_units_with_and_without_share_the_work(tmp_path):
    """Under any the unit without a microwave holds what it holds; under all the microwave is needed too."""
    with_one = unit(kind(tmp_path, range_m=3.0), 1.0)
    bare = replace(with_one, name="D2", type=with_one.type.model_copy(update={"microwave": None}))
    option = judged(FLAT, with_one, bare)
    alone = judged(FLAT, bare)
    assert (option.verdicts == alone.verdicts).all()
    assert "microwave" in option.layer_outcomes
    assert judged(FLAT, with_one, bare, combine="all").area_m2["both"] == pytest.approx(
        judged(FLAT, with_one).area_m2["both"]
    )


def test_some_of_the_cells_alone_are_as_among_all(tmp_path):
    """`among` keeps what was worked out, and works it out alike where it was not."""
    one = seen_by(unit(kind(tmp_path, needs="either"), 1.0), _small_site())
    keep = np.arange(len(one.seen.cells)) % 3 == 0
    before = one.among(keep).codes(PERSON_M)
    codes = one.codes(PERSON_M)
    assert (before == codes[keep]).all()
    assert (one.among(keep).codes(PERSON_M) == codes[keep]).all()


def test_heat_does_not_touch_it(tmp_path):
    """A figure as warm as the ground breaks no layer; a microwave that needs none holds it all the same."""
    either = seen_by(unit(kind(tmp_path, needs="either"), 1.0))
    assert ((either.codes(PERSON_M, 0.01) == Verdict.BOTH) == either.reached(PERSON_M)).all()
    also = seen_by(unit(kind(tmp_path, needs="also"), 1.0))
    assert not (also.codes(PERSON_M, 0.01) == Verdict.BOTH).any()
