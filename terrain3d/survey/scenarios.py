"""The site changed: without some things, with part of its leaves, or grown on; ground and mounts stay."""

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.site import ScenarioShape
from terrain3d.terrain import SURVEYED_LEAVES, Foliage, Solids, Terrain
from terrain3d.units import Floats

#: Foliage of which nothing more is taken away needs not know what is whose in its columns.
_UNMIXED: dict[str, Any] = {
    "mixed_row": np.zeros(0, np.int32),
    "mixed_owner": np.zeros(0, np.int32),
    "mixed_above": np.zeros((0, 2)),
    "mixed_db_per_m": np.zeros(0),
}


@dataclass(frozen=True, eq=False)
class Scenario:
    """The site as it may be: its name, and what stands there then."""

    name: str
    terrain: Terrain


def scenarios_of(terrain: Terrain, wanted: Sequence[ScenarioShape]) -> tuple[Scenario, ...]:
    """What each scenario of a site file makes of a site.

    Raises
    ------
    InputError
        When one leaves out a thing that nobody knows.
    """
    return tuple(Scenario(one.name, _changed(terrain, one)) for one in wanted)


def without_solids(solids: Solids, names: Sequence[str]) -> Solids:
    """The solids that are left; they keep their places among the names.

    >>> from terrain3d.survey.solids import block
    >>> flat = lambda x, y: np.zeros(np.shape(x))
    >>> gate = block(np.array([[0, 0], [3, 0], [3, 0.1], [0, 0.1]]), 1.2, 0.0, flat, "gate", 0.25)
    >>> len(without_solids(gate, ["gate"]).triangles), len(without_solids(gate, ["wall"]).triangles)
    (0, 12)
    """
    gone = [place for place, name in enumerate(solids.names) if name in names]
    keep = ~np.isin(solids.owners, gone)
    return replace(solids, triangles=solids.triangles[keep], owners=solids.owners[keep])


def without_foliage(foliage: Foliage, names: Sequence[str]) -> Foliage:
    """The foliage that is left; what else grows in a column stays there."""
    gone = [place for place, name in enumerate(foliage.names) if name in names]
    above, owners = foliage.above.copy(), foliage.owners.copy()
    left = ~np.isin(foliage.mixed_owner, gone)
    np.subtract.at(above, foliage.mixed_row[~left], foliage.mixed_above[~left])
    is_mixed = np.zeros(len(owners), bool)
    is_mixed[foliage.mixed_row[left]] = True
    keep = ~np.isin(owners, gone) | is_mixed
    # A column that loses its main thing goes to one of those that stay.
    orphans = np.isin(owners, gone) & is_mixed
    heirs = left & orphans[foliage.mixed_row]
    owners[foliage.mixed_row[heirs]] = foliage.mixed_owner[heirs]
    db_per_m = foliage.db_per_m.copy()
    poorer = foliage.mixed_row[~left]
    db_per_m[poorer] = 0.0
    stays = left & np.isin(foliage.mixed_row, poorer)
    np.maximum.at(db_per_m, foliage.mixed_row[stays], foliage.mixed_db_per_m[stays])
    thinner = replace(foliage, above=np.maximum(above, 0.0), owners=owners, db_per_m=db_per_m, **_UNMIXED)
    return _columns(thinner, keep)


def thinned(foliage: Foliage, share: float) -> Foliage:
    """The same with that share of its leaf area, and of what microwaves lose a metre in it."""
    thin = replace(foliage, above=foliage.above * share, db_per_m=foliage.db_per_m * share, **_UNMIXED)
    return thin if share > 0 else Foliage.none()


def grown_on(foliage: Foliage, growth_m: float) -> Foliage:
    """The same after it has grown so far outwards and upwards; what is clear beneath it stays clear.

    Outwards a cell takes on what the nearest column of leaves holds, as much of it as the growth covers of
    the cell; upwards a column goes on as dense as its uppermost leaves are.
    """
    if not len(foliage.base_z):
        return foliage
    wide = _grown_outwards(foliage, growth_m)
    density = wide.density
    n_more = math.ceil(growth_m / wide.step_m - 1e-9)
    tall = np.pad(density, ((0, 0), (0, n_more)))
    top = density.shape[1] - 1 - np.argmax(density[:, ::-1] > 0, axis=1)
    whole, rest = divmod(growth_m, wide.step_m)
    rows = np.arange(len(tall))
    for step in range(1, n_more + 1):
        part = 1.0 if step <= round(whole, 9) else rest / wide.step_m
        tall[rows, top + step] = density[rows, top] * part
    above = np.pad(np.cumsum(tall, axis=1) * wide.step_m, ((0, 0), (1, 0)))
    return replace(wide, above=above)


def _changed(terrain: Terrain, wanted: ScenarioShape) -> Terrain:
    _check_known(terrain, wanted)
    foliage = without_foliage(terrain.foliage, wanted.without)
    if wanted.growth > 0:
        foliage = grown_on(foliage, wanted.growth)
    if wanted.leaves < 1:
        foliage = thinned(foliage, wanted.leaves)
    return replace(terrain, solids=without_solids(terrain.solids, wanted.without), foliage=foliage)


def _check_known(terrain: Terrain, wanted: ScenarioShape) -> None:
    known = list(dict.fromkeys([*terrain.solids.names, *terrain.foliage.names]))
    for name in wanted.without:
        if name in known:
            continue
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
        raise InputError(
            f"there is no solid or foliage {name!r} on the site",
            f"scenario {wanted.name!r}: without",
            f"name one that there is; the nearest is {near[0]!r}"
            if near
            else "leave it out: nothing stands there",
        )


def _columns(foliage: Foliage, keep: NDArray[np.bool_]) -> Foliage:
    """Some of the columns alone."""
    if not keep.any():
        return Foliage.none()
    # One place more, for cells without a column.
    place = np.append(np.where(keep, np.cumsum(keep) - 1, -1), -1).astype(np.int32)
    return replace(
        foliage,
        column=place[foliage.column],
        base_z=foliage.base_z[keep],
        above=foliage.above[keep],
        owners=foliage.owners[keep],
        db_per_m=foliage.db_per_m[keep],
    )


def _grown_outwards(foliage: Foliage, growth_m: float) -> Foliage:
    """A ring of cells around all columns takes on the nearest one's leaves, as far as growth covers them."""
    from scipy.ndimage import distance_transform_edt

    cell = foliage.cell_m
    margin = math.ceil(growth_m / cell)
    column = np.pad(foliage.column, margin, constant_values=-1)
    share = _drawn_shares(foliage)
    # A rim cell that leaves cover in part is filled before the next.
    whole, whole_db = foliage.above / share[:, None], foliage.db_per_m / share
    filled = np.minimum(share + np.where(share < 1, growth_m / cell, 0.0), 1.0)
    away, (j, i) = distance_transform_edt(column < 0, sampling=cell, return_indices=True)
    source = column[j, i]
    # Leaves end half a cell past the middle of their outermost cells, nearer where they cover part of them.
    covered: Floats = np.clip((growth_m - away) / cell + share[source], 0.0, 1.0)
    ring = (column < 0) & (covered > 1e-9)
    source = source[ring]
    column[ring] = len(foliage.base_z) + np.arange(int(ring.sum()))
    return replace(
        foliage,
        x0=foliage.x0 - margin * cell,
        y0=foliage.y0 - margin * cell,
        column=column.astype(np.int32),
        base_z=np.concatenate([foliage.base_z, foliage.base_z[source]]),
        above=np.vstack([whole * filled[:, None], whole[source] * covered[ring][:, None]]),
        owners=np.concatenate([foliage.owners, foliage.owners[source]]),
        db_per_m=np.concatenate([whole_db * filled, whole_db[source] * covered[ring]]),
        **_UNMIXED,
    )


def _drawn_shares(foliage: Foliage) -> Floats:
    """(k,) how much of its cell each column covers: less than 1 at the rim of what is drawn.

    A survey's leaves thin out towards their rim by themselves; there every column counts as whole.
    """
    from scipy.ndimage import maximum_filter, minimum_filter

    density = foliage.density.max(axis=1, initial=0.0)
    on_grid = np.append(density, 0.0)[foliage.column]
    is_rim = (foliage.column >= 0) & (minimum_filter(foliage.column, 3) < 0)
    around = maximum_filter(on_grid, 3)
    share = np.ones(len(density))
    j, i = np.nonzero(is_rim & (on_grid > 0))
    share[foliage.column[j, i]] = on_grid[j, i] / around[j, i]
    is_drawn = np.array([name != SURVEYED_LEAVES for name in foliage.names])[foliage.owners]
    return np.where(is_drawn, np.maximum(share, 1e-3), 1.0)
