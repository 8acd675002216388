"""A site file with a unit that has a microwave, from its keys to what a person reads."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from microwave_types import kind, type_text
from shapes import box, judged, leaves, plane, terrain, unit
from site_files import option_text, written

from terrain3d.cover.sighted import sighted
from terrain3d.cover.verdict import Verdict
from terrain3d.errors import InputError
from terrain3d.job import run
from terrain3d.nuisance.animals import animal_ground
from terrain3d.nuisance.spill import spill
from terrain3d.paper.results import results_json
from terrain3d.sentences.beyond import beyond_line
from terrain3d.sentences.options import area_lines
from terrain3d.survey.scenarios import grown_on, thinned, without_foliage
from terrain3d.terrain import LEAF_DB_PER_M, Beyond
from terrain3d.uncertainty.error_field import ErrorSizes
from terrain3d.uncertainty.monte_carlo import run_monte_carlo
from terrain3d.uncertainty.tolerance import aim_tolerance

SITE = """
[site]
name = "flat"
cell = 0.25
[ground]
plane = { fall = 0, towards = 0, extent = 30 }
[[mount]]
name = "pole"
at = [0, 0]
[[protect]]
name = "yard"
outline = [[-2, 3], [2, 3], [2, 9], [-2, 9]]
"""
FENCE = """
[[solid]]
name = "fence"
path = [[-9, 2], [9, 2]]
thickness = 0.1
height = 3
"""
HEDGE = """
[[foliage]]
name = "hedge"
path = [[-9, 2.06], [9, 2.06]]
thickness = 1
height = 3
density = 2
"""
WINTER = '[[scenario]]\nname = "winter"\nleaves = 0.5\n[[scenario]]\nname = "felled"\nwithout = ["hedge"]\n'


def farthest_m(option) -> float:
    """How far off straight ahead an option holds ground."""
    (one,) = option.units
    held = (one.codes(1.7) == Verdict.BOTH) & (np.abs(one.seen.east) < 0.05) & (one.seen.north > 0)
    return float(one.seen.distance[held].max(initial=0.0))


def judged_file(folder, things: str, **lobe):
    """The one option of a site file with a unit that needs its microwave alone."""
    text = type_text("either", **{"range_m": 12.0, **lobe})
    (folder / "own.toml").write_text(text, encoding="utf-8")
    # So masked, the layers hold nothing straight ahead.
    masked = "[[option.detector.head]]\nmasked = [1, 2, 3, 4, 5, 6, 7, 8]\n"
    return run(written(folder, SITE + things + option_text("one", kind="own.toml") + masked))


@pytest.mark.parametrize("db", [2.0, 6.0])
def test_a_solid_states_what_microwaves_lose_in_it(tmp_path, db):
    """6 dB each way leave range / 2; a solid that states nothing takes all."""
    (option,) = judged_file(tmp_path, f"{FENCE}microwave_db = {db}\n").options
    assert farthest_m(option) == pytest.approx(12 * 10 ** (-db / 20), abs=0.26)
    (option,) = judged_file(tmp_path, FENCE).options
    assert farthest_m(option) < 2.2


@pytest.mark.parametrize(("key", "db_per_m"), [("", LEAF_DB_PER_M), ("microwave_db_per_m = 8\n", 8.0)])
def test_a_hedge_is_as_thick_as_it_is_drawn(tmp_path, key, db_per_m):
    """A metre of leaves, whichever cells it cuts; in a scenario part of that, or none."""
    outcome = judged_file(tmp_path, HEDGE + key + WINTER)
    (option,) = outcome.options

    def meant_m(db: float) -> float:
        return 12 * 10 ** (-60 * (1 - math.exp(-db / 60)) / 20)

    assert farthest_m(option) == pytest.approx(meant_m(db_per_m), abs=0.26)
    winter, felled = (scenario.option for scenario in option.scenarios)
    assert farthest_m(winter) == pytest.approx(meant_m(db_per_m / 2), abs=0.26)
    assert farthest_m(felled) == pytest.approx(12.0, abs=0.26)
    assert option.hangs_on_leaves_m2 > 10


def test_leaves_keep_their_decibels_through_every_change():
    """Part of the leaves, wider leaves, and leaves of which one of two things is gone."""
    hedge = leaves(plane(0.0), lambda x, y: (y > 2) & (y < 3), 0.0, 2.0, 2.0)
    own = replace(hedge, db_per_m=np.full(len(hedge.base_z), 6.0), names=("hedge",))
    assert thinned(own, 0.25).db_per_m == pytest.approx(np.full(len(own.base_z), 1.5))
    grown = grown_on(own, 0.25)
    assert len(grown.base_z) > len(own.base_z)
    assert grown.db_per_m.max() == pytest.approx(6.0)
    some = np.arange(40, dtype=np.int32)
    mixed = replace(
        own,
        names=("hedge", "tree"),
        mixed_row=np.concatenate([some, some]),
        mixed_owner=np.repeat(np.arange(2, dtype=np.int32), 40),
        mixed_above=np.concatenate([own.above[some] / 2, own.above[some] / 2]),
        mixed_db_per_m=np.repeat([6.0, 2.5], 40),
    )
    left = without_foliage(mixed, ["hedge"])
    assert left.db_per_m.tolist() == [2.5] * 40


def test_a_type_with_a_layer_called_microwave_is_refused(tmp_path):
    """Its row would be taken for the microwave's."""
    (tmp_path / "own.toml").write_text(type_text().replace('name = "upper"', 'name = "microwave"'), "utf-8")
    with pytest.raises(InputError, match="a layer is called 'microwave' beside the microwave"):
        run(written(tmp_path, SITE + option_text("one", kind="own.toml")))


def test_results_and_words_tell_of_it(tmp_path):
    """Causes by its name, its own keys, sentences that do not call it a layer; nothing of it without one."""
    (tmp_path / "own.toml").write_text(type_text(range_m=5.0), encoding="utf-8")
    outcome = run(written(tmp_path, SITE + option_text("with", kind="own.toml") + option_text("without")))
    document = json.loads(results_json(outcome))
    told = {option["name"]: option for option in document["options"]}
    assert told["with"]["detectors"][0]["microwave"]["frequency_ghz"] == 10.525
    assert "microwave" not in told["without"]["detectors"][0]
    assert told["with"]["causes"]["microwave"]["beyond range"] > 10
    assert "microwave" not in told["without"]["causes"]
    (yard,) = told["with"]["protect"]
    assert {loss["cause"] for loss in yard["lost_to"]} == {"beyond range"}
    assert document["ranking"] == ["without", "with"]
    assert document["reasons"][0]["layer"] == "microwave"
    (option,) = (option for option in outcome.options if option.name == "with")
    lines = " ".join(area_lines(option))
    assert "microwave, on protected ground not held, lost to: beyond range" in lines
    assert "microwave layer" not in lines


def test_a_wall_that_only_the_microwave_minds_is_named(tmp_path):
    """The option that loses ground to it says so, by the wall's name and without a layer."""
    (tmp_path / "own.toml").write_text(type_text(elevation=-18.0, thickness=12.0, range_m=12.0), "utf-8")
    low = FENCE.replace("height = 3", "height = 0.75")
    near = SITE.replace("[2, 9], [-2, 9]", "[2, 4.2], [-2, 4.2]").replace(
        "[-2, 3], [2, 3]", "[-2, 2.4], [2, 2.4]"
    )
    outcome = run(
        written(tmp_path, near + low + option_text("with", kind="own.toml") + option_text("without"))
    )
    why = json.loads(results_json(outcome))["why"]
    assert '"fence" hides' in why
    assert "from its microwave" in why


def test_it_reaches_through_a_hedge_past_the_boundary(tmp_path):
    """Own land ends 6 m off; a hedge that hides what lies past it leaves it to the microwave."""
    land = np.array([[-20.0, -20.0], [20.0, -20.0], [20.0, 6.0], [-20.0, 6.0]])
    field = Beyond("field", "neighbour", np.array([[-9.0, 7.0], [9.0, 7.0], [9.0, 12.0], [-9.0, 12.0]]))
    flat = plane(0.0, cell_m=0.5, extent_m=80.0)
    hedge = leaves(flat, lambda x, y: (y > 5) & (y < 6), 0.0, 4.0, 8.0)
    site = replace(terrain(flat, foliage=hedge), boundary=land, beyond=(field,))
    own = unit(kind(tmp_path, arc=60.0, range_m=12.0), 1.0)
    found = spill(site, (own,), 1.7)
    assert found.past_within_m2 == 0
    # Through a metre and more of leaves, out to 12 * 10^(-3.87 / 20) m straight ahead.
    one = sighted(site, own)
    past = one.reached(1.7) & (one.seen.north * one.seen.distance > 6)
    assert found.past_microwave_m2 == pytest.approx(past.sum() * 0.25)
    assert 2 < found.past_microwave_m2 < 20
    (piece,) = found.pieces
    assert 0 < piece.microwave_m2 < found.past_microwave_m2
    assert "The microwave reaches" in beyond_line(found, ())
    bare = replace(own, type=own.type.model_copy(update={"microwave": None}))
    without = spill(site, (bare,), 1.7)
    assert without.past_microwave_m2 is None
    assert "microwave" not in beyond_line(without, ())


def test_animals_are_sensed_by_the_share_of_their_height(tmp_path):
    """A level lobe 12 degrees thick at 1.0 m passes over a fox close in, and lights all of it farther out."""
    own = unit(kind(tmp_path, needs="either", thickness=12.0, range_m=9.0, arc=60), 1.0)
    found = animal_ground(terrain(plane(0.0)), judged(terrain(plane(0.0)), own))
    fox = next(ground for ground in found.animals if ground.figure.name == "fox")
    # Its back comes into the lobe at (1.0 - 0.45) / tan 6; a little later enough of it is lit.
    assert fox.nearest_m > (1.0 - 0.45) / math.tan(math.radians(6.0))
    d = np.arange(4, 9, 0.01)
    lit = np.clip(0.45 - (1.0 - d * math.tan(math.radians(6.0))), 0, 0.45)
    slant = d**2 + 0.55**2
    assert fox.nearest_m == pytest.approx(d[lit >= 0.45 * slant**2 / 9.0**4].min(), abs=0.3)


def test_doubt_follows_it(tmp_path):
    """A narrow lobe may be turned less than the layers, and a draw judges it on its own ground."""
    flat = terrain(plane(0.0, cell_m=0.5))
    narrow = unit(kind(tmp_path, arc=20.0, range_m=12.0), 1.0)
    bare = replace(narrow, type=narrow.type.model_copy(update={"microwave": None}))
    sizes = []
    for own in (narrow, bare):
        one = sighted(flat, own)
        ahead = ((np.abs(one.seen.east) < 0.1) & (one.seen.north > 0)).astype(float)
        (bearing,) = aim_tolerance(one, 1.7, ahead, settings=("bearing",))
        sizes.append(bearing.more)
    assert 0 < sizes[0] < sizes[1] - 10


@pytest.mark.parametrize("needs", ["also", "either"])
def test_a_draw_without_errors_holds_what_is_held(tmp_path, needs):
    """Where all errors are nought every draw is the site itself, behind the heads' arcs too."""
    own = unit(kind(tmp_path, needs=needs, arc=200.0, range_m=9.0), 1.0, 90.0)
    wall = replace(box((2, -9, -1), (2.2, 9, 4)), microwave_db={0: 3.0})
    site = terrain(plane(0.05, cell_m=0.5), wall)
    option = judged(site, own)
    found = run_monte_carlo(site, (option,), 1.7, ErrorSizes(0.0, 5.0, 0.0, 0.0, 0.0), draws=2)
    chance = found.options[0].chance
    assert ((chance > 0.5) == (option.verdicts == Verdict.BOTH)).all()
