"""What stands over the list of what work beside a page found or wrote, and in its rows."""

import datetime

from terrain3d.sentences.words import capital
from terrain3d.sentences.work import NAMES


def found_title(what: str) -> str:
    """Over the list of what was found.

    >>> found_title("search")
    'What the search found'
    """
    return f"What {NAMES[what]} found"


def written_title(what: str, folder: str) -> str:
    """Over the list of what was written, with the folder that it is in.

    >>> written_title("sheet", "out")
    'Fixing sheet, written into the folder out'
    """
    return f"{capital(NAMES[what].removeprefix('the '))}, written into the folder {folder}"


def found_option(name: str, held: str) -> str:
    """A set that a search found.

    >>> found_option("best set", "84%")
    'best set: both layers hold 84%'
    """
    return f"{name}: both layers hold {held}"


def take_walks_words(hanging: str | None, name: str, on: datetime.date) -> str:
    """What is put into the site by taking a walk test that was read; `hanging` is the option as it hangs.

    >>> take_walks_words(None, "level", datetime.date(2026, 5, 3))
    'Walk test of "level" on 2026-05-03: noted in the site'
    """
    also = f', and the option as its units hang: "{hanging}"' if hanging else ""
    return f'Walk test of "{name}" on {on.isoformat()}: noted in the site{also}'
