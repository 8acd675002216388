"""The error of its heights that a survey states in words somewhere in its file."""

import re

from terrain3d.site import QUALITY_LEVELS_M
from terrain3d.units import UNIT_M
from terrain3d.wording import plain

#: "RMSEz 0.06 m", "RMSE (z) = 5.2 cm", "vertical RMSE of 0.2 ft": a number counts with its unit alone.
_RMSE = re.compile(
    r"(?:RMSE[ _]?\(?z\)?|(?:vertical|height)[ _]RMSE)[^\d\n;]{0,20}(\d+(?:\.\d+)?) ?(mm|cm|m|us-ft|ft)\b",
    re.IGNORECASE,
)
_LEVEL = re.compile(r"\b(?:QL|quality level) ?([0-3])\b", re.IGNORECASE)
_SIZES_M = {"mm": 0.001, "cm": 0.01, **UNIT_M}
#: Nobody's error of heights is larger; what says so means something else.
_MOST_M = 5.0


def stated_error(text: str, source: str) -> tuple[float | None, str]:
    """RMSE of heights that a text states, metres, and who says it in plain words; None and '' without one.

    Of several the largest counts.

    Examples
    --------
    >>> stated_error("Hill county 2021, QL1; RMSEz = 6.2 cm on bare ground", "its description")
    (0.062, 'its description: RMSE of 0.062 m')
    >>> stated_error("flown to quality level 2", "its description")
    (0.1, 'its description: quality level 2')
    >>> stated_error("RMSE 12", "its description")
    (None, '')
    """
    sizes = [float(number) * _SIZES_M[unit.lower()] for number, unit in _RMSE.findall(text)]
    sizes = [size_m for size_m in sizes if 0 < size_m <= _MOST_M]
    if sizes:
        return max(sizes), f"{source}: RMSE of {plain(max(sizes))} m"
    levels = _LEVEL.findall(text)
    if levels:
        return QUALITY_LEVELS_M[f"QL{max(levels)}"], f"{source}: quality level {max(levels)}"
    return None, ""
