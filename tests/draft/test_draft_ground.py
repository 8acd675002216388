"""The ground of a draft, and the settings that a site file has once."""

import tomllib

import pytest

from terrain3d.draft.document import checked_draft, draft_of, new_draft
from terrain3d.draft.ground import (
    SETTINGS,
    setting_fields,
    with_plane,
    with_points,
    with_setting,
    with_shots,
    with_survey,
)
from terrain3d.errors import InputError
from terrain3d.site import Site
from terrain3d.tables import checked

SURVEYED = """\
[site]
name = "yard"

[ground]  # flown in spring
file = "a.laz"
vertical_unit = "ft"
photo = "ortho.tif"  # from the same flight
hole_limit = 2.0
"""
SHOTS = [
    {"from": "pole", "bearing": 90, "tape": 9.0, "drop": 0.1},
    {"from": "pole", "bearing": 180.0, "tape": 10.1, "drop": 1.4, "name": "post"},
]


@pytest.mark.parametrize(
    ("begin", "ground"),
    [
        (lambda draft: with_plane(draft, 12.0, 180.0, 40.0),
         {"plane": {"fall": 12, "towards": 180, "extent": 40}}),
        (lambda draft: with_points(draft, [(0, 0, 1), (5, 0, 0.1239), (0, 5, 2)]),
         {"points": [[0, 0, 1], [5, 0, 0.124], [0, 5, 2]]}),
        (lambda draft: with_shots(draft, SHOTS), {"shots": SHOTS}),
    ],
)  # fmt: skip
def test_another_ground(begin, ground):
    """What goes with a survey alone goes with it, all else stays."""
    draft = begin(draft_of(SURVEYED.encode(), None))
    assert draft.tables["ground"] == {"photo": "ortho.tif", "hole_limit": 2.0, **ground}
    assert "[ground]  # flown in spring\n" in draft.text
    assert 'photo = "ortho.tif"  # from the same flight\n' in draft.text
    assert tomllib.loads(draft.text) == draft.tables
    back = with_survey(draft, "a.laz", vertical_unit="ft")
    assert back.tables == tomllib.loads(SURVEYED)


@pytest.mark.parametrize(
    "text",
    [
        "[ground.plane]\nfall = 1\ntowards = 2\nextent = 3\n",
        "ground.plane.fall = 1\nground.plane.towards = 2\nground.plane.extent = 3\n",
        "ground = { plane = { fall = 1, towards = 2, extent = 3 } }\n",
        '[[ground.shots]]\nfrom = "a"\nbearing = 1\ntape = 2\n[[ground.shots]]\nfrom = "a"\n',
    ],
)
def test_a_ground_in_any_layout(text):
    """In a table of its own, in dotted keys, in braces or as a list of tables."""
    draft = with_plane(draft_of(text.encode(), None), 9.0, 8.0, 7.0)
    assert tomllib.loads(draft.text) == {"ground": {"plane": {"fall": 9, "towards": 8, "extent": 7}}}
    assert with_survey(draft, ["a.laz", "b.laz"]).tables == {"ground": {"file": ["a.laz", "b.laz"]}}


def test_a_site_begins_as_a_person_writes_it():
    """With a tape: a line for each."""
    draft = new_draft(".", "yard", {"shots": [SHOTS[0], {**SHOTS[1], "bearing": 180}]})
    shots = draft.text.partition("[ground]\n")[2]
    assert shots == (
        "shots = [\n"
        '    { from = "pole", bearing = 90, tape = 9, drop = 0.1 },\n'
        '    { from = "pole", bearing = 180, tape = 10.1, drop = 1.4, name = "post" },\n'
        "]\n"
    )
    with pytest.raises(InputError, match="exactly one of"):
        new_draft(".", "yard", {})
    with pytest.raises(InputError, match="address"):
        new_draft(".", "yard", {"file": "http://x/y.laz"})
    with pytest.raises(InputError, match="it is empty"):
        new_draft(".", "", {"file": "y.laz"})


def test_settings_are_set_and_taken_out():
    """A table comes with its first key; a wrong value is refused in words."""
    draft = with_setting(draft_of(SURVEYED.encode(), None), "site", "cell", 0.5)
    draft = with_setting(draft, "doubt", "draws", 50)
    assert draft.tables["doubt"] == {"draws": 50}
    assert 'name = "yard"\ncell = 0.5\n' in draft.text
    assert with_setting(draft, "site", "cell", None).tables["site"] == {"name": "yard"}
    for table, key, value, match in (
        ("site", "cell", 50.0, "out of bounds"), ("site", "name", None, "missing"),
        ("paper", "colour", 1, "has no 'colour'"), ("heat", "grounds", [1.0], "at least 2"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=match):
            with_setting(draft, table, key, value)


def test_every_single_table_of_a_site_file_can_be_set():
    """Those of the model, each by its own model; the boundary is drawn."""
    single = {key for key, info in Site.model_fields.items() if "tuple" not in str(info.annotation)}
    assert set(SETTINGS) == single - {"boundary"}
    for table, model in SETTINGS.items():
        fields = setting_fields(table)
        assert fields
        if table != "ground" and not any(field.is_required for field in fields):
            defaults = {field.key: field.default for field in fields if field.default is not None}
            assert checked(model, defaults, "") == model()


def test_what_is_wrong_with_a_draft_is_told_as_of_a_file():
    """By the name of its file, or of the new site; no path that is none."""
    draft = new_draft("/nowhere", "yard", {"plane": {"fall": 1.0, "towards": 0.0, "extent": 10.0}})
    draft = with_setting(draft, "site", "figure", "giant")
    with pytest.raises(InputError, match="giant") as told:
        checked_draft(draft)
    assert told.value.where.startswith("the new site: site")
    assert "nowhere" not in str(told.value)
