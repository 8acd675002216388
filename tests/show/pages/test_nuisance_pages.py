"""Pages of animals and of what lies beyond: their figures, their colours, and words that keep clear."""

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_palette import SIGHT, lab
from test_stills import with_bad_names

from terrain3d import palette
from terrain3d.detector.figures import Figure
from terrain3d.nuisance.animals import animal_ground
from terrain3d.nuisance.spill import spill
from terrain3d.nuisance.things import in_layers
from terrain3d.sentences.animals import animals_line
from terrain3d.sentences.beyond import beyond_line
from terrain3d.sentences.nuisances import advice
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.animals import animals_sheet
from terrain3d.show.pages.spill import spill_sheet
from terrain3d.show.pages.spill_plan import axis_plan
from terrain3d.terrain import Beyond, Nuisance

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def around(outcome, boundary=True):
    """The scene with a boundary, a lane, a plot and things that trouble a unit."""
    near = np.array([[-0.2, -0.2], [0.2, -0.2], [0.2, 0.2], [-0.2, 0.2]])
    terrain = replace(
        outcome.terrain,
        boundary=np.array([[-16.0, -9], [9, -9], [9, 14], [-16, 14]]) if boundary else None,
        beyond=(
            Beyond(
                "the long lane to the farm",
                "road",
                np.array([[-30.0, -14], [30, -14], [30, -10], [-30, -10]]),
            ),
            Beyond("plot", "neighbour", np.array([[10.0, -8], [23, -8], [23, 12], [10, 12]]), keep_out=True),
        ),
        nuisances=(
            Nuisance("boiler vent", "vent", near + np.array([1.0, -1.0]), 0.5, 1.6),
            Nuisance("pond", "water", 5 * near + np.array([4.0, -3.0]), 0.0, 0.05),
        ),
    )
    return outcome.on(terrain)


def pages(drawn, size="screen", own=()):
    """Both pages of every option."""
    terrain = drawn.terrain

    def found(option):
        spilt, things = spill(terrain, option.detectors, 1.7), in_layers(terrain, option.detectors)
        return {"animals": animal_ground(terrain, option, own), "spill": spilt, "nuisances": things}

    context = context_of(drawn, size, "1 May", found)
    for option in drawn.options:
        study = context.studied(option)
        yield option, study.animals, animals_sheet(context, option)
        yield option, (study.spill, study.nuisances), spill_sheet(context, option)


@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_no_text_leaves_the_pages_or_covers_other_text(outcome, hostile, size):
    """Every line keeps clear of every other, whatever the names."""
    drawn = around(with_bad_names(outcome) if hostile else outcome)
    own = [Figure("W" * 60, 0.5, "site file"), *(Figure(f"beast {k}", 0.3, "site file") for k in range(20))]
    if hostile:
        long = "a name of many words that goes on and on " * 4
        terrain = drawn.terrain
        terrain = replace(
            terrain,
            beyond=tuple(replace(piece, name=long) for piece in terrain.beyond) * 4,
            nuisances=tuple(replace(thing, name=long) for thing in terrain.nuisances) * 4,
        )
        drawn = drawn.on(terrain)
    with page_style():
        for _, _, page in pages(drawn, size, own if hostile else ()):
            check_texts(page)


def test_pages_say_their_figures(outcome):
    """Every animal's square metres, the distances past the boundary, others' ground and nuisance things."""
    drawn, seen = around(outcome), []
    with page_style():
        for _, found, page in pages(drawn):
            said = " ".join(text for text, _ in texts_of(page))
            assert "walk-test every unit" in said
            if not isinstance(found, tuple):
                for ground in found.animals:
                    assert f"{ground.figure.name}, {ground.figure.height_m:.2f} m" in said
                assert f"{found.crawling.area_m2:.0f} m²" in said
                continue
            spilt, things = found
            for fan in spilt.fans:
                for past_m in (fan.past_within_m.max(), fan.past_on_m.max()):
                    assert (f"{past_m:.1f} m" if past_m > 0.05 else "none") in said
            assert "plot (keep out)" in said
            assert all(thing.thing in said for thing in things)
            seen += [thing for thing in things if thing.is_seen]
    assert seen


def test_without_a_boundary_the_page_says_so(outcome):
    """It makes up no distance."""
    with page_style():
        drawn = around(outcome, boundary=False)
        option = drawn.options[0]
        spilt = spill(drawn.terrain, option.detectors, 1.7)
        page = spill_sheet(context_of(drawn, found=lambda _: {"spill": spilt}), option)
        check_texts(page)
        said = " ".join(text for text, _ in texts_of(page))
    assert "no boundary is drawn" in said
    assert "within 12 m" not in said


def test_the_drawn_fan_is_as_large_as_its_sector(outcome):
    """Where nothing stops a level axis its plan is a sector: arc / 360 of a circle (plane geometry)."""
    flat = replace(
        outcome.terrain, ground=replace(outcome.terrain.ground, z=np.zeros_like(outcome.terrain.ground.z))
    )
    unit = replace(outcome.options[1].detectors[0], ground_z=0.0, x=0.0, y=0.0, bearing_deg=200.0)
    flat = replace(flat, solids=type(flat.solids).none(), foliage=type(flat.foliage).none())
    (fan,) = spill(flat, (unit,), 1.7).fans
    assert axis_plan(fan, 0.0, 12.0).area == pytest.approx(np.pi * 144 * 90 / 360, rel=1e-3)
    assert axis_plan(fan, 4.0, 8.0).area == pytest.approx(np.pi * 48 * 90 / 360, rel=1e-3)


def test_the_sentence_names_the_lowest_animal_and_the_worst_thing(outcome):
    """What a client reads first."""
    drawn = around(outcome)
    with page_style():
        for _, found, _ in pages(drawn):
            if isinstance(found, tuple):
                line = beyond_line(*found)
                seen = [thing for thing in found[1] if thing.is_seen and thing.is_within_range]
                if seen:
                    worst = max(seen, key=lambda thing: thing.seen_fill)
                    assert advice(replace(worst, cost=None)) in line
            else:
                lowest = next(ground for ground in found.animals if ground.area_m2 > 0)
                assert f"is the {lowest.figure.name} (" in animals_line(found)


@pytest.mark.parametrize("sight", SIGHT)
def test_animals_are_an_ordered_scale(sight):
    """From the tallest animal to the lowest each colour is darker, also to colour-blind eyes and in grey.

    2.3 in CIELAB is just seen; neighbours of eight lie clearly farther apart.
    """
    colours = [lab(palette.animal_colour(rank, 8), SIGHT[sight]) for rank in range(8)]
    assert all(lower[0] < taller[0] for lower, taller in pairwise(colours))
    assert min(np.linalg.norm(a - b) for a, b in combinations(colours, 2)) > 7
