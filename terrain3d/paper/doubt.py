"""Doubt as plain values for `results.json`, and the chances of holding as a raster."""

from typing import Any

import numpy as np

from terrain3d.doubt.draws import Doubt, OptionDoubt
from terrain3d.doubt.telling import held_words, ranking_words
from terrain3d.doubt.tolerance import LIMITS, LOSS, UnitTolerance
from terrain3d.job import Outcome
from terrain3d.paper.rasters import bands_tif


def doubt_dict(
    outcome: Outcome, doubt: Doubt, tolerances: tuple[tuple[UnitTolerance, ...], ...]
) -> dict[str, Any]:
    """What the draws and the tolerances say, ready for JSON.

    Parameters
    ----------
    outcome : Outcome
    doubt : Doubt
        Its options as in the outcome.
    tolerances : tuple of tuple of UnitTolerance
        For each option, for each of its units.
    """
    spread = doubt.spread
    return {
        "draws": doubt.draws,
        "seed": doubt.seed,
        "spread": {
            "ground_m": spread.ground_m,
            "ground_source": spread.source,
            "correlation_m": spread.correlation_m,
            "height_m": spread.height_m,
            "bearing_deg": spread.bearing_deg,
            "tilt_and_roll_deg": spread.tilt_deg,
        },
        "ranking": {
            "best_holds": round(doubt.best_holds, 9),
            "order_holds": round(doubt.order_share, 9),
            "words": ranking_words(doubt, doubt.ranking[0]),
        },
        "tolerance_loss": LOSS,
        "tolerance_limits": dict(LIMITS),
        "options": [
            _option(outcome, option, units) for option, units in zip(doubt.options, tolerances, strict=True)
        ],
    }


def chances_tif(outcome: Outcome, doubt: Doubt) -> bytes:
    """The bytes of a GeoTIFF, float32, north up: one band of chances an option, NaN on unknown ground."""
    bands = [(option.name, option.chance) for option in doubt.options]
    return bands_tif(outcome.terrain, bands, np.nan, {"DRAWS": str(doubt.draws), "SEED": str(doubt.seed)})


def _option(outcome: Outcome, option: OptionDoubt, units: tuple[UnitTolerance, ...]) -> dict[str, Any]:
    cell_m2 = outcome.terrain.ground.cell_m**2
    chance = option.chance
    return {
        "name": option.name,
        "held": {
            "of": "ground, m2" if option.held_share is None else "protected ground, share",
            "middle": round(option.middle, 9),
            "worst_twentieth": round(option.worst, 9),
            "mean": round(option.mean, 9),
        },
        "words": held_words(option),
        "best_in": round(option.best_share, 9),
        "area_m2": {
            "held_in_95_percent": round(float((chance >= 0.95).sum()) * cell_m2, 6),
            "held_in_half": round(float((chance >= 0.5).sum()) * cell_m2, 6),
            "ever_held": round(float((chance > 0).sum()) * cell_m2, 6),
        },
        "tolerance": [_unit(unit) for unit in units],
    }


def _unit(unit: UnitTolerance) -> dict[str, Any]:
    return {
        "detector": unit.unit,
        "held_m2": round(unit.held_m2, 6),
        "settings": [
            {
                "setting": slack.setting,
                "unit": slack.unit,
                "less": round(slack.less, 4),
                "more": round(slack.more, 4),
                "less_open": slack.less_open,
                "more_open": slack.more_open,
            }
            for slack in unit.slacks
        ],
    }
