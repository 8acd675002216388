"""The page of proposed mounts: a plan with each at its number, and what the numbers are."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from terrain3d import palette
from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.job import Outcome
from terrain3d.search.mounts import Kind, Proposal
from terrain3d.search.propose import Proposed
from terrain3d.sentences.mounts import mounts_sentence
from terrain3d.show.blocks import Listing, Row, Section, fill
from terrain3d.show.extent import Extent, whole_cells
from terrain3d.show.legend import BOUNDARY, MOUNT, UNIT, Mark, Sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.base import plan_base
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.on_picture import haloed, marked
from terrain3d.show.pages.plan import begin_plan, plan_signs, site_labels
from terrain3d.show.pages.sheet import PICTURE_ASPECT, Sheet
from terrain3d.wording import counted

#: Ground shown around the outermost of what matters, metres.
_MARGIN_M = 2.5
#: No number is written over a mark; where there are more than so many, they are written small.
_MARK_PX, _MANY = 11.0, 60
_MARKS: dict[Kind, str] = {"corner": "s", "wall": "o", "boundary": "^", "edge": "^"}
_HEADINGS: dict[Kind, str] = {
    "corner": "At corners",
    "wall": "On faces of walls",
    "boundary": "Poles inside the boundary",
    "edge": "Poles beside protected ground",
}


def write_mounts_page(found: Proposed, path: Path) -> Path:
    """Draw the proposed mounts as a picture; the same mounts give the same bytes."""
    with page_style():
        return mounts_sheet(found).save(path)


def mounts_sheet(found: Proposed) -> Sheet:
    """The page of proposed mounts, numbered as in the table."""
    outcome, option = _bare(found)
    extent = _extent(found)
    count = len(found.mounts)
    title = counted(count, "proposed mount")
    page = PageContext(outcome).begin(title, "plan, north up", mounts_sentence(found))
    plan = begin_plan(page, outcome, option, plan_base(outcome, extent))
    if found.terrain.boundary is not None:
        ring = np.vstack([found.terrain.boundary, found.terrain.boundary[:1]])
        haloed(plan.axes, ring, BOUNDARY, 6, 3.4)
    _draw_marks(plan.axes, found.mounts)
    spots = [(one.mount.x, one.mount.y) for one in found.mounts]
    numbers = [
        plan.label(spot, [str(k)], 7.5 if count <= _MANY else 6.0, (0, 1), "bold")
        for k, spot in enumerate(spots, 1)
    ]
    plan.finish([*numbers, *site_labels(plan)], [plan.around(spot, _MARK_PX / 2) for spot in spots])
    signs = [sign for sign in plan_signs(outcome, (option,), extent) if sign is not UNIT]
    page.key([*_signs(found), *signs])
    fill(page, _sections(found))
    return page


def _bare(found: Proposed) -> tuple[Outcome, OptionResult]:
    """The site as an outcome without units, for the plan."""
    known = found.terrain.ground.known
    verdicts = np.where(known, np.uint8(Verdict.OUTSIDE), np.uint8(UNKNOWN))
    option = OptionResult("mounts", (), verdicts, {}, (), {}, {})
    return Outcome(found.site, (option,), ()), option


def _extent(found: Proposed) -> Extent:
    """Mounts, protected ground and boundary, in the shape of the picture where there is ground."""
    terrain = found.terrain
    places = [[mount.x, mount.y] for mount in (*terrain.mounts, *(p.mount for p in found.mounts))]
    points = np.vstack([np.reshape(places, (-1, 2)), *(area.outline for area in terrain.protect)])
    if terrain.boundary is not None:
        points = np.vstack([points, terrain.boundary])
    west, south, east, north = terrain.ground.bounds
    if not len(points):
        return whole_cells(terrain.ground, west, south, east, north)
    low, high = points.min(axis=0) - _MARGIN_M, points.max(axis=0) + _MARGIN_M
    size = high - low
    more = (np.maximum(size, [PICTURE_ASPECT * size[1], size[0] / PICTURE_ASPECT]) - size) / 2
    low, high = np.maximum(low - more, [west, south]), np.minimum(high + more, [east, north])
    return whole_cells(terrain.ground, float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _draw_marks(axes: Axes, mounts: tuple[Proposal, ...]) -> None:
    for kind in _MARKS:
        places = [(p.mount.x, p.mount.y) for p in mounts if p.kind == kind]
        if places:
            marked(axes, np.array(places), _sign(kind), 9)


def _sign(kind: Kind, text: str = "") -> Sign:
    return Sign(text, width=0, mark=Mark(_MARKS[kind], rim=palette.UNIT, rim_width=1.3))


def _signs(found: Proposed) -> list[Sign]:
    texts: dict[Kind, str] = {"corner": "at a corner", "wall": "on a wall", "edge": "on a pole"}
    kinds = {"edge" if p.kind == "boundary" else p.kind for p in found.mounts}
    signs = [_sign(kind, text) for kind, text in texts.items() if kind in kinds]
    if found.terrain.boundary is not None:
        signs.append(BOUNDARY)
    if found.terrain.mounts:
        signs.append(MOUNT)
    return signs


def _sections(found: Proposed) -> list[Section]:
    """Which numbers are what: alike ones in one row."""
    numbers: dict[tuple[Kind, str], list[int]] = {}
    for number, proposal in enumerate(found.mounts, 1):
        numbers.setdefault((proposal.kind, proposal.group), []).append(number)
    rows: dict[Kind, list[tuple[Row]]] = {}
    for (kind, stem), which in numbers.items():
        figure = f"{which[0]}" if len(which) == 1 else f"{which[0]} to {which[-1]}"
        rows.setdefault(kind, []).append((Row(stem, (figure,)),))
    listings = {kind: Listing(tuple(items), spare=2, where="see the table") for kind, items in rows.items()}
    return [Section(_HEADINGS[kind], (listing,)) for kind, listing in listings.items()]
