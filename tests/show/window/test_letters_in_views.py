"""What is written over a view: names in every script as on pages, and a title that stays within its view."""

from dataclasses import replace

import numpy as np
import pytest
from vtkmodules.util.numpy_support import vtk_to_numpy

from terrain3d.show.lettering import fitted_lines
from terrain3d.show.window import views as window
from terrain3d.show.writing import sign_board

#: "Back yard with a car park" in Chinese and "behind the yard" in Devanagari, and a long option in Greek.
HAN, DEVANAGARI = "后院停车场", "आँगन के पीछे"
LONG = "Δύο μονάδες στον τοίχο της αυλής, στραμμένες προς τον κήπο και το παλιό πηγάδι της γειτονιάς"


@pytest.fixture
def view(outcome):
    """A view of the invented slope, its areas named in two scripts and its options long."""
    areas = tuple(
        replace(area, name=name)
        for area, name in zip(outcome.terrain.protect, (HAN, DEVANAGARI), strict=True)
    )
    options = tuple(replace(option, name=f"{LONG} {k}") for k, option in enumerate(outcome.options))
    named = outcome.on(replace(outcome.terrain, protect=areas))
    named = replace(named, options=options, ranking=tuple(one.name for one in options), reasons=())
    drawn = window.View(named, off_screen=True)
    yield drawn
    drawn.plotter.close()


def board_of(actor):
    """The pixels of what is written, row 0 at the top."""
    picture = actor.GetTexture().GetInput()
    width, height, _ = picture.GetDimensions()
    return vtk_to_numpy(picture.GetPointData().GetScalars()).reshape(height, width, 4)[::-1]


@pytest.mark.parametrize("name", [HAN, DEVANAGARI])
def test_names_in_a_view_are_those_of_the_pages(view, name):
    """The board of a name has its letters and no boxes, and stands where its place says."""
    view.draw()
    (written,) = [one for one in view._panes[0]._names if one.tag.text == name]
    (line,) = fitted_lines(name, 1e3, 1)
    assert "\u25a1" not in line
    board = board_of(written.actor)
    assert np.array_equal(board, sign_board([line], 12, bold=False))
    assert written.size == (board.shape[1], board.shape[0])
    assert (board[..., 3] > 200).any()


def test_a_title_stays_within_its_view(view):
    """Of two options side by side each title ends in dots where its view is too narrow for it."""
    view.state.compare()
    view.draw()
    view.plotter.render_window.Render()
    for pane in view._panes:
        title = board_of(pane._title.actor)
        width, _ = pane.renderer.GetSize()
        assert 0.5 * width < title.shape[1] <= width
