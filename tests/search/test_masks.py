"""Zones masked by a search where ground is to be kept out of: against every mask, judged one by one."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from small_sites import FIGURE, KINDS, coarse, hillside, weight_of

from terrain3d.cover.sighted import sighted, unit_on
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import Head, Layer, Microwave
from terrain3d.nuisance.spill import spill
from terrain3d.nuisance.things import in_layers
from terrain3d.opened import site_of
from terrain3d.ranking.compare import held_m2
from terrain3d.search import judge as j
from terrain3d.search.best import Limits
from terrain3d.search.looks import look_around, places_of
from terrain3d.search.masked import zones_of_things
from terrain3d.search.run import Search, run_search
from terrain3d.search.target import target_of
from terrain3d.terrain import Beyond, Mount, Nuisance

MOUNT = Mount("pole", -1.3, -2.1, (0.8, 1.2))
PLOT = Beyond("plot", "neighbour", np.array([[-12.0, 3], [2, 3], [2, 12], [-12, 12]]), keep_out=True)


def zoned(kind, zones, **also):
    """A type with so many zones to a layer."""
    heads = tuple(
        head.model_copy(
            update={"layer": tuple(layer.model_copy(update={"zones": zones}) for layer in head.layer)}
        )
        for head in kind.head
    )
    return kind.model_copy(update={"head": heads, **also})


ONE, TWO = zoned(KINDS[0], 5), zoned(KINDS[1], 3)
#: A head whose only layer follows the range: a shorter range keeps it out as well.
CURTAIN = TWO.model_copy(
    update={
        "name": "curtains",
        "head": tuple(
            Head(pan=pan, arc=60.0, layer=(Layer(name="lower", elevation="range", thickness=4.0, zones=2),))
            for pan in (-40.0, 20.0)
        ),
    }
)
WIDE = ONE.model_copy(update={"head": (Head(arc=220.0, layer=ONE.head[0].layer),)})
#: A lobe that leaves some of the heads' ground alone, and reaches some beyond.
LOBE = Microwave(arc=70.0, elevation=0.0, thickness=50.0, range=8.0, frequency_ghz=10.525)
#: One that stays clear of the plot more often, and raises the alarm alone.
NEAR = LOBE.model_copy(update={"needs": "either", "arc": 30.0, "range": 5.0})


def every_mask(kind):
    """Masks of all heads together that leave some zone open."""
    own = [
        [
            zones
            for n in range(head.zones + 1)
            for zones in itertools.combinations(range(1, head.zones + 1), n)
        ]
        for head in kind.head
    ]
    whole = tuple(tuple(range(1, head.zones + 1)) for head in kind.head)
    return [masks for masks in itertools.product(*own) if masks != whole]


def brute(terrain, space, mount):
    """{(height, bearing, tilt, ranges, masks): weight held surely} of all that never reaches the plot."""
    ground, weight = terrain.ground, weight_of(terrain)
    kind = space.detector_types[0]
    plot = np.zeros(ground.z.shape, bool)
    for _, cells in target_of(terrain, FIGURE.height_m).keep_out:
        plot.ravel()[cells] = True
    seen = {}

    def aimed(height, bearing, tilt, ranges, masks):
        """What is held so aimed; None where the upper layer reaches the plot."""
        key = (height, bearing % 360, tilt, ranges, masks)
        if key not in seen:
            heads = tuple(HeadSetting(range_m=r, masked=m) for r, m in zip(ranges, masks, strict=True))
            unit = replace(looks[height].unit, bearing_deg=bearing % 360, tilt_deg=tilt, heads=heads)
            one = looks[height].set_to(unit)
            is_reached = one.upper_broken(FIGURE.height_m).any(axis=0)
            if kind.microwave is not None and kind.microwave.needs == "either":
                is_reached |= one.reached(FIGURE.height_m)
            reached = one.seen.cells[is_reached]
            held = one.verdicts(ground, FIGURE.height_m) == Verdict.BOTH
            seen[key] = None if plot.ravel()[reached].any() else held
        return seen[key]

    looks = {
        height: sighted(terrain, unit_on(terrain, mount.name, kind, height, 0.0))
        for height in mount.heights_m
    }
    found = {}
    for setting in itertools.product(
        mount.heights_m,
        space.bearings_deg.tolist(),
        space.tilts_deg,
        space.range_sets_of(0),
        every_mask(kind),
    ):
        height, bearing, tilt, ranges, masks = setting
        held = np.ones(ground.z.shape, bool)
        for turn, nod in itertools.product((0.0, -30.0, 30.0), (0.0, -1.0, 1.0)):
            one = aimed(height, bearing + turn, tilt + nod, ranges, masks)
            if one is None:
                break
            held &= one
        else:
            found[setting] = float(weight[held].sum())
    return found


@pytest.mark.parametrize(
    ("kind", "tilts"),
    [
        (ONE, (-9.0, 0.0)),
        (TWO, (-3.0,)),
        (CURTAIN, (-3.0,)),
        (WIDE, (-6.0,)),
        (ONE.model_copy(update={"alarm": "any"}), (-6.0,)),
        (ONE.model_copy(update={"microwave": LOBE}), (-6.0,)),
        (ONE.model_copy(update={"microwave": NEAR}), (-6.0,)),
    ],
    ids=["one head", "two heads", "range follows", "wide", "any layer", "microwave too", "or microwave"],
)
def test_the_best_mask_is_that_of_brute_force(kind, tilts):
    """No setting with any mask holds more, and what each kept setting holds is what its own mask holds."""
    terrain = hillside((MOUNT,), beyond=[PLOT])
    space = replace(coarse((kind,), tilts_deg=tilts), masks=True)
    target = target_of(terrain, FIGURE.height_m)
    every = brute(terrain, space, MOUNT)
    judged = j.judge_mount(terrain, MOUNT, space, target)
    for h, height in enumerate(MOUNT.heights_m):
        assert judged.best[h, 0] == max(value for setting, value in every.items() if setting[0] == height)
    n_masked = 0
    for row in range(len(judged.value)):
        masks = j.zones_of(judged.masked[row, : len(kind.head)])
        setting = (
            judged.height_m[row], judged.bearing_deg[row], judged.tilt_deg[row],
            space.range_sets_of(0)[judged.range_set[row]],
        )  # fmt: skip
        assert judged.value[row] == every[(*setting, masks)]
        assert judged.value[row] == max(value for own, value in every.items() if own[:4] == setting)
        n_masked += any(masks)
    assert n_masked
    barred = j.judge_mount(terrain, MOUNT, replace(space, masks=False), target)
    assert judged.best.max() >= barred.best.max()


def test_the_best_unit_with_masks_is_that_of_brute_force():
    """Found, proved over all settings, and in full: it stays off the plot wherever it is aimed."""
    terrain = hillside((MOUNT,), beyond=[PLOT])
    space = replace(coarse((WIDE,), tilts_deg=(-6.0,)), masks=True)
    every = brute(terrain, space, MOUNT)
    one = Search(site_of(terrain, "small"), space, target_of(terrain, FIGURE.height_m), Limits())
    result = run_search(one, lambda _step, _share: None)
    assert result.best.held_m2 == pytest.approx(max(every.values()) * terrain.ground.cell_m**2)
    assert (result.gap, result.gap_all) == (0.0, 0.0)
    (unit,) = result.best.option.detectors
    masks = tuple(head.masked for head in unit.heads)
    assert any(masks)
    setting = (unit.height_m, unit.bearing_deg, unit.tilt_deg, (unit.range_m,), masks)
    assert every[setting] == max(every.values())
    assert held_m2(result.best.steady) == pytest.approx(result.best.held_m2)
    reached = {}
    for heads in (unit.heads, ()):
        for turn, nod in itertools.product((0.0, -30.0, 30.0), (0.0, -1.0, 1.0)):
            aim = {"bearing_deg": unit.bearing_deg + turn, "tilt_deg": unit.tilt_deg + nod, "heads": heads}
            (piece,) = spill(terrain, (replace(unit, **aim),), FIGURE.height_m).pieces
            reached[heads] = reached.get(heads, 0.0) + piece.within_m2
    assert reached[unit.heads] == 0.0 < reached[()]


VENT = Nuisance("vent", "vent", np.array([[-4.2, 2.0], [-3.6, 2.0], [-3.6, 2.6], [-4.2, 2.6]]), 0.4, 1.3)
POND = Nuisance(
    "pond", "water", np.array([[-8.0, -9.0], [-4.0, -9.0], [-4.0, -6.0], [-8.0, -6.0]]), 0.0, 0.05
)


@pytest.mark.parametrize("kind", [KINDS[0], TWO, WIDE], ids=["one head", "two heads", "wide"])
def test_no_nuisance_thing_is_seen_where_zones_are_masked_for_it(kind):
    """However the units are aimed within the tolerance: as the study of nuisances looks for things."""
    terrain = replace(hillside((MOUNT,)), nuisances=(VENT, POND))
    space = replace(coarse((kind,), tilts_deg=(-3.0,)), mask_nuisances=True)
    target = target_of(terrain, FIGURE.height_m)
    judged = j.judge_mount(terrain, MOUNT, space, target)
    free = j.judge_mount(terrain, MOUNT, replace(space, mask_nuisances=False), target)
    n_masked = n_needed = 0
    for row in range(len(judged.value)):
        masks = j.zones_of(judged.masked[row, : len(kind.head)])
        unit = unit_on(
            terrain, MOUNT.name, kind, judged.height_m[row], judged.bearing_deg[row], judged.tilt_deg[row],
            range_m=judged.range_m[row], heads=space.heads_set(0, judged.range_set[row], masks),
        )  # fmt: skip
        n_masked += sum(map(len, masks))
        for turn, nod in itertools.product((0.0, -30.0, 30.0), (0.0, -1.0, 1.0)):
            aim = replace(unit, bearing_deg=unit.bearing_deg + turn, tilt_deg=unit.tilt_deg + nod)
            assert not [one for one in in_layers(terrain, (aim,)) if one.is_seen and one.is_within_range]
            bare = in_layers(terrain, (replace(aim, heads=()),))
            n_needed += len({(i.head, i.zone) for i in bare if i.is_seen and i.is_within_range})
    assert n_masked
    assert n_needed
    assert judged.best.max() < free.best.max()


@pytest.mark.parametrize("tilt", [-9.0, 0.0, 6.0])
def test_zones_masked_for_a_thing_are_those_that_it_lies_in(tilt):
    """At one aim: every zone in which the study sees the thing, and none that it is not next to."""
    terrain = replace(hillside((MOUNT,)), nuisances=(VENT, POND))
    kind = KINDS[0]
    space = replace(coarse((kind,), tilts_deg=(tilt,), step_deg=5.0), mask_nuisances=True)
    target = target_of(terrain, FIGURE.height_m)
    look = look_around(terrain, MOUNT, 1.2, space, places_of(terrain, target), target)
    n_told = n_seen = 0
    found = zones_of_things(look, space, 0, space.range_sets_of(0))[space.tilts_judged_deg.index(tilt)]
    for b, bearing in enumerate(space.bearings_deg):
        for r, ranges in enumerate(space.range_sets_of(0)):
            unit = unit_on(terrain, MOUNT.name, kind, 1.2, bearing, tilt, range_m=ranges[0])
            told = set(j.zones_of(found[r, b])[0])
            in_them = [one for one in in_layers(terrain, (unit,)) if one.is_seen and one.is_within_range]
            seen = {zone for one in in_them for zone in one.mask}
            assert seen <= told
            n_told, n_seen = n_told + len(told), n_seen + len(seen)
    assert 0 < n_seen <= n_told <= n_seen + 2
