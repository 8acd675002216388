"""Where a site file names what is drawn in it: followed when a name changes, asked when a thing goes."""

from collections.abc import Iterator
from typing import Any

from terrain3d.draft.document import Draft, edited
from terrain3d.draft.edits import is_there
from terrain3d.draft.layout import Path as Place
from terrain3d.errors import InputError
from terrain3d.wording import listed

#: Where each table's names are named: keys, with `*` for every entry of a list.
_NAMED_AT: dict[str, tuple[tuple[str, ...], ...]] = {
    "mount": (
        ("option", "*", "detector", "*", "mount"),
        ("ground", "shots", "*", "from"),
        ("ground", "shots", "*", "name"),
        ("supply", "run", "*", "from"),
        ("supply", "run", "*", "to"),
    ),
    "option": (("walk_tested", "*", "name"),),
    "mark": (("ground", "shots", "*", "from"), ("ground", "shots", "*", "name")),
    "solid": (("scenario", "*", "without", "*"),),
    "foliage": (("scenario", "*", "without", "*"),),
    "figure": (("site", "figure"), ("walk", "*", "figure"), ("routes", "figure")),
}
#: Tables whose names are told apart from each other: shots name mounts and marks, scenarios what stands.
_TOGETHER = (("mount", "mark"), ("solid", "foliage"))


def check_free(draft: Draft, table: str, name: str) -> None:
    """Refuse a name that another thing of the same kind has.

    Raises
    ------
    InputError
    """
    for other in _together(table):
        if name in _names(draft, other):
            raise InputError(
                f"something is named {name!r} already", f"{draft.where}: {other}", "give it another name"
            )


def followed(draft: Draft, table: str, old: str, new: str) -> Draft:
    """The draft in which whatever named a thing by its old name names it by its new one.

    Where another thing still has the old name, a scenario that is about both goes on to name both.
    """
    is_still_there = any(old in _names(draft, one) for one in _together(table))
    for place in named_at(draft, table, old):
        if not is_still_there:
            draft = edited(draft, place, new)
        elif place[0] == "scenario":
            names = draft.get(place[:-1])
            draft = edited(draft, place[:-1], [*names, new])
    return draft


def check_nothing_hangs(draft: Draft, table: str, name: str, is_taken_too: bool) -> None:
    """Refuse to take away what something hangs on.

    Raises
    ------
    InputError
    """
    if _is_one_of_several(draft, table, name):
        return
    taped = [place for place in named_at(draft, table, name) if place[0] == "ground"]
    if taped:
        raise InputError(
            f"a line of tape is held at {name!r}", f"{draft.where}: ground: shots", "take that out first"
        )
    if is_taken_too:
        return
    units = [place[:-1] for place in named_at(draft, table, name) if place[-1] == "mount"]
    if units:
        words = [f"{draft.get((*unit, 'name'))} of {draft.get((*unit[:2], 'name'))!r}" for unit in units]
        raise InputError(
            f"on {name!r} there is {listed(words)}", draft.where, "move it to another mount, or remove it too"
        )
    if any(place[0] == "supply" for place in named_at(draft, table, name)):
        raise InputError(
            f"a cable leads to {name!r}", f"{draft.where}: supply", "lead it elsewhere, or remove it too"
        )
    about = [str(draft.get((*place, "name"))) for place in _scenarios_about(draft, table, name)]
    if about:
        raise InputError(
            f"the scenario {listed([repr(one) for one in about])} is about {name!r} alone",
            draft.where,
            "remove that too, or leave it",
        )


def without_what_hangs(draft: Draft, table: str, name: str) -> Draft:
    """The draft without whatever names a thing that is to go."""
    if _is_one_of_several(draft, table, name):
        return draft
    for place in reversed(_scenarios_about(draft, table, name)):
        draft = edited(draft, place, None)
    for place in reversed(named_at(draft, table, name)):
        if place[0] == "scenario":
            left = [one for one in draft.get(place[:-1]) if one != name]
            draft = edited(draft, place[:-1], left or None)
        elif place[0] == "supply" and is_there(draft.layout, place):  # a run may name it at both its ends
            draft = edited(draft, place[:-1], None)
        elif place[0] == "option":
            draft = without_unit(draft, place[:-1])
    return draft


def without_unit(draft: Draft, place: Place) -> Draft:
    """The draft without a unit, and without its option where that has no other."""
    others = len(draft.get(place[:-1]))
    return edited(draft, place if others > 1 else place[:2], None)


def _together(table: str) -> tuple[str, ...]:
    """Tables whose names are named at the same places."""
    return next((both for both in _TOGETHER if table in both), (table,))


def _names(draft: Draft, table: str) -> list[str]:
    """Names of a table's entries."""
    entries = draft.get((table,), [])
    names = [one.get("name") for one in entries if isinstance(one, dict)] if isinstance(entries, list) else []
    return [name for name in names if isinstance(name, str)]


def _is_one_of_several(draft: Draft, table: str, name: str) -> bool:
    """Whether another thing has that name, so that what names it still finds one."""
    return sum(_names(draft, one).count(name) for one in _together(table)) > 1


def named_at(draft: Draft, table: str, name: str) -> list[Place]:
    """Where a thing is named."""
    return [
        place
        for pattern in _NAMED_AT.get(table, ())
        for place, value in _matching(draft.tables, pattern)
        if value == name
    ]


def _matching(value: Any, pattern: tuple[str, ...], above: Place = ()) -> Iterator[tuple[Place, Any]]:
    if not pattern:
        yield above, value
    elif pattern[0] == "*" and isinstance(value, list):
        for number, entry in enumerate(value):
            yield from _matching(entry, pattern[1:], (*above, number))
    elif isinstance(value, dict) and pattern[0] in value:
        yield from _matching(value[pattern[0]], pattern[1:], (*above, pattern[0]))


def _scenarios_about(draft: Draft, table: str, name: str) -> list[Place]:
    """Scenarios that would change nothing without a thing."""
    found: list[Place] = []
    for place in named_at(draft, table, name):
        if place[0] != "scenario" or place[:2] in found:
            continue
        keys = draft.get(place[:2])
        changes = keys.get("leaves", 1) != 1 or keys.get("growth", 0) != 0
        if not changes and all(one == name for one in keys["without"]):
            found.append(place[:2])
    return found
