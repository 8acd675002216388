"""The JSON Schema of results.json: true of what is written, whole, without dead keys, each key explained.

Checked with jsonschema, which reads draft 2020-12 as https://json-schema.org/draft/2020-12/schema has it.
"""

import json
import math
import re
from collections.abc import Iterator
from importlib.resources import files
from typing import Any, get_args

import documents
import jsonschema
import pytest

from terrain3d.cover.causes import CAUSE_KEYS
from terrain3d.paper.results import SCHEMA, json_text
from terrain3d.paper.schema import OTHERS, SUFFIXES, CauseWords, Results
from terrain3d.sentences.beyond import LANDS_WORDS

Node = dict[str, Any]
#: Units that a name has to say; of what has no dimension the schema's word is enough: `draws`.
PHYSICAL = set(SUFFIXES) - {"share", "count"}
#: The only keys whose unit neither they nor an object about them say; the design has fixed their names.
WITHOUT_SUFFIX = {"x", "y", "ground_z", "lonlat", "origin_lonlat", "line", "causes", "taken_by"}


@pytest.fixture(scope="module")
def schema() -> Node:
    """As it comes with the package."""
    return json.loads(files("terrain3d.paper").joinpath("results.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Node]:
    """Documents by name: of every command, with all there is and with next to nothing."""
    folder = tmp_path_factory.mktemp("sites")
    unprotected = documents.BARE + '[[mount]]\nname = "other"\nat = [3, 3]\n'
    unpriced = documents.ROOT / "terrain3d" / "detector" / "builtin" / "one-head-90.toml"
    (folder / "own.toml").write_text(unpriced.read_text().replace("price = 100", "# price = 100"))
    return {
        **documents.demo(),
        "plane": documents.plane(folder),
        "bare study": documents.bare_study(folder),
        "lone study": documents.lone_study(folder),
        "full study": documents.full_study(folder),
        "detour": documents.detour(folder),
        "close in": documents.close_in(folder),
        "set by heads": documents.set_by_heads(folder),
        "with microwave": documents.with_microwave(folder),
        "watched": documents.watched(folder),
        "supplied": documents.supplied(folder),
        "fed": documents.fed(folder),
        "fed well": documents.fed_well(folder),
        "over fed": documents.over_fed(folder),
        "walk plan": documents.walk_plan(folder),
        "walk read": documents.walk_read(folder),
        "fixed": documents.fixed(folder),
        "fixed high": documents.fixed_high(folder),
        "fixed alone": documents.fixed_alone(folder),
        "fixed by corners": documents.fixed_by_corners(folder),
        "set": documents.searched(folder, "units = 2"),
        "budget": documents.searched(folder, "budget = 200\nranges = [8, 12]"),
        "nothing fits": documents.searched(folder, "budget = 50"),
        "current": documents.searched(folder, "milliamps = 60\nranges = [8, 12]"),
        "too little current": documents.searched(folder, "milliamps = 5"),
        "hold": documents.searched(folder, "hold = 0.3"),
        "fewest": documents.searched(folder, 'hold = 0.2\ntypes = ["own.toml"]'),
        "no other": documents.searched(folder, 'hold = 0.3\ntypes = ["own.toml"]'),
        "unprotected": documents.searched(folder, "", unprotected),
    }


def test_the_schema_is_one(schema: Node) -> None:
    """It is itself valid under its draft, and names the version that is written."""
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["properties"]["schema"]["const"] == SCHEMA == "terrain3d/results/2"


def test_what_is_written_fits_the_schema(schema: Node, written: dict[str, Node]) -> None:
    """Every document is valid, dates too, and can be read through the models."""
    validator = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    for name, document in written.items():
        faults = [f"{name}: {list(e.absolute_path)}: {e.message}" for e in validator.iter_errors(document)]
        assert not faults
        assert Results.model_validate_json(json.dumps(document)).site.name


def test_a_key_that_is_not_in_the_schema_is_a_fault(schema: Node, written: dict[str, Node]) -> None:
    """Nowhere in a document can a key be added or left out unnoticed."""
    assert all(node["additionalProperties"] is False for _, node in objects_of(schema))
    validator = jsonschema.Draft202012Validator(schema)
    document = json.loads(json.dumps(written["lone study"]))
    (option,) = document["options"]
    for part in (document, document["site"], option, option["detectors"][0], option["causes"]["upper"]):
        part["oddly"] = 1
        assert not validator.is_valid(document)
        del part["oddly"]
    assert validator.is_valid(document)
    for part, key in ((option["detectors"][0], "tilt_deg"), (document, "reasons")):
        kept = part.pop(key)
        assert not validator.is_valid(document)
        part[key] = kept


def test_no_key_of_the_schema_is_dead(schema: Node, written: dict[str, Node]) -> None:
    """Each key occurs in a document; where it may be null, with null and without."""
    met = {found for document in written.values() for found in keys_met(schema, schema, document, "results")}
    for place, node in objects_of(schema):
        for key, value in node["properties"].items():
            assert (place, key, False) in met, f"{place}.{key} is in no document, or only as null"
            if "x-null" in value:
                assert (place, key, True) in met, f"{place}.{key} is null in no document"


def test_words_of_the_schema_are_those_that_are_written(schema: Node) -> None:
    """Lists of words are kept in two places, so that the schema loads none of the rooms."""
    assert set(get_args(CauseWords)) == set(CAUSE_KEYS.values())
    assert set(schema["$defs"]["LandsOn"]["properties"]["what"]["enum"]) == set(LANDS_WORDS.values())


def test_every_key_is_explained(schema: Node) -> None:
    """Each has a description; a number its unit, by its name too; what may be null says what that means."""
    assert faults_of(schema) == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"description": ""}, "no description"),
        ({"x-unit": "deg"}, "its name ends in _m and it is in deg"),
        ({"x-unit": None}, "no unit"),
        ({"anyOf": [{"type": "number"}, {"type": "null"}], "type": None}, "not said what null means"),
    ],
)
def test_a_key_that_is_not_explained_is_a_fault(schema: Node, change: Node, fault: str) -> None:
    """Each of the rules bites."""
    changed = json.loads(json.dumps(schema))
    value = changed["$defs"]["Detector"]["properties"]["height_m"]
    value.update(change)
    changed["$defs"]["Detector"]["properties"]["height_m"] = {k: v for k, v in value.items() if v is not None}
    assert [f for f in faults_of(changed) if fault in f and "height_m" in f]


def test_every_number_of_a_sentence_is_a_number_of_the_file(written: dict[str, Node]) -> None:
    """What a sentence says stands beside it or above it as a value, rounded as the sentence rounds."""
    lost = []
    for name, document in written.items():
        for sentence, beside in sentences(document, [document]):
            for number in numbers_in(sentence, names_in(document)):
                if not any(fits(number, value) for value in numbers_of(beside)):
                    lost.append(f"{name}: {number!r} of {sentence!r}")
    assert lost == []


def test_nothing_is_a_negative_zero(written: dict[str, Node]) -> None:
    """`-0.0` reads as a loss of nothing; it is written as plain nought."""
    for document in written.values():
        assert not any(value == 0 and math.copysign(1, value) < 0 for value in numbers_of(document))
    assert json_text({"a": [-0.0, (-0.0,)]}) == json_text({"a": [0.0, [0.0]]})


def objects_of(schema: Node) -> list[tuple[str, Node]]:
    """Every kind of object, by its name."""
    return [("results", schema), *schema["$defs"].items()]


def objects_in(value: Any) -> Iterator[Node]:
    """Every object of a document."""
    if isinstance(value, dict):
        yield value
    for below in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from objects_in(below)


def numbers_of(value: Any) -> Iterator[float]:
    """Every number below a value."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        yield value
    for below in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from numbers_of(below)


def keys_met(schema: Node, node: Node, value: Any, place: str) -> Iterator[tuple[str, str, bool]]:
    """(kind of object, key, is null) of every key that a document holds."""
    if "$ref" in node:
        place = node["$ref"].rpartition("/")[2]
        node = schema["$defs"][place]
    for choice in node.get("anyOf", ()):
        if (value is None) == (choice.get("type") == "null"):
            yield from keys_met(schema, choice, value, place)
    if isinstance(value, list) and "items" in node:
        for below in value:
            yield from keys_met(schema, node["items"], below, place)
    if isinstance(value, dict) and "properties" in node:
        for key, below in value.items():
            yield place, key, below is None
            yield from keys_met(schema, node["properties"][key], below, place)


def faults_of(schema: Node) -> list[str]:
    """What is not explained of the keys of a schema."""
    faults = []
    # An object takes its unit from the keys that hold it, where all of them say one.
    units: dict[int, set[str]] = {id(node): set() for _, node in objects_of(schema)}
    for _, node in objects_of(schema):
        for value in node["properties"].values():
            for name in refs_in(value):
                units[id(schema["$defs"][name])].add(value.get("x-unit", ""))
    for place, node in objects_of(schema):
        if not node.get("description"):
            faults.append(f"{place} has no description")
        for key, value in node["properties"].items():
            faults += [f"{place}.{key}: {fault}" for fault in faults_of_key(key, value, units[id(node)])]
    return faults


def faults_of_key(key: str, value: Node, units_above: set[str]) -> Iterator[str]:
    """What is not explained of one key."""
    kinds = set(kinds_in(value))
    if not value.get("description"):
        yield "no description"
    if ("null" in kinds) != bool(value.get("x-null")):
        yield "it is not said what null means, or it cannot be null"
    unit = value.get("x-unit")
    if kinds & {"number", "integer"} and unit not in {*SUFFIXES, *OTHERS}:
        yield "a number with no unit"
    suffixes = {suffix for suffix in SUFFIXES.values() if key.endswith(suffix)}
    longest = max(suffixes, key=len, default="")
    if longest and unit != {suffix: name for name, suffix in SUFFIXES.items()}[longest]:
        yield f"its name ends in {longest} and it is in {unit}"
    if unit in PHYSICAL and not longest and key not in WITHOUT_SUFFIX and units_above != {unit}:
        yield f"its name does not say {unit}"


def kinds_in(value: Node) -> Iterator[str]:
    """Types of what a key may hold, in lists and tables too; objects of their own left out."""
    kinds = value.get("type", ())
    yield from [kinds] if isinstance(kinds, str) else kinds
    for inner in [*value.get("anyOf", ()), *value.get("prefixItems", ())]:
        yield from kinds_in(inner)
    for key in ("items", "additionalProperties"):
        if isinstance(value.get(key), dict):
            yield from kinds_in(value[key])


def refs_in(value: Node) -> Iterator[str]:
    """Names of the objects that a key may hold."""
    if "$ref" in value:
        yield value["$ref"].rpartition("/")[2]
    for inner in [*value.get("anyOf", ()), *([value["items"]] if "items" in value else ())]:
        yield from refs_in(inner)


#: Keys that hold sentences made of what is found; the survey's own doubts are sentences alone.
TELLING = ("words", "why", "notes", "warnings", "advice")


def sentences(value: Any, above: list[Any]) -> Iterator[tuple[str, Any]]:
    """Every sentence with what stands beside it.

    `why` speaks of the whole file, heat and rank of what is above them too, sun of how the ground was read.
    """
    doubts = {*above[0]["site"]["doubts"], *above[0].get("surroundings", {}).get("doubts", ())}
    if isinstance(value, dict):
        for key, below in value.items():
            texts = [below] if isinstance(below, str) else below
            if key in TELLING and texts:
                beside = above[0] if key == "why" else value
                if "borrowed_condition" in value or "order_share" in value:
                    beside = [
                        value,
                        {k: v for k, v in above[-1].items() if k in ("area_m2", "draws", "options")},
                    ]
                elif "least_light_share" in value:
                    beside = [value, above[0]["surroundings"]]
                yield from ((text, beside) for text in texts if text not in doubts)
            elif isinstance(below, (dict, list)):
                yield from sentences(below, [*above, value])
    elif isinstance(value, list):
        for below in value:
            yield from sentences(below, above)


def names_in(value: Any) -> set[str]:
    """Names that stand in sentences and may hold figures."""
    kinds = (
        "name",
        "unit",
        "type",
        "type_in_site_file",
        "mount",
        "option",
        "start",
        "area",
        "time_zone",
        "ground_source",
        "model",
        "coordinates",
        "on",
    )
    return {part[key] for part in objects_in(value) for key in kinds if isinstance(part.get(key), str)}


def numbers_in(sentence: str, names: set[str]) -> list[str]:
    """Figures of a sentence as they are written, names and dates taken out of it."""
    for name in sorted(names, key=len, reverse=True):
        sentence = sentence.replace(name, "")
    sentence = re.sub(r"\b\d+ (?=Jan|Feb|Mar|Apr|May|June|July|Aug|Sep|Oct|Nov|Dec)", "", sentence)
    # How many more of a list are not named is no fact of its own.
    sentence = re.sub(r"and \d+ more", "", sentence)
    return re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?: ?%| h\b)?", sentence)


def fits(number: str, value: float) -> bool:
    """Whether a figure of a sentence is a value as the sentence rounds it."""
    figure = re.match(r"[\d.]+", number)[0]
    digits = len(figure.partition(".")[2])
    scale = 100.0 if "%" in number else 1 / 60 if number.endswith("h") else 1.0
    # Half a unit of the last figure, and what the file itself rounds.
    return abs(abs(value) * scale - float(figure)) <= 0.5 * 10**-digits + 1e-3 * scale * 10**-digits
