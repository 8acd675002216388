"""GDAL, shut in: one driver, one open file, nothing beside it, no network."""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import rasterio
from rasterio.errors import NotGeoreferencedWarning
from rasterio.io import MemoryFile

from terrain3d.outside import opened

_SHUT_IN = {
    # What lies beside a grid (.aux.xml, .ovr, .msk) may name any file or address, and change every height.
    "GDAL_PAM_ENABLED": "NO",
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    # The one name that may be fetched, and none is called so.
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    # Version 1.0 keys carry heights only when asked.
    "GTIFF_REPORT_COMPD_CS": "YES",
}


@contextmanager
def opened_raster(path: Path, driver: str) -> Iterator[Any]:
    """A raster by one driver alone, as a rasterio dataset to be read from.

    GDAL opens our own descriptor, so that it neither reads the file's name nor finds what lies beside it.

    Raises
    ------
    InputError
        Where there is no such file.
    rasterio.errors.RasterioError
        Where it is no raster of that driver.
    """
    with opened(path) as stream, rasterio.Env(**_SHUT_IN):
        with _in_silence():
            dataset = rasterio.open(f"/dev/fd/{stream.fileno()}", driver=driver, sharing=False)
        with dataset:
            yield dataset


def wkt_of_tiff(content: bytes) -> str:
    """The CRS of a TIFF that was made in memory, as WKT; '' where it has none."""
    with rasterio.Env(**_SHUT_IN), MemoryFile(content) as memory, memory.open(driver="GTiff") as dataset:
        return str(dataset.crs.to_wkt()) if dataset.crs else ""


def wkt_of_prj(content: bytes) -> str:
    """The CRS that a .prj file states, in any of its dialects, as WKT; '' where it states none.

    GDAL reads it beside the smallest ASCII grid there is, both in memory.

    >>> "Transverse_Mercator" in wkt_of_prj(b"Projection UTM\\nZone 31\\nDatum WGS84\\nUnits METERS\\n")
    True
    """
    grid = b"ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1\n"
    # A folder of its own: names in memory are shared by the whole process.
    folder = str(uuid4())
    with (
        rasterio.Env(**(_SHUT_IN | {"GDAL_DISABLE_READDIR_ON_OPEN": "NO"})),
        MemoryFile(content, dirname=folder, filename="grid.prj"),
        MemoryFile(grid, dirname=folder, filename="grid.asc") as memory,
        memory.open(driver="AAIGrid") as dataset,
    ):
        return str(dataset.crs.to_wkt()) if dataset.crs else ""


@contextmanager
def _in_silence() -> Iterator[None]:
    with warnings.catch_warnings():
        # Told as an error of our own.
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        yield
