"""Heat and sun as plain values for `results.json`."""

from datetime import date
from typing import Any

from terrain3d.conditions.heat import REFERENCE_GROUND_C, REFERENCE_K, HeatResult, reference_contrast
from terrain3d.conditions.sun import LEAST_LIGHT, STEP_MIN, SunLayer, SunResult, SunSpan
from terrain3d.paper.rounded import area, share, size
from terrain3d.sentences.heat import heat_words
from terrain3d.sentences.sun import clock_words, sun_words


def heat_values(heat: HeatResult) -> dict[str, Any]:
    """One option as the ground warms; the same result gives the same values."""
    setting, table = heat.setting, heat.table
    shares = table.protected_share
    return {
        "figure_c": setting.figure,
        "emissivity": setting.emissivity,
        "ground_emissivity": setting.ground_emissivity,
        "sky_below_k": setting.sky_below,
        "borrowed_condition": {
            "difference_k": REFERENCE_K,
            "ground_c": REFERENCE_GROUND_C,
            "contrast_w_m2_sr": share(reference_contrast()),
            "source": "from memory, not verified",
        },
        "by_ground": [
            {
                "ground_c": float(table.grounds_c[n]),
                "contrast_w_m2_sr": share(table.contrast[n]),
                "ratio": share(table.ratio[n]),
                "both_m2": area(table.held_m2[n]),
                "protected_share": None if shares is None else share(shares[n]),
            }
            for n in range(len(table.grounds_c))
        ],
        "lost": [
            {"share": loss.share, "from_c": size(loss.from_c), "to_c": size(loss.to_c)}
            for loss in heat.losses
        ],
        "words": list(heat_words(heat)),
    }


def sun_values(sun: SunResult) -> dict[str, Any]:
    """One option under the sun of a year; the same result gives the same values."""
    return {
        "placed": sun.origin_lonlat is not None,
        "year": sun.setting.year,
        "time_zone": sun.zone,
        "near_deg": sun.setting.near,
        "least_light_share": LEAST_LIGHT,
        "step_min": STEP_MIN,
        "layers": [_layer(layer) for layer in sun.layers],
        "words": list(sun_words(sun)),
    }


def _layer(layer: SunLayer) -> dict[str, Any]:
    return {
        "unit": layer.unit,
        "head": layer.head,
        "facing_deg": size(layer.facing_deg),
        "layer": layer.layer,
        "in_view_min": layer.minutes,
        "hidden_min": layer.hidden_minutes,
        "seasons": _seasons(layer),
        "spans": [_span(span) for span in layer.spans],
    }


def _seasons(layer: SunLayer) -> list[dict[str, str]]:
    """When in the year, each from a first day to a later one: a season over New Year is two of them."""
    if layer.season is None:
        return []
    first, last = layer.season
    parts = [(first, last)]
    if last < first:
        parts = [(date(first.year, 1, 1), last), (first, date(first.year, 12, 31))]
    return [{"first": begin.isoformat(), "last": end.isoformat()} for begin, end in parts]


def _span(span: SunSpan) -> dict[str, Any]:
    return {
        "first": span.first.isoformat(),
        "last": span.last.isoformat(),
        "from": clock_words(span.start_min),
        "to": clock_words(span.end_min),
        "longest_min": span.longest_min,
    }
