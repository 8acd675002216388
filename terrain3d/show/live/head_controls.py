"""What a person may set on one head of a unit: zones masked, sensitivity by its name, pulses."""

import difflib
from dataclasses import replace
from typing import Any

from terrain3d.detector.pose import Detector, HeadSetting
from terrain3d.errors import InputError
from terrain3d.sentences.heads import zones_words

#: What a line that is typed begins with, for a head or, where it makes sense, for the unit.
MASK, OPEN, SENSITIVITY, PULSES = "mask", "open", "sensitivity", "pulses"
WORDS = (MASK, OPEN, SENSITIVITY, PULSES)


def with_head(unit: Detector, head: int, **changes: Any) -> Detector:
    """The unit with some of a head's own settings changed, the head counted from 0.

    >>> from terrain3d.detector.types import load_type
    >>> two = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> three = with_head(two, 1, pulses=3)
    >>> three.pulses_of(1), with_head(three, 1, pulses=None) == two
    (3, True)
    """
    heads = list(unit.heads or (HeadSetting(),) * len(unit.type.head))
    heads[head] = replace(heads[head], **changes)
    is_set = any(own != HeadSetting() for own in heads)
    return replace(unit, heads=tuple(heads) if is_set else ())


def is_head_entry(text: str) -> bool:
    """Whether what was typed is for a head: it begins with one of `WORDS`, perhaps after a head's number."""
    words = text.lower().split()
    return bool(words) and (words[0] in WORDS or words[0] == "head")


def read_head_entry(text: str, unit: Detector, chosen: int | None) -> tuple[int | None, str, list[str]]:
    """What was typed for a head: which head, counted from 0, what is to be done, and the rest.

    Without a head's number it is for the chosen one, or for the only one there is.

    Raises
    ------
    InputError
        When there is no such head, or nothing after it.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> two = Detector("D1", load_type("two-head-180"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> read_head_entry("head 2 mask 3 4", two, None), read_head_entry("sensitivity low", two, 0)
    ((1, 'mask', ['3', '4']), (0, 'sensitivity', ['low']))
    """
    words, count = text.split(), len(unit.type.head)
    head = chosen if chosen is not None or count > 1 else 0
    if words[0].lower() == "head":
        number = words[1] if len(words) > 1 else ""
        if not number.isdigit() or not 1 <= int(number) <= count:
            raise InputError(f"there is no head {number or 'without a number'}", mend=f"it has 1 to {count}")
        head, words = int(number) - 1, words[2:]
        if not words:
            return head, "", []
    what = words[0].lower()
    if what not in WORDS:
        raise InputError(f"a head has no {words[0]!r} to set", mend=f"there are {', '.join(WORDS)}")
    return head, what, words[1:]


def with_head_entry(unit: Detector, head: int | None, what: str, rest: list[str]) -> Detector:
    """The unit with what was typed done; sensitivity and pulses of all of it where no head is meant.

    Raises
    ------
    InputError
        When that cannot be set.

    Examples
    --------
    >>> from terrain3d.detector.types import load_type
    >>> one = Detector("D1", load_type("one-head-90"), "pole", 0, 0, 0, 1.0, 0.0)
    >>> masked = with_head_entry(one, 0, "mask", ["3", "4"])
    >>> masked.heads[0].masked, with_head_entry(masked, 0, "open", ["4"]).heads[0].masked
    ((3, 4), (3,))
    >>> with_head_entry(masked, 0, "open", ["all"]).heads
    ()
    """
    if what in (MASK, OPEN):
        return _with_mask(unit, head, what, rest)
    if what == SENSITIVITY:
        return with_sensitivity(unit, head, " ".join(rest))
    return _with_pulses(unit, head, rest)


def next_sensitivity(unit: Detector, head: int | None) -> Detector:
    """The unit, or one head, at the next of the type's sensitivity settings, round and round.

    Raises
    ------
    InputError
        When the type names none.
    """
    names = [*(unit.type.sensitivity or {})]
    own = (unit.sensitivity,) if head is None else unit.head(head).sensitivity
    now = own[0] if own else None
    return with_sensitivity(unit, head, names[(names.index(now) + 1) % len(names)] if now in names else "")


def with_sensitivity(unit: Detector, head: int | None, name: str) -> Detector:
    """The unit, or one head, at a sensitivity setting of its type; at the first where no name is given."""
    names = [*(unit.type.sensitivity or {})]
    if not names:
        raise InputError(
            f"{unit.type.name} names no sensitivity settings", mend="write them into its type: sensitivity"
        )
    name = name or names[0]
    if name not in names:
        near = difflib.get_close_matches(name, names, n=1)
        mend = f"did you mean {near[0]!r}?" if near else f"it has {', '.join(names)}"
        raise InputError(f"{unit.type.name} has no sensitivity {name!r}", mend=mend)
    if head is None:
        return replace(unit, sensitivity=name, fill=None)
    return with_head(unit, head, sensitivity=(name,), fill=None)


def _with_mask(unit: Detector, head: int | None, what: str, rest: list[str]) -> Detector:
    if head is None:
        raise InputError("no head is chosen", mend=f"h chooses one; or type: head 1 {what} 3")
    count, own = unit.type.head[head].zones, unit.head(head)
    if what == OPEN and rest == ["all"]:
        return with_head(unit, head, masked=(), masked_deg=())
    if not rest or not all(word.strip(",").isdigit() for word in rest):
        raise InputError(f"{' '.join(rest)!r} is no zone", mend=f"type for instance: {what} 3 4")
    zones = {int(word.strip(",")) for word in rest}
    for zone in sorted(zones):
        if not 1 <= zone <= count:
            raise InputError(
                f"head {head + 1} has no zone {zone}", mend=f"its zones are 1 to {count}, from the left"
            )
    kept = {*own.masked} | zones if what == MASK else {*own.masked} - zones
    told = with_head(unit, head, masked=tuple(sorted(kept)))
    if not any(told.open_arcs(h) for h in range(len(unit.type.head))):
        raise InputError(f"with {zones_words(zones)} every zone of it is masked", mend="leave some zone open")
    return told


def _with_pulses(unit: Detector, head: int | None, rest: list[str]) -> Detector:
    offered = unit.type.pulses
    if len(rest) != 1 or not rest[0].isdigit() or int(rest[0]) not in offered:
        told = ", ".join(str(n) for n in offered)
        raise InputError(f"{unit.type.name} has no pulse setting {' '.join(rest)!r}", mend=f"it has {told}")
    pulses = int(rest[0])
    return replace(unit, pulses=pulses) if head is None else with_head(unit, head, pulses=pulses)
