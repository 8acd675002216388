"""Scenarios and figures: set by name, followed where they are named."""

from pathlib import Path

import pytest

from terrain3d.draft.document import checked_draft, draft_of, read_draft
from terrain3d.draft.lists import LISTED, added_entry, listed, listed_fields, removed_entry, set_entry
from terrain3d.errors import InputError
from terrain3d.site import Site

DEMO = Path(__file__).parents[2] / "data" / "demo.toml"


def test_a_scenario_is_added_and_set():
    """Beside those that are there; what would change nothing is refused."""
    draft = added_entry(read_draft(DEMO), "scenario", {"name": "cut down", "without": ["young hedge"]})
    assert [one["name"] for one in listed(draft, "scenario")] == ["not cut", "winter", "cut down"]
    draft = set_entry(draft, "scenario", "winter", {"leaves": 0.1, "growth": 0.25})
    assert draft.tables["scenario"][1] == {"name": "winter", "leaves": 0.1, "growth": 0.25}
    assert [one.name for one in checked_draft(draft).site.scenario] == ["not cut", "winter", "cut down"]
    with pytest.raises(InputError, match="it changes nothing"):
        set_entry(draft, "scenario", "not cut", {"growth": None})
    with pytest.raises(InputError, match="named 'winter' already"):
        set_entry(draft, "scenario", "not cut", {"name": "winter"})
    with pytest.raises(InputError, match="known: not cut, winter, cut down"):
        removed_entry(draft, "scenario", "spring")
    before = removed_entry(
        set_entry(draft, "scenario", "winter", {"leaves": 0.2, "growth": None}), "scenario", "cut down"
    )
    assert before.text == DEMO.read_text(encoding="utf-8")


def test_a_figure_is_followed():
    """Whoever walks as it goes on to; one that is named anywhere stays."""
    text = b"[site]\nname = 'x'\nfigure = 'calf'\n[[figure]]\nname = 'calf'\nheight = 0.9\n"
    draft = set_entry(draft_of(text, None), "figure", "calf", {"name": "small calf", "height": 0.8})
    assert draft.tables["site"]["figure"] == "small calf"
    with pytest.raises(InputError, match="'small calf' is named by site figure"):
        removed_entry(draft, "figure", "small calf")
    with pytest.raises(InputError, match="out of bounds"):
        added_entry(draft, "figure", {"name": "giant", "height": 3.0})


def test_every_list_that_is_not_drawn_is_here():
    """The tables of the site file that have names and no points; options have a module of their own, and
    what was walked is written by who walked."""
    lists = {
        key for key, info in Site.model_fields.items() if str(info.annotation).startswith("tuple[terrain3d")
    }
    assert set(LISTED) == lists - {"option", "walk_tested"}
    assert all(field.meaning for table in LISTED for field in listed_fields(table))
