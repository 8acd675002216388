"""The window with a study: colours against the numbers, keys of what was studied, settings changed since."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import LinearSegmentedColormap
from vtkmodules.util.numpy_support import vtk_to_numpy

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.nuisance.animals import animal_ground
from terrain3d.nuisance.spill import spill
from terrain3d.show.extent import site_extent
from terrain3d.show.live.findings import finding_rows
from terrain3d.show.live.state import WindowState
from terrain3d.show.live.study_scene import ways_scene
from terrain3d.show.window import panels
from terrain3d.show.window import views as window
from terrain3d.show.window.keys_and_mouse import KeysAndMouse
from terrain3d.study import OptionStudy, Study
from terrain3d.terrain import Beyond, Nuisance, Walk
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import OptionUncertainty, Uncertainty
from terrain3d.walk.option import option_walks
from terrain3d.walk.routes import open_routes


@pytest.fixture(scope="module")
def study(outcome):
    """A study of the invented slope: a boundary close to the units, a walk, chances drawn up."""
    ring = np.array([[-8.0, 2.0], [8.0, 2.0], [8.0, 9.0], [-8.0, 9.0]])
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    terrain = replace(
        outcome.terrain,
        boundary=ring,
        walks=(Walk("across", np.array([[-7.0, 0.0], [7.0, 0.0]])),),
        beyond=(Beyond("meadow", "neighbour", 8 * square - [4, 8]),),
        nuisances=(Nuisance("vent", "vent", square + np.array([3, 5]), 0.5, 1.0),),
    )
    outcome = outcome.on(terrain)
    rng = np.random.default_rng(5)
    options, doubts = [], []
    for option in outcome.options:
        units = option.detectors
        walks = option_walks(terrain, option, outcome.figure)
        routes = open_routes(terrain, option, outcome.figure)
        options.append(
            OptionStudy(
                option.name, walks, routes, animal_ground(terrain, option),
                spill(terrain, units, outcome.figure.height_m), (),
            )
        )  # fmt: skip
        chance = rng.integers(0, 41, option.verdicts.shape) / np.float32(40)
        chance[option.verdicts == Verdict.OUTSIDE] = 0
        chance[option.verdicts == UNKNOWN] = np.nan
        doubts.append(
            OptionUncertainty(option.name, chance.astype(np.float32), np.ones(3), np.full(3, 0.25), 0.5)
        )
    names = tuple(option.name for option in outcome.options)
    uncertainty = Uncertainty(tuple(doubts), ErrorSizes(0.1, 10.0, 0.02, 2.5, 1.0), 3, 1, names, 1.0, 1.0)
    return Study(
        outcome,
        tuple(options),
        uncertainty,
        ("walks", "routes", "animals", "beyond", "doubt"),
        outcome.terrain,
    )


@pytest.fixture
def view(study):
    """A view of the study without a window, closed at the end."""
    drawn = window.View(study.outcome, off_screen=True, study=study)
    drawn.state.extras.clear()
    yield drawn
    drawn.plotter.close()


def drape_of(view):
    """The picture on the ground, and the repeated cells that each of its pixels belongs to."""
    view.draw()
    picture = view._panes[0].texture.GetInput()
    width, height, _ = picture.GetDimensions()
    image = vtk_to_numpy(picture.GetPointData().GetScalars()).reshape(height, width, 3)

    def cells(grid):
        part = grid[view._extent.rows, view._extent.columns]
        k = height // part.shape[0]
        return part.repeat(k, axis=0).repeat(k, axis=1)

    return image, cells


def is_colour(image, colour):
    return (image == palette.rgb(colour)).all(axis=-1)


def test_every_pixel_of_the_animals_is_its_cells_lowest_animal(view, study):
    """Each colour's share of the drape is the share of ground whose lowest animal it is."""
    view.state.next_ground()
    assert view.state.ground_shown == "animals"
    image, cells = drape_of(view)
    found = study.options[0].animals
    stripe = is_colour(image, palette.CRAWLING_STRIPE)
    crawled = cells(found.crawling.where)
    assert stripe[crawled].any()
    assert not stripe[~crawled].any()
    taken = np.zeros(crawled.shape, bool)
    assert any(animal.where.any() for animal in found.animals)
    for rank, animal in enumerate(found.animals):
        lowest = cells(animal.where) & ~taken
        taken |= lowest
        colour = palette.animal_colour(rank, len(found.animals))
        assert np.array_equal(is_colour(image, colour) & ~stripe, lowest & ~stripe), animal.figure.name
        assert is_colour(image, colour)[~crawled].sum() == lowest[~crawled].sum()


def test_every_pixel_of_the_chance_is_its_cells_share_of_draws(view, study):
    """The colours are those that matplotlib gives the same scale, to three parts in 255, cell by cell."""
    view.state.next_ground()
    view.state.next_ground()
    assert view.state.ground_shown == "chance"
    image, cells = drape_of(view)
    chance = cells(study.uncertainty.options[0].chance)
    known = np.isfinite(chance)
    # An outside check: matplotlib's own interpolation between the same colours.
    scale = LinearSegmentedColormap.from_list("chance", palette.CHANCE_SCALE, N=1001)
    wanted = 255 * np.asarray(scale(np.nan_to_num(chance).astype(float)))[..., :3]
    assert np.abs(image[known].astype(float) - wanted[known]).max() <= 3
    assert (chance[known] > 0.5).any()
    never = is_colour(image, palette.VERDICT_COLOURS[Verdict.OUTSIDE])
    assert np.array_equal(never[known], (chance == 0)[known])


def test_spill_lies_on_its_cells_and_leaves_the_verdicts_elsewhere(view, study):
    """With what lies beyond shown, spill within range fills its cells, spill past it stripes them."""
    plain, _ = drape_of(view)
    view.state.toggle("beyond")
    image, cells = drape_of(view)
    spilt = study.options[0].spill
    within, on = cells(spilt.past_within), cells(spilt.past_on)
    assert within.any()
    assert on.any()
    red = is_colour(image, palette.SPILT)
    assert red[within].all()
    assert red[on].any()
    assert not red[~(within | on)].any()
    assert np.array_equal(image[~red], plain[~red])


def test_ways_and_beyond_go_and_come_back(view):
    """Each key adds lines and names to the picture, and takes them away again as it was."""

    def picture():
        view.draw()
        view.plotter.render()
        return view.plotter.screenshot(None, return_img=True)

    first = picture()
    for extra, name in (("ways", "alarm"), ("beyond", "meadow")):
        view.state.toggle(extra)
        assert (picture() != first).any(axis=-1).sum() > 500
        assert name in {tag.text for tag in view._panes[0]._shown.tags}
        view.state.toggle(extra)
        assert np.array_equal(picture(), first)


def test_what_was_studied_goes_with_a_change_and_comes_back_with_undo(view):
    """A setting changed leaves verdicts and says so; taken back, the studied ground and lines return."""
    view.state.next_ground()
    view.state.toggle("ways")
    studied, _ = drape_of(view)
    studied = studied.copy()
    lines = view._panes[0]._shown
    view.state.step_value(1)
    assert view.state.ground_shown == "verdicts"
    changed, cells = drape_of(view)
    dead = np.array_equal(
        is_colour(changed, palette.VERDICT_COLOURS[Verdict.LOWER_ONLY]),
        cells(view.state.option.verdicts) == Verdict.LOWER_ONLY,
    )
    assert dead
    assert not any(part.group == "ways" for part in view._panes[0]._shown.parts)
    view.state.next_ground()
    assert "run study again" in view.state.message
    view.state.next_ground()
    view.state.next_ground()
    view.state.take_back()
    assert view.state.ground_shown == "animals"
    back, _ = drape_of(view)
    assert np.array_equal(back, studied)
    back_parts = [part for part in view._panes[0]._shown.parts if part.group == "ways"]
    assert len(back_parts) == len([part for part in lines.parts if part.group == "ways"]) > 0


def test_only_what_was_studied_has_keys(study):
    """Keys answer and are listed for the parts of the study alone; none without a study."""
    cases = (
        (None, set()), (study, {"g", "w", "b"}), (replace(study, parts=("walks",)), {"w"}),
        (replace(study, parts=("beyond",)), {"b"}), (replace(study, parts=("heat",)), set()),
        (replace(study, parts=("doubt",)), {"g"}),
    )  # fmt: skip
    for known, wanted in cases:
        drawn = window.View(study.outcome, off_screen=True, study=known)
        try:
            state = drawn.state
            listed = {key for keys, _ in panels._study_keys(state) for key in keys.split()}
            answered = set(KeysAndMouse._key_answers(_Hand(drawn)))
            assert listed == wanted
            assert answered & {"g", "w", "b"} == wanted
        finally:
            drawn.plotter.close()


class _Hand:
    """What answers are made of, without a mouse."""

    def __init__(self, view):
        self.view, self.state = view, view.state
        self._compare = self._keys = self._approach = self.leave = None


def test_findings_are_the_studys_own_and_go_with_a_change(study):
    """The column's figures are those of the study; an option set otherwise has a dash."""
    state = WindowState(study.outcome, study=study)
    rows = dict(finding_rows(state, (state.option,)))
    assert rows["Held in half of the draws"] == ("25%",)
    assert rows["Past boundary, in range"] == (f"{study.options[0].spill.farthest_within_m:.1f} m",)
    state.compare()
    state.step_value(1)
    both = tuple(state.outcome.options[index] for index in state.shown)
    assert dict(finding_rows(state, both))["Held in half of the draws"] == ("25%", "\u2013")


def test_a_much_shorter_way_has_its_figure_its_sign_and_its_line(study):
    """Where a study found one the column tells its chance and colour, and the view draws it; else not."""
    plain = [replace(route, shorter=None, inner_shorter=None) for route in study.options[0].routes]
    quick = replace(plain[0].least, line=plain[0].inner.line, chance=0.12)
    hurried = [replace(plain[0], shorter=quick), *plain[1:]]
    for routes, figures in ((plain, None), (hurried, ("12%",))):
        options = (replace(study.options[0], routes=tuple(routes)), *study.options[1:])
        known = replace(study, options=options)
        state = WindowState(known.outcome, study=known)
        state.extras = {"ways"}
        assert dict(finding_rows(state, (state.option,))).get("Much shorter to yard") == figures
        column = panels.draw_column(state, 1400)
        assert is_colour(column[..., :3], palette.MUCH_SHORTER).any() == (figures is not None)
        scene = ways_scene(known.outcome.terrain, known.options[0], site_extent(known.outcome))
        assert (palette.MUCH_SHORTER in {part.colour for part in scene.parts}) == (figures is not None)


@pytest.mark.parametrize("height", [240, 420, 600, 880, 1400])
def test_the_foot_of_the_column_stays_free(study, height):
    """However low the window, nothing studied is written over the keys and the caution."""
    state = WindowState(study.outcome, study=study)
    state.extras = {"ways", "beyond"}
    foot = panels._foot(panels._study_keys(state))
    for is_compared in (False, True):
        state.is_comparing = is_compared
        for _ in state.grounds_studied:
            state.next_ground()
            column = panels.draw_column(state, height)
            kept = min(len(foot), len(column))
            assert np.array_equal(column[-kept:], foot[-kept:])
            assert (column[: max(len(column) - len(foot), 1), -12:] == 255).all()
