"""Options side by side as a table on the terminal."""

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.choose.compare import held_share
from terrain3d.cover.verdict import VERDICT_KEYS, VERDICT_WORDS
from terrain3d.job import Outcome

#: Causes that say no more than where the unit was pointed.
_ELSEWHERE = ("outside arc", "beyond range")


def comparison(outcome: Outcome) -> RenderableType:
    """A table of all options, best first, then the sentence that says why, then the warnings."""
    table = Table(title=Text(f"{outcome.site_name}: ground held for a {outcome.figure.name}"))
    table.add_column("", justify="right")
    table.add_column("option", overflow="fold")
    if any(option.protect for option in outcome.options):
        table.add_column("protected\nheld", justify="right")
    for words in ("both\nlayers", "upper\nonly", "lower\nonly", "dead\nground"):
        table.add_column(f"{words}", justify="right")
    table.add_column("most lost to", overflow="fold")
    by_name = {option.name: option for option in outcome.options}
    for place, name in enumerate(outcome.ranking, start=1):
        option = by_name[name]
        share = held_share(option)
        row: list[str | Text] = [str(place), Text(name)]
        if share is not None:
            row.append(f"{share:.0%}")
        row += [f"{option.area_m2[key]:.0f} m2" for key in ("both", "upper_only", "lower_only", "dead")]
        row.append(_most_lost(option.lost_m2 if option.protect else option.causes))
        table.add_row(*row)
    lines: list[RenderableType] = [table, Text(outcome.why)]
    lines += [Text(f"! {name}: {warning}") for name, warning in _each_warning_once(outcome)]
    return Group(*lines)


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
            lines.append(
                Text(
                    f"  {area.name}: {area.both_fraction:.0%} of {area.area_m2:.0f} m2 held with both layers"
                )
            )
        for layer, causes in option.causes.items():
            inside = sorted(
                ((m2, cause) for cause, m2 in causes.items() if cause not in _ELSEWHERE), reverse=True
            )
            told = ", ".join(f"{cause} {m2:.1f} m2" for m2, cause in inside) or "nothing"
            lines.append(Text(f"  {layer} layer lost to: {told}"))
    lines += [Text(f"! {name}: {warning}") for name, warning in _each_warning_once(outcome)]
    return Group(*lines)


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


def _most_lost(causes: dict[str, dict[str, float]]) -> str:
    inside = [
        (area, layer, cause)
        for layer, areas in causes.items()
        for cause, area in areas.items()
        if cause not in _ELSEWHERE
    ]
    if not inside:
        return ""
    area, layer, cause = max(inside)
    return f"{layer} layer {cause} ({area:.0f} m2)"


def _each_warning_once(outcome: Outcome) -> list[tuple[str, str]]:
    """Warnings with the option they are about; those of every option are about the site."""
    options = outcome.options
    shared = [w for w in options[0].warnings if all(w in option.warnings for option in options)]
    rows = [(outcome.site_name, warning) for warning in shared]
    rows += [(option.name, w) for option in options for w in option.warnings if w not in shared]
    return rows
