"""Values as a careful person writes them into a TOML text."""

import datetime
import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

#: Columns that a line of several values may fill.
_WIDTH = 100
_INDENT = "    "
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
#: From here on a whole number is written with its exponent.
_LARGE = 1e15


def key_text(key: str) -> str:
    """A key, in quotes where it needs them.

    >>> print(key_text("height"), key_text("by the gate"))
    height "by the gate"
    """
    return key if _BARE_KEY.fullmatch(key) else _quoted(key)


def number_text(value: float, before: str = "") -> str:
    """A number as its neighbours are written: without a point where it is whole and they have none.

    Parameters
    ----------
    value : float
    before : str
        What stood there, or what stands beside it.

    Examples
    --------
    >>> number_text(140.0), number_text(140.0, "12.5"), number_text(-0.0), number_text(0.25, "1")
    ('140', '140.0', '0', '0.25')
    """
    if isinstance(value, int):
        return str(value)
    if math.isfinite(value) and value == int(value) and abs(value) < _LARGE and "." not in before:
        return str(int(value))
    return repr(value + 0.0)


def value_text(value: Any, before: str = "") -> str:
    """A value on one line.

    >>> print(value_text({"from": "pole", "tape": 4.0}), value_text([[1.5, 2.0]], "1.0"), value_text(True))
    { from = "pole", tape = 4 } [[1.5, 2.0]] true
    """
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return number_text(value, before)
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{key_text(key)} = {value_text(one, before)}" for key, one in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, Sequence):
        return f"[{', '.join(value_text(one, before) for one in value)}]"
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    raise TypeError(f"{value!r} is no value of TOML")


def key_lines(key: str, value: Any, newline: str = "\n", indent: str = "") -> str:
    """A key with its value, every line ended: on one line, or one entry a line where that is clearer.

    >>> print(key_lines("at", [6.0, 2.25]), end="")
    at = [6.0, 2.25]
    >>> print(key_lines("shots", [{"from": "pole", "bearing": 90, "tape": 4.5}]), end="")
    shots = [
        { from = "pole", bearing = 90, tape = 4.5 },
    ]
    """
    line = f"{indent}{key} = {value_text(value, has_point(value))}"
    is_list = isinstance(value, Sequence) and not isinstance(value, str) and len(value) > 0
    if not is_list or (len(line) <= _WIDTH and not isinstance(value[0], Mapping)):
        return line + newline
    entries = [f"{indent}{_INDENT}{value_text(one, has_point(value))}," for one in value]
    return newline.join([f"{indent}{key} = [", *entries, f"{indent}]", ""])


def has_point(value: Any) -> str:
    """How the numbers of a list are written: all with a point where one of them has one.

    >>> has_point([[1.0, 2.5]]), has_point([1.0, 2.0]), has_point({"tape": 2.5})
    ('.', '', '')
    """
    if isinstance(value, (list, tuple)):
        return "." if any(has_point(one) or _is_broken(one) for one in value) else ""
    return ""


def _is_broken(value: Any) -> bool:
    return isinstance(value, float) and value != value // 1


def _quoted(text: str) -> str:
    """JSON's quoting is TOML's as well, but for one character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
