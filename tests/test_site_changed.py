"""A site file with scenarios, from the file to the table."""

import json
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from site_files import option_text, run, written

from terrain3d.job import judge, with_figure, with_units
from terrain3d.job import run as judged_file
from terrain3d.opened import open_site
from terrain3d.ranking.compare import worst_scenario
from terrain3d.sentences.options import held_words, worst_words
from terrain3d.sentences.why import why

#: A yard to the north behind a hedge in the west, a gate in the east; one unit looks over each.
SITE = (
    """
[site]
name = "yard"
cell = 0.25
[ground]
plane = { fall = 0, towards = 0, extent = 30 }
[[solid]]
name = "yard gate"
path = [[2, 3], [7, 3]]
height = 1.2
thickness = 0.1
[[foliage]]
name = "hedge"
outline = [[-7, 3], [-2, 3], [-2, 4], [-7, 4]]
height = 0.5
density = 4
[[mount]]
name = "west pole"
at = [-4.5, 0]
[[mount]]
name = "east pole"
at = [4.5, 0]
[[protect]]
name = "west yard"
outline = [[-6, 5], [-3, 5], [-3, 9], [-6, 9]]
[[protect]]
name = "east yard"
outline = [[3, 5], [6, 5], [6, 8], [3, 8]]
"""
    + option_text("west", "west pole")
    + option_text("east", "east pole")
)
SCENARIOS = """
[[scenario]]
name = "not cut"
growth = 0.4
[[scenario]]
name = "gate open"
without = ["yard gate"]
[[scenario]]
name = "winter"
leaves = 0.1
"""


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """The site file with three scenarios."""
    return written(tmp_path_factory.mktemp("site"), SITE + SCENARIOS)


def drawn(folder, text):
    """What a site file says, judged."""
    folder.mkdir()
    return judged_file(written(folder, text))


def test_a_scenario_is_judged_as_a_site_file_that_says_so(path, tmp_path):
    """The gate left out, a tenth of the density, the hedge drawn larger: cell for cell the same verdicts."""
    outcome = judged_file(path)
    gate = SITE[SITE.index("[[solid]]") : SITE.index("[[foliage]]")]
    as_drawn = {
        "gate open": drawn(tmp_path / "open", SITE.replace(gate, "")),
        "winter": drawn(tmp_path / "winter", SITE.replace("density = 4", "density = 0.4")),
    }
    for option in outcome.options:
        assert [one.name for one in option.scenarios] == ["not cut", "gate open", "winter"]
        for one in option.scenarios:
            if one.name in as_drawn:
                other = as_drawn[one.name].option(option.name)
                assert np.array_equal(one.option.verdicts, other.verdicts), one.name
                assert one.option.area_m2 == other.area_m2


def test_the_worst_scenario_is_the_one_that_holds_least(path):
    """The west pole sees over a hedge of 0.5 m, not over one of 0.9 m; the east pole needs the gate open."""
    outcome = judged_file(path)
    west, east = outcome.option("west"), outcome.option("east")
    assert worst_scenario(west).name == "not cut"
    then = worst_scenario(west).option
    assert then.protect[0].both_fraction < 0.1 < west.protect[0].both_fraction
    opened = next(one.option for one in east.scenarios if one.name == "gate open")
    assert opened.protect[1].both_fraction > 0.9 > east.protect[1].both_fraction
    assert outcome.ranking == judged_file(path).ranking


def test_an_option_is_at_worst_no_better_than_it_is(path):
    """With the gate open the east pole holds more: at worst it holds what it does with the gate shut."""
    east = judged_file(path).option("east")
    opened = tuple(one for one in east.scenarios if one.name == "gate open")
    assert opened[0].option.protect[1].both_fraction > east.protect[1].both_fraction
    assert worst_words(replace(east, scenarios=opened)) == held_words(east)


def test_what_is_told_of_scenarios_agrees(path, tmp_path, capsys):
    """The table has each option's worst, the sentence the winner's, results.json all of them in numbers."""
    out = tmp_path / "out"
    assert run("compare", path, "--out", out, "--stills", "none") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "at worst" in said
    assert "(not cut)" in said
    document = json.loads((out / "results.json").read_text("utf-8"))
    best = next(o for o in document["options"] if o["name"] == document["ranking"][0])
    least = min(best["scenarios"], key=lambda one: one["protected_share"])
    assert f'Under the scenario "{least["name"]}" it holds {least["protected_share"]:.0%}' in document["why"]
    for option in document["options"]:
        for one in option["scenarios"]:
            assert len(one["protect"]) == 2
            change = one["area_m2"]["both"] - option["area_m2"]["both"]
            assert change == pytest.approx(one["newly_held_m2"] - one["no_longer_held_m2"])
            assert one["better_m2"] >= one["newly_held_m2"]
            assert one["worse_m2"] >= one["no_longer_held_m2"]


def test_leaves_tif_shows_what_hangs_on_leaves(path, tmp_path):
    """One band an option: 0, the verdict without leaves, 255; its area is that of results.json."""
    out = tmp_path / "out"
    assert run("cover", path, "--out", out, "--stills", "none") == 0
    document = json.loads((out / "results.json").read_text("utf-8"))
    with rasterio.open(out / "leaves.tif") as leaves, rasterio.open(out / "verdicts.tif") as verdicts:
        assert leaves.descriptions == verdicts.descriptions == ("west", "east")
        assert (leaves.transform, leaves.dtypes[0], leaves.nodata) == (verdicts.transform, "uint8", 255)
        assert "both layers" in leaves.tags()["VALUE_4"]
        for band, option in enumerate(document["options"], start=1):
            codes, now = leaves.read(band), verdicts.read(band)
            hangs = (codes > 0) & (codes < 255)
            assert hangs.sum() * 0.25**2 == pytest.approx(option["hangs_on_leaves_m2"])
            assert np.all(codes[hangs] > now[hangs])


def test_a_site_where_nothing_grows_has_no_map_of_leaves(tmp_path):
    """And one of an earlier run goes with the results it was of."""
    out = tmp_path / "out"
    foliage = SITE[SITE.index("[[foliage]]") : SITE.index("[[mount]]")]
    assert run("cover", written(tmp_path, SITE), "--out", out, "--stills", "none") == 0
    assert (out / "leaves.tif").is_file()
    assert run("cover", written(tmp_path, SITE.replace(foliage, "")), "--out", out, "--stills", "none") == 0
    assert not (out / "leaves.tif").exists()


def test_scenarios_go_along_when_a_unit_or_the_figure_changes(path):
    """A turned unit and another figure are judged under each scenario as if the file said so."""
    site = open_site(path)
    outcome = judge(site)
    unit = replace(outcome.options[0].detectors[0], bearing_deg=20.0, height_m=1.2)
    turned = with_units(outcome, "west", (unit,))
    text = (SITE + SCENARIOS).replace("height = 1.0\nbearing = 0", "height = 1.2\nbearing = 20", 1)
    other = path.with_name("turned.toml")
    other.write_text(text)
    meant = judged_file(other).option("west")
    for mine, theirs in zip(turned.option("west").scenarios, meant.scenarios, strict=True):
        assert np.array_equal(mine.option.verdicts, theirs.option.verdicts)
    cat = with_figure(outcome, "cat").option("west")
    assert [one.name for one in cat.scenarios] == ["not cut", "gate open", "winter"]
    assert np.array_equal(
        cat.scenarios[2].option.verdicts,
        with_figure(judge(replace(site, terrain=site.scenarios[2].terrain)), "cat").option("west").verdicts,
    )


@pytest.mark.parametrize(
    ("scenario", "said"),
    [
        ('name = "a"\nwithout = ["yard gat"]', "the nearest is 'yard gate'"),
        ('name = "a"', "it changes nothing"),
        ('name = "a"\nleaves = 1.5', "leaves"),
        ('name = "a"\ngrowth = -1', "growth"),
        ('name = "a"\nleafs = 0.5', "leaves"),
        ('name = "a"\nleaves = 0\n[[scenario]]\nname = "a"\ngrowth = 1', "are named 'a'"),
    ],
)
def test_a_scenario_that_cannot_be_is_refused_in_words(tmp_path, capsys, scenario, said):
    """Exit status 2, what and where and how to mend it, and nothing is written."""
    site = written(tmp_path, f"{SITE}[[scenario]]\n{scenario}\n")
    assert run("cover", site, "--out", tmp_path / "out", "--stills", "none") == 2
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists()


def test_without_scenarios_nothing_is_said_of_them(tmp_path, capsys):
    """No column, no sentence, an empty list."""
    out = tmp_path / "out"
    assert run("compare", written(tmp_path, SITE), "--out", out, "--stills", "none") == 0
    assert "at worst" not in capsys.readouterr().out
    document = json.loads((out / "results.json").read_text("utf-8"))
    assert [option["scenarios"] for option in document["options"]] == [[], []]
    assert "scenario" not in why(judged_file(tmp_path / "site.toml"))
