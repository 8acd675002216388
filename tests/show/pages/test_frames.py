"""Frames and films of walks: what they tell at each moment, the same bytes twice, words that keep clear."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from PIL import Image
from test_stills import with_bad_names
from test_walk_pages import LONG, SHORT, TINY, tried, with_walks

from terrain3d import palette
from terrain3d.sentences.walks import ALARM_RAISED, moment_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.film import EACH_MS, PICTURES, STAYS_MS, film_of
from terrain3d.show.pages.frames import frames_sheet, walk_of
from terrain3d.show.pages.names import pages_of
from terrain3d.show.pages.stills import listed_pages, still_names
from terrain3d.terrain import Walk
from terrain3d.walk.moments import MOMENTS, moments_of

pytestmark = pytest.mark.usefixtures("coarse_ground")

STILL = Walk("stays", np.array([[1.0, 1.0], [1.0, 1.0]]))


@pytest.fixture
def walked(outcome):
    """The invented slope with three walks and one that stays."""
    return with_walks(outcome, LONG, SHORT, TINY, STILL)


def said(page):
    return " ".join(" ".join(text.split()) for text, _ in texts_of(page))


def test_each_walk_that_leads_somewhere_has_its_page_and_its_film(walked):
    """Two options, three walks: six of each; films are GIF, and are not counted among the pages."""
    context = context_of(walked)
    assert len(still_names(context, ("frames",))) == len(still_names(context, ("film",))) == 6
    is_film = pages_of(["film"])
    assert all(name.endswith(".gif") and is_film(name) for name in still_names(context, ("film",)))
    with page_style():
        page = listed_pages(context, ("frames", "film"))[0].draw()
    assert "page 1 of 6" in said(page)


def test_a_walk_is_tried_as_a_study_tries_it(walked):
    """The same alarm and pulses, whether a study has them or not."""
    option = walked.options[0]
    own = walk_of(replace(context_of(walked), study=None), option, 1)
    told = tried(walked, option).walks[1]
    assert (own.alarm, own.pulses) == (told.alarm, told.pulses)


def test_every_moment_is_told(walked):
    """Eight of them, each in its words, the alarm from the moment on when it is raised."""
    context = context_of(walked)
    for option in walked.options:
        walk = walk_of(context, option, 1)
        with page_style():
            text = said(frames_sheet(context, option, 1))
        moments = moments_of(walk, MOMENTS)
        for moment in moments:
            for words in moment_words(moment):
                assert words in text
        assert text.count(ALARM_RAISED) == sum(moment.has_alarm for moment in moments)


@pytest.mark.parametrize(("size", "hostile"), [("screen", False), ("a4", True)])
def test_words_keep_clear(walked, size, hostile):
    """Every line stays on the page and covers no other, whatever the names."""
    shown = with_bad_names(walked) if hostile else walked
    if hostile:
        bad = "<b>$x$</b> \u4e2d " + "a name without an end " * 9
        shown = with_walks(shown, *(replace(walk, name=bad) for walk in shown.terrain.walks))
    with page_style():
        for option in shown.options:
            context = context_of(shown, size)
            check_texts(frames_sheet(context, option, 0))
            film = film_of(context, option, 0)
            check_texts(film)


def test_a_film_shows_the_alarm_from_its_moment_on(walked, tmp_path):
    """The star is there from the picture on that stays longer, and not before; twice the same bytes."""
    context = context_of(walked)
    option, place = next(
        (option, place)
        for option in walked.options
        for place in (0, 1)
        if walk_of(context, option, place).alarm is not None
    )
    with page_style():
        film = film_of(context, option, place)
        one = film.save(tmp_path / "one.gif")
        other = film_of(context, option, place).save(tmp_path / "other.gif")
    assert one.read_bytes() == other.read_bytes()
    first = next(k for k, moment in enumerate(film.moments) if moment.has_alarm)
    stars, stays = [], []
    with Image.open(one) as gif:
        assert (gif.n_frames, gif.info["loop"]) == (PICTURES, 0)
        for k in range(PICTURES):
            gif.seek(k)
            stays.append(gif.info["duration"])
            pixels = np.asarray(gif.convert("RGB")).astype(int)
            stars.append(int((np.abs(pixels - palette.rgb(palette.ALARM)).max(axis=-1) < 8).sum()))
    assert stays == [STAYS_MS if k in (first, PICTURES - 1) else EACH_MS for k in range(PICTURES)]
    assert max(stars[:first]) + 20 < min(stars[first:])
