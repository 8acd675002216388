"""Numbers and counts as a person would write them: no exponents, no doubtful plurals."""

import math
import re
import unicodedata
from collections.abc import Sequence

# numpy is imported where it is used: a message, or `--help`, does not wait for it.

#: Coordinates beyond this are damage, and are not written out.
_ABSURD = 1e15


#: Letters of a word that are shown whole, and the kinds of those that steer a terminal, or that nobody sees
#: (Unicode, general categories: controls, formats, surrogates, private, unassigned, breaks of lines).
_LONGEST_WORD, _UNSEEN = 240, ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def fit(text: str, longest: int = _LONGEST_WORD) -> str:
    """A line that came from outside, made fit to be shown: nothing in it steers what shows it.

    Letters that cannot be seen have a stand-in that can, and words of thousands of letters are cut in the
    middle. What is kept in a file of results is the text itself, escaped as that file's format does.

    Parameters
    ----------
    text : str
    longest : int
        Letters of a word that are shown.

    Examples
    --------
    >>> fit("red \\x1b[31m, a bell \\x07, two\\nlines"), fit("no\\u00a0break"), fit("evil\\u202etxt")
    ('red ␛[31m, a bell ␇, two␊lines', 'no␣break', 'evil\\\\u202etxt')
    >>> fit("a word of " + 300 * "w", longest=9)
    'a word of wwww…wwww'
    """
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return text
    seen = "".join(_seen(letter) for letter in text)
    half = (longest - 1) // 2
    return re.sub(rf"\S{{{longest + 1},}}", lambda word: f"{word[0][:half]}…{word[0][-half:]}", seen)


def _seen(letter: str) -> str:
    """A letter, or what stands for one that cannot be seen."""
    number = ord(letter)
    if number < 0x20 or number == 0x7F:
        return chr(0x2400 + number) if number < 0x20 else "␡"  # Unicode, control pictures
    kind = unicodedata.category(letter)
    if kind in _UNSEEN:
        return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
    return "␣" if kind == "Zs" and letter != " " else letter


def plain(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never with an exponent.

    >>> plain(6263.4), plain(0.0000199), plain(0.5), plain(2.0)
    ('6260', '0.0000199', '0.5', '2')
    """
    import numpy as np

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
