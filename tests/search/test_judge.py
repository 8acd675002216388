"""All settings of a mount judged at once, against `cover` setting by setting."""

import numpy as np
import pytest
from small_sites import (
    FIGURE,
    KINDS,
    coarse,
    every_setting,
    held_as_aimed,
    held_by_cover,
    hillside,
    weight_of,
)

from terrain3d.cover.fill import verdict_codes
from terrain3d.cover.heads import head_table
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.types import Head, Layer, Microwave
from terrain3d.search import judge as j
from terrain3d.search.aims import aimed_settings
from terrain3d.search.looks import look_around, places_of
from terrain3d.search.settings import count_settings
from terrain3d.search.target import target_of
from terrain3d.terrain import Beyond, Mount

MOUNT = Mount("pole", -1.3, -2.1, (0.8, 1.2))


def odd_types():
    """Types that take the other ways through the kernel: any alarm, three layers, odd pans, a wide arc."""
    one, two = KINDS
    level = Layer(name="upper", elevation=0.0, thickness=3.0)
    steep = Layer(name="steep", elevation=-12.0, thickness=4.0)
    lower = Layer(name="lower", elevation="range", thickness=3.0)
    yield one.model_copy(update={"alarm": "any"})
    yield one.model_copy(update={"head": (Head(arc=70.0, layer=(level, steep, lower)),)})
    yield two.model_copy(
        update={
            "head": tuple(
                head.model_copy(update={"pan": pan})
                for head, pan in zip(two.head, (-31.0, 42.5), strict=True)
            )
        }
    )
    yield one.model_copy(update={"head": (Head(arc=220.0, layer=(level, lower)),)})
    yield one.model_copy(update={"fill": 0.8})


@pytest.mark.parametrize("kind", [*KINDS, *odd_types()], ids=lambda kind: f"{kind.name}-{len(kind.head)}")
def test_every_cell_of_every_setting_is_as_cover_judges_it(kind):
    """The masks over all bearings agree with `verdict_codes` to the cell, tilted or level."""
    space = coarse((kind,), 10.0, (-9.0, -2.0, 0.0, 5.0))
    terrain = hillside()
    target = target_of(terrain, FIGURE.height_m)
    place = places_of(terrain, target)
    look = look_around(terrain, MOUNT, 1.0, space, place, target)
    masks = aimed_settings(look.view, space, 0, space.range_sets_of(0), FIGURE.height_m, upper_only=False)
    n_held = 0
    for t, tilt in enumerate(space.tilts_judged_deg):
        for b, bearing in enumerate(space.bearings_deg):
            for r, range_m in enumerate(space.ranges_of(0)):
                codes = verdict_codes(
                    look.seen, head_table(kind), bearing, tilt, 0.0, range_m, FIGURE.height_m, kind.fill
                )
                meant = np.zeros(len(target.cells), bool)
                meant[look.place] = codes[look.rows] == Verdict.BOTH
                got = np.zeros(len(target.cells), bool)
                got[look.view.place] = (masks[t, :, b] >> r) & 1
                np.testing.assert_array_equal(got, meant)
                n_held += int(got.sum())
    assert n_held > 1000


def with_lobe(kind, needs, **lobe):
    """A type with a microwave that sees through the hedge, and past the ends of the arc."""
    shape = {"arc": 110.0, "thickness": 40.0, "range": 9.0, "frequency_ghz": 10.525, **lobe}
    return kind.model_copy(update={"microwave": Microwave(needs=needs, **shape)})


@pytest.mark.parametrize(
    "kinds",
    [
        KINDS,
        tuple(with_lobe(kind, "also", elevation=-4.0) for kind in KINDS),
        (KINDS[0], with_lobe(KINDS[1], "either", elevation=5.0)),
        (
            with_lobe(KINDS[0].model_copy(update={"alarm": "any"}), "also", arc=60.0),
            with_lobe(KINDS[0], "either"),
        ),
    ],
    ids=["layers alone", "microwave too", "or microwave", "any layer"],
)
def test_the_best_setting_is_that_of_brute_force(kinds):
    """Best value of each height and type, and the cells held, are those of judging all settings in full."""
    terrain, space = hillside(), coarse(kinds)
    target = target_of(terrain, FIGURE.height_m)
    judged = j.judge_mount(terrain, MOUNT, space, target)
    weight = weight_of(terrain)
    brute = {
        s: float(weight[held_by_cover(terrain, space, MOUNT, s)].sum()) for s in every_setting(space, MOUNT)
    }
    assert judged.n_settings == len(brute) == count_settings(space, (MOUNT,))
    for h, height in enumerate(MOUNT.heights_m):
        for k in range(2):
            most = max(value for setting, value in brute.items() if setting[:2] == (k, height))
            assert judged.best[h, k] == most
    for row in range(len(judged.value)):
        setting = (
            int(judged.type_index[row]), judged.height_m[row], judged.bearing_deg[row], judged.tilt_deg[row],
            judged.range_m[row],
        )  # fmt: skip
        assert judged.value[row] == brute[setting]
        bits = np.unpackbits(judged.held[row], count=len(judged.cells)).astype(bool)
        held = np.zeros(weight.size, bool)
        held[target.cells[judged.cells[bits]]] = True
        meant = held_by_cover(terrain, space, MOUNT, setting).ravel() & (weight.ravel() > 0)
        np.testing.assert_array_equal(held, meant)
        aimed = held_as_aimed(
            terrain, space.detector_types[setting[0]], MOUNT, (*setting[1:], FIGURE.height_m)
        )
        assert judged.nominal[row] == float(weight[aimed].sum())
        dog = held_as_aimed(terrain, space.detector_types[setting[0]], MOUNT, (*setting[1:], target.animal_m))
        assert judged.animal[row] == dog.sum()


@pytest.mark.parametrize(
    ("kind", "figure_height_m", "counts_m"), [("neighbour", 1.7, 1.7), ("road", 0.6, 1.5)]
)
def test_settings_that_spill_into_ground_to_keep_out_of_are_barred(kind, figure_height_m, counts_m):
    """No kept setting breaks the upper layer there, aimed off or not; those that do not spill are kept.

    On a road the larger of a vehicle and the figure counts.
    """
    outline = np.array([[-12.0, 5], [2, 5], [2, 12], [-12, 12]])
    terrain = hillside(beyond=[Beyond("plot", kind, outline, keep_out=True)])
    space = coarse()
    target = target_of(terrain, figure_height_m)
    ((height_m, kept_out),) = target.keep_out
    assert height_m == counts_m
    judged = j.judge_mount(terrain, MOUNT, space, target)
    upper_breaks = (Verdict.BOTH, Verdict.UPPER_ONLY)
    place = places_of(terrain, target)
    bearings = set()
    for row in range(len(judged.value)):
        look = look_around(terrain, MOUNT, judged.height_m[row], space, place, target)
        unit_type = space.detector_types[judged.type_index[row]]
        for turn in (-30.0, 0.0, 30.0):
            for nod in (-1.0, 0.0, 1.0):
                codes = verdict_codes(
                    look.seen, head_table(unit_type), judged.bearing_deg[row] + turn,
                    judged.tilt_deg[row] + nod, 0.0, judged.range_m[row], counts_m, unit_type.fill,
                )  # fmt: skip
                spilled = look.seen.cells[np.isin(codes, upper_breaks)]
                assert not np.isin(spilled, kept_out).any()
        bearings.add(float(judged.bearing_deg[row]))
    assert bearings
    assert len(bearings) < len(
        {
            float(b)
            for b in j.judge_mount(
                hillside(), MOUNT, space, target_of(hillside(), figure_height_m)
            ).bearing_deg
        }
    )


def test_a_type_that_a_mount_is_not_for_is_left_out():
    """`not_for` takes the type's settings out of the space."""
    mount = Mount("wall", 0.0, 0.0, (1.0,), ("two-head-180",))
    judged = j.judge_mount(hillside(), mount, coarse(), target_of(hillside(), 1.7))
    assert set(judged.type_index.tolist()) == {0}
    assert judged.n_settings == coarse().settings_of(Mount("wall", 0.0, 0.0, (1.0,))) / 2


def test_a_mount_on_unknown_ground_has_nothing_to_offer():
    """Off the survey there is no height to stand at."""
    judged = j.judge_mount(hillside(), Mount("far", 100.0, 0.0, (1.0,)), coarse(), target_of(hillside(), 1.7))
    assert len(judged.value) == 0
    assert (judged.best == -1).all()


def test_the_search_of_the_issue_is_counted():
    """200 mounts, 5 heights, both types, 144 bearings, 9 tilts and 5 ranges are 13 million settings."""
    space = coarse(step_deg=2.5, tilts_deg=tuple(range(-4, 5)), ranges_m=None)
    mounts = tuple(Mount(f"m{k}", 0.0, 0.0, (0.8, 0.9, 1.0, 1.1, 1.2)) for k in range(200))
    assert count_settings(space, mounts) == 12_960_000
