"""What a site file lists by name and does not draw: scenarios, and figures of its own."""

from collections.abc import Mapping
from typing import Any

from terrain3d.draft.document import TABLES, Draft, edited, rounded, with_table
from terrain3d.draft.kinds import Field, field_of, keys_of
from terrain3d.draft.layout import Path as Place
from terrain3d.draft.layout import path_words
from terrain3d.draft.references import check_free, followed, named_at
from terrain3d.errors import InputError
from terrain3d.site import FigureShape, ScenarioShape
from terrain3d.tables import Table, checked

#: The tables, and what checks an entry of each.
LISTED: dict[str, type[Table]] = {"scenario": ScenarioShape, "figure": FigureShape}


def listed_fields(table: str) -> tuple[Field, ...]:
    """The keys of an entry beside its name.

    >>> [field.key for field in listed_fields("scenario")]
    ['without', 'leaves', 'growth']
    """
    fields = LISTED[table].model_fields.items()
    return tuple(field_of(info.alias or key, info) for key, info in fields if key != "name")


def listed(draft: Draft, table: str) -> tuple[Mapping[str, Any], ...]:
    """The entries of such a table, in order."""
    return tuple(draft.entries((table,)))


def added_entry(draft: Draft, table: str, values: Mapping[str, Any]) -> Draft:
    """The draft with an entry more.

    Parameters
    ----------
    draft : Draft
    table : str
        Of `LISTED`.
    values : mapping
        Its keys, `name` among them.

    Raises
    ------
    InputError
        Where its name is taken, or a value cannot be.

    Examples
    --------
    >>> from terrain3d.draft.document import draft_of
    >>> print(added_entry(draft_of(b"", None), "scenario", {"name": "winter", "leaves": 0.2}).text, end="")
    [[scenario]]
    name = "winter"
    leaves = 0.2
    """
    given = {key: rounded(value, 6) for key, value in values.items() if value is not None}
    entry = {key: given[key] for key in keys_of(LISTED[table]) if key in given} | given
    checked(LISTED[table], entry, f"{draft.where}: {table}")
    check_free(draft, table, entry["name"])
    return with_table(draft, (table,), entry, TABLES)


def set_entry(draft: Draft, table: str, name: str, values: Mapping[str, Any]) -> Draft:
    """The draft with keys of an entry set; None takes one out, and another `name` is followed.

    Raises
    ------
    InputError
        Where there is no such entry, or a value cannot be.
    """
    place, entry = _entry(draft, table, name)
    new = {key: rounded(value, 6) for key, value in values.items()}
    meant = {key: value for key, value in {**entry, **new}.items() if value is not None}
    checked(LISTED[table], meant, f"{draft.where}: {table} {name!r}")
    if meant["name"] != name:
        check_free(draft, table, meant["name"])
    for key, value in new.items():
        draft = edited(draft, (*place, key), value, keys_of(LISTED[table]))
    return followed(draft, table, name, meant["name"]) if meant["name"] != name else draft


def removed_entry(draft: Draft, table: str, name: str) -> Draft:
    """The draft without an entry.

    Raises
    ------
    InputError
        Where there is none, or something names it.
    """
    place, _ = _entry(draft, table, name)
    if names := named_at(draft, table, name):
        where = path_words(names[0])
        raise InputError(f"{name!r} is named by {where}", draft.where, "name another there first")
    return edited(draft, place, None)


def _entry(draft: Draft, table: str, name: str) -> tuple[Place, dict[str, Any]]:
    for number, entry in enumerate(draft.entries((table,))):
        if entry.get("name") == name:
            return (table, number), entry
    known = ", ".join(str(entry.get("name")) for entry in draft.entries((table,))) or "none"
    raise InputError(f"there is no {table} {name!r}", draft.where, f"known: {known}")
