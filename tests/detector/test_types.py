"""The types that come along: invented, valid, and between them with all that a type can state."""

from importlib.resources import files

import pytest

from terrain3d.detector.types import DetectorType, Head, Mounting, builtin_names, load_type
from terrain3d.site import SearchSetting

FOLDER = files("terrain3d.detector").joinpath("builtin")


@pytest.mark.parametrize("name", builtin_names())
def test_each_says_that_it_is_invented(name):
    """No maker's data goes into the package; each is called as its file is, and states supply and price."""
    text = FOLDER.joinpath(f"{name}.toml").read_text(encoding="utf-8")
    assert text.startswith("# A generic unit, invented: no maker's data.")
    kind = load_type(name)
    assert kind.name == name
    assert kind.supply is not None
    assert kind.price is not None


def test_between_them_they_use_all_that_a_type_can_state():
    """Each optional key of a type, of a head and of how it is fixed is stated by one or more."""
    kinds = [load_type(name) for name in builtin_names()]
    parts = {
        DetectorType: kinds,
        Head: [head for kind in kinds for head in kind.head],
        Mounting: [kind.mounting for kind in kinds if kind.mounting is not None],
    }
    for model, values in parts.items():
        for field in model.model_fields:
            assert any(field in value.model_fields_set for value in values), f"{model.__name__}.{field}"


def test_some_leave_it_out():
    """The plain types stay as plain as they were: what they do not state holds nothing back."""
    for name in ("one-head-90", "two-head-180"):
        kind = load_type(name)
        assert (kind.sensitivity, kind.microwave, kind.anti_masking, kind.mounting) == (None,) * 4
    assert SearchSetting().types == ("one-head-90", "two-head-180")


def test_a_battery_gives_less_than_the_mains_and_a_microwave_takes_more():
    """Battery units draw some hundredths of a milliampere, mains units tens: common practice, no source."""
    draw = {name: load_type(name).supply.milliamps for name in builtin_names()}
    assert draw["one-head-90-battery"] < 0.1 < 10 < draw["one-head-90"] < draw["one-head-90-microwave"]
    assert load_type("one-head-90-battery").supply.volts[1] < load_type("one-head-90").supply.volts[0]
