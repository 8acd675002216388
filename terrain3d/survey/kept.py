"""What was read for a site, kept: a site drawn otherwise is put to it again, what did not change stays."""

from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from terrain3d.errors import InputError
from terrain3d.readers.source import Box, Progress
from terrain3d.site import Site
from terrain3d.survey.boxes import holds, joined, meeting, turned_box
from terrain3d.survey.buildings import WallMount
from terrain3d.survey.classes import Treatment
from terrain3d.survey.lattice import Relief
from terrain3d.survey.placing import Placed
from terrain3d.survey.read_ground import Read, Source, ground_of, read_around
from terrain3d.terrain import Colours, Terrain

#: A mount farther than this from all that a survey shows standing changes none of it, metres: one whose wall
#: is said to face some way, and one that may yet be in a building.
_NEAR_WALL_M, _IN_BUILDING_M = 22.0, 3.0


@dataclass(frozen=True, eq=False)
class Surveyed:
    """What was read for a site, so that drawn things can be put to it again; from `build_surveyed`.

    Parameters
    ----------
    source : Source
    box : Box or None
        Of the ground that was read, metres; None where it is drawn.
    tiles : tuple
        The survey as it was read, and beside it the surface or the land.
    treatments, walls : tuple
        Drawn things that say how returns are taken, and mounts on or near what stands.
    read : Read or None
        The ground and what stands on it, out of these.
    relief : Relief or None
        The ground as it was last put together.
    photo : tuple or None
        Its colours, where a photograph shows it.
    terrain : Terrain or None
        What it was put together to.
    earlier : Surveyed or None
        What was read at first, where more ground was asked for since.
    """

    source: Source
    box: Box | None = None
    tiles: tuple[Any, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    walls: tuple[WallMount, ...] = ()
    read: Read | None = None
    relief: Relief | None = None
    photo: tuple[Colours, tuple[str, ...]] | None = None
    terrain: Terrain | None = None
    earlier: "Surveyed | None" = None

    def is_of(self, site: Site, folder: Path) -> bool:
        """Whether a site file names the same survey to be read in the same way."""
        own = self.source.site
        if folder != self.source.folder or site.site.crs != own.site.crs:
            return False
        # Drawn ground is made anew from what the file says, and that costs nothing.
        is_drawn = _is_drawn(own) and _is_drawn(site)
        return is_drawn or (site.ground, site.site.cell) == (own.ground, own.site.cell)


def _is_drawn(site: Site) -> bool:
    return site.ground.file is None


def kept_or_read(
    source: Source, local: Placed, wanted: Box | None, progress: Progress, before: Surveyed | None
) -> Surveyed:
    """What is read of the survey, or was before: again only where ground is wanted that was not read."""
    of = source.survey
    relief, terrain = (None, None) if before is None else (before.relief, before.terrain)
    if of is None:
        return Surveyed(source, relief=relief, terrain=terrain)
    covered = turned_box(of.header.bounds, source.frame, of.header.crs, to_local=True)
    work = _cut(wanted or covered, covered)
    treatments, tiles, earlier = local.treatments, (), None
    if before is not None and before.box is not None:
        earlier = before.earlier
        if earlier is not None and earlier.box is not None and holds(earlier.box, work):
            # What asked for more ground is gone again: the numbers are those of before it came.
            return kept_or_read(source, local, wanted, progress, earlier)
        if holds(before.box, work):
            work, tiles = before.box, before.tiles
            walls = _walls_that_matter(local.wall_mounts, before)
            if before.read is not None and _same_treatments(treatments, before) and walls == before.walls:
                return replace(before, source=source)
        else:
            earlier, work = earlier or before, joined(before.box, work)
    tiles = tiles or read_around(source, of, work, progress)
    read = ground_of(source, of, local, work, tiles)
    kept = Surveyed(
        source, work, tiles, treatments, (), read, relief, terrain=terrain, earlier=earlier
    )  # fmt: skip
    return replace(kept, walls=_walls_that_matter(local.wall_mounts, kept))


def _cut(wanted: Box, covered: Box) -> Box:
    box = meeting(wanted, covered)
    if box[0] >= box[2] or box[1] >= box[3]:
        raise InputError(
            "nothing that the site file draws lies on the survey",
            "site.toml: ground.file",
            "check [site] crs and [ground] crs, or name a survey that covers the site",
        )
    return box


def _same_treatments(treatments: tuple[Treatment, ...], before: Surveyed) -> bool:
    return len(treatments) == len(before.treatments) and all(
        new.take_as == old.take_as and np.array_equal(new.outline, old.outline)
        for new, old in zip(treatments, before.treatments, strict=True)
    )


def _walls_that_matter(walls: tuple[WallMount, ...], surveyed: Surveyed) -> tuple[WallMount, ...]:
    """The mounts near to anything that the survey shows: what is open beneath its roofs hangs on them."""
    assert surveyed.read is not None
    solids = surveyed.read.solids
    corners = solids.vertices[solids.triangles][:, :, :2]
    low, high = corners.min(axis=1), corners.max(axis=1)

    def is_near(wall: WallMount) -> bool:
        away = _IN_BUILDING_M if wall.faces_deg is None else _NEAR_WALL_M
        at = np.array([wall.x, wall.y])
        return bool(((low - away <= at) & (at <= high + away)).all(axis=1).any())

    return tuple(wall for wall in walls if is_near(wall)) if len(corners) else ()


def same_relief(relief: Relief, before: Relief | None) -> Relief:
    """The relief of before where nothing of it changed: what was seen on it then is still true."""
    if before is None or relief is before:
        return relief
    new, old = relief.ground, before.ground
    is_same = (new.x0, new.y0, new.cell_m, new.z.shape) == (old.x0, old.y0, old.cell_m, old.z.shape)
    if is_same and np.array_equal(new.z, old.z, equal_nan=True) and np.array_equal(new.filled, old.filled):
        return before
    return relief


def as_before(terrain: Terrain, old: Terrain) -> Terrain:
    """The same holding the very values of before where they are no others: what was seen of them stays true.

    All of it is the old terrain where nothing changed.
    """
    kept: dict[str, Any] = {
        one.name: getattr(old, one.name)
        for one in fields(Terrain)
        if is_same(getattr(terrain, one.name), getattr(old, one.name))
    }
    return old if len(kept) == len(fields(Terrain)) else replace(terrain, **kept)


def is_same(new: Any, old: Any) -> bool:
    """Whether two values hold the same, arrays, values with arrays and rows of such included."""
    if new is old:
        return True
    if type(new) is not type(old):
        return False
    if isinstance(new, np.ndarray):
        is_number = new.dtype.kind == "f"
        return new.shape == old.shape and bool(np.array_equal(new, old, equal_nan=is_number))
    if isinstance(new, tuple):
        return len(new) == len(old) and all(is_same(a, b) for a, b in zip(new, old, strict=True))
    if is_dataclass(new):
        return all(is_same(getattr(new, one.name), getattr(old, one.name)) for one in fields(new))
    return bool(new == old or (new != new and old != old))
