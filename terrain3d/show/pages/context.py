"""What all pages of one run share, how each of them begins, and what its file is called."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.job import Outcome
from terrain3d.sentences import words
from terrain3d.sentences.paper import foot_words
from terrain3d.sentences.walked import walked_briefly
from terrain3d.sentences.warnings import voiding
from terrain3d.show.extent import site_extent
from terrain3d.show.pages.base import Base, plan_base, plan_with, printed_base
from terrain3d.show.pages.sheet import PICTURE, PICTURE_ASPECT, Drawn, Page, Sheet
from terrain3d.show.pages.size import SCREEN, Size, scale_words
from terrain3d.show.shapes import Reach
from terrain3d.sight.hits import reach_of
from terrain3d.study import OptionStudy, Study
from terrain3d.units import Floats
from terrain3d.wording import slug


@dataclass(frozen=True)
class Lines:
    """Of which units sections and outlooks are drawn, and along which bearing the sections run.

    Parameters
    ----------
    units : tuple of str
        Names of units; those of every option where it is empty.
    bearing_deg : float, optional
        One section of each unit along this bearing; along the facing of each of its heads without it.
    along : tuple of str
        Names of walks and ways in, or "boundary": sections of each option along these in place of its units'.
    """

    units: tuple[str, ...] = ()
    bearing_deg: float | None = None
    along: tuple[str, ...] = ()

    def drawn(self, option: OptionResult) -> list[Detector]:
        """The units of an option that are drawn."""
        return [unit for unit in option.detectors if not self.units or unit.name in self.units]


@dataclass(frozen=True)
class PageContext:
    """What every page starts from; what pages share is worked out when the first of them is drawn.

    Parameters
    ----------
    outcome : Outcome
    size : Size
        What the pages are made for.
    date : str
        Printed on each page as it is given; none is made up, so that the same site gives the same bytes.
    study : Study, optional
        Of the outcome.
    lines : Lines
        Which sections and outlooks.
    best_only : bool
        Only what shows all options, and the pages of the one that is ranked first.
    """

    outcome: Outcome
    size: Size = SCREEN
    date: str = ""
    study: Study | None = None
    lines: Lines = Lines()
    best_only: bool = False

    def __getstate__(self) -> dict[str, Any]:
        """What goes to another process; what was worked out from it stays behind."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @cached_property
    def base(self) -> Base:
        """The plan as a screen shows it."""
        return plan_base(self.outcome, site_extent(self.outcome, PICTURE_ASPECT))

    @cached_property
    def printed(self) -> Base:
        """The plan of an option's page: to scale on paper."""
        return self.base_in(PICTURE[2:])

    @cached_property
    def reach(self) -> Reach:
        """How far it is to the first thing hit, ground or solid."""
        return reach_of(self.outcome.terrain)

    @property
    def best_first(self) -> tuple[OptionResult, ...]:
        """All options, best first; in the order of the site file where they are not ranked."""
        places = {name: place for place, name in enumerate(self.outcome.ranking)}
        return tuple(sorted(self.outcome.options, key=lambda option: places.get(option.name, len(places))))

    def base_in(self, place: tuple[float, float], lines: Iterable[Floats] = ()) -> Base:
        """The plan for a place on a page, width and height as shares of it, that holds some lines as well."""
        held = list(lines)
        if held:
            return plan_with(self.outcome, held, self.base, self.size, place)
        return printed_base(self.outcome, self.size, place, self.base)

    def studied(self, option: OptionResult) -> OptionStudy:
        """What the study found out about an option; the context must have one."""
        assert self.study is not None
        return self.study.of(option.name)

    def begin(
        self,
        title: str,
        view: str,
        sentence: str,
        note: str = "",
        scale: int | None = None,
        brief: str = "",
    ) -> Sheet:
        """A page with its title, sentence and caution.

        Parameters
        ----------
        title : str
        view : str
            What the picture is, such as "plan, north up".
        sentence : str
            What to take from it, under the picture.
        note : str
            In the upper right corner, such as a place in the ranking.
        scale : int, optional
            Denominator of a printed plan's.
        brief : str
            Said in the sentence's place where that has no room.
        """
        sheet = Sheet(self.size)
        if scale is not None:
            view += f", {scale_words(scale, self.size)}"
        figure = words.figure_words(self.outcome.figure)
        day = self.outcome.site.file.paper.date
        date = self.date or ("" if day is None else day.isoformat())
        sheet.title(title, f"{self.outcome.site_name}  |  {view}  |  figure: {figure}", note, date)
        sheet.say(sentence, brief)
        sheet.foot(foot_words(self.outcome.site))
        return sheet

    def begin_option(
        self, option: OptionResult, view: str, sentence: str, scale: int | None = None, brief: str = ""
    ) -> Sheet:
        """The same for a page of one option, with its place in the ranking, its walk test, and what makes it
        worthless."""
        place = words.place_in_ranking(self.outcome, option)
        tested = self.outcome.site.walk_tested(option.name)
        if tested is not None:
            view += f"  |  {walked_briefly(tested)}"
        sheet = self.begin(option.name, view, sentence, place, scale, brief)
        if void := voiding(option):
            sheet.band("; ".join(void))
        return sheet

    def pages_of_all(self, kind: str, draws: list[Callable[[], Drawn]]) -> list[Page]:
        """Pages of a kind that show all options: `00-contact`, or `00-contact-1` where there are several."""
        return _numbered(f"00-{kind}", draws)

    def pages_of_options(
        self,
        kind: str,
        draws_of: Callable[[OptionResult], Iterable[Callable[[], Drawn]]],
        ending: str = "png",
    ) -> list[Page]:
        """Pages of a kind, option by option: `01-plan-gate-pole`, `01-section-2-gate-pole`.

        Parameters
        ----------
        kind : str
        draws_of : callable
            Gives what draws the pages of an option, in order.
        ending : str
            Of their files.
        """
        best = [option.name for option in self.best_first[:1]]
        return [
            page
            for number, option in enumerate(self.outcome.options, 1)
            if not self.best_only or option.name in best
            for page in _numbered(f"{number:02d}-{kind}", [*draws_of(option)], option.name, ending)
        ]


def _numbered(
    start: str, draws: list[Callable[[], Drawn]], option: str = "", ending: str = "png"
) -> list[Page]:
    """File names, with a number of its own for each where there are several."""
    end = f"-{slug(option)}" if option else ""
    return [
        Page(f"{start}-{number}{end}" if len(draws) > 1 else f"{start}{end}", draw, option, ending)
        for number, draw in enumerate(draws, 1)
    ]
