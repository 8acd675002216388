"""A survey of one file or of tiles that meet: found, their headers joined, read as if they were one.

Tiles are cut from one whole, so nothing may show where they meet: points on a common edge that two tiles
hold are taken once, and elevation grids are put together cell upon cell before anything is worked out.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from terrain3d.errors import InputError
from terrain3d.outside import listed
from terrain3d.readers.crs import crs_words, metres_per_unit, unit_words
from terrain3d.readers.source import (
    Box,
    Cloud,
    Gathered,
    Header,
    Marks,
    NothingThereError,
    Progress,
    Raster,
    Surface,
    likely_points,
)
from terrain3d.readers.surveys import EXTENSIONS, pass_points, pass_tops, read_survey
from terrain3d.readers.surveys import read_headers as headers_of
from terrain3d.site import GroundSource
from terrain3d.terrain import Dated
from terrain3d.units import Floats
from terrain3d.wording import counted, plain
from terrain3d.wording import listed as in_a_row

#: More tiles than this are a country, not a site.
MOST_TILES = 10_000
#: Points of two tiles that differ by less are one point, metres: files count in steps of a millimetre or
#: more, each from an origin of its own.
_SAME_M = 1e-5
#: Cells of two grids lie upon each other where they are off by less than this share of a cell.
_ALIGNED = 0.01
#: Heights of one cell in two tiles may differ by so much before it is told, metres.
_SAME_HEIGHT_M = 0.01
#: More cells than this are too many to put together: as for one grid.
_MOST_CELLS = 100_000_000
#: Text beside tiles is as a rule about them; in a folder it is taken for points where there is nothing else.
_NOTES = (".txt",)
_WILD = frozenset("*?[")
_KINDS = {"cloud": "points", "raster": "a grid", "mesh": "a mesh"}
#: Odd numbers that spread coordinates over 64 bits (the golden ratio's, and those of splitmix64).
_MIX = tuple(np.uint64(odd) for odd in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB))

Keys = NDArray[np.uint64]


@dataclass(frozen=True, eq=False)
class Survey:
    """The files of one survey, and what is known before their points are read.

    Parameters
    ----------
    named : str
        The file or the folder, for messages.
    paths : tuple of Path
    headers : tuple of Header
        One a file; all of one kind, one CRS and one unit of height.
    header : Header
        Of the whole.
    """

    named: str
    paths: tuple[Path, ...]
    headers: tuple[Header, ...]
    header: Header


def found_files(given: str | Sequence[str], folder: Path = Path()) -> tuple[Path, ...]:
    """The files that `[ground] file` names: a file, a folder, a pattern of names, or a list of these.

    Parameters
    ----------
    given : str or sequence of str
        Of a pattern only the last part may hold `*`, `?` and `[...]`: it is looked for in one folder.
    folder : Path
        Where relative names start from.

    Returns
    -------
    tuple of Path
        Each once, those of a folder and of a pattern by name.

    Raises
    ------
    InputError
        Where a folder or a pattern holds no survey, or there are more than `MOST_TILES`.
    """
    names = (given,) if isinstance(given, str) else tuple(given)
    found = tuple(dict.fromkeys(path for name in names for path in _one_name(name, folder)))
    if len(found) > MOST_TILES:
        raise InputError(
            f"it names {len(found)} files, and at most {MOST_TILES} are joined",
            _named(names, folder),
            "name the tiles around the site alone",
        )
    return found


def _one_name(name: str, folder: Path) -> tuple[Path, ...]:
    path = folder / name
    if path.is_dir():
        there = [each for each in listed(path) if each.suffix.lower() in EXTENSIONS]
        tiles = [each for each in there if each.suffix.lower() not in _NOTES] or there
        if not tiles:
            raise InputError(
                "no survey lies in this folder", str(path), f"name one that holds {', '.join(EXTENSIONS)}"
            )
        return tuple(tiles)
    # A name that is there as it is written is no pattern.
    if not _WILD & set(name) or path.exists():
        return (path,)
    if _WILD & set(str(Path(name).parent)):
        raise InputError(
            "a pattern stands for files of one folder, and here the folder is a pattern too",
            str(path),
            'put the * into the last part alone, such as "tiles/*.laz", or give a list of folders',
        )
    fit = listed(path.parent, path.name)
    if not fit:
        raise InputError("no file fits this pattern", str(path), "check the folder and the pattern")
    return fit


def _named(names: Sequence[str], folder: Path) -> str:
    return str(folder / names[0]) if len(names) == 1 else in_a_row([str(folder / name) for name in names])


def read_headers(
    given: str | Sequence[str], ground: GroundSource, folder: Path = Path(), told: Progress | None = None
) -> Survey:
    """What is known of a survey, of one file or of tiles, before its points are read.

    Parameters
    ----------
    given : str or sequence of str
        As `found_files` takes it.
    ground : GroundSource
        Its `crs` and `vertical_unit` go before what the files say.
    folder : Path
    told : callable, optional
        Told the share of the files that is looked at.

    Raises
    ------
    InputError
        As `read_header`; where tiles are of several kinds, in several CRSs or units of height.
    """
    paths = found_files(given, folder)
    headers = headers_of(paths, ground, told)
    names = (given,) if isinstance(given, str) else tuple(given)
    named = _named(names, folder)
    if len(paths) == 1:
        return Survey(str(paths[0]), paths, headers, headers[0])
    _refuse_unlike(paths, headers, named)
    return Survey(named, paths, headers, _joined(paths, headers))


def _refuse_unlike(paths: tuple[Path, ...], headers: Sequence[Header], named: str) -> None:
    first = headers[0]
    for path, header in zip(paths[1:], headers[1:], strict=True):
        two = f"{paths[0].name} and {path.name}"
        if header.kind != first.kind:
            raise InputError(
                f"its tiles are of several kinds: {paths[0].name} is {_KINDS[first.kind]}, {path.name} is "
                f"{_KINDS[header.kind]}",
                named,
                'name the files of one kind, such as file = "tiles/*.laz"',
            )
        if not _same_crs(first, header):
            raise InputError(
                f"its tiles are not in one CRS: {paths[0].name} is in {_crs_words(first)}, {path.name} in "
                f"{_crs_words(header)}",
                named,
                "turn them into one CRS; where a file says a wrong one or none, [ground] crs says it for all",
            )
        if abs(header.vertical_unit_m / first.vertical_unit_m - 1) > 1e-7:
            raise InputError(
                f"its tiles do not count heights in one unit: of {two} the first is in "
                f"{unit_words(first.vertical_unit_m)}, the second in {unit_words(header.vertical_unit_m)}",
                named,
                "export them alike; where a file says none or a wrong one, [ground] vertical_unit says it",
            )


def _same_crs(one: Header, other: Header) -> bool:
    if one.crs is None or other.crs is None:
        return one.crs is other.crs
    return one.crs == other.crs or one.crs.equals(other.crs, ignore_axis_order=True)


def _crs_words(header: Header) -> str:
    return "no CRS that it names" if header.crs is None else crs_words(header.crs)


def _joined(paths: tuple[Path, ...], headers: Sequence[Header]) -> Header:
    first = headers[0]
    forms = list(dict.fromkeys(header.form for header in headers))
    return replace(
        first,
        bounds=reduce(_around, (header.bounds for header in headers)),
        n_points=sum(header.n_points for header in headers),
        doubts=_told_once(paths, [header.doubts for header in headers]),
        form=f"{counted(len(paths), 'tile')}: {in_a_row(forms)}",
        dated=_dated([header.dated for header in headers]),
        **_stated(headers),
    )


def _stated(headers: Sequence[Header]) -> dict[str, Any]:
    """The largest error that a tile states, where all state one."""
    largest = max(headers, key=lambda header: header.error_m or 0.0)
    if any(header.error_m is None for header in headers):
        return {"error_m": None, "error_from": ""}
    return {"error_m": largest.error_m, "error_from": largest.error_from}


def _dated(dates: Sequence[Dated | None]) -> Dated | None:
    """From the first day to the last where all files say it; what says less counts for all."""
    known = [each for each in dates if each is not None]
    if not known or len(known) < len(dates):
        return None
    weakest = next((each for each in known if not each.is_flown), known[0])
    return replace(weakest, first=min(d.first for d in known), last=max(d.last for d in known))


def _told_once(paths: Sequence[Path], doubts: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """Each doubt once, with the tiles that it is about where it is not about all."""
    about: dict[str, list[str]] = {}
    for path, told in zip(paths, doubts, strict=True):
        for doubt in told:
            about.setdefault(doubt, []).append(path.name)
    return tuple(
        doubt if len(names) == len(paths) else f"of {in_a_row(names)}: {doubt}"
        for doubt, names in about.items()
    )


def read_tiles(survey: Survey, box: Box | None, progress: Progress | None = None) -> Cloud | Raster | Surface:
    """Read the part of a survey inside a box; of tiles only those that it meets.

    Parameters
    ----------
    survey : Survey
    box : (west, south, east, north) or None
        In the units of the survey's CRS; None reads all of it.
    progress : callable, optional
        Told the share of the work that is done.

    Raises
    ------
    InputError
        As `read_survey`; where grids do not lie upon each other.
    """
    if len(survey.paths) == 1:
        return read_survey(survey.paths[0], survey.header, box, progress)
    # A cell more than the box is read of a grid, and bounds may be a rounding off.
    met = _Met(survey, None if box is None else _grown(box, _spare(survey)), progress)
    if survey.header.kind == "cloud":
        gathered = Gathered(sum(likely_points(path, header, box) for path, header in met.tiles))
        doubts = _pass_tiles(met, box, gathered.take, coloured=True)
        return gathered.cloud(survey.header.crs, doubts)
    parts: list[Any] = []
    for path, header, tell in met:
        try:
            parts.append(read_survey(path, header, box, tell))
        except NothingThereError as error:
            met.found_empty(error)
            continue
        met.read(path, parts[-1].doubts)
    met.refuse_nothing()
    if survey.header.kind == "raster":
        return _mosaic(met, parts)
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    first: Surface = parts[0]
    return replace(
        first,
        vertices=np.vstack([part.vertices for part in parts]),
        triangles=np.vstack([part.triangles + start for part, start in zip(parts, starts[:-1], strict=True)]),
        doubts=met.doubts(),
    )


def pass_tiles(
    survey: Survey,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
    marks: Marks | None = None,
) -> tuple[str, ...]:
    """Hand on all points of a survey of the kind 'cloud', chunk by chunk, keeping none; see `pass_points`.

    Returns
    -------
    tuple of str
        The doubts of the whole.
    """
    if len(survey.paths) == 1:
        return pass_points(survey.paths[0], survey.header, take, progress, None, marks)
    return _pass_tiles(_Met(survey, None, progress), None, take, marks)


def pass_tile_tops(survey: Survey, box: Box, wide: int, take: Callable[[Cloud], None]) -> None:
    """Hand on a survey of the kind 'raster' as points; see `pass_tops`."""
    for path, header in zip(survey.paths, survey.headers, strict=True):
        if _meet(header.bounds, box):
            pass_tops(path, header, box, wide, take)


def _pass_tiles(
    met: "_Met",
    box: Box | None,
    take: Callable[[Cloud], None],
    marks: Marks | None = None,
    coloured: bool = False,
) -> tuple[str, ...]:
    once = _Once(met.survey.header, {path: header.bounds for path, header in met.tiles})
    for path, header, tell in met:
        try:
            met.read(path, pass_points(path, header, once.of(path, take), tell, box, marks, coloured))
        except NothingThereError as error:
            met.found_empty(error)
        once.close()
    met.refuse_nothing()
    doubts = met.doubts()
    if once.n_doubled:
        verb = "is" if once.n_doubled == 1 else "are"
        doubts += (
            f"{counted(once.n_doubled, 'point')} {verb} in two tiles, where these "
            "overlap or meet: each is counted once",
        )
    return doubts


class _Met:
    """The tiles that a box meets, one after the other, and what those tell that have something there."""

    def __init__(self, survey: Survey, box: Box | None, progress: Progress | None) -> None:
        self.survey = survey
        self.tiles = [
            (path, header)
            for path, header in zip(survey.paths, survey.headers, strict=True)
            if box is None or _meet(header.bounds, box)
        ]
        self._progress = progress
        self.paths: list[Path] = []
        self._doubts: list[tuple[str, ...]] = []
        self._empty: NothingThereError | None = None

    def __iter__(self) -> Iterator[tuple[Path, Header, Progress]]:
        whole, done = sum(header.n_points for _, header in self.tiles) or 1, 0
        for path, header in self.tiles:
            yield path, header, self._part(done / whole, header.n_points / whole)
            done += header.n_points

    def _part(self, start: float, share: float) -> Progress:
        def tell(done: float) -> None:
            if self._progress is not None:
                self._progress(start + share * done)

        return tell

    def read(self, path: Path, doubts: tuple[str, ...]) -> None:
        """Note that a tile was read."""
        self.paths.append(path)
        self._doubts.append(doubts)

    def found_empty(self, error: NothingThereError) -> None:
        """Note that a tile has nothing where its bounds meet the box."""
        self._empty = self._empty or error

    def refuse_nothing(self) -> None:
        """One message where no tile has anything."""
        if not self.paths:
            raise NothingThereError(
                f"none of its {len(self.survey.paths)} tiles has anything to read where the site lies",
                self.survey.named,
                "name a survey that covers the site, or check [site] crs and [ground] crs",
            ) from self._empty

    def doubts(self) -> tuple[str, ...]:
        """Those of the headers, and what came to light in the tiles that were read."""
        known = {doubt for header in self.survey.headers for doubt in header.doubts}
        new = [tuple(doubt for doubt in told if doubt not in known) for told in self._doubts]
        return self.survey.header.doubts + _told_once(self.paths, new)


class _Once:
    """Takes points that several tiles hold from the first of them alone.

    Only what lies where the bounds of tiles meet is looked at: of those points a number of 64 bits is kept.
    Points that one tile holds twice stay two.
    """

    def __init__(self, whole: Header, bounds: dict[Path, Box]) -> None:
        self._to_come = bounds.copy()
        west, south, _, north = whole.bounds
        self._origin = (west, south)
        ux, uy = metres_per_unit(whole.crs, (south + north) / 2)
        self._steps = (_SAME_M / ux, _SAME_M / uy, _SAME_M)
        self._done: list[Box] = []
        self._seen: Keys = np.empty(0, np.uint64)
        self._own: list[Keys] = []
        self.n_doubled = 0

    def of(self, path: Path, take: Callable[[Cloud], None]) -> Callable[[Cloud], None]:
        """What takes the points of a tile and hands on those that no tile before had."""
        bounds = self._to_come.pop(path)
        # An edge in common is a rounding wide.
        wide = 4 * self._steps[0]
        before, after = (
            [_grown(box, wide) for box in boxes if _meet(_grown(box, wide), bounds)]
            for boxes in (self._done, self._to_come.values())
        )
        self._done.append(bounds)
        if not before and not after:
            return take

        def taken(cloud: Cloud) -> None:
            x, y = cloud.xyz[:, 0], cloud.xyz[:, 1]
            shared = np.flatnonzero(_in_any(before + after, x, y))
            if len(shared):
                keys = self._keys(cloud, shared)
                self._own.append(keys[_in_any(after, x[shared], y[shared])])
                place = np.minimum(np.searchsorted(self._seen, keys), max(len(self._seen) - 1, 0))
                doubled = shared[self._seen[place] == keys] if len(self._seen) else shared[:0]
                self.n_doubled += len(doubled)
                if len(doubled):
                    cloud = _without(cloud, doubled)
            if len(cloud.xyz):
                take(cloud)

        return taken

    def close(self) -> None:
        """A tile is done: its points are known to the next ones."""
        if self._own:
            self._seen = np.unique(np.concatenate([self._seen, *self._own]))
            self._own = []

    def _keys(self, cloud: Cloud, which: NDArray[np.intp]) -> Keys:
        """A number for each point; two that differ share one in one of 10^19 cases."""
        keys = (cloud.classes[which].astype(np.uint64) << np.uint64(8)) | cloud.return_number[which]
        for axis, origin in enumerate((*self._origin, 0.0)):
            steps = np.rint((cloud.xyz[which, axis] - origin) / self._steps[axis]).astype(np.int64)
            keys = (keys ^ steps.view(np.uint64)) * _MIX[axis]
            keys ^= keys >> np.uint64(29)
        return keys


def _without(cloud: Cloud, dropped: NDArray[np.intp]) -> Cloud:
    kept = np.ones(len(cloud.xyz), bool)
    kept[dropped] = False
    columns = np.ascontiguousarray(cloud.xyz[kept].T)
    return replace(
        cloud,
        xyz=columns.T,
        classes=cloud.classes[kept],
        return_number=cloud.return_number[kept],
        n_returns=cloud.n_returns[kept],
        rgb=None if cloud.rgb is None else cloud.rgb[kept],
    )


def _mosaic(met: _Met, parts: list[Raster]) -> Raster:
    """Grids put together cell upon cell; where two know a cell the first one's height counts."""
    first = parts[0].transform
    to_cell = ~first
    corners = []
    for path, part in zip(met.paths, parts, strict=True):
        column, row = to_cell @ (part.transform.c, part.transform.f)
        at = (round(row), round(column))
        skew = np.abs(np.array((to_cell @ part.transform)[:6]) - (1, 0, column, 0, 1, row))
        if max(abs(column - at[1]), abs(row - at[0])) > _ALIGNED or skew.max() * max(part.z.shape) > _ALIGNED:
            raise InputError(
                f"the cells of {path.name}, {_size(part)} wide, do not lie upon those of "
                f"{met.paths[0].name}, {_size(parts[0])} wide",
                met.survey.named,
                "export the tiles on one grid, or put them together first",
            )
        corners.append(at)
    low = np.min(corners, axis=0)
    high = np.max([np.add(at, part.z.shape) for at, part in zip(corners, parts, strict=True)], axis=0)
    if np.prod((high - low).astype(float)) > _MOST_CELLS:
        raise InputError(
            f"{high[1] - low[1]} x {high[0] - low[0]} cells are too many to read at once (at most "
            f"{_MOST_CELLS})",
            met.survey.named,
            "name the tiles around the site alone",
        )
    z = np.full(tuple(high - low), np.nan)
    n_differ = 0
    for at in corners:
        part = parts.pop(0)
        there = z[tuple(slice(n, n + size) for n, size in zip(at - low, part.z.shape, strict=True))]
        with np.errstate(invalid="ignore"):
            n_differ += int(np.count_nonzero(np.abs(there - part.z) > _SAME_HEIGHT_M))
        np.copyto(there, part.z, where=np.isnan(there))
    doubts = met.doubts()
    if n_differ:
        doubts += (
            f"{n_differ} cells lie in two tiles with heights that differ by more than {_SAME_HEIGHT_M:g} m: "
            "those of the tile named first are taken",
        )
    return Raster(z, first @ Affine.translation(int(low[1]), int(low[0])), met.survey.header.crs, doubts)


def _size(raster: Raster) -> str:
    return plain(float(np.sqrt(abs(raster.transform.determinant))))


def _spare(survey: Survey) -> float:
    """Two cells of a grid, in the units of its CRS; 0 for what has no cells."""
    if survey.header.kind != "raster":
        return 0.0
    # A cell of the coarsest tile, were its cells square.
    return 2 * max(
        float(np.sqrt((b[2] - b[0]) * (b[3] - b[1]) / header.n_points))
        for header, b in ((header, header.bounds) for header in survey.headers)
    )


def _in_any(boxes: Sequence[Box], x: Floats, y: Floats) -> NDArray[np.bool_]:
    inside = np.zeros(len(x), bool)
    for west, south, east, north in boxes:
        inside |= (x >= west) & (x <= east) & (y >= south) & (y <= north)
    return inside


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _around(box: Box, other: Box) -> Box:
    return min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]), max(box[3], other[3])


def _meet(box: Box, other: Box) -> bool:
    return box[0] <= other[2] and other[0] <= box[2] and box[1] <= other[3] and other[1] <= box[3]
