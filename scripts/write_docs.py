"""Write what is made from the code: the JSON Schema of results.json and the tables of docs/.

    .venv/bin/python scripts/write_docs.py

Between the marks `<!-- NAME -->` and `<!-- end NAME -->` of a page all is written anew; a test says when it
should have been.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from terrain3d.paper.schema import schema_text

ROOT = Path(__file__).resolve().parents[1]
SCHEMA = ROOT / "terrain3d" / "paper" / "results.schema.json"
RESULTS = ROOT / "docs" / "results.md"

Node = dict[str, Any]


def main() -> None:
    """Write all of them."""
    for path, text in written().items():
        path.write_text(text, encoding="utf-8")


def written() -> dict[Path, str]:
    """Every file that is made from the code, with its text as it should be."""
    schema = schema_text()
    return {
        SCHEMA: schema,
        RESULTS: with_part(RESULTS.read_text(encoding="utf-8"), "keys", keys_page(json.loads(schema))),
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


if __name__ == "__main__":
    main()
