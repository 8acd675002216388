"""Write what is made from the code: the JSON Schema of results.json and the tables of docs/.

    .venv/bin/python scripts/write_docs.py

Between the marks `<!-- NAME -->` and `<!-- end NAME -->` of a page all is written anew; a test says when it
should have been.
"""

import datetime
import json
import re
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from terrain3d.detector.figures import known_figures
from terrain3d.detector.types import DetectorType, builtin_names, load_type
from terrain3d.paper.schema import schema_text
from terrain3d.site import FileRef, Site
from terrain3d.tables import Table, bounds_of, metadata_of, unit_of
from terrain3d.walk.bodies import body_of

ROOT = Path(__file__).resolve().parents[1]
SCHEMA = ROOT / "terrain3d" / "paper" / "results.schema.json"
RESULTS, GUIDE = ROOT / "docs" / "results.md", ROOT / "docs" / "guide.md"

Node = dict[str, Any]


def main() -> None:
    """Write all of them."""
    for path, text in written().items():
        path.write_text(text, encoding="utf-8")


def written() -> dict[Path, str]:
    """Every file that is made from the code, with its text as it should be."""
    schema = schema_text()
    guide = with_part(GUIDE.read_text(encoding="utf-8"), "figures", figures_table())
    guide = with_part(guide, "site keys", settings_table(site_rows()))
    guide = with_part(guide, "built-in types", types_table())
    return {
        SCHEMA: schema,
        RESULTS: with_part(RESULTS.read_text(encoding="utf-8"), "keys", keys_page(json.loads(schema))),
        GUIDE: with_part(guide, "type keys", settings_table(type_rows())),
    }


def with_part(page: str, name: str, text: str) -> str:
    """A page with the text between two marks replaced.

    >>> with_part("a <!-- x -->old<!-- end x --> b", "x", "new")
    'a <!-- x -->new<!-- end x --> b'
    """
    begin, end = f"<!-- {name} -->", f"<!-- end {name} -->"
    head, rest = page.split(begin)
    return f"{head}{begin}{text}{end}{rest.split(end)[1]}"


def keys_page(schema: Node) -> str:
    """A table for each object of a file, in the order one meets them from the top."""
    places: dict[str, str] = {}
    _place(schema, "", schema, places)
    blocks = [_block("results.json", schema, places)]
    blocks += [_block(place, schema["$defs"][name], places) for name, place in places.items()]
    return "\n\n" + "\n".join(blocks) + "\n"


def _place(node: Node, path: str, schema: Node, places: dict[str, str]) -> None:
    """Where each object is met first."""
    for key, value in node["properties"].items():
        for name, many in _objects(value):
            if name not in places:
                place = f"{path}.{key}".lstrip(".") + "[]" * many
                places[name] = place
                _place(schema["$defs"][name], place, schema, places)


def _objects(value: Node) -> Iterator[tuple[str, bool]]:
    """Names of the objects that a key may hold, and whether in a list."""
    if "$ref" in value:
        yield value["$ref"].rpartition("/")[2], False
    for choice in value.get("anyOf", ()):
        yield from _objects(choice)
    if "items" in value:
        yield from ((name, True) for name, _ in _objects(value["items"]))


def _block(place: str, node: Node, places: dict[str, str]) -> str:
    rows = [
        f"| `{key}` | {_kind(value, places)} | {_meaning(value, key in node['required'])} |"
        for key, value in node["properties"].items()
    ]
    return "\n".join(
        [
            f"### {place}",
            "",
            node["description"],
            "",
            "| key | holds | meaning |",
            "| --- | --- | --- |",
            *rows,
            "",
        ]
    )


def _kind(value: Node, places: dict[str, str]) -> str:
    """What a key holds, short."""
    orders = ["or null"] if "x-null" in value else []
    found = [f"[{places[name]}](#{slug(places[name])})" for name, _ in _objects(value)]
    if found:
        many = "list of " if any(many for _, many in _objects(value)) else ""
        return " ".join([many + found[0], *orders])
    choices = [choice for choice in value.get("anyOf", [value]) if choice.get("type") != "null"]
    return " ".join([_plain(choices[0], value.get("x-unit", "")), *orders])


def _plain(value: Node, unit: str) -> str:
    kind = value.get("type")
    if "enum" in value:
        return " or ".join(f'"{word}"' for word in value["enum"])
    if "const" in value:
        return f'"{value["const"]}"'
    if kind == "array":
        inner = value.get("items") or {}
        if "prefixItems" in value:
            return f"[{', '.join([unit] * len(value['prefixItems']))}]"
        return f"list of {_plain(inner, unit)}"
    if kind == "object":
        return f"{unit} by layer and cause"
    words = {"string": "text", "boolean": "true or false", "number": unit, "integer": unit}
    return {"date": "date"}.get(value.get("format", ""), words[str(kind)])


def _meaning(value: Node, is_required: bool) -> str:
    """A description without the unit, which has a column of its own."""
    text = re.sub(r" Unit: [^.]*\.", "", value["description"])
    return text if is_required else f"{text} May be missing."


def slug(heading: str) -> str:
    """The anchor of a heading, as Markdown viewers make it.

    >>> slug("options[].detectors[]")
    'optionsdetectors'
    """
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def figures_table() -> str:
    """Every figure that comes along, with its body."""
    lines = ["", "", "| figure | height m | breadth m | length m | |", "| --- | --- | --- | --- | --- |"]
    for figure in known_figures():
        body = body_of(figure)
        sizes = f"{figure.height_m:.2f} | {body.breadth_m:.2f} | {body.length_m:.2f}"
        lines.append(
            f"| `{figure.name}` | {sizes} | {'animal' if figure.is_animal else ''} |".replace("  ", " ")
        )
    return "\n".join([*lines, "", ""])


def types_table() -> str:
    """Every detector type that comes along, with what tells it from the others."""
    heads = ("type", "what it is", "range m", "draws mA", "volts", "price", "turns flat, on its bracket")
    lines = ["", "", f"| {' | '.join(heads)} |", f"|{' --- |' * len(heads)}"]
    for name in builtin_names():
        kind = load_type(name)
        assert kind.supply is not None
        assert kind.price is not None
        low, high = kind.supply.volts
        fixings = (kind.mounting, kind.mounting.bracket) if kind.mounting is not None else ()
        turns = ", ".join(f"±{fixing.swivel:g}°" for fixing in fixings if fixing is not None) or "any way"
        numbers = f"{kind.max_range:g} | {kind.supply.milliamps:g} | {low:g} to {high:g} | {kind.price:g}"
        lines.append(f"| `{name}` | {kind.about} | {numbers} | {turns} |")
    return "\n".join([*lines, "", ""])


#: A key with the table it stands in, as a file has it.
Row = tuple[str, str, FieldInfo]


def site_rows() -> list[Row]:
    """Every key of a site file, table by table."""
    rows = []
    for table, info in Site.model_fields.items():
        for model in models_in(info.annotation):
            if model is not FileRef:
                name = f"[[{table}]]" if tuple in origins(info.annotation) else f"[{table}]"
                rows += rows_of(name, model)
    return rows


def type_rows() -> list[Row]:
    """Every key of a detector type."""
    return rows_of("", DetectorType)


def rows_of(table: str, model: type[Table]) -> list[Row]:
    """The keys of a table, then those of the tables within it."""
    own, below = [], []
    for name, info in model.model_fields.items():
        inner = models_in(info.annotation)
        if not inner:
            own.append((table, info.alias or name, info))
        for part in inner:
            path = f"{table.strip('[]')}.{name}".lstrip(".")
            below += rows_of(f"[[{path}]]" if tuple in origins(info.annotation) else f"[{path}]", part)
    return own + below


def models_in(annotation: Any) -> list[type[Table]]:
    """The tables that a key may hold."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [found for part in get_args(annotation) for found in models_in(part)]


def origins(annotation: Any) -> set[Any]:
    """What a type is made of: tuple where it is a list."""
    return {get_origin(annotation)}.union(*(origins(part) for part in get_args(annotation)))


def settings_table(rows: list[Row]) -> str:
    """Keys with default, unit, bounds and meaning."""
    lines = ["", "", "| key | default | unit | allowed | meaning |", "| --- | --- | --- | --- | --- |"]
    for table, name, info in rows:
        place = f"`{table} {name}`".replace("` ", "`")
        told = (place, default_words(info), unit_of(info), allowed_words(info), info.description or "")
        lines.append(f"| {' | '.join(told)} |".replace("  ", " "))
    return "\n".join([*lines, "", ""])


def default_words(info: FieldInfo) -> str:
    """A default as a site file would say it.

    >>> default_words(Site.model_fields["site"]), default_words(FieldInfo(default=(0.8, 1.0)))
    ('needed', '`[0.8, 1.0]`')
    """
    if info.is_required():
        return "needed"
    value = info.default
    if value is None or value == ():
        return "none"
    return f"`{json.dumps(list(value) if isinstance(value, tuple) else value)}`"


def allowed_words(info: FieldInfo) -> str:
    """What a key may hold.

    >>> allowed_words(Site.model_fields["solid"])
    'list'
    """
    kind = bare(info.annotation)
    if get_origin(kind) is Literal:
        return ", ".join(f'"{word}"' for word in get_args(kind))
    bounds = "" if unit_of(info) == "coordinates" else " and ".join(bounds_of(info))
    if get_origin(kind) is tuple:
        return ", ".join(part for part in (list_words(kind, info), bounds) if part)
    if get_origin(kind) in (Union, types.UnionType):
        parts = [bare(part) for part in get_args(kind)]
        words = [f'"{word}"' for part in parts if get_origin(part) is Literal for word in get_args(part)]
        words += ["text"] * (str in parts) + ["list"] * any(get_origin(part) is tuple for part in parts)
        return " or ".join([*words, *([bounds] if float in parts else [])])
    if kind is int:
        return f"whole, {bounds}"
    return {bool: "true, false", str: "text", datetime.date: "date"}.get(kind, bounds)


def bare(annotation: Any) -> Any:
    """A type without its notes and without None."""
    if get_origin(annotation) is Annotated:
        return bare(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        parts = [part for part in get_args(annotation) if part is not type(None)]
        return bare(parts[0]) if len(parts) == 1 else annotation
    return annotation


def list_words(kind: Any, info: FieldInfo) -> str:
    """How a list is written: points by their coordinates, others by how many there have to be."""
    inner = [bare(part) for part in get_args(kind)]
    if Ellipsis not in inner:
        return f"[{', '.join('xyz'[: len(inner)])}]" if unit_of(info) == "coordinates" else "[low, high]"
    least = next((limit.min_length for limit in metadata_of(info) if hasattr(limit, "min_length")), 0)
    what = "points" if get_origin(inner[0]) is tuple else "list"
    return f"{what}, {least} or more" if least > 1 else what


if __name__ == "__main__":
    main()
