"""One key or one table of a TOML text set, added or taken out; every other byte stays."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, takewhile
from typing import Any

from terrain3d.draft.layout import (
    Block,
    Contents,
    Layout,
    Pair,
    Path,
    Value,
    contents,
    line_end_at,
    path_words,
)
from terrain3d.draft.written import has_point, key_lines, key_text, number_text, value_text
from terrain3d.errors import InputError


class _Nothing:
    """Stands for a value that is not there."""


_NOTHING = _Nothing()
#: What is said behind a part of a list.
_COMMENT = re.compile(r"#[^\n]*")


def with_value(layout: Layout, path: Path, value: Any, order: Sequence[str] = ()) -> Layout:
    """The text with a key set, where it stands or as a new line of its table.

    Parameters
    ----------
    layout : Layout
    path : tuple of str and int
        Keys and places in lists; the last is the key.
    value : any value of TOML
    order : sequence of str
        The keys of the table in the order in which they are written.

    Raises
    ------
    InputError
        Where the text is laid out so that the key cannot be set alone.

    Examples
    --------
    >>> from terrain3d.draft.layout import layout_of
    >>> layout = layout_of("[[solid]]\\nheight = 1.5  # by tape\\n")
    >>> print(with_value(layout, ("solid", 0, "height"), 2.0).text, end="")
    [[solid]]
    height = 2.0  # by tape
    """
    said = contents(layout)
    before = value_at(said.tables, path)
    if any(_is_no_table(said.tables, path[:n], path[n]) for n in range(len(path))):
        raise odd_layout(path)
    if before is _NOTHING:
        return _as_meant(_with_new(layout, said, path, value, order), said, path, value)
    if _is_same(before, value):
        return layout
    place = _pair_of(layout, said, path)
    if place is None:
        return with_value(without(layout, path), path, value, order)
    number, pair, rest = place
    block = layout.blocks[number]
    old = value_at(block.values, pair.keys)
    new = _changed(old, rest, value)
    words = _spliced(block.body, pair.value, old, new)
    body = block.body[: pair.value.start] + words + block.body[pair.value.end :]
    return _as_meant(_with_block(layout, number, Block(block.lead, body)), said, path, value)


def without(layout: Layout, path: Path) -> Layout:
    """The text without a key or a table, its own tables within it.

    What is said right above a table goes with it, but above the first of several alike it stays where nothing
    is said above the next: it may be said of all of them.

    Raises
    ------
    InputError
        Where the text is laid out so that it cannot be taken out alone.

    Examples
    --------
    >>> from terrain3d.draft.layout import layout_of
    >>> layout = layout_of("[[solid]]\\nname = 'a'\\n\\n# the new one\\n[[solid]]\\nname = 'b'\\n")
    >>> print(without(layout, ("solid", 1)).text, end="")
    [[solid]]
    name = 'a'
    """
    said = contents(layout)
    if value_at(said.tables, path) is _NOTHING:
        return layout
    place = _pair_of(layout, said, path)
    if place is not None:
        number, pair, rest = place
        block = layout.blocks[number]
        if rest:
            old = value_at(block.values, pair.keys)
            words = _spliced(block.body, pair.value, old, _changed(old, rest, _NOTHING))
            body = block.body[: pair.value.start] + words + block.body[pair.value.end :]
        else:
            body = _without_lines(block.body, pair)
        new = _with_block(layout, number, Block(block.lead, body))
    else:
        new = _without_dotted(_without_blocks(layout, said, path), path)
    return _as_meant(new, said, path, _NOTHING)


def with_entry(layout: Layout, path: Path, table: Mapping[str, Any], order: Sequence[str] = ()) -> Layout:
    """The text with a table added to a list of tables, after those that are there.

    Parameters
    ----------
    layout : Layout
    path : tuple of str and int
        Of the list; it need not be there yet.
    table : mapping
        Its keys in the order they are written; lists of tables within it get headers of their own.
    order : sequence of str
        The tables of the text in the order in which a list that is not there yet takes its place.

    Raises
    ------
    InputError
        Where the text is laid out so that none can be added.

    Examples
    --------
    >>> from terrain3d.draft.layout import layout_of
    >>> layout = layout_of("[site]\\nname = 'x'\\n")
    >>> print(with_entry(layout, ("mount",), {"name": "pole", "at": [1, 2]}).text, end="")
    [site]
    name = 'x'
    <BLANKLINE>
    [[mount]]
    name = "pole"
    at = [1, 2]
    """
    said = contents(layout)
    there = value_at(said.tables, path)
    entries = [] if there is _NOTHING else there
    if not isinstance(entries, list):
        raise odd_layout(path)
    meant = [*entries, _plain(table)]
    if _pair_of(layout, said, path) is not None:
        return with_value(layout, path, meant)
    held = _holder(layout, said, path[:-1])
    if held is None and path[:-1]:
        return with_value(layout, path, meant)
    at = _place_for(said, path, order)
    made = list(_blocks_of(_header_keys(path), table, layout.newline, is_entry=True))
    return _as_meant(_with_new_blocks(layout, said, at, made, len(path) == 1), said, path, meant)


def odd_layout(path: Path) -> InputError:
    """The refusal of a text in which a thing cannot be changed alone."""
    return InputError(
        f"the file is laid out so that this cannot be changed alone: {path_words(path)}",
        mend="give each thing a table of its own, [[...]] with one key a line, or change it by hand",
    )


def value_at(tables: Any, path: Path) -> Any:
    """What stands at a path; a value of its own kind where nothing does."""
    here = tables
    for part in path:
        if isinstance(here, dict):
            here = here.get(part, _NOTHING) if isinstance(part, str) else _NOTHING
        elif isinstance(here, list):
            here = here[part] if isinstance(part, int) and 0 <= part < len(here) else _NOTHING
        else:
            return _NOTHING
    return here


def is_there(layout: Layout, path: Path) -> bool:
    """Whether a text says anything at a path."""
    return value_at(contents(layout).tables, path) is not _NOTHING


def _changed(value: Any, path: Path, new: Any) -> Any:
    """A value with what stands at a path in it set or taken out; the value itself stays as it is."""
    if not path:
        return new
    part, rest = path[0], path[1:]
    if isinstance(value, list) and isinstance(part, int):
        inner = _changed(value[part], rest, new)
        return [*value[:part], *([] if inner is _NOTHING else [inner]), *value[part + 1 :]]
    table = dict(value)
    inner = _changed(table.get(str(part), {}), rest, new)
    if inner is _NOTHING:
        table.pop(str(part), None)
    else:
        table[str(part)] = inner
    return table


def _as_meant(layout: Layout, before: Contents, path: Path, value: Any) -> Layout:
    """The layout, where it says just what is meant."""
    meant = _changed(before.tables, path, _NOTHING if value is _NOTHING else _plain(value))
    try:
        found = contents(layout).tables
    except ValueError:
        raise odd_layout(path) from None
    if found != meant and _without_empty(found) != _without_empty(meant):
        raise odd_layout(path)
    return layout


def _is_no_table(tables: Any, above: Path, part: str | int) -> bool:
    """Whether what stands at a place cannot hold such a part."""
    holder = value_at(tables, above)
    if holder is _NOTHING:
        return isinstance(part, int)
    if isinstance(part, int):
        return not isinstance(holder, list) or not 0 <= part < len(holder)
    return not isinstance(holder, dict)


def _without_empty(value: Any) -> Any:
    """Without lists and tables in which nothing is: one that lost its last entry has no header any more."""
    if isinstance(value, dict):
        inner = {key: _without_empty(one) for key, one in value.items()}
        return {key: one for key, one in inner.items() if one not in ({}, [])}
    return [_without_empty(one) for one in value] if isinstance(value, list) else value


def _plain(value: Any) -> Any:
    """A value as TOML gives it back."""
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value


def _is_same(before: Any, value: Any) -> bool:
    return bool(before == _plain(value)) and isinstance(before, bool) == isinstance(value, bool)


def _pair_of(layout: Layout, said: Contents, path: Path) -> tuple[int, Pair, Path] | None:
    """The block and the key in it that a path leads through, and what is left of the path in its value."""
    for number, start in _blocks_above(said, path):
        rest = path[len(start) :]
        for pair in layout.blocks[number].pairs:
            if rest[: len(pair.keys)] == pair.keys:
                return number, pair, rest[len(pair.keys) :]
    return None


def _blocks_above(said: Contents, path: Path) -> list[tuple[int, Path]]:
    """The blocks whose tables a path leads through, the nearest first."""
    above = [(n, start) for n, start in enumerate(said.paths) if path[: len(start)] == start]
    return sorted(above, key=lambda one: -len(one[1]))


def _with_block(layout: Layout, number: int, *blocks: Block) -> Layout:
    """The layout with a block in another's place; none where none is given."""
    return replace(layout, blocks=(*layout.blocks[:number], *blocks, *layout.blocks[number + 1 :]))


def _holder(layout: Layout, said: Contents, table: Path) -> tuple[int, tuple[str, ...]] | None:
    """The block whose lines are keys of a table, and the dotted keys they begin with there, if any."""
    for number, start in _blocks_above(said, table):
        rest = table[len(start) :]
        if not rest:
            return number, ()
        if any(pair.keys[: len(rest)] == rest for pair in layout.blocks[number].pairs):
            return number, tuple(str(part) for part in rest)
    return None


def _with_new(layout: Layout, said: Contents, path: Path, value: Any, order: Sequence[str]) -> Layout:
    """The layout with a key that is not there yet."""
    table, key = path[:-1], str(path[-1])
    through = _pair_of(layout, said, table) if table else None
    if through is not None:  # in brackets or braces
        return with_value(layout, table, _changed(value_at(said.tables, table), (key,), _plain(value)))
    if not table and isinstance(value, Mapping):
        made = list(_blocks_of((key,), value, layout.newline, is_entry=False))
        return _with_new_blocks(layout, said, _place_for(said, path, order), made, True)
    held = _holder(layout, said, table)
    if held is not None:
        number, dotted = held
        block = layout.blocks[number]
        body = _with_line(block, dotted, key, value, order, layout.newline)
        return _with_block(layout, number, Block(block.lead, body))
    if len(table) > 1 or not isinstance(table[0], str):
        return with_value(layout, table, {key: _plain(value)})
    first = next((n for n, start in enumerate(said.paths) if start[:1] == table), None)
    at = _place_for(said, table, order) if first is None else first
    made = list(_blocks_of((table[0],), {key: value}, layout.newline, is_entry=False))
    return _with_new_blocks(layout, said, at, made, True)


def _with_line(
    block: Block, dotted: tuple[str, ...], key: str, value: Any, order: Sequence[str], newline: str
) -> str:
    """A block's body with a key on a line of its own, where its order has it."""
    body = block.body
    beside = [pair for pair in block.pairs if pair.keys[: len(dotted)] == dotted]
    rank = {name: number for number, name in enumerate(order)}
    last = rank.get(key, len(rank))
    before = [pair for pair in beside if rank.get(pair.keys[len(dotted)], -1) <= last]
    words = ".".join(key_text(part) for part in (*dotted, key))
    if before or not beside:
        neighbour = before[-1].start if before else 0
        header_end = block.header.end if block.header is not None else 0
        place = line_end_at(body, before[-1].end if before else header_end) if body else 0
    else:
        neighbour = beside[0].start
        place = body.rfind("\n", 0, neighbour) + 1
    line = key_lines(words, value, newline, _indent(body, neighbour))
    gap = newline if place and not body[:place].endswith("\n") else ""
    return body[:place] + gap + line + body[place:]


def _indent(body: str, place: int) -> str:
    line = body[body.rfind("\n", 0, place) + 1 :]
    return "".join(takewhile(lambda letter: letter in " \t", line))


def _without_lines(body: str, pair: Pair) -> str:
    """A body without the lines of a key, what is said behind it too."""
    start = body.rfind("\n", 0, pair.start) + 1
    return body[:start] + body[line_end_at(body, pair.end) :]


def _without_dotted(layout: Layout, path: Path) -> Layout:
    """Without the lines of a table that is made of dotted keys."""
    while True:
        said = contents(layout)
        for number, start in _blocks_above(said, path):
            rest = path[len(start) :]
            block = layout.blocks[number]
            pair = next((p for p in block.pairs if rest and p.keys[: len(rest)] == rest), None)
            if pair is not None:
                layout = _with_block(layout, number, Block(block.lead, _without_lines(block.body, pair)))
                break
        else:
            return layout


def _without_blocks(layout: Layout, said: Contents, path: Path) -> Layout:
    """Without the blocks of a table and of those within it; what is said above others stays."""
    gone = [n for n, start in enumerate(said.paths) if start[: len(path)] == path]
    if not gone:
        return layout
    blocks = list(layout.blocks)
    tail = layout.tail
    for number in reversed(gone):
        after = blocks[number + 1] if number + 1 < len(blocks) else None
        kept = _kept_lead(blocks[number].lead, _is_said_of_more(blocks, number))
        if after is None:
            tail = _joined(kept, tail)
        else:
            blocks[number + 1] = Block(_joined(kept, after.lead), after.body)
        del blocks[number]
    return Layout(tuple(blocks), tail)


def _is_said_of_more(blocks: Sequence[Block], number: int) -> bool:
    """Whether what is said above a block may be said of more: above the first of several alike."""
    words, before = _header_words(blocks[number]), _header_words(blocks[number - 1])
    if number + 1 == len(blocks) or _header_words(blocks[number + 1]) != words or before[:1] == words[:1]:
        return False
    above = blocks[number + 1].lead.splitlines()[-1:]
    return not (above and above[0].strip())


def _header_words(block: Block) -> tuple[str, ...]:
    return block.header.keys if block.header is not None else ()


def _kept_lead(lead: str, is_said_of_more: bool) -> str:
    """What stays of what stood before a header that goes."""
    lines = lead.splitlines(keepends=True)
    if not is_said_of_more:
        while lines and lines[-1].strip():
            lines.pop()
    while lines and not lines[-1].strip():
        lines.pop()
    return "".join(lines)


def _joined(kept: str, lead: str) -> str:
    """Two leads as one; a comment that stays above another table keeps to itself."""
    if not kept:
        return lead
    gap = "" if not lead.strip() or lead[:1] in "\r\n" else ("\r\n" if kept.endswith("\r\n") else "\n")
    return kept + gap + lead


def _place_for(said: Contents, path: Path, order: Sequence[str]) -> int:
    """Before which block a new table goes: after the last of its kind, or of those that come before it."""
    beside = [n for n, start in enumerate(said.paths) if start[: len(path)] == path]
    if beside:
        return beside[-1] + 1
    if len(path) > 1:
        return max(n for n, start in enumerate(said.paths) if start[: len(path) - 1] == path[:-1]) + 1
    rank = {name: number for number, name in enumerate(order)}
    last = rank.get(str(path[0]), len(rank))
    before = [n for n, start in enumerate(said.paths) if start and rank.get(str(start[0]), len(rank)) <= last]
    return before[-1] + 1 if before else len(said.paths)


def _header_keys(path: Path) -> tuple[str, ...]:
    return tuple(part for part in path if isinstance(part, str))


def _blocks_of(
    keys: tuple[str, ...], table: Mapping[str, Any], newline: str, is_entry: bool
) -> Iterator[Block]:
    """A table as blocks, lists of tables within it with headers of their own."""
    words = ".".join(key_text(key) for key in keys)
    lines = [f"[[{words}]]" if is_entry else f"[{words}]", newline]
    below: list[tuple[str, Any]] = []
    for key, value in table.items():
        is_list = isinstance(value, (list, tuple)) and len(value) > 0
        if is_entry and is_list and all(isinstance(one, Mapping) for one in value):
            below.append((key, value))
        else:
            lines.append(key_lines(key_text(key), value, newline))
    yield Block("", "".join(lines))
    for key, entries in below:
        for entry in entries:
            yield from _blocks_of((*keys, key), entry, newline, is_entry=True)


def _with_new_blocks(layout: Layout, said: Contents, at: int, made: list[Block], is_apart: bool) -> Layout:
    """The layout with blocks put before another; those of the root stand apart as the others do."""
    blocks = list(layout.blocks)
    newline = layout.newline
    if blocks[at - 1].body and not blocks[at - 1].body.endswith("\n"):
        blocks[at - 1] = Block(blocks[at - 1].lead, blocks[at - 1].body + newline)
    is_first = not any(block.body for block in blocks[:at])
    apart = [block.lead for block, start in zip(blocks, said.paths, strict=True) if len(start) <= 2 and start]
    # A text whose tables follow each other without a gap gets none.
    if is_apart and not is_first and (len(apart) < 3 or any(lead[:1] in ("\n", "\r") for lead in apart)):
        made[0] = Block(newline, made[0].body)
    if is_first and at < len(blocks) and blocks[at].lead[:1] not in ("\n", "\r"):
        blocks[at] = Block(newline + blocks[at].lead, blocks[at].body)
    return replace(layout, blocks=(*blocks[:at], *made, *blocks[at:]))


def _spliced(text: str, value: Value, old: Any, new: Any) -> str:
    """The text of a value that changes: parts of it that stay are kept as they are written."""
    raw = text[value.start : value.end]
    if _is_same(old, new) and type(old) is type(new):
        return raw
    if value.items and isinstance(new, (list, tuple)) and new:
        return _spliced_list(text, value, old, new)
    if value.pairs and isinstance(new, Mapping) and new:
        return _spliced_table(text, value, old, new)
    if isinstance(new, (int, float)) and not isinstance(new, bool):
        return number_text(new, raw)
    return value_text(new, has_point(new))


def _spliced_list(text: str, value: Value, old: Sequence[Any], new: Sequence[Any]) -> str:
    """A list entry by entry: equal ones at both ends stay, those between are changed, added or dropped."""
    items = value.items or ()
    most = min(len(old), len(new))
    head = next((n for n in range(most) if not _is_same(old[n], new[n])), most)
    rest = most - head
    tail = next((n for n in range(rest) if not _is_same(old[-1 - n], new[-1 - n])), rest)
    both = min(len(old), len(new)) - head - tail
    words: list[str | None] = [text[item.start : item.end] for item in items]
    for n in range(head, head + both):
        words[n] = _spliced(text, items[n], old[n], new[n])
    for n in range(head + both, len(old) - tail):
        words[n] = None
    style = "." if "." in text[value.start : value.end] else ""
    added = [value_text(one, style or has_point(new)) for one in new[head + both : len(new) - tail]]
    return _put_together(text, value, items, words, head + both, added)


def _spliced_table(text: str, value: Value, old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """A table in braces key by key."""
    pairs = value.pairs or ()
    if any(len(pair.keys) > 1 for pair in pairs):
        return value_text(new)
    words: list[str | None] = []
    for pair in pairs:
        inner = value_at(new, pair.keys)
        if inner is _NOTHING:
            words.append(None)
        else:
            key = text[pair.start : pair.value.start]
            words.append(key + _spliced(text, pair.value, value_at(old, pair.keys), inner))
    added = [f"{key_text(key)} = {value_text(one)}" for key, one in new.items() if key not in old]
    return _put_together(text, value, pairs, words, len(pairs), added)


def _put_together(
    text: str,
    value: Value,
    parts: Sequence[Value | Pair],
    words: Sequence[str | None],
    at: int,
    added: Sequence[str],
) -> str:
    """A list or table of its parts as they are now, None for those that go, new ones before part `at`."""
    opening = text[value.start : parts[0].start]
    gaps = [text[a.end : b.start] for a, b in pairwise(parts)]
    closing = text[parts[-1].end : value.end]
    step = _step(opening, gaps)
    old = [(word, n) for n, word in enumerate(words) if word is not None]
    new = [(word, -1) for word in added]
    kept = [one for one in old if one[1] < at] + new + [one for one in old if one[1] >= at]
    if not kept:
        return opening[0] + closing[-1]
    out = [opening]
    for word, n in kept[:-1]:
        out += [word, f",{step}" if n < 0 else gaps[n] if n < len(gaps) else _carried_on(closing, step)]
    word, n = kept[-1]
    out.append(word)
    if 0 <= n < len(gaps):
        out.append(_closed_early(gaps[n], closing))
    elif n < 0:
        out.append(("," if _has_comma(closing) else "") + _end_of(closing))
    else:
        out.append(closing)
    return "".join(out)


def _step(opening: str, gaps: Sequence[str]) -> str:
    """What stands between a comma and the next part: a space, or a new line set in as the others are."""
    for gap in (*gaps, opening):
        if "\n" in gap:
            line_end = "\r\n" if "\r\n" in gap else "\n"
            return line_end + _indent(gap, len(gap))
    return " "


def _has_comma(closing: str) -> bool:
    return "," in _COMMENT.sub("", closing)


def _end_of(closing: str) -> str:
    """What closes a list, without the comma and what is said on the line of its last part."""
    place = closing.find("\n")
    if place < 0:
        return closing.replace(",", "")
    return closing[place - (closing[place - 1 : place] == "\r") :]


def _carried_on(closing: str, step: str) -> str:
    """What stands behind the last part of a list once another follows it."""
    said = _COMMENT.search(closing.partition("\n")[0])
    return "," + (f"  {said[0].rstrip()}" if said else "") + step


def _closed_early(gap: str, closing: str) -> str:
    """What closes a list whose last part is gone, behind the one before it."""
    said = _COMMENT.search(gap)
    end = _end_of(closing)
    if said is None:
        return ("," if _has_comma(closing) else "") + end
    line_end = "\r\n" if "\r\n" in gap else "\n"
    return gap[: said.end()].rstrip("\r") + ("" if end[:1] in "\r\n" else line_end) + end
