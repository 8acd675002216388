"""A search at the edges of what it is allowed: every one ends in an answer or in one clear message."""

import json
from importlib.resources import files
from pathlib import Path

import pytest
from site_files import FARM
from site_files import run as command
from small_sites import KINDS, coarse, hillside

from terrain3d.opened import site_of
from terrain3d.paper.search import search_part, search_results_json
from terrain3d.search.best import Limits
from terrain3d.search.budget import NothingFits
from terrain3d.search.run import Search, in_threads, run_search
from terrain3d.search.target import target_of
from terrain3d.sentences.search import search_why
from terrain3d.terrain import Mount

SITE = FARM.replace('types = ["one-head-90"]', 'types = ["one-head-90", "two-head-180"]')
BUILT_IN = files("terrain3d.detector").joinpath("builtin", "one-head-90.toml").read_text(encoding="utf-8")
PRICE = next(line for line in BUILT_IN.splitlines() if line.startswith("price"))
YARD = SITE[SITE.index("[[protect]]") : SITE.index("[[mount]]")]
MOUNTS = SITE[SITE.index("[[mount]]") : SITE.index("[search]")]


def quiet(_step, _share):
    """Progress that nobody looks at."""


def search(kinds=KINDS, **limits) -> Search:
    """A pole and a post on a hillside, all searched with some types."""
    terrain = hillside((Mount("west", -8.0, -3.0, (1.0,)), Mount("middle", -1.0, -5.0, (1.0,))))
    return Search(site_of(terrain, "small"), coarse(kinds), target_of(terrain, 1.7), Limits(**limits))


@pytest.fixture
def place(tmp_path, monkeypatch) -> Path:
    """A folder to work in, with types of other prices."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "unpriced.toml").write_text(BUILT_IN.replace(PRICE, ""))
    (tmp_path / "free.toml").write_text(BUILT_IN.replace(PRICE, "price = 0"))
    return tmp_path


def run(*words):
    """The exit status of one search that draws nothing."""
    return command("search", "--stills", "none", *words)


@pytest.mark.parametrize("more", [{}, {"units": 2}, {"hold": 0.5}, {"apart": True}])
def test_a_budget_below_the_cheapest_unit_is_an_answer(more):
    """Nothing fits: what the cheapest unit costs is told, and no setting is judged to find that out."""

    def judges(*_):
        raise AssertionError("a setting is judged")

    result = run_search(search(**{"units": None, "budget": 99.0, **more}), quiet, do_tasks=judges)
    assert isinstance(result, NothingFits)
    assert (result.cheapest, result.price, result.settings_judged) == ("one-head-90", 100.0, 0)
    assert "budget of 99: the cheapest unit that may be fixed here, one-head-90, costs 100" in search_why(
        result
    )
    outcome = result.outcome
    assert (outcome.options, outcome.ranking) == ((), ())
    document = json.loads(search_results_json(result))
    assert document["options"] == document["ranking"] == []
    assert document["why"] == search_why(result)
    assert document["search"]["cheapest"] == {"type_in_site_file": "one-head-90", "price": 100.0}
    assert document["search"]["best"] is document["search"]["margin"] is None


def test_the_cheapest_unit_is_one_that_holds_something():
    """A cheap type with an arc narrower than its bearing may be off holds nothing: it is not the answer."""
    head = KINDS[0].head[0].model_copy(update={"arc": 20.0})
    narrow = KINDS[0].model_copy(update={"name": "narrow", "price": 5.0, "head": (head,)})
    result = run_search(search((narrow, KINDS[1]), units=None, budget=100.0), quiet)
    assert isinstance(result, NothingFits)
    assert (result.cheapest, result.price) == ("two-head-180", 170.0)
    assert "that holds ground that counts" in search_why(result)
    assert result.settings_judged > 0


def test_the_best_unit_is_within_the_budget():
    """A unit beyond the budget is not offered as the best unit, though it holds more by itself."""
    dear = run_search(search(), quiet).best
    assert dear.labels == ("two-head-180",)
    result = run_search(search(units=None, budget=169.0), quiet)
    assert result.best_unit.labels == ("one-head-90",)
    assert result.best.price == 100.0


def test_two_units_are_not_taken_where_one_is_paid_for():
    """With money for one unit and a half, one is taken, however many are allowed."""
    result = run_search(search(units=2, budget=150.0), quiet, do_tasks=in_threads)
    assert len(result.best.option.detectors) == 1
    more = run_search(search(units=2, budget=340.0), quiet).best
    assert len(more.option.detectors) == 2
    assert 150.0 < more.price <= 340.0


def test_nothing_that_fits_is_told_and_nothing_is_put_into_the_site_file(place, capsys):
    """Exit status 0, a table of prices, results.json alone, and the site file as it was.

    The map of an earlier search goes away with its results: it shows what does not fit.
    """
    site = place / "site.toml"
    site.write_text(SITE)
    assert run(site) == 0
    assert (place / "out" / "verdicts.tif").exists()
    capsys.readouterr()
    assert run(site, "--budget", "1", "--write") == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "farm: nothing fits" in told
    assert (
        "Nothing fits the budget of 1: the cheapest unit that may be fixed here, one-head-90, costs" in told
    )
    assert f"nothing was put into {site}" in told
    assert site.read_text() == SITE
    assert {path.name for path in (place / "out").iterdir()} == {"results.json", ".written-by-terrain3d"}


def test_a_site_on_which_nothing_fits_is_no_failure_among_others(place, capsys):
    """In a folder it has its line and its row, and costs the others nothing."""
    (place / "sites").mkdir()
    (place / "sites" / "a.toml").write_text(SITE)
    (place / "sites" / "b.toml").write_text(SITE + "budget = 5\n")
    assert run(place / "sites", "--write") == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert "2 sites searched" in told.out
    assert "failed" not in told.out
    assert "b.toml: Nothing fits the budget of 5" in told.out
    assert (place / "sites" / "b.toml").read_text() == SITE + "budget = 5\n"
    assert "[[option]]" in (place / "sites" / "a.toml").read_text()


@pytest.mark.parametrize(
    ("edit", "words", "held", "units"),
    [
        ((), ("--budget", "100"), "one-head-90", 1),
        ((), ("--budget", "150", "--units", "2"), "one-head-90", 1),
        ((), ("--units", "9"), "", 2),
        ((), ("--units", "50", "--hold", "0.9"), "", 1),
        ((), ("--units", "9", "--budget", "1000"), "", 2),
        ((YARD, ""), ("--units", "2"), "", 2),
        ((YARD, ""), ("--hold", "0.3"), "", 2),
        (("heights = [1.0]", 'heights = [1.0]\nnot_for = ["one-head-90"]'), (), "two-head-180", 1),
        (('"one-head-90"', '"unpriced.toml"'), ("--hold", "0.5"), "", 1),
        (('"one-head-90"', '"free.toml"'), ("--budget", "1"), "free.toml", 1),
        (("tilts", "budget = 5\ntilts"), ("--budget", "500"), "", 2),
        (("tilts", "ranges = [4]\ntilts"), (), "", 1),
    ],
)
def test_searches_at_an_edge_find_what_is_there(place, edit, words, held, units):
    """Few mounts, little money, no yard, no price: a set comes out that keeps to what is allowed."""
    site = place / "site.toml"
    site.write_text(SITE.replace(*edit) if edit else SITE)
    assert run(site, *words) == 0
    document = json.loads((place / "out" / "results.json").read_text())
    found = document["search"]["best"]["units"]
    assert len(found) == units
    assert held in [unit["type_in_site_file"] for unit in found] or not held
    assert document["ranking"][0] == document["search"]["best"]["option"]
    assert document["search"]["cheapest"] is None


@pytest.mark.parametrize(
    ("edit", "words", "says"),
    [
        ((), ("--hold", "1"), "no set of units holds 100%"),
        ((), ("--hold", "0.95", "--budget", "120"), "no set of units holds 95%"),
        (("tilts", "hold = 1.0\ntilts"), (), "site.toml: search: hold"),
        ((), ("--budget", "nan"), "nan is no finite number"),
        ((), ("--budget", "inf"), "inf is no finite number"),
        ((), ("--hold", "nan"), "nan is no finite number"),
        ((MOUNTS, ""), (), "there is no [[mount]]"),
        (
            ("heights = [1.0]", 'heights = [1.0]\nnot_for = ["one-head-90", "two-head-180"]'),
            (),
            "no mount that any of the types may be fixed to",
        ),
        (('["one-head-90", "two-head-180"]', "[]"), (), "no type is to be searched"),
        (('"one-head-90"', '"unpriced.toml"'), ("--budget", "500"), "type unpriced.toml has no price"),
        (
            ('types = ["one-head-90",', 'budget = 9\ntypes = ["unpriced.toml",'),
            (),
            "site.toml: search: budget",
        ),
        (("tilts = [0]", "tilts = [30]"), (), "no setting of any mount holds ground"),
        (("bearing_step = 10", "bearing_step = 90"), (), "no setting of any mount holds ground"),
        ((YARD, YARD.replace("3.0", "0.1")), (), "no cell of known ground is protected"),
    ],
)
def test_searches_that_cannot_be_are_refused_once_and_clearly(place, capsys, edit, words, says):
    """One message with what, where and the mend; exit status 2; nothing written."""
    site = place / "site.toml"
    site.write_text(SITE.replace(*edit) if edit else SITE)
    assert run(site, *words) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "fault in the program" not in told
    assert not (place / "out").exists()


def test_what_is_told_has_the_same_keys_either_way():
    """A reader of results.json finds every key of the part, whether something fits or nothing does."""
    fits, none = run_search(search(), quiet), run_search(search(budget=1.0), quiet)
    assert search_part(fits).keys() == search_part(none).keys()
