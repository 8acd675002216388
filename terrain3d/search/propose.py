"""From a site file to proposed mounts: the order of steps."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pyproj

from terrain3d.detector.figures import Figure
from terrain3d.errors import InputError
from terrain3d.ready import in_file, ready_site, search_types
from terrain3d.search.mounts import Proposal, propose, type_heights
from terrain3d.survey.build import build_terrain, crs_of_site
from terrain3d.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Proposed:
    """The mounts proposed for a site, and what they were found on.

    `crs` is that of the site file's coordinates, None where those are local metres.
    """

    site_name: str
    terrain: Terrain
    figure: Figure
    crs: pyproj.CRS | None
    every_m: float
    mounts: tuple[Proposal, ...]


def propose_for(path: Path, every_m: float, progress: Callable[[str, float], None]) -> Proposed:
    """Read a site and propose mounts for the types that its search may use.

    Parameters
    ----------
    path : Path
        Of the site file.
    every_m : float
        Spacing along walls and boundaries.
    progress : callable
        Told what is being done, and how far it is (0 to 1).

    Raises
    ------
    InputError
        When the site file, the survey or a type cannot be used.
    """
    ready = ready_site(path)
    site, folder = ready.site, ready.folder
    detector_types = list(search_types(ready).values())
    reach_m = max(detector_type.max_range for detector_type in detector_types)
    try:
        crs = crs_of_site(site, folder)
        terrain = build_terrain(
            site, folder, reach_m, lambda share: progress("reading the survey", share), around_m=reach_m
        )
    except InputError as error:
        raise in_file(error, path) from error
    progress("looking for places", 0.0)
    mounts = propose(terrain, type_heights(detector_types), reach_m, every_m, site.routes.steepest)
    return Proposed(site.site.name, terrain, ready.figure, crs, every_m, mounts)
