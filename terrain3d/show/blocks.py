"""What a column says, as plain values: sections of rows, bars, paragraphs, and lists cut where the room ends.

`fill` lays them out for pages and for the window alike: what finds no room is left out, and counted. A pen
only measures and draws.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal, Protocol

from terrain3d import palette
from terrain3d.cover.verdict import Verdict
from terrain3d.show.legend import Sign
from terrain3d.wording import counted

#: Sizes of type, from the largest.
TypeSize = Literal["large", "row", "small", "note"]


@dataclass(frozen=True)
class Row:
    """A line with figures at its right end and a sign at its left; what is too wide ends in dots.

    Without a sign of its own it starts where others have theirs, or under their words where `is_inset`. On a
    page several figures stand one after the other, or in columns that each take `column` of the width; what
    no block is a page draws itself beside a row, by `draw`, which is given the row's baseline.
    """

    text: str
    figures: tuple[str, ...] = ()
    sign: Sign | None = None
    size: TypeSize = "row"
    is_bold: bool = False
    is_quiet: bool = False
    is_inset: bool = False
    column: float = 0.0
    draw: Callable[[float], None] | None = None


@dataclass(frozen=True)
class Paragraph:
    """Running text over so many lines at most."""

    text: str
    most: int
    size: TypeSize = "small"
    is_quiet: bool = False


@dataclass(frozen=True)
class Bar:
    """A share as a bar over the column's width; the window has no room for one."""

    fraction: float
    colour: str = palette.VERDICT_COLOURS[Verdict.BOTH]


@dataclass(frozen=True)
class Gap:
    """A little air."""


Piece = Row | Paragraph | Bar | Gap


@dataclass(frozen=True)
class Listing:
    """Things of a kind, each some pieces: as many as find room, then how many more there are.

    `most` are told at most, and there are `others` besides; `spare` small lines are kept free for what
    follows; `noun` is what one thing is called where not even the first finds room.
    """

    items: tuple[tuple[Piece, ...], ...]
    most: int = 1000
    others: int = 0
    spare: int = 0
    noun: str = ""
    where: str = "see results.json"


@dataclass(frozen=True)
class Section:
    """A heading and what is under it; `short` is one for a narrow column, `figures` stand over figures."""

    heading: str
    blocks: tuple[Piece | Listing, ...]
    figures: tuple[str, ...] = ()
    short: str = ""


class Pen(Protocol):
    """What draws blocks, from the top of a column down."""

    def room(self) -> float:
        """Height that is left, in the pen's own unit."""

    def height_of(self, piece: Piece) -> float:
        """Height that a piece takes."""

    def head(self, section: Section) -> bool:
        """Draw a heading; False and none where a line below it has no room, for it would only puzzle."""

    def put(self, piece: Piece) -> None:
        """Draw a piece; nothing where it has no room."""

    def end(self) -> None:
        """Leave some air after a section."""


def fill(pen: Pen, sections: Iterable[Section]) -> None:
    """Lay sections out in a column, one under the other."""
    for section in sections:
        if not pen.head(section):
            continue
        for block in section.blocks:
            if isinstance(block, Listing):
                _fill_list(pen, block)
            else:
                pen.put(block)
        pen.end()


def _fill_list(pen: Pen, listing: Listing) -> None:
    told, count, line = 0, len(listing.items) + listing.others, pen.height_of(Row("", size="small"))
    for item in listing.items:
        height = sum(pen.height_of(piece) for piece in item if not isinstance(piece, Gap))
        # Where more are to come, there has to be room to say so.
        height += line * (listing.spare + (told < count - 1))
        if height > pen.room() or (told == listing.most and count > listing.most + 1):
            break
        for piece in item:
            pen.put(piece)
        told += 1
    if told < count:
        left = f"and {count - told} more" if told or not listing.noun else counted(count, listing.noun)
        pen.put(Row(f"{left}: {listing.where}", size="small"))
