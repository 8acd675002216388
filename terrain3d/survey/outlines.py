"""Shapes drawn in a map or drawing program, turned into the site file's own shapes."""

from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pyproj

from terrain3d.errors import InputError
from terrain3d.readers.shapes import read_features
from terrain3d.readers.source import Feature
from terrain3d.site import (
    ApproachShape,
    BeyondShape,
    FileRef,
    MarkShape,
    MountShape,
    NuisanceShape,
    ProtectShape,
    SectionShape,
    WalkShape,
)
from terrain3d.tables import Table, checked
from terrain3d.wording import counted

Shape = TypeVar("Shape", bound=Table)
#: Kinds whose names tell one from another.
_NAMED = (
    MountShape, MarkShape, ProtectShape, WalkShape, ApproachShape, SectionShape, NuisanceShape, BeyondShape
)  # fmt: skip

#: Columns that map programs add by themselves (common practice, no source).
_ROW_NUMBERS = {"fid", "id", "ogc_fid", "objectid"}
#: The key that each kind of geometry gives.
_GEOMETRY_KEYS = {"Point": "at", "LineString": "path", "Polygon": "outline"}


def expand(
    entries: Iterable[Shape | FileRef],
    model: type[Shape],
    folder: Path,
    site_crs: pyproj.CRS | None = None,
) -> tuple[tuple[Shape, pyproj.CRS | None], ...]:
    """Every entry as a drawn shape, those of files one a feature.

    Parameters
    ----------
    entries : iterable of shapes and FileRef
        A list of the site file, such as `site.solid`.
    model : type
        The shape that its entries are, such as `SolidShape`.
    folder : Path
        Of the site file; names of files are relative to it.
    site_crs : pyproj.CRS, optional
        The site's own, in which files without a CRS are drawn.

    Returns
    -------
    tuple of (shape, crs)
        In the order of the entries and features. `crs` is that of the file's coordinates; None
        means the site's own, as for whatever is drawn in the site file.

    Raises
    ------
    InputError
        Naming the file and the feature, counted from 1.
    """
    shapes: list[tuple[Shape, pyproj.CRS | None]] = []
    for entry in entries:
        if not isinstance(entry, FileRef):
            shapes.append((entry, None))
            continue
        path = folder / entry.file
        features, crs = read_features(path, entry.layer, site_crs)
        for number, feature in enumerate(features, 1):
            where = f"{path}: feature {number}"
            shapes.append((checked(model, _keys(feature, entry.also, model, where), where), crs))
    if issubclass(model, _NAMED):
        _refuse_twins([str(getattr(shape, "name", "")) for shape, _ in shapes], model)
    return tuple(shapes)


def _keys(feature: Feature, also: Mapping[str, Any], model: type[Table], where: str) -> dict[str, Any]:
    """The TOML keys that a feature stands for."""
    keys = {**also, **{k: v for k, v in feature.values.items() if k.lower() not in _ROW_NUMBERS}}
    if feature.called and "name" in model.model_fields:
        keys.setdefault("name", feature.called)
    # Map programs save single shapes as collections of one.
    kind = feature.kind.removeprefix("Multi")
    key = _GEOMETRY_KEYS.get(kind)
    takes = [kind for kind, name in _GEOMETRY_KEYS.items() if name in model.model_fields]
    if key is None or key not in model.model_fields:
        # Drawings know lines alone, some of them closed.
        closed = ", a line that is closed," if kind == "LineString" and "Polygon" in takes else ","
        raise InputError(
            f"it is a {feature.kind}", where, f"draw it as a {' or a '.join(takes)}{closed} as its kind needs"
        )
    if feature.kind != kind and len(feature.parts) != 1:
        raise InputError(
            f"it is a {feature.kind} of {len(feature.parts)} parts", where, "split it into single shapes"
        )
    rings = feature.parts[0] if feature.parts else ()
    if not any(map(len, rings)) or not all(np.isfinite(ring).all() for ring in rings):
        raise InputError(
            "its geometry is empty or has coordinates that are no numbers", where, "draw it again"
        )
    if len(rings) > 1:
        raise InputError(
            f"its outline has {counted(len(rings) - 1, 'hole')}", where, "cut it into outlines without holes"
        )
    ring = rings[0]
    if kind == "Polygon" and len(ring) > 1 and np.array_equal(ring[0], ring[-1]):
        ring = ring[:-1]
    points = [(x, y) for x, y in ring.tolist()]
    keys[key] = points[0] if key == "at" else points
    return keys


def _refuse_twins(names: list[str], model: type[Table]) -> None:
    kind = model.__name__.removesuffix("Shape").lower()
    for name, count in Counter(names).items():
        if count > 1:
            raise InputError(
                f"two of {kind} are named {name!r}",
                f"site.toml: {kind} {name!r}",
                "names must differ, those in files too",
            )
