"""The numbers with a unit that a page says, and those of results.json that they may be."""

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from whole_pages import Laid

from terrain3d.cover.areas import protected_weight
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import Verdict
from terrain3d.job import Outcome

_NUMBER = r"(?P<number>\d[\d,]*(?:\.\d+)?)"
#: How each unit is written; money, current and voltage stand in one line of their own.
UNITS = {
    "m2": re.compile(rf"{_NUMBER} m²"),
    "share": re.compile(rf"{_NUMBER} ?%"),
    "m": re.compile(rf"{_NUMBER} m\b(?!²)"),
    "deg": re.compile(rf"{_NUMBER}°"),
    "money": re.compile(rf"price {_NUMBER}"),
    "milliamps": re.compile(rf"{_NUMBER} mA"),
    "volts": re.compile(rf"(?:at |to ){_NUMBER} V|{_NUMBER.replace('number', 'low')} to \d+ V"),
    "hours": re.compile(rf"{_NUMBER} h\b"),
}
#: Keys whose numbers are of a unit.
_KEYS = {
    "m2": re.compile(r"_m2\b|\.(causes|taken_by)\."),
    "share": re.compile(
        r"share|fraction|chance|fill|by_|best|order|lost|contrast|probability|alpha|of_draws"
    ),
    "m": re.compile(r"_m(\[\])*$|_m\."),
    "deg": re.compile(r"_deg\b|lonlat"),
    "money": re.compile(r"price"),
    "milliamps": re.compile(r"milliamps"),
    "volts": re.compile(r"volts"),
    "hours": re.compile(r"_min\b"),
}
#: Of which a page tells more than its unit: a hundredth, an hour.
_TIMES = {"share": 100.0, "hours": 1 / 60}
#: What is no result: the steps of contours, the scale, which page it is, the caution of a band, days, how
#: near a stretch of arc counts for the sun, the scale of chances, the corners and the origin of the frame.
_NO_RESULT = re.compile(
    r"contour, every [\d.]+ m|1:\d+|page \d+ of \d+|\d{4}-\d\d-\d\d|within its arc and \d+° of it"
    r"|[\d.]+° [NS] [\d.]+° [EW]|less than \d+%|0% 50% 95%|in 95%|in cells of [\d.]+ m"
)
#: Kinds of page that measure on their own picture what results.json has no key for: distances along a
#: section, shares and heights in an outlook, directions from a viewpoint, moments of a walk.
MEASURED = {"section", "outlook", "views", "frames", "fans"}


_ROUNDED_DOWN = re.compile(r"\.(less|more)_(m|deg)$")


class Said(NamedTuple):
    """A number as a page says it: its unit, its value, its decimals, and the words around it."""

    unit: str
    value: float
    decimals: int
    where: str


def numbers_said(laid: Laid) -> list[Said]:
    """Every number with a unit on a page, but those of axes, of scale bars and what is no result."""
    axes_texts = [text for axes in laid.sheet.figure.axes for text in axes.texts if text.get_visible()]
    # A scale bar lies over all else on a picture; one of stamp size has the smallest letters.
    texts = [
        text
        for text in (*laid.sheet.figure.texts, *axes_texts)
        if text.get_zorder() != 31 and text.get_fontsize() != 5.5
    ]
    words = _NO_RESULT.sub("", " ".join(" ".join(text.get_text().split()) for text in texts))
    return list(numbers_in(words))


def numbers_in(words: str) -> Iterator[Said]:
    """Every number with a unit in some words."""
    for unit, pattern in UNITS.items():
        for found in pattern.finditer(words):
            told = next(part for part in found.groups() if part is not None).replace(",", "")
            decimals = len(told.partition(".")[2])
            around = words[max(0, found.start() - 40) : found.end() + 10]
            yield Said(unit, float(told), decimals, around)


def numbers_of(values: Any, key: str = "") -> Iterator[tuple[str, float]]:
    """Every number of results.json with the keys that lead to it."""
    if isinstance(values, dict):
        for name, below in values.items():
            yield from numbers_of(below, f"{key}.{name}")
    elif isinstance(values, list):
        for below in values:
            yield from numbers_of(below, f"{key}[]")
    elif isinstance(values, (int, float)) and not isinstance(values, bool):
        yield key, abs(float(values))


#: Of results.json the keys of each part of a study, and the kinds of page that tell of it.
_PARTS = {
    "walks": ("walks", "walks-table", "frames"),
    "routes": ("routes", "routes-oblique"),
    "close_in": ("close-in", "side-by-side", "client", "contact"),
    "animals": ("animals",),
    "crawling": ("animals",),
    "beyond": ("beyond",),
    "nuisances": ("beyond",),
    "heat": ("heat",),
    "sun": ("sun",),
    "doubt": ("doubt",),
}


def part_of_page(document: dict[str, Any], option: str, kind: str) -> dict[str, Any]:
    """What of results.json a page may tell: its option, how others rank and stand, its part of a study."""
    left_out = {part for part, kinds in _PARTS.items() if kind not in kinds}
    document = {key: values for key, values in document.items() if key not in left_out}
    document["options"] = [
        {key: values for key, values in one.items() if key not in left_out} for one in document["options"]
    ]
    if not option:
        return document
    ranked = ("name", "detectors", "protected_share", "weighted_share", "scenarios")
    options = [
        one if one["name"] == option else {key: one[key] for key in ranked} for one in document["options"]
    ]
    return {**document, "options": options}


def derived(document: dict[str, Any], outcome: Outcome) -> dict[str, Any]:
    """Sums and shares of numbers of results.json that pages tell as well, by what they are.

    What two options hold together and alone is counted on the maps of verdicts.tif.
    """
    ground = document["site"]["ground"]
    whole = ground["known_m2"] + ground["unknown_m2"]
    measured = ground["known_m2"] - ground["bridged_m2"]
    told: dict[str, Any] = {
        "worked_on_m2": whole,
        "measured_m2": measured,
        "measured_share": [
            part / whole
            for part in (ground["known_m2"], measured, ground["unknown_m2"], ground["bridged_m2"])
        ],
        "protected_share": [
            (part["known_m2"] - part["bridged_m2"]) / max(part["known_m2"] + part["unknown_m2"], 1e-9)
            for part in ground["protected"]
        ],
    }
    for option in document["options"]:
        told[f"{option['name']} head_deg"] = [
            (unit["bearing_deg"] + pan) % 360 for unit in option["detectors"] for pan in unit["pan_deg"]
        ]
        judged = sum(option["area_m2"].values())
        for layer, causes in option["causes"].items():
            broken = judged - sum(causes.values())
            away = sum(causes.get(key, 0.0) for key in ("outside arc", "beyond range", "masked"))
            told[f"{option['name']} {layer} of_m2"] = [broken, judged - away]
    best = outcome.option(outcome.ranking[0])
    for option in outcome.options:
        told[f"{option.name} beside_best_m2"] = beside_best_m2(option, best, outcome)
    return told


def beside_best_m2(option: OptionResult, best: OptionResult, outcome: Outcome) -> list[float]:
    """Ground that both hold, that one holds alone, that the other does; then the same of protected ground."""
    own, other = option.verdicts == Verdict.BOTH, best.verdicts == Verdict.BOTH
    counted = protected_weight(outcome.terrain.ground, outcome.terrain.protect) > 0
    cell_m2 = outcome.terrain.ground.cell_m**2
    masks = own & other, own & ~other, other & ~own
    return [float((mask & part).sum()) * cell_m2 for part in (True, counted) for mask in masks]


def is_told(said: Said, pool: list[tuple[str, float]]) -> bool:
    """Whether a number of the right unit, rounded as it is said, is among those of results.json.

    How far a setting may be off is rounded down: what is told must hold.
    """
    times, key, last = _TIMES.get(said.unit, 1.0), _KEYS[said.unit], 10.0**-said.decimals
    near = (name for name, value in pool if abs(times * value - said.value) <= 0.5 * last + 1e-6)
    under = (
        name for name, value in pool if _ROUNDED_DOWN.search(name) and -1e-6 <= value - said.value < last
    )
    return any(key.search(name) for name in (*near, *under))
