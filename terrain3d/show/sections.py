"""What a column says of options: their ground, protected ground, units, animals and warnings.

The same for a page, which shows one option, and for the window, which shows one or two: a figure for each.
"""

from collections.abc import Sequence
from dataclasses import replace

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, Verdict
from terrain3d.detector.pose import Detector
from terrain3d.lengths import area_words
from terrain3d.nuisance.animals import AnimalGround
from terrain3d.sentences import words
from terrain3d.sentences.animals import LOWEST_COLOUR, animal_words, stripes_words
from terrain3d.sentences.beyond import area_or_none
from terrain3d.sentences.close_in import close_in_figures
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import not_held_words
from terrain3d.show.blocks import Bar, Gap, Listing, Paragraph, Piece, Row, Section, TypeSize
from terrain3d.show.legend import CRAWLING, Sign, animal_sign, verdict_sign
from terrain3d.walk.close_in import CloseIn

Options = tuple[OptionResult, ...]
#: Protected areas under whose bar a page says what is not held.
_MOST_EXPLAINED = 2


def ground_section(
    options: Options, sides: tuple[str, ...] = (), has_unknown: bool = False, outside: str = ""
) -> Section:
    """The verdicts with their signs and areas; `sides` stand over the figures of several options.

    `outside` says what ground outside the verdicts is drawn as, where that is not the colour of its sign.
    """
    rows = []
    for verdict in sorted(Verdict, reverse=True):
        areas = tuple(area_words(one.area_m2.get(VERDICT_KEYS[verdict], 0.0)) for one in options)
        sign = verdict_sign(verdict)
        # How much of the survey lies outside says nothing about an option.
        if verdict == Verdict.OUTSIDE and outside:
            rows.append(Row(f"{sign.text}: {outside}", (), None, "large", is_inset=True))
            continue
        rows.append(Row(sign.text, () if verdict == Verdict.OUTSIDE else areas, sign, "large"))
    if has_unknown:
        rows.append(Row(verdict_sign(UNKNOWN).text, (), verdict_sign(UNKNOWN), "large"))
    return Section("Ground", tuple(rows), sides)


def protected_sections(
    options: Options, sides: tuple[str, ...] = (), has_causes: bool = False, is_narrow: bool = False
) -> list[Section]:
    """How much of each protected area is held, as figures and bars; none where nothing is protected.

    With `has_causes` what keeps the rest of the first areas from being held stands under them; of one option.
    In a narrow column a name has one line, for names on two would leave no room for other areas.
    """
    items: list[tuple[Piece, ...]] = []
    for areas in zip(*(option.protect for option in options), strict=True):
        figures = tuple(f"{area.both_fraction:.0%}" for area in areas)
        if len(areas) == 1:
            figures = (f"{figures[0]} of {area_words(areas[0].area_m2)}",)
        item: tuple[Piece, ...] = (
            Row(areas[0].name, figures, most=1 if is_narrow else 2),
            Bar(areas[0].both_fraction),
        )
        is_explained = has_causes and len(items) < _MOST_EXPLAINED
        lost = not_held_words(areas[0], has_masks(options[0].detectors)) if is_explained else ""
        items.append((*item, Paragraph(words.capital(lost), 5, is_quiet=True), Gap()) if lost else item)
    listing = Listing(tuple(items), most=5, noun="area")
    return [Section("Protected ground, both layers", (listing,), sides, "Both layers hold")] if items else []


def unit_section(units: tuple[Detector, ...], heading: str = "Units", spare: int = 0) -> Section:
    """Units and how each is set; of several, `spare` small lines are kept free for what follows."""
    items = tuple(
        (Paragraph(words.unit_title(unit), 2, "row"), *_unit_pieces(words.unit_lines(unit))) for unit in units
    )
    if len(units) == 1:
        # As much of it as has room: one with much set head by head would else be left out as a whole.
        title, *lines = items[0]
        return Section(heading, (title, Listing(tuple((line,) for line in lines), noun="setting")))
    return Section(heading, (Listing(items, 4, spare=spare),))


def _unit_pieces(lines: tuple[str, ...]) -> list[Paragraph]:
    """The lines of a unit, smaller where much is set head by head."""
    size: TypeSize = "small" if len(lines) <= 2 else "note"
    return [Paragraph(line, 2, size, is_quiet=True) for line in lines]


def warning_sections(warnings: Sequence[str]) -> list[Section]:
    """What to mind, whole sentences only; none where there is nothing."""
    items = tuple((Paragraph(warning, 4), Gap()) for warning in warnings)
    listing = Listing(items, noun="warning", where="see the page of warnings")
    return [Section("Warnings", (listing,))] if items else []


def close_in_section(
    found: Sequence[CloseIn], sides: tuple[str, ...] = (), between: Sign | None = None
) -> Section:
    """What is left open close to the units, a figure for each option; `between` is the first row's sign."""
    table = zip(*(close_in_figures(one) for one in found), strict=True)
    rows = [Row(row[0][0], tuple(figure for _, figure in row)) for row in table]
    return Section("Close in", (replace(rows[0], sign=between), *rows[1:]), sides)


def animal_section(grounds: Sequence[AnimalGround], sides: tuple[str, ...] = (), spare: int = 0) -> Section:
    """The animals that raise the alarm, and on how much ground; of the same animals for every option.

    `spare` small lines are kept free for what follows.
    """
    items = []
    for rank, animal in enumerate(grounds[0].animals):
        areas = tuple(area_or_none(one.animals[rank].area_m2) for one in grounds)
        sign = animal_sign(rank, len(grounds[0].animals))
        items.append((Row(animal_words(animal), areas, sign),))
    blocks = (
        Listing(tuple(items), spare=spare, noun="animal"),
        Gap(),
        Paragraph(LOWEST_COLOUR, 3, is_quiet=True),
    )
    return Section("Animals that raise the alarm", blocks, sides, "Animals raise alarm")


def crawling_section(grounds: Sequence[AnimalGround], sides: tuple[str, ...] = ()) -> Section:
    """Ground on which a person who crawls passes."""
    areas = tuple(area_words(one.crawling.area_m2) for one in grounds)
    protected = tuple(area_words(one.crawling_protected_m2) for one in grounds)
    blocks = (
        Row(animal_words(grounds[0].crawling), areas, CRAWLING),
        Row("of that protected", protected, is_inset=True),
        Gap(),
        Paragraph(stripes_words(grounds[0]), 3, is_quiet=True),
    )
    return Section("The alarm stays silent", blocks, sides)
