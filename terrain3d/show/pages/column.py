"""The page of one option: verdicts, protected ground, units and warnings beside its picture."""

from terrain3d.cover.option import OptionResult
from terrain3d.cover.verdict import UNKNOWN, VERDICT_KEYS, VERDICT_WORDS, Verdict
from terrain3d.show import palette, words
from terrain3d.show.extent import Extent
from terrain3d.show.legend import verdict_sign
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.sheet import Sheet, share_of_page


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
    sheet = context.begin_option(option, view, words.one_line(context.outcome, option), scale)
    verdict_rows(sheet, option, extent)
    protected_rows(sheet, option)
    unit_rows(sheet, option)
    _warning_rows(sheet, words.warnings_of(context.outcome, option))
    return sheet


def verdict_rows(sheet: Sheet, option: OptionResult, extent: Extent) -> None:
    """The verdicts with their colours and areas."""
    sheet.heading("Ground")
    for verdict in sorted(Verdict, reverse=True):
        area = option.area_m2.get(VERDICT_KEYS[verdict])
        # How much of the survey lies outside says nothing about the option.
        figure = "" if verdict == Verdict.OUTSIDE or area is None else words.square_metres(area)
        baseline = sheet.row(VERDICT_WORDS[verdict], figure, size=8.5, indent=0.033)
        sheet.swatch(baseline, verdict_sign(verdict))
    if (option.verdicts[extent.rows, extent.columns] == UNKNOWN).any():
        baseline = sheet.row("ground not known", size=8.5, indent=0.033)
        sheet.swatch(baseline, verdict_sign(UNKNOWN))
    sheet.gap()


def protected_rows(sheet: Sheet, option: OptionResult) -> None:
    """How much of each protected area is held, as figures and bars."""
    if not option.protect:
        return
    width = sheet.right - sheet.left
    heading = "Protected ground, both layers"
    sheet.heading(heading if share_of_page(heading, 9, "bold") <= width else "Both layers hold")
    for shown, area in enumerate(option.protect):
        last = shown == len(option.protect) - 1
        if (shown == 5 and len(option.protect) > 6) or not sheet.room_for(2 if last else 4):
            sheet.row(f"and {len(option.protect) - shown} more: see results.json", size=7.5)
            break
        figure = f"{area.both_fraction:.0%} of {words.square_metres(area.area_m2)}"
        room = width - share_of_page(figure, 8) - 0.012
        sheet.row(sheet.lines(area.name, room, 8, 1)[0], figure)
        sheet.bar(area.both_fraction)
    sheet.gap()


def unit_rows(sheet: Sheet, option: OptionResult) -> None:
    """The units and how each is set."""
    sheet.heading("Units")
    for shown, unit in enumerate(option.detectors):
        if shown == 4 or not sheet.room_for(9):
            sheet.row(f"and {len(option.detectors) - shown} more: see results.json", size=7.5)
            break
        sheet.paragraph(f"{unit.name}: {unit.type.name} on {unit.mount}", 2, size=8)
        for line in words.unit_lines(unit):
            sheet.paragraph(line, 2, color=palette.QUIET_INK)
    sheet.gap()


def _warning_rows(sheet: Sheet, warnings: list[str]) -> None:
    if not warnings:
        return
    sheet.heading("Mind")
    for shown, warning in enumerate(warnings):
        lines = sheet.lines(warning, sheet.right - sheet.left, 7.5, 4)
        last = shown == len(warnings) - 1
        if not sheet.room_for(len(lines) + (0 if last else 1)):
            sheet.row(f"and {len(warnings) - shown} more: see results.json", size=7.5)
            break
        for line in lines:
            sheet.row(line, size=7.5)
        sheet.gap(0.004)
