"""A study as lines on the terminal: for each option, part by part, what a person has to know of it."""

from collections.abc import Iterator

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.nuisance.animals import AnimalGround, FigureGround
from terrain3d.nuisance.spill import Spill
from terrain3d.nuisance.things import InLayer
from terrain3d.study import OptionStudy, Study
from terrain3d.uncertainty.monte_carlo import Uncertainty
from terrain3d.uncertainty.sentences import error_size_words, held_words, ranking_words, tolerance_words
from terrain3d.walk.option import OptionWalks

_Lines = Iterator[tuple[str, str]]
#: Ground too small to be worth a word, m2.
_TRIFLE_M2 = 0.5


def study_lines(study: Study) -> RenderableType:
    """Everything a study has to say: option by option, best first, then what is true of all of them."""
    told = {option.name: list(_option(option, study.uncertainty)) for option in study.options}
    shared = [line for line in next(iter(told.values())) if all(line in lines for lines in told.values())]
    if len(told) == 1:
        shared = []
    lines: list[RenderableType] = []
    for name in study.outcome.ranking:
        lines.append(Text(name, style="bold"))
        lines.append(_listed([line for line in told[name] if line not in shared]))
    general = shared + (
        _of_all(study.uncertainty, study.outcome.ranking[0]) if study.uncertainty is not None else []
    )
    if general:
        lines += [Text("every option", style="bold"), _listed(general)]
    return Group(*lines, Text(SHORT_CAUTION, style="dim"))


def _of_all(uncertainty: Uncertainty, best: str) -> list[tuple[str, str]]:
    ranking = ranking_words(uncertainty, best)
    drawn = f"drawn {uncertainty.draws} times: {'; '.join(error_size_words(uncertainty.error_sizes))}"
    return [("doubt", words) for words in (ranking, drawn) if words]


def _listed(lines: list[tuple[str, str]]) -> Table:
    """Parts at the left, each named once, and their words beside them."""
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(width=11, no_wrap=True)
    table.add_column(overflow="fold")
    before = ""
    for part, words in lines:
        table.add_row(f"  {part}" if part != before else "", Text(words))
        before = part
    return table


def print_study(study: Study) -> None:
    """Print the lines to the standard output."""
    console = Console()
    if not console.is_terminal:
        # A pipe has no width; without one, lines would break at 80.
        console = Console(width=120)
    console.print(study_lines(study))


def _option(option: OptionStudy, uncertainty: Uncertainty | None) -> _Lines:
    if option.walks is not None:
        yield from _walks(option.walks)
    for route in option.routes or ():
        yield "routes", route.words
    if option.animals is not None:
        yield from _animals(option.animals)
    if option.spill is not None:
        yield from _beyond(option.spill, option.nuisances or ())
    for part, result in (("heat", option.heat), ("sun", option.sun)):
        for words in result.words if result is not None else ():
            yield part, words
    if uncertainty is not None:
        yield "doubt", held_words(next(told for told in uncertainty.options if told.name == option.name))
    for unit in option.tolerances or ():
        yield "doubt", tolerance_words(unit)


def _walks(walks: OptionWalks) -> _Lines:
    for walk in walks.walks:
        yield "walks", f"{walk.name}: {walk.words}"
    for fan in walks.fans:
        yield "walks", fan.words
    for test in walks.indoor_tests:
        yield "walk test", f"borrowed, {test.test}, grade {test.grade} ({test.status}): {test.fan.words}"


def _animals(ground: AnimalGround) -> _Lines:
    rows = [row for row in ground.animals if row.area_m2 >= _TRIFLE_M2]
    if rows:
        yield "animals", f"raise the alarm on: {', '.join(_figure(row) for row in rows)}"
    else:
        yield "animals", "none breaks both layers"
    crawling = ground.crawling
    if crawling.area_m2 >= _TRIFLE_M2:
        on = (
            f", {ground.crawling_protected_m2:.1f} m2 of it protected" if ground.crawling_protected_m2 else ""
        )
        yield (
            "animals",
            f"a {crawling.figure.name} is not noticed on {crawling.area_m2:.1f} m2 "
            f"where a {ground.upright.name} upright is{on}",
        )


def _figure(row: FigureGround) -> str:
    near = "" if row.nearest_m is None else f" from {row.nearest_m:.1f} m on"
    return f"{row.figure.name} {row.area_m2:.1f} m2{near}"


def _beyond(spilt: Spill, things: tuple[InLayer, ...]) -> _Lines:
    for note in spilt.notes:
        yield "beyond", note
    for piece in spilt.pieces:
        if piece.within_m2 or piece.on_past_m2:
            yield (
                "beyond",
                f"{piece.name} ({piece.kind}): {piece.within_m2:.1f} m2 in the upper layer within its range, "
                f"{piece.on_past_m2:.1f} m2 on past it",
            )
    for thing in things:
        if thing.is_seen:
            where = f"{thing.unit}, {thing.layer} layer of head {thing.head}, {thing.distance_m:.1f} m away"
            yield (
                "beyond",
                f"{thing.thing} ({thing.kind}) lies in {where}, fills {thing.seen_fill:.0%} of a zone: "
                f"{thing.advice}",
            )
