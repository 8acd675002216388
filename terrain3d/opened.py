"""A site opened, once: its file checked, its survey read. Everything after holds this value."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from terrain3d.detector.figures import Figure, figure_of
from terrain3d.detector.types import DetectorType
from terrain3d.errors import InputError
from terrain3d.ready import Ready, in_file, option_types, own_figures, ready_site, search_types
from terrain3d.site import GroundSource, Plane, Site, SiteHead, WalkTested
from terrain3d.supply.runs import Run, laid_runs
from terrain3d.survey.build import build_surroundings, build_surveyed, crs_of_site
from terrain3d.survey.kept import Surveyed
from terrain3d.survey.scenarios import Scenario, scenarios_of
from terrain3d.terrain import Terrain
from terrain3d.walk.indoor_tests import IndoorTests
from terrain3d.wording import in_brief

#: Told what is being done, and how far it is (0 to 1).
Progress = Callable[[str, float], None]


@dataclass(frozen=True, eq=False)
class OpenedSite:
    """A site with all that its file names, from `open_site` or, of arrays alone, from `site_of`.

    Parameters
    ----------
    file : Site
        What its file says.
    terrain : Terrain
        Ground and all that stands on it, in local metres.
    figure : Figure
        Whom the verdicts are for.
    walker : Figure
        Who walks the open routes.
    types : mapping of str to DetectorType
        By the names the file gives them: those of its options, or those that its search may use.
    path : Path or None
        Of its file; None where there is none.
    tests : IndoorTests or None
        The file's own copy of the borrowed walk tests.
    scenarios : tuple of Scenario
        The site changed as the file says, in its order.
    runs : tuple of Run
        The cables of its supply, in the file's order.
    """

    file: Site
    terrain: Terrain
    figure: Figure
    walker: Figure
    types: Mapping[str, DetectorType] = field(default_factory=dict)
    path: Path | None = None
    tests: IndoorTests | None = None
    scenarios: tuple[Scenario, ...] = ()
    runs: tuple[Run, ...] = ()

    def __repr__(self) -> str:
        return in_brief(self, repr(self.name), f"figure {self.figure.name!r}", repr(self.terrain))

    @property
    def name(self) -> str:
        return self.file.site.name

    @property
    def own_figures(self) -> tuple[Figure, ...]:
        """The figures that the file brings."""
        return own_figures(self.file)

    def walk_tested(self, option: str) -> WalkTested | None:
        """The walk test that an option has had, as the file tells it."""
        return next((one for one in self.file.walk_tested if one.name == option), None)


def open_site(path: Path | str, progress: Progress | None = None) -> OpenedSite:
    """Read a site file and all that it names, for its options or, where it has none, for a search.

    Parameters
    ----------
    path : Path or str
    progress : callable, optional
        Told what is being done, and how far it is.

    Raises
    ------
    InputError
        When the file, the survey, a type or anything else it names cannot be used.
    """
    ready = ready_site(Path(path))
    return open_ready(ready, option_types(ready) if ready.site.option else search_types(ready), progress)


def open_ready(
    ready: Ready,
    types: Mapping[str, DetectorType],
    progress: Progress | None = None,
    around_m: float | None = None,
) -> OpenedSite:
    """Read the survey of a site whose file is checked, as far as units of some types reach.

    Parameters
    ----------
    ready : Ready
    types : mapping of str to DetectorType
        At least one.
    progress : callable, optional
    around_m : float, optional
        Ground so far around protected areas, walks and ways in is read too: where mounts are still to be
        found.

    Raises
    ------
    InputError
        When the survey cannot be used.
    """
    return open_again(ready, types, None, progress, around_m)[0]


def open_again(
    ready: Ready,
    types: Mapping[str, DetectorType],
    before: Surveyed | None = None,
    progress: Progress | None = None,
    around_m: float | None = None,
    most_cells: int | None = None,
    spare_m: float = 0.0,
) -> tuple[OpenedSite, Surveyed]:
    """The same, with what was read of the survey: a site that is drawn anew is put to it without reading it.

    Parameters
    ----------
    ready : Ready
    types : mapping of str to DetectorType
        At least one.
    before : Surveyed, optional
        Of the same site as it was drawn before; its frame stays.
    progress : callable, optional
    around_m : float, optional
    most_cells : int, optional
        As `survey.build.build_surveyed` has them.
    spare_m : float
        Ground so much farther around mounts is read than units reach, for more to be drawn on.

    Raises
    ------
    InputError
        When the survey cannot be used, or a drawn thing cannot stand on it.
    """
    reach_m = max(detector_type.reach_m for detector_type in types.values()) + spare_m

    def told(share: float) -> None:
        if progress is not None:
            progress("reading the survey", share)

    try:
        terrain, read = build_surveyed(ready.site, ready.folder, reach_m, told, around_m, before, most_cells)
        scenarios = scenarios_of(terrain, ready.site.scenario)
        runs: tuple[Run, ...] = ()
        if ready.site.supply is not None:
            runs = laid_runs(ready.site.supply, terrain, crs_of_site(ready.site, ready.folder))
    except InputError as error:
        raise in_file(error, ready.path) from error
    site = OpenedSite(
        ready.site, terrain, ready.figure, ready.walker, types, ready.path, ready.tests, scenarios, runs
    )
    return site, read


def site_of(terrain: Terrain, name: str = "site", figure: str | Figure = "person") -> OpenedSite:
    """A site of a terrain alone, without a file: everything else as an empty site file has it.

    Parameters
    ----------
    terrain : Terrain
    name : str
    figure : str or Figure
        A name of the package's figures, or one of your own.

    Raises
    ------
    InputError
        When nobody knows the figure, or its height is none.

    Examples
    --------
    >>> from terrain3d.terrain import terrain_from_heights
    >>> site_of(terrain_from_heights([[0.0, 0.5], [0.0, 0.5]], cell_m=1.0), figure="dog").figure.height_m
    0.6
    """
    # An empty file has to say what its ground is; the terrain is what there is here.
    file = Site(site=SiteHead(name=name), ground=GroundSource(plane=Plane(fall=0, towards=0, extent=1)))
    whom = figure_of(figure)
    return OpenedSite(file, terrain, whom, whom)


def surroundings_of(
    site: OpenedSite, look_m: float, to_the_sky: bool = False, progress: Progress | None = None
) -> Terrain:
    """The ground around a site as far as its survey shows it; `survey.build.build_surroundings` says how.

    Raises
    ------
    InputError
        When the survey cannot be read.
    """
    if site.path is None:
        return site.terrain

    def told(share: float) -> None:
        if progress is not None:
            progress("reading the ground around", share)

    try:
        return build_surroundings(site.file, site.path.parent, site.terrain, look_m, to_the_sky, told)
    except InputError as error:
        raise in_file(error, site.path) from error
