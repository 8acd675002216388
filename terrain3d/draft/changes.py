"""What differs between two drafts, thing by thing."""

from collections.abc import Iterator, Mapping
from typing import Any

from terrain3d.draft.kinds import kind_of
from terrain3d.sentences.changes import Change, change_words


def changes_between(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, ...]:
    """What was changed from the tables of one draft to those of another, in words.

    Examples
    --------
    >>> old = {"mount": [{"name": "pole", "at": [1, 2]}], "site": {"name": "x"}}
    >>> new = {"mount": [{"name": "post", "at": [1, 2]}], "site": {"name": "x", "cell": 0.5}}
    >>> changes_between(old, new)
    ("mount 'post': was named 'pole'", '[site]: cell 0.5')
    """
    return tuple(change_words(one) for one in _changes(before, after))


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    for table in dict.fromkeys((*before, *after)):
        old, new = before.get(table), after.get(table)
        if old == new:
            continue
        if isinstance(old, list) or isinstance(new, list):
            yield from _of_entries(table, _entries(old), _entries(new), "")
        else:
            yield from _of_table(table, old, new)


def _entries(value: Any) -> list[dict[str, Any]]:
    rows = value if isinstance(value, list) else [value]
    return [one for one in rows if isinstance(one, dict)]


def _of_table(table: str, old: Any, new: Any) -> Iterator[Change]:
    """Of a table that there is once."""
    kind = kind_of(table, new if isinstance(new, dict) else old if isinstance(old, dict) else {})
    thing = f"[{table}]" if kind is None else kind.name
    if not isinstance(old, dict):
        yield Change(thing, "added")
    elif not isinstance(new, dict):
        yield Change(thing, "removed")
    else:
        yield _set(thing, old, new, "" if kind is None else kind.points_key)


def _of_entries(
    table: str, old: list[dict[str, Any]], new: list[dict[str, Any]], of: str
) -> Iterator[Change]:
    """Of a list of tables: those of one name are one thing, and those that differ by their name alone."""
    pairs, left = _paired(old, new)
    for same, entry in pairs:
        thing = _called(table, entry) + of
        if same is None:
            yield Change(thing, "added")
        elif same != entry:
            if same.get("name") != entry.get("name"):
                yield Change(thing, "renamed", (("name", same.get("name"), entry.get("name")),))
            units = "detector" if table == "option" else ""
            kind = kind_of(table, entry)
            own = _set(thing, same, entry, "" if kind is None else kind.points_key, ("name", units))
            if own.keys:
                yield own
            if units:
                inner = f" of option {entry.get('name')!r}"
                yield from _of_entries(
                    "unit", _entries(same.get(units, [])), _entries(entry.get(units, [])), inner
                )
    for one in left:
        yield Change(_called(table, one) + of, "removed")


def _paired(
    old: list[dict[str, Any]], new: list[dict[str, Any]]
) -> tuple[list[tuple[dict[str, Any] | None, dict[str, Any]]], list[dict[str, Any]]]:
    """Each table of now with what it was, and those that are gone."""
    named: dict[Any, list[dict[str, Any]]] = {}
    for one in old:
        named.setdefault(str(one.get("name")), []).append(one)
    pairs: list[tuple[dict[str, Any] | None, dict[str, Any]]] = []
    for entry in new:
        of_its_name = named.get(str(entry.get("name")), [])
        same = entry if entry in of_its_name else next(iter(of_its_name), None)
        if same is not None:
            same = of_its_name.pop(of_its_name.index(same))
        pairs.append((same, entry))
    left = [(_unnamed(one), one) for rest in named.values() for one in rest]
    for place, (same, entry) in enumerate(pairs):
        if same is None and left:
            keys = _unnamed(entry)
            alike = next((n for n, (other, _) in enumerate(left) if other == keys), None)
            if alike is not None:
                pairs[place] = (left.pop(alike)[1], entry)
    return pairs, [one for _, one in left]


def _unnamed(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key != "name"}


def _called(table: str, entry: Mapping[str, Any]) -> str:
    kind = kind_of(table, entry)
    name = f" {entry['name']!r}" if "name" in entry else ""
    return f"{table if kind is None else kind.name}{name}"


def _set(
    thing: str, old: Mapping[str, Any], new: Mapping[str, Any], points: str, but: tuple[str, ...] = ()
) -> Change:
    keys = tuple(
        (key, old.get(key), new.get(key))
        for key in dict.fromkeys((*old, *new))
        if key not in but and old.get(key) != new.get(key)
    )
    return Change(thing, "set", keys, points)
