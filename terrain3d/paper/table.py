"""Options side by side as a table on the terminal."""

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.lengths import length_unit, plain_area_figure
from terrain3d.ranking.compare import hanging_share, held_share, weighted_share
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import TRIFLE_M2, area_lines, most_lost, protected_words, worst_words
from terrain3d.sentences.outlay import version_lines
from terrain3d.sentences.walked import walked_lines
from terrain3d.sentences.warnings import warnings_by_option
from terrain3d.sentences.why import why
from terrain3d.terminal import lay_out


def comparison(outcome: Outcome) -> RenderableType:
    """A table of all options, best first, then the sentence that says why, then the warnings."""
    has_protected = any(option.protect for option in outcome.options)
    has_weights = any(weighted_share(option) is not None for option in outcome.options)
    table = Table(title=Text(f"{outcome.site_name}: ground held for a {outcome.figure.name}"))
    table.add_column("", justify="right")
    table.add_column("option", overflow="fold")
    if has_protected:
        table.add_column("protected\nheld", justify="right")
    if has_weights:
        table.add_column("by\nweight", justify="right")
    has_leaves = any(option.hangs_on_leaves_m2 >= TRIFLE_M2 for option in outcome.options)
    has_scenarios = any(option.scenarios for option in outcome.options)
    if has_leaves:
        table.add_column(
            "hangs on\nleaves" if has_protected else f"hangs on\nleaves {length_unit()}2", justify="right"
        )
    if has_scenarios:
        table.add_column("at worst", overflow="fold")
    for words in ("both\nlayers", "upper\nonly", "lower\nonly", "dead\nground"):
        table.add_column(f"{words} {length_unit()}2", justify="right")
    table.add_column("protected ground most lost to" if has_protected else "most lost to", overflow="fold")
    by_name = {option.name: option for option in outcome.options}
    for place, name in enumerate(outcome.ranking, start=1):
        option = by_name[name]
        row: list[str | Text] = [str(place), Text(name)]
        row += [_percent(held_share(option))] if has_protected else []
        row += [_percent(weighted_share(option))] if has_weights else []
        if has_leaves:
            share = hanging_share(option)
            row.append(plain_area_figure(option.hangs_on_leaves_m2) if share is None else _percent(share))
        row += [Text(worst_words(option))] if has_scenarios else []
        row += [
            plain_area_figure(option.area_m2[key]) for key in ("both", "upper_only", "lower_only", "dead")
        ]
        table.add_row(*row, most_lost(option))
    best = [by_name[name] for name in outcome.ranking[:1]]
    areas = [Text(line) for option in best if option.protect for line in _protected_lines(option)]
    versions = [Text(line) for line in version_lines(outcome)]
    return Group(
        table,
        Text(why(outcome)),
        *versions,
        *areas,
        *map(Text, walked_lines(outcome)),
        *_closing_lines(outcome),
    )


def areas(outcome: Outcome) -> RenderableType:
    """For each option, in the order of the site file, its areas and what costs each layer most."""
    lines: list[RenderableType] = []
    for option in outcome.options:
        lines.append(Text(option.name, style="bold"))
        lines += [Text(f"  {line}") for line in area_lines(option)]
    lines += map(Text, walked_lines(outcome))
    return Group(*lines, *_closing_lines(outcome))


def print_comparison(outcome: Outcome) -> None:
    """Print the table to the standard output."""
    _print(comparison(outcome))


def print_areas(outcome: Outcome) -> None:
    """Print the areas of each option to the standard output."""
    _print(areas(outcome))


def print_warnings(outcome: Outcome) -> None:
    """Print the warnings about the options, each once, then the caution."""
    _print(Group(*_closing_lines(outcome)))


def _print(lines: RenderableType) -> None:
    lay_out(lines)


def _protected_lines(option: OptionResult) -> list[str]:
    """A sentence for each protected area under the option's name."""
    masks = has_masks(option.detectors)
    return [f"{option.name}:", *(f"  {protected_words(area, masks)}" for area in option.protect)]


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"


def _closing_lines(outcome: Outcome) -> list[Text]:
    """Warnings with the option they are about, each once, then the caution."""
    return [Text(f"! {who}: {warning}") for warning, who in warnings_by_option(outcome)] + [
        Text(SHORT_CAUTION, style="dim")
    ]
