"""What is left open close to the units, as plain values for `results.json`."""

from typing import Any

from terrain3d.paper.rounded import area, size
from terrain3d.sentences.close_in import close_in_lines
from terrain3d.walk.close_in import AlongWall, CloseIn


def close_in_values(found: CloseIn) -> dict[str, Any]:
    """The key `close_in` of an option."""
    nearest = found.nearest
    return {
        "between_heads_m2": area(found.wedge_m2) if found.wedge_m2 is not None else None,
        "under_unit_m": size(found.under_m),
        "under_unit": found.under_unit,
        "along_wall_m": None if nearest is None else size(nearest.near_m),
        "along_wall": [_along_wall(walk) for walk in found.along_wall],
        "words": close_in_lines(found),
    }


def _along_wall(walk: AlongWall) -> dict[str, Any]:
    return {
        "units": list(walk.units),
        "from_deg": size(walk.from_deg),
        "near_m": size(walk.near_m),
        "is_noticed": walk.is_noticed,
    }
