"""From a site file to proposed mounts: the order of steps."""

from dataclasses import dataclass
from pathlib import Path

import pyproj

from terrain3d.errors import InputError
from terrain3d.opened import OpenedSite, Progress, open_ready
from terrain3d.ready import Ready, in_file, ready_site, search_types
from terrain3d.search.mounts import Proposal, propose, type_heights
from terrain3d.survey.build import crs_of_site
from terrain3d.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Proposed:
    """The mounts proposed for a site, and what they were found on.

    `crs` is that of the site file's coordinates, None where those are local metres.
    """

    site: OpenedSite
    crs: pyproj.CRS | None
    every_m: float
    mounts: tuple[Proposal, ...]

    @property
    def terrain(self) -> Terrain:
        return self.site.terrain


def propose_for(path: Path, every_m: float, progress: Progress) -> Proposed:
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
    return propose_ready(ready_site(path), every_m, progress)


def propose_ready(ready: Ready, every_m: float, progress: Progress) -> Proposed:
    """Propose mounts for a site whose file is checked; as `propose_for`.

    Raises
    ------
    InputError
        As `propose_for`.
    """
    types = search_types(ready)
    try:
        crs = crs_of_site(ready.site, ready.folder)
    except InputError as error:
        raise in_file(error, ready.path) from error
    detector_types = list(types.values())
    reach_m = max(detector_type.reach_m for detector_type in detector_types)
    site = open_ready(ready, types, progress, around_m=reach_m)
    progress("looking for places", 0.0)
    steepest = site.file.routes.steepest
    mounts = propose(site.terrain, type_heights(detector_types), reach_m, every_m, steepest)
    return Proposed(site, crs, every_m, mounts)
