"""What is said of work that goes on beside a page: that it begins, and how it ended."""

from terrain3d.sentences.words import capital

#: What each kind of work is called.
NAMES = {
    "study": "the study",
    "search": "the search",
    "mounts": "the look for mounts",
    "results": "the results",
    "stills": "the stills",
    "pack": "the pack",
    "sheet": "the fixing sheet",
    "walktest": "the sheet of the walk test",
    "read_walks": "the reading of the walk test",
}
#: What each part of a study asks.
PARTS = {
    "walks": "whether someone who walks raises the alarm, and where",
    "routes": "where someone could come in without one",
    "close-in": "what is missed near the unit and along its wall",
    "animals": "which animals raise it, and where",
    "beyond": "what the upper layer reaches past the boundary",
    "heat": "what is held on warm evenings",
    "sun": "when low sun stands near a layer",
    "doubt": "how surely all this holds",
}
#: Those of which there are several.
_SEVERAL = ("results", "stills")


def starting_words(what: str) -> str:
    """What is said until the first step is told.

    >>> starting_words("study")
    'starting the study'
    """
    return f"starting {NAMES[what]}"


def refused_words(what: str, fault: str, where: str, mend: str) -> str:
    """Why work could not be done, in a line.

    >>> refused_words("search", "no type is to be searched", "search: types", "name one")
    'The search was not done: no type is to be searched (search: types); name one'
    """
    place = f" ({where})" if where else ""
    return f"{_begun(what)} not done: {fault}{place}{f'; {mend}' if mend else ''}"


def broken_words(what: str, fault: str) -> str:
    """What is said of a fault of ours.

    >>> broken_words("stills", "ZeroDivisionError: division by zero")
    'The stills were not done: a fault in the program (ZeroDivisionError: division by zero)'
    """
    return f"{_begun(what)} not done: a fault in the program ({fault})"


def ended_words(what: str) -> str:
    """What is said where the process that worked is gone without a word.

    >>> ended_words("study")
    'The study was not done: its process was ended from outside, perhaps for want of memory'
    """
    return f"{_begun(what)} not done: its process was ended from outside, perhaps for want of memory"


def done_words(what: str) -> str:
    """That it is done.

    >>> done_words("mounts"), done_words("stills")
    ('The look for mounts is done', 'The stills are done')
    """
    return f"{capital(NAMES[what])} {'are' if what in _SEVERAL else 'is'} done"


def _begun(what: str) -> str:
    return f"{capital(NAMES[what])} {'were' if what in _SEVERAL else 'was'}"
