"""The pages of heat and of the sun: what they draw, and that all that is written on them can be read."""

from dataclasses import replace

import numpy as np
import pytest
from page_checks import check_texts, context_of, texts_of
from shapes import judged

from terrain3d import palette
from terrain3d.conditions.heat import held_by_temperature, reference_contrast
from terrain3d.conditions.sun import AWAY, HIDDEN, SEEN, SunLayer, sun_times
from terrain3d.frame import Frame
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.heat import heat_sheet
from terrain3d.show.pages.sun import MOST, heads_of, sun_sheet, year_image
from terrain3d.site import HeatSetting, SunSetting

# What is drawn under the words is looked at elsewhere.
pytestmark = pytest.mark.usefixtures("coarse_ground")


def warmed(outcome, terrain=None, **setting):
    """Every option of an outcome with what it holds by temperature."""
    terrain = terrain or outcome.terrain
    return tuple(
        (
            option,
            held_by_temperature(
                terrain,
                judged(terrain, *option.detectors, combine=option.combine),
                outcome.figure.height_m,
                HeatSetting(**setting),
            ),
        )
        for option in outcome.options
    )


def heat_page(outcome, pairs, size="screen", date=""):
    """The page of the options of some pairs."""
    heats = {option.name: heat for option, heat in pairs}
    return heat_sheet(context_of(outcome, size, date, lambda option: {"heat": heats.get(option.name)}))


def sun_page(outcome, option, sun, size="screen", date=""):
    """The page of an option."""
    return sun_sheet(context_of(outcome, size, date, lambda _: {"sun": sun}), option)


def at_a_place(outcome):
    """The outcome's site at a place on earth."""
    return replace(outcome.terrain, frame=Frame(outcome.terrain.frame.wkt, (10.0, 52.0)))


def year_of(outcome, n_units=1, **setting):
    """The sun before some units that look around and up."""
    unit = outcome.options[0].detectors[0]
    units = tuple(
        replace(unit, name=f"D{n}", bearing_deg=60.0 * n, tilt_deg=-6.0) for n in range(1, n_units + 1)
    )
    return sun_times(at_a_place(outcome), units, SunSetting(zone="Europe/Berlin", **setting))


@pytest.mark.parametrize("size", ["screen", "a4"])
@pytest.mark.parametrize(
    "setting",
    [
        {},
        {"grounds": (-20.0, 5.0)},
        {"grounds": (12.0, 12.0)},
        {"sky_below": 40.0, "figure": 24.0},
        {"emissivity": 0.02},
    ],
)
def test_heat_page_can_be_read(outcome, size, setting):
    """No text leaves the page or runs into another, whatever the temperatures."""
    with page_style():
        page = heat_page(outcome, warmed(outcome, **setting), size, "25 November 2026")
        check_texts(page)


def test_heat_page_draws_the_results(outcome):
    """The charts hold the curves of the results, the borrowed condition at both sides of nothing."""
    pairs = warmed(outcome)
    with page_style():
        page = heat_page(outcome, pairs)
    upper, lower = page.figure.axes[:2]
    by_name = {option.name: heat for option, heat in pairs}
    first = by_name[outcome.ranking[0]]
    drawn = [line for line in upper.lines if len(line.get_xdata()) == len(first.curve.grounds_c)]
    assert np.array_equal(drawn[0].get_ydata(), first.curve.contrast)
    levels = {float(line.get_ydata()[0]) for line in upper.lines if len(set(line.get_ydata())) == 1}
    assert {-reference_contrast(), 0.0, reference_contrast()} <= levels
    for line, name in zip(lower.lines, outcome.ranking, strict=True):
        assert np.array_equal(line.get_ydata(), by_name[name].curve.protected_share)
    said = " ".join(text for text, _ in texts_of(page))
    assert "from memory" in said.replace("\n", " ")
    assert "walk-test every unit" in said
    assert f"{first.silent_from_c:.1f} to {first.silent_to_c:.1f} °C" in said


def test_heat_page_without_protected_ground(outcome):
    """Then the held ground is drawn, in square metres."""
    bare = replace(outcome.terrain, protect=())
    pairs = warmed(outcome, bare)
    with page_style():
        page = heat_page(outcome, pairs[:1])
        check_texts(page)
    lower = page.figure.axes[1]
    assert np.array_equal(lower.lines[0].get_ydata(), pairs[0][1].curve.held_m2)
    assert any(text.startswith("Ground, m²") for text, _ in texts_of(page))


@pytest.mark.parametrize("n_units", [1, 2, 3, 4])
@pytest.mark.parametrize("size", ["screen", "a4"])
def test_sun_page_can_be_read(outcome, n_units, size):
    """No text leaves the page or runs into another, with two heads a unit."""
    with page_style():
        page = sun_page(outcome, outcome.options[0], year_of(outcome, n_units), size, "25 November 2026")
        check_texts(page)
    assert len(page.figure.axes) == min(2 * n_units, MOST)


def test_sun_page_tells_the_spans_in_words(outcome):
    """With room for all, each span of each layer is a row of the column."""
    option = outcome.options[1]
    sun = sun_times(at_a_place(outcome), option.detectors[:1], SunSetting(zone="Europe/Berlin"))
    with page_style():
        page = sun_page(outcome, option, sun)
    said = [text for text, _ in texts_of(page)]
    spans = [span for layer in sun.layers for span in layer.spans]
    assert spans
    for span in spans:
        clock = f"{span.start_min // 60:02d}:{span.start_min % 60:02d} to "
        assert any(text.startswith(clock) for text in said)
        assert any(text.startswith(f"{span.first.day} {span.first:%b}") for text in said)


def test_sun_page_without_a_place(outcome):
    """A page that says why it is empty, and what to do."""
    sun = sun_times(outcome.terrain, outcome.options[0].detectors, SunSetting())
    with page_style():
        page = sun_page(outcome, outcome.options[0], sun)
        check_texts(page)
    assert any("Set [site] crs" in text for text, _ in texts_of(page))


def test_year_image_shows_each_state():
    """Night, day, hidden, in view of either layer and of both, date across and hour up."""
    daylight = np.array([[False, True, True], [True, True, True]])
    upper = SunLayer(
        "D1", 1, 0.0, "upper", (), 0, 0, np.array([[AWAY, SEEN, HIDDEN], [AWAY, SEEN, AWAY]], np.uint8)
    )
    lower = SunLayer(
        "D1", 1, 0.0, "lower", (), 0, 0, np.array([[AWAY, AWAY, AWAY], [SEEN, SEEN, AWAY]], np.uint8)
    )
    image = year_image(daylight, (upper, lower))
    assert image.shape == (3, 2, 3)
    colours = {(row, day): tuple(image[row, day]) for row in range(3) for day in range(2)}
    assert colours[1, 0] == tuple(palette.rgb(palette.layer_colour("upper")))
    assert colours[0, 1] == tuple(palette.rgb(palette.layer_colour("lower")))
    # Night, hidden, near both and day are four colours more.
    assert len(set(colours.values())) == 6


def test_heads_keep_their_layers_together(outcome):
    """A head a chart, with its layers in their order."""
    heads = heads_of(year_of(outcome, 2))
    assert [(head.unit, head.head) for head in heads] == [("D1", 1), ("D1", 2), ("D2", 1), ("D2", 2)]
    assert {tuple(layer.layer for layer in head.layers) for head in heads} == {("upper", "lower")}
