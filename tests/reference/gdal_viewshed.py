"""GDAL's viewshed in height mode, through the C library that rasterio's wheel carries.

Source: GDAL, `GDALViewshedGenerate` (gdal_alg.h, since 3.1), algorithm after Wang, Robinson and
White 2000, PE&RS 66:87-90. Output "minimum target height from ground": how high a target over a cell
must be to be seen.
"""

import ctypes
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

_DIAGONAL, _EDGE = 1, 2
_MIN_TARGET_HEIGHT_FROM_GROUND = 3


def _library() -> ctypes.CDLL:
    package = Path(rasterio.__file__).parent
    found = sorted(package.parent.glob("rasterio.libs/libgdal*")) + sorted(package.glob(".dylibs/libgdal*"))
    return ctypes.CDLL(str(found[0])) if found else ctypes.CDLL("libgdal.so")


def write_ground(path: Path, z: np.ndarray, cell_m: float) -> None:
    """A north-up GeoTIFF of heights (row 0 the northernmost) in some projected CRS of metres."""
    profile = {
        "driver": "GTiff", "dtype": "float64", "count": 1, "height": z.shape[0], "width": z.shape[1],
        "crs": "EPSG:32631", "transform": from_origin(500000, 5000000, cell_m, cell_m),
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(z, 1)


class Viewshed:
    """An opened elevation raster, ready to be asked."""

    def __init__(self, path: Path) -> None:
        self._lib = lib = _library()
        lib.GDALAllRegister()
        lib.GDALOpen.restype = ctypes.c_void_p
        lib.GDALGetRasterBand.restype = ctypes.c_void_p
        lib.GDALGetRasterBand.argtypes = [ctypes.c_void_p, ctypes.c_int]
        lib.GDALClose.argtypes = [ctypes.c_void_p]
        lib.GDALViewshedGenerate.restype = ctypes.c_void_p
        text, pointer, real, whole = ctypes.c_char_p, ctypes.c_void_p, ctypes.c_double, ctypes.c_int
        lib.GDALViewshedGenerate.argtypes = [
            pointer, text, text, pointer, real, real, real, real, real, real, real, real, real, whole, real,
            pointer, pointer, whole, pointer,
        ]  # fmt: skip
        self._dataset = lib.GDALOpen(str(path).encode(), 0)
        self._band = lib.GDALGetRasterBand(self._dataset, 1)
        with rasterio.open(path) as raster:
            self._transform, self._shape = raster.transform, raster.shape

    def least_visible_height(
        self, row: int, column: int, eye_m: float, reach_m: float, out: Path
    ) -> np.ndarray:
        """(ny, nx) metres above ground, NaN out of reach; flat earth."""
        self.ask(row, column, eye_m, reach_m, out)
        whole = np.full(self._shape, np.nan)
        with rasterio.open(out) as raster:
            # GDAL gives back only the window in reach.
            left, top = ~self._transform @ (raster.transform.c, raster.transform.f)
            rows, columns = slice(round(top), round(top) + raster.height), round(left)
            whole[rows, columns : columns + raster.width] = raster.read(1)
        return whole

    def ask(self, row: int, column: int, eye_m: float, reach_m: float, out: Path | None = None) -> None:
        """Compute the raster, no more: what a timing should measure; written to a file where one is named."""
        x, y = self._transform @ (column + 0.5, row + 0.5)
        driver, name = (b"MEM", b"") if out is None else (b"GTiff", str(out).encode())
        result = self._lib.GDALViewshedGenerate(
            self._band, driver, name, None, x, y, eye_m, 0.0, 255.0, 0.0, 0.0, -1.0, 0.0,
            _EDGE, reach_m, None, None, _MIN_TARGET_HEIGHT_FROM_GROUND, None,
        )  # fmt: skip
        assert result, "GDAL gave no viewshed"
        self._lib.GDALClose(result)

    def close(self) -> None:
        self._lib.GDALClose(self._dataset)
