"""The page of causes: what takes one layer, and where, with the square metres of each cause beside it."""

from functools import partial

from terrain3d.cover.causes import CAUSE_KEYS, ELSEWHERE
from terrain3d.cover.layer_outcomes import BROKEN
from terrain3d.cover.option import OptionResult
from terrain3d.detector.types import MICROWAVE
from terrain3d.lengths import area_words
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.options import IN_REACH, IN_REACH_MASKED, cause_line
from terrain3d.sentences.verdicts import sense_words
from terrain3d.show.blocks import Bar, Gap, Paragraph, Piece, Row, Section, fill
from terrain3d.show.legend import Sign, cause_sign, layer_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import bare_plan_signs, draw_plan, without_verdicts
from terrain3d.show.pages.shading import shade, whole_patch
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.show.sections import unit_section

#: The causes within arc and range, from the nearest to success.
_CAUSES = tuple(code for code, key in CAUSE_KEYS.items() if key not in ELSEWHERE)


def pages(context: PageContext) -> list[Page]:
    """A page of each layer of each option."""
    return context.pages_of_options(
        "causes",
        lambda option: [partial(causes_sheet, context, option, layer) for layer in option.layer_outcomes],
    )


def causes_sheet(context: PageContext, option: OptionResult, layer: str) -> Sheet:
    """The page of one layer: of several units, of the one that decides a cell's verdict."""
    base, outcome, told = context.printed, context.outcome, causes_of(context, option, layer)
    view = f"what takes the {sense_words(layer)}, plan, north up"
    page = context.begin_option(option, view, _line(layer, told), base.scale)
    page.of = sense_words(layer)
    bare = without_verdicts(option)
    axes = draw_plan(page, outcome, bare, base)
    outcomes = option.layer_outcomes[layer]
    signs = {code: _sign(layer, code) for code in (BROKEN, *_CAUSES)}
    shade(
        axes,
        [one for code, sign in signs.items() for one in whole_patch(outcomes == code, sign)],
        base.extent,
    )
    page.key(bare_plan_signs(outcome, bare, base.extent))
    whole = sum(told.values()) or 1.0
    pieces: list[Piece] = []
    for code, area in told.items():
        colour = signs[code].on_paper
        pieces += [
            Row(signs[code].text, (area_words(area),), signs[code]),
            Bar(area / whole, colour),
        ]
    left_out = IN_REACH_MASKED if has_masks(option.detectors) else IN_REACH
    pieces += [Gap(), Paragraph(left_out, 2, is_quiet=True)]
    ground = Section(f"Ground in reach: {sense_words(layer)}", tuple(pieces), short="In reach")
    fill(page, [ground, unit_section(option.detectors)])
    return page


def causes_of(context: PageContext, option: OptionResult, layer: str) -> dict[int, float]:
    """Square metres in reach on which the layer is broken, then by cause, the largest first."""
    outcomes, cell_m2 = option.layer_outcomes[layer], context.outcome.terrain.ground.cell_m**2
    areas = {code: float((outcomes == code).sum()) * cell_m2 for code in (BROKEN, *_CAUSES)}
    lost = sorted((code for code in _CAUSES if areas[code] > 0), key=lambda code: -areas[code])
    return {code: areas[code] for code in (BROKEN, *lost)}


def _line(layer: str, told: dict[int, float]) -> str:
    broken, *lost = told.items()
    first = (CAUSE_KEYS[lost[0][0]], lost[0][1]) if lost else None
    return cause_line(layer, sum(told.values()), broken[1], first)


def _sign(layer: str, code: int) -> Sign:
    if code != BROKEN:
        return cause_sign(code)
    return layer_sign(layer, "it reaches a figure" if layer == MICROWAVE else "a figure breaks it")
