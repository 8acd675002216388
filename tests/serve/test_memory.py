"""What a long day at the page keeps in memory: the history, what was looked at last, nothing that grows."""

import gc
from collections import Counter

import pytest

from terrain3d.serve import live_site

#: Whose things are counted; what is kept of each change, to take it back, is a draft.
_COUNTED = ("terrain3d.", "trimesh.", "embreex.", "pyvista.", "vtkmodules.")
_OF_HISTORY = "terrain3d.draft."


def living():
    """How many things of each kind there are, by the name of their class."""
    kinds = (type(one) for one in gc.get_objects())
    found = Counter(f"{kind.__module__}.{kind.__qualname__}" for kind in kinds)
    return {
        name: n for name, n in found.items() if name.startswith(_COUNTED) and not name.startswith(_OF_HISTORY)
    }


def changed_by_hand(page, changes):
    """Changes as a hand makes them: a unit set to places it never had, a wall drawn, and taken back."""
    for k in changes:
        if k % 10 == 8:
            page("draw", kind="wall", points=[[-2.0, -3.0 - k / 100], [2.0, -3.0 - k / 100]])
        elif k % 10 == 9:
            page("undo")
        else:
            page("choose_unit", option="from below", unit="D1")
            settings = {"bearing": (3.5 * k) % 360, "tilt": k % 13 - 6, "height": 0.8 + 0.1 * (k // 3 % 6)}
            setting = tuple(settings)[k % 3]
            page("set", setting=setting, value=settings[setting])
        page.session.frame()
        assert not page.state["said"]["is_refusal"], page.state["said"]


@pytest.fixture
def few_looks(monkeypatch):
    """What is kept of eyes is full after a few changes."""
    monkeypatch.setattr(live_site, "MOST_LOOKS", 8)


@pytest.mark.usefixtures("few_looks")
def test_nothing_grows_with_changes(page):
    """Of what is costly there is as much after 120 changes as after 80, and nobody looks for circles."""
    gc.collect()
    gc.disable()
    try:
        changed_by_hand(page, range(80))
        before = living()
        changed_by_hand(page, range(80, 120))
        grown = {
            name: (before.get(name, 0), n) for name, n in living().items() if n > before.get(name, 0) + 8
        }
    finally:
        gc.enable()
    assert grown == {}
