"""Pictures without a display: for each option a plan and an oblique view, each a printable page."""

from collections.abc import Callable
from pathlib import Path

from terrain3d.job import Outcome
from terrain3d.show import sheet, words
from terrain3d.show.camera import site_camera
from terrain3d.show.extent import site_extent
from terrain3d.show.lettering import page_style
from terrain3d.show.oblique import draw_oblique
from terrain3d.show.plan import draw_plan, plan_base
from terrain3d.show.scene import build_scene
from terrain3d.show.shapes import Reach
from terrain3d.sight.hits import first_hits
from terrain3d.terrain import Terrain
from terrain3d.units import Floats

#: How far lines of sight to the camera are followed, metres.
_SIGHT_M = 100.0


def write_stills(
    outcome: Outcome, folder: Path, progress: Callable[[float], None] | None = None
) -> list[Path]:
    """Draw every option of an outcome.

    Parameters
    ----------
    outcome : Outcome
    folder : Path
        An existing folder.
    progress : callable, optional
        Told the share that is done.

    Returns
    -------
    list of Path
        `01-plan-...png`, `01-oblique-...png` and so on, in the order of the options. The same
        outcome gives the same bytes.
    """
    reach = reach_of(outcome.terrain)
    wide, tight = site_extent(outcome, sheet.PICTURE_ASPECT), site_extent(outcome)
    camera = site_camera(outcome, tight, reach, sheet.PICTURE_ASPECT)
    base = plan_base(outcome, wide)
    drawn: list[Path] = []
    with page_style():
        for number, option in enumerate(outcome.options, 1):
            page = sheet.option_sheet(outcome, option, "plan, north up", wide)
            draw_plan(page, outcome, option, base)
            drawn.append(page.save(folder / f"{number:02d}-plan-{words.slug(option.name)}.png"))
            page = sheet.option_sheet(outcome, option, "oblique view, the same for every option", tight)
            scene = build_scene(outcome, option, tight, reach, camera)
            draw_oblique(page, outcome, option, tight, scene, camera)
            drawn.append(page.save(folder / f"{number:02d}-oblique-{words.slug(option.name)}.png"))
            if progress is not None:
                progress(number / len(outcome.options))
    return drawn


def reach_of(terrain: Terrain) -> Reach:
    """Distances from a point to the first thing hit, ground or solid."""

    def reach(eye: Floats, directions: Floats) -> Floats:
        x, y, z = (float(v) for v in eye)
        return first_hits(terrain, (x, y, z), directions, _SIGHT_M).distance

    return reach
