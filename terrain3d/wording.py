"""Numbers and counts as a person would write them: no exponents, no doubtful plurals."""

import math
import re
import unicodedata
from collections.abc import Sequence

import numpy as np

#: Coordinates beyond this are damage, and are not written out.
_ABSURD = 1e15


def plain(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never with an exponent.

    >>> plain(6263.4), plain(0.0000199), plain(0.5), plain(2.0)
    ('6260', '0.0000199', '0.5', '2')
    """
    return np.format_float_positional(value, precision=digits, unique=False, fractional=False, trim="-")


def coordinate(value: float) -> str:
    """A coordinate as it would be compared: metres to a millimetre, degrees to a centimetre.

    >>> coordinate(4950020.0), coordinate(3.7571234), coordinate(-0.0)
    ('4950020', '3.7571234', '0')
    """
    if abs(value) > _ABSURD:
        return "over 10^15" if value > 0 else "under -10^15"
    digits = 7 if abs(value) <= 360 else 3
    text = f"{round(value, digits) + 0.0:.{digits}f}"
    return text.rstrip("0").rstrip(".") if math.isfinite(value) else text


def pair(x: float, y: float) -> str:
    """Both coordinates of a place.

    >>> pair(560026.0, 4950020.25)
    '(560026, 4950020.25)'
    """
    return f"({coordinate(x)}, {coordinate(y)})"


def box_words(box: tuple[float, float, float, float]) -> str:
    """A box by the ranges of its coordinates.

    >>> box_words((0.0, 5.5, 100.0, 20.0))
    'x 0 to 100, y 5.5 to 20'
    """
    west, south, east, north = (coordinate(edge) for edge in box)
    return f"x {west} to {east}, y {south} to {north}"


def counted(n: int, thing: str) -> str:
    """How many of a thing, in the singular or the plural.

    >>> counted(1, "hole"), counted(553, "place")
    ('1 hole', '553 places')
    """
    return f"{n} {thing}" if n == 1 else f"{n} {thing}s"


def in_brief(value: object, *facts: str) -> str:
    """A value in a line, for whoever looks at it in a notebook: its class, and a few facts of what it holds.

    >>> in_brief(3.0, "one digit", counted(2, "part"))
    'float(one digit, 2 parts)'
    """
    return f"{type(value).__name__}({', '.join(facts)})"


def listed(names: Sequence[str], most: int = 3) -> str:
    """Some names in a row, those beyond `most` counted.

    >>> listed(["a"]), listed(["a", "b", "c"]), listed(["a", "b", "c", "d", "e"])
    ('a', 'a, b and c', 'a, b, c and 2 more')
    """
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)


def money_words(amount: float) -> str:
    """An amount of money as a person writes it, in whatever money it is.

    >>> money_words(1100.0), money_words(99.5), money_words(0.005)
    ('1,100', '99.5', '0.005')
    """
    return f"{amount:,.6f}".rstrip("0").rstrip(".")


def slug(name: str) -> str:
    """A name made fit for a file name: never a path, never empty, at most 40 characters.

    >>> slug("North pole, one head"), slug("../../etc/passwd"), slug("<b>$"), slug("Südhang")
    ('north-pole-one-head', 'etc-passwd', 'b', 'sudhang')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40].strip("-") or "option"
