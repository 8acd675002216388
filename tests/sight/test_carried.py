"""What an eye saw is kept just where looking anew would show the same."""

from dataclasses import replace

import numpy as np
import pytest
from shapes import box, leaves, plane, terrain

from terrain3d.sight import carried as carried_room
from terrain3d.sight.carried import KeptLooks, carried
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Area, Mount

EYE, REACH_M = (0.03, 0.02, 1.0), 8.0
GROUND = plane(0.05, 40, extent_m=40.0, cell_m=0.5)
PARTS = ("cells", "lowest", "piece_start", "pieces", "main", "many", "across_unknown")


def wall(x: float, y: float):
    return box((x - 1, y - 0.1, -2), (x + 1, y + 0.1, 1.3))


def hedge(x: float, y: float):
    return leaves(GROUND, lambda gx, gy: (abs(gx - x) < 1) & (abs(gy - y) < 0.6), 0.0, 1.4, 1.0)


def is_as_looked_anew(kept, site) -> bool:
    fresh = panorama(site, EYE, REACH_M)
    met = [getattr(kept.met, name) for name in ("solid_heights", "solid", "light", "leaf")]
    fresh_met = [getattr(fresh.met, name) for name in ("solid_heights", "solid", "light", "leaf")]
    return all(np.array_equal(getattr(kept, name), getattr(fresh, name)) for name in PARTS) and all(
        np.array_equal(a, b) for a, b in zip(met, fresh_met, strict=True)
    )


def test_names_and_areas_change_nothing_that_is_seen():
    """What is no ground, no solid and no leaf is looked through: the arrays are the very same."""
    site = terrain(GROUND, wall(3, 3), hedge(-3, 2))
    seen = panorama(site, EYE, REACH_M)
    met = seen.met
    yard = Area("yard", np.array([[0.0, 0], [2, 0], [2, 2]]))
    kept = carried(seen, replace(site, protect=(yard,), mounts=(Mount("pole", 1.0, 1.0),)))
    assert kept.pieces is seen.pieces
    assert kept.met is met
    assert kept.terrain.protect == (yard,)


@pytest.mark.parametrize("far_m", [9.2, 12.0, 17.0])
def test_what_stands_past_the_reach_keeps_what_was_seen(far_m):
    """A wall or a hedge farther than the eye looks hides nothing it looks at; what is met keeps its names."""
    site = terrain(GROUND, wall(3, 3), hedge(-3, 2))
    seen = panorama(site, EYE, REACH_M)
    assert len(seen.met.solid)
    for changed in (
        replace(site, solids=wall(far_m, 0).joined(wall(3, 3))),
        replace(site, solids=wall(3, 3).joined(wall(far_m, 0))),
    ):
        kept = carried(seen, changed)
        assert kept is not None
        assert is_as_looked_anew(kept, changed)


def test_what_changes_within_reach_has_to_be_looked_at_anew():
    """Solids, leaves and ground, moved, gone, come or grown."""
    site = terrain(GROUND, wall(3, 3), hedge(-3, 2))
    seen = panorama(site, EYE, REACH_M)
    lifted = replace(GROUND, z=GROUND.z + 0.1 * (np.abs(np.subtract.outer(GROUND.ys, 0 * GROUND.xs) - 4) < 1))
    for changed in (
        replace(site, solids=wall(3, 3.1)),
        replace(site, solids=terrain(GROUND).solids),
        replace(site, solids=wall(3, 3).joined(wall(0, 5))),
        replace(site, foliage=hedge(-3, 2.5)),
        replace(site, foliage=terrain(GROUND).foliage),
        replace(site, foliage=replace(site.foliage, above=0.5 * site.foliage.above)),
        replace(site, solids=replace(site.solids, microwave_db={0: 3.0})),
        replace(site, ground=lifted),
        replace(site, ground=plane(0.05, 40, extent_m=41.0, cell_m=0.5)),
    ):
        assert carried(seen, changed) is None


def test_of_many_changes_none_is_kept_that_shows_otherwise():
    """Walls and hedges put down anywhere: whatever is kept is to the last figure what looking anew shows."""
    rng = np.random.default_rng(4)
    site = terrain(GROUND, wall(3, 3), hedge(-3, 2))
    seen = panorama(site, EYE, REACH_M)
    kept_count = 0
    for _ in range(60):
        x, y = rng.uniform(-16, 16, 2)
        changed = (
            replace(site, solids=site.solids.joined(wall(x, y)))
            if rng.random() < 0.5
            else replace(site, foliage=hedge(x, y))
        )
        kept = carried(seen, changed)
        if kept is not None:
            kept_count += 1
            assert is_as_looked_anew(kept, changed)
    assert kept_count > 5


def test_looks_are_cast_once_as_long_as_they_are_true(monkeypatch):
    """A thing drawn far away has no eye look again, one drawn near has; the oldest looks go first."""
    count = []
    monkeypatch.setattr(carried_room, "panorama", lambda *args: count.append(1) or panorama(*args))
    look = KeptLooks(3)
    site = terrain(GROUND, wall(3, 3))
    first = look(site, EYE, REACH_M)
    assert look(site, EYE, REACH_M) is first
    look(replace(site, solids=site.solids.joined(wall(12, 0))), EYE, REACH_M)
    assert len(count) == look.looked == 1
    look(replace(site, solids=site.solids.joined(wall(2, 0))), EYE, REACH_M)
    assert len(count) == look.looked == 2
    for height in (1.1, 1.2, 1.3):
        look(site, (0.03, 0.02, height), REACH_M)
    look(site, EYE, REACH_M)
    assert look.looked == 6
