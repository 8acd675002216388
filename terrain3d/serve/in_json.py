"""Sections, signs and units as plain values for the page."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from terrain3d.cover.option import OptionResult
from terrain3d.detector.pose import Detector
from terrain3d.show.blocks import Bar, Gap, Listing, Paragraph, Piece, Row, Section
from terrain3d.show.legend import Sign
from terrain3d.terrain import Ground
from terrain3d.units import direction

#: Share of the longest reach of a unit at which the handle lies that turns it.
_HANDLE = 0.7


def sign_values(sign: Sign) -> dict[str, Any]:
    """A sign: colours as the pictures have them.

    >>> from terrain3d.show.legend import SOLID
    >>> sign_values(SOLID)["fill"], sign_values(SOLID)["mark"]
    ('#a39a8b', None)
    """
    mark = sign.mark
    return {
        "fill": sign.on_paper if sign.fill else "",
        "line": sign.line,
        "width": sign.width,
        "dashes": list(sign.dashes),
        "strength": sign.strength,
        "stripe": {"hatch": sign.stripe.hatch, "colour": sign.stripe.colour} if sign.stripe.hatch else None,
        "mark": {"shape": mark.shape, "fill": mark.fill, "rim": mark.rim, "dot": mark.dot}
        if mark.shape
        else None,
    }


def blocks_of(sections: Iterable[Section]) -> list[dict[str, Any]]:
    """Sections as blocks from top to bottom; lists are told whole, for the page scrolls."""
    blocks: list[dict[str, Any]] = []
    for section in sections:
        blocks.append({"kind": "heading", "text": section.heading, "figures": list(section.figures)})
        for block in section.blocks:
            pieces = [one for item in block.items for one in item] if isinstance(block, Listing) else [block]
            blocks += [_piece(piece) for piece in pieces]
    return blocks


def _piece(piece: Piece) -> dict[str, Any]:
    if isinstance(piece, Row):
        return {
            "kind": "row", "text": piece.text, "figures": list(piece.figures),
            "sign": None if piece.sign is None else sign_values(piece.sign), "size": piece.size,
            "is_bold": piece.is_bold, "is_quiet": piece.is_quiet, "is_inset": piece.is_inset,
        }  # fmt: skip
    if isinstance(piece, Paragraph):
        return {"kind": "paragraph", "text": piece.text, "is_quiet": piece.is_quiet}
    if isinstance(piece, Bar):
        return {"kind": "bar", "fraction": piece.fraction, "colour": piece.colour}
    assert isinstance(piece, Gap)
    return {"kind": "gap"}


def unit_values(ground: Ground, option: OptionResult, unit: Detector) -> dict[str, Any]:
    """Where a unit stands in a view, and where the handle lies that turns it, on the ground."""
    away = _HANDLE * unit.type.max_range
    east, north = direction(unit.bearing_deg)
    x, y = unit.x + away * east, unit.y + away * north
    z = float(ground.height_at(x, y))
    return {
        "option": option.name, "unit": unit.name, "mount": unit.mount, "bearing_deg": unit.bearing_deg,
        "at": [float(v) for v in unit.eye], "foot": [unit.x, unit.y, unit.ground_z],
        "handle": [x, y, z if np.isfinite(z) else unit.ground_z],
    }  # fmt: skip
