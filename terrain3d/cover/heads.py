"""A detector type as arrays, packed once so that a setting costs no packing."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.detector.types import DetectorType
from terrain3d.units import Floats


@dataclass(frozen=True, eq=False)
class HeadTable:
    """A detector type and what is set head by head as arrays, packed once so that a setting costs no packing.

    A row is a stretch of a head's arc that is left open: one a head where nothing is masked.

    Parameters
    ----------
    head : (r,) int64
        Whose stretch it is, counted from 0.
    pan_deg : (r,) float
        Of the head.
    turn_deg, half_arc_deg : (r,) float
        Middle of the stretch, right of the head's straight ahead, and half its width.
    elevation_deg, half_thickness_deg : (r, l) float
        NaN elevation follows the range setting; NaN thickness is no layer.
    range_m : (r,) float
        Range setting of the head by itself; NaN is the unit's.
    fill : (r, l) float
        Share of a layer that breaks it, of the head by itself; NaN is the unit's.
    upper : (r,) int64
        Which layer of each head is the upper one: by its name, else the highest.
    name : (r, l) int64
        Row of `layer_names` of each layer; -1 is no layer.
    layer_names : tuple of str
        Uppermost first.
    nominal_height_m, max_range_m : float
    any_layer : bool
        Whether any layer of a head raises the alarm, and not only all of them.
    """

    head: NDArray[np.int64]
    pan_deg: Floats
    turn_deg: Floats
    half_arc_deg: Floats
    elevation_deg: Floats
    half_thickness_deg: Floats
    range_m: Floats
    fill: Floats
    upper: NDArray[np.int64]
    name: NDArray[np.int64]
    layer_names: tuple[str, ...]
    nominal_height_m: float
    max_range_m: float
    any_layer: bool


def head_table(
    detector_type: DetectorType,
    pan_deg: tuple[float, ...] | None = None,
    heads: tuple[HeadSetting, ...] = (),
) -> HeadTable:
    """Pack a detector type; `pan_deg` overrides the pan of each head, `heads` what is set head by head.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> head_table(load_type("one-head-90", Path())).layer_names
    ('upper', 'lower')
    >>> masked = head_table(load_type("one-head-90", Path()), heads=(HeadSetting(masked=(1, 2, 5)),))
    >>> masked.turn_deg.tolist(), masked.half_arc_deg.tolist()
    ([-15.0, 25.0], [10.0, 20.0])
    """
    unit = Detector("", detector_type, "", 0.0, 0.0, 0.0, 1.0, 0.0, pan_deg=pan_deg, heads=heads)
    n_heads, n_layers = len(detector_type.head), max(len(head.layer) for head in detector_type.head)
    elevation = np.full((n_heads, n_layers), np.nan)
    half_thickness = np.full((n_heads, n_layers), np.nan)
    fill = np.full((n_heads, n_layers), np.nan)
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
        fills = unit.fills_of(h)
        if fills is not None:
            fill[h, : len(fills)] = fills
        own = [layer.name for layer in head.layer]
        upper[h] = own.index("upper" if "upper" in own else min(own, key=names.index))
    stretches = [(h, low, high) for h in range(n_heads) for low, high in unit.open_arcs(h)]
    owner = np.array([h for h, _, _ in stretches], np.int64)
    ranges = [unit.head(h).range_m for h in range(n_heads)]
    return HeadTable(
        owner,
        np.array([unit.pan_of(h) for h in range(n_heads)], float)[owner],
        np.array([(low + high) / 2 for _, low, high in stretches], float),
        np.array([(high - low) / 2 for _, low, high in stretches], float),
        elevation[owner],
        half_thickness[owner],
        np.array([math.nan if own is None else own for own in ranges], float)[owner],
        fill[owner],
        upper[owner],
        name[owner],
        tuple(names),
        detector_type.nominal_height,
        detector_type.max_range,
        detector_type.alarm == "any",
    )


def one_head(heads: HeadTable, head: int) -> HeadTable:
    """The table of one head alone, with all its layers."""
    return _those(heads, heads.head == head)


def without_head(heads: HeadTable, head: int) -> HeadTable:
    """The table of all heads but one."""
    return _those(heads, heads.head != head)


def _those(heads: HeadTable, rows: NDArray[np.bool_]) -> HeadTable:
    by_row = (
        "head", "pan_deg", "turn_deg", "half_arc_deg", "elevation_deg", "half_thickness_deg", "range_m",
        "fill", "upper", "name",
    )  # fmt: skip
    return replace(heads, **{column: getattr(heads, column)[rows] for column in by_row})


def upper_layer_of(heads: HeadTable, head: int) -> HeadTable:
    """The table of the upper layer of one head alone, so that its verdict is that layer's.

    >>> from pathlib import Path
    >>> from terrain3d.detector.types import load_type
    >>> two = head_table(load_type("two-head-180", Path()))
    >>> [upper_layer_of(two, head).layer_names for head in range(2)]
    [('upper',), ('upper',)]
    """
    alone = one_head(heads, head)
    if not len(alone.head):
        return alone  # all of its arc is masked
    layer = int(alone.upper[0])
    upper = slice(layer, layer + 1)
    return replace(
        alone,
        elevation_deg=alone.elevation_deg[:, upper],
        half_thickness_deg=alone.half_thickness_deg[:, upper],
        fill=alone.fill[:, upper],
        upper=np.zeros(len(alone.head), np.int64),
        name=np.zeros((len(alone.head), 1), np.int64),
        layer_names=(heads.layer_names[alone.name[0, layer]],),
    )
