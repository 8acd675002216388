"""Colours of the ground, cell by cell: of a photograph from above, or of the survey's own ground returns."""

from pathlib import Path

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.frame import Frame
from terrain3d.readers.crs import crs_words
from terrain3d.readers.source import Bytes
from terrain3d.survey.boxes import turned_box
from terrain3d.survey.lattice import Lattice
from terrain3d.terrain import Colours, Ground
from terrain3d.units import Floats

#: A share of the ground that is worth a sentence.
_WORTH_SAYING = 0.02


def crs_of_photo(
    path: Path, home: pyproj.CRS | None, frame: Frame
) -> tuple[pyproj.CRS | None, tuple[str, ...]]:
    """The CRS that a photograph is in, and doubts; a look at its first bytes tells it.

    Parameters
    ----------
    path : Path
    home : pyproj.CRS or None
        The survey's, or else the site's: taken for a photograph that names none.
    frame : Frame

    Raises
    ------
    InputError
        Where it cannot be read, or is in no CRS that goes with the site's.
    """
    # Only who names a photograph waits for GDAL.
    from terrain3d.readers.photos import photo_crs

    doubts: tuple[str, ...] = ()
    crs = photo_crs(path)
    if crs is None and home is not None:
        crs = home
        doubts = (f"the photograph names no CRS: {crs_words(crs)} is taken for it too",)
    if crs is not None and not frame.is_georeferenced:
        raise InputError(
            f"the photograph is in {crs_words(crs)}, and the site in local metres",
            str(path),
            "name the CRS of the site's coordinates with [site] crs",
        )
    return crs, doubts


def of_photo(
    path: Path, crs: pyproj.CRS | None, frame: Frame, ground: Ground
) -> tuple[Colours, tuple[str, ...]]:
    """The colours that a photograph shows at the middles of cells, and doubts.

    Parameters
    ----------
    path : Path
    crs : pyproj.CRS or None
        From `crs_of_photo`.
    frame : Frame
    ground : Ground

    Raises
    ------
    InputError
        Where it cannot be read, or shows none of the ground.
    """
    from terrain3d.readers.photos import read_photo

    doubts: tuple[str, ...] = ()
    photo = read_photo(path, crs, turned_box(ground.bounds, frame, crs, to_local=False), ground.cell_m)
    x, y = frame.from_local(*np.meshgrid(ground.xs, ground.ys), crs)
    t = ~photo.transform
    column = np.floor(t.a * x + t.b * y + t.c).astype(np.int64)
    row = np.floor(t.d * x + t.e * y + t.f).astype(np.int64)
    ny, nx = photo.known.shape
    known = (column >= 0) & (row >= 0) & (column < nx) & (row < ny)
    known[known] = photo.known[row[known], column[known]]
    rgb = np.zeros((*known.shape, 3), np.uint8)
    rgb[known] = photo.rgb[row[known], column[known]]
    bare = 1.0 - float(known[ground.known].mean()) if ground.known.any() else 0.0
    if not known.any():
        raise InputError(
            "the photograph is blank where the site lies", str(path), "name one of the site, or leave it out"
        )
    if bare > _WORTH_SAYING:
        doubts += (f"the photograph does not cover {bare:.0%} of the ground: it is drawn without it there",)
    return Colours(rgb, known, of_photo=True), doubts


def of_returns(xyz: Floats, rgb: Bytes, lattice: Lattice) -> Colours:
    """The mean colour of the ground returns in each cell."""
    i, j, inside = lattice.cell_of(xyz[:, 0], xyz[:, 1])
    flat, size = (j * lattice.nx + i)[inside], lattice.nx * lattice.ny
    n = np.bincount(flat, minlength=size)
    sums = [np.bincount(flat, channel, size) for channel in rgb[inside].T.astype(float)]
    mean = np.stack(sums, axis=-1) / np.maximum(n, 1)[:, None]
    shape = (lattice.ny, lattice.nx)
    return Colours(np.rint(mean).astype(np.uint8).reshape(*shape, 3), (n > 0).reshape(shape), of_photo=False)
