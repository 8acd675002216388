"""The page of one option: verdicts, protected ground, units and warnings beside its picture."""

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN
from terrain3d.job import Outcome
from terrain3d.sentences.options import one_line
from terrain3d.sentences.verdicts import PHOTOGRAPHED, SCANNED
from terrain3d.sentences.warnings import option_warnings
from terrain3d.show.blocks import Section, fill
from terrain3d.show.extent import Extent
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.sections import ground_section, protected_sections, unit_section, warning_sections


def option_sheet(
    context: PageContext, option: OptionResult, view: str, extent: Extent, scale: int | None = None
) -> Sheet:
    """A page with everything but its picture.

    Parameters
    ----------
    context : PageContext
    option : OptionResult
    view : str
        What the picture is, such as "plan, north up".
    extent : Extent
        The part of the site that it shows.
    scale : int, optional
        Denominator of a printed plan's.
    """
    outcome = context.outcome
    sheet = context.begin_option(option, view, one_line(outcome, option), scale)
    rest = [unit_section(option.detectors), *warning_sections(option_warnings(option, outcome.terrain))]
    fill(
        sheet, [shown_ground(outcome, option, extent), *protected_sections((option,), has_causes=True), *rest]
    )
    return sheet


def shown_ground(outcome: Outcome, option: OptionResult, extent: Extent) -> Section:
    """The verdicts of an option, and ground not known where some of it is shown."""
    shown, colours = option.verdicts[extent.rows, extent.columns], outcome.terrain.colours
    outside = "" if colours is None else PHOTOGRAPHED if colours.of_photo else SCANNED
    return ground_section((option,), has_unknown=bool((shown == UNKNOWN).any()), outside=outside)
