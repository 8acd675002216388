"""A site that is being drawn: opened once, judged again after every change, without reading its survey."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pyproj

from terrain3d.cover.option import without_units
from terrain3d.detector.types import DetectorType, builtin_names, load_type
from terrain3d.errors import InputError
from terrain3d.job import Outcome, judge
from terrain3d.opened import OpenedSite, Progress, open_again
from terrain3d.readers.source import Box
from terrain3d.readers.tiles import found_files
from terrain3d.ready import Ready, option_types
from terrain3d.sentences.drawing import axes_of, far_words
from terrain3d.show.shapes import filled_heights
from terrain3d.sight.carried import KeptLooks
from terrain3d.site import FileRef, Site
from terrain3d.survey.kept import Surveyed
from terrain3d.terrain import Ground, Terrain
from terrain3d.units import Floats

#: Panoramas that are kept: a few units at every height of a slider, on the site and under scenarios.
MOST_LOOKS = 64
#: Of a survey of which nobody has said yet which part is meant, so many cells at most.
MOST_CELLS = 1_000_000
#: Around the mounts of a site that was begun without any, so much more ground than units reach, metres.
SPARE_M = 40.0


@dataclass(frozen=True, eq=False)
class LiveSite:
    """A site as it is drawn now.

    Parameters
    ----------
    ready : Ready
        Its file, checked.
    outcome : Outcome
        Its options judged; where there is none, one without a name and without units.
    surveyed : Surveyed
        What was read for it.
    looks : KeptLooks
        What its units saw.
    filled : Ground
        Its ground without gaps, to draw on.
    spare_m : float
        Ground that is read farther around mounts than units reach: none where the file had mounts at first.
    stamps, drawn_stamps : mapping of Path to Stamp or None
        Of the files of its survey, and of those that draw its things, when they were read, as `stamps_of`
        gives them.
    """

    ready: Ready
    outcome: Outcome
    surveyed: Surveyed
    looks: KeptLooks
    filled: Ground
    spare_m: float = 0.0
    stamps: "Stamps" = field(default_factory=dict)
    drawn_stamps: "Stamps" = field(default_factory=dict)

    @property
    def site(self) -> OpenedSite:
        return self.outcome.site

    @property
    def terrain(self) -> Terrain:
        return self.outcome.terrain

    @property
    def site_crs(self) -> pyproj.CRS | None:
        """Of the coordinates of its file."""
        return self.surveyed.source.site_crs

    @property
    def is_in_degrees(self) -> bool:
        """Whether they are longitude and latitude."""
        return self.site_crs is not None and self.site_crs.is_geographic

    @property
    def has_options(self) -> bool:
        return bool(self.ready.site.option)

    def to_local(self, points: Floats) -> Floats:
        """(n, 3) local metres of (n, 2) points as the file has them, on the ground."""
        x, y = self.terrain.frame.to_local(points[:, 0], points[:, 1], self.site_crs)
        return self.on_ground(np.column_stack([x, y]))

    def placed(self, points: Floats) -> Floats:
        """The same of points that a person types, near the site's ground or not at all.

        Raises
        ------
        InputError
            Where the CRS cannot hold a point, or it lies a kilometre and more from the ground.
        """
        local = self.to_local(points)
        west, south, east, north = self._ground_box()
        inside = np.clip(local[:, :2], (west, south), (east, north))
        away_m = np.hypot(*(local[:, :2] - inside).T)
        k = int(np.argmax(away_m))
        if away_m[k] > FAR_TYPED_M:
            is_survey = self.surveyed.source.survey is not None
            raise InputError(
                far_words(points[k].tolist(), self.site_crs, float(away_m[k]), is_survey),
                mend=f"check its digits; {' comes before '.join(axes_of(self.site_crs))}",
            )
        return local

    def _ground_box(self) -> Box:
        """West, south, east and north of all ground there is, read or not, local metres."""
        survey = self.surveyed.source.survey
        if survey is None:
            return self.terrain.ground.bounds
        west, south, east, north = survey.header.bounds
        x, y = self.terrain.frame.to_local(
            [west, east, east, west], [south, south, north, north], survey.header.crs
        )
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    def on_ground(self, points: Floats) -> Floats:
        """(n, 3) of (n, 2) local points: with the height of the ground, that of its edge past it."""
        ground = self.filled
        ny, nx = ground.z.shape
        x = np.clip(points[:, 0], ground.x0, ground.x0 + (nx - 1) * ground.cell_m)
        y = np.clip(points[:, 1], ground.y0, ground.y0 + (ny - 1) * ground.cell_m)
        return np.column_stack([points[:, :2], ground.height_at(x, y)])

    def to_file(self, points: Floats) -> Floats:
        """(n, 2) points as the file has them, of local ones."""
        x, y = self.terrain.frame.from_local(points[:, 0], points[:, 1], self.site_crs)
        return np.column_stack([x, y])

    def with_outcome(self, outcome: Outcome) -> "LiveSite":
        """The same with its units set otherwise."""
        return replace(self, outcome=outcome)

    @property
    def changed_survey(self) -> tuple[Path, ...]:
        """Files of its survey that were changed, added or taken away since they were read."""
        return _changed(self.stamps, _survey_files(self.ready))

    @property
    def changed_layers(self) -> tuple[Path, ...]:
        """Files that draw its things, and say something else since they were read."""
        return _changed(self.drawn_stamps)

    def kept(self) -> "LiveSite":
        """The same, with what was read of its files taken for what they say now."""
        stamps = stamps_of({*self.stamps, *_survey_files(self.ready)})
        return replace(self, stamps=stamps, drawn_stamps=stamps_of(self.drawn_stamps))


#: What is typed farther than this from all ground was not meant (common practice, no source), metres.
FAR_TYPED_M = 1000.0
#: What stands beside a shapefile and says what its shapes are.
_BESIDE = (".dbf", ".prj", ".cpg")
#: When a file was written, nanoseconds, and how long it is, bytes.
Stamp = tuple[int, int]
#: Of files; None for one that is not there.
Stamps = Mapping[Path, Stamp | None]


def stamp_of(path: Path) -> Stamp | None:
    """When a file was written last, and how long it is: another stamp is another file."""
    with suppress(OSError):
        found = path.stat()
        return found.st_mtime_ns, found.st_size
    return None


def stamps_of(paths: Iterable[Path]) -> Stamps:
    """The stamp of each file."""
    return {path: stamp_of(path) for path in paths}


def _changed(stamps: Stamps, found: Iterable[Path] = ()) -> tuple[Path, ...]:
    """Files that are not as their stamps have them; those that are found without a stamp are new."""
    paths = dict.fromkeys((*stamps, *found))
    return tuple(path for path, stamp in stamps_of(paths).items() if stamps.get(path) != stamp)


def _drawing_files(ready: Ready) -> tuple[Path, ...]:
    """The files whose shapes a site file takes for its own, with what lies beside them."""
    tables = (getattr(ready.site, key) for key in _STANDS)
    entries = (entry for table in tables if isinstance(table, tuple | list) for entry in table)
    named = [ready.folder / entry.file for entry in entries if isinstance(entry, FileRef)]
    beside = [path.with_suffix(end) for path in named if path.suffix.lower() == ".shp" for end in _BESIDE]
    return tuple(dict.fromkeys((*named, *beside)))


def _survey_files(ready: Ready) -> tuple[Path, ...]:
    """The files that [ground] names; of what cannot be found, whoever reads it tells."""
    ground, files = ready.site.ground, list[Path]()
    for named in (ground.file, ground.surface, ground.terrain):
        with suppress(InputError):
            files += found_files(named, ready.folder) if named is not None else ()
    return (*files, ready.folder / ground.photo) if ground.photo is not None else tuple(files)


def live_site(ready: Ready, before: LiveSite | None = None, progress: Progress | None = None) -> LiveSite:
    """Open a site to be drawn, or put what was drawn otherwise to what was read before.

    Parameters
    ----------
    ready : Ready
    before : LiveSite, optional
        The same site as it was drawn before: its frame stays, its survey is not read again, and what units
        saw counts as long as nothing near them changed.
    progress : callable, optional

    Raises
    ------
    InputError
        When a thing that is drawn cannot stand on the ground, or the survey cannot be used.
    """
    types = _types(ready)
    read = None if before is None else before.surveyed
    is_read = before is not None and before.surveyed.is_of(ready.site, ready.folder)
    # Looked at before they are read: what is written meanwhile is another file.
    stamps = before.stamps if before is not None and is_read else stamps_of(_survey_files(ready))
    spare_m = before.spare_m if before is not None else 0.0 if ready.shapes.mount else SPARE_M
    drawn_stamps = stamps_of(_drawing_files(ready))
    if before is not None and _only_options_differ(ready, before, types):
        drawn_stamps = before.drawn_stamps
        site, surveyed = replace(before.site, file=ready.site, types=types), before.surveyed
    else:
        site, surveyed = open_again(ready, types, read, progress, most_cells=MOST_CELLS, spare_m=spare_m)
        if before is not None and before.terrain is site.terrain:
            site = _with_scenarios_of(site, before.site)
    looks = KeptLooks(MOST_LOOKS) if before is None else before.looks
    if ready.site.option:
        outcome = judge(site, progress, looks, None if before is None else before.outcome)
    else:
        outcome = Outcome(site, (without_units(site.terrain),), ())
    ground = site.terrain.ground
    if before is not None and before.terrain.ground is ground:
        filled = before.filled
    else:
        filled = Ground(ground.x0, ground.y0, ground.cell_m, filled_heights(ground))
    return LiveSite(ready, outcome, surveyed, looks, filled, spare_m, stamps, drawn_stamps)


def _only_options_differ(ready: Ready, before: LiveSite, types: Mapping[str, DetectorType]) -> bool:
    """Whether nothing but units is set otherwise, of types that look no farther than ground was read for."""
    if any(getattr(ready.site, key) != getattr(before.ready.site, key) for key in _STANDS if key != "option"):
        return False
    if ready.shapes != before.ready.shapes:  # drawn in other files, which may say something else by now
        return False
    reach = [max(kind.reach_m for kind in some.values()) for some in (types, before.site.types)]
    return reach[0] <= reach[1] and bool(ready.site.option) == before.has_options


def _with_scenarios_of(site: OpenedSite, before: OpenedSite) -> OpenedSite:
    """The same with the changed terrains of before, where they are changed alike."""
    if site.file.scenario != before.file.scenario:
        return site
    return replace(site, scenarios=before.scenarios)


#: All tables of a site file.
_STANDS = tuple(Site.model_fields)


def _types(ready: Ready) -> Mapping[str, DetectorType]:
    """The types of the options, or those that are built in: ground is read as far as they reach."""
    if ready.site.option:
        return option_types(ready)
    return {name: load_type(name) for name in builtin_names()}
