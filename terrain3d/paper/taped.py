"""A place as it lies from one that is known, as plain values."""

from typing import Any

from terrain3d.fixing.places import Taped
from terrain3d.paper.rounded import size


def taped_values(taped: Taped) -> dict[str, Any]:
    """What `results.json` says of where a place lies from a mark, a mount or a corner."""
    return {
        "name": taped.name,
        "part": taped.part or None,
        "level_m": size(taped.level_m),
        "tape_m": size(taped.tape_m),
        "bearing_deg": size(taped.bearing_deg),
        "paces_count": taped.paces,
    }
