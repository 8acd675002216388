"""What a page says, read and gathered: each message one order, the newest of a movement alone."""

import json
import math
from collections.abc import Sequence
from typing import Any, NoReturn, TypeVar

from terrain3d.errors import InputError

Message = dict[str, Any]
#: Longest message, in bytes.
MOST_BYTES = 1 << 20
#: Orders of which only the newest counts, as long as nothing else was asked between.
_NEWEST = {"point", "size"}
#: Orders that add up: how far the hand has come since.
_SUMMED = {"turn": ("across", "up"), "shift": ("across", "up"), "nearer": ("steps",)}
#: Orders that turn the view, or ask what lies under a place of it: they change nothing that stands beside it.
_LOOKING = {"turn", "shift", "nearer", "point"}
_WHERE = "a message of the page"

_From = TypeVar("_From")


def read_message(text: str) -> Message:
    """A message as it came, checked as far as its form goes.

    Raises
    ------
    InputError
        When it is too long, or no order.

    Examples
    --------
    >>> read_message('{"do": "undo"}')
    {'do': 'undo'}
    >>> read_message('{"do": "turn", "up": NaN}')
    Traceback (most recent call last):
    terrain3d.errors.InputError: NaN is no finite number
      where: a message of the page
      to mend: give a number
    """
    if len(text.encode("utf-8", "replace")) > MOST_BYTES:
        raise InputError(
            "it is longer than 1 MiB", _WHERE, "draw fewer points, or put them into the site file"
        )
    try:
        message = json.loads(text, parse_constant=_no_number, parse_float=_finite, parse_int=_whole)
    except (json.JSONDecodeError, RecursionError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("it cannot be read", _WHERE, "load the page anew") from None
    if not isinstance(message, dict) or not isinstance(message.get("do"), str):
        raise InputError("it does not say what is to be done", _WHERE, "load the page anew")
    return message


def _finite(word: str) -> float:
    number = float(word)
    return number if math.isfinite(number) else _no_number(word)


def _whole(word: str) -> int:
    _finite(word)  # movements are summed with decimals: more than those can hold is no number of a page
    return int(word)


def _no_number(word: str) -> NoReturn:
    raise InputError(f"{word:.40} is no finite number", _WHERE, "give a number")


def gathered(waiting: Sequence[tuple[_From, Message]]) -> list[tuple[_From, Message]]:
    """Messages in their order, with those of a movement drawn together: a picture never lags behind the hand.

    >>> turn = {"do": "turn", "across": 1.0, "up": 0.5}
    >>> gathered([("a", turn), ("a", turn), ("a", {"do": "undo"}), ("a", turn)])[0]
    ('a', {'do': 'turn', 'across': 2.0, 'up': 1.0})
    """
    kept: list[tuple[_From, Message]] = []
    for sender, message in waiting:
        before = kept[-1][1] if kept and kept[-1][0] == sender else None
        if before is not None and _goes_on(before, message):
            kept[-1] = (sender, _together(before, message))
        else:
            kept.append((sender, message))
    return kept


def changes_state(message: Message) -> bool:
    """Whether an order may change what a page shows beside the picture.

    >>> changes_state({"do": "turn", "across": 1.0}), changes_state({"do": "undo"})
    (False, True)
    """
    return message["do"] not in _LOOKING


def _goes_on(before: Message, message: Message) -> bool:
    """Whether a message only says more of the movement that the one before it tells."""
    what = message["do"]
    # Who asks is answered, each time.
    if before["do"] != what or "n" in before:
        return False
    if what in _NEWEST:
        return True
    if what in _SUMMED:
        numbers = [one.get(part, 0.0) for one in (before, message) for part in _SUMMED[what]]
        return all(isinstance(n, int | float) for n in numbers) and before.get("at") == message.get("at")
    # A slider or a point that is still held: what it passed by is passed.
    same = {"set": ("setting", "head"), "move": ("id",)}.get(what)
    held = bool(before.get("is_same")) and bool(message.get("is_same"))
    return same is not None and held and all(before.get(part) == message.get(part) for part in same)


def _together(before: Message, message: Message) -> Message:
    parts = _SUMMED.get(message["do"], ())
    return {**message, **{part: before.get(part, 0.0) + message.get(part, 0.0) for part in parts}}
