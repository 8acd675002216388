"""Tables put into the text of a site file: at its end or in the place of others; every other byte stays."""

import datetime
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from copy import deepcopy
from itertools import pairwise
from typing import Any

from terrain3d.errors import InputError
from terrain3d.tables import not_toml

#: A line that opens a table; one within a text of several lines looks the same, so what comes of it is read
#: again.
HEADER = re.compile(r"^[ \t]*\[{1,2}[ \t]*([^\]\r\n]*?)[ \t]*\]{1,2}[ \t]*(?:#[^\r\n]*)?\r?$", re.MULTILINE)


def with_tables(text: str, kind: str, tables: list[tuple[dict[str, Any], str]], where: str = "") -> str:
    """The text of a site file with tables of one kind added at its end.

    Parameters
    ----------
    text : str
    kind : str
        Such as "mount": each table opens with `[[mount]]`.
    tables : list of (table, comment)
        Tables as plain values, lists of tables within them too; a comment goes right under the header
        of its table, none where it is empty.
    where : str
        Names the file in messages.

    Raises
    ------
    InputError
        Where a table has the name of one that is there, or the file is laid out so that none can be added.

    Examples
    --------
    >>> print(with_tables("[site]", "mount", [({"name": "pole", "at": [1.0, 2.0]}, "by the gate")]))
    [site]
    <BLANKLINE>
    [[mount]]
    # by the gate
    name = "pole"
    at = [1.0, 2.0]
    <BLANKLINE>
    """
    data = parsed(text, where)
    there = entries(data, kind, where)
    names = {entry.get("name") for entry in there}
    for table, _ in tables:
        if table["name"] in names:
            raise InputError(
                f"there is a {kind} named {table['name']!r} already",
                f"{where}: {kind}" if where else kind,
                "rename one of them; the file is as it was",
            )
        names.add(table["name"])
    new = text
    for table, comment in tables:
        new = _appended(new, written(kind, table, comment, line_end(text)))
    meant = deepcopy(data)
    if tables:
        meant[kind] = [*there, *(table for table, _ in tables)]
    if not _says(new, meant):
        raise odd_layout(kind, where)
    return new


def with_table_replaced(text: str, kind: str, table: dict[str, Any], comment: str, where: str = "") -> str:
    """The text of a site file with the table of that kind and name replaced, where it stands.

    What was written within the old table, comments too, goes with it.
    """
    data = parsed(text, where)
    place = [entry.get("name") for entry in entries(data, kind, where)].index(table["name"])
    meant = deepcopy(data)
    meant[kind][place] = table
    block = written(kind, table, comment, line_end(text))
    for start, end in _spans(text, kind):
        new = text[:start] + block + text[end:]
        if _says(new, meant):
            return new
    raise odd_layout(kind, where)


def parsed(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise not_toml(error, text, where) from None


def entries(data: dict[str, Any], kind: str, where: str) -> list[dict[str, Any]]:
    """The tables of a kind; none where there are none."""
    there = data.get(kind, [])
    if not isinstance(there, list) or not all(isinstance(entry, dict) for entry in there):
        raise odd_layout(kind, where)
    return there


def odd_layout(kind: str, where: str) -> InputError:
    return InputError(
        f"the file is laid out so that no [[{kind}]] can be put into it alone",
        where,
        f"give each {kind} a [[{kind}]] table of its own, or type it in by hand; the file is as it was",
    )


def line_end(text: str) -> str:
    """How a text ends its lines, by its first one."""
    return "\r\n" if text.partition("\n")[0].endswith("\r") else "\n"


def written(kind: str, table: Mapping[str, Any], comment: str, newline: str) -> str:
    """A table as text, its comment under its header, every line ended.

    >>> table = {"name": "a", "detector": [{"name": "D1", "height": 1.0}]}
    >>> print(written("option", table, "the best one", "\\n"), end="")
    [[option]]
    # the best one
    name = "a"
    [[option.detector]]
    name = "D1"
    height = 1.0
    """
    lines = [f"[[{kind}]]", *([f"# {comment}"] if comment else [])]
    later = []
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            later += [written(f"{kind}.{key}", entry, "", newline) for entry in value]
        else:
            lines.append(f"{key} = {value_text(value)}")
    return newline.join([*lines, ""]) + "".join(later)


def value_text(value: Any) -> str:
    """A value as TOML; JSON's quoting of texts is TOML's as well.

    >>> print(*(value_text(value) for value in ('a "b" ü', [1, 2.5], True, 1e-9, -0.0)))
    "a \\"b\\" ü" [1, 2.5] true 1e-09 0.0
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(value_text(part) for part in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return repr(value + 0)


def _appended(text: str, block: str) -> str:
    newline = line_end(block)
    if text and not text.endswith("\n"):
        text += newline
    return text + (newline if text.strip() else "") + block


def _says(text: str, meant: dict[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == meant
    except tomllib.TOMLDecodeError:
        return False


def _spans(text: str, kind: str) -> Iterator[tuple[int, int]]:
    """From where to where each table of a kind may stand, its own tables within it."""
    headers = [(match.start(), re.sub(r"[\"'\s]", "", match[1])) for match in HEADER.finditer(text)]
    starts = [at for at, name in headers if name == kind]
    others = [at for at, name in headers if name != kind and not name.startswith(f"{kind}.")]
    for start, after in pairwise([*starts, len(text)]):
        end = min([after, *(at for at in others if at > start)])
        # What is said right above the next table, or after a blank line, is said about what follows.
        body = text[start:end].splitlines(keepends=True)
        while len(body) > 1 and (not body[-1].strip() or body[-1].lstrip().startswith("#")):
            body.pop()
        yield start, start + len("".join(body))
