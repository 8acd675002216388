"""Cells of a map program's table as the values that TOML would give."""

import json
import math
from typing import Any

from terrain3d.errors import InputError

#: Lists in a cell that lie deeper in each other than this are no value of a site file.
_MOST_DEEP = 8


def column_name(name: str, where: str) -> str:
    """The name of a column, refused where it would steer a terminal.

    Raises
    ------
    InputError
    """
    if not name.isprintable():
        raise InputError(f"a column is named {name[:60]!r}", where, "rename it, in letters that can be seen")
    return name


def cell_value(cell: Any, name: str) -> Any:
    """A cell of the column `name` as TOML would give it; None where it is blank.

    Lists, and numbers that share a column with text, come as text; a column of numbers makes good names.

    Examples
    --------
    >>> cell_value("[0.8, 1.2]", "heights"), cell_value("4.5", "height"), cell_value("tall", "height")
    ([0.8, 1.2], 4.5, 'tall')
    >>> cell_value(12, "name"), cell_value("", "name"), cell_value(float("nan"), "height")
    ('12', None, None)
    """
    if isinstance(cell, list):
        return None if _is_deep(cell) else [cell_value(item, name) for item in cell]
    if cell is None or cell == "" or (isinstance(cell, float) and not math.isfinite(cell)):
        return None
    if name == "name" and not isinstance(cell, dict):
        return str(cell)
    if isinstance(cell, str):
        try:
            read = json.loads(cell, parse_constant=_no_number)
        except (ValueError, RecursionError):
            return cell
        return cell if _is_deep(read) else read
    return cell


def _no_number(word: str) -> float:
    """NaN and Infinity are words of some writers, and no numbers of JSON."""
    raise ValueError(word)


def _is_deep(value: Any) -> bool:
    level = [value]
    for _ in range(_MOST_DEEP):
        level = [
            item
            for entry in level
            if isinstance(entry, list | dict)
            for item in (entry.values() if isinstance(entry, dict) else entry)
        ]
        if not level:
            return False
    return True
