"""How good the survey is where: ground measured, bridged and not known, and what is doubted of it."""

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from terrain3d import palette
from terrain3d.cover.areas import RETURN_STEPS, known_ground, measured_by, return_steps, standing_by_source
from terrain3d.cover.verdict import UNKNOWN
from terrain3d.lengths import area_unit, retold
from terrain3d.sentences.surveys import (
    measured_figure,
    not_measured_words,
    part_figures,
    returns_words,
    standing_lines,
    survey_facts,
    survey_line,
)
from terrain3d.show.blocks import Bar, Gap, Listing, Paragraph, Piece, Row, Section, fill
from terrain3d.show.legend import (
    BRIDGED_GROUND,
    DRAWN_GROUND,
    LEAVES_FOUND,
    LEAVES_GUESSED,
    MEASURED_GROUND,
    MOUNT,
    Sign,
    Stripe,
    returns_sign,
    site_signs,
    verdict_sign,
)
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.plan import draw_plan, without_verdicts
from terrain3d.show.pages.shading import Shading, shade
from terrain3d.show.pages.sheet import Page, Sheet
from terrain3d.terrain import SURVEYED_LEAVES, Terrain

#: Lines that a doubt takes at most, beside the picture.
_WHOLE = 12


def pages(context: PageContext) -> list[Page]:
    """One page, of the ground that all options share."""
    return context.pages_of_all("survey", [partial(survey_sheet, context)] if context.outcome.options else [])


def survey_sheet(context: PageContext) -> Sheet:
    """The page of the survey."""
    base = context.printed
    # What ground looks like would hide how it is known.
    terrain = replace(context.outcome.terrain, colours=None)
    outcome = context.outcome.on(terrain)
    known = known_ground(terrain.ground)
    page = context.begin(
        "The survey", "plan, north up", survey_line(terrain, known, measured_by(terrain)), scale=base.scale
    )
    bare = replace(without_verdicts(outcome.options[0]), units=(), facts=())
    axes = draw_plan(page, outcome, bare, base)
    ground, returns = terrain.ground, terrain.returns
    bridged = ground.filled & ground.known
    # A bridged cell or two would fall between the stripes.
    gaps = [Shading(bridged, replace(BRIDGED_GROUND, stripe=Stripe())), Shading(bridged, BRIDGED_GROUND)]
    if returns is None:
        leaves = leaves_found(terrain) & ground.known
        told = [Shading(leaves, LEAVES_FOUND)] if leaves.any() else []
        shade(axes, [*told, *gaps], base.extent)
    else:
        # Under leaves returns matter most: leaves are outlined and dotted, and leave them to be seen.
        steps = return_steps(returns.per_m2)
        densities = [
            Shading((steps == k) & ground.known, returns_sign(k)) for k in range(len(RETURN_STEPS) + 1)
        ]
        guessed = returns.leaves_guessed & ground.known
        told = [Shading(guessed, LEAVES_GUESSED)] if guessed.any() else []
        shade(axes, [*densities, *gaps, *told], base.extent)
    signs = [replace(MOUNT, text="mount")] if terrain.mounts else []
    found = [shading.sign for shading in told]
    page.key([*signs, *found, *site_signs(terrain, ground.z[base.extent.rows, base.extent.columns])])
    fill(page, [*_ground_sections(terrain), _survey_section(terrain), *_doubt_sections(terrain)])
    return page


def _ground_sections(terrain: Terrain) -> list[Section]:
    known = known_ground(terrain.ground)
    own = MEASURED_GROUND if terrain.spacing_m is not None else DRAWN_GROUND
    parts: list[tuple[Sign, float]] = [
        (own, known.measured_m2),
        (BRIDGED_GROUND, known.bridged_m2),
        (verdict_sign(UNKNOWN), known.unknown_m2),
    ]
    found = measured_by(terrain)
    # Where the map tells how densely, measured ground has no colour of its own.
    rows = [
        Row(
            sign.text,
            (part_figures(m2, known),),
            None if found and sign is own else sign,
            "large",
            is_inset=True,
        )
        for sign, m2 in parts
        if m2
    ]
    sections = [Section("Ground worked on", tuple(rows))]
    if found is not None:
        steps = [
            Row(returns_words(step), (part_figures(m2, known),), returns_sign(step))
            for step, m2 in reversed(list(enumerate(found.area_m2)))
            if m2
        ]
        sections.append(
            Section(
                f"Measured, ground returns a {area_unit()}", tuple(steps), short=f"Returns a {area_unit()}"
            )
        )
    items: list[tuple[Piece, ...]] = []
    for area in terrain.protect:
        part = known_ground(terrain.ground, area)
        share = part.measured_m2 / part.all_m2 if part.all_m2 else 0.0
        item: tuple[Piece, ...] = (Row(area.name, (measured_figure(part),)), Bar(share, palette.QUIET_INK))
        lacking = not_measured_words(part)
        items.append((*item, Paragraph(lacking, 2, is_quiet=True), Gap()) if lacking else item)
    if items:
        heading = "Protected ground, measured" if own is MEASURED_GROUND else "Protected ground, drawn"
        sections.append(Section(heading, (Listing(tuple(items), most=5, noun="area"),)))
    return sections


def _survey_section(terrain: Terrain) -> Section:
    lines = [*survey_facts(terrain), *standing_lines(standing_by_source(terrain))]
    pieces = [piece for line in lines for piece in (Paragraph(line, 4), Gap())]
    return Section("Where it comes from", tuple(pieces))


def _doubt_sections(terrain: Terrain) -> list[Section]:
    """What is doubted, whole sentences only."""
    items = tuple((Paragraph(retold(doubt), _WHOLE), Gap()) for doubt in terrain.doubts)
    listing = Listing(items, noun="doubt", where="see the page of warnings")
    return [Section("What is doubted of it", (listing,))] if items else []


def leaves_found(terrain: Terrain) -> NDArray[np.bool_]:
    """(ny, nx) cells of the ground in whose middle leaves grow that the survey shows."""
    ground, foliage = terrain.ground, terrain.foliage
    grows = np.pad(foliage.columns_of(SURVEYED_LEAVES), 1)
    columns = np.rint((ground.xs - foliage.x0) / foliage.cell_m).astype(int) + 1
    rows = np.rint((ground.ys - foliage.y0) / foliage.cell_m).astype(int) + 1
    ny, nx = grows.shape
    return np.asarray(grows[np.clip(rows, 0, ny - 1)[:, None], np.clip(columns, 0, nx - 1)])
