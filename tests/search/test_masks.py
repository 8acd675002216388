"""Zones masked by a search where ground is to be kept out of: against every mask, judged one by one."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from small_sites import FIGURE, KINDS, coarse, hillside, weight_of

from terrain3d.cover.sighted import sighted, unit_on
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import Head, Layer
from terrain3d.search import judge as j
from terrain3d.terrain import Beyond, Mount

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
    for _, cells in j.target_of(terrain, FIGURE.height_m).keep_out:
        plot.ravel()[cells] = True
    seen = {}

    def aimed(height, bearing, tilt, ranges, masks):
        """What is held so aimed; None where the upper layer reaches the plot."""
        key = (height, bearing % 360, tilt, ranges, masks)
        if key not in seen:
            heads = tuple(HeadSetting(range_m=r, masked=m) for r, m in zip(ranges, masks, strict=True))
            unit = replace(looks[height].unit, bearing_deg=bearing % 360, tilt_deg=tilt, heads=heads)
            one = looks[height].set_to(unit)
            reached = one.seen.cells[one.upper_broken(FIGURE.height_m).any(axis=0)]
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
    ],
    ids=["one head", "two heads", "range follows", "wide", "any layer"],
)
def test_the_best_mask_is_that_of_brute_force(kind, tilts):
    """No setting with any mask holds more, and what each kept setting holds is what its own mask holds."""
    terrain = hillside((MOUNT,), beyond=[PLOT])
    space = replace(coarse((kind,), tilts_deg=tilts), masks=True)
    target = j.target_of(terrain, FIGURE.height_m)
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
