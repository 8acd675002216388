"""What a message from the page may hold: who sends another gets it back in words, and nothing is done."""

import math
from pathlib import Path
from typing import Any

from terrain3d.errors import InputError

#: Drawn things of a site, letters of a name, points of an outline, at most.
MOST_THINGS, MOST_LETTERS, MOST_POINTS = 1000, 200, 2000
#: Points lie within this of the middle of the site's own metres.
FARTHEST_M = 100_000.0
#: Values within values, at most.
_DEEPEST = 12


def check_message(message: Any) -> dict[str, Any]:
    """A message as it may be: a table with `do`, numbers that are numbers, and no text too long for a name.

    Raises
    ------
    InputError
        With what is wrong with it.

    Examples
    --------
    >>> check_message({"do": "turn", "across": 2, "up": 0.5})["do"]
    'turn'
    >>> check_message({"do": "turn", "across": float("nan")})
    Traceback (most recent call last):
    terrain3d.errors.InputError: a number of the message is none
      to mend: give numbers that can be written down
    """
    if not isinstance(message, dict) or not isinstance(message.get("do"), str):
        raise InputError("this is no message", mend="send a table that says what to do")
    _check(message, 0)
    return message


def number(message: dict[str, Any], key: str, low: float, high: float, default: float | None = None) -> float:
    """A number of a message, within bounds.

    Raises
    ------
    InputError
        When it is none, or out of bounds.

    Examples
    --------
    >>> number({"up": 3}, "up", -90, 90)
    3.0
    >>> number({"up": 300}, "up", -90, 90)
    Traceback (most recent call last):
    terrain3d.errors.InputError: up cannot be 300
      to mend: give -90 to 90
    """
    value = message.get(key, default)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(f"{key} is no number", mend=f"give {low:g} to {high:g}")
    if not low <= value <= high:
        raise InputError(f"{key} cannot be {value:g}", mend=f"give {low:g} to {high:g}")
    return float(value)


def text(message: dict[str, Any], key: str) -> str:
    """A text of a message that is not empty.

    Raises
    ------
    InputError
        When it is none.
    """
    value = message.get(key)
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{key} is missing", mend="give it a few letters")
    return value


def points(
    message: dict[str, Any], key: str = "points", width: int = 2, farthest: float = FARTHEST_M
) -> list[list[float]]:
    """Points of a message in local metres, none farther from their middle than that.

    Raises
    ------
    InputError
        When they are none, too many, or too far away.

    Examples
    --------
    >>> points({"points": [[1, 2], [3, 4]]})
    [[1.0, 2.0], [3.0, 4.0]]
    """
    given = message.get(key)
    if not isinstance(given, list):
        raise InputError(f"{key} are missing", mend="give a list of points")
    if len(given) > MOST_POINTS:
        raise InputError(
            f"{len(given)} points are more than can be drawn by hand", mend=f"give {MOST_POINTS} at most"
        )
    for row in given:
        if not isinstance(row, list) or len(row) < width or not all(_is_number(one) for one in row[:width]):
            raise InputError(f"{row!r:.60} is no point", mend=f"give {width} numbers")
        if any(abs(one) > farthest for one in row[:2]):
            raise InputError(
                "a point lies more than 100 km from the middle of the site", mend="draw it on the site"
            )
    return [[float(one) for one in row[:width]] for row in given]


def inside(folder: Path, name: str) -> Path:
    """The path of a name in a folder.

    Raises
    ------
    InputError
        When it leads out of the folder.

    Examples
    --------
    >>> inside(Path("/farm"), "../home/secret.toml")
    Traceback (most recent call last):
    terrain3d.errors.InputError: '../home/secret.toml' lies outside of the folder that this was started in
      to mend: move it there, or start in its folder
    """
    path = folder / name
    try:
        is_inside = path.resolve().is_relative_to(folder.resolve())
    except ValueError:
        raise InputError(
            f"{name!r} cannot be written as the name of a file", mend="leave its odd letters out"
        ) from None
    if not is_inside:
        raise InputError(
            f"{name!r} lies outside of the folder that this was started in",
            mend="move it there, or start in its folder",
        )
    return path


def check_names(folder: Path, value: Any) -> None:
    """Refuse names of files that lead out of the folder, wherever they stand in a value."""
    if isinstance(value, str):
        inside(folder, value)
    elif isinstance(value, (list, tuple)):
        for one in value:
            check_names(folder, one)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _check(value: Any, depth: int) -> None:
    if depth > _DEEPEST:
        raise InputError("the message is nested too deep", mend="send it flat")
    if isinstance(value, str):
        if len(value) > MOST_LETTERS:
            raise InputError(
                f"{value[:20]!r}... has {len(value)} letters", mend=f"give {MOST_LETTERS} letters at most"
            )
    elif isinstance(value, float):
        if not math.isfinite(value):
            raise InputError("a number of the message is none", mend="give numbers that can be written down")
    elif isinstance(value, int):
        if abs(value) > 1e12:
            raise InputError(
                "a number of the message is out of all bounds", mend="give a number that can be meant"
            )
    elif isinstance(value, list):
        for one in value:
            _check(one, depth + 1)
    elif isinstance(value, dict):
        for key, one in value.items():
            _check(key, depth + 1)
            _check(one, depth + 1)
    elif value is not None:
        raise InputError("this is no message", mend="send plain values")
