"""The package as a library: what a notebook does with it, held to what the commands do."""

import importlib
import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from site_files import FARM, YARD, option_text, written

import terrain3d
from terrain3d.paper.results import results_json
from terrain3d.search.run import read_search, run_search
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.stills import listed_pages
from terrain3d.sight.panorama import panorama

ROOT = Path(__file__).parents[1]
TWO_OPTIONS = YARD + option_text("up") + option_text("down", bearing=180)


@pytest.fixture(scope="module")
def outcome():
    """The demo's options."""
    return terrain3d.judge(terrain3d.open_site(ROOT / "data" / "demo.toml"))


def test_the_lines_of_the_readme_run_and_end_in_a_picture(monkeypatch, capsys):
    """What is copied from the README into a notebook works, and its last line is a figure to look at."""
    monkeypatch.chdir(ROOT)
    text = (ROOT / "README.md").read_text("utf-8")
    (block,) = re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    *lines, last = block.strip().split("\n")
    names: dict = {}
    exec("\n".join(lines), names)
    figure = eval(last, names)
    figure.canvas.draw()
    seen = np.asarray(figure.canvas.buffer_rgba())[..., :3]
    assert len(np.unique(seen @ np.array([65536, 256, 1]))) > 50
    assert names["best"].name in capsys.readouterr().out
    assert 0 < names["deer"] < names["best"].area_m2["both"]


def test_another_figure_needs_no_file(outcome, tmp_path):
    """The same as a site file that names it, to the byte; and back again."""
    text = (ROOT / "data" / "demo.toml").read_text("utf-8").replace('figure = "person"', 'figure = "dog"')
    text = text.replace('"demo.laz"', f'"{(ROOT / "data" / "demo.laz").as_posix()}"')
    of_file = terrain3d.judge(terrain3d.open_site(written(tmp_path, text)))
    dogs = terrain3d.with_figure(outcome, "dog")
    assert results_json(dogs) == results_json(of_file)
    assert results_json(terrain3d.with_figure(dogs, "person")) == results_json(outcome)
    with pytest.raises(terrain3d.InputError, match="did you mean 'dog'"):
        terrain3d.with_figure(outcome, "dogg")


def test_arrays_alone_give_what_a_plane_in_a_file_gives(tmp_path):
    """The same ground as heights: the same verdicts and areas."""
    of_file = terrain3d.judge(terrain3d.open_site(written(tmp_path, TWO_OPTIONS)))
    ground = of_file.terrain.ground
    land = terrain3d.terrain_from_heights(
        ground.z, ground.cell_m, ground.x0, ground.y0, protect=of_file.terrain.protect
    )
    units = {option.name: option.detectors for option in of_file.options}
    of_arrays = terrain3d.judge_units(terrain3d.site_of(land, of_file.site_name), units)
    for mine, theirs in zip(of_arrays.options, of_file.options, strict=True):
        assert np.array_equal(mine.verdicts, theirs.verdicts)
        assert (mine.area_m2, mine.protect, mine.causes) == (theirs.area_m2, theirs.protect, theirs.causes)
    assert of_arrays.ranking == of_file.ranking
    assert terrain3d.study_of(of_arrays, ("animals", "beyond")).options[0].animals.animals


def test_a_set_is_found_on_a_site_that_is_open(tmp_path):
    """The same as the command finds from the file, its survey not read again."""
    path = written(tmp_path, FARM)
    site = terrain3d.open_site(path)
    mine = terrain3d.search_of(site)
    theirs = run_search(read_search(path, lambda _step, _share: None), lambda _step, _share: None)
    assert mine.terrain is site.terrain
    assert terrain3d.results_of(mine) == terrain3d.results_of(theirs)
    with pytest.raises(terrain3d.InputError, match="needs a site file"):
        terrain3d.search_of(terrain3d.site_of(site.terrain))


def test_results_are_written_as_the_command_writes_them(outcome, tmp_path):
    """Plain values, and the same text in the folder."""
    terrain3d.write(outcome, tmp_path)
    assert (tmp_path / "results.json").read_text("utf-8") == results_json(outcome)
    assert json.loads(results_json(outcome)) == terrain3d.results_of(outcome)
    assert (tmp_path / "verdicts.tif").is_file()


def test_values_compare(outcome):
    """An outcome and all it holds can be compared; options are had by name, and a wrong one is told."""
    assert outcome != terrain3d.with_figure(outcome, "dog")
    assert outcome.option("gate pole, one head") == outcome.options[0]
    assert outcome.options[0].units[0] != outcome.options[1].units[0]
    with pytest.raises(
        terrain3d.InputError, match=r"(?s)there is no option 'gate'.*there are gate pole, one head, "
    ):
        outcome.option("gate")


def test_a_unit_answers_for_settings_from_the_same_eye_alone(outcome):
    """Set higher it sees something else, which is refused."""
    seen = outcome.options[0].units[0]
    turned = terrain3d.with_units(outcome, outcome.options[0].name, (replace(seen.unit, tilt_deg=3.0),))
    again = seen.set_to(turned.options[0].detectors[0])
    assert np.array_equal(again.verdicts(outcome.terrain.ground, 1.7), turned.options[0].verdicts)
    with pytest.raises(ValueError, match="what is seen is from"):
        seen.set_to(replace(seen.unit, height_m=1.1))


def test_the_page_of_the_library_is_whole_and_builds_without_a_warning(tmp_path, monkeypatch, ready):
    """Every name of the package's face is on it, and the documentation tool has nothing to say."""
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    build_api = importlib.import_module("build_api")
    listed = [name for names in build_api.GROUPS.values() for name in names]
    assert sorted(listed) == sorted(terrain3d.__all__)
    script = ROOT / "scripts" / "build_api.py"
    # In a process of its own: what the tool warns itself of is no warning about the page.
    done = subprocess.run(
        [*ready(f"import runpy; runpy.run_path({str(script)!r}, run_name='__main__')"), tmp_path],
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stderr) == (0, "")
    text = (tmp_path / "index.html").read_text("utf-8")
    assert all(f'id="terrain3d.{name}"' in text for name in listed)


def test_the_end_of_a_cell_is_a_picture(outcome, tmp_path):
    """What a notebook asks a figure for is the page that the commands write, to the byte."""
    name = outcome.options[0].name
    picture = terrain3d.page_of(outcome, "plan", name)._repr_png_()
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")  # ISO/IEC 15948, 5.2
    (best,) = (page for page in listed_pages(PageContext(outcome), ("plan",)) if page.option == name)
    with page_style():
        assert best.draw().save(tmp_path / "plan.png").read_bytes() == picture


WRONG_UNITS = {
    "range: one-head-90 has no range setting of 7 m": {"range_m": 7.0},
    "pulses: one-head-90 has no pulse setting of 2": {"pulses": 2},
    "pan: pan gives 2 angles, one-head-90 has 1 head": {"pan_deg": (0.0, 5.0)},
    "tilt: 31 is out of bounds": {"tilt_deg": 31},
    "roll: -31 is out of bounds": {"roll_deg": -31},
    "fill: 0 is out of bounds": {"fill": 0},
    "height: 11 is out of bounds": {"height_m": 11},
    "bearing: nan is no finite number": {"bearing_deg": float("nan")},
    "D1': it stands at (nan, ": {"x": float("nan")},
    "D1': ground_z is 0, the ground beneath is at ": {"ground_z": 0.0},
    "D1': ground_z is nan, the ground beneath is at ": {"ground_z": float("nan")},
}


@pytest.mark.parametrize("told", WRONG_UNITS)
def test_a_unit_that_no_site_file_could_have_is_refused(outcome, told):
    """Its bounds are those of the site file, its range setting, pulses and pans those of its type."""
    where, what = told.split(": ", 1)
    option = outcome.options[0]
    units = (replace(option.detectors[0], **WRONG_UNITS[told]),)
    for judged in (
        lambda: terrain3d.with_units(outcome, option.name, units),
        lambda: terrain3d.judge_units(outcome.site, {option.name: units}),
    ):
        with pytest.raises(terrain3d.InputError) as caught:
            judged()
        assert what in caught.value.what
        assert caught.value.where.startswith(f"option {option.name!r}: detector 'D1'")
        assert caught.value.where.endswith(where)
        assert caught.value.mend


def test_an_option_that_no_site_file_could_have_is_refused(outcome):
    """No unit, two of a name, another way of sharing the work, no option at all."""
    name, units = outcome.options[0].name, outcome.options[0].detectors
    for options, combine, told in (
        ({name: ()}, "any", "0 entries"),
        ({name: units * 2}, "any", "named 'D1'"),
        ({name: units}, "both", "'both' is not known here"),
        ({}, "any", "no option to judge"),
    ):
        with pytest.raises(terrain3d.InputError, match=told):
            terrain3d.judge_units(outcome.site, options, combine)
    with pytest.raises(terrain3d.InputError, match=r"(?s)there is no option 'gate'.*there are gate pole, "):
        terrain3d.with_units(outcome, "gate", units)


def test_ground_that_is_not_known_refuses_no_unit():
    """Over a hole of the survey nobody can say how high the ground is."""
    heights = np.zeros((40, 40))
    heights[18:22, 18:22] = np.nan
    unit = terrain3d.Detector("D1", terrain3d.load_type("one-head-90"), "pole", 0, 0, 0.3, 1.0, 0.0)
    site = terrain3d.site_of(terrain3d.terrain_from_heights(heights, 0.5))
    assert terrain3d.judge_units(site, {"one": (unit,)}).ranking == ("one",)


@pytest.mark.parametrize("height_m", [0.0, -1.0, 2.6, float("nan"), float("inf")])
def test_a_figure_of_no_height_is_refused(outcome, height_m):
    """As in a site file: more than 0 m, and no higher than views are computed."""
    figure = terrain3d.Figure("somebody", height_m)
    for asked in (
        lambda: terrain3d.with_figure(outcome, figure),
        lambda: terrain3d.site_of(outcome.terrain, figure=figure),
    ):
        with pytest.raises(terrain3d.InputError, match=r"(?s)'somebody' is .* m high.*at most 2\.5"):
            asked()


def test_a_figure_of_your_own_goes_where_a_name_goes(outcome):
    """Given by its height alone it is judged as the package's of that height."""
    dog = terrain3d.site_of(outcome.terrain, figure="dog").figure
    own = terrain3d.Figure("our dog", dog.height_m)
    assert terrain3d.site_of(outcome.terrain, figure=own).figure is own
    mine, theirs = terrain3d.with_figure(outcome, own), terrain3d.with_figure(outcome, "dog")
    assert [one.area_m2 for one in mine.options] == [one.area_m2 for one in theirs.options]


def test_a_unit_set_otherwise_where_it_is_looks_no_second_time(outcome):
    """Turned, or two on one eye: what is seen from there is known. Higher up it is looked at, once.

    That is once for the site as it is, and once for each of its scenarios.
    """
    option = outcome.option("shed pole, two heads")
    (unit,) = option.detectors
    looks = []

    def look(terrain, eye, reach_m):
        looks.append((terrain, eye))
        return panorama(terrain, eye, reach_m)

    turned = replace(unit, bearing_deg=(unit.bearing_deg + 40) % 360)
    here = terrain3d.with_units(outcome, option.name, (turned, replace(unit, name="D2")), look)
    assert looks == []
    anew = terrain3d.judge_units(outcome.site, {option.name: (turned, replace(unit, name="D2"))})
    assert np.array_equal(here.option(option.name).verdicts, anew.options[0].verdicts)
    higher = replace(unit, height_m=unit.height_m + 0.1)
    terrain3d.with_units(outcome, option.name, (higher, replace(higher, name="D2", tilt_deg=5.0)), look)
    sites = [outcome.terrain, *(one.terrain for one in outcome.site.scenarios)]
    assert sorted((id(there), eye) for there, eye in looks) == sorted(
        (id(there), higher.eye) for there in sites
    )


def test_a_unit_is_placed_on_a_mount_by_its_name(outcome):
    """As the site file's own units are; a wrong name is told with those there are."""
    for option in outcome.options:
        for unit in option.detectors:
            placed = terrain3d.unit_on(
                outcome.terrain, unit.mount, unit.type, unit.height_m, unit.bearing_deg + 360, unit.tilt_deg,
                unit.roll_deg, unit.range_m, unit.pan_deg, unit.fill, unit.pulses, unit.name,
            )  # fmt: skip
            assert placed == unit
    with pytest.raises(
        terrain3d.InputError, match=r"(?s)no mount 'gatepole'.*there are gate pole, shed pole"
    ):
        terrain3d.unit_on(outcome.terrain, "gatepole", unit.type, 1.0, 0.0)
    bare = terrain3d.terrain_from_heights(np.zeros((3, 3)), 1.0)
    with pytest.raises(terrain3d.InputError, match="there is no mount at all"):
        bare.mount("pole")


def test_what_cannot_be_studied_is_refused(outcome):
    """A part by itself is no tuple of parts; none is unknown; draws are counted from one."""
    for asked, told in (
        (lambda: terrain3d.study_of(outcome, "walks"), "'walks', not a tuple"),
        (lambda: terrain3d.study_of(outcome, ("walk",)), r"(?s)no part 'walk'.*walks, routes"),
        (lambda: terrain3d.study_of(outcome, ("doubt",), draws=0), "draws is 0"),
        (lambda: terrain3d.study_of(replace(outcome, options=()), ("sun",)), "no option to study"),
    ):
        with pytest.raises(terrain3d.InputError, match=told):
            asked()


def test_pages_of_a_study_and_of_a_search(outcome, tmp_path):
    """A page is of whatever result is given; what is missing for it is said."""
    with pytest.raises(terrain3d.InputError, match=re.escape("study_of(outcome, ('animals',))")):
        terrain3d.page_of(outcome, "animals", outcome.options[0].name)
    study = terrain3d.study_of(outcome, ("animals",))
    with pytest.raises(terrain3d.InputError, match=re.escape("study_of(outcome, ('walks',))")):
        terrain3d.page_of(study, "fans", outcome.options[0].name)
    titles = [text.get_text() for text in terrain3d.page_of(study, "animals", outcome.options[1].name).texts]
    assert outcome.options[1].name in titles
    assert study.of(outcome.options[1].name) is study.options[1]
    with pytest.raises(terrain3d.InputError, match=r"(?s)no option 'gate'.*there are gate pole, one head, "):
        study.of("gate")
    site = terrain3d.open_site(written(tmp_path, FARM))
    found = terrain3d.search_of(site)
    assert found.outcome.ranking[0] == found.best.option.name
    titles = [text.get_text() for text in terrain3d.page_of(found, "plan", found.outcome.ranking[0]).texts]
    assert found.best.option.name in titles
    nothing = terrain3d.search_of(site, budget=1.0)
    assert isinstance(nothing, terrain3d.NothingFits)
    with pytest.raises(terrain3d.InputError, match="no option to draw"):
        terrain3d.page_of(nothing, "contact")


def test_a_page_says_whether_it_is_of_one_option_or_of_all(outcome):
    """Asked for the wrong way round it says so; pages are counted in the singular and the plural."""
    name = outcome.options[0].name
    with pytest.raises(terrain3d.InputError, match=r"(?s)'contact' shows all options.*name no option"):
        terrain3d.page_of(outcome, "contact", name)
    with pytest.raises(terrain3d.InputError, match=f"(?s)'plan' shows one option.*name one of '{name}', "):
        terrain3d.page_of(outcome, "plan")
    with pytest.raises(terrain3d.InputError, match="has 1 page of kind 'plan', and no page 2"):
        terrain3d.page_of(outcome, "plan", name, 2)


@pytest.mark.parametrize(
    ("limits", "told"),
    [({"units": 0}, "units"), ({"units": 51}, "units"), ({"hold": 70}, "hold"), ({"budget": 0.0}, "budget")],
)
def test_limits_of_a_search_are_those_of_the_command(tmp_path, limits, told):
    """A share of 70 is no share, and no unit is no set."""
    site = terrain3d.open_site(written(tmp_path, FARM))
    with pytest.raises(terrain3d.InputError, match=f"(?s)out of bounds.*search_of: {told}"):
        terrain3d.search_of(site, **limits)


@pytest.mark.parametrize(
    ("heights", "setting", "told"),
    [
        ([1.0, 2.0], {}, "shape (2,)"),
        ([[1.0, 2.0]], {}, "shape (1, 2)"),
        ([[1.0, 2.0], [3.0]], {}, "no grid of numbers"),
        ([["low", "high"], ["low", "low"]], {}, "no grid of numbers"),
        ([[1.0, 2.0], [3.0, np.inf]], {}, "a height is infinite"),
        ([[1.0, 2.0], [3.0, 4.0]], {"cell_m": 0.0}, "cell_m is 0"),
        ([[1.0, 2.0], [3.0, 4.0]], {"cell_m": -1.0}, "cell_m is -1"),
        ([[1.0, 2.0], [3.0, 4.0]], {"cell_m": np.nan}, "cell_m is nan"),
        ([[1.0, 2.0], [3.0, 4.0]], {"x0": np.nan}, "x0 is nan"),
    ],
)
def test_arrays_that_are_no_ground_are_refused(heights, setting, told):
    """Heights are a grid of numbers, or NaN where none is known; a cell has a size."""
    with pytest.raises(terrain3d.InputError) as caught:
        terrain3d.terrain_from_heights(heights, **({"cell_m": 1.0} | setting))
    assert told in caught.value.what


def test_things_are_drawn_on_a_terrain_of_arrays():
    """A wall stands on the ground it is given: its top is so far above it."""
    x = np.arange(40) * 0.5
    land = terrain3d.terrain_from_heights(np.tile(0.1 * x, (40, 1)), 0.5)
    wall = terrain3d.wall(np.array([[-4.0, 0.0], [4.0, 0.0]]), 0.2, 1.5, 0.0, land.ground.height_at, "wall")
    tops = wall.vertices[:, 2] - land.ground.height_at(wall.vertices[:, 0], wall.vertices[:, 1])
    assert tops.max() == pytest.approx(1.5)
    with_pole = replace(land, mounts=(terrain3d.Mount("pole", 0.0, -4.0),))
    unit = terrain3d.unit_on(with_pole, "pole", terrain3d.load_type("one-head-90"), 1.0, 0.0)
    site, walled = terrain3d.site_of(land), terrain3d.site_of(replace(land, solids=wall))
    open_m2, behind_m2 = (
        terrain3d.judge_units(one, {"north": (unit,)}).options[0].area_m2["both"] for one in (site, walled)
    )
    assert behind_m2 < open_m2 / 2


def test_values_are_shown_in_a_line(outcome, tmp_path):
    """What a notebook echoes of a value is a line to read, and no dump of its arrays."""
    option = outcome.options[0]
    study = terrain3d.study_of(outcome, ("animals",))
    farm = terrain3d.open_site(written(tmp_path, FARM))
    found, nothing = terrain3d.search_of(farm), terrain3d.search_of(farm, budget=1.0)
    assert repr(outcome) == "Outcome(site 'Invented hillside', 4 options, best 'shed pole, one head')"
    for value in (
        outcome, outcome.site, outcome.terrain, outcome.terrain.ground, option, option.units[0],
        option.units[0].seen, study, study.options[0], found, nothing,
    ):  # fmt: skip
        text = repr(value)
        assert text.startswith(f"{type(value).__name__}(")
        assert len(text) < 200
        assert "array" not in text
    ny, nx = outcome.terrain.ground.z.shape
    assert f"{ny} x {nx} cells" in repr(outcome.terrain)
