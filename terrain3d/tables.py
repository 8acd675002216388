"""TOML tables as frozen, checked values, and every fault in them in words a person can act on."""

import difflib
import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, ValidationError
from pydantic.fields import FieldInfo

from terrain3d.errors import InputError
from terrain3d.outside import LOCAL_NAME, content, strange_name

#: The largest whole number of TOML.
_LARGEST = 2**63 - 1
#: A site file of a thousand outlines has a tenth of this.
MOST_BYTES = 10_000_000


class UnfitError(ValueError):
    """Keys that do not go together: what is wrong with them, and what to do."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.mend = mend


def _printable(text: str) -> str:
    """Refuse characters that steer a terminal or cannot be seen: names go to screens and files."""
    for letter in text:
        if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co", "Cn"):
            raise UnfitError(
                f"{text!r} holds the character {letter!r}, which cannot be printed", "leave it out"
            )
    return text


def _local(name: str) -> str:
    """Refuse the name of anything but a local file."""
    if fault := strange_name(name):
        raise UnfitError(fault, LOCAL_NAME)
    return name


Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Text = Annotated[str, Strict(), Field(min_length=1, max_length=300), AfterValidator(_printable)]
#: Every key that names a file is one of these, so that no library ever meets an address.
FileName = Annotated[Text, AfterValidator(_local)]

#: Tags that pydantic puts into its locations for a choice of tables; no key looks like one.
TAG_OPENS = "<"


class Table(BaseModel):
    """One table of a TOML file: unknown keys are errors, values do not change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def key(unit: str, meaning: str, **bounds: Any) -> Any:
    """What the guide and a refusal say of a key: its unit, empty where it has none, and what it means.

    Parameters
    ----------
    unit : str
        What a bare number is in, in the plural.
    meaning : str
        A clause for the table of docs/guide.md.
    **bounds
        As pydantic's `Field` takes them.
    """
    return Field(description=meaning, json_schema_extra={"unit": unit}, **bounds)


T = TypeVar("T", bound=Table)
Location = tuple[str | int, ...]


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file, unchecked."""
    text = content(path, MOST_BYTES, "name a TOML file, or keep shapes by the thousand in GeoJSON")
    try:
        # Some editors put a byte-order mark before the text.
        return tables_of(text.decode("utf-8-sig"), str(path))
    except UnicodeDecodeError:
        raise InputError("it is not a text file in UTF-8", str(path), "name a TOML file") from None


#: What people write who do not know TOML, by what it looks like on its line, and how TOML has it.
_SLIPS = (
    (re.compile(r"=\s*[-+]?\d+,\d+\s*(#.*)?$"), "write numbers with a decimal point: 1.5, not 1,5"),
    (re.compile(r'"[^"]*\\'), "write paths with forward slashes, also on Windows"),
    (re.compile(r"=\s*(?!true\b|false\b|inf\b|nan\b)[^\W\d]"), "put text in quotation marks"),
)


def not_toml(error: tomllib.TOMLDecodeError, text: str, where: str) -> InputError:
    """What to say of a text that is no TOML: where it ends to be, and what the usual slips are mended by.

    Examples
    --------
    >>> text = "height = 1,5"
    >>> try:
    ...     tomllib.loads(text)
    ... except tomllib.TOMLDecodeError as error:
    ...     not_toml(error, text, "site.toml").mend
    'write numbers with a decimal point: 1.5, not 1,5'
    """
    found = re.search(r"at line (\d+)", str(error))
    lines = text.split("\n")
    line = lines[int(found[1]) - 1].rstrip() if found and int(found[1]) <= len(lines) else ""
    mend = next((mend for slip, mend in _SLIPS if slip.search(line)), "mend the file at that line")
    return InputError(f"it is not TOML: {error}", where, mend)


def tables_of(text: str, where: str) -> dict[str, Any]:
    """The tables of a text of TOML, unchecked.

    Raises
    ------
    InputError
        Where it is none.

    Examples
    --------
    >>> tables_of("[site]\\nname = 'x'\\n", "site.toml")
    {'site': {'name': 'x'}}
    """
    try:
        found = tomllib.loads(text)
        _refuse_huge(found, where)
        return found
    except tomllib.TOMLDecodeError as error:
        raise not_toml(error, text, where) from None
    except InputError:
        raise
    except ValueError:  # Python turns no number of thousands of digits into one of its own
        raise InputError(
            "a number in it has thousands of digits", where, f"write numbers up to {_LARGEST:,}"
        ) from None
    except RecursionError:
        raise InputError(
            "its tables or lists lie too deep in each other", where, "write them flatter"
        ) from None


def _refuse_huge(value: Any, where: str, key: str = "") -> None:
    """Refuse whole numbers that TOML does not have: it asks for 64 bits (TOML 1.0, Integer)."""
    if isinstance(value, dict):
        for name, inner in value.items():
            _refuse_huge(inner, where, name)
    elif isinstance(value, list):
        for inner in value:
            _refuse_huge(inner, where, key)
    elif isinstance(value, int) and abs(value) > _LARGEST:
        raise InputError(
            f"the number {_in_brief(value)} is out of bounds",
            f"{where}: {key}",
            f"write numbers up to {_LARGEST:,}",
        )


def _in_brief(number: int) -> str:
    """A whole number of any length, in its first digits: hexadecimal takes no time."""
    digits = f"{number:#x}"
    return digits if len(digits) < 30 else f"{digits[:20]}…"


def checked(model: type[T], raw: Mapping[str, Any], where: str) -> T:
    """Build `model` from TOML tables, turning every fault into one readable message.

    Parameters
    ----------
    model : subclass of Table
    raw : mapping
        As TOML gives it.
    where : str
        The file, for the message.

    Raises
    ------
    InputError
        With the key at fault, up to five of them in one message.

    Examples
    --------
    >>> class Post(Table):
    ...     height: Annotated[Number, key("metres", "above the ground", gt=0, le=10)]
    >>> checked(Post, {"height": 11}, "site.toml")
    Traceback (most recent call last):
    terrain3d.errors.InputError: 11 is out of bounds
      where: site.toml: height
      to mend: give metres, more than 0 and at most 10
    >>> checked(Post, {"heigth": 1}, "site.toml")
    Traceback (most recent call last):
    terrain3d.errors.InputError: unknown key 'heigth'
      where: site.toml: heigth
      to mend: did you mean 'height'?
      also: the key 'height' is missing (height); add it
    """
    try:
        return model.model_validate(dict(raw))
    except ValidationError as error:
        raise _as_input_error(model, raw, error, where) from None


def _as_input_error(
    model: type[Table], raw: Mapping[str, Any], error: ValidationError, where: str
) -> InputError:
    faults: list[tuple[Location, Any]] = [
        (tuple(part for part in fault["loc"] if not str(part).startswith(TAG_OPENS)), fault)
        for fault in error.errors(include_url=False)
    ]
    # A list that lost an entry to a fault is reported as too short as well: noise.
    faults = [
        (loc, fault)
        for loc, fault in faults
        if not any(len(other) > len(loc) and other[: len(loc)] == loc for other, _ in faults)
    ]
    # A misspelt key also leaves the right one missing: say the cause first.
    faults.sort(key=lambda pair: pair[1]["type"] != "extra_forbidden")
    told = [(*_explain(model, loc, fault), _place(raw, loc)) for loc, fault in faults[:5]]
    (what, mend, place), *more = told
    for other_what, other_mend, other_place in more:
        mend += f"\n  also: {other_what} ({other_place}); {other_mend}"
    return InputError(what, f"{where}: {place}" if place else where, mend)


def _explain(model: type[Table], loc: Location, fault: Any) -> tuple[str, str]:
    """What is wrong, and what to do about it."""
    kind, value, context = fault["type"], fault["input"], fault.get("ctx", {})
    shown = repr(value) if len(repr(value)) <= 60 else repr(value)[:57] + "..."
    if kind == "extra_forbidden":
        known = sorted({info.alias or name for name, info in _fields_at(model, loc[:-1])})
        near = difflib.get_close_matches(str(loc[-1]), known, n=1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}"
        return f"unknown key {str(loc[-1])!r}", mend
    if kind == "missing" and isinstance(loc[-1], int):
        return "a number is missing", "add it"
    if kind == "missing":
        return f"the key {str(loc[-1])!r} is missing", "add it"
    if kind == "value_error":
        return str(context["error"]), getattr(context["error"], "mend", "put it right")
    if kind in ("too_short", "too_long"):
        bound = (
            f"at least {context['min_length']}" if kind == "too_short" else f"at most {context['max_length']}"
        )
        n = context["actual_length"]
        return f"{n} {'entry is' if n == 1 else 'entries are'} given", f"give {bound}"
    if kind == "string_too_short":
        return "it is empty", "write something between the quotes"
    if kind == "string_too_long":
        return f"it is {len(value)} characters long", f"use at most {context['max_length']}"
    if kind == "literal_error":
        return f"{shown} is not known here", f"use {context['expected']}"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number"):
        what = f"{shown} is out of bounds" if kind != "finite_number" else f"{shown} is no finite number"
        info = _field_at(model, loc)
        limits = " and ".join(bounds_of(info))
        return what, f"give {unit_of(info) or 'a number'}{', ' if limits else ''}{limits}"
    needed = {
        "string": "text in quotes",
        "float": "a number",
        "int": "a whole number",
        "bool": "true or false",
    }
    needed |= {"tuple": "a list, [ ... ]", "list": "a list, [ ... ]"}
    wanted = needed.get(kind.split("_")[0], "a table, [name] or [[name]] with keys below it")
    return f"{shown} is not {wanted.split(',')[0]}", f"give {wanted}"


def unit_of(info: FieldInfo) -> str:
    """What the number of a key is in; empty where it has no unit."""
    about = info.json_schema_extra
    return str(about.get("unit", "")) if isinstance(about, dict) else ""


def bounds_of(info: FieldInfo) -> tuple[str, ...]:
    """The bounds that a key states for its numbers, in words.

    >>> class Post(Table):
    ...     height: Annotated[Number, key("metres", "above the ground", gt=0, le=10)]
    >>> bounds_of(Post.model_fields["height"])
    ('more than 0', 'at most 10')
    """
    words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
    found = [
        f"{word} {_plain(getattr(limit, short))}"
        for limit in metadata_of(info)
        for short, word in words.items()
        if hasattr(limit, short)
    ]
    return tuple(dict.fromkeys(found))


def _field_at(model: type[Table], loc: Location) -> FieldInfo:
    """The key that a location is in; one that says nothing where it is not found."""
    last = max(place for place, part in enumerate(loc) if isinstance(part, str))
    near = (info for name, info in _fields_at(model, loc[:last]) if loc[last] in (name, info.alias))
    return next(near, FieldInfo())


def _plain(bound: float) -> str:
    return f"{bound:g}" if abs(bound) < 1e6 else f"{bound:,.0f}"


def metadata_of(info: FieldInfo) -> Iterator[Any]:
    """Constraints of a field and of what it is made of."""
    yield from info.metadata
    pending = [info.annotation]
    while pending:
        annotation = pending.pop()
        for part in getattr(annotation, "__metadata__", ()):
            yield from part.metadata if isinstance(part, FieldInfo) else (part,)
        pending += list(get_args(annotation))


def _place(raw: Mapping[str, Any], loc: Location) -> str:
    """A location as a person would say it: tables by their names, entries counted from one."""
    parts: list[str] = []
    here: Any = raw
    for index, part in enumerate(loc):
        below = _entry(here, part)
        if isinstance(part, int):
            name = below.get("name") if isinstance(below, dict) else None
            parts[-1] += f" {name!r}" if isinstance(name, str) and index else f" number {part + 1}"
        else:
            parts.append(part)
        here = below
    return ", ".join(parts[:-1]) + (": " if len(parts) > 1 else "") + (parts[-1] if parts else "")


def _entry(here: Any, part: str | int) -> Any:
    if isinstance(here, list):
        return here[part] if isinstance(part, int) and part < len(here) else None
    return here.get(part) if isinstance(here, dict) else None


def _fields_at(model: type[Table], loc: Location) -> list[tuple[str, FieldInfo]]:
    """The fields of the table at a location, following the models' own fields."""
    models: list[type[Table]] = [model]
    for part in loc:
        if isinstance(part, int):
            continue
        models = [
            inner
            for owner in models
            for name, info in owner.model_fields.items()
            if part in (name, info.alias)
            for inner in _models_in(info.annotation)
        ]
    return [pair for owner in models for pair in owner.model_fields.items()]


def _models_in(annotation: Any) -> list[type[Table]]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [inner for arg in get_args(annotation) for inner in _models_in(arg)]
