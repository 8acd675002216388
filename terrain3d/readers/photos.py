"""A photograph of the ground from above: GeoTIFF, or JPEG with its world file."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray
from pyproj.exceptions import CRSError
from rasterio.enums import ColorInterp, Resampling
from rasterio.errors import RasterioError
from rasterio.windows import Window

from terrain3d.apart import read_apart
from terrain3d.errors import InputError
from terrain3d.outside import beside, content, opened
from terrain3d.readers.crs import from_wkt, horizontal, metres_per_unit
from terrain3d.readers.gdal import opened_raster, wkt_of_prj
from terrain3d.readers.grids import placed_by_world_file
from terrain3d.readers.source import Box, Bytes, NothingThereError
from terrain3d.wording import box_words

#: First bytes, the driver, and what a world file beside it may be called.
_FORMS = {
    b"II*\0": ("GTiff", (".tfw", ".tifw", ".wld")),
    b"MM\0*": ("GTiff", (".tfw", ".tifw", ".wld")),
    b"II+\0": ("GTiff", (".tfw", ".tifw", ".wld")),
    b"MM\0+": ("GTiff", (".tfw", ".tifw", ".wld")),
    b"\xff\xd8\xff": ("JPEG", (".jgw", ".jpgw", ".jpegw", ".wld")),
}
#: More pixels than this are refused, at the size of the ground's cells: 0.3 GB.
MOST_PIXELS = 100_000_000
_MOST_PRJ = 100_000
_RGB = (ColorInterp.red, ColorInterp.green, ColorInterp.blue)


@dataclass(frozen=True, eq=False)
class Photo:
    """Pixels of a photograph, at most as fine as was asked for.

    Parameters
    ----------
    rgb : (ny, nx, 3) uint8
        In the file's row order.
    known : (ny, nx) bool
        False where the photograph is blank.
    transform : affine.Affine
        From (column, row) to (x, y) of `crs`, corners of pixels at whole numbers.
    crs : pyproj.CRS or None
    """

    rgb: Bytes
    known: NDArray[np.bool_]
    transform: Affine
    crs: pyproj.CRS | None


def photo_crs(path: Path) -> pyproj.CRS | None:
    """The CRS that a photograph or the .prj beside it names; None where they name none.

    Raises
    ------
    InputError
        Where it is no photograph that can be read, or does not say where its pixels lie.
    """
    found: pyproj.CRS | None = read_apart(_crs, [path], path)
    return found


def _crs(path: Path) -> pyproj.CRS | None:
    with _opened(path) as (dataset, _):
        wkt = dataset.crs.to_wkt() if dataset.crs else ""
    prj = beside(path, ".prj")
    if not wkt and prj is not None:
        wkt = wkt_of_prj(content(prj, _MOST_PRJ, "it is none of this photograph's: move it elsewhere"))
    if not wkt:
        return None
    try:
        return horizontal(from_wkt(wkt))
    except CRSError:
        raise InputError(
            "its CRS cannot be understood", str(path), "save it again in a CRS with a code of the EPSG"
        ) from None


def read_photo(path: Path, crs: pyproj.CRS | None, box: Box, pixel_m: float) -> Photo:
    """Read the window that holds a box, its pixels taken together to about so many metres.

    Parameters
    ----------
    path : Path
    crs : pyproj.CRS or None
        That its pixels are placed in.
    box : (west, south, east, north)
        In that CRS.
    pixel_m : float

    Raises
    ------
    InputError
        Where it cannot be read, or does not meet the box.
    """
    found: Photo = read_apart(_photo, [path], path, crs, box, pixel_m)
    return replace(found, crs=crs)


def _photo(path: Path, crs: pyproj.CRS | None, box: Box, pixel_m: float) -> Photo:
    with _opened(path) as (dataset, placed):
        window = _window(dataset, placed, box)
        if window is None:
            corners = [placed @ at for at in ((0, 0), (dataset.width, dataset.height))]
            (x0, y0), (x1, y1) = corners
            covers = box_words((min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)))
            raise NothingThereError(
                f"the photograph does not cover the site, which lies in {box_words(box)}: it covers {covers}",
                str(path),
                "name one of the site, or say its CRS in a .prj beside it; or leave [ground] photo out",
            )
        own_m = math.sqrt(abs(placed.determinant)) * metres_per_unit(crs, (box[1] + box[3]) / 2)[1]
        k = max(1, math.floor(pixel_m / own_m + 1e-6))
        shape = (math.ceil(window.height / k), math.ceil(window.width / k))
        if shape[0] * shape[1] > MOST_PIXELS:
            raise InputError(
                f"{shape[1]} x {shape[0]} pixels are too many to read at once (at most {MOST_PIXELS})",
                str(path),
                "cut the photograph to the site first",
            )
        rgb = _pixels(dataset, window, shape, path)
        known = dataset.dataset_mask(window=window, out_shape=shape) > 0
        stretch = Affine.scale(window.width / shape[1], window.height / shape[0])
        transform = placed @ Affine.translation(window.col_off, window.row_off) @ stretch
    return Photo(rgb, known, transform, None)


def _pixels(dataset: Any, window: Window, shape: tuple[int, int], path: Path) -> Bytes:
    interps = dataset.colorinterp
    if any(np.dtype(kind) != np.uint8 for kind in dataset.dtypes):
        raise InputError(
            f"its bands are of {dataset.dtypes[0]}, not of 8 bits", str(path), "save it with 8 bits a band"
        )
    if interps[0] is ColorInterp.palette:
        table = np.zeros((256, 3), np.uint8)
        for number, colour in dataset.colormap(1).items():
            table[number] = colour[:3]
        # Numbers of colours have no mean.
        found: Bytes = table[dataset.read(1, window=window, out_shape=shape, resampling=Resampling.nearest)]
        return found
    if set(_RGB) <= set(interps):
        bands = [interps.index(colour) + 1 for colour in _RGB]
    elif dataset.count >= 3:
        bands = [1, 2, 3]
    else:
        bands = [1, 1, 1]
    read = dataset.read(bands, window=window, out_shape=(3, *shape), resampling=Resampling.average)
    rgb: Bytes = np.ascontiguousarray(np.moveaxis(read, 0, -1))
    return rgb


def _window(dataset: Any, placed: Affine, box: Box) -> Window | None:
    west, south, east, north = box
    to_pixel = ~placed
    corners = [to_pixel @ corner for corner in ((west, south), (west, north), (east, south), (east, north))]
    columns, rows = [c for c, _ in corners], [r for _, r in corners]
    left, right = max(0, math.floor(min(columns))), min(dataset.width, math.ceil(max(columns)))
    top, bottom = max(0, math.floor(min(rows))), min(dataset.height, math.ceil(max(rows)))
    return Window(left, top, right - left, bottom - top) if right > left and bottom > top else None


@contextmanager
def _opened(path: Path) -> Iterator[tuple[Any, Affine]]:
    """A photograph, and where its pixels lie."""
    with opened(path) as stream:
        start = stream.read(4)
    form = next((form for mark, form in _FORMS.items() if start.startswith(mark)), None)
    if form is None:
        raise InputError(
            "it is neither a TIFF nor a JPEG",
            str(path),
            "save the photograph as GeoTIFF, or as JPEG with its world file",
        )
    driver, suffixes = form
    try:
        with opened_raster(path, driver) as dataset:
            placed = placed_by_world_file(dataset, path, suffixes)
            if placed == Affine.identity() or dataset.gcps[0]:
                raise InputError(
                    "it does not say where its pixels lie",
                    str(path),
                    f"save it as GeoTIFF with its placement, or put its world file ({suffixes[0]}) beside it",
                )
            if placed.determinant == 0 or not np.isfinite(tuple(placed)).all():
                raise InputError("its pixels have no size", str(path), "save it again with its placement")
            yield dataset, placed
    except InputError:
        raise
    except (RasterioError, MemoryError, ValueError) as error:
        raise InputError(
            "its pixels cannot be read",
            str(path),
            "save the photograph again: the file is damaged or cut short",
        ) from error
