"""An outcome as `results.json`: every number that a picture or a table shows."""

import json
from typing import Any

import pyproj

from terrain3d.caution import CAUTION
from terrain3d.choose.compare import held_share, weighted_share
from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome


def results_json(outcome: Outcome) -> str:
    """The text of `results.json`, schema `terrain3d/results/1`; the same outcome gives the same text."""
    return json_text(results_values(outcome))


def json_text(document: dict[str, Any]) -> str:
    """Plain values as the text of `results.json`."""
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def results_values(outcome: Outcome) -> dict[str, Any]:
    """What `results.json` says of an outcome, as plain values that other parts may grow."""
    terrain = outcome.terrain
    return {
        "schema": "terrain3d/results/1",
        "caution": CAUTION,
        "site": {
            "name": outcome.site_name,
            "cell_m": terrain.ground.cell_m,
            "figure": {"name": outcome.figure.name, "height_m": outcome.figure.height_m},
            "frame_wkt": terrain.frame.wkt,
            "origin_lonlat": terrain.frame.origin_lonlat,
            "doubts": list(terrain.doubts),
        },
        "options": [_option(outcome, option) for option in outcome.options],
        "ranking": list(outcome.ranking),
        "why": outcome.why,
    }


def _option(outcome: Outcome, option: OptionResult) -> dict[str, Any]:
    return {
        "name": option.name,
        "detectors": [_detector(outcome, unit) for unit in option.detectors],
        "protected_share": _rounded(held_share(option)),
        "weighted_share": _rounded(weighted_share(option)),
        "area_m2": {key: round(area, 6) for key, area in option.area_m2.items()},
        "protect": [
            {
                "name": area.name,
                "area_m2": round(area.area_m2, 6),
                "both_fraction": round(area.both_fraction, 9),
                "weight": area.weight,
            }
            for area in option.protect
        ],
        "causes": {
            layer: {cause: round(area, 6) for cause, area in causes.items()}
            for layer, causes in option.causes.items()
        },
        "warnings": list(option.warnings),
    }


def _lonlat(outcome: Outcome, unit: Detector) -> tuple[float, float] | None:
    """Where a unit stands, WGS 84 degrees: what a person can type into a receiver; None without a CRS."""
    frame = outcome.terrain.frame
    if not frame.is_georeferenced:
        return None
    lon, lat = frame.from_local(unit.x, unit.y, pyproj.CRS("EPSG:4326"))
    return round(float(lon), 8), round(float(lat), 8)


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 9)


def _detector(outcome: Outcome, unit: Detector) -> dict[str, Any]:
    x, y = outcome.terrain.frame.from_local(unit.x, unit.y, None)
    return {
        "name": unit.name,
        "type": unit.type.name,
        "mount": unit.mount,
        "x": round(float(x), 4),
        "y": round(float(y), 4),
        "lonlat": _lonlat(outcome, unit),
        "ground_z": round(unit.ground_z, 4),
        "height_m": unit.height_m,
        "bearing_deg": unit.bearing_deg,
        "tilt_deg": unit.tilt_deg,
        "roll_deg": unit.roll_deg,
        "range_m": unit.range_m,
    }
