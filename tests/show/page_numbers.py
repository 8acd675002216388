"""The numbers with a unit that a page says, and those of results.json that they may be."""

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from whole_pages import Laid

#: The international foot is 0.3048 m exactly, and so a square foot 0.09290304 m2: NIST SP 811 (2008), B.6, as
#: agreed in 1959.
FOOT_M = 0.3048
_NUMBER = r"(?P<number>\d[\d,]*(?:\.\d+)?)"
#: How each unit is written; money, current and voltage stand in one line of their own.
UNITS = {
    "m2": re.compile(rf"{_NUMBER} m²"),
    "share": re.compile(rf"{_NUMBER} ?%"),
    "m": re.compile(rf"{_NUMBER} m\b(?!²)"),
    "ft2": re.compile(rf"{_NUMBER} ft²"),
    "ft": re.compile(rf"{_NUMBER} ft\b(?!²)"),
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
#: Feet are told of what is in metres.
_KEYS |= {"ft": _KEYS["m"], "ft2": _KEYS["m2"]}
#: Of which a page tells more than its unit: a hundredth, an hour, a foot.
_TIMES = {"share": 100.0, "hours": 1 / 60, "ft": 1 / FOOT_M, "ft2": 1 / FOOT_M**2}
#: What is no result: the steps of contours, the scale, that of a scene, which page it is, the caution of a
#: band, days, how near a stretch of arc counts for the sun, the scale of chances, the corners and the origin
#: of the frame, what is doubted of roofs, what is less than one step of a walk.
_NO_RESULT = re.compile(
    r"contour, every [\d.]+ (?:m|ft)|1:\d+|page \d+ of \d+|\d{4}-\d\d-\d\d|within its arc and \d+° of it"
    r"|[\d.]+° [NS] [\d.]+° [EW]|less than \d+%|0% 50% 95%|in 95%|in cells of [\d.]+ (?:m|ft)"
    r"|\b0 \d+ \d+ (?:m|ft)\b|roofs are taken to stand out [\d.]+ (?:m|ft)|less than [\d.]+ ft"
)
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
    # A scale bar lies over all else on a picture; one of stamp size has the smallest letters. Lines of equal
    # distance are numbered like an axis.
    texts = [
        text
        for text in (*laid.sheet.figure.texts, *axes_texts)
        if text.get_zorder() not in (9, 31) and text.get_fontsize() != 5.5
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
    "walks": ("walks", "walks-table", "frames", "fans"),
    "routes": ("routes", "routes-oblique"),
    "close_in": ("close-in", "side-by-side", "client", "contact"),
    "animals": ("animals",),
    "crawling": ("animals",),
    "beyond": ("beyond",),
    "nuisances": ("beyond",),
    "heat": ("heat",),
    "sun": ("sun",),
    "doubt": ("doubt",),
    "seen_from": ("views",),
    "sections": ("section", "contact", "side-by-side", "client"),
    "outlook": ("outlook",),
}


def part_of_page(document: dict[str, Any], option: str, kind: str) -> dict[str, Any]:
    """What of results.json a page may tell: its option, how others rank and stand, its part of a study."""
    left_out = {part for part, kinds in _PARTS.items() if kind not in kinds}
    document = {key: values for key, values in document.items() if key not in left_out}
    document["options"] = [
        {key: values for key, values in one.items() if key not in left_out} for one in document["options"]
    ]
    for one in document["options"]:
        one["detectors"] = [
            {key: values for key, values in unit.items() if key not in left_out} for unit in one["detectors"]
        ]
    if not option:
        return document
    ranked = ("name", "detectors", "protected_share", "weighted_share", "scenarios")
    options = [
        one if one["name"] == option else {key: one[key] for key in ranked} for one in document["options"]
    ]
    return {**document, "options": options}


def is_told(said: Said, pool: list[tuple[str, float]]) -> bool:
    """Whether a number of the right unit, rounded as it is said, is among those of results.json.

    How far a setting may be off is rounded down: what is told must hold.
    """
    times, key, last = _TIMES.get(said.unit, 1.0), _KEYS[said.unit], 10.0**-said.decimals
    # Lengths in results.json are rounded to a tenth of a millimetre, which is no round number of feet.
    spare = 5e-5 / FOOT_M if said.unit == "ft" else 1e-6
    near = (name for name, value in pool if abs(times * value - said.value) <= 0.5 * last + spare)
    under = (
        name
        for name, value in pool
        if _ROUNDED_DOWN.search(name)
        and -1e-6 <= (times if said.unit == "ft" else 1.0) * value - said.value < last
    )
    return any(key.search(name) for name in (*near, *under))
