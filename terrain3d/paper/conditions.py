"""Heat and sun as plain values for `results.json`."""

from typing import Any

from terrain3d.conditions.heat import REFERENCE_GROUND_C, REFERENCE_K, HeatResult, reference_contrast
from terrain3d.conditions.sun import STEP_MIN, SunLayer, SunResult, SunSpan, clock_words


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
            "contrast_w_m2_sr": round(reference_contrast(), 6),
            "source": "from memory, not verified",
        },
        "by_ground": [
            {
                "ground_c": float(table.grounds_c[n]),
                # Adding zero keeps "-0.0" out.
                "contrast_w_m2_sr": round(float(table.contrast[n]), 6) + 0.0,
                "ratio": round(float(table.ratio[n]), 6),
                "held_m2": round(float(table.held_m2[n]), 6),
                "protected_share": None if shares is None else round(float(shares[n]), 9),
            }
            for n in range(len(table.grounds_c))
        ],
        "lost": [
            {"share": loss.share, "from_c": _celsius(loss.from_c), "to_c": _celsius(loss.to_c)}
            for loss in heat.losses
        ],
        "words": list(heat.words),
    }


def sun_values(sun: SunResult) -> dict[str, Any]:
    """One option under the sun of a year; the same result gives the same values."""
    return {
        "placed": sun.origin_lonlat is not None,
        "year": sun.setting.year,
        "zone": sun.setting.zone,
        "near_deg": sun.setting.near,
        "step_min": STEP_MIN,
        "layers": [_layer(layer) for layer in sun.layers],
        "words": list(sun.words),
    }


def _layer(layer: SunLayer) -> dict[str, Any]:
    season = layer.season
    return {
        "unit": layer.unit,
        "head": layer.head,
        "facing_deg": round(layer.facing_deg, 6),
        "layer": layer.layer,
        "minutes": layer.minutes,
        "hidden_minutes": layer.hidden_minutes,
        "season": None if season is None else [day.isoformat() for day in season],
        "spans": [_span(span) for span in layer.spans],
    }


def _span(span: SunSpan) -> dict[str, Any]:
    return {
        "first": span.first.isoformat(),
        "last": span.last.isoformat(),
        "from": clock_words(span.start_min),
        "to": clock_words(span.end_min),
        "longest_min": span.longest_min,
    }


def _celsius(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
