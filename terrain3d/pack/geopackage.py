"""Layers as one GeoPackage, in the coordinates of the site file."""

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely

from terrain3d.caution import CAUTION
from terrain3d.frame import Frame
from terrain3d.pack.layers import Layer, placed

#: GDAL writes into the file when it was written; the first day that the format knows stands for all.
_NO_DAY = "1970-01-01T00:00:00.000Z"
_TYPES: dict[type, Any] = {str: object, float: np.float64, int: np.int32}


def write_geopackage(path: Path, layers: tuple[Layer, ...], frame: Frame, crs: pyproj.CRS | None) -> None:
    """Write a GeoPackage, a table for each layer; the same layers give the same bytes.

    Parameters
    ----------
    path : Path
        Where there is no file yet.
    layers : tuple of Layer
    frame : Frame
    crs : pyproj.CRS or None
        Of the file; None is the site's own metres.
    """
    from pyogrio import raw, set_gdal_config_options

    set_gdal_config_options({"OGR_CURRENT_DATE": _NO_DAY})
    try:
        for layer in layers:
            shapes = np.array([placed(feature.shape, frame, crs) for feature in layer.features], object)
            raw.write(
                path,
                shapely.to_wkb(shapes),
                [_column(layer, name, kind) for name, kind in layer.columns.items()],
                list(layer.columns),
                layer=layer.name,
                driver="GPKG",
                geometry_type=layer.form,
                crs=frame.wkt if crs is None else crs.to_wkt(),
                dataset_metadata={"CAUTION": CAUTION},
            )
    finally:
        set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _column(layer: Layer, name: str, kind: type) -> Any:
    values = [feature.values[name] for feature in layer.features]
    if kind is float:
        # GDAL is told by NaN that there is none.
        return np.array([np.nan if value is None else value for value in values], np.float64)
    return np.array(values, _TYPES[kind])
