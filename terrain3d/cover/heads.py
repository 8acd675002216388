"""A detector type as arrays, packed once so that a setting costs no packing."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.types import DetectorType
from terrain3d.units import Floats


@dataclass(frozen=True, eq=False)
class HeadTable:
    """A detector type as arrays, packed once so that a setting costs no packing.

    Parameters
    ----------
    pan_deg, half_arc_deg : (h,) float
    elevation_deg, half_thickness_deg : (h, l) float
        NaN elevation follows the range setting; NaN thickness is no layer.
    upper : (h,) int64
        Which layer of each head is the upper one: by its name, else the highest.
    name : (h, l) int64
        Row of `layer_names` of each layer; -1 is no layer.
    layer_names : tuple of str
        Uppermost first.
    nominal_height_m, max_range_m : float
    any_layer : bool
        Whether any layer of a head raises the alarm, and not only all of them.
    """

    pan_deg: Floats
    half_arc_deg: Floats
    elevation_deg: Floats
    half_thickness_deg: Floats
    upper: NDArray[np.int64]
    name: NDArray[np.int64]
    layer_names: tuple[str, ...]
    nominal_height_m: float
    max_range_m: float
    any_layer: bool


def head_table(detector_type: DetectorType, pan_deg: tuple[float, ...] | None = None) -> HeadTable:
    """Pack a detector type; `pan_deg` overrides the pan of each head.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> head_table(load_type("one-head-90", Path())).layer_names
    ('upper', 'lower')
    """
    n_heads, n_layers = len(detector_type.head), max(len(head.layer) for head in detector_type.head)
    elevation = np.full((n_heads, n_layers), np.nan)
    half_thickness = np.full((n_heads, n_layers), np.nan)
    name = np.full((n_heads, n_layers), -1, np.int64)
    steepest = -math.degrees(math.atan(detector_type.nominal_height / min(detector_type.range_settings)))
    height_of: dict[str, float] = {}
    for head in detector_type.head:
        for layer in head.layer:
            angle = steepest if layer.elevation == "range" else layer.elevation
            height_of[layer.name] = max(height_of.get(layer.name, -90.0), angle)
    names = sorted(height_of, key=lambda layer_name: -height_of[layer_name])
    upper = np.zeros(n_heads, np.int64)
    for h, head in enumerate(detector_type.head):
        for k, layer in enumerate(head.layer):
            elevation[h, k] = math.nan if layer.elevation == "range" else layer.elevation
            half_thickness[h, k] = layer.thickness / 2
            name[h, k] = names.index(layer.name)
        own = [layer.name for layer in head.layer]
        upper[h] = own.index("upper" if "upper" in own else min(own, key=names.index))
    pans = [head.pan for head in detector_type.head] if pan_deg is None else list(pan_deg)
    return HeadTable(
        np.array(pans, float),
        np.array([head.arc / 2 for head in detector_type.head]),
        elevation,
        half_thickness,
        upper,
        name,
        tuple(names),
        detector_type.nominal_height,
        detector_type.max_range,
        detector_type.alarm == "any",
    )


def one_head(heads: HeadTable, head: int) -> HeadTable:
    """The table of one head alone, with all its layers."""
    one = slice(head, head + 1)
    return replace(
        heads,
        pan_deg=heads.pan_deg[one],
        half_arc_deg=heads.half_arc_deg[one],
        elevation_deg=heads.elevation_deg[one],
        half_thickness_deg=heads.half_thickness_deg[one],
        upper=heads.upper[one],
        name=heads.name[one],
    )


def upper_layer_of(heads: HeadTable, head: int) -> HeadTable:
    """The table of the upper layer of one head alone, so that its verdict is that layer's.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> two = head_table(load_type("two-head-180", Path()))
    >>> [upper_layer_of(two, head).layer_names for head in range(2)]
    [('upper',), ('upper',)]
    """
    alone, layer = one_head(heads, head), int(heads.upper[head])
    upper = slice(layer, layer + 1)
    return replace(
        alone,
        elevation_deg=alone.elevation_deg[:, upper],
        half_thickness_deg=alone.half_thickness_deg[:, upper],
        upper=np.zeros(1, np.int64),
        name=np.zeros((1, 1), np.int64),
        layer_names=(heads.layer_names[heads.name[head, layer]],),
    )
