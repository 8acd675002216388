"""XYZ and CSV text: one point a line, with or without a line of names."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import TextIOWrapper
from itertools import islice
from pathlib import Path
from typing import TextIO

import numpy as np

from terrain3d.errors import InputError
from terrain3d.outside import opened
from terrain3d.readers.crs import Said, settle
from terrain3d.readers.source import Box, Cloud, Header, NothingThereError, Progress
from terrain3d.site import GroundSource
from terrain3d.units import Floats
from terrain3d.wording import box_words

#: Lines parsed at a time.
CHUNK = 250_000
#: Column names, in lower case and without units in brackets (common practice, no source).
NAMES = {
    "x": ("x", "easting", "east", "e", "lon", "long", "longitude"),
    "y": ("y", "northing", "north", "n", "lat", "latitude"),
    "z": ("z", "elevation", "elev", "height", "h", "alt", "altitude", "level"),
    "class": ("class", "classification", "cls", "c"),
}
_LINE_OF_NAMES_NEEDED = "put a line of names on top, such as: x y z class"


@dataclass(frozen=True)
class _Layout:
    """How the lines are built: separator (None for blanks), decimal comma, lines on top, columns."""

    separator: str | None
    decimal_comma: bool
    n_top: int
    columns: tuple[int, ...]
    named: bool
    in_degrees: bool
    extra: int

    @property
    def has_class(self) -> bool:
        return len(self.columns) == 4


def text_header(path: Path, ground: GroundSource) -> Header:
    """Bounds and count of a text file, which means reading it through once."""
    layout = _layout(path)
    low, high, n_points = np.full(2, np.inf), np.full(2, -np.inf), 0
    for _, rows in _rows(path, layout):
        low, high = np.minimum(low, rows[:, :2].min(axis=0)), np.maximum(high, rows[:, :2].max(axis=0))
        n_points += len(rows)
    if n_points == 0:
        raise InputError("it holds no points", str(path), "name a survey with points")
    if layout.in_degrees and ground.crs is None:
        raise InputError(
            "its columns are longitude and latitude, but no CRS is named",
            str(path),
            'set [ground] crs, for instance "EPSG:4326" for WGS 84',
        )
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    settled = settle(Said(), ground, str(path), bounds, n_points)
    doubts = settled.doubts
    if layout.extra and not layout.named:
        doubts += (f"{layout.extra} columns after z have no name and are left out; {_LINE_OF_NAMES_NEEDED}",)
    return Header(
        kind="cloud",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=n_points,
        doubts=doubts,
        form="text, one point a line" + (", with names" if layout.named else ""),
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
    )


def read_text(path: Path, header: Header, box: Box | None, progress: Progress | None = None) -> Cloud:
    """Read the points inside a box, noise left out; see `read_las`."""
    kept: list[Cloud] = []
    pass_text(path, header, box, kept.append, progress)
    xyz = np.concatenate([cloud.xyz for cloud in kept])
    ones = np.ones(len(xyz), np.uint8)
    classes = np.concatenate([cloud.classes for cloud in kept])
    return Cloud(xyz, classes, ones, ones.copy(), header.crs, header.doubts)


def pass_text(
    path: Path,
    header: Header,
    box: Box | None,
    take: Callable[[Cloud], None],
    progress: Progress | None = None,
) -> None:
    """Hand on the points that `read_text` would read, chunk by chunk, keeping none; see `pass_las`."""
    layout = _layout(path)
    n_inside = n_kept = 0
    for done, rows in _rows(path, layout):
        if box is not None:
            inside = (rows[:, 0] >= box[0]) & (rows[:, 1] >= box[1])
            rows = rows[inside & (rows[:, 0] <= box[2]) & (rows[:, 1] <= box[3])]
        n_inside += len(rows)
        if layout.has_class:
            rows = rows[~np.isin(rows[:, 3], (7, 18))]
        n_kept += len(rows)
        if len(rows):
            xyz = np.ascontiguousarray(rows[:, :3])
            xyz[:, 2] *= header.vertical_unit_m
            ones = np.ones(len(rows), np.uint8)
            classes = rows[:, 3].astype(np.uint8) if layout.has_class else np.zeros(len(rows), np.uint8)
            take(Cloud(xyz, classes, ones, ones, header.crs))
        if progress is not None:
            progress(done)
    if n_kept == 0:
        what = (
            "all its points are noise (classes 7 and 18)"
            if n_inside
            else f"no point of it lies in {box_words(box or header.bounds)}"
        )
        raise NothingThereError(
            what,
            str(path),
            f"it covers {box_words(header.bounds)}: check [site] crs and [ground] crs, or name another",
        )


def _rows(path: Path, layout: _Layout) -> Iterator[tuple[float, Floats]]:
    """Share of the file that is done, and (n, 3 or 4) numbers, chunk by chunk."""
    size = max(1, path.stat().st_size)
    line_number, n_bytes = layout.n_top, 0
    with _opened(path) as stream:
        for _ in range(layout.n_top):
            n_bytes += len(stream.readline())
        while lines := list(islice(stream, CHUNK)):
            rows = _parsed(lines, layout, path, line_number)
            line_number += len(lines)
            n_bytes += sum(map(len, lines))
            if len(rows):
                yield min(1.0, n_bytes / size), rows


def _parsed(lines: list[str], layout: _Layout, path: Path, n_before: int) -> Floats:
    if not any(line.strip() and not line.startswith("#") for line in lines):
        return np.empty((0, len(layout.columns)))
    text = [line.replace(",", ".") for line in lines] if layout.decimal_comma else lines
    try:
        rows: Floats = np.loadtxt(
            text, float, delimiter=layout.separator, usecols=layout.columns, ndmin=2, comments="#"
        )
    except (ValueError, IndexError):
        raise _fault_at(text, layout, path, n_before) from None
    if not np.all(np.isfinite(rows)) or (layout.has_class and np.any((rows[:, 3] < 0) | (rows[:, 3] > 255))):
        raise _fault_at(text, layout, path, n_before)
    return rows


def _fault_at(lines: list[str], layout: _Layout, path: Path, n_before: int) -> InputError:
    """Name the first line that is no point."""
    for number, line in enumerate(lines, n_before + 1):
        body = line.split("#")[0].strip()
        if not body:
            continue
        fields = body.split(layout.separator)
        try:
            values = [float(fields[column]) for column in layout.columns]
        except (ValueError, IndexError):
            values = [np.nan]
        if not np.all(np.isfinite(values)) or (layout.has_class and not 0 <= values[3] <= 255):
            return InputError(
                f"{body[:60]!r} is no point: {len(layout.columns)} finite numbers are needed",
                f"{path}: line {number}",
                "mend or take out that line",
            )
    return InputError("it cannot be read as numbers", str(path), "one point a line: x y z")


def _opened(path: Path) -> TextIO:
    # Latin-1 takes any byte, and numbers read alike in it; a mark of byte order is no part of a name.
    return TextIOWrapper(opened(path), encoding="latin-1")


def _layout(path: Path) -> _Layout:
    """Find the separator, the columns and the lines on top from the first lines."""
    with _opened(path) as stream:
        first = [line.removeprefix("\xef\xbb\xbf").strip() for line in islice(stream, 200)]
    n_top = next((n for n, line in enumerate(first) if line and not line.startswith(("#", "//"))), None)
    if n_top is None:
        raise InputError("it holds no points", str(path), "name a survey with points")
    line = first[n_top]
    separator = ";" if ";" in line else "\t" if line.count("\t") >= 2 else None
    if separator is None and re.search(r",\s|,.*,", line):
        separator = ","
    fields = [field.strip() for field in line.split(separator)]
    named = not _is_number(fields[0].replace(",", "."))
    decimal_comma = separator != "," and any(
        "," in line for line in first[n_top + named :] if not line.startswith("#")
    )
    if not named:
        if len(fields) < 3:
            raise InputError(
                f"{line[:60]!r} has {len(fields)} numbers",
                f"{path}: line {n_top + 1}",
                "one point a line: x y z",
            )
        return _Layout(separator, decimal_comma, n_top, (0, 1, 2), False, False, len(fields) - 3)
    return _named_layout(path, fields, separator, decimal_comma, n_top + 1)


def _named_layout(
    path: Path, fields: list[str], separator: str | None, decimal_comma: bool, n_top: int
) -> _Layout:
    names = [re.sub(r"[\[(].*", "", field.strip("\"' ").lower()).strip(' "_') for field in fields]
    columns: list[int] = []
    for wanted, known in NAMES.items():
        found = [column for column, name in enumerate(names) if name in known]
        if not found and wanted != "class":
            raise InputError(
                f"its line of names {', '.join(names)[:80]!r} has no {wanted}",
                f"{path}: line {n_top}",
                f"name that column {' or '.join(known[:2])}",
            )
        columns += found[:1]
    in_degrees = names[columns[0]].startswith("lon") and names[columns[1]].startswith("lat")
    return _Layout(
        separator, decimal_comma, n_top, tuple(columns), True, in_degrees, len(fields) - len(columns)
    )


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
