"""The section as drawn: colours against numbers, sentences against closed forms, words that keep clear."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.colors import rgb_to_hsv
from page_checks import check_texts, texts_of
from shapes import box, leaves, plane, terrain, unit
from test_stills import with_bad_names

from terrain3d import palette
from terrain3d.cover.profile import changes, head_bearings, line_profile
from terrain3d.cover.verdict import Verdict
from terrain3d.detector.figures import Figure, known_figures
from terrain3d.detector.types import load_type
from terrain3d.job import Outcome
from terrain3d.lengths import half_up
from terrain3d.opened import site_of
from terrain3d.sentences.section import (
    change_words,
    end_words,
    run_rows,
    section_sentence,
)
from terrain3d.show import section_image
from terrain3d.show.labels import placed_in_a_row
from terrain3d.show.legend import verdict_sign
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.section import draw_section, section_sheet, section_view
from terrain3d.show.pages.sheet import WIDE_PICTURE, Sheet
from terrain3d.show.pages.size import HEIGHT_PX, SCREEN, SIZES, WIDTH_PX
from terrain3d.show.section_image import LAYER_STRENGTH, Window, cut_image, lit
from terrain3d.show.silhouettes import silhouette
from terrain3d.terrain import Foliage

ONE = load_type("one-head-90", Path())
PERSON = Figure("person", 1.7, "for the tests")


def profile_of(site, at=None, bearing=0.0):
    return line_profile(site, at or unit(ONE), bearing, PERSON.height_m, 1.0, 1.0)


def window_of(profile, width=2000, height=1200):
    return Window(float(profile.along[0]), float(profile.along[-1]), -3.0, 5.0, width, height)


def test_colours_of_the_strip_are_the_shares_of_the_verdicts():
    """Pixels right under the ground line have each verdict's colour over the length it holds."""
    profile = profile_of(terrain(plane(0.15)))
    window = window_of(profile)
    image = cut_image(profile, Foliage.none(), window)
    s = window.left + (window.right - window.left) * (np.arange(window.width_px) + 0.5) / window.width_px
    row = (window.top - 0.15 * s) / (window.top - window.bottom) * window.height_px
    under = image[np.clip(np.rint(row).astype(int) + 3, 0, window.height_px - 1), np.arange(window.width_px)]
    for verdict in (Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.DEAD):
        colours = [palette.VERDICT_COLOURS[verdict]]
        colours += {Verdict.UPPER_ONLY: [palette.UPPER_STRIPE], Verdict.DEAD: [palette.DEAD_STRIPE]}.get(
            verdict, []
        )
        shown = np.any([(under == palette.rgb(c)).all(axis=1) for c in colours], axis=0).mean()
        assert shown == pytest.approx((profile.codes == verdict).mean(), abs=0.01), verdict


def test_stripes_lean_as_the_legend_has_them():
    """Dead ground's stripes fall to the right under the line as they do on the plan and in every key."""
    profile = profile_of(terrain(plane(0.15)))
    image = cut_image(profile, Foliage.none(), window_of(profile))
    striped = (image == palette.rgb(palette.DEAD_STRIPE)).all(axis=-1)
    assert set(verdict_sign(Verdict.DEAD).stripe.hatch) == {"\\"}
    falling, rising = striped[1:, 1:] & striped[:-1, :-1], striped[1:, :-1] & striped[:-1, 1:]
    assert falling.sum() > 100 + 2 * rising.sum()


@pytest.mark.parametrize("rows", [1, 7])
def test_bands_of_a_picture_meet_without_a_seam(monkeypatch, rows):
    """Drawn some rows at a time it is to the dot what it is drawn at once: layers, leaves, stripes."""
    grown = leaves(plane(0.15), lambda _x, y: (y > 2) & (y < 3), 0.0, 1.5, 1.0)
    profile = profile_of(terrain(plane(0.15), foliage=grown))
    pictures = []
    for at_once in (rows, 10_000):
        monkeypatch.setattr(section_image, "_BAND_PX", at_once)
        pictures.append(cut_image(profile, grown, window_of(profile, 200, 120), 0.5))
    assert np.array_equal(*pictures)


def is_tinted(image):
    """Pixels that a layer colours: neither paper nor ground is so vivid."""
    return rgb_to_hsv(image / 255.0)[..., 1] > 0.12


def test_nothing_is_drawn_past_the_first_hit():
    """Behind a wall as high as the sky, and below the ground, no layer leaves any colour."""
    profile = profile_of(terrain(plane(0.0), box((-5, 5, -1), (5, 5.3, 9))))
    window = window_of(profile)
    image = cut_image(profile, Foliage.none(), window)
    s = window.left + (window.right - window.left) * (np.arange(window.width_px) + 0.5) / window.width_px
    z = window.top - (window.top - window.bottom) * (np.arange(window.height_px) + 0.5) / window.height_px
    tinted = is_tinted(image)
    assert tinted[np.ix_(z > 0, (s > 0.5) & (s < 4.9))].mean() > 0.05
    assert not tinted[np.ix_(z > 0.01, s > 5.01)].any()
    assert not tinted[np.ix_(z > 0.01, s < 0)].any()


def test_a_layer_is_drawn_just_as_far_as_it_runs():
    """Along its axis a layer is lit to its end, less the step between two lines of sight, never beyond."""
    profile = profile_of(terrain(plane(0.12)))
    for beam in profile.beams:
        end, slope = beam.ends[beam.axis], beam.slopes[beam.axis]
        for at, shown in ((end / 2, 1.0), (end - 0.08, 1.0), (end + 5e-4, 0.0)):
            assert lit(beam, np.array([at]), np.array([[slope * at]]))[0, 0] == shown


def test_light_behind_a_hedge_is_drawn_fainter():
    """The colour of a layer thins with the share of light that foliage lets through."""
    on = plane(0.0)
    hedge = leaves(on, lambda x, y: (y > 4) & (y < 5), 0.0, 2.5, 1.4)
    profile = profile_of(terrain(on, foliage=hedge))
    image = cut_image(profile, hedge, window_of(profile)).astype(float)
    window = window_of(profile)

    def depth(s, z):
        row = int((window.top - z) / (window.top - window.bottom) * window.height_px)
        column = int((s - window.left) / (window.right - window.left) * window.width_px)
        return (255 - image[row, column]).sum()

    ratio = depth(8.0, 1.0) / depth(3.0, 1.0)
    # Beer-Lambert over one metre of leaves, half of whose area faces the line.
    assert ratio == pytest.approx(np.exp(-0.5 * 1.4), abs=0.02)
    assert depth(3.0, 1.0) == pytest.approx(
        LAYER_STRENGTH * (255 - palette.rgb(palette.layer_colour("upper")).astype(float)).sum(), rel=0.02
    )


@pytest.mark.parametrize("rise", [0.06, 0.1, 0.15, 0.3])
def test_landings_are_told_where_closed_forms_say(rise):
    """The distance in the sentence is h / (tan p + s), to the decimetre."""
    profile = profile_of(terrain(plane(rise)))
    told = end_words(profile)
    lower, upper = 1 / (1 / 12 + rise), 1 / rise
    assert f"lower layer lands here, {half_up(lower)}" in told
    assert (f"upper layer lands here, {half_up(upper)}" in told) == (upper <= 12)
    at = changes(profile)[0]
    assert change_words(profile, at) == [half_up(lower), f"upper {1 - rise * lower:.2f} m up", "lower lands"]


def test_falling_ground_tells_where_the_upper_layer_passes_over():
    """On a 15 % fall the upper axis clears a person 1.7 m high at (H - h) / s = 4.67 m."""
    rows = run_rows(profile_of(terrain(plane(-0.15))))
    run, text = next((run, text) for run, text in rows if "upper: passes above" in text)
    assert run.start_m == pytest.approx(0.7 / 0.15, abs=0.06)
    assert text.startswith("lower only")


def test_what_passes_over_is_said_clear_of_the_layers():
    """On a bank the words stand over all that the layers cross within their width."""
    site = terrain(plane(-0.577))
    outcome = Outcome(site_of(site, "bank"), (), ())
    room = (WIDE_PICTURE[2] * WIDTH_PX, WIDE_PICTURE[3] * HEIGHT_PX)
    view = section_view(site, replace(unit(ONE), tilt_deg=25.0), 0.0, PERSON, SCREEN, room)
    with page_style():
        page = Sheet()
        draw_section(page, outcome, view, WIDE_PICTURE)
        check_texts(page)
        axes = page.figure.axes[0]
        (words,) = (text for text in axes.texts if "passes over" in text.get_text())
        box = words.get_window_extent().transformed(axes.transData.inverted())
    for beam in view.profile.beams:
        for slope, end in zip(beam.slopes, beam.ends, strict=True):
            s = np.linspace(max(box.x0, 0.0), min(box.x1, float(end)), 50)
            assert (view.profile.eye_z + slope * s < box.y0).all()


def test_a_wall_is_named_and_layers_it_ends_are_told_together():
    """Both layers that meet one wall at one distance make one sentence with its name."""
    wall = replace(box((-5, 4, -1), (5, 4.3, 3)), names=("garden wall",))
    assert list(end_words(profile_of(terrain(plane(0.0), wall)))) == [
        "upper and lower layers meet garden wall, 4.0 m"
    ]


def test_the_sentence_adds_up():
    """What is held and the largest loss, in metres along the line."""
    said = section_sentence(profile_of(terrain(plane(0.15))))
    assert said.startswith(f"Along this line both layers hold {half_up(1 / (1 / 12 + 0.15))} of 12 m")
    assert "the lower layer lands short (7.7 m)" in said


def page_of(outcome, option, bearing, size=SCREEN, date=""):
    at = option.detectors[0]
    return section_sheet(PageContext(outcome, size, date), option, at, bearing, at.name)


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize("hostile", [False, True])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_no_text_leaves_the_page_or_covers_other_text(outcome, hostile, size):
    """Every line of a section's page keeps clear of every other, whatever the names."""
    drawn = with_bad_names(outcome) if hostile else outcome
    with page_style():
        for option in drawn.options:
            for bearing in head_bearings(option.detectors[0]):
                check_texts(page_of(drawn, option, bearing, SIZES[size], "1 May"))


@pytest.mark.usefixtures("coarse_ground")
def test_a_page_carries_what_it_must(outcome):
    """Site, option, bearing, scale, date and the caution are on the page."""
    with page_style():
        said = " ".join(
            text for text, _ in texts_of(page_of(outcome, outcome.options[0], 180.0, SIZES["a4"], "1 May"))
        )
    for words in (
        outcome.site_name,
        outcome.options[0].name,
        "bearing 180°",
        "1:",
        "on A4",
        "1 May",
        "walk-test",
    ):
        assert words in said


@pytest.mark.parametrize("name", ["a4", "a3"])
def test_a_printed_section_is_to_scale(name):
    """A metre along the line is 1:n of a metre on the paper, and so is a metre of height."""
    size = SIZES[name]
    room = (0.928 * 1600, 0.53 * 1132)
    view = section_view(terrain(plane(0.1)), unit(ONE), 0.0, PERSON, size, room)
    assert view.scale in (25, 50)
    paper_mm = view.width_m * 1000 / view.scale
    assert paper_mm == pytest.approx(0.928 * size.width_mm, rel=1e-9)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1000), st.floats(5, 200)), max_size=8).map(sorted), st.floats(300, 1000)
)
def test_boxes_side_by_side_never_meet(boxes, right):
    """Whatever is wanted, boxes stay in the row, in order, and apart."""
    wanted, widths = [b[0] for b in boxes], [b[1] for b in boxes]
    kept, middles = placed_in_a_row(wanted, widths, 0.0, right)
    assert len(kept) == len(middles)
    edges = [(m - widths[k] / 2, m + widths[k] / 2) for k, m in zip(kept, middles, strict=True)]
    assert all(low >= -1e-6 and high <= right + 1e-6 for low, high in edges)
    assert all(a[1] + 16 <= b[0] + 1e-6 for a, b in pairwise(edges))


@pytest.mark.parametrize("figure", known_figures(), ids=lambda figure: figure.name)
def test_figures_have_their_height(figure):
    """A person's outline is as high as the figure; an animal's back is, its head above."""
    points = np.vstack(silhouette(figure))
    assert points[:, 1].min() == pytest.approx(0.0, abs=0.03 * figure.height_m)
    top = points[:, 1].max() / figure.height_m
    assert top == pytest.approx(1.0, abs=0.005) if "person" in figure.name else 1.0 < top < 1.3


def test_grey_print_keeps_the_layers_and_the_strip_apart():
    """In grey the two layers' tints differ from paper, and held ground from lost ground."""

    def grey(colour):
        return float(palette.rgb(colour) @ [0.299, 0.587, 0.114])

    tints = {
        name: grey(palette.mixed(palette.layer_colour(name), LAYER_STRENGTH)) for name in ("upper", "lower")
    }
    assert min(255 - tint for tint in tints.values()) > 25
    assert abs(tints["upper"] - tints["lower"]) > 15
    strip = [
        grey(palette.VERDICT_COLOURS[v])
        for v in (Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD)
    ]
    assert all(b - a < -20 for a, b in pairwise(strip))
