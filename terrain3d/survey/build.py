"""Site file and survey to `Terrain`: everything in one local frame, and what a person should doubt."""

from dataclasses import dataclass, fields, is_dataclass, replace
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.frame import Frame, site_frame
from terrain3d.readers.crs import crs_words, horizontal, read_crs
from terrain3d.readers.source import Box, Cloud, Header, Progress, Raster
from terrain3d.readers.tiles import Survey, read_headers, read_tiles
from terrain3d.site import Site
from terrain3d.survey.boxes import box_around, grown, holds, joined, meeting, turned_box
from terrain3d.survey.buildings import WallMount
from terrain3d.survey.classes import GROUND, STANDS_ABOVE_M, Treatment
from terrain3d.survey.colours import crs_of_photo, of_photo, of_returns
from terrain3d.survey.dates import dated_of
from terrain3d.survey.far import far_surface
from terrain3d.survey.footing import (
    check_on_ground,
    check_on_survey,
    ground_doubts,
    off_ground,
    under_mounts,
)
from terrain3d.survey.ground_points import ground_points
from terrain3d.survey.lattice import MAX_NODES, Lattice, Relief, lattice_over, n_cells
from terrain3d.survey.leaf_field import Profiles
from terrain3d.survey.leaves import foliage
from terrain3d.survey.overlaid import check_over, read_land_headers, read_surface_headers, returns_of
from terrain3d.survey.placing import Drawn, Placed, drawn, middle, placed
from terrain3d.survey.sheets import from_mesh, from_raster
from terrain3d.survey.shots import shot_levels
from terrain3d.survey.solids import block, named_alike, wall
from terrain3d.survey.standing import standing
from terrain3d.survey.surface import ground_returns, plane, spot_levels, surveyed
from terrain3d.survey.whereabouts import check_whereabouts
from terrain3d.terrain import Colours, Ground, Mark, Returns, Solids, Terrain
from terrain3d.units import Floats

#: Ground beyond the reach of a unit, and around what is to be held, that is worked on as well.
_AROUND_M = 3.0
#: Drawn things farther than this from every mount widen nothing that is read.
MOST_AROUND_M = 100.0
#: A survey is read this much beyond the grid and the widest gap bridged, so that the edge of the grid is
#: as sure as its middle.
_BEYOND_M = 2.0
#: Of heights above ground, what lies within this of the land is land.
_ON_LAND_M = 0.05
#: Share of the work that looking at headers is, and of the rest that reading the survey is, for progress.
_LOOKING, _READING = 0.05, 0.6


@dataclass(frozen=True, eq=False)
class _Read:
    """The ground, what stands on it, and doubts; of a cloud the colours and the number of its returns too."""

    relief: Relief
    solids: Solids
    profiles: Profiles | None
    doubts: tuple[str, ...]
    colours: Colours | None = None
    returns: Returns | None = None


def build_terrain(
    site: Site, folder: Path, reach_m: float, progress: Progress | None = None, around_m: float | None = None
) -> Terrain:
    """Everything a site file names, in local metres.

    Parameters
    ----------
    site : Site
    folder : Path
        Of the site file; names of files are relative to it.
    reach_m : float
        How far the units reach: ground this far around each mount is read.
    progress : callable, optional
        Told the share of the work that is done.
    around_m : float, optional
        Ground this far around protected areas, walks and ways in is read too: the reach of a unit, where
        mounts are still to be found.

    Raises
    ------
    InputError
        Where a file cannot be read, a shape cannot be used, or a mount stands on no known ground.

    Examples
    --------
    >>> from terrain3d.site import Site
    >>> site = Site.model_validate({
    ...     "site": {"name": "slope"}, "ground": {"plane": {"fall": 10, "towards": 90, "extent": 40}},
    ...     "mount": [{"name": "pole", "at": (3.0, 0.0)}]})
    >>> terrain = build_terrain(site, Path(), 12.0)
    >>> terrain.ground.height_at([3.0], [0.0]), terrain.ground.z.shape
    (array([-0.3]), (160, 160))
    """
    return build_surveyed(site, folder, reach_m, progress, around_m)[0]


def build_surveyed(
    site: Site,
    folder: Path,
    reach_m: float,
    progress: Progress | None = None,
    around_m: float | None = None,
    before: "Surveyed | None" = None,
    most_cells: int | None = None,
) -> tuple[Terrain, "Surveyed"]:
    """The same, with what was read of the survey, so that drawn things can be put to it again.

    Parameters
    ----------
    site : Site
    folder : Path
    reach_m : float
    progress : callable, optional
    around_m : float, optional
    before : Surveyed, optional
        Of the same site as it was drawn before: its frame stays, and nothing is read again but where ground
        is asked for that was not read, or where [ground] says something else.
    most_cells : int, optional
        Where nothing says which part of a survey is meant, its cells are made so much larger than the site
        file has them that there are no more than these.

    Raises
    ------
    InputError
        As `build_terrain`.

    Examples
    --------
    >>> from terrain3d.site import Site
    >>> tables = {"site": {"name": "slope"}, "ground": {"plane": {"fall": 10, "towards": 90, "extent": 40}},
    ...           "mount": [{"name": "pole", "at": (3.0, 0.0)}]}
    >>> first, read = build_surveyed(Site.model_validate(tables), Path(), 12.0)
    >>> tables["solid"] = [{"name": "w", "path": [[0, 5], [4, 5]], "height": 1.0, "thickness": 0.2}]
    >>> second, _ = build_surveyed(Site.model_validate(tables), Path(), 12.0, before=read)
    >>> second.ground is first.ground, second.solids.names
    (True, ('w',))
    """
    tell = progress or (lambda _fraction: None)
    if before is not None and before.is_of(site, folder):
        source = replace(before.source, site=site)
        shapes = drawn(site, folder, source.site_crs)
        header = None if source.survey is None else source.survey.header
        check_whereabouts(shapes, site, header, source.site_crs)
    else:
        survey, site_crs, doubts = _settled(site, folder, lambda share: tell(_LOOKING * share))
        header = None if survey is None else survey.header
        shapes = drawn(site, folder, site_crs)
        check_whereabouts(shapes, site, header, site_crs)
        frame = _frame(site, shapes, header, site_crs) if before is None else before.source.frame
        source = _source(site, folder, survey, site_crs, frame, doubts)
        before = None
    local = placed(shapes, source.frame)
    if header is not None:
        check_on_survey(local, shapes, source.frame, header)
    wanted = _wanted(local, reach_m, _AROUND_M if around_m is None else around_m)
    if most_cells is not None and wanted is None and header is not None:
        source = _coarser(source, header, most_cells)
    return _terrain(
        source, shapes, local, wanted, lambda share: tell(_LOOKING + (1 - _LOOKING) * share), before
    )


def build_surroundings(
    site: Site,
    folder: Path,
    near: Terrain,
    look_m: float,
    to_the_sky: bool = False,
    progress: Progress | None = None,
) -> Terrain:
    """The same site with the ground that is looked at past the reach of the units.

    Parameters
    ----------
    site : Site
    folder : Path
    near : Terrain
        From `build_terrain` of the same site.
    look_m : float
        How far the upper layers are followed: the survey is read this far around each mount as it was
        read for the verdicts, and farther where the boundary, ground of others, nuisance things, walls and
        hedges are drawn, up to `MOST_AROUND_M` from the mounts.
    to_the_sky : bool
        Whether to read the rest of the survey too, as `Terrain.far`.
    progress : callable, optional

    Returns
    -------
    Terrain
        In the frame of `near`, with a ground whose cells line up with its cells and that holds them all;
        `near` itself where no more is known. Its doubts are those of what is looked at here alone.

    Raises
    ------
    InputError
        Where the survey cannot be read.
    """
    tell = progress or (lambda _fraction: None)
    survey, site_crs, _ = _settled(site, folder)
    if survey is None:
        return replace(near, doubts=())
    header = survey.header
    source = _source(site, folder, survey, site_crs, near.frame, ())
    shapes = drawn(site, folder, site_crs)
    local = placed(shapes, near.frame)
    covered = turned_box(header.bounds, near.frame, header.crs, to_local=True)
    mounts = box_around([np.array([[mount.x, mount.y]]) for mount in near.mounts])
    looked = grown(mounts, look_m + _AROUND_M)
    outlines = [*_outlines(near), *(points for _, points in local.solids)]
    outlines += [prism.outline for prism in local.prisms]
    drawn_at = grown(box_around([np.array(mounts).reshape(2, 2), *outlines]), _AROUND_M)
    drawn_at = meeting(drawn_at, grown(mounts, MOST_AROUND_M))
    wide, wanted = near, joined(near.ground.bounds, joined(looked, drawn_at))
    if n_cells(meeting(wanted, covered), site.site.cell) > MAX_NODES:
        wanted = joined(near.ground.bounds, looked)
    if not holds(near.ground.bounds, meeting(wanted, covered)):
        wide, _ = _terrain(source, shapes, local, wanted, lambda share: tell(share / 2))
        wide = replace(wide, solids=named_alike(wide.solids, near.solids))
    doubts = off_ground(wide.ground, shapes, local, "what is looked at around the site")
    far: tuple[Ground, ...] = ()
    if to_the_sky:
        far = far_surface(
            source.surface or source.land or survey, near.frame, wide.ground.bounds, mounts, covered, look_m,
            lambda share: tell((1 + share) / 2),
        )  # fmt: skip
    return replace(wide, doubts=doubts, far=far)


def _terrain(
    source: "_Source",
    shapes: Drawn,
    local: Placed,
    wanted: Box | None,
    progress: Progress | None,
    before: "Surveyed | None" = None,
) -> tuple[Terrain, "Surveyed"]:
    """The ground within a box with all that stands on it, and what was read for it."""
    tell = progress or (lambda _fraction: None)
    site, frame, doubts = source.site, source.frame, source.doubts
    surveyed = _surveyed(source, local, wanted, lambda share: tell(_READING * share), before)
    if surveyed.read is None:
        relief, more = _drawn_ground(site, frame, source.site_crs, local)
        read = _Read(relief, Solids.none(), None, ())
        if local.treatments:
            more += ("[[treat]] outlines are left aside: drawn ground has nothing standing on it",)
    else:
        read = surveyed.read
        relief, more = read.relief, read.doubts
    tell(0.9)
    if source.survey is not None:
        relief, hidden = under_mounts(relief, local.mounts)
        more += hidden
    relief = _same_relief(relief, surveyed.relief)
    check_on_ground(local, shapes, relief, site)
    doubts += more + ground_doubts(relief) + off_ground(relief.ground, shapes, local)
    dated, of_date = dated_of(site, None if source.survey is None else source.survey.header.dated)
    doubts += of_date
    error_m, error_from = _stated_error(site, source.survey)
    colours = read.colours
    if site.ground.photo is not None:
        if surveyed.photo is None or surveyed.relief is not relief:
            photo = of_photo(source.folder / site.ground.photo, source.photo_crs, frame, relief.ground)
            surveyed = replace(surveyed, photo=photo)
        assert surveyed.photo is not None
        colours, of_them = surveyed.photo
        doubts += of_them
    terrain = Terrain(
        frame,
        relief.ground,
        _drawn_solids(local, relief).joined(read.solids),
        foliage(relief, local.prisms, read.profiles),
        local.mounts,
        local.protect,
        tuple(dict.fromkeys(doubts)),
        relief.spacing_m,
        local.walks,
        local.approaches,
        local.nuisances,
        local.beyond,
        local.boundary,
        marks=_on_ground(local.marks, relief.ground),
        dated=dated,
        error_m=error_m,
        error_from=error_from,
        colours=colours,
        sections=local.sections,
        returns=read.returns,
    )
    tell(1.0)
    if surveyed.terrain is not None:
        terrain = _as_before(terrain, surveyed.terrain)
    return terrain, replace(surveyed, relief=relief, terrain=terrain)


def _as_before(terrain: Terrain, old: Terrain) -> Terrain:
    """The same holding the very values of before where they are no others: what was seen of them stays true.

    All of it is the old terrain where nothing changed.
    """
    kept: dict[str, Any] = {
        one.name: getattr(old, one.name)
        for one in fields(Terrain)
        if _is_same(getattr(terrain, one.name), getattr(old, one.name))
    }
    return old if len(kept) == len(fields(Terrain)) else replace(terrain, **kept)


def _is_same(new: Any, old: Any) -> bool:
    """Whether two values hold the same, arrays, values with arrays and rows of such included."""
    if new is old:
        return True
    if type(new) is not type(old):
        return False
    if isinstance(new, np.ndarray):
        is_number = new.dtype.kind == "f"
        return new.shape == old.shape and bool(np.array_equal(new, old, equal_nan=is_number))
    if isinstance(new, tuple):
        return len(new) == len(old) and all(_is_same(a, b) for a, b in zip(new, old, strict=True))
    if is_dataclass(new):
        return all(_is_same(getattr(new, one.name), getattr(old, one.name)) for one in fields(new))
    return bool(new == old or (new != new and old != old))


def _coarser(source: "_Source", header: Header, most_cells: int) -> "_Source":
    """The same with cells so large that few enough of them cover the whole survey."""
    covered = turned_box(header.bounds, source.frame, header.crs, to_local=True)
    cell = source.site.site.cell
    while n_cells(covered, cell) > most_cells:
        cell *= 2
    if cell == source.site.site.cell:
        return source
    head = source.site.site.model_copy(update={"cell": cell})
    return replace(source, site=source.site.model_copy(update={"site": head}))


#: A mount farther than this from all that a survey shows standing changes none of it, metres: one whose wall
#: is said to face some way, and one that may yet be in a building.
_NEAR_WALL_M, _IN_BUILDING_M = 22.0, 3.0


@dataclass(frozen=True, eq=False)
class Surveyed:
    """What was read for a site, so that drawn things can be put to it again; from `build_surveyed`.

    Parameters
    ----------
    source : _Source
    box : Box or None
        Of the ground that was read, metres; None where it is drawn.
    tiles : tuple
        The survey as it was read, and beside it the surface or the land.
    treatments, walls : tuple
        Drawn things that say how returns are taken, and mounts on or near what stands.
    read : _Read or None
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

    source: "_Source"
    box: Box | None = None
    tiles: tuple[Any, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    walls: tuple[WallMount, ...] = ()
    read: _Read | None = None
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


def _same_relief(relief: Relief, before: Relief | None) -> Relief:
    """The relief of before where nothing of it changed: what was seen on it then is still true."""
    if before is None or relief is before:
        return relief
    new, old = relief.ground, before.ground
    is_same = (new.x0, new.y0, new.cell_m, new.z.shape) == (old.x0, old.y0, old.cell_m, old.z.shape)
    if is_same and np.array_equal(new.z, old.z, equal_nan=True) and np.array_equal(new.filled, old.filled):
        return before
    return relief


def _surveyed(
    source: "_Source", local: Placed, wanted: Box | None, progress: Progress, before: Surveyed | None
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
            return _surveyed(source, local, wanted, progress, earlier)
        if holds(before.box, work):
            work, tiles = before.box, before.tiles
            walls = _walls_that_matter(local.wall_mounts, before)
            if before.read is not None and _same_treatments(treatments, before) and walls == before.walls:
                return replace(before, source=source)
        else:
            earlier, work = earlier or before, joined(before.box, work)
    tiles = tiles or _read_around(source, of, work, progress)
    read = _surveyed_ground(source, of, local, work, tiles)
    kept = Surveyed(
        source, work, tiles, treatments, (), read, relief, terrain=terrain, earlier=earlier
    )  # fmt: skip
    return replace(kept, walls=_walls_that_matter(local.wall_mounts, kept))


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


@dataclass(frozen=True)
class _Source:
    """Where the ground comes from, and what is doubtful before any of it is read."""

    site: Site
    folder: Path
    survey: Survey | None
    surface: Survey | None
    land: Survey | None
    photo_crs: pyproj.CRS | None
    site_crs: pyproj.CRS | None
    frame: Frame
    doubts: tuple[str, ...]


def _source(
    site: Site,
    folder: Path,
    survey: Survey | None,
    site_crs: pyproj.CRS | None,
    frame: Frame,
    doubts: tuple[str, ...],
) -> _Source:
    """Look at the first bytes of what else [ground] names: its faults are told before a survey is read."""
    surface = None if survey is None else read_surface_headers(site.ground, survey, folder)
    land = None if survey is None else read_land_headers(site.ground, survey, folder)
    photo_crs = None
    if site.ground.photo is not None:
        home = site_crs if survey is None else survey.header.crs
        photo_crs, of_it = crs_of_photo(folder / site.ground.photo, home, frame)
        doubts += of_it
    return _Source(site, folder, survey, surface, land, photo_crs, site_crs, frame, doubts)


def crs_of_site(site: Site, folder: Path) -> pyproj.CRS | None:
    """The CRS that the coordinates of a site file are in; None where they are local metres."""
    return _settled(site, folder)[1]


def _settled(
    site: Site, folder: Path, told: Progress | None = None
) -> tuple[Survey | None, pyproj.CRS | None, tuple[str, ...]]:
    """The survey's headers, the CRS of the site's coordinates, and a doubt where one lends it the other."""
    named = site.site.crs
    site_crs = None if named is None else horizontal(read_crs(named, "site.toml: site.crs"))
    if site.ground.file is None:
        return None, site_crs, ()
    survey = read_headers(site.ground.file, site.ground, folder, told)
    header = survey.header
    if header.crs is None and site_crs is not None and site.ground.crs is None:
        if site_crs.is_geographic:
            raise InputError(
                f"the survey names no CRS, and that of the site file, {crs_words(site_crs)}, cannot be its "
                "own",
                survey.named,
                'name the CRS of its coordinates, such as [ground] crs = "EPSG:32631"',
            )
        survey = read_headers(site.ground.file, site.ground.model_copy(update={"crs": named}), folder)
        doubt = f"the survey names no CRS: that of the site file, {crs_words(site_crs)}, is taken for it too"
        return survey, site_crs, (doubt, *survey.header.doubts)
    if header.crs is not None and site_crs is None:
        doubt = (
            f"[site] names no crs: its coordinates are taken to be in the survey's, {crs_words(header.crs)}; "
            "say so with [site] crs"
        )
        return survey, header.crs, (doubt, *header.doubts)
    return survey, site_crs, header.doubts


def _frame(site: Site, shapes: Drawn, header: Header | None, site_crs: pyproj.CRS | None) -> Frame:
    """Centred on the shapes, on the survey's datum."""
    home = site_crs if header is None else header.crs
    if home is None and site.ground.plane is not None:
        return site_frame(None, 0.0, 0.0)
    centre = middle(shapes, home)
    if centre is None and header is not None:
        west, south, east, north = header.bounds
        centre = ((west + east) / 2, (south + north) / 2)
    if centre is None and site.ground.points is not None:
        x, y, _ = np.array(site.ground.points, float).T
        centre = (float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2)
    if centre is None:
        raise InputError(
            "nothing says where the site lies", "site.toml", "draw a [[mount]] or a [[protect]] outline"
        )
    return site_frame(home, *centre)


def _drawn_ground(
    site: Site, frame: Frame, site_crs: pyproj.CRS | None, local: Placed
) -> tuple[Relief, tuple[str, ...]]:
    cell = site.site.cell
    doubts: tuple[str, ...] = ()
    if site.ground.shots is not None:
        levels, doubts = shot_levels(site.ground.shots, local.mounts, local.marks)
        # Shots fan out from what is shot from, which then lies at the edge of the ground they span.
        x, y, z = levels.T
        return under_mounts(spot_levels(x, y, z, cell, "shots"), local.mounts)[0], doubts
    if site.ground.points is not None:
        x, y, z = np.array(site.ground.points, float).T
        return spot_levels(*frame.to_local(x, y, site_crs), z, cell), ()
    drawn_plane = site.ground.plane
    assert drawn_plane is not None  # the site file holds exactly one source of ground
    relief = plane(drawn_plane.fall, drawn_plane.towards, drawn_plane.extent, cell)
    west, _, east, _ = relief.ground.bounds
    if abs(east - west - drawn_plane.extent) > 1e-6:
        doubts += (
            f"an extent of {drawn_plane.extent:g} m holds no whole number of cells of {cell:g} m: "
            f"the ground is {east - west:g} m wide",
        )
    if frame.is_georeferenced:
        doubts += ("the drawn plane lies about the middle of the site's shapes, z = 0 there",)
    return relief, doubts


def _read_around(source: _Source, of: Survey, work: Box, progress: Progress) -> tuple[Any, ...]:
    """The survey around a box, and the surface or the land beside it."""
    around = _around(source.site, work)
    read = [read_tiles(of, turned_box(around, source.frame, of.header.crs, to_local=False), progress)]
    for beside in (source.surface, source.land):
        if beside is not None:
            box = turned_box(around, source.frame, beside.header.crs, to_local=False)
            read.append(read_tiles(beside, box))
    return tuple(read)


def _around(site: Site, work: Box) -> Box:
    return grown(work, site.ground.hole_limit + _BEYOND_M + 3 * site.site.cell)


def _surveyed_ground(source: _Source, of: Survey, local: Placed, work: Box, tiles: tuple[Any, ...]) -> _Read:
    """Turn what was read into ground and what stands on it."""
    site, frame, header = source.site, source.frame, of.header
    lattice = lattice_over(work, site.site.cell)
    limit = site.ground.hole_limit
    survey = tiles[0]
    if isinstance(survey, Raster):
        doubts = (
            *survey.doubts,
            "the grid is taken as bare ground: one with roofs and crowns in it would mislead",
        )
        if source.surface is not None:
            relief = from_raster(survey, frame, lattice, limit)
            other = source.surface.header.crs
            if other is not None and header.crs is not None and other != header.crs:
                doubts += (
                    f"the surface is in {crs_words(other)}, the ground in "
                    f"{crs_words(header.crs)}: both are turned into the site's own metres",
                )
            solids, profiles, more = _between(
                source.surface, tiles[1], frame, local, relief, site.ground.eaves
            )
            return _Read(relief, solids, profiles, doubts + more)
        if local.treatments:
            doubts += ("[[treat]] outlines are left aside: a grid has nothing standing on it",)
        return _Read(from_raster(survey, frame, lattice, limit), Solids.none(), None, doubts)
    if isinstance(survey, Cloud):
        if source.land is not None:
            land = tiles[-1]
            assert isinstance(land, Raster)
            return _from_heights(survey, land, frame, local, lattice, limit, site.ground.eaves)
        return _from_cloud(survey, frame, local, lattice, limit, site.ground.eaves)
    x, y = frame.to_local(survey.vertices[:, 0], survey.vertices[:, 1], survey.crs)
    vertices = np.column_stack([x, y, survey.vertices[:, 2]])
    relief, standing, more = from_mesh(
        vertices, survey.triangles, lattice, limit, local.treatments, survey.is_ground
    )
    return _Read(relief, standing, None, survey.doubts + more)


def _from_cloud(
    cloud: Cloud, frame: Frame, local: Placed, lattice: Lattice, limit_m: float, eaves_m: float
) -> _Read:
    x, y = frame.to_local(cloud.xyz[:, 0], cloud.xyz[:, 1], cloud.crs)
    xyz = np.column_stack([x, y, cloud.xyz[:, 2]])
    ground, off, doubts = ground_points(xyz, cloud.classes, local.treatments)
    relief = surveyed(xyz[ground], lattice, limit_m)
    # Returns beyond the edge help what stands there to be as sure as in the middle.
    solids, profiles, more = standing(
        xyz[~off],
        cloud.classes[~off],
        cloud.n_returns[~off],
        ground[~off],
        relief,
        local.treatments,
        local.wall_mounts,
        eaves_m,
    )
    colours = None
    # Many a file has room for colours and none in it.
    if cloud.rgb is not None and cloud.rgb.any():
        colours = of_returns(xyz[ground], cloud.rgb[ground], lattice)
    assert relief.spacing_m is not None  # of points there always is one
    per_m2, square_m = ground_returns(xyz[ground], lattice, relief.spacing_m)
    returns = Returns(per_m2, square_m, profiles.guessed_cells)
    return _Read(relief, solids, profiles, cloud.doubts + doubts + more, colours, returns)


def _from_heights(
    cloud: Cloud, land: Raster, frame: Frame, local: Placed, lattice: Lattice, limit_m: float, eaves_m: float
) -> _Read:
    """Land from a grid, with what returns show above it: their heights are above the ground."""
    x, y = frame.to_local(cloud.xyz[:, 0], cloud.xyz[:, 1], cloud.crs)
    relief = from_raster(land, frame, lattice, limit_m)
    xyz = np.column_stack([x, y, cloud.xyz[:, 2] + relief.foot_at(x, y)])
    ground = np.isin(cloud.classes, GROUND) | (np.abs(cloud.xyz[:, 2]) <= _ON_LAND_M)
    solids, profiles, more = standing(
        xyz, cloud.classes, cloud.n_returns, ground, relief, local.treatments, local.wall_mounts, eaves_m
    )
    doubts = tuple(f"of the terrain: {doubt}" for doubt in land.doubts)
    return _Read(relief, solids, profiles, cloud.doubts + doubts + more)


def _between(
    of: Survey, raster: Raster, frame: Frame, local: Placed, relief: Relief, eaves_m: float
) -> tuple[Solids, Profiles, tuple[str, ...]]:
    """What stands between the ground and a grid of the highest things: each cell of it is one return."""
    assert isinstance(raster, Raster)
    xyz = returns_of(raster, frame, relief)
    doubts = tuple(f"of the surface: {doubt}" for doubt in raster.doubts)
    doubts += check_over(xyz, raster, frame, relief, of)
    ground = xyz[:, 2] - relief.foot_at(xyz[:, 0], xyz[:, 1]) <= STANDS_ABOVE_M
    none, one = np.zeros(len(xyz), np.uint8), np.ones(len(xyz), np.uint8)
    solids, profiles, more = standing(
        xyz, none, one, ground, relief, local.treatments, local.wall_mounts, eaves_m
    )
    doubts += (
        "what stands on the ground is what the surface has above it, one height a cell: of what is open "
        "beneath roofs and crowns nothing is known",
    )
    return solids, profiles, doubts + more


def _outlines(terrain: Terrain) -> list[Floats]:
    """Own land, ground of others and nuisance things."""
    outlines = [piece.outline for piece in terrain.beyond]
    outlines += [thing.outline for thing in terrain.nuisances]
    return outlines if terrain.boundary is None else [*outlines, terrain.boundary]


def _wanted(local: Placed, reach_m: float, around_m: float) -> Box | None:
    """The box around all that is looked at: mounts with their reach, areas to be held, walks and ways in."""
    mounts = [np.array([[mount.x, mount.y]]) for mount in local.mounts]
    others = [area.outline for area in local.protect]
    others += [walk.line for walk in local.walks] + [approach.line for approach in local.approaches]
    boxes = [grown(box_around(mounts), reach_m + _AROUND_M)] if mounts else []
    boxes += [grown(box_around(others), around_m)] if others else []
    return reduce(joined, boxes) if boxes else None


def _cut(wanted: Box, covered: Box) -> Box:
    box = meeting(wanted, covered)
    if box[0] >= box[2] or box[1] >= box[3]:
        raise InputError(
            "nothing that the site file draws lies on the survey",
            "site.toml: ground.file",
            "check [site] crs and [ground] crs, or name a survey that covers the site",
        )
    return box


def _stated_error(site: Site, survey: Survey | None) -> tuple[float | None, str]:
    """RMSE of the heights as the site file or else the survey states it, and which of them does."""
    if site.ground.error_m is not None:
        level = f", {site.ground.error}" if isinstance(site.ground.error, str) else ""
        return site.ground.error_m, f"[ground] error{level}"
    return (None, "") if survey is None else (survey.header.error_m, survey.header.error_from)


def _on_ground(marks: tuple[Mark, ...], ground: Ground) -> tuple[Mark, ...]:
    return tuple(replace(mark, ground_z=float(ground.height_at(mark.x, mark.y))) for mark in marks)


def _drawn_solids(local: Placed, relief: Relief) -> Solids:
    solids = Solids.none()
    feet, cell = relief.foot_at, relief.ground.cell_m
    for shape, points in local.solids:
        if shape.path is None:
            mesh = block(points, shape.height, shape.base, feet, shape.name, cell)
        else:
            assert shape.thickness is not None  # the site file asks for it with path
            mesh = wall(points, shape.thickness, shape.height, shape.base, feet, shape.name, cell)
        if shape.microwave_db is not None:
            mesh = replace(mesh, microwave_db={0: shape.microwave_db})
        solids = solids.joined(mesh)
    return solids
