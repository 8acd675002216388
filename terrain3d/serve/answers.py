"""What was answered about a place, and what work found, as a page keeps them."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from terrain3d.cover.at_point import PlaceAt
from terrain3d.detector.pose import Detector
from terrain3d.search.would_hold import Change
from terrain3d.sentences.asking import change_words, no_change_words, place_lines
from terrain3d.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Answer:
    """What was answered about a place, as long as the option stands as it did.

    Parameters
    ----------
    place : PlaceAt
    unit : Detector or None
        The unit whose section leads there.
    units : tuple of Detector
        Of the option that was asked about.
    terrain : Terrain
    figure : str
        Whom the verdicts are for.
    changes : tuple of (change, values) or None
        What would hold it, where that was asked; as a message takes it.
    is_protected : bool
        Whether what is gained and lost is protected ground.
    """

    place: PlaceAt
    unit: Detector | None
    units: tuple[Detector, ...]
    terrain: Terrain
    figure: str
    changes: tuple[tuple[Change, dict[str, Any]], ...] | None = None
    is_protected: bool = False

    @property
    def lines(self) -> list[str]:
        """What is said of the place."""
        told = place_lines(self.place, self.figure)
        if self.changes == ():
            told.append(no_change_words(self.place.code, [unit.name for unit in self.units]))
        return told

    @property
    def values(self) -> dict[str, Any]:
        """As plain values; the section is a picture of its own."""
        return {
            "at": [self.place.x, self.place.y, self.place.z],
            "lines": self.lines,
            "would_hold": None
            if self.changes is None
            else [
                {"words": change_words(change, self.is_protected), "change": values}
                for change, values in self.changes
            ],
        }


@dataclass(frozen=True)
class Found:
    """What work found, a row each, worded when it is shown; `takes` has what a row puts into the draft, where
    it can be taken.
    """

    title: str
    tell: Callable[[], Iterable[str]]
    takes: tuple[tuple[str, Mapping[str, Any]] | None, ...] = ()

    @property
    def rows(self) -> tuple[str, ...]:
        """In the units that lengths are told in."""
        return tuple(self.tell())

    @property
    def values(self) -> dict[str, Any]:
        """As plain values; what can be taken has a message that takes it."""
        rows = []
        for place, words in enumerate(self.rows):
            can_take = place < len(self.takes) and self.takes[place] is not None
            rows.append({"words": words, "do": {"do": "take_found", "row": place} if can_take else None})
        return {"title": self.title, "rows": rows}
