"""Options side by side as a table on the terminal."""

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import VERDICT_KEYS, VERDICT_WORDS
from terrain3d.job import Outcome
from terrain3d.ranking.compare import held_share, weighted_share

#: Causes that say no more than where the unit was pointed.
_ELSEWHERE = ("outside arc", "beyond range")
#: Ground too small to be worth a word, m2.
_TRIFLE_M2 = 0.5


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
    for words in ("both\nlayers", "upper\nonly", "lower\nonly", "dead\nground"):
        table.add_column(f"{words} m2", justify="right")
    table.add_column("protected ground most lost to" if has_protected else "most lost to", overflow="fold")
    by_name = {option.name: option for option in outcome.options}
    for place, name in enumerate(outcome.ranking, start=1):
        option = by_name[name]
        row: list[str | Text] = [str(place), Text(name)]
        row += [_percent(held_share(option))] if has_protected else []
        row += [_percent(weighted_share(option))] if has_weights else []
        row += [f"{option.area_m2[key]:.1f}" for key in ("both", "upper_only", "lower_only", "dead")]
        table.add_row(*row, _most_lost(option))
    return Group(table, Text(outcome.why), *_closing_lines(outcome))


def areas(outcome: Outcome) -> RenderableType:
    """For each option, in the order of the site file, its areas and what costs each layer most."""
    lines: list[RenderableType] = []
    for option in outcome.options:
        lines.append(Text(option.name, style="bold"))
        shown = ", ".join(
            f"{words} {option.area_m2[VERDICT_KEYS[v]]:.1f} m2" for v, words in VERDICT_WORDS.items()
        )
        lines.append(Text(f"  {shown}"))
        for area in option.protect:
            held = f"{area.both_fraction:.0%} of {area.area_m2:.1f} m2 held with both layers"
            lines.append(
                Text(f"  {area.name}: {held}" if area.area_m2 else f"  {area.name}: smaller than a cell")
            )
        for layer, causes in option.causes.items():
            inside = {cause: m2 for cause, m2 in causes.items() if cause not in _ELSEWHERE}
            lines.append(Text(f"  {layer} layer, within arc and range, lost to: {_listed(inside)}"))
        for layer, causes in option.lost_m2.items():
            if option.protect:
                lines.append(
                    Text(f"  {layer} layer, on protected ground not held, lost to: {_listed(causes)}")
                )
    return Group(*lines, *_closing_lines(outcome))


def print_comparison(outcome: Outcome) -> None:
    """Print the table to the standard output."""
    _print(comparison(outcome))


def print_areas(outcome: Outcome) -> None:
    """Print the areas of each option to the standard output."""
    _print(areas(outcome))


def _print(lines: RenderableType) -> None:
    console = Console()
    if not console.is_terminal:
        # A pipe has no width; without one, lines would break at 80.
        console = Console(width=120)
    console.print(lines)


def _percent(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"


def _listed(causes: dict[str, float]) -> str:
    """Causes and their areas, largest first."""
    ordered = sorted(((m2, cause) for cause, m2 in causes.items()), reverse=True)
    return ", ".join(f"{cause} {m2:.1f} m2" for m2, cause in ordered) or "nothing"


def _most_lost(option: OptionResult) -> str:
    """The layer and cause that take most: of protected ground all, else of what lies within the arcs."""
    source = option.lost_m2 if option.protect else option.causes
    losses = [
        (m2, layer, cause)
        for layer, causes in source.items()
        for cause, m2 in causes.items()
        if m2 >= _TRIFLE_M2 and (option.protect or cause not in _ELSEWHERE)
    ]
    if not losses:
        return "nothing"
    m2, layer, cause = max(losses)
    return f"{cause} ({m2:.1f} m2)" if cause in _ELSEWHERE else f"{layer} layer {cause} ({m2:.1f} m2)"


def _closing_lines(outcome: Outcome) -> list[Text]:
    """Warnings with the option they are about, each once, then the caution."""
    options = outcome.options
    shared = [w for w in options[0].warnings if all(w in option.warnings for option in options)]
    about = {w: "every option" if len(options) > 1 else options[0].name for w in shared}
    for option in options:
        for warning in option.warnings:
            if warning not in shared:
                about[warning] = f"{about[warning]}; {option.name}" if warning in about else option.name
    return [Text(f"! {who}: {warning}") for warning, who in about.items()] + [
        Text(SHORT_CAUTION, style="dim")
    ]
