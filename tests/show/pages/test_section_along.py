"""Pages of sections along drawn lines: which lines, what they say, and that words keep clear."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from test_stills import with_bad_names
from test_walk_pages import LONG, SHORT, with_walks

from terrain3d import palette
from terrain3d.cover.verdict import UNKNOWN, Verdict
from terrain3d.errors import InputError
from terrain3d.sentences.along import NO_STRETCH, along_sentence, layers_words
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import Lines
from terrain3d.show.pages.section_along import along_sheet, line_image, lines_named
from terrain3d.show.pages.stills import listed_pages
from terrain3d.show.section_image import Window
from terrain3d.terrain import Approach, Foliage, SectionLine
from terrain3d.walk.along import profile_along

LANE = Approach("the lane", np.array([[-20.0, -14.0], [20.0, -14.0]]))
BANK = SectionLine("down the bank", np.array([[0.0, 9.0], [0.0, -9.0]]))
EDGE = np.array([[-15.0, -15.0], [15.0, -15.0], [15.0, 15.0], [-15.0, 15.0]])


@pytest.fixture
def lined(outcome):
    """The invented slope with two walks, a way in and a boundary."""
    walked = with_walks(outcome, LONG, SHORT)
    return walked.on(replace(walked.terrain, approaches=(LANE,), boundary=EDGE, sections=(BANK,)))


def along_context(outcome, *names, size="screen"):
    return replace(context_of(outcome, size), lines=Lines(along=names))


def test_walks_ways_in_and_the_boundary_are_found_by_name(lined):
    """In the order they are asked for; the boundary closes; what is not there or has no length is refused."""
    lines = lines_named(lined.terrain, ("boundary", LANE.name, LONG.name, BANK.name))
    assert [name for name, _ in lines] == ["boundary", LANE.name, LONG.name, BANK.name]
    assert np.array_equal(lines[0][1], [*EDGE, EDGE[0]])
    still = replace(LONG, line=np.array([[1.0, 1.0], [1.0, 1.0]]))
    for terrain, name in ((with_walks(lined, still).terrain, LONG.name), (lined.terrain, "nobody")):
        with pytest.raises(InputError, match=f"boundary '{name}' to cut a section along[^|]*'{LANE.name}'"):
            lines_named(terrain, (name,))


def test_each_option_has_a_page_of_each_line_in_place_of_its_own_sections(lined):
    """Two options, two lines: four pages, numbered as sections are."""
    pages = listed_pages(along_context(lined, LONG.name, "boundary"), ("section",))
    assert [page.name[:12] for page in pages] == [
        "01-section-1",
        "01-section-2",
        "02-section-1",
        "02-section-2",
    ]


def test_the_lengths_of_the_sentence_add_up(lined):
    """To the length of the line, to a decimetre each; ground that is not known among them."""
    option = lined.options[0]
    told = profile_along(lined.terrain, option.detectors, "any", LONG.name, LONG.line, 1.7)
    assert UNKNOWN in told.codes
    words = along_sentence(told).replace(f'Of the {told.length_m:.1f} m of "{LONG.name}"', "")
    lengths = [float(word) for word in words.split() if word[0].isdigit()]
    assert sum(lengths) == pytest.approx(told.length_m, abs=0.05 * (len(lengths) + 1))
    assert "have no ground that is known" in words


def test_heights_of_the_list_are_those_of_the_profile(lined):
    """In the middle of a held stretch both layers are named, between the ground and a person's head."""
    option = lined.options[0]
    told = profile_along(lined.terrain, option.detectors, "any", SHORT.name, SHORT.line, 1.7)
    (held, *_) = [run for run in told.runs() if run.code == Verdict.BOTH]
    middle = (held.start_m + held.stop_m) / 2
    place = int(np.abs(told.along - middle).argmin())
    words = layers_words(told, middle)
    for layer in told.layers:
        span = layer.over(place, float(told.ground[place]))
        if span is not None:
            assert f"{layer.layer} " in words
            assert f"{span[1]:.2f} m" in words


def test_a_layer_is_drawn_between_its_edges_and_not_outside(lined):
    """Pixel by pixel in one column: colour from the lower edge to the upper one where it gets there."""
    option = lined.options[0]
    told = profile_along(lined.terrain, option.detectors, "any", SHORT.name, SHORT.line, 1.7)
    alone = next(layer for layer in told.layers if layer.layer == "upper")
    whole = np.flatnonzero((alone.light == 1).all(axis=0) & (alone.z[0] > told.ground + 0.3))
    place = int(whole[len(whole) // 2])
    low, high = float(np.nanmin(told.ground)) - 1, float(alone.z[-1, place]) + 2
    window = Window(0.0, told.length_m, low, high, len(told.along), 900)
    image = line_image(replace(told, layers=(alone,)), Foliage.none(), window)
    z = low + (high - low) * (np.arange(900)[::-1] + 0.5) / 900
    colour = palette.mixed(palette.layer_colour("upper"), 0.42)
    tinted = np.abs(image[:, place].astype(int) - palette.rgb(colour).astype(int)).max(axis=-1) <= 2
    inside = (z > alone.z[0, place]) & (z < alone.z[-1, place])
    assert (tinted != inside).sum() <= 2
    assert inside.sum() > 10


@pytest.mark.parametrize(("size", "hostile"), [("screen", False), ("a4", True)])
def test_words_keep_clear(lined, size, hostile):
    """Every line stays on the page and covers no other, whatever the names."""
    shown = with_bad_names(lined) if hostile else lined
    name = "<b>$x$</b> \u4e2d " + "a name without an end " * 9 if hostile else LONG.name
    with page_style():
        for option in shown.options:
            for line in (LONG.line, np.vstack([EDGE, EDGE[:1]])):
                check_texts(along_sheet(along_context(shown, size=size), option, name, line))


def test_a_line_that_nothing_reaches_says_so(lined):
    """Far from every unit: no stretch to list, and the place for them is not left empty."""
    with page_style():
        page = along_sheet(along_context(lined), lined.options[0], LANE.name, LANE.line - [0.0, 8.0])
    told = [text for text, _ in texts_of(page)]
    assert NO_STRETCH in told
    # Nobody stands at a change where there is none.
    assert not any("at a change" in text for text in told)


def test_a_steep_line_is_drawn_at_true_scale(lined):
    """What does not fit the height of the page is drawn narrower, not flatter: a metre is one both ways."""
    ground = lined.terrain.ground
    y = np.broadcast_to(ground.ys[:, None], ground.z.shape)
    steep = lined.on(replace(lined.terrain, ground=replace(ground, z=y * np.tan(np.radians(30)))))
    line = np.array([[0.0, 20.0], [0.0, -20.0]])
    with page_style():
        page = along_sheet(along_context(steep), steep.options[0], "down", line)
    axes = page.figure.axes[0]
    box = axes.get_window_extent()
    across, up = np.ptp(axes.get_xlim()) / box.width, np.ptp(axes.get_ylim()) / box.height
    assert across == pytest.approx(up, rel=1e-6)
    assert "true scale" in " ".join(text for text, _ in texts_of(page))
