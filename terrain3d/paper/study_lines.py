"""A study as lines on the terminal: for each option, part by part, what a person has to know of it."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from terrain3d.caution import SHORT_CAUTION
from terrain3d.sentences.animals import animals_lines
from terrain3d.sentences.beyond import beyond_lines
from terrain3d.sentences.close_in import close_in_lines
from terrain3d.sentences.heat import heat_words
from terrain3d.sentences.routes import routes_words
from terrain3d.sentences.sun import sun_words
from terrain3d.sentences.uncertainty import held_words, of_all_lines, tolerance_words
from terrain3d.sentences.walks import borrowed_line, walks_lines
from terrain3d.study import OptionStudy, Study
from terrain3d.terminal import lay_out

_Lines = Iterator[tuple[str, str]]


def study_lines(study: Study) -> RenderableType:
    """Everything a study has to say: option by option, best first, then what is true of all of them."""
    told = {option.name: list(option_lines(study, option)) for option in study.options}
    shared = [line for line in next(iter(told.values())) if all(line in lines for lines in told.values())]
    if len(told) == 1:
        shared = []
    lines: list[RenderableType] = []
    for name in study.outcome.ranking:
        lines.append(Text(name, style="bold"))
        lines.append(_listed([line for line in told[name] if line not in shared]))
    of_all = [] if study.uncertainty is None else of_all_lines(study.uncertainty)
    general = shared + [("doubt", line) for line in of_all]
    if general:
        lines += [Text("every option", style="bold"), _listed(general)]
    return Group(*lines, Text(SHORT_CAUTION, style="dim"))


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
    lay_out(study_lines(study))


def option_lines(study: Study, option: OptionStudy) -> _Lines:
    """What a study says of an option: the part and a line of it, again and again."""
    if option.walks is not None:
        yield from (("walks", line) for line in walks_lines(option.walks))
        yield from (("walk test", borrowed_line(test)) for test in option.walks.indoor_tests)
    for route in option.routes or ():
        yield "routes", routes_words(route)
    if option.close_in is not None:
        yield from (("close in", line) for line in close_in_lines(option.close_in))
    if option.animals is not None:
        yield from (("animals", line) for line in animals_lines(option.animals))
    if option.spill is not None:
        lines = beyond_lines(option.spill, option.nuisances or (), study.surroundings.doubts)
        yield from (("beyond", line) for line in lines)
    if option.heat is not None:
        yield from (("heat", line) for line in heat_words(option.heat))
    if option.sun is not None:
        yield from (("sun", line) for line in sun_words(option.sun))
    if study.uncertainty is not None:
        found = next(one for one in study.uncertainty.options if one.name == option.name)
        yield "doubt", held_words(found)
    for unit in option.tolerances or ():
        yield "doubt", tolerance_words(unit)
