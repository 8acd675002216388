"""What every page says of where it comes from: for whom, by whom, of which survey, in which coordinates."""

from terrain3d.lengths import given, lengths_name
from terrain3d.opened import OpenedSite
from terrain3d.readers.crs import read_crs
from terrain3d.survey.dates import days


def foot_words(site: OpenedSite) -> str:
    """The last line of a page, but for its number: what is known of it, and nothing made up.

    >>> import numpy as np
    >>> from terrain3d.opened import site_of
    >>> from terrain3d.terrain import terrain_from_heights
    >>> foot_words(site_of(terrain_from_heights(np.zeros((5, 5)), cell_m=1.0)))
    'ground drawn, not surveyed; local metres'
    """
    paper = site.file.paper
    told = [
        f"for {paper.client}" if paper.client else "",
        f"by {paper.by}" if paper.by else "",
        f"revision {paper.revision}" if paper.revision else "",
        _survey(site),
        _coordinates(site),
    ]
    return "; ".join(part for part in told if part)


def _survey(site: OpenedSite) -> str:
    """Which survey, of when, and how far its heights may be off."""
    source, terrain = site.file.ground.file, site.terrain
    if source is None:
        ground = site.file.ground
        if ground.shots:
            return "ground taken by tape, compass and level"
        return "ground drawn, not surveyed" if ground.points is None else "ground from spot levels"
    name = source if isinstance(source, str) else f"{source[0]} and {len(source) - 1} more"
    told = [f"survey {name}"]
    if terrain.dated is not None:
        told.append(f"{'measured' if terrain.dated.is_flown else 'written'} {days(terrain.dated)}")
    if terrain.error_m is not None:
        told.append(f"heights within {given(terrain.error_m)} (RMSE)")
    return ", ".join(told)


def corner_words(site: OpenedSite, x: float, y: float) -> str:
    """A place in the coordinates of the site file; empty where they are those of the axes.

    Parameters
    ----------
    site : OpenedSite
    x, y : float
        Local metres.
    """
    name, frame = site.file.site.crs, site.terrain.frame
    if name is None or not frame.is_georeferenced:
        return ""
    crs = read_crs(name, "[site] crs")
    east, north = (float(value) for value in frame.from_local(x, y, crs))
    digits = 6 if crs.is_geographic else 1
    return f"E {east:.{digits}f}, N {north:.{digits}f}"


def _coordinates(site: OpenedSite) -> str:
    """The CRS of the site file, and where the metres of the axes begin."""
    origin = site.terrain.frame.origin_lonlat
    if origin is None:
        return f"local {lengths_name()}"
    east, north = origin
    place = f"{abs(north):.6f}° {'N' if north >= 0 else 'S'} {abs(east):.6f}° {'E' if east >= 0 else 'W'}"
    named = site.file.site.crs or "the survey's CRS"
    return f"site file in {named}, axes in {lengths_name()} from {place}, heights as surveyed"


def page_words(number: int, count: int) -> str:
    """Which of all pages one is; of one alone nothing.

    >>> page_words(3, 15), page_words(1, 1)
    ('page 3 of 15', '')
    """
    return f"page {number} of {count}" if count > 1 else ""
