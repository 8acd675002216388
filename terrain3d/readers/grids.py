"""GeoTIFF and ESRI ASCII elevation grids: the window of a box."""

import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj.exceptions import CRSError
from rasterio.enums import ColorInterp
from rasterio.errors import RasterioError
from rasterio.windows import Window

from terrain3d.errors import InputError
from terrain3d.outside import beside, content, opened
from terrain3d.readers.crs import Said, from_wkt, said_by, settle, unit_words
from terrain3d.readers.gdal import opened_raster, wkt_of_prj
from terrain3d.readers.source import USUAL_NO_DATA, Box, Cloud, Header, NothingThereError, Progress, Raster
from terrain3d.readers.stated import stated_error
from terrain3d.site import GroundSource
from terrain3d.terrain import Dated
from terrain3d.units import FOOT_M, US_SURVEY_FOOT_M, Floats
from terrain3d.wording import box_words, fit

#: More cells than this are refused: 0.8 GB as heights.
MOST_CELLS = 100_000_000
#: Rows read at a time hold about this many cells.
STRIP_CELLS = 4_000_000
#: All that numbers in text and what parts them are written with.
_OF_NUMBERS = b"0123456789+-.,eE \t\r\n"
#: World files and .prj files are a few hundred bytes long.
_MOST_BESIDE = 100_000
_WORLD_FILES = (".tfw", ".tifw", ".wld")
_FORMS = {"tif": "GeoTIFF", "asc": "ESRI ASCII grid"}
_DRIVERS = {"tif": "GTiff", "asc": "AAIGrid"}
_AGAIN = "copy or export the grid again: the file is damaged or was cut short"
#: Bytes that are unpacked together: so many always, never more than the last, and between them so many times
#: the file's own length (deflate packs 1032 to 1: RFC 1951 by its longest match, 258 bytes in two bits).
_SMALL_BLOCK, _MOST_PACKED, _MOST_BLOCK = 64 << 20, 1100, 1 << 30
#: How a band may spell its unit; GDAL writes the first of each.
_BAND_UNITS = {
    "metre": 1.0,
    "meter": 1.0,
    "metres": 1.0,
    "meters": 1.0,
    "m": 1.0,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "ft": FOOT_M,
    "us survey foot": US_SURVEY_FOOT_M,
    "us_survey_foot": US_SURVEY_FOOT_M,
    "foot_us": US_SURVEY_FOOT_M,
    "us-ft": US_SURVEY_FOOT_M,
    "ftus": US_SURVEY_FOOT_M,
}


def _check_claims(dataset: Any, path: Path, form: str) -> None:
    """Refuse a grid that claims what its file cannot hold, before anything makes room for it."""
    size = path.stat().st_size
    if form == "asc":
        # A cell is one letter and what parts it from the next, or ends the line.
        if 2 * dataset.width * dataset.height > size + 1:
            raise InputError(
                f"it claims {dataset.width} x {dataset.height} cells, and is {size} bytes long",
                str(path),
                _AGAIN,
            )
        return
    rows, columns = dataset.block_shapes[0]
    block = rows * columns * np.dtype(dataset.dtypes[0]).itemsize
    if dataset.interleaving is not None and dataset.interleaving.name == "pixel":
        block *= dataset.count
    if block > max(_SMALL_BLOCK, _MOST_PACKED * size) or block > _MOST_BLOCK:
        raise InputError(
            f"it keeps {rows} x {columns} cells packed in one piece, {block / 1e6:,.0f} MB that are unpacked"
            f" together, and is {size / 1e6:,.3f} MB long",
            str(path),
            "save it again in tiles, or copy it again: it may be damaged",
        )


def _refuse_words(path: Path) -> None:
    """Refuse words among the heights of an ASCII grid: GDAL takes each for a height of 0."""
    with opened(path) as stream:
        is_top = True
        for number, line in enumerate(stream, 1):
            if not line.translate(None, _OF_NUMBERS):
                is_top = False
                continue
            # Lines on top begin with the name of what they say.
            is_top = is_top and line.lstrip()[:1].isalpha()
            word = None if is_top else next((word for word in line.split() if not _is_height(word)), None)
            if word is not None:
                raise InputError(
                    f"{fit(word.decode('latin-1'), 40)!r} is no height",
                    f"{path}: line {number}",
                    "export the grid again; a cell without a height holds its NODATA_value",
                )


def _is_height(word: bytes) -> bool:
    try:
        float(word.replace(b",", b"."))
    except ValueError:
        return False
    return True


def grid_header(path: Path, ground: GroundSource, form: str) -> Header:
    """What a grid, 'tif' or 'asc', says before its cells are read."""
    if form == "asc":
        _refuse_words(path)
    with _opened(path, form) as (dataset, transform):
        width, height = dataset.width, dataset.height
        said = _said(dataset, path, form)
        rotated = not (transform.b == 0 and transform.d == 0)
        n_bands = dataset.count
        notes = {str(name): str(text) for name, text in dataset.tags().items()}
    error_m, error_from = stated_error("\n".join(notes.values()), "its tags")
    corners = [transform @ corner for corner in ((0, 0), (width, 0), (0, height), (width, height))]
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    bounds = (float(min(xs)), float(min(ys)), float(max(xs)), float(max(ys)))
    settled = settle(said, ground, str(path), bounds, width * height)
    doubts = settled.doubts
    mask = path.with_name(f"{path.name}.msk")
    if mask.is_file():
        doubts += (
            f"the mask beside it, {mask.name}, is not read: cells that it blanks out count as heights",
        )
    if n_bands > 1:
        doubts += (f"it has {n_bands} bands: the first is taken for heights",)
    return Header(
        kind="raster",
        crs=settled.crs,
        vertical_unit_m=settled.vertical_unit_m,
        bounds=bounds,
        n_points=width * height,
        doubts=doubts,
        form=f"{_FORMS[form]}, {width} x {height} cells" + (", rotated" if rotated else ""),
        crs_from=settled.crs_from,
        vertical_unit_from=settled.vertical_unit_from,
        dated=_written(notes.get("TIFFTAG_DATETIME", "")),
        error_m=error_m,
        error_from=error_from,
    )


def _written(text: str) -> Dated | None:
    """When a TIFF was written, as its tag has it: 2019:05:14 12:00:00 (TIFF 6.0, tag 306)."""
    found = re.match(r"\s*(\d{4})[:-](\d\d)[:-](\d\d)\b", text)
    try:
        day = date(*(int(part) for part in found.groups())) if found else None
    except ValueError:
        return None
    return (
        None
        if day is None or day.year < 1990
        else Dated(day, day, "its tag of date and time", is_flown=False)
    )


def read_grid(
    path: Path, header: Header, form: str, box: Box | None, progress: Progress | None = None
) -> Raster:
    """Read the window that holds a box, with a cell to spare on each side.

    Raises
    ------
    InputError
        Where the window is too large, off the grid, or without data.
    """
    with _opened(path, form) as (dataset, placed):
        window = _window(dataset, placed, box)
        if window is None:
            raise NothingThereError(
                f"it does not meet {box_words(box or header.bounds)}; it covers {box_words(header.bounds)}",
                str(path),
                "name a survey that covers the site, or check [site] crs and [ground] crs",
            )
        if window.width * window.height > MOST_CELLS:
            raise InputError(
                f"{window.width} x {window.height} cells are too many to read at once (at most {MOST_CELLS})",
                str(path),
                "clip the grid to the site first",
            )
        z = np.empty((window.height, window.width))
        n_guessed = 0
        rows = max(1, STRIP_CELLS // window.width)
        for top in range(0, window.height, rows):
            strip = z[top : top + rows]
            part = Window(window.col_off, window.row_off + top, window.width, len(strip))
            n_guessed += _read_strip(dataset, part, strip)
            if progress is not None:
                progress((top + len(strip)) / window.height)
        z *= header.vertical_unit_m
        transform = placed @ Affine.translation(window.col_off, window.row_off)
    if not np.any(np.isfinite(z)):
        raise NothingThereError(
            "none of its cells there holds data", str(path), "name a survey that covers the site"
        )
    doubts = header.doubts
    if n_guessed:
        doubts += (f"{n_guessed} cells hold {USUAL_NO_DATA[0]:.0f} or the like and are taken for no data",)
    return Raster(z, transform, header.crs, doubts)


def pass_grid(
    path: Path, header: Header, form: str, box: Box, wide: int, take: Callable[[Cloud], None]
) -> None:
    """Hand on the cells of a box as points, strip by strip: of each square of cells the middle and the top.

    Parameters
    ----------
    path : Path
    header : Header
        From `grid_header`.
    form : 'tif' or 'asc'
    box : (west, south, east, north)
        In the units of the grid's CRS.
    wide : int
        Cells along the side of a square.
    take : callable
        Given the squares of a strip that hold data, as a `Cloud`.
    """
    with _opened(path, form) as (dataset, placed):
        window = _window(dataset, placed, box)
        if window is None:
            return
        rows = wide * max(1, STRIP_CELLS // (window.width * wide))
        for top in range(0, window.height, rows):
            strip = np.empty((min(rows, window.height - top), window.width))
            part = Window(window.col_off, window.row_off + top, window.width, len(strip))
            _read_strip(dataset, part, strip)
            pad = [(0, -n % wide) for n in strip.shape]
            squares = np.pad(np.where(np.isnan(strip), -np.inf, strip), pad, constant_values=-np.inf)
            ny, nx = (n // wide for n in squares.shape)
            tops = squares.reshape(ny, wide, nx, wide).max(axis=(1, 3))
            row, column = np.nonzero(np.isfinite(tops))
            x, y = placed @ (
                window.col_off + (column + 0.5) * wide,
                window.row_off + top + (row + 0.5) * wide,
            )
            ones = np.ones(len(row), np.uint8)
            z = tops[row, column] * header.vertical_unit_m
            take(Cloud(np.column_stack([x, y, z]), np.zeros(len(row), np.uint8), ones, ones, header.crs))


def _read_strip(dataset: Any, window: Window, out: Floats) -> int:
    """Fill `out` with heights in the file's unit; the number of cells guessed to be no data."""
    with np.errstate(all="ignore"):  # odd bit patterns of a damaged grid: no data, and no warnings
        cells = dataset.read(1, window=window, masked=True)
        out[:] = np.ma.getdata(cells)
        blank = np.ma.getmaskarray(cells) | ~np.isfinite(out)
        guessed: NDArray[np.bool_] = np.isin(out, USUAL_NO_DATA) & ~blank
        out *= dataset.scales[0]
        out += dataset.offsets[0]
    out[blank | guessed] = np.nan
    return int(np.count_nonzero(guessed))


def _window(dataset: Any, placed: Affine, box: Box | None) -> Window | None:
    if box is None:
        return Window(0, 0, dataset.width, dataset.height)
    west, south, east, north = box
    to_pixel = ~placed
    corners = [to_pixel @ corner for corner in ((west, south), (west, north), (east, south), (east, north))]
    columns, rows = [c for c, _ in corners], [r for _, r in corners]
    left, right = max(0, math.floor(min(columns)) - 1), min(dataset.width, math.ceil(max(columns)) + 1)
    top, bottom = max(0, math.floor(min(rows)) - 1), min(dataset.height, math.ceil(max(rows)) + 1)
    return Window(left, top, right - left, bottom - top) if right > left and bottom > top else None


def _said(dataset: Any, path: Path, form: str) -> Said:
    said = Said()
    wkt, source = dataset.crs.to_wkt() if dataset.crs else "", "the grid's own CRS"
    prj = beside(path, ".prj") if form == "asc" else None
    if prj is not None:
        wkt = wkt_of_prj(_note(prj))
    if wkt:
        try:
            said = said_by(from_wkt(wkt), source)
        except CRSError:
            said = Said(doubts=(f"{source} cannot be understood",))
    unit = (dataset.units[0] or "").strip().lower()
    if not unit:
        return said
    if unit not in _BAND_UNITS:
        return Said(
            said.crs,
            said.crs_from,
            said.vertical_unit_m,
            said.vertical_unit_from,
            (*said.doubts, f"its band is in {unit!r}, which is no unit of height known here"),
        )
    size_m = _BAND_UNITS[unit]
    if said.vertical_unit_m is None:
        return Said(said.crs, said.crs_from, size_m, "the unit of its band", said.doubts)
    if not math.isclose(size_m, said.vertical_unit_m, rel_tol=1e-7):
        clash = (
            f"its CRS counts heights in {unit_words(said.vertical_unit_m)}, its band says "
            f"{unit_words(size_m)}: the CRS is taken"
        )
        return Said(
            said.crs, said.crs_from, said.vertical_unit_m, said.vertical_unit_from, (*said.doubts, clash)
        )
    return said


@contextmanager
def _opened(path: Path, form: str) -> Iterator[tuple[Any, Affine]]:
    """A grid that can hold heights, and where its cells lie."""
    try:
        with opened_raster(path, _DRIVERS[form]) as dataset:
            _check_claims(dataset, path, form)
            placed = placed_by_world_file(dataset, path, _WORLD_FILES if form == "tif" else ())
            _refuse_pictures(dataset, placed, path)
            yield dataset, placed
    except InputError:
        raise
    except (RasterioError, MemoryError, ValueError) as error:
        raise InputError("its cells cannot be read", str(path), _AGAIN) from error


def placed_by_world_file(dataset: Any, path: Path, suffixes: tuple[str, ...]) -> Affine:
    """A raster's own placement, or else that of the world file beside it, of one of these suffixes."""
    world = beside(path, *suffixes)
    if world is None or dataset.transform != Affine.identity() or dataset.gcps[0]:
        return Affine(*dataset.transform[:6])
    try:
        a, d, b, e, c, f = (float(word) for word in _note(world).split())
    except ValueError:
        raise InputError(
            "it does not hold six numbers, one a line", str(world), "write it again, or export a GeoTIFF"
        ) from None
    # A world file places the middle of the first cell (ESRI's convention), an Affine its corner.
    return Affine(a, b, c, d, e, f) @ Affine.translation(-0.5, -0.5)


def _note(path: Path) -> bytes:
    """A small file that lies beside a grid."""
    return content(path, _MOST_BESIDE, "it is none of this grid's: move it elsewhere")


def _refuse_pictures(dataset: Any, placed: Affine, path: Path) -> None:
    if placed == Affine.identity() and not dataset.gcps[0]:
        raise _not_placed(path)
    if placed.determinant == 0 or not np.isfinite(tuple(placed)).all():
        raise InputError("its cells have no size", str(path), "export the grid again with its placement")
    if dataset.gcps[0]:
        raise InputError(
            "it is placed by control points, not by a grid", str(path), "warp it to a north-up grid first"
        )
    colours = (ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette)
    if dataset.colorinterp[0] in colours or np.dtype(dataset.dtypes[0]).kind == "c":
        raise InputError(
            "it is a picture, not a grid of heights",
            str(path),
            "name an elevation grid with one band of heights",
        )


def _not_placed(path: Path) -> InputError:
    return InputError(
        "it does not say where its cells lie", str(path), "export it as GeoTIFF with its placement"
    )
