"""What a report says between its pictures: headings, what was asked, what each picture is, the ten words."""

from collections.abc import Iterable

from terrain3d.cover.option import OptionResult
from terrain3d.job import Outcome
from terrain3d.lengths import area_words
from terrain3d.sentences.warnings import voiding
from terrain3d.sentences.words import capital, figure_words
from terrain3d.site import PaperSetting
from terrain3d.wording import counted, listed

#: By the kind of a page: what its picture is, for the heading over it.
PICTURES = {
    "plan": "Plan",
    "section": "Section",
    "oblique": "Oblique view",
    "outlook": "From the unit",
    "causes": "What takes a layer",
    "contact": "All options side by side",
    "routes": "Ways in",
    "doubt": "How often it is held",
}
#: Ten words of the trade as this report uses them.
GLOSSARY = (
    ("both layers", "ground where a figure breaks both layers of a unit: it can raise an alarm there"),
    ("upper only", "ground where a figure breaks the upper layer alone: a unit that wants both stays silent"),
    ("lower only", "ground where a figure breaks the lower layer alone: the same"),
    ("dead ground", "ground within arc and range where no layer reaches a figure"),
    ("unit", "one housing on one pole or wall, with one head or more"),
    ("head", "what of a unit looks over one arc, with an upper layer and a lower one"),
    ("layer", "what a head senses at one elevation: the upper lies level, the lower slopes down"),
    ("arc", "the angle in plan that a head looks over"),
    ("range setting", "how far off the lower layer meets level ground, from a unit at its usual height"),
    ("tilt", "how far a unit leans, in degrees; nose down is positive"),
)
HEADINGS = {
    "answer": "The answer",
    "asked": "What was asked, and how the ground is known",
    "options": "The options",
    "best": "The recommended option",
    "open": "What stays open, and who could walk there",
    "others": "Animals, neighbours and nuisances",
    "weather": "Sun and heat",
    "sure": "How sure this is",
    "to do": "What to do",
    "watch": "Warnings",
    "cautions": "Cautions",
    "words": "Ten words",
}
#: Heading of the first option where it holds nothing or stands where it cannot; what is said first of the
#: former.
RANKED_FIRST = "The option ranked first"
NOTHING_HELD = "No option holds any of the protected ground: none is recommended as it is."
#: What the sign of whoever made the report is to somebody who does not see it.
SIGN_OF = "Logo of {}"
#: Said under the headings of parts that a model tells.
MODEL = "Geometry and a few plain models, none of them measured on a unit; nothing of rain, wind or wear."


def named_lines(paper: PaperSetting) -> list[list[str]]:
    """Whom a report is for, whose it is, which issue and of when: what each is, and what was given.

    >>> named_lines(PaperSetting(client="A farm", revision="B"))
    [['for', 'A farm'], ['revision', 'B']]
    """
    date = None if paper.date is None else paper.date.isoformat()
    given = (("for", paper.client), ("by", paper.by), ("revision", paper.revision), ("date", date))
    return [[label, value] for label, value in given if value]


def void_lines(options: Iterable[OptionResult]) -> list[str]:
    """Of each option that stands where it cannot: what makes its numbers worthless."""
    return [f'"{option.name}": {capital(told)}.' for option in options for told in voiding(option)]


def asked_lines(outcome: Outcome) -> list[str]:
    """What was asked: which ground, against whom, by which options.

    Returns
    -------
    list of str
    """
    areas = [
        f'"{part.name}" ({area_words(part.area_m2)})'
        for part in (outcome.options[0].protect if outcome.options else ())
    ]
    what = f"Which ground each option holds with both layers against a {figure_words(outcome.figure)}."
    protected = f"To be held: {listed(areas, 12)}." if areas else "No ground is named that must be held."
    return [what, protected, f"{counted(len(outcome.options), 'option')} compared."]


def picture_heading(kind: str, of: str, number: int) -> str:
    """What stands over a picture: its kind, and which of them it is where there are several.

    >>> picture_heading("section", "D1, head 2 of 2, bearing 225°", 2), picture_heading("contact", "", 2)
    ('Section: D1, head 2 of 2, bearing 225°', 'All options side by side, 2')
    """
    if of:
        return f"{PICTURES[kind]}: {of}"
    return PICTURES[kind] if number == 1 else f"{PICTURES[kind]}, {number}"


def picture_words(kind: str, option: str, said: str) -> str:
    """What a picture is and says, for whoever does not see it.

    >>> picture_words("plan", "gate pole", "Both layers hold all of it.")
    'Plan of "gate pole". Both layers hold all of it.'
    """
    of = f' of "{option}"' if option else ""
    return f"{PICTURES[kind]}{of}. {said}".strip()
