"""The kinds of pages and how their files are called, without loading what draws them."""

import re
from collections.abc import Callable, Iterable, Sequence

from terrain3d.errors import InputError
from terrain3d.wording import slug

#: The kinds of picture, in the order they are drawn.
KINDS = (
    "client",
    "contact",
    "warnings",
    "survey",
    "side-by-side",
    "plan",
    "oblique",
    "section",
    "outlook",
    "views",
    "frames",
    "causes",
    "against",
)
#: Those that are drawn only where they are asked for: they take the longest.
ASKED_KINDS = ("film",)
#: Those that go with the results of a comparison; the rest is drawn when it is asked for.
FIRST_KINDS = ("client", "contact", "warnings", "plan", "oblique", "section")
#: The kinds of page of each part of a study.
PART_KINDS = {
    "walks": ("walks", "walks-table", "fans"),
    "routes": ("routes", "routes-oblique"),
    "close-in": ("close-in",),
    "animals": ("animals",),
    "beyond": ("beyond",),
    "heat": ("heat",),
    "sun": ("sun",),
    "doubt": ("doubt",),
}


def pages_of(kinds: Iterable[str], options: Sequence[tuple[str, ...]] | None = None) -> Callable[[str], bool]:
    """Tells of a file name whether it is that of a page of some kinds.

    Parameters
    ----------
    kinds : iterable of str
    options : sequence of tuple of str, optional
        For pages of these options alone: what each may be called, in their order.

    Examples
    --------
    >>> is_plan = pages_of(["plan"])
    >>> is_plan("03-plan-gate-pole.png"), is_plan("03-section-gate-pole.png"), is_plan("my plan.png")
    (True, False, False)
    >>> is_one = pages_of(["contact", "section"], [("gate pole",)])
    >>> is_one("00-contact-2.png"), is_one("01-section-2-gate-pole.png"), is_one("02-section-2-gate-pole.png")
    (True, True, False)
    """
    kind = "|".join(map(re.escape, kinds))
    if options is None:
        pattern = rf"\d\d+-(?:{kind})(?:-.*)?\.(?:png|gif)"
    else:
        named = ["|".join(map(slug, names)) for names in options]
        one = [rf"{number:02d}-(?:{kind})(?:-\d+)?-(?:{name})" for number, name in enumerate(named, 1)]
        pattern = rf"(?:{'|'.join([rf'00-(?:{kind})(?:-[0-9]+)?', *one])})\.(?:png|gif)"
    whole = re.compile(pattern)
    return lambda name: whole.fullmatch(name) is not None


def check_units(wanted: Iterable[str], there: Iterable[str]) -> None:
    """Refuse the name of a unit that no option has.

    Raises
    ------
    InputError
        With the names there are.

    Examples
    --------
    >>> check_units(["D2"], ["D1", "D1", "D3"])
    Traceback (most recent call last):
    terrain3d.errors.InputError: no option has a unit 'D2'
      to mend: give one of 'D1', 'D3'
    """
    known = dict.fromkeys(there)
    for name in wanted:
        if name not in known:
            raise InputError(
                f"no option has a unit {name!r}", mend=f"give one of {', '.join(map(repr, known))}"
            )


#: What the outline of the site's own land is asked for by, where sections are cut along it.
BOUNDARY = "boundary"


def check_lines(wanted: Iterable[str], there: Iterable[str]) -> None:
    """Refuse the name of a line along which no section can be cut.

    Raises
    ------
    InputError
        With the names there are.

    Examples
    --------
    >>> check_lines(["lane"], ["path", "boundary"])
    Traceback (most recent call last):
    terrain3d.errors.InputError: there is no section, walk, way in or boundary 'lane' to cut a section along
      to mend: give one of 'path', 'boundary'
    """
    known = dict.fromkeys(there)
    for name in wanted:
        if name not in known:
            give = f"give one of {', '.join(map(repr, known))}" if known else "draw a [[section]] first"
            raise InputError(
                f"there is no section, walk, way in or boundary {name!r} to cut a section along", mend=give
            )
