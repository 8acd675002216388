"""What a client reads, as plain values for the typesetter: parts of headings, lines, tables and pictures.

Every sentence and number comes from the room of sentences, so none contradicts another.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from terrain3d.caution import CAUTION, SHORT_CAUTION
from terrain3d.cover.areas import known_ground, standing_by_source
from terrain3d.cover.option import OptionResult
from terrain3d.lengths import area_words
from terrain3d.opened import OpenedSite
from terrain3d.ranking.compare import worst_scenario
from terrain3d.ranking.outlay import outlay_of
from terrain3d.readers.logos import logo_png
from terrain3d.sentences.animals import animals_line
from terrain3d.sentences.beyond import beyond_lines
from terrain3d.sentences.client import client_numbers, client_warnings, holds_nothing, open_lines, to_do_lines
from terrain3d.sentences.close_in import close_in_line
from terrain3d.sentences.heads import has_masks
from terrain3d.sentences.heat import heat_words
from terrain3d.sentences.options import held_words, protected_words, worst_words
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.report import (
    GLOSSARY,
    HEADINGS,
    MODEL,
    NOTHING_HELD,
    RANKED_FIRST,
    SIGN_OF,
    asked_lines,
    named_lines,
    picture_heading,
    picture_words,
    void_lines,
)
from terrain3d.sentences.routes import routes_words
from terrain3d.sentences.sun import sun_words
from terrain3d.sentences.surveys import standing_lines, survey_facts, survey_line
from terrain3d.sentences.uncertainty import tolerance_words, uncertainty_line, varied_words
from terrain3d.sentences.walks import walks_lines
from terrain3d.sentences.why import why
from terrain3d.sentences.words import capital, unit_lines, unit_title
from terrain3d.show.lettering import has_glyph, in_order, printable
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.cuttings import PICTURE_ALONE, Cutting, cuttings
from terrain3d.show.pages.sheet import let_go_of_pages
from terrain3d.show.pages.size import Size
from terrain3d.study import Study
from terrain3d.wording import money_words

#: The pictures, in their order: of all options, then of the recommended one; its oblique view is the cover's.
_PICTURES = ("contact", "plan", "section", "outlook", "causes")
#: Units and areas may be many: so many pictures of a kind at most.
_MOST_OF_A_KIND = 3

#: Letters that a word has at most before it may be broken, and what lets it be, unseen.
_LONG_WORD, _MAY_BREAK = re.compile(r"\S{24}(?=\S)"), "\u200b"

#: What pictures are drawn for: the width between the margins of A4, at 300 dots an inch. That of the cover
#: stands on two thirds of it and is rendered: at 300 dots it would take half a gigabyte.
_WIDTH_MM = 261.0
_PAGE, _COVER = (
    Size(name, px, round(px / 297 * 210), _WIDTH_MM) for name, px in (("A4", 3083), ("cover", 2000))
)

Block = dict[str, Any]


@dataclass(frozen=True)
class Report:
    """Plain values for the typesetter, and PNG pictures by the names that the values call them."""

    data: dict[str, Any]
    pictures: dict[str, bytes]


def report_of(study: Study) -> Report:
    """The report of a study.

    Parameters
    ----------
    study : Study
        With every part.
    """
    outcome = study.outcome
    best = outcome.option(outcome.ranking[0])
    context = replace(PageContext(outcome, _PAGE, "", study), best_only=True)
    pictures: dict[str, bytes] = {}

    def drawn(kinds: Iterable[str], whole: bool = True) -> list[Block]:
        blocks = []
        counts: dict[str, int] = {}
        cut = cuttings(context, kinds) if whole else cuttings(context, kinds, PICTURE_ALONE)
        for one in cut:
            counts[one.kind] = counts.get(one.kind, 0) + 1
            if counts[one.kind] <= _MOST_OF_A_KIND:
                name = f"{one.kind}-{counts[one.kind]}.png"
                pictures[name] = one.png
                blocks.append(_picture(one, name, counts[one.kind]))
        let_go_of_pages()
        return blocks

    cover = next(iter(cuttings(replace(context, size=_COVER), ("client",), PICTURE_ALONE)))
    pictures["cover.png"] = cover.png
    let_go_of_pages()
    logo = _logo(outcome.site)
    if logo is not None:
        pictures["logo.png"] = logo
    paper = outcome.site.file.paper
    areas = [protected_words(part, has_masks(best.detectors)) for part in best.protect]
    data = {
        "title": outcome.site_name,
        "logo": None if logo is None else "logo.png",
        "logo_alt": SIGN_OF.format(paper.by or outcome.site_name),
        "by": paper.by,
        "named": named_lines(paper),
        "caution": SHORT_CAUTION,
        "cover": {
            "heading": HEADINGS["answer"],
            "option": best.name,
            "numbers": [list(pair) for pair in client_numbers(best)],
            "areas": [*void_lines([best]), *([NOTHING_HELD] if holds_nothing(best) else []), *areas],
            "why": why(outcome),
            "picture": "cover.png",
            "alt": picture_words("oblique", best.name, cover.said),
        },
        "parts": [part for part in _parts(study, best, drawn) if part["blocks"]],
    }
    return Report(_printable(data), pictures)


def _printable(value: Any) -> Any:
    """The same values as the typesetter can set them.

    Long words may break, what has no sign is a box, and a name from the right keeps out of what follows it.
    """
    if isinstance(value, dict):
        return {key: _printable(below) for key, below in value.items()}
    if isinstance(value, list):
        return [_printable(below) for below in value]
    return (
        _LONG_WORD.sub(f"\\g<0>{_MAY_BREAK}", in_order(printable(value, has_glyph)))
        if isinstance(value, str)
        else value
    )


def _logo(site: OpenedSite) -> bytes | None:
    """The consultant's sign as PNG; None where the site file names none."""
    name = site.file.paper.logo
    return None if name is None or site.path is None else logo_png(site.path.parent / name)


def _parts(study: Study, best: OptionResult, drawn: Callable[..., list[Block]]) -> list[Block]:
    outcome, found = study.outcome, study.of(best.name)
    terrain = outcome.terrain
    known = known_ground(terrain.ground)
    standing = standing_lines(standing_by_source(terrain))
    ground = [survey_line(terrain, known), *survey_facts(terrain), *standing]
    routes = [routes_words(route) for route in found.routes or ()]
    walks = [] if found.walks is None else [f"{capital(line)}" for line in walks_lines(found.walks)]
    close = [] if found.close_in is None else [close_in_line(found.close_in)]
    animals = [] if found.animals is None else [animals_line(found.animals)]
    beyond: list[str] = []
    if found.spill is not None:
        told = beyond_lines(found.spill, found.nuisances or (), study.surroundings.doubts)
        beyond = [_sentence(line) for line in told]
    sun = [] if found.sun is None else list(sun_words(found.sun))
    heat = [] if found.heat is None else list(heat_words(found.heat))
    sure: list[str] = []
    if study.uncertainty is not None:
        fares = next(one for one in study.uncertainty.options if one.name == best.name)
        sure = [uncertainty_line(study.uncertainty, fares), varied_words(study.uncertainty.error_sizes)]
    sure += [_sentence(tolerance_words(unit)) for unit in found.tolerances or ()]
    return [
        _part("asked", _lines(asked_lines(outcome)), _lines([*ground, _sentence(foot_words(outcome.site))])),
        _part("options", [_options_table(study)], _lines([*void_lines(outcome.options), why(outcome)])),
        {
            **_part("best", _lines(_unit_lines(best)), drawn(_PICTURES)),
            **({"heading": RANKED_FIRST} if holds_nothing(best) or void_lines([best]) else {}),
        },
        _part("open", _lines([*open_lines(best), *routes, *close]), _listing(walks)),
        _part("others", _lines([*animals, *beyond])),
        _part("weather", _lines([*sun, *heat])),
        _part("sure", _lines([*sure, MODEL]), drawn(("routes", "doubt"))),
        _part("to do", _listing(to_do_lines(best, outcome.site.walk_tested(best.name)))),
        _part("watch", _listing([_sentence(text) for text in client_warnings(best, terrain)])),
        _part("cautions", _lines([CAUTION])),
        _part("words", [{"kind": "terms", "rows": [list(pair) for pair in GLOSSARY]}]),
    ]


def _part(name: str, *blocks: list[Block]) -> Block:
    return {"heading": HEADINGS[name], "blocks": [block for group in blocks for block in group]}


def _lines(lines: Sequence[str]) -> list[Block]:
    return [{"kind": "line", "text": text} for text in lines if text]


def _listing(lines: Sequence[str]) -> list[Block]:
    return [{"kind": "list", "items": list(lines)}] if lines else []


def _picture(one: Cutting, name: str, number: int) -> Block:
    heading = picture_heading(one.kind, one.of, number)
    alt = picture_words(one.kind, one.option, one.said)
    return {"kind": "picture", "name": name, "heading": heading, "said": one.said, "alt": alt}


def _unit_lines(option: OptionResult) -> list[str]:
    return [f"{unit_title(unit)}: {', '.join(unit_lines(unit))}." for unit in option.detectors]


def _options_table(study: Study) -> Block:
    """The options, best first, with what each holds and costs."""
    outcome = study.outcome
    rows = []
    for name in outcome.ranking:
        option = outcome.option(name)
        outlay = outlay_of(option.detectors)
        price = "" if outlay is None or outlay.price is None else money_words(outlay.price)
        worst = worst_scenario(option)
        rows.append(
            [
                name,
                held_words(option),
                "" if worst is None else f"{worst_words(option)}",
                area_words(option.area_m2["both"]),
                area_words(option.area_m2["dead"]),
                str(len(option.detectors)),
                price,
            ]
        )
    headers = ["option", "held", "at worst", "both layers", "dead ground", "units", "price"]
    kept = [k for k in range(len(headers)) if k < 2 or any(row[k] for row in rows)]
    return {
        "kind": "table",
        "headers": [headers[k] for k in kept],
        "rows": [[row[k] for k in kept] for row in rows],
    }


def _sentence(text: str) -> str:
    """A line that begins as a sentence and ends as one."""
    whole = capital(text)
    return whole if whole.endswith((".", "!", "?")) else f"{whole}."
