"""Units as they are sold: what a housing reaches, heads by themselves, versions by price and current."""

import itertools
import json
from dataclasses import replace

import numpy as np
import pytest
from site_files import FARM
from site_files import run as command
from small_sites import KINDS, coarse, hillside, weight_of

from terrain3d.cover.sighted import sighted, unit_on
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.fixing import can_turn, check_turn
from terrain3d.detector.pose import HeadSetting
from terrain3d.detector.types import AntiMasking, Fixing, Mounting, Supply
from terrain3d.errors import InputError
from terrain3d.job import run as judged_options
from terrain3d.opened import site_of
from terrain3d.paper.search import search_part
from terrain3d.search import judge as j
from terrain3d.search.best import Limits
from terrain3d.search.budget import NothingFits
from terrain3d.search.looks import look_around, places_of
from terrain3d.search.result import SearchResult
from terrain3d.search.run import Search, run_search
from terrain3d.search.settings import count_settings
from terrain3d.search.target import target_of
from terrain3d.sentences.search import current_words, search_why
from terrain3d.terrain import Mount

ONE, TWO = KINDS
WALL = Mount("wall", -1.3, -2.1, (1.0,), wall_deg=40.0)
POLE = replace(WALL, name="pole", wall_deg=None)
TURNS = Mounting(swivel=50.0, tilt=(-2.0, 4.0), bracket=Fixing(swivel=120.0, tilt=(-8.0, 8.0)))
TILTS = (-9.0, -6.0, -3.0, 0.0, 6.0)


def quiet(_step, _share):
    """Progress that nobody looks at."""


def as_sold(kind, **also):
    return kind.model_copy(update=also)


def search(terrain, kinds, space=None, **limits):
    space = space or coarse(kinds)
    return run_search(
        Search(site_of(terrain, "small"), space, target_of(terrain, 1.7), Limits(**limits)), quiet
    )


@pytest.mark.parametrize("mount", [WALL, POLE])
@pytest.mark.parametrize("turns", [TURNS, TURNS.model_copy(update={"bracket": None})])
def test_only_what_the_housing_reaches_is_judged(mount, turns):
    """Counted, kept and best are of the aims that a fitter can set, flat or on a bracket if there is one."""
    terrain = hillside((mount,))
    space = coarse((as_sold(TWO, mounting=turns),), tilts_deg=TILTS)
    free = coarse((TWO,), tilts_deg=TILTS)
    target = target_of(terrain, 1.7)

    def may(bearing, tilt):
        each = (turns,) if turns.bracket is None else (turns, turns.bracket)
        off = abs((bearing - 40.0 + 180) % 360 - 180)
        return any(
            (mount.wall_deg is None or off <= one.swivel) and one.tilt[0] <= tilt <= one.tilt[1]
            for one in each
        )

    aims = [aim for aim in itertools.product(space.bearings_deg, TILTS) if may(*aim)]
    assert 0 < len(aims) < len(TILTS) * len(space.bearings_deg)
    assert count_settings(space, (mount,)) == len(aims) * 2
    judged = j.judge_mount(terrain, mount, space, target)
    assert all(may(b, t) for b, t in zip(judged.bearing_deg, judged.tilt_deg, strict=True))
    # Every setting in full, of a type that turns at will: those that may be are the same.
    look = look_around(terrain, mount, 1.0, free, places_of(terrain, target), target)
    ((value, _),) = j._judge_type(look, mount, free, 0, target)
    most = max(value[TILTS.index(t), r, int(b / 30)] for b, t in aims for r in range(2))
    assert judged.best[0, 0] == most


def test_what_is_found_beyond_the_flat_limits_is_on_its_bracket():
    """It says so in its option; where flat does, or on a bracket that is not needed, it is not on it."""
    kind = as_sold(
        ONE, mounting=Mounting(swivel=10.0, tilt=(-1, 1), bracket=Fixing(swivel=170.0, tilt=(-9, 9)))
    )
    result = search(hillside((WALL,)), (kind,), coarse((kind,), tilts_deg=TILTS))
    (unit,) = result.best.option.detectors
    assert unit.bracket == (not bool(can_turn(kind.mounting, 40.0, unit.bearing_deg, unit.tilt_deg)))
    check_turn(kind, unit.bracket, 40.0, unit.bearing_deg, unit.tilt_deg)
    limits = kind.mounting.bracket
    for bracket in (limits, None):
        wide = as_sold(ONE, mounting=Mounting(**limits.model_dump(), bracket=bracket))
        (same,) = search(hillside((WALL,)), (wide,), coarse((wide,), tilts_deg=TILTS)).best.option.detectors
        assert (same.bearing_deg, same.tilt_deg, same.bracket) == (unit.bearing_deg, unit.tilt_deg, False)
    assert unit.bracket


def test_heads_with_ranges_of_their_own_are_set_each_by_itself():
    """Every pair of ranges is judged, as `cover` judges the two heads set so."""
    heads = (
        TWO.head[0].model_copy(update={"range_settings": (4.0, 8.0)}),
        TWO.head[1].model_copy(update={"range_settings": (6.0, 10.0, 12.0)}),
    )
    kind = as_sold(TWO, head=heads)
    terrain = hillside((POLE,))
    space = coarse((kind,), ranges_m=None)
    target = target_of(terrain, 1.7)
    pairs = tuple(itertools.product((4.0, 8.0), (6.0, 10.0, 12.0)))
    assert space.range_sets_of(0) == pairs
    assert count_settings(space, (POLE,)) == 12 * 2 * 6
    judged = j.judge_mount(terrain, POLE, space, target)
    weight = weight_of(terrain)
    one = sighted(terrain, unit_on(terrain, "pole", kind, 1.0, 0.0))
    values = {}
    for bearing, tilt, pair in itertools.product(space.bearings_deg, space.tilts_deg, pairs):
        held = np.ones(weight.shape, bool)
        for turn, nod in itertools.product((-30.0, 0.0, 30.0), (-1.0, 0.0, 1.0)):
            heads = tuple(HeadSetting(range_m=r) for r in pair)
            aim = {"bearing_deg": (bearing + turn) % 360, "tilt_deg": tilt + nod, "heads": heads}
            held &= one.set_to(replace(one.unit, **aim)).verdicts(terrain.ground, 1.7) == Verdict.BOTH
        values[bearing, tilt, pair] = float(weight[held].sum())
    assert judged.best[0, 0] == max(values.values())
    for row in range(len(judged.value)):
        setting = (judged.bearing_deg[row], judged.tilt_deg[row], pairs[judged.range_set[row]])
        assert judged.value[row] == values[setting]
        assert judged.range_m[row] == max(setting[2])
    (unit,) = search(terrain, (kind,), space).best.option.detectors
    found = tuple(own.range_m for own in unit.heads)
    assert values[unit.bearing_deg, unit.tilt_deg, found] == max(values.values())


MOUNTS = (
    Mount("west", -8.0, -3.0, (1.0,)),
    Mount("middle", -1.0, -5.0, (1.0,)),
    Mount("east", 8.0, 1.0, (1.0,)),
)
PLAIN = as_sold(ONE, price=100.0, supply=Supply(volts=(9.0, 16.0), milliamps=25.0))
WATCHED = as_sold(
    PLAIN, name="watched", price=130.0, anti_masking=AntiMasking(reach=0.5),
    supply=Supply(volts=(9.0, 16.0), milliamps=32.0),
)  # fmt: skip
WIDE = as_sold(TWO, price=170.0, supply=Supply(volts=(9.0, 16.0), milliamps=45.0))


@pytest.mark.parametrize("kinds", [(PLAIN, WATCHED), (WATCHED, PLAIN)])
def test_of_versions_that_hold_as_much_the_cheapest_is_taken(kinds):
    """And the runner-up is another place, not the same unit dearer."""
    space = replace(coarse(kinds), labels=tuple(kind.name for kind in kinds))
    for limits in (
        {"units": 1},
        {"units": 2},
        {"units": None, "budget": 250.0},
        {"units": None, "hold": 0.2},
    ):
        result = search(hillside(MOUNTS), kinds, space, **limits)
        assert {unit.type.name for unit in result.best.option.detectors} == {"one-head-90"}
        assert result.best.labels[0] == "one-head-90"
        places = {unit.mount for unit in result.best.option.detectors}
        if result.runner_up is not None:
            assert {unit.mount for unit in result.runner_up.option.detectors} != places
        assert result.runner_up is not None or limits != {"units": 1}


@pytest.mark.parametrize("milliamps", [25.0, 44.9, 50.0, 70.0, 71.0, 95.0])
def test_a_set_draws_no_more_than_it_may(milliamps):
    """The best set within a current is that of trying every set of the settings kept."""
    kinds = (PLAIN, WIDE)
    terrain, space = hillside(MOUNTS), coarse((PLAIN, WIDE))
    result = search(terrain, kinds, space, units=None, milliamps=milliamps)
    assert isinstance(result, SearchResult)
    drawn = sum(unit.type.supply.milliamps for unit in result.best.option.detectors)
    assert result.best.milliamps == drawn <= milliamps
    assert result.best_unit.milliamps <= milliamps
    target = target_of(terrain, 1.7)
    rows = []
    for place, mount in enumerate(MOUNTS):
        judged = j.judge_mount(terrain, mount, space, target)
        for row in range(len(judged.value)):
            bits = np.unpackbits(judged.held[row], count=len(judged.cells)).astype(bool)
            held = np.zeros(len(target.cells), bool)
            held[judged.cells[bits]] = True
            rows.append((place, (25.0, 45.0)[judged.type_index[row]], held))
    most = 0.0
    for n in range(1, 4):
        for some in itertools.combinations(rows, n):
            if len({place for place, _, _ in some}) == n and sum(own for _, own, _ in some) <= milliamps:
                most = max(most, float(target.weight[np.any([held for _, _, held in some], axis=0)].sum()))
    assert result.best.held_m2 >= most * 0.25 - 1e-9
    assert result.gap_all is not None
    assert result.best.held_m2 <= most * 0.25 * (1 + result.gap_all) + result.gap_all * 100
    part = search_part(result)
    assert part["limits"]["current"] == {"milliamps": milliamps}
    assert part["best"]["current"] == {"milliamps": drawn}
    assert current_words(result) == f"It draws {drawn:g} mA of the {milliamps:g} mA allowed."


def test_current_is_told_only_where_it_is_limited():
    """Results of other searches stay as they were."""
    part = search_part(search(hillside(MOUNTS), (PLAIN, WIDE)))
    assert "current" not in part["limits"]
    assert "current" not in part["best"]
    assert "least_drawing" not in part


@pytest.mark.parametrize(
    ("limits", "least", "says"),
    [
        (
            {"milliamps": 20.0},
            ("one-head-90", None, 25.0),
            "the current of 20 mA: the unit that may be fixed here",
        ),
        (
            {"milliamps": 30.0, "budget": 99.0},
            ("one-head-90", 100.0, None),
            "fixed here on 30 mA, one-head-90, costs",
        ),
        ({"milliamps": 44.0, "budget": 5000.0}, None, ""),
    ],
)
def test_a_current_below_the_least_unit_is_an_answer(limits, least, says):
    """What draws least is told, and no setting is judged to find that out."""
    result = search(hillside(MOUNTS), (PLAIN, WIDE), units=None, **limits)
    if least is None:
        assert {unit.type.name for unit in result.best.option.detectors} == {"one-head-90"}
        return
    assert isinstance(result, NothingFits)
    assert (result.cheapest, result.price, result.milliamps) == least
    assert result.settings_judged == 0
    assert says in search_why(result)
    part = search_part(result)
    if result.price is None:
        assert part["least_drawing"] == {"type_in_site_file": "one-head-90", "milliamps": 25.0}
        assert part["cheapest"] is None


FITTED = """
name = "fitted"
nominal_height = 1.0
mount_height = [0.8, 1.2]
max_range = 12
range_settings = [6, 12]
[[head]]
pan = -45
arc = 84
range_settings = [6, 8]
layer = [{ name = "upper", elevation = 0, thickness = 3, zones = 6 }, { name = "lower", elevation = "range", thickness = 3, zones = 6 }]
[[head]]
pan = 45
arc = 84
layer = [{ name = "upper", elevation = 0, thickness = 3, zones = 6 }, { name = "lower", elevation = "range", thickness = 3, zones = 6 }]
[mounting]
swivel = 20
tilt = 5
bracket = { swivel = 180, tilt = 10 }
"""  # noqa: E501


def run(*words):
    """The exit status of one search that draws nothing."""
    return command("search", "--stills", "none", *words)


def test_what_is_found_is_written_and_judged_again_the_same(tmp_path, capsys, monkeypatch):
    """Ranges, masks and bracket go into results, the table and the site file, and `cover` holds as much."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "fitted.toml").write_text(FITTED)
    plot = '[[beyond]]\nname = "plot"\nkeep_out = true\noutline = [[3, 2.5], [9, 2.5], [9, 9], [3, 9]]\n'
    site = tmp_path / "site.toml"
    text = FARM.replace('types = ["one-head-90"]', 'types = ["fitted.toml"]\nmasks = true').replace(
        "[[mount]]", plot + "[[mount]]", 1
    )
    pole = '[[mount]]\nname = "pole"\nat = [6.3, 0.0]\nheights = [1.0]\n'
    assert pole in text
    text = text.replace(pole, "")
    site.write_text(text.replace("heights = [1.0]", "heights = [1.0]\nwall = 45"))
    assert run(site, "--write") == 0
    told = capsys.readouterr().out
    document = json.loads((tmp_path / "out" / "results.json").read_text())
    (unit,) = document["options"][0]["detectors"]
    assert [head["range_m"] in {6.0, 8.0, 12.0} for head in unit["heads"]] == [True, True]
    assert any(head["masked"] for head in unit["heads"])
    assert "D1 of best: on its bracket; head 1: range" in " ".join(told.split())
    assert "[[option.detector.head]]" in site.read_text()
    again = judged_options(site)
    held = again.option("search: best").area_m2["both"]
    assert held == pytest.approx(document["options"][0]["area_m2"]["both"])
    assert run(site, "--write") == 0
    assert site.read_text().count("search: best") == 1


@pytest.mark.parametrize(
    ("keys", "kind", "says"),
    [
        ("milliamps = 50", FITTED, "type own.toml does not say what it draws"),
        ("masks = true", FITTED.replace("zones = 6", "zones = 60"), "type own.toml has 60 zones to a head"),
        (
            "",
            FITTED.replace("range_settings = [6, 12]", f"range_settings = {list(range(2, 13))}").replace(
                "[6, 8]", str(list(range(2, 13)))
            ),
            "can be set to 121 ranges together",
        ),
    ],
)
def test_what_cannot_be_searched_is_refused_with_its_key(tmp_path, capsys, monkeypatch, keys, kind, says):
    """One message with what, where and the mend; exit status 2."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text(kind)
    site = tmp_path / "site.toml"
    site.write_text(FARM.replace('types = ["one-head-90"]', f'types = ["own.toml"]\n{keys}'))
    assert run(site) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "site.toml: search: " in told


def test_a_mount_whose_housing_no_aim_reaches_has_no_setting(tmp_path, capsys, monkeypatch):
    """Tilts beyond the limits leave nothing to search."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text(FITTED)
    site = tmp_path / "site.toml"
    site.write_text(
        FARM.replace('types = ["one-head-90"]', 'types = ["own.toml"]').replace("tilts = [0]", "tilts = [20]")
    )
    assert run(site) == 2
    assert "no mount that any of the types may be fixed to" in capsys.readouterr().err
    with pytest.raises(InputError):
        check_turn(as_sold(ONE, mounting=TURNS), False, None, 0.0, 20.0)
