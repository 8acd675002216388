"""Work beside the page: a study laid on the ground, a search whose set is taken, and both stopped."""

import io
import time

import numpy as np
import pytest
from PIL import Image

from terrain3d.draft.document import checked_draft
from terrain3d.job import judge_ready
from terrain3d.study import study_of


def wait(page, seconds=240):
    """Look after the work as a server does, until it has ended."""
    steps = []
    for _ in range(20 * seconds):
        page.session.tick()
        work = page.state["work"]
        if work is None:
            return steps
        steps.append((work["share"], work["words"]))
        time.sleep(0.05)
    raise AssertionError("the work does not end")


def test_a_study_is_laid_on_the_ground_and_listed(page):
    """What the page shows of animals is what the study itself says, and the ground can be coloured by it."""
    assert page.state["grounds"] == ["verdicts"]
    page("study", parts=["animals", "close-in"])
    assert page.state["work"]["what"] == "study"
    page.refuses("search", "something else is being done", units=1)
    wait(page)
    assert page.state["grounds"] == ["verdicts", "animals"]
    verdicts = page.session.frame().jpeg
    page("ground", kind="animals")
    assert page.session.frame().jpeg != verdicts
    own = study_of(judge_ready(checked_draft(page.session.draft)), ("animals",))
    shown = page.session.study
    for name in own.outcome.ranking:
        told = [animal.area_m2 for animal in shown.of(name).animals.animals]
        assert told == [animal.area_m2 for animal in own.of(name).animals.animals]
    rows = [row["words"] for row in page.state["found"]["rows"]]
    assert any("animals" in row for row in rows)
    # Set otherwise the option is no longer the one that was studied, and taken back it is.
    page("choose_unit", option=page.session.now.option.name, unit="D1")
    page("set", setting="tilt", value=5)
    assert page.state["ground"] == "verdicts"
    page("undo")
    assert page.state["ground"] == "animals"


def test_a_study_of_a_site_that_was_begun_elsewhere_still_lies_on_its_ground(empty_page):
    """Drawn from nothing the frame is that of the beginning; the study is shown all the same."""
    page = empty_page
    page("begin_points", name="Levels", points=[[0, 0, 0], [30, 0, 1], [30, 30, 4], [0, 30, 3]])
    page("draw", kind="mount", points=[[15.0, 15.0]], name="pole")
    page("add_unit", option=None, mount="pole", type="one-head-90")
    page("study", parts=["animals"])
    wait(page)
    assert "animals" in page.state["grounds"]


def test_a_set_that_was_found_becomes_an_option_with_one_click(page):
    """Taken, it holds what the search says that it holds, to the whole percent."""
    page("value", id="search", key="bearing_step", value=30)
    page("value", id="search", key="tilts", value=[-6, 0])
    page("value", id="search", key="types", value=["one-head-90"])
    page("search", units=1)
    wait(page)
    (best, *_) = page.state["found"]["rows"]
    share = best["words"].rsplit(" ", 1)[1]
    before = page.text
    page.session.do(best["do"])
    assert page.state["options"][0]["is_shown"] or page.session.now.option.name in best["words"]
    taken = page.session.now.option
    held = taken.protect[0].both_fraction
    assert f"{held:.0%}" == share
    page("undo")
    assert page.text == before


def test_mounts_that_are_proposed_can_be_taken(page):
    """A place beside what is drawn, put into the site with one click."""
    page("propose_mounts", every_m=5)
    wait(page)
    row = next(row for row in page.state["found"]["rows"] if row["do"])
    count = len(page.session.site.terrain.mounts)
    page.session.do(row["do"])
    assert not page.state["said"]["is_refusal"], page.said
    assert len(page.session.site.terrain.mounts) == count + 1


def test_work_is_stopped_at_once(page):
    """Stopped, there is nothing to wait for and nothing found, and other work can be begun."""
    page("study", parts=["doubt"])
    page("stop")
    assert page.state["work"] is None
    page.session.tick()
    assert page.state["found"] is None
    page("study", parts=["close-in"])
    wait(page)
    assert page.state["found"] is not None


def test_what_cannot_be_studied_is_said(empty_page):
    """Without a unit there is nothing to study; of parts there are those that there are."""
    page = empty_page
    page("begin_plane", fall=12, towards=180, extent=30, name="Yard")
    page.refuses("study", "no option")
    page.refuses("study", "no such part", parts=["weather"])
    page.refuses("take_found", "nothing to take", row=0)


def test_a_still_has_the_picture_and_says_what_it_is(page):
    """What is seen, whole, with the caution under it (every output carries it)."""
    page("moving", is_moving=True)
    answer = page("still")
    data, kind = page.session.picture("still")
    assert kind == "image/png"
    assert answer["url"].startswith("/picture/still")
    still = np.asarray(Image.open(io.BytesIO(data)))
    page("moving", is_moving=False)
    seen = np.asarray(Image.open(io.BytesIO(page.session.frame().jpeg)))
    height, width = seen.shape[:2]
    assert still.shape[1] == width
    assert still.shape[0] > height + 30
    assert np.abs(still[:height].astype(int) - seen).mean() < 3
    assert (still[height:] < 128).any()


@pytest.mark.parametrize("key", ["units", "budget"])
def test_numbers_of_a_search_have_bounds(page, key):
    """A search for a thousand units, or for less than nothing, is refused."""
    page.refuses("search", key, **{key: -5})
