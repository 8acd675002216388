"""Uncertainty as plain values for `results.json`, and the chances of holding as a raster."""

from typing import Any

import numpy as np

from terrain3d.job import Outcome
from terrain3d.paper.rasters import bands_tif
from terrain3d.paper.rounded import area, share, size
from terrain3d.sentences.uncertainty import SOURCE_WORDS, held_words, ranking_words
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.uncertainty.tolerance import LIMITS, LOSS, Slack, UnitTolerance

#: Units of the tolerances; range has no limit of its own.
_LIMIT_KEYS = {"height": "height_m", "bearing": "bearing_deg", "tilt": "tilt_deg", "roll": "roll_deg"}


def uncertainty_dict(
    outcome: Outcome, uncertainty: Uncertainty, tolerances: tuple[tuple[UnitTolerance, ...], ...]
) -> dict[str, Any]:
    """What the draws and the tolerances say, ready for JSON.

    Parameters
    ----------
    outcome : Outcome
    uncertainty : Uncertainty
        Its options as in the outcome.
    tolerances : tuple of tuple of UnitTolerance
        For each option, for each of its units.
    """
    error_sizes = uncertainty.error_sizes
    return {
        "draws": uncertainty.draws,
        "seed": uncertainty.seed,
        "spread": {
            "ground_m": error_sizes.ground_m,
            "ground_source": SOURCE_WORDS[error_sizes.source],
            "correlation_m": error_sizes.correlation_m,
            "height_m": error_sizes.height_m,
            "bearing_deg": error_sizes.bearing_deg,
            "tilt_and_roll_deg": error_sizes.tilt_deg,
        },
        "ranking_holds": {
            "best_share": share(uncertainty.best_holds),
            "order_share": share(uncertainty.order_share),
            "words": ranking_words(uncertainty) or None,
        },
        "tolerance_loss_share": LOSS,
        "tolerance_limits": {key: LIMITS[setting] for setting, key in _LIMIT_KEYS.items()},
        "options": [
            _option(outcome, option, units)
            for option, units in zip(uncertainty.options, tolerances, strict=True)
        ],
    }


def chances_tif(outcome: Outcome, uncertainty: Uncertainty) -> bytes:
    """The bytes of a GeoTIFF, float32, north up: one band of chances an option, NaN on unknown ground."""
    bands = [(option.name, option.chance) for option in uncertainty.options]
    return bands_tif(
        outcome.terrain, bands, np.nan, {"DRAWS": str(uncertainty.draws), "SEED": str(uncertainty.seed)}
    )


def _option(outcome: Outcome, option: OptionUncertainty, units: tuple[UnitTolerance, ...]) -> dict[str, Any]:
    cell_m2 = outcome.terrain.ground.cell_m**2
    chance = option.chance
    of_draws = {
        "middle": share(option.middle),
        "worst_twentieth": share(option.worst),
        "mean": share(option.mean),
    }
    return {
        "name": option.name,
        "protected_share": None if option.held_share is None else of_draws,
        "both_m2": of_draws if option.held_share is None else None,
        "words": held_words(option),
        "best_share": share(option.best_share),
        "chance_m2": {
            "at_least_95_percent": area((chance >= 0.95).sum() * cell_m2),
            "at_least_half": area((chance >= 0.5).sum() * cell_m2),
            "above_none": area((chance > 0).sum() * cell_m2),
        },
        "tolerance": [tolerance_values(unit) for unit in units],
    }


def tolerance_values(unit: UnitTolerance) -> dict[str, Any]:
    """How far each setting of a unit may be off."""
    return {
        "unit": unit.unit,
        "counted_m2": area(unit.held_m2),
        "settings": {slack.setting: _slack(slack) for slack in unit.slacks if slack.head is None} or None,
        **_range_of_heads(unit),
    }


def _range_of_heads(unit: UnitTolerance) -> dict[str, Any]:
    """A key that is there only where a head has its own range."""
    own = [{"head": slack.head, **_slack(slack)} for slack in unit.slacks if slack.head is not None]
    return {"range_of_heads": own} if own else {}


def _slack(slack: Slack) -> dict[str, Any]:
    return {
        f"less_{slack.unit}": size(slack.less),
        f"more_{slack.unit}": size(slack.more),
        "less_open": slack.less_open,
        "more_open": slack.more_open,
    }
