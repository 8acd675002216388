"""When a survey was measured, and how old it is on the day that the site file names."""

from datetime import date

from terrain3d.site import Site
from terrain3d.terrain import Dated
from terrain3d.wording import counted

#: A survey older than this is told: hedges have grown and sheds have come (common practice, no source).
OLD_DAYS = 365


def dated_of(site: Site, by_file: Dated | None) -> tuple[Dated | None, tuple[str, ...]]:
    """The date of a survey: the site file's, or else that of its own file; and what is doubtful about it.

    Nothing here asks what day it is: a survey is as old as the site file's own date makes it.

    Parameters
    ----------
    site : Site
    by_file : Dated or None
        What the survey's file says.

    Examples
    --------
    >>> site = Site.model_validate({
    ...     "site": {"name": "s", "date": date(2026, 3, 1)},
    ...     "ground": {"file": "s.laz", "flown": date(2023, 1, 1)}})
    >>> dated_of(site, None)[1][0].partition(":")[0]
    'the survey was measured 2023-01-01, 3 years before [site] date, 2026-03-01'
    """
    flown = site.ground.flown
    dated = by_file if flown is None else Dated(flown, flown, "[ground] flown", is_flown=True)
    doubts = []
    if flown is not None and by_file is not None and _clash(flown, by_file):
        doubts.append(
            f"[ground] flown says {flown}, the survey itself {days(by_file)} ({by_file.said_by}): the site "
            "file's is taken"
        )
    if dated is not None and site.site.date is not None:
        doubts += _age(dated, site.site.date)
    return dated, tuple(doubts)


def days(dated: Dated) -> str:
    """A day, or the first and the last of several.

    >>> days(Dated(date(2020, 1, 2), date(2020, 1, 4), "its header", True))
    '2020-01-02 to 2020-01-04'
    """
    return f"{dated.first}" if dated.first == dated.last else f"{dated.first} to {dated.last}"


def _clash(flown: date, by_file: Dated) -> bool:
    """Points are measured on their days; a file is written on one of them or later."""
    if by_file.is_flown:
        return not by_file.first <= flown <= by_file.last
    return flown > by_file.last


def _age(dated: Dated, on: date) -> list[str]:
    how = "was measured" if dated.is_flown else "is of a file that was written"
    age = (on - dated.last).days
    if age < 0:
        return [f"the survey {how} {days(dated)}, after [site] date, {on}: one of the two is wrong"]
    if age <= OLD_DAYS:
        return []
    years = int(age / 365.25)
    old = counted(years, "year") if years else "a year"
    return [
        f"the survey {how} {days(dated)}, {old} before [site] date, {on}: what was built, felled or has "
        "grown since is not in it"
    ]
