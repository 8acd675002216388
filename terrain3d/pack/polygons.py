"""Cells of a grid as polygons along the cells' edges: to the last cell the same ground."""

from typing import Any

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray


def polygons_of(
    x0: float, y0: float, cell_m: float, classes: NDArray[Any], leave_out: int
) -> dict[int, shapely.MultiPolygon]:
    """The ground of each class as one valid region, along the edges of its cells.

    Cells that touch at a corner alone are polygons of their own.

    Parameters
    ----------
    x0, y0 : float
        Centre of the south-west cell, metres.
    cell_m : float
    classes : (ny, nx) int
        Row 0 the southernmost.
    leave_out : int
        A class that is not wanted.

    Returns
    -------
    dict of int to MultiPolygon
        By class, ascending; rings anticlockwise, holes clockwise.

    Examples
    --------
    >>> found = polygons_of(0.5, 0.5, 1.0, np.array([[1, 1, 0], [2, 1, 1]]), 0)
    >>> {value: region.area for value, region in found.items()}
    {1: 4.0, 2: 1.0}
    >>> found[2].bounds
    (0.0, 1.0, 1.0, 2.0)
    """
    from rasterio.features import shapes

    corner = Affine(cell_m, 0.0, x0 - cell_m / 2, 0.0, cell_m, y0 - cell_m / 2)
    parts: dict[int, list[shapely.Polygon]] = {}
    numbers = np.ascontiguousarray(classes, np.int32)
    for shape, value in shapes(numbers, mask=numbers != leave_out, connectivity=4, transform=corner):
        rings = shape["coordinates"]
        parts.setdefault(int(value), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {value: _region(parts[value]) for value in sorted(parts)}


def _region(parts: list[shapely.Polygon]) -> shapely.MultiPolygon:
    """Polygons that share no edge as one region; one that meets itself at a corner is taken apart there."""
    valid = [piece for part in parts for piece in polygons_in(shapely.make_valid(part))]
    ordered = sorted(valid, key=lambda polygon: polygon.bounds)
    region: shapely.MultiPolygon = shapely.orient_polygons(shapely.MultiPolygon(ordered))
    return region


def polygons_in(shape: Any) -> list[shapely.Polygon]:
    """The polygons of any shape that have area.

    >>> [piece.area for piece in polygons_in(shapely.GeometryCollection([shapely.box(0, 0, 1, 2)]))]
    [2.0]
    """
    return [
        piece
        for part in shapely.get_parts(shape)
        for piece in (polygons_in(part) if part.geom_type.startswith(("Multi", "Geom")) else [part])
        if piece.geom_type == "Polygon" and not piece.is_empty
    ]
