"""Where each table, key and value of a TOML text stands, so that one of them can be changed alone.

A text is cut into blocks: what stands before the first header, then one block for each header. The parts of a
text put together again are the text, to the letter; a change makes one block anew and shares all others.
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

from terrain3d.errors import InputError
from terrain3d.tables import tables_of

#: Keys of tables and places in lists, from the root of the text to a value.
Path = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', re.DOTALL
)
#: A number, a date, true or false; a date may have one space before its time.
_BARE = re.compile(r"[^\s,\[\]{}#\"'=]+(?: [0-9][^\s,\[\]{}#\"'=]*)?")
_KEY_PART = r"""(?:[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
_KEYS = re.compile(rf"{_KEY_PART}(?:[ \t]*\.[ \t]*{_KEY_PART})*")
_BARE_KEYS = re.compile(r"[A-Za-z0-9_.-]+")
_HEADER = re.compile(rf"(\[\[?)[ \t]*({_KEYS.pattern})[ \t]*\]\]?")
_EQUALS = re.compile(r"[ \t]*=[ \t]*")


@dataclass(frozen=True)
class Value:
    """A value by where it stands: a list has `items`, a table in braces `pairs`, all else neither."""

    start: int
    end: int
    items: tuple["Value", ...] | None = None
    pairs: tuple["Pair", ...] | None = None


@dataclass(frozen=True)
class Pair:
    """A key, dotted where it has several parts, and its value."""

    keys: tuple[str, ...]
    start: int
    value: Value

    @property
    def end(self) -> int:
        return self.value.end


@dataclass(frozen=True)
class Header:
    """A line that opens a table, or with two brackets an entry of a list of tables."""

    keys: tuple[str, ...]
    is_entry: bool
    start: int
    end: int


@dataclass(frozen=True)
class Block:
    """A header with the lines below it, up to the next header.

    Parameters
    ----------
    lead : str
        Blank lines and comments before its header: what is said about it.
    body : str
        The header's line and those of its keys.
    """

    lead: str
    body: str

    @cached_property
    def _items(self) -> tuple[Header | Pair, ...]:
        return tuple(_scanned(self.body))

    @property
    def header(self) -> Header | None:
        """None for what stands before the first header of a text."""
        first = self._items[0] if self._items else None
        return first if isinstance(first, Header) else None

    @property
    def pairs(self) -> tuple[Pair, ...]:
        return tuple(item for item in self._items if isinstance(item, Pair))

    @cached_property
    def values(self) -> dict[str, Any]:
        """Its keys, without the tables of blocks below it; not to be changed."""
        start = 0 if self.header is None else self.header.end
        return tomllib.loads(self.body[start:])


@dataclass(frozen=True)
class Layout:
    """A TOML text in blocks, the first without a header, and what is said at its end."""

    blocks: tuple[Block, ...]
    tail: str = ""

    @property
    def text(self) -> str:
        return "".join(part for block in self.blocks for part in (block.lead, block.body)) + self.tail

    @property
    def newline(self) -> str:
        """How its lines end, by the first one."""
        parts = (part for block in self.blocks for part in (block.lead, block.body))
        first = next((part for part in (*parts, self.tail) if "\n" in part), "")
        return "\r\n" if first.partition("\n")[0].endswith("\r") else "\n"


@dataclass(frozen=True)
class Contents:
    """What a layout says: its tables, and the path of the table that each block opens."""

    tables: dict[str, Any]
    paths: tuple[Path, ...]


def layout_of(text: str, where: str = "") -> Layout:
    """A TOML text cut into blocks.

    Raises
    ------
    InputError
        Where it is not TOML.

    Examples
    --------
    >>> layout = layout_of("# a farm\\n[site]\\nname = 'x'\\n\\n# by the gate\\n[[mount]]\\nat = [1, 2]\\n")
    >>> [block.lead for block in layout.blocks]
    ['', '# a farm\\n', '\\n# by the gate\\n']
    >>> contents(layout).paths
    ((), ('site',), ('mount', 0))
    """
    tables_of(text, where)
    try:
        items = list(_scanned(text))
    except RecursionError:
        mend = "write them flatter"
        raise InputError("its tables or lists lie too deep in each other", where, mend) from None
    blocks: list[Block] = []
    lead, start, stop = "", 0, 0
    for item in items:
        if isinstance(item, Header):
            line_start = text.rfind("\n", 0, item.start) + 1
            # What stands at the top of a text without keys before its first header is said about that.
            above, below = _parted(text[stop:line_start], is_last=False) if stop else ("", text[:line_start])
            blocks.append(Block(lead, text[start:stop] + above))
            lead, start = below, line_start
        stop = line_end_at(text, item.end)
    if not items:
        return Layout((Block("", ""),), text)
    above, tail = _parted(text[stop:], is_last=True)
    blocks.append(Block(lead, text[start:stop] + above))
    return Layout(tuple(blocks), tail)


@lru_cache(maxsize=8)
def contents(layout: Layout) -> Contents:
    """The tables of a layout, shared by all who ask: not to be changed.

    >>> contents(layout_of("a.b = 1\\n[[c]]\\n[c.d]\\ne = 2\\n")).tables
    {'a': {'b': 1}, 'c': [{'d': {'e': 2}}]}
    """
    root = _own(layout.blocks[0].values)
    paths: list[Path] = [()]
    for block in layout.blocks[1:]:
        header = block.header
        if header is None:
            raise AssertionError("a block after the first has no header")
        here: Any = root
        path: list[str | int] = []
        for key in header.keys[:-1]:
            here = here.setdefault(key, {})
            path.append(key)
            if isinstance(here, list):
                path.append(len(here) - 1)
                here = here[-1]
        last = header.keys[-1]
        path.append(last)
        if header.is_entry:
            entries = here.setdefault(last, [])
            path.append(len(entries))
            entries.append(_own(block.values))
        else:
            here.setdefault(last, {}).update(_own(block.values))
        paths.append(tuple(path))
    return Contents(root, tuple(paths))


def path_words(path: Path) -> str:
    """A path as it is told, places in lists counted from one.

    >>> path_words(("option", 0, "detector", 1, "mount"))
    'option 1 detector 2 mount'
    """
    return " ".join(str(part + 1) if isinstance(part, int) else part for part in path)


def line_end_at(text: str, place: int) -> int:
    """Where the line of a place ends, its line end within it."""
    end = text.find("\n", place)
    return len(text) if end < 0 else end + 1


def _own(values: dict[str, Any]) -> dict[str, Any]:
    """A copy that tables of other blocks may be put into; those never go into what is in brackets."""
    return {key: _own(value) if isinstance(value, dict) else value for key, value in values.items()}


def _parted(between: str, is_last: bool) -> tuple[str, str]:
    """Comments and blank lines: what still belongs to the block above, and what is said about the next.

    What is said right above a header, or after a blank line, is said about what follows.
    """
    lines = between.splitlines(keepends=True)
    said = next((n for n, line in enumerate(lines) if not line.strip()), len(lines))
    if said == len(lines) and not is_last:
        said = 0
    return "".join(lines[:said]), "".join(lines[said:])


def _scanned(text: str) -> Iterator[Header | Pair]:
    """The headers and keys of a text that is TOML, in order."""
    place = _past(_GAP, text, 0)
    while place < len(text):
        if text[place] == "[":
            found = _HEADER.match(text, place)
            if found is None:
                raise ValueError(f"no header at {place}")
            yield Header(_keys(found[2]), found[1] == "[[", place, found.end())
            place = found.end()
        else:
            pair = _pair(text, place)
            yield pair
            place = pair.end
        place = _past(_GAP, text, place)


def _pair(text: str, place: int) -> Pair:
    found = _KEYS.match(text, place)
    if found is None:
        raise ValueError(f"no key at {place}")
    return Pair(_keys(found[0]), place, _value(text, _past(_EQUALS, text, found.end())))


def _value(text: str, place: int) -> Value:
    first = text[place]
    if first == "[":
        items = []
        at = _past(_GAP, text, place + 1)
        while text[at] != "]":
            items.append(_value(text, at))
            at = _past_comma(text, items[-1].end)
        return Value(place, at + 1, items=tuple(items))
    if first == "{":
        pairs = []
        at = _past(_GAP, text, place + 1)
        while text[at] != "}":
            pairs.append(_pair(text, at))
            at = _past_comma(text, pairs[-1].end)
        return Value(place, at + 1, pairs=tuple(pairs))
    found = (_STRING if first in "\"'" else _BARE).match(text, place)
    if found is None:
        raise ValueError(f"no value at {place}")
    return Value(place, found.end())


def _past_comma(text: str, place: int) -> int:
    at = _past(_GAP, text, place)
    return _past(_GAP, text, at + 1) if text[at] == "," else at


def _past(pattern: re.Pattern[str], text: str, place: int) -> int:
    found = pattern.match(text, place)
    return place if found is None else found.end()


def _keys(raw: str) -> tuple[str, ...]:
    """The parts of a dotted key.

    >>> _keys('a.b'), _keys('"a.b" . c')
    (('a', 'b'), ('a.b', 'c'))
    """
    if _BARE_KEYS.fullmatch(raw):
        return tuple(raw.split("."))
    parts = []
    here: Any = tomllib.loads(f"{raw} = 0")
    while isinstance(here, dict):
        ((part, here),) = here.items()
        parts.append(part)
    return tuple(parts)
