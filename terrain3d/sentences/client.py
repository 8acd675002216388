"""What a client is told on one page: what is held, what stays open, and what there is to do."""

import re

from terrain3d.cover.option import OptionResult
from terrain3d.ranking.compare import held_share, worst_scenario
from terrain3d.ranking.outlay import outlay_of
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import held_words, not_held_words, wanting, worst_words
from terrain3d.sentences.walked import walked_words
from terrain3d.sentences.warnings import option_warnings, units_warnings
from terrain3d.sentences.words import capital, unit_lines
from terrain3d.site import WalkTested
from terrain3d.terrain import Terrain
from terrain3d.wording import counted, money_words

#: Said whatever the site is.
_TO_DO = (
    "Walk-test every unit after fixing, on the ground that matters, by day and by night.",
    "Have it fixed and connected by a licensed practitioner, to the maker's instructions and local codes.",
)
#: Areas that a page for a client names.
_MOST = 3

#: What the site file could say, at the end of a warning: a client does not write it.
_FOR_THE_FILE = re.compile(r'((?:[^"]|"[^"]*")*?)[:;] (?:a |say so with )?\[\[?[a-z]+\].*', re.DOTALL)


def holds_nothing(option: OptionResult) -> bool:
    """Whether an option holds no part of protected ground that a page would tell."""
    share = held_share(option)
    return share is not None and f"{share:.0%}" == "0%"


def client_numbers(option: OptionResult) -> list[tuple[str, str]]:
    """Up to three numbers with what they are: held, held under the worst scenario, and what it takes."""
    held = "of the protected ground is held" if option.protect else "of ground is held"
    numbers = [(held, held_words(option))]
    worst = worst_scenario(option)
    if worst is not None and worst_words(option) != held_words(option):
        numbers.append((f'is still held with "{worst.name}"', held_words(worst.option)))
    outlay = outlay_of(option.detectors)
    if outlay is not None and outlay.price is not None:
        numbers.append(("price of its units, fixed", money_words(outlay.price)))
    else:
        numbers.append(("to be fixed", counted(len(option.detectors), "unit")))
    return numbers[:3]


def open_lines(option: OptionResult) -> list[str]:
    """What stays open of each protected area, the largest first."""
    masks = has_masks(option.detectors)
    told = [f'"{area.name}": {lost}.' for area in wanting(option) if (lost := not_held_words(area, masks))]
    more = len(told) - _MOST
    return [*told[:_MOST], f"And of {counted(more, 'more area')}."] if more > 0 else told


def to_do_lines(option: OptionResult, tested: WalkTested | None = None) -> list[str]:
    """What there is to do: how each unit is fixed, what is always to be done, and what warns of units.

    An option that was walk-tested says so first.
    """
    fixed = [f"Fix {unit.name} on {unit.mount}: {', '.join(unit_lines(unit))}." for unit in option.detectors]
    done = [] if tested is None else [walked_words(tested)]
    return [*done, *fixed, *_TO_DO, *(f"{capital(text)}." for text in units_warnings(option))]


def client_warnings(option: OptionResult, terrain: Terrain) -> list[str]:
    """The warnings of an option, without what the site file could say to them."""
    return [_without_keys(text) for text in option_warnings(option, terrain)]


def _without_keys(text: str) -> str:
    found = _FOR_THE_FILE.fullmatch(text)
    return text if found is None else found[1]
