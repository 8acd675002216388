"""The page of a type: nothing overlaps, whatever the type; what is drawn is what the type states."""

import math

import numpy as np
import pytest
from page_checks import check_texts, texts_of
from shapes import plane, terrain, unit

from terrain3d.cover.profile import line_profile
from terrain3d.detector.level import head_at, level_layers
from terrain3d.detector.types import DetectorType, builtin_names, load_type
from terrain3d.errors import InputError
from terrain3d.show.lettering import page_style
from terrain3d.show.pages.type_page import check_range, fan, type_sheet

WATCHED = load_type("one-head-90-watched")


def crowded() -> DetectorType:
    """Eight heads, all round, with many zones and long names, and everything besides."""
    layer = WATCHED.head[0].layer[0]
    layers = tuple(
        layer.model_copy(update={"name": f"layer of a long name {k}", "elevation": 5.0 * k - 20, "zones": 30})
        for k in range(8)
    )
    heads = tuple(
        WATCHED.head[0].model_copy(update={"pan": 45.0 * k - 180, "arc": 50.0, "layer": layers})
        for k in range(8)
    )
    lobe = load_type("one-head-90-microwave").microwave
    assert lobe is not None
    return WATCHED.model_copy(
        update={
            "head": heads,
            "name": "a type with a very long name " * 6,
            "about": "words " * 60,
            "microwave": lobe.model_copy(update={"arc": 360.0, "range": 30.0, "thickness": 90.0}),
            "sensitivity": {f"name of a sensitivity {k}": 0.1 + k / 100 for k in range(30)},
            "range_settings": tuple(float(r) for r in range(4, 13)),
        }
    )


@pytest.fixture(autouse=True)
def style():
    """As pages are drawn."""
    with page_style():
        yield


@pytest.mark.parametrize("name", builtin_names())
def test_no_text_covers_another(name):
    """Of every type that comes along, at its longest and its shortest setting."""
    kind = load_type(name)
    for range_m in (max(kind.ranges_of(0)), min(kind.ranges_of(0))):
        check_texts(type_sheet(kind, range_m))


def test_a_crowded_type_keeps_its_page():
    """Numbers that find no room are left to the terminal; none runs into another."""
    check_texts(type_sheet(crowded(), 12.0))


@pytest.mark.parametrize("name", builtin_names())
def test_the_page_says_what_the_type_states(name):
    """Zones by number, range settings, sensitivity, supply and price stand on it."""
    kind = load_type(name)
    told = [text for text, _ in texts_of(type_sheet(kind, max(kind.ranges_of(0))))]
    zones = sorted(int(text) for text in told if text.isdigit() and text not in ("0",))
    for head in kind.head:
        assert set(range(1, head.zones + 1)) <= set(zones)
    assert kind.supply is not None
    assert kind.price is not None
    low, high = kind.supply.volts
    assert f"{kind.supply.milliamps:g} mA at {low:g} to {high:g} V" in told
    assert f"{kind.price:g}" in told
    for sensitivity, share in (kind.sensitivity or {}).items():
        assert told[told.index(f"at {sensitivity} sensitivity") + 1] == f"{share:.0%}"
    if kind.mounting is not None:
        assert any(text.startswith(f"±{kind.mounting.swivel:g}°") for text in told)
    if kind.anti_masking is not None:
        assert f"{kind.anti_masking.reach:g} m, {kind.anti_masking.arc:g}° ahead" in told


@pytest.mark.parametrize("name", builtin_names())
def test_layers_from_the_side_are_those_of_a_unit_on_level_ground(name):
    """Heights of axis and edges stand against a section of a posed unit, at distances on the way."""
    kind = load_type(name)
    range_m = max(kind.ranges_of(0))
    site = terrain(plane(0.0, extent_m=60.0))
    posed = unit(kind, kind.nominal_height, -kind.head[0].pan, range_m=range_m)
    profile = line_profile(site, posed, 0.0, 1.7, 0.2, 0.2)
    layers = {layer.name: layer for layer in level_layers(kind, 0, range_m)}
    for beam in profile.beams:
        layer = layers[beam.layer]
        for distance in (1.0, 3.0, 5.0):
            axis = profile.eye_z + beam.slopes[beam.axis] * distance
            assert math.isclose(layer.at(distance), axis, abs_tol=1e-6)
            for side, row in ((-1.0, 0), (1.0, -1)):
                edge = profile.eye_z + beam.slopes[row] * distance
                assert edge < 0 or math.isclose(layer.at(distance, side), edge, abs_tol=1e-6)
    lower = min(layers.values(), key=lambda layer: layer.elevation_deg)
    assert math.isclose(lower.lands_m(), range_m)


def test_a_fan_has_its_area():
    """Half the angle in radians times the square of the radius, to what chords of a degree leave out."""
    for arc in (10.0, 84.0, 200.0, 360.0):
        x, y = fan(30.0, arc, 12.0).T
        area = 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))
        assert math.isclose(area, math.radians(arc) / 2 * 144, rel_tol=1e-3)


def test_a_range_setting_that_no_head_has_is_refused():
    """With those there are; a head's own settings count."""
    fitted = load_type("two-head-180-fitted")
    assert check_range(fitted, None) == 12
    assert check_range(fitted, 2.5) == 2.5
    assert head_at(fitted, 2.5) == 1
    with pytest.raises(InputError, match=r"no range setting of 3 m(?s:.*)it has 2.5, 4, 6"):
        check_range(fitted, 3.0)
