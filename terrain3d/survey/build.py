"""Site file and survey to `Terrain`: everything in one local frame, and what a person should doubt."""

from dataclasses import replace
from functools import reduce
from pathlib import Path

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.frame import Frame, site_frame
from terrain3d.readers.crs import crs_words, horizontal, read_crs
from terrain3d.readers.source import Box, Header, Progress
from terrain3d.readers.tiles import Survey, read_headers
from terrain3d.site import Site
from terrain3d.survey.boxes import box_around, grown, holds, joined, meeting, turned_box
from terrain3d.survey.colours import crs_of_photo, of_photo
from terrain3d.survey.dates import dated_of
from terrain3d.survey.far import far_surface
from terrain3d.survey.footing import (
    check_on_ground,
    check_on_survey,
    ground_doubts,
    off_ground,
    under_mounts,
)
from terrain3d.survey.kept import Surveyed, as_before, kept_or_read, same_relief
from terrain3d.survey.lattice import MAX_NODES, Relief, n_cells
from terrain3d.survey.leaves import foliage
from terrain3d.survey.overlaid import read_land_headers, read_surface_headers
from terrain3d.survey.placing import Drawn, Placed, drawn, middle, placed
from terrain3d.survey.read_ground import Read, Source
from terrain3d.survey.shots import shot_levels
from terrain3d.survey.solids import block, named_alike, wall
from terrain3d.survey.surface import plane, spot_levels
from terrain3d.survey.whereabouts import check_whereabouts
from terrain3d.terrain import Ground, Mark, Solids, Terrain
from terrain3d.units import Floats

#: Ground beyond the reach of a unit, and around what is to be held, that is worked on as well.
_AROUND_M = 3.0
#: Drawn things farther than this from every mount widen nothing that is read.
MOST_AROUND_M = 100.0
#: Share of the work that looking at headers is, and of the rest that reading the survey is, for progress.
_LOOKING, _READING = 0.05, 0.6


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
    before: Surveyed | None = None,
    most_cells: int | None = None,
) -> tuple[Terrain, Surveyed]:
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
    source: Source,
    shapes: Drawn,
    local: Placed,
    wanted: Box | None,
    progress: Progress | None,
    before: Surveyed | None = None,
) -> tuple[Terrain, Surveyed]:
    """The ground within a box with all that stands on it, and what was read for it."""
    tell = progress or (lambda _fraction: None)
    site, frame, doubts = source.site, source.frame, source.doubts
    surveyed = kept_or_read(source, local, wanted, lambda share: tell(_READING * share), before)
    if surveyed.read is None:
        relief, more = _drawn_ground(site, frame, source.site_crs, local)
        read = Read(relief, Solids.none(), None, ())
        if local.treatments:
            more += ("[[treat]] outlines are left aside: drawn ground has nothing standing on it",)
    else:
        read = surveyed.read
        relief, more = read.relief, read.doubts
    tell(0.9)
    if source.survey is not None:
        relief, hidden = under_mounts(relief, local.mounts)
        more += hidden
    relief = same_relief(relief, surveyed.relief)
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
        terrain = as_before(terrain, surveyed.terrain)
    return terrain, replace(surveyed, relief=relief, terrain=terrain)


def _coarser(source: Source, header: Header, most_cells: int) -> Source:
    """The same with cells so large that few enough of them cover the whole survey."""
    covered = turned_box(header.bounds, source.frame, header.crs, to_local=True)
    cell = source.site.site.cell
    while n_cells(covered, cell) > most_cells:
        cell *= 2
    if cell == source.site.site.cell:
        return source
    head = source.site.site.model_copy(update={"cell": cell})
    return replace(source, site=source.site.model_copy(update={"site": head}))


def _source(
    site: Site,
    folder: Path,
    survey: Survey | None,
    site_crs: pyproj.CRS | None,
    frame: Frame,
    doubts: tuple[str, ...],
) -> Source:
    """Look at the first bytes of what else [ground] names: its faults are told before a survey is read."""
    surface = None if survey is None else read_surface_headers(site.ground, survey, folder)
    land = None if survey is None else read_land_headers(site.ground, survey, folder)
    photo_crs = None
    if site.ground.photo is not None:
        home = site_crs if survey is None else survey.header.crs
        photo_crs, of_it = crs_of_photo(folder / site.ground.photo, home, frame)
        doubts += of_it
    return Source(site, folder, survey, surface, land, photo_crs, site_crs, frame, doubts)


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
