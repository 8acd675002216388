"""What is said of work beside a page that is done, over the list of what it found."""

from terrain3d.sentences.words import capital
from terrain3d.sentences.work import NAMES


def done_words(what: str) -> str:
    """That it is done.

    >>> done_words("study"), done_words("stills")
    ('The study is done', 'The stills are done')
    """
    name = NAMES[what]
    return f"{capital(name)} {'are' if name.endswith('s') else 'is'} done"


def found_title(what: str) -> str:
    """Over the list of what was found.

    >>> found_title("search")
    'What the search found'
    """
    if what in ("stills", "results"):
        return f"{capital(NAMES[what].removeprefix('the '))} written"
    return f"What {NAMES[what]} found"


def found_option(name: str, held: str) -> str:
    """A set that a search found.

    >>> found_option("best set", "84%")
    'best set: both layers hold 84%'
    """
    return f"{name}: both layers hold {held}"
