"""Options of ten cells in a row, for tests of ranking and of the sentence that says why."""

from pathlib import Path

import numpy as np
from shapes import plane, terrain, unit

from terrain3d.cover.option import OptionResult, ProtectedResult
from terrain3d.cover.sighted import sighted
from terrain3d.detector.types import load_type

#: One row of ten cells of 1 m2; the last four weigh three times as much.
WEIGHT = np.array([[1.0] * 6 + [3.0] * 4])


def option(name, *protect, both=0.0, held=0, upper=(), lower=(), mount="", takers=()) -> OptionResult:
    """An option that holds the first `held` of ten cells, with what became of each layer on all of them.

    `protect` gives (area, fraction, weight) for each protected area; `takers` says of the lower layer which
    of a garden wall (0) and what a survey shows (1) takes it.
    """
    areas = tuple(ProtectedResult(f"area {k}", *values) for k, values in enumerate(protect))
    area_m2 = {"both": both, "upper_only": 0.0, "lower_only": 0.0, "dead": 0.0, "outside": 0.0}
    verdicts = np.array([[4] * held + [1] * (10 - held)], np.uint8)
    here = terrain(plane(0.0, extent_m=2.0))
    units = (sighted(here, unit(load_type("one-head-90", Path()), mount=mount)),) if mount else ()
    outcomes = {"upper": np.zeros((1, 10), np.uint8), "lower": np.zeros((1, 10), np.uint8)}
    for layer, codes in (("upper", upper), ("lower", lower)):
        if codes:
            outcomes[layer] = np.array([codes], np.uint8)
    things = {"lower": np.array([takers], np.int32)} if takers else {}
    return OptionResult(
        name,
        units,
        verdicts,
        area_m2,
        areas,
        {},
        {},
        outcomes,
        layer_takers=things,
        things=("garden wall", ""),
    )
