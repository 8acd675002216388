"""What was changed in a site file, a line for each thing."""

from dataclasses import dataclass, field
from typing import Any, Literal

from terrain3d.wording import listed

#: Values longer than this are not repeated.
_LONG = 40


@dataclass(frozen=True)
class Change:
    """What became of one thing of a site file.

    Parameters
    ----------
    thing : str
        What it is and how it is called.
    what : {"added", "removed", "renamed", "set"}
    keys : tuple of (key, before, after)
        That were set; None is not given. Of one that was renamed `before` is its old name.
    points : str
        The key that holds its points; empty where it has none.
    """

    thing: str
    what: Literal["added", "removed", "renamed", "set"]
    keys: tuple[tuple[str, Any, Any], ...] = field(default=())
    points: str = ""


def change_words(change: Change) -> str:
    """A line that tells of one change.

    >>> print(change_words(Change("wall 'a'", "set", (("height", 1.0, 1.2), ("path", [], [[1, 2]])), "path")))
    wall 'a': moved, height 1.2 (was 1)
    >>> print(change_words(Change("mount 'pole'", "added")))
    mount 'pole': added
    """
    if change.what in ("added", "removed"):
        return f"{change.thing}: {change.what}"
    if change.what == "renamed":
        return f"{change.thing}: was named {change.keys[0][1]!r}"
    told = ["moved"] if any(key == change.points for key, _, _ in change.keys) else []
    told += [_key_words(*key) for key in change.keys if key[0] != change.points]
    return f"{change.thing}: {', '.join(told)}"


def _key_words(key: str, before: Any, after: Any) -> str:
    name = key.replace("_", " ")
    if after is None:
        return f"{name} no longer given"
    words = _value_words(after)
    was = "" if before is None else f" (was {_value_words(before)})"
    return f"{name} set anew" if not words else f"{name} {words}{was}"


def _value_words(value: Any) -> str:
    """A value as it is told; empty where it is too long."""
    if isinstance(value, bool):
        words = "yes" if value else "no"
    elif isinstance(value, float):
        words = f"{value:g}"
    elif isinstance(value, list) and all(isinstance(one, (str, int, float)) for one in value):
        words = listed([_value_words(one) for one in value], 6)
    elif isinstance(value, (list, dict)):
        return ""
    else:
        words = str(value)
    return words if len(words) <= _LONG else ""
