"""What a search found: the `search` part of `results.json`, and a table on the terminal."""

from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.detector.types import DetectorType
from terrain3d.lengths import given_figure, length_unit, lengths_in
from terrain3d.paper.results import json_text, results_values
from terrain3d.paper.rounded import area, share, size
from terrain3d.ranking.compare import held_m2, held_share, weighted_share
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import Choice, SearchResult
from terrain3d.sentences.search import (
    current_words,
    millions,
    proof_words,
    search_why,
    set_by_itself_words,
    share_held,
)
from terrain3d.sentences.warnings import option_warnings
from terrain3d.terminal import lay_out
from terrain3d.wording import money_words

Found = SearchResult | NothingFits

#: What each option of a search may be called, in their order.
NAMES = (("best set", "best found"), ("runner-up", "best unit"), ("best unit",))


@lengths_in("m")
def search_results_json(result: Found) -> str:
    """The text of `results.json` with its part `search`."""
    told = {"why": search_why(result), "search": search_part(result)}
    return json_text({**results_values(result.outcome), **told})


def search_part(result: Found) -> dict[str, Any]:
    """What a search found, as plain values; null is what there is not where nothing fits the budget."""
    space, limits = result.space, result.limits
    return {
        "settings_judged": result.settings_judged,
        "mount_count": result.n_mounts,
        "seed": result.seed,
        "space": {
            "types": [detector_type.name for detector_type in space.detector_types],
            "bearing_step_deg": space.bearing_step_deg,
            "tilts_deg": list(space.tilts_deg),
            "ranges_m": None if space.ranges_m is None else list(space.ranges_m),
        },
        "tolerance": {"bearing_deg": space.bearing_step_deg, "tilt_deg": space.tilt_slip_deg},
        "limits": {
            "most_units": limits.units,
            "budget": limits.budget,
            "hold_share": limits.hold,
            "apart": limits.apart,
            **_current(limits.milliamps, result),
        },
        **_found(result),
        "why": search_why(result),
    }


def _found(result: Found) -> dict[str, Any]:
    if isinstance(result, NothingFits):
        nothing = ("best", "runner_up", "best_unit", "margin", "gap_share", "gap_all_settings_share")
        cheapest = {"type_in_site_file": result.cheapest, "price": result.price}
        if result.price is None:
            least = {"type_in_site_file": result.cheapest, "milliamps": result.milliamps}
            return {**dict.fromkeys(nothing), "cheapest": None, "least_drawing": least}
        return {**dict.fromkeys(nothing), "cheapest": cheapest}
    return {
        "best": _choice(result, result.best),
        "runner_up": None if result.runner_up is None else _choice(result, result.runner_up),
        "best_unit": _choice(result, result.best_unit),
        "margin": None if result.runner_up is None else _margin(result),
        "gap_share": share(result.gap),
        "gap_all_settings_share": share(result.gap_all),
        # Said only where nothing fits the budget.
        "cheapest": None,
    }


def _current(milliamps: float | None, result: Found) -> dict[str, Any]:
    """A key that is there only where current is limited."""
    return {} if result.limits.milliamps is None else {"current": {"milliamps": milliamps}}


def _margin(result: SearchResult) -> dict[str, float | None]:
    """By how much the best beats the runner-up, in what it was chosen by."""
    margin = share(result.margin)
    by_area = result.limits.hold is None
    by_price = not by_area and result.best.price is not None
    return {
        "weighted_m2": margin if by_area else None,
        "price": margin if by_price else None,
        "unit_count": None if by_area or by_price else round(result.margin),
    }


def _whole_m2(result: SearchResult) -> float:
    """All ground that counts, by weight."""
    return result.best.held_m2 / result.best.share if result.best.share else 0.0


def _choice(result: SearchResult, choice: Choice) -> dict[str, Any]:
    whole_m2 = _whole_m2(result)
    return {
        "option": choice.option.name,
        "units": [
            {
                "name": unit.name,
                "mount": unit.mount,
                "type": unit.type.name,
                "type_in_site_file": label,
                "height_m": unit.height_m,
                "bearing_deg": unit.bearing_deg,
                "tilt_deg": unit.tilt_deg,
                "range_m": unit.range_m,
            }
            for unit, label in zip(choice.option.detectors, choice.labels, strict=True)
        ],
        "weighted_m2": {"surely": area(choice.held_m2), "aimed_exactly": area(held_m2(choice.option))},
        "weighted_share": {"surely": share(choice.share), "aimed_exactly": share(_exactly(choice, whole_m2))},
        "protected_share": share(held_share(choice.steady)),
        "slack_deg": size(choice.slack_deg),
        "animal_m2": area(choice.animal_m2),
        "price": choice.price,
        **_current(choice.milliamps, result),
    }


def _exactly(choice: Choice, whole_m2: float) -> float:
    """Share of all that counts, by weight, that is held when every unit is aimed exactly."""
    return held_m2(choice.option) / whole_m2 if whole_m2 else 0.0


def print_search(result: Found) -> None:
    """Print the table to the standard output."""
    lay_out(search_table(result))


def search_table(result: Found) -> RenderableType:
    """The best set, the runner-up and the best unit, each unit in a row; then why, and the proof."""
    if isinstance(result, NothingFits):
        return _price_table(result)
    table = Table(title=Text(f"{result.site.name}: {millions(result.settings_judged)} settings judged"))
    is_weighted = weighted_share(result.best.steady) is not None
    for words in ("", "mount", "type"):
        table.add_column(words, overflow="fold")
    for words in (
        f"height\n{length_unit()}",
        "bearing\ndeg",
        "tilt\ndeg",
        f"range\n{length_unit()}",
        "held,\naim off",
        "held,\naim exact",
        *(("by\nweight",) if is_weighted else ()),
        "aim may\nbe off, deg",
    ):
        table.add_column(words, justify="right")
    for name, choice in (
        ("best", result.best),
        ("runner-up", result.runner_up),
        ("best unit", result.best_unit),
    ):
        if choice is None or (name == "best unit" and len(result.best.option.detectors) == 1):
            continue
        for place, (unit, label) in enumerate(zip(choice.option.detectors, choice.labels, strict=True)):
            shares = [
                share_held(choice.steady, choice.share),
                share_held(choice.option, _exactly(choice, _whole_m2(result))),
                *([f"{choice.share:.1%}"] if is_weighted else []),
                f"{choice.slack_deg:g}",
            ]
            table.add_row(
                name if place == 0 else "", Text(unit.mount), Text(label), given_figure(unit.height_m),
                f"{unit.bearing_deg:g}", f"{unit.tilt_deg:g}", given_figure(unit.range_m),
                *(shares if place == 0 else [""] * len(shares)),
            )  # fmt: skip
        table.add_section()
    told = (search_why(result), *_set_by_themselves(result), current_words(result), proof_words(result))
    lines = [Text(words) for words in told if words]
    return Group(table, *lines, *_warnings(result), Text(SHORT_CAUTION, style="dim"))


def _set_by_themselves(result: SearchResult) -> list[str]:
    """A line for each unit that is set head by head, or is on its bracket."""
    choices = [("best", result.best), ("runner-up", result.runner_up)]
    if len(result.best.option.detectors) > 1:
        choices.append(("best unit", result.best_unit))
    return [
        set_by_itself_words(name, unit)
        for name, choice in choices
        if choice is not None
        for unit in choice.option.detectors
    ]


def _price_table(result: NothingFits) -> RenderableType:
    """What each type costs, and draws where that is limited, the least first; then why nothing was chosen."""
    limits = result.limits
    table = Table(title=Text(f"{result.site.name}: nothing fits"))
    table.add_column("type", overflow="fold")
    columns = (("price", limits.budget), ("mA", limits.milliamps))
    for words, limit in columns:
        if limit is not None:
            table.add_column(words, justify="right")
    types = list(zip(result.space.labels, result.space.detector_types, strict=True))
    by_price = result.price is not None
    for label, kind in sorted(types, key=lambda pair: _price(pair[1]) if by_price else _drawn(pair[1])):
        takes = (money_words(_price(kind)), f"{_drawn(kind):g}")
        shown = [words for words, (_, limit) in zip(takes, columns, strict=True) if limit is not None]
        table.add_row(Text(label), *shown)
    return Group(table, Text(search_why(result)), Text(SHORT_CAUTION, style="dim"))


def _price(kind: DetectorType) -> float:
    return kind.price or 0.0


def _drawn(kind: DetectorType) -> float:
    return 0.0 if kind.supply is None else kind.supply.milliamps


def _warnings(result: SearchResult) -> list[Text]:
    return [Text(f"! best: {warning}") for warning in option_warnings(result.best.option, result.terrain)]
